"""What the only meter of a house says of the membrane: the one at the tap, of a unit without resin."""

from datetime import timedelta
from typing import Any

import pytest

from accounts.models import Company
from fleet.models import Finding, Reading, Unit
from tests import factories
from tests.fleet.services.findings.test_flow_as_read import BEGUN, causes_on, new_unit

NOTHING = dict.fromkeys(Reading.QUANTITIES)


def tap(unit: Unit, days: int, product: float, **also: Any) -> None:
    at = BEGUN + timedelta(days=days, hours=9)
    values = {**NOTHING, "product_tds_mg_per_l": product, **also}
    factories.ReadingFactory(unit=unit, taken_at=at, state="flowing", **values)


@pytest.mark.parametrize(
    ("values", "cause"),
    [
        # From 10 to 40 mg/L at once: three times as much in a feed that a season moves by 1.3.
        ((10, 11, 10, 10, 40, 41, 40), "o_ring_leak"),
        # From visit to visit it doubles.
        ((10, 11, 10, 10, 12, 15, 20, 27, 35, 45), "membrane_oxidised_untested"),
        # Twice as much may be other water.
        ((10, 11, 10, 10, 20, 21, 20), None),
    ],
)
def test_the_membrane_is_judged_by_the_tap_though_nobody_read_anything_else(
    company: Company, values: tuple[int, ...], cause: str | None
) -> None:
    unit = new_unit(company, tank="pressurised")
    for month, value in enumerate(values):
        tap(unit, 5 + 30 * month, float(value))
    found = causes_on(unit, 10 + 30 * len(values)) & {"o_ring_leak", "membrane_oxidised_untested"}
    assert found == ({cause} if cause else set())
    if cause:
        said = Finding.objects.get(unit=unit, cause=cause, state="open").installer_sentence
        assert said.endswith("read it first.")


def test_the_feed_that_was_read_for_the_first_time_makes_no_step_of_the_permeate_before_it(company: Company) -> None:
    unit = new_unit(company, tank="pressurised")
    for month in range(8):
        tap(unit, 5 + 30 * month, 10.0, **({"feed_tds_mg_per_l": 250.0} if month >= 5 else {}))
    assert not causes_on(unit, 225) & {"o_ring_leak", "membrane_oxidised_untested", "seal_gives_way"}


@pytest.mark.parametrize("stage", ["resin", "remineralisation"])
def test_water_that_resin_or_minerals_have_changed_says_nothing_of_the_membrane(company: Company, stage: str) -> None:
    unit = new_unit(company, tank="pressurised")
    position = factories.PositionFactory(unit=unit, stage=stage, role="single")
    item = factories.CatalogueItemFactory(company=company, kind=stage)
    factories.PlacementFactory(position=position, item=item, placed_at=BEGUN)
    for month, value in enumerate((1, 1, 1, 1, 40, 41, 40)):
        tap(unit, 5 + 30 * month, float(value))
    assert not causes_on(unit, 200) & {"o_ring_leak", "membrane_oxidised_untested"}


@pytest.mark.parametrize(("drain", "is_said"), [(95.0, True), (180.0, False), (550.0, False)])
def test_a_drain_of_a_sixth_of_its_label_is_told_at_once_whatever_else_was_read(
    company: Company, drain: float, is_said: bool
) -> None:
    """The restrictor passes 600 L/day at 400 kPa: 95 are 0.16 of it, below half of the 0.67 that two visits ask."""
    unit = new_unit(company, restrictor_flow_l_per_day=600.0, restrictor_pressure_kpa=400.0)
    tap(unit, 5, 10.0, inlet_pressure_kpa=400.0, concentrate_flow_l_per_day=drain, temperature_degc=15.0)
    assert ("restrictor_blocked" in causes_on(unit, 6)) is is_said


def test_other_water_makes_no_leak_of_a_step_that_the_meter_rounded(company: Company) -> None:
    """2 and 3 mg/L of 90 are one step of the meter; 6 of 180 are the same share, and no more of a leak."""
    unit = new_unit(company)
    feeds = (90.0, 90.0, 90.0, 90.0, 90.0, 90.0, 90.0, 90.0, 180.0, 180.0)
    for month, (feed, permeate) in enumerate(zip(feeds, (2, 2, 2, 2, 2, 3, 3, 3, 6, 6), strict=True)):
        read = {"permeate_tds_mg_per_l": float(permeate), "feed_tds_mg_per_l": feed, "temperature_degc": 15.0}
        tap(unit, 5 + 30 * month, float(permeate), permeate_flow_l_per_day=200.0, inlet_pressure_kpa=400.0, **read)
    assert "o_ring_leak" not in causes_on(unit, 300)


def test_water_that_stood_while_no_permeate_ran_says_nothing_of_the_membrane(company: Company) -> None:
    unit = new_unit(company)
    for month, value in enumerate((10, 11, 10, 10, 120, 122, 121)):
        runs = {"permeate_flow_l_per_day": 200.0 if month < 4 else 0.0, "concentrate_flow_l_per_day": 600.0}
        tap(unit, 5 + 30 * month, float(value), inlet_pressure_kpa=400.0, **runs)
    assert "o_ring_leak" not in causes_on(unit, 200)
