"""Why a stop is where it is: weeks small enough to see the reason, and what holds in any week."""

import dataclasses
import datetime
from collections.abc import Sequence
from typing import Any

import pytest

from scheduling.planning.rounds.evaluate import Route, evaluate
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.problem import Appointment, Candidate, Installer, Rates, RoundProblem, Shift, Window
from scheduling.planning.rounds.reasons import DayReason, InstallerReason, PlaceReason, Why, reasons_of
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.planning.rounds.instances import make_week

MONDAY = datetime.date(2026, 11, 30)
HOUR = 3_600
DAYS = 3
WEST, EAST = 9.0, 9.5  # about 36 km apart at 50 degrees north


def _installer(key: str, longitude: float, days: Sequence[int] = range(DAYS), **more: Any) -> Installer:
    shifts = tuple(Shift(day, 8 * HOUR, 17 * HOUR) for day in days)
    return Installer(key=key, home=Place(50.0, longitude), shifts=shifts, lunch=None, **more)


def _visit(key: str, longitude: float, **more: Any) -> Candidate:
    usual: dict[str, Any] = {
        "windows": tuple(Window(day, 8 * HOUR, 17 * HOUR) for day in range(DAYS)),
        "service_s": HOUR,
        "cost_by_day_cents": (500, 700, 900),
        "cost_if_unserved_cents": 90_000,
    }
    return Candidate(key=key, place=Place(50.0, longitude), **(usual | more))


def _why(
    visits: Sequence[Candidate], plan: dict[tuple[str, int], Sequence[str]], people: Sequence[Installer] | None = None
) -> dict[str, Why]:
    people = people or [_installer("Ada", WEST), _installer("Ben", EAST)]
    problem = RoundProblem.build(
        first_day=MONDAY,
        days=DAYS,
        installers=people,
        candidates=visits,
        rates=Rates(),
        provider=GreatCircleTravel(),
    )
    cells = {
        (problem.installer_index[person], day): tuple(problem.candidate_index[key] for key in keys)
        for (person, day), keys in plan.items()
    }
    judged = evaluate(problem, cells)
    assert not judged.faults, judged.faults
    return reasons_of(problem, judged.routes)


def test_a_visit_stands_on_its_cheapest_day_and_the_next_one_is_named() -> None:
    why = _why([_visit("a", 9.1)], {("Ada", 0): ["a"]})["a"]
    assert (why.day, why.other_day, why.other_day_cents) == (DayReason.CHEAPEST, datetime.date(2026, 12, 1), 200)


def test_a_visit_on_a_dearer_day_says_by_how_much() -> None:
    why = _why([_visit("a", 9.1)], {("Ada", 2): ["a"]})["a"]
    assert (why.day, why.other_day, why.other_day_cents) == (DayReason.ON_THE_WAY, MONDAY, -400)


def test_days_that_cost_the_same_are_no_reason_to_wait() -> None:
    why = _why([_visit("a", 9.1, cost_by_day_cents=(500, 500, 500))], {("Ada", 1): ["a"]})["a"]
    assert (why.day, why.other_day_cents) == (DayReason.CHEAPEST, 0)


@pytest.mark.parametrize(
    ("visit", "people"),
    [
        ({"windows": (Window(1, 8 * HOUR, 17 * HOUR),)}, None),
        (
            {"skills": frozenset({"pump"})},
            [_installer("Ada", WEST, [1], skills=frozenset({"pump"})), _installer("Ben", EAST)],
        ),
        (
            {"parts": {"resin": 1}},
            [_installer("Ada", WEST, [1], van_stock={"resin": 1}), _installer("Ben", EAST, van_stock={})],
        ),
    ],
    ids=["access", "skills", "parts"],
)
def test_where_no_other_day_would_do_that_is_the_reason(visit: Any, people: Any) -> None:
    why = _why([_visit("a", 9.1, **visit)], {("Ada", 1): ["a"]}, people)["a"]
    assert (why.day, why.other_day) == (DayReason.ONLY_DAY, None)


def test_what_is_urgent_is_so_on_the_first_day_that_it_can_be_done() -> None:
    visit = _visit("a", 9.1, urgent=True, windows=tuple(Window(day, 8 * HOUR, 17 * HOUR) for day in (1, 2)))
    assert _why([visit], {("Ada", 1): ["a"]})["a"].day is DayReason.URGENT
    assert _why([visit], {("Ada", 2): ["a"]})["a"].day is DayReason.ON_THE_WAY


