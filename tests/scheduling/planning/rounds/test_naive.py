"""The plan made by hand: who takes an appointment, and where somebody goes next, on a road worked out on paper."""

from __future__ import annotations

import dataclasses
from typing import Any

import pytest

from scheduling.planning.rounds import Appointment, Candidate, Installer, Rates, RoundProblem, Shift, Window, naive
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.schedule import spare_s
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.planning.rounds.instances import FIRST_DAY, HOUR, make_week
from tests.scheduling.planning.rounds.test_evaluate import MINUTE, line_problem


@pytest.mark.parametrize(
    ("homes", "who"),
    # the site lies at 9.00 degrees east; a tenth of a degree is some seven kilometres
    [((9.1, 9.3), 0), ((9.3, 9.1), 1), ((9.1, 9.1), 0), ((9.3, 9.2, 9.1), 2), ((9.2, 9.1, 9.3), 1)],
)
def test_an_appointment_goes_to_whoever_has_the_shortest_detour(homes: tuple[float, ...], who: int) -> None:
    problem = RoundProblem.build(
        first_day=FIRST_DAY,
        days=1,
        installers=[
            Installer(f"i{k}", Place(50.0, east), (Shift(0, 8 * HOUR, 17 * HOUR),)) for k, east in enumerate(homes)
        ],
        candidates=[Candidate("v", Place(50.0, 9.0), (), HOUR, (0,), 9_000, appointment=Appointment(0, 11 * HOUR))],
        rates=Rates(),
        provider=GreatCircleTravel(),
    )
    assert naive_plan(problem) == {(who, 0): (0,)}


def test_the_detour_is_what_an_appointment_adds_to_the_round_before_it() -> None:
    """Ben lives nearer, but Ada has an appointment at the very door and comes past it."""
    site = Place(50.0, 9.0)
    appointments = [Appointment(0, 9 * HOUR, "Ada"), Appointment(0, 11 * HOUR)]
    problem = RoundProblem.build(
        first_day=FIRST_DAY,
        days=1,
        installers=[
            Installer(key, Place(50.0, east), (Shift(0, 8 * HOUR, 17 * HOUR),))
            for key, east in (("Ben", 9.05), ("Ada", 9.1))
        ],
        candidates=[
            Candidate(f"v{k}", site, (), HOUR, (0,), 9_000, appointment=at) for k, at in enumerate(appointments)
        ],
        rates=Rates(),
        provider=GreatCircleTravel(),
    )
    assert naive_plan(problem) == {(1, 0): (0, 1)}


def test_appointments_are_placed_by_their_time_whatever_their_order() -> None:
    times = [{"appointment": Appointment(0, hour * HOUR)} for hour in (13, 9, 11)]
    assert naive_plan(line_problem([10, 20, 30], candidates=times)) == {(0, 0): (1, 2, 0)}


def test_the_way_goes_on_to_where_work_can_start_soonest() -> None:
    assert naive_plan(line_problem([30, 10, 20])) == {(0, 0): (1, 2, 0)}
    # the nearest opens only at ten: 40 minutes are nearer than the wait
    opens_late = [{}, {"windows": (Window(0, 10 * HOUR, 17 * HOUR),)}]
    assert naive_plan(line_problem([40, 10], candidates=opens_late)) == {(0, 0): (0, 1)}


def test_urgent_visits_come_before_nearer_ones_and_what_is_worth_nothing_is_left() -> None:
    urgent = [{}, {"urgent": True}]
    assert naive_plan(line_problem([10, 30], candidates=urgent)) == {(0, 0): (0, 1)}
    problem = line_problem([10, 30, 20], candidates=[{}, {"urgent": True}, {}])
    day = dataclasses.replace(problem.installers[0].shifts[0], end_s=9 * HOUR + 40 * MINUTE)
    short = dataclasses.replace(problem, installers=(dataclasses.replace(problem.installers[0], shifts=(day,)),))
    # 30 minutes there, 30 of work, 30 back: ten minutes are left, too few for another half hour of work
    assert naive_plan(short) == {(0, 0): (1,)}
    for left_cents, plan in ((100, {}), (101, {(0, 0): (0,)})):
        assert naive_plan(line_problem([10], candidates=[{"cost_if_unserved_cents": left_cents}])) == plan


def test_the_last_start_of_a_window_is_still_taken() -> None:
    """Ten minutes from home and half an hour of work: there at 8:10, over at 8:40."""
    for closes_s, plan in ((8 * HOUR + 40 * MINUTE, {(0, 0): (0,)}), (8 * HOUR + 40 * MINUTE - 1, {})):
        problem = line_problem([10], candidates=[{"windows": (Window(0, 8 * HOUR, closes_s),)}])
        assert naive_plan(problem) == plan


@pytest.mark.parametrize("seed", range(4))
def test_rounds_that_are_not_timed_would_not_have_been_driven(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    problem = make_week(60, seed=seed, installers=2, days=3, max_overtime_s=0 if seed % 2 else HOUR)
    plan = naive_plan(problem)
    monkeypatch.setattr(naive, "spare_s", lambda *_: 1 << 40)
    assert naive_plan(problem) == plan


@pytest.mark.parametrize(("short_of_s", "plan"), [(0, {(0, 0): (0,)}), (1, {})])
def test_a_visit_that_fills_the_day_to_the_second_is_made(short_of_s: int, plan: dict[Any, Any]) -> None:
    def with_shift(seconds: int) -> RoundProblem:
        return RoundProblem.build(
            first_day=FIRST_DAY,
            days=1,
            installers=[Installer("Ada", Place(50.0, 9.1), (Shift(0, 8 * HOUR, 8 * HOUR + seconds),))],
            candidates=[Candidate("v", Place(50.0, 9.0), (Window(0, 0, 24 * HOUR),), HOUR, (0,), 9_000)],
            rates=Rates(),
            provider=GreatCircleTravel(),
        )

    rows = with_shift(10 * HOUR).seconds_rows
    problem = with_shift(rows[0][1] + HOUR + rows[1][0] - short_of_s)
    assert spare_s(problem, 0, 0, (0,)) == -short_of_s
    assert naive_plan(problem) == plan
