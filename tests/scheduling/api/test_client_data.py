"""Everything of one client as one archive: for the owner and that client, by the table of who reads what."""

import csv
import io
import json
import zipfile
from datetime import UTC, datetime
from typing import Any

import pytest
from django.core.files.base import ContentFile
from rest_framework.test import APIClient

from accounts.models import Client, Company
from accounts.permissions import ALLOWED, Role
from fleet.models import PastOwnership
from scheduling.api.client_data import TABLES
from scheduling.exports.client_archive import write_archive
from tests import factories
from tests.routes import every_route

INTERNAL = "pays late, told the office only"
NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)


def unpacked(answer: Any) -> dict[str, bytes]:
    assert answer.status_code == 200, answer.content
    assert answer["Content-Type"] == "application/zip"
    with zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content))) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def archive_of(api: APIClient, client: Client) -> dict[str, bytes]:
    return unpacked(api.get(f"/api/v1/client-data/{client.pk}/"))


def rows_of(files: dict[str, bytes], table: str) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads(files[f"{table}.json"])
    return rows


@pytest.fixture
def unit(first_client: Client) -> Any:
    """A unit with one of everything, notes that are the company's own, and a picture."""
    Client.objects.filter(pk=first_client.pk).update(notes=INTERNAL, phone="+1 555 0100")
    unit = factories.UnitFactory(site__client=first_client, site__access_notes=INTERNAL, notes=INTERNAL)
    position = factories.PositionFactory(unit=unit)
    placement = factories.PlacementFactory(position=position)
    reading = factories.ReadingFactory(unit=unit, note=INTERNAL, permeate_tds_mg_per_l=7.5)
    factories.ReadingIndicatorsFactory(reading=reading)
    factories.FeedWaterSampleFactory(site=unit.site)
    factories.FindingFactory(unit=unit, position=position, decision_note=INTERNAL)
    factories.ForecastFactory(position=position, placement=placement)
    factories.InstrumentFactory(unit=unit)
    visit = factories.VisitFactory(site=unit.site, closing_note=INTERNAL)
    record = factories.ServiceRecordFactory(site=unit.site, visit=visit, note=INTERNAL)
    factories.ReadingPhotoFactory(reading=reading)
    photo = factories.ServicePhotoFactory(record=record)
    photo.file.save("photo.png", ContentFile(b"a picture of the work"))
    factories.MessageFactory(
        company=unit.company, client=first_client, audience="client", visit=visit, call_note=INTERNAL, body="We come."
    )
    factories.InvoiceLineFactory(invoice=factories.InvoiceFactory(client=first_client))
    return unit


def test_it_holds_every_list_that_clients_read_of_what_is_theirs() -> None:
    theirs = {
        route.path.removeprefix("/api/v1/").rstrip("/")
        for route in every_route()
        if route.method == "GET"
        and route.action == "list"
        and Role.CLIENT in ALLOWED[route.view_class.resource, "list"]
        and route.view_class.queryset.model.CLIENT_PATH is not None
    }
    # Where a person is signed in and their keys, to sign in with or to a calendar, are no data of the client.
    assert set(TABLES) == theirs - {"tokens", "calendar-feeds", "browser-sessions"}


def test_the_client_is_given_what_their_lists_say_and_no_more(
    unit: Any, first_client: Client, as_client: APIClient
) -> None:
    files = archive_of(as_client, first_client)
    for table in TABLES:
        listed = as_client.get(f"/api/v1/{table}/").json()["results"]
        assert listed, table
        rows = {row["id"]: row for row in rows_of(files, table)}
        assert [rows[row["id"]] for row in listed] == listed, table
    assert INTERNAL not in b"".join(files.values()).decode(errors="ignore")
    (client,) = rows_of(files, "client")
    assert (client["name"], client["phone"]) == (first_client.name, "+1 555 0100")
    assert [row["email"] for row in rows_of(files, "people")] == [first_client.memberships.get().user.email]
    pictures = [content for name, content in files.items() if name.startswith("pictures/")]
    assert sorted(pictures) == [b"a picture of the work", b"no picture at all"]


