"""What a reading says is said of the cartridge it saw: status and findings rest on those that stand there now."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.engineering.limits import HOUSE
from fleet.models import Finding, Placement, Unit
from fleet.services.findings.findings import refresh_findings
from fleet.services.forecasts.groups import first_to_fail_of_unit
from fleet.services.status import Status, status_of
from tests import factories

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
CHANGED = datetime(2026, 3, 9, 10, tzinfo=UTC)


@pytest.fixture
def unit(company: Company) -> Unit:
    """A reef unit whose resin was changed yesterday at ten."""
    unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1), product_tds_target_mg_per_l=1.0)
    for stage in ("sediment", "carbon", "membrane", "resin"):
        position = factories.PositionFactory(unit=unit, stage=stage)
        factories.PlacementFactory(position=position, placed_at=datetime(2025, 9, 1, tzinfo=UTC))
    change(unit, "resin")
    return unit


def change(unit: Unit, stage: str) -> None:
    old = Placement.objects.get(position__unit=unit, position__stage=stage, removed_at__isnull=True)
    old.removed_at, old.removal = CHANGED, "exhausted"
    old.save()
    factories.PlacementFactory(position=old.position, placed_at=CHANGED)


def read(unit: Unit, hours: float, *, occasion: str = "routine", **values: Any) -> None:
    """A reading so many hours after the change."""
    named = {"product_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 9.0, "feed_tds_mg_per_l": 240.0, **values}
    factories.ReadingFactory(unit=unit, taken_at=CHANGED + timedelta(hours=hours), occasion=occasion, **named)


def status(unit: Unit) -> Status:
    return status_of(unit=unit, now=NOW)


@pytest.mark.parametrize(
    ("hours", "occasion"),
    [(-300.0, "routine"), (-1.0, "routine"), (-1.0, "as_found"), (0.5, "as_found"), (0.0, "routine")],
)
def test_a_reading_of_the_cartridge_before_says_nothing_of_this_one(unit: Unit, hours: float, occasion: str) -> None:
    read(unit, hours, occasion=occasion)
    unit_status = status(unit)
    assert (unit_status.water, unit_status.value_mg_per_l, unit_status.read_at) == ("unknown", None, None)
    assert unit_status.sentence == "The resin was replaced on 9 Mar 2026, and nobody has measured the water since."
    refresh_findings(company=unit.site.company, now=NOW)
    assert not Finding.objects.filter(unit=unit, cause="di_both_exhausted").exists()


@pytest.mark.parametrize(
    ("hours", "occasion"), [(0.5, "routine"), (0.5, "as_left"), (-0.5, "as_left"), (0.0, "as_left")]
)
def test_a_reading_after_the_change_is_of_the_new_cartridge(unit: Unit, hours: float, occasion: str) -> None:
    read(unit, -2.0, occasion="as_found")
    read(unit, hours, occasion=occasion, product_tds_mg_per_l=0.0)
    assert (status(unit).water, status(unit).value_mg_per_l) == ("good", 0.0)
    read(unit, 20.0, product_tds_mg_per_l=9.0)
    assert status(unit).water == "not_good"
    refresh_findings(company=unit.site.company, now=NOW)
    assert Finding.objects.filter(unit=unit, cause="di_both_exhausted", state="open").exists()


def test_chlorine_past_a_carbon_that_was_changed_is_history(unit: Unit) -> None:
    read(unit, 1.0, product_tds_mg_per_l=0.0)
    read(unit, -1.0, carbon_outlet_total_chlorine_mg_per_l=0.5)
    assert status(unit).water == "not_good"
    change(unit, "carbon")
    assert status(unit).water == "good"


def test_a_unit_that_was_never_read_is_told_so(unit: Unit) -> None:
    assert status(unit).sentence == "Nobody has measured the water of this unit yet."


def test_the_first_to_fail_is_none_that_was_changed(unit: Unit) -> None:
    removed = Placement.objects.get(position__unit=unit, position__stage="resin", removed_at__isnull=False)
    factories.ForecastFactory(
        position=removed.position, placement=removed, state="exhausted", date_grid=[9] * 45, p50=NOW.date()
    )
    answer = first_to_fail_of_unit(unit=unit)
    assert (answer.forecast, answer.dated_count, answer.position_count) == (None, 0, 1)
    assert "was installed after the last forecast" in answer.client_sentence


def test_a_units_page_shows_no_forecast_of_a_cartridge_that_was_changed(unit: Unit, as_owner: APIClient) -> None:
    removed = Placement.objects.get(position__unit=unit, position__stage="resin", removed_at__isnull=False)
    forecast = factories.ForecastFactory(
        position=removed.position, placement=removed, state="exhausted", date_grid=[405] * 45
    )
    shown = as_owner.get(f"/api/v1/units/{unit.pk}/").json()
    assert shown["next_change_on"] is None
    assert [place["forecast"] for place in shown["positions"] if place["stage"] == "resin"] == [None]
    forecast.placement = Placement.objects.get(position=removed.position, removed_at__isnull=True)
    forecast.save()
    assert as_owner.get(f"/api/v1/units/{unit.pk}/").json()["next_change_on"] == forecast.p50.isoformat()


@pytest.mark.parametrize("factor", [1.0, 0.5])
@pytest.mark.parametrize(
    ("limit", "quantity"),
    [
        ("product_tds_mg_per_l", "product_tds_mg_per_l"),
        ("chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l"),
        ("chlorine_mg_per_l", "carbon_outlet_free_chlorine_mg_per_l"),
    ],
)
def test_the_water_is_good_just_before_a_limit_of_the_unit_and_not_just_past_it(
    unit: Unit, limit: str, quantity: str, factor: float
) -> None:
    at = factor * getattr(HOUSE, limit)
    factories.ExhaustionLimitsFactory(company=unit.site.company, use="", **{limit: at})
    for hours, value, water in ((1.0, at - 1e-6, "good"), (2.0, at + 1e-6, "not_good")):
        read(unit, hours, **{"product_tds_mg_per_l": 0.0, quantity: value})
        assert status(unit).water == water
