from __future__ import annotations

import datetime
import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds import (
    Appointment,
    Candidate,
    Installer,
    Lunch,
    Rates,
    RoundProblem,
    Shift,
    Window,
    evaluate,
)
from scheduling.planning.rounds.schedule import keeps_time, time_round
from scheduling.planning.travel.trips import Place, Travel
from tests.published.test_small_rounds import simulate
from tests.scheduling.planning.rounds.instances import HOUR, make_week

HERE = Place(50.0, 9.0)
MINUTE = 60


def line_problem(
    positions_min: list[int], *, candidates: list[dict] | None = None, installer: dict | None = None, days: int = 1
) -> RoundProblem:
    """Places along a road, told by how many minutes they lie from home; a minute and a kilometre each cost a cent."""
    x = np.array([0, *positions_min])
    trips = np.abs(x[:, None] - x[None, :])
    visits = [
        Candidate(
            **{
                "key": f"v{k}",
                "place": HERE,
                "windows": tuple(Window(day, 8 * HOUR, 18 * HOUR) for day in range(days)),
                "service_s": 30 * MINUTE,
                "cost_by_day_cents": (100,) * days,
                "cost_if_unserved_cents": 1_000,
                **((candidates or [{}] * len(positions_min))[k]),
            }
        )
        for k in range(len(positions_min))
    ]
    person = Installer(
        **{
            "key": "Ada",
            "home": HERE,
            "shifts": tuple(Shift(day, 8 * HOUR, 17 * HOUR) for day in range(days)),
            **(installer or {}),
        }
    )
    return RoundProblem(
        datetime.date(2026, 11, 30),
        days,
        (person,),
        tuple(visits),
        Rates(driving_minute_cents=1, km_cents=1),
        Travel(trips * 1_000, trips * MINUTE, "a road"),
    )


def codes(problem: RoundProblem, stops: tuple[int, ...], day: int = 0) -> list[str]:
    return [fault.code for fault in evaluate(problem, {(0, day): stops}).faults]


def test_a_day_worked_by_hand() -> None:
    problem = line_problem([10, 30, 40])
    judged = evaluate(problem, {(0, 0): (0, 1, 2)})
    (route,) = judged.routes
    assert [stop.arrival_s for stop in route.stops] == [8 * HOUR + m * MINUTE for m in (10, 60, 100)]
    # work is over at 10:10, home at 10:50, lunch there from 11:30
    assert route.stops[-1].end_s == 8 * HOUR + 130 * MINUTE
    assert (route.leaves_s, route.returns_s) == (8 * HOUR, 10 * HOUR + 50 * MINUTE)
    assert (route.lunch_start_s, route.lunch_after) == (11 * HOUR + 30 * MINUTE, 4)
    assert route.drive_s == 80 * MINUTE
    assert judged.driving_cents == 80 + 80  # 80 minutes and 80 kilometres, a cent each
    assert judged.visits_cents == 300
    assert judged.total_cents == 460
    assert judged.rank == (0, 0, 0, 460)


def test_what_is_left_out_is_charged_and_counted() -> None:
    problem = line_problem(
        [10, 20, 30], candidates=[{}, {"urgent": True}, {"appointment": Appointment(0, 9 * HOUR), "urgent": True}]
    )
    judged = evaluate(problem, {(0, 0): (0,)})
    assert judged.unserved == ("v1", "v2")
    assert judged.unserved_cents == 2_000
    assert (judged.missed_urgent, judged.missed_appointments) == (("v1",), ("v2",))


def test_lunch_follows_a_stop_when_the_day_runs_through_noon() -> None:
    problem = line_problem([60, 80, 100, 120, 140, 160], candidates=[{"service_s": 40 * MINUTE}] * 6)
    (route,) = evaluate(problem, {(0, 0): (0, 1, 2, 3)}).routes
    assert route.lunch_after == 3
    assert route.lunch_start_s == route.stops[2].end_s == 11 * HOUR + 40 * MINUTE
    assert route.stops[3].arrival_s == route.lunch_start_s + 50 * MINUTE


def test_a_day_that_starts_late_has_lunch_at_home_first() -> None:
    problem = line_problem([10], candidates=[{"windows": (Window(0, 12 * HOUR, 18 * HOUR),), "service_s": 4 * HOUR}])
    (route,) = evaluate(problem, {(0, 0): (0,)}).routes
    assert (route.lunch_after, route.lunch_start_s) == (0, 11 * HOUR + 30 * MINUTE)
    assert route.leaves_s == 12 * HOUR  # eats until noon, and is there at ten past


def test_a_half_day_owes_no_lunch() -> None:
    problem = line_problem([10], installer={"shifts": (Shift(0, 8 * HOUR, 13 * HOUR),)})
    (route,) = evaluate(problem, {(0, 0): (0,)}).routes
    assert route.lunch_start_s is None


@pytest.mark.parametrize(
    ("candidate", "installer", "code"),
    [
        ({"skills": frozenset({"pump"})}, {}, "not_allowed"),
        ({"installers": frozenset({"Bo"})}, {}, "not_allowed"),
        ({"windows": ()}, {}, "closed"),
        ({"windows": (Window(0, 8 * HOUR, 8 * HOUR + 600),)}, {}, "closed"),
        ({"windows": (Window(0, 8 * HOUR, 8 * HOUR + 2_000),)}, {}, "too_late"),
        ({"appointment": Appointment(0, 8 * HOUR + 60)}, {}, "too_late"),
        ({"service_s": 9 * HOUR}, {}, "too_late"),
        ({"service_s": 8 * HOUR + 30 * MINUTE}, {}, "no_lunch"),
        ({}, {"shifts": ()}, "day_off"),
        ({"parts": {"resin": 2}}, {"van_stock": {"resin": 1}}, "van_stock"),
        ({"parts": {"resin": 1}}, {"van_stock": {}}, "van_stock"),
        ({"parts": {"resin": 1}}, {"van_stock": {"carbon": 9}}, "van_stock"),
    ],
)
def test_every_fault_is_found(candidate: dict, installer: dict, code: str) -> None:
    problem = line_problem([10], candidates=[candidate], installer=installer)
    judged = evaluate(problem, {(0, 0): (0,)})
    assert [fault.code for fault in judged.faults] == [code]
    assert "Ada" in judged.faults[0].sentence or "v0" in judged.faults[0].sentence


