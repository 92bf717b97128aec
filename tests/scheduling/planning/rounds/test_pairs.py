from __future__ import annotations

import dataclasses

import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds import Appointment, RoundProblem, UnservedReason, Window, evaluate, plan_rounds
from scheduling.planning.rounds.pairs import _join
from tests.scheduling.planning.rounds.instances import HOUR, make_week
from tests.scheduling.planning.rounds.test_evaluate import MINUTE, line_problem


def cells_of(plan) -> dict[str, tuple[str, int]]:
    return {stop.visit: (route.installer, route.day) for route in plan.routes for stop in route.stops}


def with_pairs(problem: RoundProblem, **pairs) -> RoundProblem:
    return dataclasses.replace(problem, **pairs)


def test_pairs_are_kept_together_and_apart() -> None:
    problem = make_week(60, seed=21, musts=0, skills=False)
    free = cells_of(plan_rounds(problem, iterations=1_500, seed=1))
    by_cell: dict[tuple[str, int], list[str]] = {}
    for visit, cell in free.items():
        by_cell.setdefault(cell, []).append(visit)
    rounds = sorted(by_cell.values(), key=len, reverse=True)
    # pairs that a free plan has in one round are to be apart, pairs it has in two rounds are to be together
    apart = [(rounds[0][0], rounds[0][1]), (rounds[1][0], rounds[1][-1])]
    together = [(rounds[2][0], rounds[3][0])]
    bound = with_pairs(problem, apart=tuple(apart), together=tuple(together))
    assert {f.code for f in evaluate(bound, plan_rounds(problem, iterations=1_500, seed=1).plan).faults} == {
        "not_apart",
        "not_together",
    }
    plan = plan_rounds(bound, iterations=1_500, seed=1)
    assert plan.evaluation.faults == ()
    where = cells_of(plan)
    for one, other in apart:
        assert where.get(one) != where.get(other) or one not in where
    for one, other in together:
        assert where[one] == where[other]
        order = next([s.visit for s in r.stops] for r in plan.routes if (r.installer, r.day) == where[one])
        assert abs(order.index(one) - order.index(other)) == 1
    assert {u.visit for u in plan.unserved} == set(plan.evaluation.unserved)


def test_the_order_of_a_pair_follows_the_opening_hours() -> None:
    hours = [
        {"windows": (Window(0, 13 * HOUR, 15 * HOUR),)},
        {"windows": (Window(0, 12 * HOUR + 30 * MINUTE, 14 * HOUR),)},
    ]
    problem = with_pairs(line_problem([10, 30], candidates=hours), together=(("v0", "v1"),))
    plan = plan_rounds(problem, iterations=200)
    assert [stop.visit for stop in plan.routes[0].stops] == ["v1", "v0"]  # after v0, v1 would be over too late
    late_first = with_pairs(
        line_problem([10, 30], candidates=[{"windows": (Window(0, 15 * HOUR, 17 * HOUR),)}, {}]),
        together=(("v0", "v1"),),
    )
    plan = plan_rounds(late_first, iterations=200)
    assert plan.evaluation.faults == ()
    impossible = with_pairs(
        line_problem([10, 30], candidates=[hours[0], {"windows": (Window(0, 8 * HOUR, 9 * HOUR),)}]),
        together=(("v0", "v1"),),
    )
    plan = plan_rounds(impossible, iterations=200)
    assert plan.routes == ()
    assert [(u.visit, u.reason) for u in plan.unserved] == [
        ("v0", UnservedReason.NO_OPEN_DAY),
        ("v1", UnservedReason.NO_OPEN_DAY),
    ]


def test_a_pair_with_an_appointment_is_made_around_it() -> None:
    problem = with_pairs(
        line_problem([10, 30], candidates=[{}, {"appointment": Appointment(0, 14 * HOUR)}]),
        together=(("v0", "v1"),),
    )
    (route,) = plan_rounds(problem, iterations=200).routes
    assert [(s.visit, s.start_s) for s in route.stops][1] == ("v1", 14 * HOUR)


