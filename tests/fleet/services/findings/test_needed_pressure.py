"""A line is too weak where the demand asks for more than it gives in the coldest water, and not before."""

from datetime import UTC, datetime, timedelta

import pytest

from accounts.models import Company
from fleet.models import Finding, Unit
from fleet.services.findings.facts import context_of_row, load_history
from fleet.services.findings.findings import refresh_findings
from tests import factories

BEGUN = datetime(2025, 1, 10, tzinfo=UTC)


def unit_of(company: Company, weekly_demand_l: float) -> Unit:
    unit = factories.UnitFactory(
        company=company, commissioned_on=BEGUN.date(), tank="open", has_booster_pump=False,
        weekly_demand_l=weekly_demand_l, design_recovery_fraction=1.0 / 3.0,
    )  # fmt: skip
    label = {
        "rated_flow_l_per_day": 284.0, "rated_pressure_kpa": 413.6854, "rated_temperature_degc": 25.0,
        "rated_tds_mg_per_l": 250.0, "rated_recovery_fraction": 0.15, "rejection_fraction": 0.97,
        "water_u_kelvin": None,
    }  # fmt: skip
    item = factories.CatalogueItemFactory(company=company, kind="membrane", **label)
    position = factories.PositionFactory(unit=unit, stage="membrane", role="single")
    factories.PlacementFactory(position=position, item=item, placed_at=BEGUN)
    return unit


def read(unit: Unit, days: int, line_kpa: float, degc: float) -> None:
    factories.ReadingFactory(
        unit=unit, taken_at=BEGUN + timedelta(days=days, hours=10), state="flowing", line_pressure_kpa=line_kpa,
        inlet_pressure_kpa=line_kpa - 15.0, prefilter_outlet_pressure_kpa=None, temperature_degc=degc,
        feed_tds_mg_per_l=250.0, permeate_tds_mg_per_l=10.0, interstage_tds_mg_per_l=None, product_tds_mg_per_l=None,
        permeate_flow_l_per_day=None, concentrate_flow_l_per_day=None,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("weekly_l", "line_kpa", "needed_kpa", "is_weak"),
    [
        # 30 L/day in 8 hours: a fifth of the 505.4 kPa of 150 L/day (test of the formula), and 21.9 of osmotic pressure
        (70.0, 230.0, 123.0, False),
        (70.0, 110.0, 123.0, True),
        # 100 L/day: two thirds of them
        (700.0 / 3.0, 400.0, 358.8, False),
        (700.0 / 3.0, 300.0, 358.8, True),
    ],
)
def test_a_line_is_weak_below_what_the_demand_asks_for_in_the_coldest_water(
    company: Company, weekly_l: float, line_kpa: float, needed_kpa: float, is_weak: bool
) -> None:
    unit = unit_of(company, weekly_l)
    read(unit, 20, line_kpa, 5.0)
    read(unit, 60, line_kpa, 12.0)
    read(unit, 90, line_kpa, 15.0)
    history = load_history(company, [unit.pk])
    assert context_of_row(history, 2)["needed_inlet_pressure_kpa"] == pytest.approx(needed_kpa, abs=1.5)
    refresh_findings(company=company, now=BEGUN + timedelta(days=90, hours=20))
    causes = Finding.objects.filter(unit=unit, state="open").values_list("cause", flat=True)
    assert ("line_pressure_low_no_booster_pump" in causes) is is_weak