def test_a_visit_made_twice_is_a_fault() -> None:
    assert "served_twice" in codes(line_problem([10]), (0, 0))


def test_van_stock_is_for_the_whole_round_and_new_each_day() -> None:
    problem = line_problem(
        [10, 20], candidates=[{"parts": {"resin": 1}}] * 2, installer={"van_stock": {"resin": 1}}, days=2
    )
    assert codes(problem, (0, 1)) == ["van_stock"]
    assert evaluate(problem, {(0, 0): (0,), (0, 1): (1,)}).faults == ()


def test_overtime_is_allowed_up_to_its_limit_and_paid() -> None:
    late = [{"appointment": Appointment(0, 16 * HOUR + 30 * MINUTE)}]
    problem = line_problem([10], candidates=late, installer={"max_overtime_s": 15 * MINUTE})
    judged = evaluate(problem, {(0, 0): (0,)})
    assert judged.faults == ()
    assert judged.routes[0].overtime_s == 10 * MINUTE
    assert judged.overtime_cents == 5_400 * 10 // 60
    assert codes(line_problem([10], candidates=late, installer={"max_overtime_s": 9 * MINUTE}), (0,)) == ["too_late"]


def test_travel_may_differ_by_direction() -> None:
    problem = line_problem([10])
    seconds = problem.travel.seconds.copy()
    seconds[1, 0] = 25 * MINUTE
    outward = RoundProblem(
        problem.first_day,
        1,
        problem.installers,
        problem.candidates,
        problem.rates,
        Travel(problem.travel.metres, seconds, "one way"),
    )
    (route,) = evaluate(outward, {(0, 0): (0,)}).routes
    assert route.drive_s == 35 * MINUTE
    assert route.returns_s == 8 * HOUR + 65 * MINUTE


@settings(max_examples=150)
@given(st.integers(0, 40), st.permutations(range(6)), st.integers(1, 6), st.integers(0, 1))
def test_the_clock_agrees_with_trying_every_place_for_lunch(seed: int, order: list[int], size: int, day: int) -> None:
    problem = make_week(6, seed=seed, musts=seed % 4, installers=2, days=2, shift=(8 * HOUR, 15 * HOUR))
    stops = tuple(order[:size])
    possible = [k for k in (-1, *range(size + 1)) if simulate(problem, 0, day, stops, k) is not None]
    assert (time_round(problem, 0, day, stops) is not None) == bool(possible)
    assert keeps_time(problem, 0, day, stops) == bool(possible)


def test_the_times_of_a_round_add_up() -> None:
    problem = make_week(40, seed=3)
    for stops in itertools.permutations(range(8), 3):
        timing = time_round(problem, 1, 2, stops)
        if timing is None:
            continue
        clock, where = timing.leaves_s, 1
        for k, c in enumerate(stops):
            if timing.lunch_after == k - 1 and k > 0:
                assert 41_400 <= timing.lunch_start_s <= 48_600
                assert timing.lunch_start_s >= clock
                clock = timing.lunch_start_s + 1_800
            clock += int(problem.travel.seconds[where, problem.node(c)])
            where = problem.node(c)
            assert timing.arrivals_s[k] == clock
            assert timing.starts_s[k] >= clock
            clock = timing.starts_s[k] + problem.candidates[c].service_s
        if timing.lunch_after == len(stops) - 1:
            clock = timing.lunch_start_s + 1_800
        assert timing.returns_s == clock + int(problem.travel.seconds[where, 1])


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"service_s": 1.5}, "visit v0.service_s"),
        ({"cost_if_unserved_cents": 2.0}, "visit v0.cost_if_unserved_cents"),
        ({"cost_by_day_cents": (1, 2)}, "visit v0.cost_by_day_cents"),
        ({"windows": (Window(3, 0, 10),)}, "visit v0.windows"),
        ({"appointment": Appointment(9, 0)}, "visit v0.appointment"),
        ({"appointment": Appointment(0, 0, "Bo")}, "visit v0.appointment"),
        ({"parts": {"resin": -1}}, "visit v0.parts.resin"),
    ],
)
def test_a_wrong_visit_is_named(change: dict, field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        line_problem([10], candidates=[change])
    assert caught.value.field == field


def test_other_wrong_values_are_named() -> None:
    with pytest.raises(PlanningError, match="closes_s"):
        Window(0, 10, 5)
    with pytest.raises(PlanningError, match="two shifts on one day"):
        Installer("Ada", HERE, (Shift(0, 0, 1), Shift(0, 2, 3)))
    with pytest.raises(PlanningError, match="latest_start_s"):
        Lunch(earliest_start_s=50_000)
    with pytest.raises(PlanningError, match="latitude"):
        Place(91.0, 0.0)
    with pytest.raises(PlanningError, match="appears twice"):
        line_problem([10, 20], candidates=[{"key": "x"}, {"key": "x"}])
