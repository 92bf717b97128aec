"""A stop moved by a person, against the judge of plans."""

from __future__ import annotations

import dataclasses
import datetime

import pytest

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
from scheduling.planning.rounds.by_hand import move_by_hand
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.planning.rounds.instances import HOUR, make_week


def _stop(key: str, east: float, **more) -> Candidate:
    values = {
        "key": key,
        "place": Place(50.0, 9.0 + east / 71.5),
        "windows": tuple(Window(day, 8 * HOUR, 17 * HOUR) for day in (0, 1)),
        "service_s": HOUR,
        "cost_by_day_cents": (0, 500),
        "cost_if_unserved_cents": 10_000,
    }
    return Candidate(**{**values, **more})


def _problem(*candidates: Candidate, days_ada=(0, 1), **more) -> RoundProblem:
    people = [
        Installer(name, Place(50.0, 9.0), tuple(Shift(d, 8 * HOUR, 17 * HOUR) for d in days), **more)
        for name, days in (("Ada", days_ada), ("Ben", (0, 1)))
    ]
    return RoundProblem.build(
        first_day=datetime.date(2026, 11, 30),
        days=2,
        installers=people,
        candidates=candidates,
        rates=Rates(),
        provider=GreatCircleTravel(),
    )


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_a_move_costs_is_what_the_judge_finds(seed: int) -> None:
    """Every stop of a plan to every place of a few other rounds: the difference of two whole evaluations."""
    problem = make_week(40, seed=seed, installers=2, days=2, musts=0)
    plan = naive_plan(problem)
    before = evaluate(problem, plan)
    checked = 0
    for source, stops in plan.items():
        for c in stops[:3]:
            for target in sorted(plan):
                remaining = tuple(x for x in plan[target] if x != c)
                for place in (1, len(remaining) + 1):
                    moved = {**plan, source: tuple(x for x in stops if x != c)}
                    moved[target] = (*remaining[: place - 1], c, *remaining[place - 1 :])
                    judged = evaluate(problem, moved)
                    answer = move_by_hand(
                        problem,
                        plan,
                        problem.candidates[c].key,
                        installer=problem.installers[target[0]].key,
                        day=target[1],
                        place=place,
                    )
                    assert bool(judged.faults) == bool(answer.refusals or answer.warnings)
                    if not judged.faults:
                        assert answer.total_cents == judged.total_cents - before.total_cents
                        assert answer.drive_s == judged.drive_s - before.drive_s
                        assert set(answer.after) <= set(judged.routes)
                        checked += 1
    assert checked >= 5


def test_without_a_place_the_cheapest_is_taken() -> None:
    problem = _problem(_stop("near", 2), _stop("middle", 4), _stop("far", 6), lunch=None)
    plan = {(0, 0): (0, 2), (1, 0): (1,)}
    moved = move_by_hand(problem, plan, "middle", installer="Ada", day=0)
    assert [stop.visit for stop in moved.after[0].stops] in (["near", "middle", "far"], ["far", "middle", "near"])
    every = [move_by_hand(problem, plan, "middle", installer="Ada", day=0, place=p).total_cents for p in (1, 2, 3)]
    assert moved.total_cents == min(every)
    assert moved.total_cents < 0


def test_another_day_costs_what_the_day_costs() -> None:
    problem = _problem(_stop("a", 2), lunch=None)
    moved = move_by_hand(problem, {(0, 0): (0,)}, "a", installer="Ada", day=1)
    assert (moved.visits_cents, moved.driving_cents, moved.warnings) == (500, 0, ())


def test_hours_are_overridden_for_the_moved_visit_and_not_for_the_others_of_the_round() -> None:
    """Where the morning's visit can only be made at eleven, those at ten and at two are waited for as before."""
    problem = _problem(
        _stop("morning", 2, windows=(Window(0, 8 * HOUR, 10 * HOUR),)),
        _stop("ten", 4, windows=(Window(0, 10 * HOUR, 12 * HOUR),)),
        _stop("two", 6, windows=(Window(0, 14 * HOUR, 16 * HOUR),)),
        lunch=None,
    )
    moved = move_by_hand(problem, {(0, 0): (0,), (1, 0): (1, 2)}, "morning", installer="Ben", day=0, place=2)
    assert [(f.code, f.visit) for f in moved.warnings] == [("closed", "morning")]
    starts = {stop.visit: stop.start_s for stop in moved.after[0].stops}
    assert (starts["ten"], starts["two"]) == (10 * HOUR, 14 * HOUR)


def test_what_goodwill_can_put_right_is_a_warning() -> None:
    morning = _stop("morning", 2, windows=(Window(0, 8 * HOUR, 10 * HOUR),))
    problem = _problem(morning, _stop("b", 4, service_s=3 * HOUR), lunch=None)
    moved = move_by_hand(problem, {(0, 0): (0, 1)}, "morning", installer="Ada", day=0, place=2)
    assert [(f.code, f.visit) for f in moved.warnings] == [("closed", "morning")]
    assert moved.refusals == ()
    assert "morning is not open for the work at 11:" in moved.warnings[0].sentence
    # what was broken before is not told again, except of the visit itself
    again = move_by_hand(problem, {(0, 0): (1, 0)}, "b", installer="Ada", day=0, place=1)
    assert again.warnings == ()
    same = move_by_hand(problem, {(0, 0): (1, 0)}, "morning", installer="Ada", day=0, place=2)
    assert [f.code for f in same.warnings] == ["closed"]


