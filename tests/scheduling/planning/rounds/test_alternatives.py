"""Alternatives that can all be promised at once, held to the judge of plans."""

from __future__ import annotations

import dataclasses
import itertools
import random

import pytest

from scheduling.planning.rounds import RoundProblem, evaluate
from scheduling.planning.rounds.alternatives import Alternative, copies, find_alternatives, held
from scheduling.planning.rounds.evaluate import Fault
from scheduling.planning.rounds.insertion import PlanDict
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.travel.trips import GreatCircleTravel
from tests.scheduling.planning.rounds.instances import make_week

NOON = 43_200


def _offered_week(seed: int, most: int = 2) -> tuple[RoundProblem, PlanDict]:
    """A week whose stops are held, and two alternatives asked for each."""
    week = make_week(24, seed=seed, installers=2, musts=3)
    stops = naive_plan(week)
    candidates = []
    for route in evaluate(week, stops).routes:
        for stop in route.stops:
            candidate = week.candidates[week.candidate_index[stop.visit]]
            candidates.append(held(candidate, route.day, stop.start_s, route.installer))
            candidates += copies(candidate, most)
    problem = RoundProblem.build(
        first_day=week.first_day,
        days=week.days,
        installers=week.installers,
        candidates=candidates,
        rates=week.rates,
        provider=GreatCircleTravel(),
    )
    keys = {cell: [week.candidates[c].key for c in route] for cell, route in stops.items() if route}
    return problem, {cell: tuple(problem.candidate_index[key] for key in route) for cell, route in keys.items()}


def _after(problem: RoundProblem, plan: PlanDict, chosen: dict[str, Alternative]) -> list[str]:
    """What the judge finds wrong once clients have chosen, and would not find if they had just gone away.

    A break is had at a stop, so a round that loses the stop may be without a place for it: that is no matter of the
    alternatives.
    """
    gone = {c for stops in plan.values() for c in stops if problem.candidates[c].key in chosen}
    left = {cell: tuple(c for c in stops if c not in gone) for cell, stops in plan.items()}
    before = {(fault.installer, fault.day) for fault in evaluate(problem, left).faults}
    return [f.sentence for f in _faults(problem, plan, chosen) if (f.installer, f.day) not in before]


def _faults(problem: RoundProblem, plan: PlanDict, chosen: dict[str, Alternative]) -> tuple[Fault, ...]:
    """The judge's faults, with every round in order of the times that were promised."""
    moved = list(problem.candidates)
    for visit, alternative in chosen.items():
        c = problem.candidate_index[visit]
        moved[c] = held(moved[c], alternative.day, alternative.start_s, alternative.installer)
    now = dataclasses.replace(problem, candidates=tuple(moved))
    rounds: dict[tuple[int, int], list[int]] = {}
    for c in {c for stops in plan.values() for c in stops}:
        fixed = moved[c].appointment
        assert fixed is not None
        assert fixed.installer is not None
        rounds.setdefault((problem.installer_index[fixed.installer], fixed.day), []).append(c)
    order = {cell: tuple(sorted(stops, key=lambda c: moved[c].appointment.start_s)) for cell, stops in rounds.items()}
    return evaluate(now, order).faults


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_whatever_clients_choose_every_time_that_was_offered_can_be_kept(seed: int) -> None:
    problem, plan = _offered_week(seed)
    answer = find_alternatives(problem, plan, range(problem.days))
    assert len(answer) >= 6
    everything = [a for alternatives in answer.values() for a in alternatives]
    random_choice = random.Random(seed)
    for _ in range(40):
        chosen = {a.visit: a for a in random_choice.sample(everything, random_choice.randrange(len(everything)))}
        assert _after(problem, plan, chosen) == []
    assert _after(problem, plan, {a.visit: a for a in everything}) == []


def test_an_alternative_lies_on_another_half_of_a_day_and_within_the_hours_of_the_site() -> None:
    problem, plan = _offered_week(4)
    answer = find_alternatives(problem, plan, range(problem.days))
    for visit, alternatives in answer.items():
        candidate = problem.candidates[problem.candidate_index[visit]]
        own = candidate.appointment
        assert own is not None
        halves = [(a.day, a.start_s >= NOON) for a in (own, *alternatives)]
        assert len(set(halves)) == len(halves)
        for a in alternatives:
            assert any(
                w.day == a.day and w.opens_s <= a.start_s and a.start_s + candidate.service_s <= w.closes_s
                for w in candidate.windows
            )
            assert candidate.skills <= problem.installers[problem.installer_index[a.installer]].skills


def test_alternatives_lie_on_the_days_that_are_asked_for_alone() -> None:
    problem, plan = _offered_week(5)
    answer = find_alternatives(problem, plan, [3])
    assert answer
    assert {a.day for a in itertools.chain.from_iterable(answer.values())} == {3}
    assert find_alternatives(problem, plan, []) == {}


def test_what_the_planner_would_rather_leave_out_is_not_offered() -> None:
    """Waiting for any other day is made dear for every visit: no alternative on another day is left."""
    problem, plan = _offered_week(6)
    days = {c: cell[1] for cell, stops in plan.items() for c in stops}
    by_key = {problem.candidates[c].key: day for c, day in days.items()}
    dear = tuple(
        dataclasses.replace(
            c,
            cost_by_day_cents=tuple(
                cost if day == by_key[c.key.partition("~")[0]] else cost + 10**6
                for day, cost in enumerate(c.cost_by_day_cents)
            ),
        )
        for c in problem.candidates
    )
    answer = find_alternatives(dataclasses.replace(problem, candidates=dear), plan, range(problem.days))
    assert {(a.visit, a.day) for alternatives in answer.values() for a in alternatives} <= set(by_key.items())
