"""Dates that cannot be: of another age, before a unit was commissioned, or a commissioning past what is on record."""

from datetime import UTC, date, datetime
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.models import FeedWaterSample, Placement, Position, Reading, Unit
from tests import factories

COMMISSIONED = date(2024, 3, 1)


@pytest.fixture
def unit(company: Company) -> Unit:
    site = factories.SiteFactory(company=company, time_zone="Europe/Berlin")
    return factories.UnitFactory(company=company, site=site, code="RX-7", commissioned_on=COMMISSIONED)


def commission(api: APIClient, unit: Unit, day: str) -> Any:
    return api.patch(f"/api/v1/units/{unit.pk}/", {"commissioned_on": day})


def test_commissioning_does_not_pass_readings_and_cartridges(unit: Unit, as_owner: APIClient) -> None:
    reading = factories.ReadingFactory(unit=unit, taken_at=datetime(2024, 5, 1, 23, tzinfo=UTC))
    position = factories.PositionFactory(unit=unit)
    item = factories.CatalogueItemFactory(company=unit.company)
    moment = datetime(2024, 4, 1, 10, tzinfo=UTC)
    placement = factories.PlacementFactory(position=position, item=item, placed_at=moment)
    refused = commission(as_owner, unit, "2024-05-03")
    assert (refused.status_code, refused.json()["code"]) == (409, "commissioned_after_records")
    (fault,) = refused.json()["errors"]
    assert fault["pointer"] == "/commissioned_on"
    # the reading was taken after midnight at the site
    assert "the first reading of 2024-05-02 and the first cartridge of 2024-04-01 of RX-7" in fault["detail"]
    assert "not after 2024-04-01" in fault["detail"]
    refused = commission(as_owner, unit, "2024-05-02")
    assert "first reading" not in refused.json()["detail"]
    assert Unit.objects.get(pk=unit.pk).commissioned_on == COMMISSIONED
    for day in ("2024-04-01", "2023-01-01", "2024-04-01"):
        assert commission(as_owner, unit, day).status_code == 200
    # what was taken back holds no longer
    Placement.objects.filter(pk=placement.pk).update(voided_at=moment)
    assert commission(as_owner, unit, "2024-05-02").status_code == 200
    Reading.objects.filter(pk=reading.pk).update(voided_at=moment)
    assert commission(as_owner, unit, "2025-01-01").status_code == 200


def test_a_unit_of_another_age_or_with_a_cartridge_older_than_itself_is_refused_with_all_faults(
    unit: Unit, as_owner: APIClient
) -> None:
    carbon = factories.CatalogueItemFactory(company=unit.company, kind="carbon")
    body = {
        "site": unit.site_id,
        "code": "RX-8",
        "use": "drinking",
        "kind": "ro",
        "commissioned_on": "1901-01-01",
        "retired_on": "1900-01-01",
        "weekly_demand": "50 L",
        "positions": [
            {"stage": "carbon", "item": carbon.pk, "placed_at": "1900-06-01T00:00:00Z"},
            {"stage": "sediment"},
        ],
    }
    refused = as_owner.post("/api/v1/units/", body)
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [
        "/positions/1/stage",
        "/commissioned_on",
        "/retired_on",
        "/positions/0/placed_at",
    ]
    positions = [{"stage": "carbon", "item": carbon.pk, "placed_at": "2024-02-29T00:00:00Z"}]
    right = {**body, "commissioned_on": "2024-03-01", "retired_on": None, "positions": positions}
    refused = as_owner.post("/api/v1/units/", right)
    assert (refused.status_code, len(refused.json()["errors"])) == (400, 1), refused.content
    assert "2024-02-29 is before the unit was commissioned on 2024-03-01" in refused.json()["detail"]
    positions[0]["placed_at"] = "2024-03-01T00:00:00Z"
    assert as_owner.post("/api/v1/units/", right).status_code == 201
    assert commission(as_owner, unit, "1901-01-01").json()["errors"][0]["pointer"] == "/commissioned_on"


def test_a_cartridge_that_leaves_as_it_comes_or_came_in_another_age_is_refused(unit: Unit, as_owner: APIClient) -> None:
    position: Position = factories.PositionFactory(unit=unit)
    item = factories.CatalogueItemFactory(company=unit.company)
    placed_at = "2024-04-01T10:00:00Z"
    body = {"position": position.pk, "item": item.pk, "placed_at": placed_at}
    codes = []
    for at in ("1901-04-01T10:00:00Z", "1989-12-31T10:00:00Z", "2024-02-29T10:00:00Z", "2999-01-01T00:00:00Z"):
        refused = as_owner.post("/api/v1/placements/", {**body, "placed_at": at})
        assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/placed_at")
        codes.append(refused.json()["code"])
    assert codes == ["too_long_ago", "too_long_ago", "before_commissioning", "in_the_future"]
    placement = as_owner.post("/api/v1/placements/", body).json()
    address = f"/api/v1/placements/{placement['id']}"
    leaving = {"removal": "exhausted", "removed_at": placed_at}
    for refused in (
        as_owner.post(f"{address}/remove/", leaving),
        as_owner.post(f"{address}/correct/", {**leaving, "reason": "It left."}),
        as_owner.post("/api/v1/placements/", {**body, "removal": "exhausted"}),
    ):
        assert refused.status_code == 400, refused.content
    assert list(Placement.objects.values_list("pk", "removed_at")) == [(placement["id"], None)]


def test_an_hour_that_came_twice_is_flagged_in_the_answer_and_1901_is_refused(unit: Unit, as_owner: APIClient) -> None:
    for route, body in (
        ("readings", {"unit": unit.pk, "inlet_pressure": "60 psi"}),
        ("feed-water-samples", {"site": unit.site_id, "hardness": "210 mg/L as CaCO3"}),
    ):
        stored = as_owner.post(f"/api/v1/{route}/", {**body, "taken_at": "2025-10-26 02:30"})
        assert [flag["code"] for flag in stored.json()["flags"]] == ["time_came_twice"]
        assert stored.json()["taken_at"] == "2025-10-26T00:30:00Z"
        refused = as_owner.post(f"/api/v1/{route}/", {**body, "taken_at": "1901-10-26 02:30"})
        assert (refused.status_code, refused.json()["code"]) == (400, "too_long_ago"), refused.content
        assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/taken_at"]
    assert (Reading.objects.count(), FeedWaterSample.objects.count()) == (1, 1)
    # every other moment asks for its offset, so that no hour comes twice there
    position = factories.PositionFactory(unit=unit)
    item = factories.CatalogueItemFactory(company=unit.company)
    body = {"position": position.pk, "item": item.pk, "placed_at": "2025-10-26T02:30"}
    assert "offset" in as_owner.post("/api/v1/placements/", body).json()["detail"]


def test_a_date_that_cannot_be_read_is_told_beside_a_unit_that_is_not_known(unit: Unit, as_owner: APIClient) -> None:
    for route, owner in (("readings", "unit"), ("feed-water-samples", "site")):
        body = {owner: "NOPE", "taken_at": "soon", "hardness" if owner == "site" else "inlet_pressure": "60"}
        refused = as_owner.post(f"/api/v1/{route}/", body)
        assert {fault["pointer"] for fault in refused.json()["errors"]} == {f"/{name}" for name in body}
