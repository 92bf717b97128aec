"""What nobody noted the hour of is sent as a day, and answered and told as the day it is."""

from datetime import UTC, datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Client, Membership
from fleet.models import Placement, Reading, Unit
from fleet.services.readings.cartridge_changes import of_present_cartridge
from fleet.services.status import status_of
from scheduling.models import Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.visits.proposals import propose_visits
from tests.scheduling.town import NOW, RO_DI_TRAIN, Town

DAY = "2026-02-12"
NOON = datetime(2026, 2, 12, 11, tzinfo=UTC)
"""Of that day in Berlin, an hour ahead of UTC in winter."""


@pytest.fixture
def unit(town: Town, first_client: Client) -> Unit:
    unit = town.unit(town.site(client=first_client), train=RO_DI_TRAIN)
    Reading.objects.filter(unit=unit).delete()
    return unit


def stored(answer: Any, status: int = 201) -> Any:
    assert answer.status_code == status, answer.content
    return answer.json()


def test_a_reading(as_office: APIClient, as_client: APIClient, unit: Unit) -> None:
    body = {"unit": unit.code, "taken_at": DAY, "product_tds": "4 ppm", "reference": "a"}
    sent = stored(as_office.post("/api/v1/readings/", body, format="json"))
    assert sent["taken_at"] == DAY
    assert stored(as_office.post("/api/v1/readings/", body, format="json"), 200)["id"] == sent["id"]
    assert as_client.get(f"/api/v1/readings/{sent['id']}/").json()["taken_at"] == DAY
    assert as_client.get(f"/api/v1/units/{unit.pk}/status/").json()["read_at"] == DAY
    assert as_client.get(f"/api/v1/units/{unit.pk}/findings/").json()["read_at"] == DAY
    assert Reading.objects.get().taken_at == NOON
    # As the moment that stands for it, it counts wherever moments are asked for.
    kept = as_office.get("/api/v1/readings/", {"taken_at_from": "2026-02-12T00:00:00Z"}).json()["results"]
    assert [row["id"] for row in kept] == [sent["id"]]


def test_a_sample_of_feed_water(as_office: APIClient, unit: Unit) -> None:
    body = {"site": unit.site.code, "taken_at": DAY, "ph": 7.1}
    assert stored(as_office.post("/api/v1/feed-water-samples/", body, format="json"))["taken_at"] == DAY


def test_a_cartridge_comes_leaves_and_is_put_right(as_office: APIClient, town: Town, unit: Unit) -> None:
    position, item = town.position(unit, "sediment"), town.item("sediment")
    Placement.objects.filter(position=position).delete()
    body = {"position": position.pk, "item": item.pk, "placed_at": DAY}
    row = stored(as_office.post("/api/v1/placements/", body, format="json"))
    assert (row["placed_at"], row["first_installed_at"], row["removed_at"]) == (DAY, DAY, None)
    address = f"/api/v1/placements/{row['id']}/"
    gone = stored(
        as_office.post(f"{address}remove/", {"removal": "early", "removed_at": "2026-02-20"}, format="json"), 200
    )
    assert (gone["placed_at"], gone["removed_at"]) == (DAY, "2026-02-20")
    moment = {"placed_at": "2026-02-12T08:05:00+01:00", "reason": "the day sheet says when"}
    right = stored(as_office.post(f"{address}correct/", moment, format="json"), 200)
    assert (right["placed_at"], right["removed_at"]) == ("2026-02-12T07:05:00Z", "2026-02-20")


def test_work_and_what_follows_from_it(as_installer: APIClient, as_client: APIClient, town: Town, unit: Unit) -> None:
    position = town.position(unit, "sediment")
    body = {
        "site": unit.site_id,
        "reference": "van-1/7",
        "done_at": DAY,
        "confirmed_by": "Finn",
        "work": [{"action": "replace", "unit": unit.pk, "position": position.pk, "removal": "routine"}],
        "readings": [
            {"unit": unit.pk, "occasion": "as_found", "product_tds": "40 ppm"},
            {"unit": unit.pk, "occasion": "as_left", "product_tds": "1 ppm"},
        ],
    }
    record = stored(as_installer.post("/api/v1/service-records/", body, format="json"))
    assert (record["done_at"], record["confirmed_at"]) == (DAY, DAY)
    assert stored(as_installer.post("/api/v1/service-records/", body, format="json"), 200)["id"] == record["id"]
    shown = as_client.get(f"/api/v1/service-records/{record['id']}/").json()
    assert (shown["done_at"], shown["confirmed_at"]) == (DAY, DAY)
    came = Placement.objects.get(position=position, removed_at=None)
    went = Placement.objects.get(position=position, removed_at__isnull=False)
    for address, name in ((came.pk, "placed_at"), (went.pk, "removed_at")):
        assert as_client.get(f"/api/v1/placements/{address}/").json()[name] == DAY
    readings = list(Reading.objects.filter(unit=unit).order_by("pk"))
    assert {as_client.get(f"/api/v1/readings/{row.pk}/").json()["taken_at"] for row in readings} == {DAY}
    # Of the same day, the one found before the change saw the old cartridge and the one left behind the new.
    assert [row.occasion for row in of_present_cartridge(readings, came.placed_at)] == ["as_left"]
    taken_back = as_installer.post(f"/api/v1/service-records/{record['id']}/void/", {"reason": "other"}, format="json")
    assert taken_back.status_code == 200, taken_back.content
    assert Placement.objects.get(position=position).pk == went.pk


