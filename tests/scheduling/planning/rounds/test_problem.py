"""What the planner may be asked, at the ends of each range, and what follows from it by hand."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds.evaluate import check_round
from scheduling.planning.rounds.pairs import merge_pairs
from scheduling.planning.rounds.problem import (
    Appointment,
    Candidate,
    Installer,
    Lunch,
    Rates,
    RoundProblem,
    Shift,
    Window,
    places_of,
)
from scheduling.planning.travel.trips import GreatCircleTravel, Place, Travel
from tests.scheduling.planning.rounds.instances import FIRST_DAY, HOUR

HERE, THERE = Place(50.0, 9.0), Place(50.1, 9.0)


def visit(key: str = "v", **values: Any) -> Candidate:
    visit_facts = {"windows": (), "service_s": HOUR, "cost_by_day_cents": (100, 200), "cost_if_unserved_cents": 1_000}
    return Candidate(key, THERE, **{**visit_facts, **values})


def ada(**values: Any) -> Installer:
    return Installer("Ada", HERE, **{"shifts": (Shift(0, 8 * HOUR, 16 * HOUR),), **values})


def problem(*candidates: Candidate, installers: tuple[Installer, ...] = (), days: int = 2, **more: Any) -> RoundProblem:
    return RoundProblem.build(
        first_day=FIRST_DAY, days=days, installers=installers or (ada(),), candidates=candidates or (visit(),),
        rates=Rates(), provider=GreatCircleTravel(), **more,
    )  # fmt: skip


# What is made with a number, and the lowest and highest that is taken; None: no highest.
NUMBERS: list[tuple[str, Callable[[int], Any], int, int | None]] = [
    ("window.day", lambda x: Window(x, 0, 0), 0, None),
    ("window.opens_s", lambda x: Window(0, x, SECONDS_PER_DAY), 0, SECONDS_PER_DAY),
    ("window.closes_s", lambda x: Window(0, 500, x), 500, SECONDS_PER_DAY),
    ("shift.day", lambda x: Shift(x, 0, 0), 0, None),
    ("shift.start_s", lambda x: Shift(0, x, SECONDS_PER_DAY), 0, SECONDS_PER_DAY),
    ("shift.end_s", lambda x: Shift(0, 500, x), 500, SECONDS_PER_DAY),
    ("shift.van_stock.resin", lambda x: Shift(0, 0, 0, van_stock={"resin": x}), 0, None),
    ("lunch.duration_s", lambda x: Lunch(x), 1, SECONDS_PER_DAY),
    ("lunch.earliest_start_s", lambda x: Lunch(60, x, SECONDS_PER_DAY), 0, SECONDS_PER_DAY),
    ("lunch.latest_start_s", lambda x: Lunch(60, 500, x), 500, SECONDS_PER_DAY),
    ("installer Ada.max_overtime_s", lambda x: ada(max_overtime_s=x), 0, SECONDS_PER_DAY),
    ("installer Ada.van_stock.resin", lambda x: ada(van_stock={"resin": x}), 0, None),
    ("appointment.day", lambda x: Appointment(x, 0), 0, None),
    ("appointment.start_s", lambda x: Appointment(0, x), 0, SECONDS_PER_DAY),
    ("visit v.service_s", lambda x: visit(service_s=x), 0, SECONDS_PER_DAY),
    ("visit v.cost_if_unserved_cents", lambda x: visit(cost_if_unserved_cents=x), -(10**12), 10**12),
    ("visit v.cost_by_day_cents[1]", lambda x: visit(cost_by_day_cents=(0, x)), -(10**12), 10**12),
    ("visit v.parts.resin", lambda x: visit(parts={"resin": x}), 0, None),
    ("visit v.cost_by_installer_cents.Ada", lambda x: visit(cost_by_installer_cents={"Ada": x}), 0, None),
    ("rates.km_cents", lambda x: Rates(km_cents=x), 0, None),
    ("days", lambda x: problem(visit(cost_by_day_cents=(0,) * max(x, 0)), days=x), 1, 366),
]


@pytest.mark.parametrize(("field", "make", "low", "high"), NUMBERS, ids=[row[0] for row in NUMBERS])
def test_the_ends_of_a_range_are_taken_and_what_lies_beyond_is_refused(
    field: str, make: Callable[[Any], Any], low: int, high: int | None
) -> None:
    make(low)
    make(10**6 if high is None else high)
    wrong: list[Any] = [low - 1, *([high + 1] if high is not None else [])]
    for value in [*wrong, *([] if field == "days" else [low + 0.5, True])]:
        with pytest.raises(PlanningError) as caught:
            make(value)
        assert caught.value.field == field


def test_the_rates_that_hold_where_nothing_was_said() -> None:
    """In cents: 36.00 an hour of driving, 0.30 a kilometre, 54.00 an hour of overtime."""
    assert dataclasses.asdict(Rates()) == {
        "driving_minute_cents": 60, "km_cents": 30, "overtime_hour_cents": 5_400, "missed_urgent_cents": 100_000,
        "missed_appointment_cents": 300_000, "currency": "EUR",
    }  # fmt: skip
    assert Lunch() == Lunch(1_800, 41_400, 48_600)


@pytest.mark.parametrize(
    ("shift", "is_due"),
    [
        (Shift(0, 41_400, 50_400), True),
        (Shift(0, 41_401, 50_400), False),
        (Shift(0, 41_400, 50_399), False),
        (Shift(0, 41_401, 50_400, starts_at=THERE), True),
        (Shift(0, 41_400, 50_400, had_lunch=True), False),
    ],
)
def test_lunch_is_due_on_a_shift_that_reaches_over_all_its_times(shift: Shift, is_due: bool) -> None:
    assert Lunch().is_due(shift) is is_due


def test_where_work_may_start() -> None:
    """A window that is as long as the work has one moment, a shorter one none; an appointment its minute."""
    windows = (Window(1, 100, 100 + HOUR), Window(0, 50_000, 60_000), Window(0, 0, HOUR - 1), Window(0, 10_000, 20_000))
    round_problem = problem(visit("a", windows=windows), visit("b", windows=windows, appointment=Appointment(1, 77)))
    assert round_problem.starts[0] == {0: ((10_000, 16_400), (50_000, 56_400)), 1: ((100, 100),)}
    assert round_problem.starts[1] == {1: ((77, 136),)}


def test_money_of_a_trip_and_of_a_visit() -> None:
    travel = Travel(np.array([[0, 10_000], [10_000, 0]]), np.array([[0, 630], [630, 0]]), "by hand")
    one = visit(cost_by_installer_cents={"Ada": 40})
    round_problem = RoundProblem(FIRST_DAY, 2, (ada(),), (one,), Rates(), travel)
    # ten and a half minutes at 60 and ten kilometres at 30
    assert round_problem.driving_cents.tolist() == [[0, 930], [930, 0]]
    assert (round_problem.visit_cents(0, 0, 1), round_problem.worth_cents(0, 0, 1), one.value_cents(1)) == (
        240,
        760,
        800,
    )
    assert round_problem.path(0, 0, (0,)) == [0, 1, 0]
    assert round_problem.drive_s(0, 1, 8 * HOUR) == 630
    assert str(round_problem.date_of(1)) == "2026-12-01"
    assert (visit(label="The mill").name, one.name) == ("The mill", "v")


def test_a_day_that_has_begun_starts_where_the_installer_is() -> None:
    begun = ada(shifts=(Shift(1, 0, HOUR), Shift(0, 9 * HOUR, 16 * HOUR, starts_at=THERE)))
    ben = Installer("Ben", THERE, (Shift(0, 0, HOUR, starts_at=HERE),))
    round_problem = problem(visit(), installers=(begun, ben))
    assert places_of(round_problem.installers, round_problem.candidates) == [HERE, THERE, THERE, THERE, HERE]
    assert [round_problem.start_node(0, 0), round_problem.start_node(1, 0), round_problem.start_node(0, 1)] == [3, 4, 0]
    assert set(round_problem.begun) == {(0, 0), (1, 0)}
    assert round_problem.node(0) == 2


def test_stock_and_overtime_of_a_day() -> None:
    short = Shift(1, 8 * HOUR, 12 * HOUR, van_stock={"resin": 1}, may_run_over=False)
    person = ada(shifts=(Shift(0, 8 * HOUR, 16 * HOUR), short), van_stock={"resin": 5}, max_overtime_s=HOUR)
    assert [person.stock_on(day) for day in (0, 1, 2)] == [{"resin": 5}, {"resin": 1}, {"resin": 5}]
    assert [person.overtime_on(shift) for shift in person.shifts] == [HOUR, 0]
    round_problem = problem(visit(), installers=(person,))
    assert [round_problem.working_days[0, day][2] for day in (0, 1)] == [17 * HOUR, 12 * HOUR]
    assert (person.shift_on(2), round_problem.working_days[0, 0][1], round_problem.working_days[0, 1][1]) == (
        None,
        Lunch(),
        None,
    )


def test_who_may_serve_what() -> None:
    people = (ada(skills=frozenset({"pump"})), Installer("Ben", HERE, ()))
    round_problem = problem(
        visit("plain"), visit("skilled", skills=frozenset({"pump"})), visit("bens", installers=frozenset({"Ben"})),
        visit("adas", appointment=Appointment(0, 0, "Ada")), visit("anybody's", appointment=Appointment(0, 0)),
        installers=people,
    )  # fmt: skip
    assert round_problem.servable == (frozenset({0, 1, 3, 4}), frozenset({0, 2, 4}))
    assert [c.must for c in round_problem.candidates] == [False, False, False, True, True]
    assert visit(urgent=True).must


def test_visits_that_must_not_share_a_round_know_each_other() -> None:
    three = (visit("a"), visit("b"), visit("c"))
    round_problem = problem(*three, apart=(("a", "b"), ("c", "a")))
    assert round_problem.apart_of == {0: frozenset({1, 2}), 1: frozenset({0}), 2: frozenset({0})}


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"apart": (("a", "a"),)}, "apart"),
        ({"apart": (("a", "z"),)}, "apart"),
        ({"together": (("a", "z"),)}, "together"),
        ({"together": (("a", "b"), ("b", "c"))}, "together"),
        ({"together": (("a", "b"),), "apart": (("b", "a"),)}, "apart"),
    ],
)
def test_pairs_that_cannot_be_are_refused(values: dict[str, Any], field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        problem(visit("a"), visit("b"), visit("c"), **values)
    assert caught.value.field == field


@pytest.mark.parametrize(
    ("candidate", "installer", "field"),
    [
        (visit(), ada(shifts=(Shift(2, 0, 0),)), "installer Ada.shifts"),
        (visit(windows=(Window(2, 0, 1),)), ada(), "visit v.windows"),
        (visit(appointment=Appointment(2, 0)), ada(), "visit v.appointment"),
        (visit(appointment=Appointment(0, 0, "Cleo")), ada(), "visit v.appointment"),
        (visit(cost_by_day_cents=(1,)), ada(), "visit v.cost_by_day_cents"),
        (visit(cost_by_day_cents=(1, 1, 1)), ada(), "visit v.cost_by_day_cents"),
    ],
)
def test_what_lies_beyond_the_last_day_is_refused(candidate: Candidate, installer: Installer, field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        problem(candidate, installers=(installer,))
    assert caught.value.field == field
    # on the last day it is taken
    last = visit(windows=(Window(1, 0, 1),), appointment=Appointment(1, 0, "Ada"))
    problem(last, installers=(ada(shifts=(Shift(1, 0, 0),)),))


@pytest.mark.parametrize(
    "metres",
    [
        np.array([[0, 1], [-1, 0]]),
        np.array([[0, 1], [1, 1]]),
        np.array([[0.0, 1.0], [1.0, 0.0]]),
        np.zeros((2, 3), dtype=np.int64),
    ],
)
def test_a_table_of_trips_that_cannot_be_is_refused(metres: np.ndarray) -> None:
    good = np.array([[0, 1], [0, 0]])
    RoundProblem(FIRST_DAY, 2, (ada(),), (visit(),), Rates(), Travel(good, good, "by hand"))
    for table, name in (
        (Travel(metres, good, "by hand"), "travel.metres"),
        (Travel(good, metres, "by hand"), "travel.seconds"),
    ):
        with pytest.raises(PlanningError) as caught:
            RoundProblem(FIRST_DAY, 2, (ada(),), (visit(),), Rates(), table)
        assert caught.value.field == name


def test_the_visit_that_stands_in_two_pairs_is_named() -> None:
    with pytest.raises(PlanningError, match="'b' is in two pairs"):
        problem(visit("a"), visit("b"), visit("c"), together=(("a", "b"), ("b", "c")))


def test_visits_that_share_a_round_and_must_not_are_told_once_by_the_first_of_them() -> None:
    open_hours = (Window(0, 8 * HOUR, 16 * HOUR),)
    round_problem = problem(visit("a", windows=open_hours), visit("b", windows=open_hours), apart=(("b", "a"),))
    for stops in ((0, 1), (1, 0)):
        assert [(fault.code, fault.visit) for fault in check_round(round_problem, 0, 0, stops)] == [("not_apart", "a")]


def test_a_pair_that_is_longer_than_a_day_is_one_visit_of_a_day() -> None:
    half = SECONDS_PER_DAY // 2
    here, there = (dataclasses.replace(visit(key, service_s=half), place=at) for key, at in (("a", HERE), ("b", THERE)))
    merged = merge_pairs(problem(here, there, together=(("a", "b"),)))
    assert [c.service_s for c in merged.problem.candidates] == [SECONDS_PER_DAY]


def test_tables_say_of_all_visits_what_is_said_of_each() -> None:
    asked = problem(
        visit("open", windows=(Window(0, 0, 2 * HOUR), Window(0, 5 * HOUR, 9 * HOUR), Window(1, 0, 9 * HOUR))),
        visit("too short", windows=(Window(0, 0, HOUR - 1),), urgent=True),
        visit("confirmed", appointment=Appointment(1, 9 * HOUR, "Ada"), service_s=2 * HOUR),
        visit("dearer with Bo", cost_by_installer_cents={"Bo": 70, "nobody": 5}, skills=frozenset(["resin"])),
        installers=(ada(), Installer("Bo", HERE, (Shift(1, 8 * HOUR, 16 * HOUR),), skills=frozenset(["resin"]))),
    )
    everyone = range(len(asked.candidates))
    for day in range(3):
        spans = [(k, *span) for k in everyone for span in asked.starts[k].get(day, ())]
        assert [tuple(row) for row in np.array(asked.spans.get(day, ((), (), ()))).T.tolist()] == spans
    for installer in range(2):
        assert set(np.flatnonzero(asked.may_be_served[installer])) == asked.servable[installer]
        for day in range(2):
            worths = [asked.worth_cents(installer, k, day) for k in everyone]
            assert asked.worths_cents(installer, day).tolist() == worths
    assert asked.musts.tolist() == [c.must for c in asked.candidates]
    assert asked.service_s.tolist() == [c.service_s for c in asked.candidates]
