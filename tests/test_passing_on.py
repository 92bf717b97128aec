"""A site and its units pass to another client: what either may read of the time before and after, over every route."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.files.base import ContentFile
from rest_framework.test import APIClient

from accounts.http.permissions import action_name
from accounts.models import Client
from accounts.permissions import Role, roles_for
from fleet.models import AccessException, PassedOn, PastOwnership, Site, Unit
from tests import factories
from tests.routes import Route, every_route

pytestmark = pytest.mark.interface

PASSED_AT = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
BEFORE, AFTER = PASSED_AT - timedelta(days=10), PASSED_AT + timedelta(days=10)
OF_THE_SELLER, OF_THE_BUYER = "Wilma Ahead", "Bruno Later"

GETS = [
    route
    for route in every_route()
    if route.method == "GET"
    and getattr(route.view_class, "resource", None)
    and Role.CLIENT in roles_for(route.view_class.resource, action_name(route.action or ""))
]
PASSED_ON_LISTS = [
    route for route in GETS if route.action == "list" and issubclass(route.view_class.queryset.model, PassedOn)
]


@dataclass
class Rows:
    """What happened at one unit in the time of one client, by model."""

    unit: Unit
    by_model: dict[type, Any]


def happen(site: Site, unit: Unit, at: datetime, person: str) -> Rows:
    """Let one of everything happen, with a person's name wherever there is room for one."""
    reading = factories.ReadingFactory(
        unit=unit, taken_at=at, person=person, note=person, reference=f"read {at.date()}", permeate_tds_mg_per_l=7.5
    )
    position = unit.positions.first()
    placement = factories.PlacementFactory(position=position, placed_at=at, first_installed_at=at, serial_or_lot="A7")
    visit = factories.VisitFactory(
        site=site,
        state="done",
        closed_at=at,
        appointment_at=at,
        closing_note=person,
        installer=factories.InstallerFactory(company=site.company, name=f"{person} drives"),
    )
    record = factories.ServiceRecordFactory(
        site=site,
        visit=visit,
        done_at=at,
        confirmed_by=person,
        confirmed_at=at,
        note=person,
        reference=f"W {at.date()}",
    )
    photo = factories.ServicePhotoFactory(record=record, caption=person, digest=f"{at.day:064}")
    photo.file.save("photo.png", ContentFile(person.encode()))
    seen = factories.ReadingPhotoFactory(reading=reading, caption=person, digest=f"{at.day:064}")
    seen.file.save("photo.png", ContentFile(person.encode()))
    rows = [
        reading,
        seen,
        factories.ReadingIndicatorsFactory(reading=reading),
        placement,
        factories.FeedWaterSampleFactory(site=site, taken_at=at, measured_by=person, reference=f"S {at.date()}"),
        factories.FindingFactory(
            unit=unit,
            position=position,
            opened_at=at,
            last_seen_at=at,
            closed_at=at,
            state="closed",
            cause=f"c{at.day}",
        ),
        factories.ForecastFactory(
            position=position, placement=placement, computed_at=at, as_of=at.date(), is_latest=at == AFTER
        ),
        visit,
        record,
        photo,
        factories.MessageFactory(company=site.company, client=site.client, audience="client", visit=visit, body=person),
    ]
    return Rows(unit, {type(row): row for row in rows})


@pytest.fixture
def before(first_client: Client) -> Rows:
    site = factories.SiteFactory(client=first_client, code="S77")
    unit = factories.UnitFactory(site=site, code="S77-1")
    factories.PositionFactory(unit=unit)
    factories.AccessExceptionFactory(site=site, reason=OF_THE_SELLER)
    return happen(site, unit, BEFORE, OF_THE_SELLER)


@pytest.fixture
def after(before: Rows, as_office: APIClient, second_client: Client) -> Rows:
    """The site passes on, and life goes on there."""
    site = before.unit.site
    sent = {"client": second_client.pk, "client_since": PASSED_AT.isoformat()}
    answer = as_office.patch(f"/api/v1/sites/{site.pk}/", sent, format="json")
    assert answer.status_code == 200, answer.content
    placement = next(row for model, row in before.by_model.items() if model.__name__ == "Placement")
    type(placement).objects.filter(pk=placement.pk).update(removed_at=AFTER, removal="exhausted")
    return happen(Site.objects.get(pk=site.pk), before.unit, AFTER, OF_THE_BUYER)