def test_lunch_and_overtime_are_warnings_in_turn() -> None:
    lunch = Lunch(1_800, 12 * HOUR, 12 * HOUR)
    open_long = (Window(0, 0, 24 * HOUR),)
    stops = [_stop(str(k), 0, service_s=2 * HOUR, windows=open_long) for k in range(5)]
    problem = _problem(*stops, lunch=lunch)
    plan = {(0, 0): (0, 1), (1, 0): (2, 3, 4)}
    fits = move_by_hand(problem, plan, "4", installer="Ada", day=0)
    assert fits.warnings == ()
    full = move_by_hand(problem, {(0, 0): (0, 1, 2, 3), (1, 0): (4,)}, "4", installer="Ada", day=0)
    assert [f.code for f in full.warnings] == ["overtime"]
    assert "90 minutes after" in full.warnings[0].sentence
    assert full.overtime_cents == 90 * 60 * problem.rates.overtime_hour_cents // 3_600
    long = dataclasses.replace(stops[4], service_s=8 * HOUR)
    problem = _problem(*stops[:4], long, lunch=lunch)
    none = move_by_hand(problem, {(0, 0): (0,), (1, 0): (4,)}, "4", installer="Ada", day=1)
    assert [f.code for f in none.warnings] in (["no_lunch"], ["closed"], ["closed", "no_lunch"])


def test_a_warning_says_whose_round_of_which_day_it_is() -> None:
    open_long = tuple(Window(day, 0, 24 * HOUR) for day in (0, 1))
    stops = [_stop(str(k), 0, service_s=2 * HOUR, windows=open_long) for k in range(5)]
    plan = {(0, 0): (4,), (1, 1): (0, 1, 2, 3)}
    (late,) = move_by_hand(_problem(*stops, lunch=None), plan, "4", installer="Ben", day=1).warnings
    assert (late.code, late.installer, late.day) == ("overtime", "Ben", 1)
    assert late.sentence.startswith("Ben")
    assert "60 minutes after" in late.sentence
    short = _stop("short", 0, windows=(Window(1, 8 * HOUR, 9 * HOUR - 1),))
    (shut,) = move_by_hand(_problem(short, lunch=None), {(0, 0): (0,)}, "short", installer="Ben", day=1).warnings
    assert (shut.code, shut.installer, shut.day, shut.visit) == ("closed", "Ben", 1, "short")
    whole = [_stop(str(k), 0, service_s=9 * HOUR, windows=open_long) for k in range(3)]
    plan = {(0, 0): (0,), (1, 1): (1, 2)}
    (endless,) = move_by_hand(_problem(*whole, lunch=None), plan, "0", installer="Ben", day=1).refusals
    assert (endless.code, endless.installer, endless.day) == ("too_late", "Ben", 1)
    tight = Lunch(1_800, 12 * HOUR, 12 * HOUR)
    plan = {(0, 0): (0,), (1, 1): (1,)}
    (hungry,) = move_by_hand(
        _problem(_stop("0", 0, service_s=8 * HOUR, windows=open_long), lunch=tight), {(0, 0): (0,)}, "0",
        installer="Ben", day=1,
    ).warnings  # fmt: skip
    assert (hungry.code, hungry.installer, hungry.day) == ("no_lunch", "Ben", 1)
    assert hungry.sentence.startswith("Ben")


def test_what_is_in_the_van_is_a_warning() -> None:
    problem = _problem(_stop("a", 2, parts={"RES-12": 2}), lunch=None, van_stock={"RES-12": 1})
    moved = move_by_hand(problem, {(0, 0): (0,)}, "a", installer="Ben", day=0)
    assert [f.code for f in moved.warnings] == ["van_stock"]


def test_what_nobody_can_override_is_a_refusal() -> None:
    pump = _stop("pump", 2, skills=frozenset({"pump"}))
    moved = move_by_hand(_problem(pump, lunch=None), {(0, 0): (0,)}, "pump", installer="Ben", day=0)
    assert [(f.code, f.visit) for f in moved.refusals] == [("not_allowed", "pump")]
    off = move_by_hand(_problem(_stop("a", 2), days_ada=(0,)), {(0, 0): (0,)}, "a", installer="Ada", day=1)
    assert [f.code for f in off.refusals] == ["day_off"]
    assert off.after == ()


def test_another_clients_confirmed_time_is_never_broken() -> None:
    confirmed = _stop("confirmed", 4, windows=(), appointment=Appointment(0, 9 * HOUR))
    problem = _problem(confirmed, _stop("b", 2, service_s=2 * HOUR), lunch=None)
    plan = {(0, 0): (0,), (1, 0): (1,)}
    clash = move_by_hand(problem, plan, "b", installer="Ada", day=0, place=1)
    assert [(f.code, f.visit) for f in clash.refusals] == [("fixed_time", "confirmed")]
    assert "by 09:00" in clash.refusals[0].sentence
    after = move_by_hand(problem, plan, "b", installer="Ada", day=0)
    assert (after.refusals, [stop.visit for stop in after.after[0].stops]) == ((), ["confirmed", "b"])
    assert after.after[0].stops[0].start_s == 9 * HOUR


@pytest.mark.parametrize(
    ("move", "field"),
    [
        ({"visit": "z", "installer": "Ada", "day": 0}, "visit"),
        ({"visit": "b", "installer": "Ada", "day": 0}, "visit"),
        ({"visit": "a", "installer": "Eve", "day": 0}, "installer"),
        ({"visit": "a", "installer": "Ada", "day": 2}, "day"),
        ({"visit": "a", "installer": "Ada", "day": 0, "place": 2}, "place"),
        ({"visit": "a", "installer": "Ben", "day": 0, "place": 0}, "place"),
    ],
)
def test_what_cannot_be_asked_names_its_field(move, field: str) -> None:
    with pytest.raises(PlanningError) as error:
        move_by_hand(_problem(_stop("a", 2), _stop("b", 3)), {(0, 0): (0,)}, move.pop("visit"), **move)
    assert error.value.field == field
