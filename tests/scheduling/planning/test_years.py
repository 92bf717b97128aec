"""A year of decisions on a small simulated fleet: forecasts and planning must earn what they are for.

The full tables, with more fleets and several prices of bad water, are printed by ``tests.benchmarks.bench_policy``.
"""

from __future__ import annotations

import pytest

from scheduling.planning.policy import Policy
from tests.simulator.years import Tally, Way, run_years

SIX, FAILS, FIXED, PLANNED = "six months", "a reading fails", "fixed intervals", "planned"


pytestmark = pytest.mark.long


@pytest.fixture(scope="module")
def year() -> dict[str, Tally]:
    ways = [
        Way(SIX, 182.0),
        Way(FAILS, 182.0, on_readings=True),
        Way(FIXED, dates="fixed"),
        Way(PLANNED, dates="learned"),
    ]
    return run_years(24, 41, ways, Policy())


def test_a_planned_year_costs_less_and_leaves_less_bad_water_than_any_rhythm(year: dict[str, Tally]) -> None:
    planned = year[PLANNED]
    for other in (SIX, FAILS):
        assert planned.money() < 0.8 * year[other].money()
        assert planned.off_spec_days < 0.5 * year[other].off_spec_days
    assert planned.money() < year[FIXED].money()
    assert sum(planned.replaced.values()) < sum(year[FIXED].replaced.values())


def test_hardly_a_visit_is_made_that_the_busiest_position_would_not_ask_for(year: dict[str, Tally]) -> None:
    assert year[PLANNED].paced >= 0.85 * year[PLANNED].visits


def test_what_is_counted_adds_up(year: dict[str, Tally]) -> None:
    planned, policy = year[PLANNED], Policy()
    both = planned + year[SIX]
    assert both.money() == pytest.approx(planned.money() + year[SIX].money())
    assert both.unit_years == 48.0
    minutes = policy.removal_minutes * planned.visits + policy.minutes_for("replace") * sum(planned.replaced.values())
    driving = planned.going - policy.visit_cost * planned.visits - policy.working_cost_per_minute * minutes
    assert 0.0 < driving < 60.0 * planned.visits
    assert planned.money(0.0) == pytest.approx(planned.going + planned.cartridges + planned.damage)
