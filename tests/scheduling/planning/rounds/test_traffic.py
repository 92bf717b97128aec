from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds import Appointment, Traffic, evaluate, plan_rounds
from scheduling.planning.rounds.schedule import keeps_time, time_round
from tests.scheduling.planning.rounds.instances import HOUR, make_week
from tests.scheduling.planning.rounds.test_evaluate import MINUTE, line_problem

RUSH = Traffic(((7 * HOUR, 1.6), (9 * HOUR + 30 * MINUTE, 1.1), (16 * HOUR, 1.8), (18 * HOUR, 1.0)))


@given(st.integers(0, 4 * HOUR), st.integers(5 * HOUR, 19 * HOUR), st.integers(1, 2 * HOUR))
def test_leaving_later_never_means_arriving_sooner(free: int, departs: int, later: int) -> None:
    arrives = departs + RUSH.drive_s(free, departs)
    assert arrives <= departs + later + RUSH.drive_s(free, departs + later)
    assert free <= arrives - departs <= round(1.8 * free)


@given(st.integers(0, 4 * HOUR), st.integers(6 * HOUR, 20 * HOUR))
def test_the_latest_departure_is_just_in_time(free: int, arrives: int) -> None:
    departs = RUSH.departs_s(free, arrives)
    assert departs + RUSH.drive_s(free, departs) <= arrives
    assert departs + 1 + RUSH.drive_s(free, departs + 1) > arrives or free == 0


def test_a_trip_is_slowed_minute_by_minute() -> None:
    """Summed over seconds: the share of the trip driven in each is one over the factor that holds then."""
    for departs in (6 * HOUR + 40 * MINUTE, 9 * HOUR + 10 * MINUTE, 15 * HOUR + 50 * MINUTE):
        free_left_s, clock = 3_000.0, departs
        while free_left_s > 0.0:
            factor = next((f for begin, f in reversed(RUSH.periods) if begin <= clock), 1.0)
            free_left_s -= 1.0 / factor
            clock += 1
        assert RUSH.drive_s(3_000, departs) == pytest.approx(clock - departs, abs=2)


def test_a_free_road_is_a_factor_of_one() -> None:
    problem = make_week(30, seed=2)
    slow = dataclasses.replace(problem, traffic=Traffic(()))
    for stops in ((1, 2, 3), (4, 9, 17, 20), (8,)):
        assert time_round(problem, 0, 1, stops) == time_round(slow, 0, 1, stops)


def test_both_clocks_agree_in_traffic() -> None:
    problem = dataclasses.replace(make_week(30, seed=3, days=2), traffic=RUSH)
    arrivals = [
        (time_round(problem, k % 4, k % 2, stops) is not None, keeps_time(problem, k % 4, k % 2, stops))
        for k in range(200)
        for stops in [tuple((k * 7 + step * 11) % 30 for step in range(1 + k % 6))]
        if len(set(stops)) == len(stops)
    ]
    assert all(one == other for one, other in arrivals)
    assert 20 < sum(one for one, _ in arrivals) < len(arrivals) - 20


def test_an_early_appointment_means_leaving_earlier() -> None:
    problem = line_problem(
        [40], candidates=[{"appointment": Appointment(0, 9 * HOUR)}], installer={"max_overtime_s": 0}
    )
    plain = evaluate(problem, {(0, 0): (0,)}).routes[0]
    rush = evaluate(dataclasses.replace(problem, traffic=Traffic(((8 * HOUR, 1.4),))), {(0, 0): (0,)}).routes[0]
    assert plain.leaves_s == 8 * HOUR + 20 * MINUTE
    assert rush.leaves_s == 8 * HOUR + 4 * MINUTE
    assert rush.drive_s == 2 * 56 * MINUTE
    assert rush.driving_cents == plain.driving_cents + 32  # 32 more minutes at a cent
    too_slow = dataclasses.replace(problem, traffic=Traffic(((8 * HOUR, 1.6),)))
    assert [f.code for f in evaluate(too_slow, {(0, 0): (0,)}).faults] == ["too_late"]


def test_rounds_in_traffic_can_be_driven_and_beat_those_made_by_hand() -> None:
    problem = dataclasses.replace(make_week(80, seed=17), traffic=RUSH)
    plan = plan_rounds(problem, iterations=2_500, seed=1)
    assert plan.evaluation.faults == ()
    assert (plan.evaluation.missed_urgent, plan.evaluation.missed_appointments) == ((), ())
    assert plan.evaluation.total_cents < plan.naive_total_cents
    free = plan_rounds(make_week(80, seed=17), iterations=2_500, seed=1)
    assert plan.evaluation.total_cents > free.evaluation.total_cents


@pytest.mark.parametrize("periods", [((9, 1.2), (8, 1.0)), ((8, 0.5),), ((8, float("nan")),), ((-1, 1.0),)])
def test_wrong_periods_are_named(periods: tuple) -> None:
    with pytest.raises(PlanningError, match=r"traffic\.periods"):
        Traffic(periods)


@pytest.mark.parametrize(
    ("from_s", "to_s", "mean"),
    [
        (5 * HOUR, 6 * HOUR, 1.0),  # before the first period
        (6 * HOUR, 8 * HOUR, 1.3),  # an hour at 1, an hour at 1.6
        (7 * HOUR, 9 * HOUR + 30 * MINUTE, 1.6),
        (9 * HOUR, 10 * HOUR, 1.35),
        (17 * HOUR, 20 * HOUR, (1.8 + 2.0) / 3.0),  # the last period has no end
        (22 * HOUR, 23 * HOUR, 1.0),
        (8 * HOUR, 8 * HOUR, 1.0),
        (8 * HOUR, 7 * HOUR, 1.0),
    ],
)
def test_the_mean_factor_of_a_span(from_s: int, to_s: int, mean: float) -> None:
    assert RUSH.mean_factor(from_s, to_s) == pytest.approx(mean)
    assert Traffic(()).mean_factor(from_s, to_s) == 1.0


@pytest.mark.parametrize("periods", [((0, 1.0),), ((86_400, 10.0),), ((8, 1.0), (9, 10.0)), ()])
def test_the_ends_of_what_periods_may_be_are_taken(periods: tuple) -> None:
    assert Traffic(periods).periods == periods


@pytest.mark.parametrize("periods", [((86_401, 1.0),), ((8, 10.01),), ((8, 0.99),), ((8, 1.0), (8, 1.1))])
def test_what_lies_beyond_is_refused(periods: tuple) -> None:
    with pytest.raises(PlanningError, match=r"traffic\.periods"):
        Traffic(periods)


def test_leaving_where_a_period_begins() -> None:
    """At 7:00 the factor is 1.6 already; a trip that ends at 7:00 was free."""
    assert RUSH.drive_s(600, 7 * HOUR) == 960
    assert RUSH.drive_s(600, 7 * HOUR - 600) == 600
    assert RUSH.drive_s(601, 7 * HOUR - 600) == 602
    assert RUSH.departs_s(600, 7 * HOUR) == 7 * HOUR - 600
    assert RUSH.departs_s(600, 8 * HOUR) == 8 * HOUR - 960
    assert RUSH.departs_s(0, 8 * HOUR) == 8 * HOUR
