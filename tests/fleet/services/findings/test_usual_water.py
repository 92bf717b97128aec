"""A clogged filter in cold water is found where the forecast sees it: past the limit in the usual water of its unit."""

from datetime import UTC, datetime, timedelta

import pytest

from accounts.models import Company
from fleet.models import Finding, Unit
from fleet.services.findings.findings import refresh_findings
from tests import factories

BEGUN = datetime(2025, 1, 10, tzinfo=UTC)
CLEAN_DAYS = (2, 90, 180, 290)


@pytest.fixture
def unit(company: Company) -> Unit:
    """A unit that was read four times in most of a year, with clean filters and water of 10 degC."""
    unit = factories.UnitFactory(company=company, commissioned_on=BEGUN.date(), tank="open")
    for stage in ("sediment", "carbon", "membrane"):
        position = factories.PositionFactory(unit=unit, stage=stage, role="single")
        item = factories.CatalogueItemFactory(company=company, kind=stage)
        factories.PlacementFactory(position=position, item=item, placed_at=BEGUN)
    for days in CLEAN_DAYS:
        read(unit, days, 20.0, 10.0)
    return unit


def read(unit: Unit, days: int, differential_kpa: float, temperature_degc: float) -> None:
    factories.ReadingFactory(
        unit=unit, taken_at=BEGUN + timedelta(days=days, hours=12), state="flowing", line_pressure_kpa=600.0,
        prefilter_outlet_pressure_kpa=600.0 - differential_kpa, inlet_pressure_kpa=597.0 - differential_kpa,
        temperature_degc=temperature_degc, feed_tds_mg_per_l=230.0, permeate_tds_mg_per_l=11.0,
        product_tds_mg_per_l=None, interstage_tds_mg_per_l=None,
        permeate_flow_l_per_day=None, concentrate_flow_l_per_day=None,
    )  # fmt: skip


def is_clogged(unit: Unit, days: int) -> bool:
    refresh_findings(company=unit.company, now=BEGUN + timedelta(days=days, hours=20))
    return Finding.objects.filter(unit=unit, state="open", cause="prefilter_clogged").exists()


def test_it_is_found_when_two_visits_see_it(unit: Unit) -> None:
    """10 psi are 69 kPa: 80 are past it in this water, and would be 55 at 25 degC."""
    read(unit, 300, 80.0, 10.0)
    assert not is_clogged(unit, 300)
    read(unit, 310, 80.0, 10.0)
    assert is_clogged(unit, 310)


def test_what_no_cold_day_explains_is_found_at_once(unit: Unit) -> None:
    """69 kPa at 25 degC are 101 in this water."""
    read(unit, 300, 110.0, 10.0)
    assert is_clogged(unit, 300)


def test_a_cold_day_is_allowed_for(unit: Unit) -> None:
    """Water of 3 degC is 1.24 times as thick as that of 10 degC: 69 kPa become 85."""
    for days in (300, 310):
        read(unit, days, 80.0, 3.0)
    assert not is_clogged(unit, 310)


def test_the_first_winter_says_nothing_of_the_year(company: Company) -> None:
    """Read in cold water alone, and not for long: the year is taken to be as mains water usually is, 14 degC."""
    unit = factories.UnitFactory(company=company, commissioned_on=BEGUN.date(), tank="open")
    for stage in ("sediment", "carbon", "membrane"):
        position = factories.PositionFactory(unit=unit, stage=stage, role="single")
        item = factories.CatalogueItemFactory(company=company, kind=stage)
        factories.PlacementFactory(position=position, item=item, placed_at=BEGUN)
    for days in (2, 10, 20):
        read(unit, days, 20.0, 6.0)
    for days in (30, 40):
        # 69 kPa at 14 degC are 87 at 6.
        read(unit, days, 80.0, 6.0)
    assert not is_clogged(unit, 40)
