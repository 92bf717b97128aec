"""Which way to read a unit gains most."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.needs.gauges import BreakthroughGauge, LevelGauge, gauge_of
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, cost_curves
from scheduling.planning.needs.ways_to_read import (
    DAYS,
    Offer,
    Unknown,
    Way,
    best_day,
    best_way,
    costs_by_state,
    value_of_reading,
)

PERFECT = BreakthroughGauge(("product_tds_mg_per_l",), missed=0.0, false_alarm=0.0)

at = dataclasses.replace


def on_two_days(first: float, last: float) -> tuple[float, ...]:
    """Exhausted on one day with 0.5 or the other with 0.475; the row of quantiles puts a fortieth halfway between."""
    return tuple(first if level < 0.51 else last for level in DISTRIBUTION_LEVELS)


def evenly(first: float, last: float) -> tuple[float, ...]:
    return tuple(first + (last - first) * level for level in DISTRIBUTION_LEVELS)


def unknown(**values: Any) -> Unknown:
    facts = {
        "position": 1,
        "gauge": PERFECT,
        "quantile_days": on_two_days(0.0, 100.0),
        "used_days": 100.0,
        "waste": 20.0,
        "late_cost_per_day": 1.0,
    }
    return Unknown(**{**facts, **values})


def test_work_is_weighed_by_the_day_then_the_week_then_the_month_over_two_years() -> None:
    steps = np.diff(DAYS)
    assert DAYS[0] == 0.0
    assert set(steps[DAYS[:-1] < 13.0]) == {1.0}
    assert steps[DAYS[:-1] < 175.0].max() == 7.0
    assert steps.max() == 28.0
    assert 2 * 365 - 28 < DAYS[-1] <= 2 * 366


def test_the_costs_of_the_states_are_those_of_the_need() -> None:
    lead = unknown(quantile_days=evenly(60.0, 260.0), exhausted_quantile_days=evenly(-20.0, 180.0))
    cost, probability, end = costs_by_state(at(lead, exhausted_cost_per_day=0.3))
    curves = cost_curves(
        [lead.quantile_days],
        remaining_share=[0.5],
        price=[40.0],
        late_cost_per_day=[1.0],
        exhausted_quantile_days=[lead.exhausted_quantile_days],
        exhausted_cost_per_day=[0.3],
        days=DAYS,
    )
    # states are points where the need has stretches: half a per cent of what it costs at most
    assert probability @ cost == pytest.approx(curves.total[0], abs=0.05)
    assert probability.sum() == pytest.approx(1.0)
    assert end[0] < 0.0 < end[-1]


def test_what_was_exhausted_before_today_costs_its_late_days_from_today_on() -> None:
    cost, _, _ = costs_by_state(unknown(quantile_days=on_two_days(-50.0, -50.0)))
    assert cost == pytest.approx(np.broadcast_to(DAYS, cost.shape))


def test_what_a_reading_saves_of_an_even_chance() -> None:
    """Exhausted today or in 100 days.

    48.75 days are left on average, worth 20: 0.41 a day. Without a reading, waiting costs 1.00 a day in half the cases
    and saves 0.41 in the others, so it is replaced today for 20. Known today, what is exhausted is replaced for nothing
    and the rest on day 98, with 0.475 * 2 * 0.41 = 0.39 wasted and 0.025 * 48 = 1.20 late.
    """
    assert value_of_reading(unknown(), Way.SEND, known_from_day=0.0) == pytest.approx(20.0 - 1.59, abs=0.01)
    # known on day 10, what is exhausted has cost 0.5 * 10
    assert value_of_reading(unknown(), Way.ASK_CLIENT, known_from_day=10.0) == pytest.approx(20.0 - 6.59, abs=0.01)
    # and on day 56 more than it saves
    assert value_of_reading(unknown(), Way.NEXT_VISIT, known_from_day=56.0) == 0.0


def test_a_visit_that_comes_anyway_pays_for_what_is_replaced_on_it() -> None:
    """Whoever reads on it replaces what is exhausted; what is sound takes a visit of its own later on."""
    needs_visit = unknown(visit_price=30.0, interval_days=200.0, next_visit_day=0.0)
    # today 20 and no visit. By the reading nothing for what is exhausted, and on day 98 for the other half 1.59 and a
    # visit of 30 * (1 - 98 / 200)
    assert value_of_reading(needs_visit, Way.NEXT_VISIT, known_from_day=0.0) == pytest.approx(20 - 9.24, abs=0.01)
    # without that visit 30 more are paid today without a reading, and with it for what is exhausted
    alone = at(needs_visit, next_visit_day=None)
    assert value_of_reading(alone, Way.ASK_CLIENT, known_from_day=0.0) == pytest.approx(50 - 15 - 9.24, abs=0.01)


@pytest.mark.parametrize(
    ("change", "day"),
    [
        # waste falls to nothing until its day, then every day costs 1
        ({"quantile_days": on_two_days(49.0, 49.0)}, 49.0),
        # a visit costs 30 today and 0.15 less every day, which is less than a late day costs
        ({"quantile_days": on_two_days(49.0, 49.0), "visit_price": 30.0, "interval_days": 200.0}, 49.0),
        # where nothing is late, after the interval of visits
        ({"late_cost_per_day": 0.0, "waste": 0.0, "visit_price": 30.0, "interval_days": 180.0}, 182.0),
        # one that comes anyway costs nothing a week before, when 7 of 49 days are lost of 20
        ({"quantile_days": on_two_days(49.0, 49.0), "visit_price": 30.0, "next_visit_day": 42.0}, 42.0),
    ],
)
def test_the_day_that_costs_least(change: dict[str, Any], day: float) -> None:
    assert best_day(unknown(**change)) == day


@pytest.mark.parametrize("stage", ["sediment", "carbon", "membrane", "resin"])
@pytest.mark.parametrize("way", [Way.ASK_CLIENT, Way.NEXT_VISIT])
def test_a_date_that_is_known_is_not_asked_for(stage: str, way: Way) -> None:
    sure = unknown(gauge=gauge_of(stage), quantile_days=on_two_days(40.0, 40.0), visit_price=30.0, interval_days=180.0)
    assert value_of_reading(sure, way, known_from_day=3.0) == pytest.approx(0.0, abs=1e-9)


@given(
    st.floats(-50.0, 200.0),
    st.floats(1.0, 300.0),
    st.floats(0.0, 60.0),
    st.floats(0.0, 25.0),
    st.sampled_from(list(Way)),
)
def test_a_better_gauge_is_worth_no_less(first: float, width: float, waste: float, late: float, way: Way) -> None:
    cartridge = unknown(
        quantile_days=evenly(first, first + width),
        waste=waste,
        late_cost_per_day=late,
        visit_price=25.0,
        interval_days=180.0,
    )
    levels = [at(cartridge, gauge=LevelGauge(("a",), error, 0.0)) for error in (0.0, 0.15)]
    trips = [at(cartridge, gauge=BreakthroughGauge(("a",), error, error)) for error in (0.0, 0.2)]
    for better, worse in (levels, trips):
        more, less = (value_of_reading(gauge, way, known_from_day=4.0) for gauge in (better, worse))
        assert 0.0 <= less <= more + 1e-6
        # and it is taken exactly where it is worth its price
        reads = frozenset(better.gauge.reads)
        assert best_way([better], [Offer(way, 4.0, more + 0.01, reads)]) is None
        taken = best_way([better], [Offer(way, 4.0, max(more - 0.01, 0.0), reads)])
        # nothing is gained where a value is nothing but rounding
        assert (taken is not None) is (more > 0.0) or more < 1e-9


ASK = Offer(Way.ASK_CLIENT, 5.0, 2.0, frozenset({"product_tds_mg_per_l"}), answered=0.5)
NEXT = Offer(Way.NEXT_VISIT, 30.0, 5.0, frozenset({"product_tds_mg_per_l"}))
SEND = Offer(Way.SEND, 1.0, 40.0, frozenset({"product_tds_mg_per_l"}))


def test_the_way_that_gains_most_is_taken() -> None:
    # known on day 5 it saves 20 - 1.59 - 0.5 * 5, asked for in vain half the time; on day 35 20 - 1.59 - 0.5 * 35
    wanted = best_way([unknown()], [ASK, NEXT, SEND])
    assert wanted is not None
    assert (wanted.way, wanted.position, wanted.reads) == (Way.ASK_CLIENT, 1, ("product_tds_mg_per_l",))
    assert (wanted.saves, wanted.price) == pytest.approx((15.91 / 2, 2.0), abs=0.01)
    assert wanted.net == wanted.saves - wanted.price
    at_once = best_way([unknown()], [ASK, at(SEND, price=5.0)])
    assert at_once is not None
    assert at_once.way == Way.SEND


def test_one_reading_tells_of_all_whose_gauges_are_read() -> None:
    other = unknown(position=2, gauge=BreakthroughGauge(("permeate_tds_mg_per_l",), 0.0, 0.0), waste=30.0)
    soon = at(NEXT, known_from_day=3.0)
    one = best_way([unknown(), other], [soon])
    both = best_way([unknown(), other], [at(soon, reads=NEXT.reads | {"permeate_tds_mg_per_l"})])
    assert one is not None
    assert both is not None
    assert set(one.saves_at) == {1}
    assert set(both.saves_at) == {1, 2}
    assert both.position == 2
    assert both.reads == ("product_tds_mg_per_l", "permeate_tds_mg_per_l")
    assert both.saves == pytest.approx(sum(both.saves_at.values()))


@pytest.mark.parametrize(
    ("unknowns", "offers"),
    [
        ([], [ASK, NEXT, SEND]),
        ([unknown()], []),
        ([unknown()], [at(ASK, reads=frozenset({"permeate_tds_mg_per_l"}))]),
        ([unknown()], [at(ASK, price=9.0), SEND]),
        ([unknown()], [at(ASK, answered=0.0)]),
    ],
    ids=["nothing unknown", "no way", "no gauge", "too dear", "nobody answers"],
)
def test_what_gains_nothing_is_not_wanted(unknowns: list[Unknown], offers: list[Offer]) -> None:
    assert best_way(unknowns, offers) is None