def test_half_a_pair_is_a_fault() -> None:
    problem = with_pairs(line_problem([10, 20, 30]), together=(("v0", "v2"),))
    assert [f.code for f in evaluate(problem, {(0, 0): (0,)}).faults] == ["not_together"]
    assert [f.code for f in evaluate(problem, {(0, 0): (0, 1, 2)}).faults] == ["not_together"]
    assert evaluate(problem, {(0, 0): (1, 0, 2)}).faults == ()
    assert evaluate(problem, {(0, 0): (1,)}).faults == ()


@pytest.mark.parametrize(
    "pairs",
    [
        {"together": (("v0", "v0"),)},
        {"together": (("v0", "x"),)},
        {"together": (("v0", "v1"), ("v1", "v2"))},
        {"apart": (("v0", "x"),)},
        {"apart": (("v0", "v1"),), "together": (("v1", "v0"),)},
    ],
)
def test_wrong_pairs_are_named(pairs: dict) -> None:
    with pytest.raises(PlanningError):
        with_pairs(line_problem([10, 20, 30]), **pairs)


def joined(first: dict, second: dict, *, days: int = 1):
    """Two visits of half an hour, 10 and 30 minutes from home and 20 apart, as the one they are planned as."""
    problem = with_pairs(line_problem([10, 30], candidates=[first, second], days=days), together=(("v0", "v1"),))
    return _join(problem, 0, 1)


def test_two_visits_as_one_take_the_time_and_the_money_of_both() -> None:
    one = joined(
        {"parts": {"resin": 1}, "skills": frozenset({"pump"}), "cost_by_installer_cents": {"Ada": 5}},
        {"parts": {"resin": 2, "carbon": 1}, "cost_by_installer_cents": {"Ada": 7, "Bea": 1}, "urgent": True,
         "cost_by_day_cents": (250,)},
    )  # fmt: skip
    assert one.service_s == 80 * MINUTE
    # the drive between the two costs 20 minutes and 20 kilometres, a cent each
    assert one.cost_by_day_cents == (100 + 250 + 40,)
    assert one.cost_if_unserved_cents == 2_000
    assert (dict(one.parts), one.skills) == ({"resin": 3, "carbon": 1}, frozenset({"pump"}))
    assert dict(one.cost_by_installer_cents) == {"Ada": 12, "Bea": 1}
    assert (one.urgent, one.appointment, one.installers) == (True, None, None)
    assert not joined({}, {}).urgent


def test_two_visits_as_one_begin_when_both_can_be_made() -> None:
    """The second begins 50 minutes after the first, and is over by 12 o'clock: it begins by half past eleven."""
    one = joined({"windows": (Window(0, 9 * HOUR, 17 * HOUR),)}, {"windows": (Window(0, 10 * HOUR, 12 * HOUR),)})
    begins, ends = 9 * HOUR + 10 * MINUTE, 10 * HOUR + 40 * MINUTE
    assert one.windows == (Window(0, begins, ends + 80 * MINUTE),)
    # to the second: they just meet, or do not
    late = {"windows": (Window(0, ends, 17 * HOUR),)}
    assert len(joined(late, {"windows": (Window(0, 10 * HOUR, 12 * HOUR),)}).windows) == 1
    late = {"windows": (Window(0, ends + 1, 17 * HOUR),)}
    assert joined(late, {"windows": (Window(0, 10 * HOUR, 12 * HOUR),)}).windows == ()


def test_a_pair_is_made_by_those_who_may_make_both_and_at_the_confirmed_time() -> None:
    both = joined({"installers": frozenset({"Ada"})}, {})
    assert both.installers == frozenset({"Ada"})
    fixed = joined({}, {"appointment": Appointment(0, 14 * HOUR, "Ada")})
    # the first is begun 50 minutes before the second is to be begun
    assert fixed.appointment == Appointment(0, 13 * HOUR + 10 * MINUTE, "Ada")
    assert (fixed.windows, fixed.urgent) == ((), True)
    never = joined({"windows": (Window(0, 15 * HOUR, 17 * HOUR),)}, {"appointment": Appointment(0, 14 * HOUR)})
    assert (never.windows, never.appointment, never.urgent) == ((), None, True)
