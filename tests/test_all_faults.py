"""Whatever is wrong with a body is told in one answer, by whichever part of the house it was found."""

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import Client, Company
from fleet.models import CatalogueItem, Position, Reading, Site, Unit
from scheduling.models import ServiceRecord
from tests import factories


@pytest.fixture
def unit(company: Company, first_client: Client) -> Unit:
    site = factories.SiteFactory(company=company, client=first_client, code="S1")
    return factories.UnitFactory(company=company, site=site, code="RX-7")


@pytest.fixture
def carbon(unit: Unit) -> Position:
    return factories.PositionFactory(unit=unit, stage="carbon")


@pytest.fixture
def resin(company: Company) -> CatalogueItem:
    return factories.CatalogueItemFactory(company=company, kind="resin")


def pointers(answer: Any) -> set[str]:
    assert answer.status_code == 400, answer.content
    return {fault["pointer"] for fault in answer.json()["errors"]}


CLOSES_FIRST = {"weekday": 1, "opens": "10:00", "closes": "09:00"}
BODIES: list[tuple[str, str, dict[str, Any]]] = [
    ("post", "readings", {"unit": "NOPE", "taken_at": "soon", "inlet_pressure": "60", "state": "idle"}),
    ("post", "feed-water-samples", {"site": "NOPE", "taken_at": "soon", "hardness": "12", "method": "x" * 99}),
    ("patch", "policy", {"target_risk": 3, "stops_per_round": -1, "lunch_minutes": -4}),
    ("patch", "policy", {"target_risk": 3, "stops_per_round": -1, "bundling_weeks": "x"}),
    ("post", "needs", {"unit": 99999, "kind": "x", "reason": ""}),
    ("post", "purchase-orders", {"supplier": 99999, "lines": "none", "urgent": True}),
    ("post", "visits/<visit>/confirm", {"appointment_at": "soon", "installer": 99999, "minutes": 3}),
]


@pytest.mark.parametrize(("method", "route", "body"), BODIES, ids=str)
def test_each_field_at_fault_is_told(
    company: Company, unit: Unit, as_owner: APIClient, method: str, route: str, body: dict[str, Any]
) -> None:
    visit = factories.VisitFactory(company=company, site=unit.site)
    answer = getattr(as_owner, method)(f"/api/v1/{route.replace('<visit>', str(visit.pk))}/", body)
    assert pointers(answer) == {f"/{name}" for name in body}


def test_what_a_service_refuses_is_told_beside_what_cannot_be_read(unit: Unit, as_owner: APIClient) -> None:
    body = {
        "client": unit.site.client_id,
        "code": "S2",
        "name": "South",
        "time_zone": "Europe/Berlin",
        "access_windows": [CLOSES_FIRST],
        "access_exceptions": [{"first_day": "2026-05-05", "last_day": "2026-05-01"}],
    }
    expected = {"/access_windows/0/closes", "/access_exceptions/0/last_day"}
    assert pointers(as_owner.post("/api/v1/sites/", {**body, "latitude": 48.0})) == {*expected, "/longitude"}
    # half a location because of the other half at fault is no fault of its own
    unreadable = {"latitude": 99, "longitude": 11.0, "chloraminated": "perhaps"}
    answer = as_owner.post("/api/v1/sites/", {**body, **unreadable})
    assert pointers(answer) == {*expected, "/latitude", "/chloraminated"}
    assert Site.objects.count() == 1
    change = {"name": "", "access_windows": [CLOSES_FIRST]}
    answer = as_owner.patch(f"/api/v1/sites/{unit.site_id}/", change)
    assert pointers(answer) == {"/name", "/access_windows/0/closes"}
    # the rest is right, and is not stored for that
    answer = as_owner.patch(f"/api/v1/sites/{unit.site_id}/", {"name": "Other", "latitude": 99, "longitude": 9})
    assert pointers(answer) == {"/latitude"}
    assert Site.objects.get().name != "Other"
    dates = {"commissioned_on": "1901-01-01", "retired_on": "1900-01-01", "weekly_demand": "50"}
    answer = as_owner.patch(f"/api/v1/units/{unit.pk}/", dates)
    assert pointers(answer) == {f"/{name}" for name in dates}


def test_a_report_of_work_is_refused_with_all_that_is_wrong_in_it(
    unit: Unit, carbon: Position, resin: CatalogueItem, as_installer: APIClient
) -> None:
    done_at = (timezone.now() - timedelta(hours=1)).isoformat()
    sediment = factories.PositionFactory(unit=unit, stage="sediment")
    body = {
        "site": unit.site_id,
        "reference": "r",
        "done_at": done_at,
        "work": [
            {"action": "replace", "unit": unit.pk},
            {"action": "inspect", "unit": unit.pk, "serial_or_lot": "7"},
        ],
        "readings": [{"unit": unit.pk, "inlet_pressure": "60"}],
        "confirmed_at": done_at,
    }
    answer = as_installer.post("/api/v1/service-records/", body)
    expected = {"/work/0/position", "/work/1/action", "/readings/0/inlet_pressure", "/confirmed_at"}
    assert pointers(answer) == expected
    wrong = [
        {"action": "replace", "unit": unit.pk, "position": place.pk, "item": resin.pk} for place in (carbon, sediment)
    ]
    del body["confirmed_at"]
    answer = as_installer.post("/api/v1/service-records/", {**body, "work": wrong})
    assert pointers(answer) == {"/work/0/item", "/work/1/item", "/readings/0/inlet_pressure"}
    assert not ServiceRecord.objects.exists()
    assert not Reading.objects.exists()