def test_what_work_closes_and_takes_from_stock_has_its_day(
    as_office: APIClient, as_installer: APIClient, installer: Membership, town: Town, unit: Unit
) -> None:
    van = town.installer("Ada", membership=installer)
    position, item = town.position(unit, "sediment"), town.item("sediment")
    counted = {"item": item.code, "installer": van.pk, "quantity": 3, "counted_at": "2026-02-10"}
    level = stored(as_office.post("/api/v1/stock-levels/", counted, format="json"))
    assert level["counted_at"] == "2026-02-10"
    town.forecast(position, 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    visit = Visit.objects.get()
    others = [task.need for task in visit.tasks.all() if task.need.position_id != position.pk]
    body = {
        "site": unit.site_id,
        "visit": visit.pk,
        "reference": "van-1/8",
        "done_at": DAY,
        "work": [{"action": "replace", "unit": unit.pk, "position": position.pk, "removal": "routine"}],
        "not_done": [{"need": need.pk, "reason": "no meter"} for need in others],
    }
    stored(as_installer.post("/api/v1/service-records/", body, format="json"))
    assert as_office.get(f"/api/v1/visits/{visit.pk}/").json()["closed_at"] == DAY
    (need,) = as_office.get("/api/v1/needs/", {"state": "done"}).json()["results"]
    assert need["closed_at"] == DAY
    movements = as_office.get("/api/v1/stock-movements/", {"item": item.code, "ordering": "happened_at"}).json()
    assert [row["happened_at"] for row in movements["results"]] == ["2026-02-10", DAY]
    moved = {"item": item.code, "kind": "transfer", "pieces": 1, "from_installer": van.pk, "reason": "back"}
    moved["happened_at"] = "2026-02-20"
    assert stored(as_office.post("/api/v1/stock-movements/", moved, format="json"))["happened_at"] == "2026-02-20"


def test_a_rotation_moves_and_places_on_the_day(as_office: APIClient, town: Town, unit: Unit) -> None:
    body = {"unit": unit.pk, "stage": "resin", "item": town.item("resin").pk, "rotated_at": DAY}
    moved = stored(as_office.post("/api/v1/placements/rotate/", body, format="json"))["moved"]
    assert moved["placed_at"] == DAY
    # It came to lead on a day, and into the unit at an hour that is known.
    assert moved["first_installed_at"] == "2025-09-01T08:00:00Z"


def test_today_may_be_told_before_noon_and_tomorrow_may_not(as_office: APIClient, unit: Unit) -> None:
    today = {"unit": unit.pk, "taken_at": NOW.date().isoformat(), "product_tds": "4 ppm"}
    assert stored(as_office.post("/api/v1/readings/", today, format="json"))["taken_at"] == today["taken_at"]
    assert status_of(unit=unit, now=NOW).read_at is not None
    refused = as_office.post("/api/v1/readings/", {**today, "taken_at": "2026-03-03"}, format="json")
    assert refused.status_code == 400
    assert "2026-03-03 is in the future" in refused.json()["errors"][0]["detail"]


@pytest.mark.parametrize("sent", ["2026-02-30", "12.02.2026", "2026-02", "0012-02-12", 20260212])
def test_what_is_no_day_is_refused_with_the_forms(as_office: APIClient, town: Town, unit: Unit, sent: Any) -> None:
    body = {"position": town.position(unit, "sediment").pk, "item": town.item("sediment").pk, "placed_at": sent}
    refused = as_office.post("/api/v1/placements/", body, format="json")
    assert refused.status_code == 400
    (fault,) = refused.json()["errors"]
    assert fault["pointer"] == "/placed_at"
    assert "the day alone, such as 2026-03-01" in fault["detail"]
