"""The small steps of the search, against trying everything."""

from __future__ import annotations

import itertools

import pytest

from scheduling.planning.rounds import UnservedReason, evaluate
from scheduling.planning.rounds.evaluate import may_be_driven
from scheduling.planning.rounds.greedy import greedy_plan
from scheduling.planning.rounds.insertion import cheapest_insertion, polish, working_cells
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.unserved import explain_unserved
from tests.scheduling.planning.rounds.instances import HOUR, make_week

SEEDS = [1, 2, 3, 4]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("make", [naive_plan, greedy_plan])
def test_first_plans_can_be_driven_and_hold_what_must_be_served(make, seed: int) -> None:
    judged = evaluate(problem := make_week(90, seed=seed), make(problem))
    assert judged.faults == ()
    assert (judged.missed_appointments, judged.missed_urgent) == ((), ())
    assert judged.total_cents < evaluate(problem, {}).total_cents


@pytest.mark.parametrize("seed", SEEDS)
def test_value_for_time_beats_the_nearest_door(seed: int) -> None:
    problem = make_week(200, seed=seed)
    assert evaluate(problem, greedy_plan(problem)).total_cents < evaluate(problem, naive_plan(problem)).total_cents


@pytest.mark.parametrize("overtime", [0, HOUR])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_cheapest_insertion_is_the_cheapest_of_all(seed: int, overtime: int) -> None:
    problem = make_week(60, seed=seed, installers=2, days=3, max_overtime_s=overtime)
    plan = naive_plan(problem)
    before = evaluate(problem, plan).total_cents
    served = {c for stops in plan.values() for c in stops}
    for k in [k for k in range(60) if k not in served][:12]:
        costs = []
        for cell in working_cells(problem):
            stops = plan.get(cell, ())
            for place in range(len(stops) + 1):
                tried = (*stops[:place], k, *stops[place:])
                if may_be_driven(problem, *cell, tried):
                    costs.append(evaluate(problem, {**plan, cell: tried}).total_cents - before)
        found = cheapest_insertion(problem, plan, k, positions=99)
        assert (found is None) == (not costs)
        if found is not None:
            assert found.extra_cents == min(costs)


@pytest.mark.parametrize("seed", SEEDS)
def test_polishing_never_makes_a_plan_dearer_and_leaves_no_exchange_in_place(seed: int) -> None:
    problem = make_week(80, seed=seed, installers=2, days=3)
    plan = naive_plan(problem)
    better = polish(problem, plan)
    before, after = evaluate(problem, plan), evaluate(problem, better)
    assert after.faults == ()
    assert after.rank <= before.rank
    assert len(after.missed_urgent) <= len(before.missed_urgent)
    left = [k for k in range(80) if problem.candidates[k].key in set(after.left)]
    for cell, stops in better.items():
        for (place, gone), k in itertools.product(enumerate(stops), left[:10]):
            if problem.candidates[gone].must:
                continue
            tried = {**better, cell: (*stops[:place], k, *stops[place + 1 :])}
            judged = evaluate(problem, tried)
            assert judged.faults or judged.total_cents >= after.total_cents


@pytest.mark.parametrize("seed", SEEDS)
def test_the_visit_to_give_way_is_the_one_whose_loss_is_least(seed: int) -> None:
    problem = make_week(40, seed=seed, installers=1, days=2, skills=False, musts=3)
    plan = polish(problem, greedy_plan(problem))
    total = evaluate(problem, plan).total_cents
    full = [u for u in explain_unserved(problem, plan) if u.reason is UnservedReason.DAYS_ARE_FULL]
    assert full
    for told in full[:6]:
        k = problem.candidate_index[told.visit]
        costs: dict[str, int] = {}
        for cell, stops in plan.items():
            for gone in stops:
                other = problem.candidates[gone]
                if other.must:
                    continue
                rest = tuple(c for c in stops if c != gone)
                for place in range(len(rest) + 1):
                    tried = (*rest[:place], k, *rest[place:])
                    if may_be_driven(problem, *cell, tried):
                        cost = evaluate(problem, {**plan, cell: tried}).total_cents - total
                        costs[other.key] = min(costs.get(other.key, cost), cost)
        if told.displaces:
            assert told.extra_cents == min(costs.values()) == costs[told.displaces]
        else:
            assert costs == {}
