"""What a unit's readings mean is told outside when it begins, once, in the transaction that stores it."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.db import transaction

from accounts.models import Company
from accounts.webhooks.described import DATA
from accounts.webhooks.models import Event, WebhookDelivery
from fleet.models import Finding, Forecast, Position, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.forecasts import forecast_company
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    factories.WebhookEndpointFactory(company=company, events=["finding.opened", "forecast.past_limit"])
    factories.WebhookEndpointFactory(company=company, events=["finding.opened"], is_on=False)
    factories.WebhookEndpointFactory(events=["finding.opened", "forecast.past_limit"])
    return factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1))


def told(event: Event) -> list[WebhookDelivery]:
    rows = list(WebhookDelivery.objects.filter(event=event).order_by("pk"))
    for row in rows:
        assert set(row.body["data"]) == set(DATA[event])
        assert row.body["type"] == event.value
    return rows


def test_a_finding_that_opens_is_told_once_and_again_when_it_opens_anew(unit: Unit) -> None:
    wet = {"water_on_floor": True}
    factories.ReadingFactory(unit=unit, taken_at=NOW - timedelta(days=3), observations=wet)
    for _ in range(2):
        refresh_findings(company=unit.company, now=NOW)
    finding = Finding.objects.get(cause="water_leak")
    (delivery,) = [row for row in told(Event.FINDING_OPENED) if row.body["data"]["cause"] == "water_leak"]
    assert delivery.body["data"]["finding"] == finding.pk
    assert delivery.body["data"]["unit_code"] == unit.code
    assert delivery.body["data"]["company"] == unit.company_id == delivery.endpoint.company_id
    Finding.objects.update(state="closed", closed_at=NOW)
    refresh_findings(company=unit.company, now=NOW)
    assert [row.body["data"]["cause"] for row in told(Event.FINDING_OPENED)].count("water_leak") == 2


def test_what_is_taken_back_is_told_to_nobody(unit: Unit) -> None:
    factories.ReadingFactory(unit=unit, taken_at=NOW - timedelta(days=3), observations={"water_on_floor": True})
    with transaction.atomic():
        refresh_findings(company=unit.company, now=NOW)
        assert WebhookDelivery.objects.exists()
        transaction.set_rollback(True)
    assert not WebhookDelivery.objects.exists()


def test_a_forecast_that_passes_a_limit_is_told_once_for_a_cartridge(unit: Unit) -> None:
    lead, lag = (factories.PositionFactory(unit=unit, stage="resin", role=role) for role in ("lead", "lag"))
    placements = {
        position: factories.PlacementFactory(position=position, placed_at=datetime(2025, 12, 1, tzinfo=UTC))
        for position in (lead, lag)
    }
    for day, tds in ((20, 0.5), (10, 1.0)):
        _read(unit, day, tds)
    forecast_company(company=unit.company, now=NOW - timedelta(days=3))
    assert not told(Event.FORECAST_PAST_LIMIT)
    for day in (2, 1):
        _read(unit, day, 12.0)
    for days in (0, 0, 1, 2):
        forecast_company(company=unit.company, now=NOW + timedelta(days=days))
    assert Forecast.objects.filter(position=lead, is_latest=True).get().state == "exhausted"
    (delivery,) = told(Event.FORECAST_PAST_LIMIT)
    data = delivery.body["data"]
    assert (data["position"], data["placement"], data["role"]) == (lead.pk, placements[lead].pk, "lead")
    # A fresh cartridge that is spent in its turn is news.
    _replace(lead, placements[lead])
    forecast_company(company=unit.company, now=NOW + timedelta(days=4))
    assert len(told(Event.FORECAST_PAST_LIMIT)) == 1
    _read(unit, -40, 12.0)
    _read(unit, -41, 12.0)
    forecast_company(company=unit.company, now=NOW + timedelta(days=42))
    assert [row.body["data"]["position"] for row in told(Event.FORECAST_PAST_LIMIT)].count(lead.pk) == 2


def _read(unit: Unit, days_ago: int, interstage: float) -> None:
    factories.ReadingFactory(
        unit=unit,
        taken_at=NOW - timedelta(days=days_ago),
        permeate_tds_mg_per_l=12.0,
        permeate_flow_l_per_day=180.0,
        interstage_tds_mg_per_l=interstage,
        product_tds_mg_per_l=0.0,
        temperature_degc=15.0,
        sampled_after_flush=True,
    )


def _replace(position: Position, placement: object) -> None:
    at = NOW + timedelta(days=3)
    position.placements.update(removed_at=at, removal="exhausted")
    factories.PlacementFactory(position=position, placed_at=at)