def test_the_owner_is_given_what_owners_read(unit: Any, first_client: Client, as_owner: APIClient) -> None:
    files = archive_of(as_owner, first_client)
    for table, field in (("client", "notes"), ("sites", "access_notes"), ("units", "notes"), ("readings", "note")):
        assert [row[field] for row in rows_of(files, table)] == [INTERNAL], table


def test_nothing_of_another_client_is_in_it(
    unit: Any, first_client: Client, second_client: Client, as_owner: APIClient
) -> None:
    other = factories.UnitFactory(site__client=second_client, code="OTHER-1", site__code="OTHER")
    factories.ReadingFactory(unit=other)
    files = archive_of(as_owner, first_client)
    assert [row["id"] for row in rows_of(files, "units")] == [unit.pk]
    assert b"OTHER" not in b"".join(files.values())
    assert {row["unit"] for row in rows_of(files, "readings")} == {unit.pk}


@pytest.mark.parametrize("whose", ["as_owner", "as_other_client"])
def test_the_people_of_the_time_before_are_not_in_it(
    whose: str, unit: Any, first_client: Client, second_client: Client, request: pytest.FixtureRequest
) -> None:
    unit.readings.update(person="Wilma Ahead", taken_at=NOON.replace(month=2))
    PastOwnership.objects.create(company=unit.company, client=first_client, unit=unit, until=NOON)
    unit.site.client = second_client
    unit.site.client_since = NOON
    unit.site.save()
    type(unit).objects.filter(pk=unit.pk).update(client_since=NOON)
    files = archive_of(request.getfixturevalue(whose), second_client)
    assert [row["permeate_tds"]["value"] for row in rows_of(files, "readings")] == [7.5]
    assert b"Wilma Ahead" not in b"".join(files.values())


def test_others_are_not_given_it(first_client: Client, second_client: Client, request: pytest.FixtureRequest) -> None:
    for whose, status in (("as_office", 403), ("as_installer", 403), ("as_other_client", 404), ("as_rival", 404)):
        answer = request.getfixturevalue(whose).get(f"/api/v1/client-data/{first_client.pk}/")
        assert answer.status_code == status, whose


def test_a_client_of_whom_nothing_is_stored_has_an_archive(company: Company, as_owner: APIClient) -> None:
    client = factories.ClientFactory(company=company, name="Newly Come")
    files = archive_of(as_owner, client)
    assert rows_of(files, "readings") == []
    assert "Newly Come" in files["README.txt"].decode()


def test_tables_are_spreadsheets_too_and_none_of_their_cells_a_formula() -> None:
    target = io.BytesIO()
    rows = [
        {"id": 1, "name": "=1+1", "tds": {"value": 7.5, "unit": "mg/L"}, "is_active": True},
        {"id": 2, "flags": [{"code": "late"}], "tds": {"value": None, "unit": "mg/L"}, "phone": "+49 30 5550100"},
    ]
    write_archive(target, tables={"things": rows}, pictures=[("a.png", b"x")], title="All of it")
    with zipfile.ZipFile(target) as archive:
        table = list(csv.DictReader(io.StringIO(archive.read("things.csv").decode())))
        page = archive.read("README.txt").decode()
        assert archive.read("pictures/a.png") == b"x"
    assert [row["name"] for row in table] == ["'=1+1", ""]
    assert [row["tds"] for row in table] == ["7.5 mg/L", ""]
    assert [row["is_active"] for row in table] == ["yes", ""]
    assert table[1]["phone"] == "'+49 30 5550100"
    assert table[1]["flags"] == '[{"code": "late"}]'
    assert page.startswith("All of it\n")
    assert "things: 2 rows" in page
    assert "pictures: one file" in page