def test_a_promise_is_the_reason_for_day_installer_and_place() -> None:
    visit = _visit("a", 9.1, appointment=Appointment(1, 9 * HOUR, "Ben"))
    why = _why([visit], {("Ben", 1): ["a"]})["a"]
    assert (why.day, why.installer, why.place) == (
        DayReason.CONFIRMED,
        InstallerReason.CONFIRMED,
        PlaceReason.CONFIRMED,
    )
    anybody = _visit("a", 9.1, appointment=Appointment(1, 9 * HOUR))
    assert _why([anybody], {("Ada", 1): ["a"]})["a"].installer is InstallerReason.SHORTEST_WAY


def test_the_shortest_detour_is_counted_there_and_back() -> None:
    near = _why([_visit("a", 9.1)], {("Ada", 0): ["a"]})["a"]
    far = _why([_visit("a", 9.1)], {("Ben", 0): ["a"]})["a"]
    assert (near.installer, far.installer) == (InstallerReason.SHORTEST_WAY, InstallerReason.WHOLE)
    assert far.detour_s > near.detour_s
    assert (near.detour_s, far.detour_s) == (2 * near.drive_s, 2 * far.drive_s), "out, and home again"


def test_somebody_who_drives_there_anyway_has_the_shorter_detour() -> None:
    visits = [_visit("a", 9.3), _visit("b", 9.31)]
    alone = _why(visits[:1], {("Ada", 0): ["a"]})["a"]
    assert alone.installer is InstallerReason.WHOLE, "Ben lives nearer"
    assert _why(visits, {("Ada", 0): ["a", "b"]})["a"].installer is InstallerReason.SHORTEST_WAY


def test_who_alone_can_do_it_is_the_reason() -> None:
    people = [_installer("Ada", WEST, [0]), _installer("Ben", EAST, [1])]
    assert _why([_visit("a", 9.4)], {("Ada", 0): ["a"]}, people)["a"].installer is InstallerReason.ONLY_ONE


def test_a_window_that_opens_late_keeps_a_stop_behind_another() -> None:
    late = _visit("late", 9.05, windows=(Window(0, 12 * HOUR, 17 * HOUR),))
    why = _why([late, _visit("far", 9.3)], {("Ada", 0): ["far", "late"]})
    assert (why["late"].place, why["late"].window_s) == (PlaceReason.WINDOW_OPENS, 12 * HOUR)
    assert why["far"].place is PlaceReason.DRIVING


def test_a_window_that_closes_early_keeps_a_stop_before_another() -> None:
    early = _visit("early", 9.3, windows=(Window(0, 8 * HOUR, 10 * HOUR),))
    why = _why([early, _visit("near", 9.05)], {("Ada", 0): ["early", "near"]})
    # an hour of work must begin by nine for the site to be left at ten
    assert (why["early"].place, why["early"].window_s) == (PlaceReason.WINDOW_CLOSES, 9 * HOUR)
    assert (why["near"].place, why["near"].is_first) == (PlaceReason.DRIVING, False)


def test_windows_that_leave_a_choice_are_no_reason() -> None:
    why = _why([_visit("a", 9.1), _visit("b", 9.2)], {("Ada", 0): ["a", "b"]})
    assert {row.place for row in why.values()} == {PlaceReason.DRIVING}
    assert [why[key].is_first for key in "ab"] == [True, False]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_in_any_week_every_stop_has_its_reasons_and_they_are_true(seed: int) -> None:
    week = make_week(30, seed=seed, installers=3, musts=6)
    judged = evaluate(week, naive_plan(week))
    reasons = reasons_of(week, judged.routes)
    assert set(reasons) == set(judged.served)
    for route in judged.routes:
        for stop in route.stops:
            why, candidate = reasons[stop.visit], week.candidates[week.candidate_index[stop.visit]]
            assert (why.day is DayReason.CONFIRMED) == (candidate.appointment is not None)
            if why.other_day is not None:
                other = (why.other_day - week.first_day).days
                assert any(window.day == other for window in candidate.windows)
                less = candidate.cost_by_day_cents[other] - candidate.cost_by_day_cents[route.day]
                assert why.other_day_cents == less
                assert (why.day is DayReason.CHEAPEST) == (less >= 0)
            if why.installer is InstallerReason.ONLY_ONE:
                _nobody_else_could(week, route, stop.visit)


def _nobody_else_could(week: RoundProblem, route: Route, visit: str) -> None:
    """Whoever else takes it on that day, alone in a round, is refused by the judge."""
    c = week.candidate_index[visit]
    alone = dataclasses.replace(week, apart=(), together=())
    for k, person in enumerate(week.installers):
        if person.key != route.installer and person.shift_on(route.day) is not None:
            assert evaluate(alone, {(k, route.day): (c,)}).faults