def answers(api: APIClient, route: Route, *times: Rows) -> list[Any]:
    """Everything that a route answers about these rows: the list, or each row by its address."""
    if "<pk>" not in route.path:
        return [api.get(route.path)]
    model = route.view_class.queryset.model
    keys = {time.by_model[model].pk for time in times if model in time.by_model}
    if model is Unit:
        keys = {times[0].unit.pk}
    if model is Site:
        keys = {times[0].unit.site_id}
    return [api.get(route.path.replace("<pk>", str(key))) for key in sorted(keys)]


def content_of(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


@pytest.mark.parametrize("route", GETS, ids=str)
def test_the_new_client_meets_nobody_of_the_time_before(
    route: Route, before: Rows, after: Rows, as_other_client: APIClient
) -> None:
    for answer in answers(as_other_client, route, before, after):
        assert answer.status_code in {200, 404}, answer.content
        assert OF_THE_SELLER.encode() not in content_of(answer)


@pytest.mark.parametrize("route", GETS, ids=str)
def test_the_former_client_reads_nothing_of_the_time_after(
    route: Route, before: Rows, after: Rows, as_client: APIClient
) -> None:
    for answer in answers(as_client, route, before, after):
        content = content_of(answer)
        assert answer.status_code in {200, 404}, content
        assert OF_THE_BUYER.encode() not in content
        assert AFTER.date().isoformat().encode() not in content


@pytest.mark.parametrize("route", PASSED_ON_LISTS, ids=str)
def test_the_former_client_goes_on_reading_their_own_time(
    route: Route, before: Rows, after: Rows, as_client: APIClient, as_other_client: APIClient
) -> None:
    model = route.view_class.queryset.model
    own = before.by_model[model].pk
    # Of forecasts only the latest are shown unless one asks for those of before.
    query = "?history=true" if route.view_class.resource == "forecast" else ""
    assert [row["id"] for row in as_client.get(route.path + query).json()["results"]] == [own]
    assert query or as_client.get(f"{route.path}{own}/").status_code == 200
    seen = {row["id"] for row in as_other_client.get(route.path + query).json()["results"]}
    assert seen == {after.by_model[model].pk} | (set() if model.IS_PERSONAL else {own})


def test_technical_history_is_read_by_both_and_its_people_by_their_own_client(
    before: Rows, after: Rows, as_client: APIClient, as_other_client: APIClient
) -> None:
    reading = next(row for model, row in before.by_model.items() if model.__name__ == "Reading")
    old = as_client.get(f"/api/v1/readings/{reading.pk}/").json()
    new = as_other_client.get(f"/api/v1/readings/{reading.pk}/").json()
    assert old["permeate_tds"] == new["permeate_tds"]
    assert (old["person"], new["person"]) == (OF_THE_SELLER, "")
    record = next(row for model, row in before.by_model.items() if model.__name__ == "ServiceRecord")
    old = as_client.get(f"/api/v1/service-records/{record.pk}/").json()
    new = as_other_client.get(f"/api/v1/service-records/{record.pk}/").json()
    assert (old["work"], old["parts"]) == (new["work"], new["parts"])
    assert (old["confirmed_by"], len(old["photos"])) == (OF_THE_SELLER, 1)
    assert (new["confirmed_by"], new["confirmed_at"], new["photos"], new["visit"]) == ("", None, [], None)


def test_a_cartridge_that_stood_when_it_passed_left_after_the_former_clients_time(
    before: Rows, after: Rows, as_client: APIClient, as_other_client: APIClient
) -> None:
    placement = next(row for model, row in before.by_model.items() if model.__name__ == "Placement")
    address = f"/api/v1/placements/{placement.pk}/"
    assert (as_client.get(address).json()["removed_at"], as_client.get(address).json()["removal"]) == (None, "")
    assert as_other_client.get(address).json()["removal"] == "exhausted"


def test_a_unit_that_moves_to_another_clients_site_passes_alone(
    before: Rows, as_office: APIClient, as_client: APIClient, as_other_client: APIClient, second_client: Client
) -> None:
    elsewhere = factories.SiteFactory(client=second_client)
    sent = {"site": elsewhere.pk, "client_since": PASSED_AT.isoformat()}
    answer = as_office.patch(f"/api/v1/units/{before.unit.pk}/", sent, format="json")
    assert answer.status_code == 200
    assert answer.json()["client_since"] == "2026-03-01T12:00:00Z"
    past = PastOwnership.objects.get()
    assert (past.unit, past.since, past.until) == (before.unit, None, PASSED_AT)
    reading = next(row for model, row in before.by_model.items() if model.__name__ == "Reading")
    assert as_client.get(f"/api/v1/readings/{reading.pk}/").json()["person"] == OF_THE_SELLER
    assert as_other_client.get(f"/api/v1/readings/{reading.pk}/").json()["person"] == ""
    # The site stays, with what was done at it.
    assert len(as_client.get("/api/v1/service-records/").json()["results"]) == 1
    assert as_other_client.get("/api/v1/service-records/").json()["results"] == []


def test_it_can_come_back(
    before: Rows, after: Rows, as_office: APIClient, as_client: APIClient, first_client: Client
) -> None:
    sent = {"client": first_client.pk, "client_since": (AFTER + timedelta(days=5)).isoformat()}
    assert as_office.patch(f"/api/v1/sites/{before.unit.site_id}/", sent, format="json").status_code == 200
    rows = as_client.get("/api/v1/readings/").json()["results"]
    # Their own time with its people, the other's without.
    assert [row["person"] for row in rows] == ["", OF_THE_SELLER]


@pytest.mark.parametrize(
    ("sent", "sentence"),
    [
        ({"client_since": "2026-03-01T12:00:00Z"}, "send it with that client"),
        ({"client": "other", "client_since": "2999-01-01T00:00:00Z"}, "a time to come"),
    ],
)
def test_a_time_that_cannot_be_is_refused(
    sent: dict[str, Any], sentence: str, before: Rows, as_office: APIClient, second_client: Client
) -> None:
    body = sent | ({"client": second_client.pk} if "client" in sent else {})
    answer = as_office.patch(f"/api/v1/sites/{before.unit.site_id}/", body, format="json")
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/client_since"
    assert sentence in answer.json()["errors"][0]["detail"]
    assert not PastOwnership.objects.exists()


def test_it_cannot_pass_before_it_came(before: Rows, after: Rows, as_office: APIClient, first_client: Client) -> None:
    sent = {"client": first_client.pk, "client_since": BEFORE.isoformat()}
    answer = as_office.patch(f"/api/v1/sites/{before.unit.site_id}/", sent, format="json")
    assert answer.status_code == 400
    assert "only after that" in answer.json()["errors"][0]["detail"]


def test_a_unit_entered_late_shares_the_past_of_its_site(
    before: Rows, after: Rows, as_office: APIClient, as_client: APIClient, as_other_client: APIClient
) -> None:
    sent = {
        "site": before.unit.site_id,
        "code": "S77-2",
        "use": "drinking",
        "kind": "ro",
        "weekly_demand": "20 L",
        "commissioned_on": "2025-01-01",
        "template": "ro",
    }
    unit = as_office.post("/api/v1/units/", sent, format="json").json()
    factories.ReadingFactory(unit_id=unit["id"], taken_at=BEFORE, person=OF_THE_SELLER)
    for api, people in ((as_client, [OF_THE_SELLER]), (as_other_client, [""])):
        rows = [row for row in api.get("/api/v1/readings/").json()["results"] if row["unit"] == unit["id"]]
        assert [row["person"] for row in rows] == people


def test_what_is_noted_of_closed_days_goes_with_the_former_client(before: Rows, after: Rows) -> None:
    assert [row.reason for row in AccessException.objects.filter(site=before.unit.site_id)] == [""]


def test_the_members_of_the_company_read_all_of_it(before: Rows, after: Rows, as_office: APIClient) -> None:
    people = {row["person"] for row in as_office.get("/api/v1/readings/").json()["results"]}
    assert people == {OF_THE_SELLER, OF_THE_BUYER}
