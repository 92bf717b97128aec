"""The pressure that a demand asks for, worked out on paper, and that sizing and diagnosis draw the same line."""

from dataclasses import replace

import pytest

from fleet.engineering.formulas.expected_flow import MembraneRating, expected_permeate_flow_l_per_day
from fleet.engineering.formulas.needed_pressure import needed_inlet_kpa, pump_is_due_below_kpa
from fleet.engineering.sizing.flows import flow_choices, needed_inlet_of
from fleet.engineering.sizing.offer import Item, SizingRequest, WaterUse
from fleet.engineering.sizing.survey import SiteSurvey, SizingPolicy

PSI = 6.894757293168361
LABEL = MembraneRating(757.0, 413.6854, 25.0, 250.0, 0.15, 0.97)
COLD = {"coldest_degc": 5.0, "feed_tds_mg_per_l": 250.0, "recovery_fraction": 1.0 / 3.0}


def test_worked_by_hand_into_an_open_container_at_5_degc() -> None:
    """350 L a week in 8 hours a day: 150 L/day. A label of 757 L/day, aged to 0.85, at 392.84 kPa of driving pressure.

    The brine (mean 304.1 mg/L) has 22.45 kPa and the permeate 0.55 at 5 degC; TCF 0.4830 (two slopes, 3020 K below
    25 degC). 150 / (757 x 0.85 x 0.4830) x 392.84 = 189.6 kPa of driving pressure, and 21.9 of osmotic: 211.5 kPa,
    30.7 psi. A label of 284 L/day asks for 505.4 + 21.9 = 527.3 kPa, 76 psi.
    """
    aged = replace(LABEL, flow_l_per_day=757.0 * 0.85)
    assert needed_inlet_kpa(aged, permeate_l_per_day=150.0, **COLD) == pytest.approx(211.5, abs=0.5)
    small = replace(LABEL, flow_l_per_day=284.0 * 0.85)
    assert needed_inlet_kpa(small, permeate_l_per_day=150.0, **COLD) == pytest.approx(527.3, abs=1.0)
    assert needed_inlet_kpa(small, permeate_l_per_day=700.0, **COLD) is None


def test_it_is_the_pressure_at_which_the_membrane_gives_that_flow() -> None:
    needed = needed_inlet_kpa(LABEL, permeate_l_per_day=150.0, **COLD)
    assert needed is not None
    flow = expected_permeate_flow_l_per_day(
        LABEL, pressure_kpa=needed, temperature_degc=5.0, tds_mg_per_l=250.0, recovery_fraction=1.0 / 3.0
    )
    assert flow == pytest.approx(150.0)


def test_worked_by_hand_a_tank_that_asks_for_more() -> None:
    """All of it into a tank of 7 psi (48.26 kPa) air that is full at 40 psi (275.79 kPa).

    Where 379.21 kPa drive, filling takes 1.639 times as long (`tank_fill_time_multiple`, Boyle's law), and 401.1 kPa
    stand before the membrane, of which two thirds are 267.4 kPa: it stops a little earlier. So 150 L/day stored ask
    for a flow that gives some 1.6 x 150 at full driving pressure.
    """
    aged = replace(LABEL, flow_l_per_day=757.0 * 0.85)
    tank = {"through_tank_l_per_day": 150.0, "precharge_kpa": 7.0 * PSI, "tank_full_kpa": 40.0 * PSI}
    needed = needed_inlet_kpa(aged, permeate_l_per_day=150.0, **tank, **COLD)
    assert needed is not None
    # 1.6 to 1.75 times the 189.6 kPa of an open container, as the fill takes so much longer
    assert 1.55 < (needed - 21.9) / 189.6 < 1.85
    half = needed_inlet_kpa(aged, permeate_l_per_day=150.0, **{**tank, "through_tank_l_per_day": 75.0}, **COLD)
    assert half is not None
    assert 211.5 < half < needed


@pytest.mark.parametrize(
    ("needed_psi", "due_psi"), [(30.0, 30.0), (49.9, 49.9), (50.1, 50.0), (80.0, 50.0), (None, 50.0)]
)
def test_a_pump_is_due_below_the_need_and_at_most_below_the_rule_of_thumb(
    needed_psi: float | None, due_psi: float
) -> None:
    """50 psi: common practice, no source."""
    needed = None if needed_psi is None else needed_psi * PSI
    assert pump_is_due_below_kpa(needed) == pytest.approx(due_psi * PSI)


@pytest.mark.parametrize("use", ["reef", "drinking"])
def test_sizing_offers_a_membrane_without_a_pump_exactly_from_the_needed_pressure_on(use: str) -> None:
    stock = [Item("M75", "75", "membrane", 38.0, rating=replace(LABEL, flow_l_per_day=284.0))]
    survey = SiteSurvey(use, 60.0, 300.0, 6.0, 12.0, 250.0)
    policy = SizingPolicy(prefilter_allowance_kpa=0.0)

    def offered(line_kpa: float) -> bool:
        site = replace(survey, lowest_line_pressure_kpa=line_kpa)
        request = SizingRequest((WaterUse(use, 60.0),), site, has_power=False, membranes=1)
        return any(choice.waste_ratio == 4.0 for choice in flow_choices(request, stock, policy))

    request = SizingRequest((WaterUse(use, 60.0),), replace(survey, lowest_line_pressure_kpa=500.0), membranes=1)
    choice = next(one for one in flow_choices(request, stock, policy) if one.waste_ratio == 4.0 and not one.is_pumped)
    needed = needed_inlet_of(request, choice, policy)
    assert needed is not None
    assert not offered(needed - 1.0)
    assert offered(needed + 1.0)
