"""Small rounds against their exact optimum, found in two other ways.

1. Full enumeration: every order of every choice of visits for every installer and day, timed by a scheduler written for
   this test alone, then every way to deal the visits out.
2. OR-Tools' CP-SAT solver (an independent, general-purpose solver), which proves its optimum.
"""

from __future__ import annotations

import dataclasses
import itertools

import pytest
from ortools.sat.python import cp_model

from scheduling.planning.rounds import RoundProblem, Shift, evaluate, plan_rounds
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.planning.rounds.instances import HOUR, make_week

SIZE = {"installers": 2, "days": 2, "shift": (8 * HOUR, 14 * HOUR), "minutes": (20, 70)}


def first_row(problem: RoundProblem, installer: int, day: int) -> int:
    """Row of the table of trips a round starts from: home, or after all sites one for each round begun on the road."""
    begun = [
        (k, shift.day)
        for k, person in enumerate(problem.installers)
        for shift in person.shifts
        if shift.starts_at is not None
    ]
    away = len(problem.installers) + len(problem.candidates)
    return away + begun.index((installer, day)) if (installer, day) in begun else installer


def simulate(
    problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...], lunch_at: int | None
) -> int | None:
    """When the installer is home, or None, with lunch after ``lunch_at`` stops (0: before leaving, -1: back home)."""
    person = problem.installers[installer]
    shift = next(s for s in person.shifts if s.day == day)
    clock, where = shift.start_s, first_row(problem, installer, day)

    def eat(now: int) -> int | None:
        begins = max(now, person.lunch.earliest_start_s)
        return None if begins > person.lunch.latest_start_s else begins + person.lunch.duration_s

    if lunch_at == 0:
        clock = eat(clock)
        if clock is None:
            return None
    for number, c in enumerate(stops, start=1):
        visit = problem.candidates[c]
        clock += int(problem.travel.seconds[where, len(problem.installers) + c])
        where = len(problem.installers) + c
        if visit.appointment is not None:
            if visit.appointment.day != day or clock > visit.appointment.start_s:
                return None
            clock = visit.appointment.start_s + visit.service_s
        else:
            ends = [
                max(clock, w.opens_s) + visit.service_s
                for w in visit.windows
                if w.day == day and max(clock, w.opens_s) + visit.service_s <= w.closes_s
            ]
            if not ends:
                return None
            clock = min(ends)
        if lunch_at == number:
            clock = eat(clock)
            if clock is None:
                return None
    clock += int(problem.travel.seconds[where, installer])
    if clock > shift.end_s + person.max_overtime_s or (lunch_at == -1 and eat(clock) is None):
        return None
    return clock


def shift_end(problem: RoundProblem, installer: int, day: int) -> int:
    return next(s.end_s for s in problem.installers[installer].shifts if s.day == day)


def lunches(problem: RoundProblem, installer: int, day: int, stops: int) -> tuple[int | None, ...]:
    """Where lunch may be: anywhere, or nowhere when it has been had."""
    fed = next(s for s in problem.installers[installer].shifts if s.day == day).had_lunch
    return (None,) if fed else (-1, *range(stops + 1))


def allowed(problem: RoundProblem, installer: int, c: int) -> bool:
    person, visit = problem.installers[installer], problem.candidates[c]
    promised = visit.appointment.installer if visit.appointment else None
    return visit.skills <= person.skills and promised in (None, person.key)


def enumerate_optimum(problem: RoundProblem) -> int:
    """Least total, in cents, over every plan that leaves out no visit that must be made."""
    n = len(problem.candidates)
    base = len(problem.installers)
    cents = problem.driving_cents
    everything = (1 << n) - 1
    reachable = {0: 0}  # visits dealt out so far -> least cost of them
    for installer, day in itertools.product(range(base), range(problem.days)):
        own_candidates = [c for c in range(n) if allowed(problem, installer, c)]
        begins = first_row(problem, installer, day)
        best: dict[int, int] = {0: int(cents[begins, installer])}
        stack: list[tuple[tuple[int, ...], int]] = [((), 0)]
        while stack:
            stops, mask = stack.pop()
            for c in own_candidates:
                if mask >> c & 1:
                    continue
                longer = (*stops, c)
                if simulate(problem, installer, day, longer, None) is None:
                    continue  # nothing added later makes it earlier
                stack.append((longer, mask | 1 << c))
                homes = [
                    home
                    for k in lunches(problem, installer, day, len(longer))
                    if (home := simulate(problem, installer, day, longer, k)) is not None
                ]
                if homes:
                    path = [begins, *(base + s for s in longer), installer]
                    cost = sum(int(cents[a, b]) for a, b in itertools.pairwise(path))
                    late = max(0, min(homes) - shift_end(problem, installer, day))
                    cost += late * problem.rates.overtime_hour_cents // 3_600
                    cost += sum(problem.candidates[s].cost_by_day_cents[day] for s in longer)
                    name = problem.installers[installer].key
                    cost += sum(problem.candidates[s].cost_by_installer_cents.get(name, 0) for s in longer)
                    key = mask | 1 << c
                    best[key] = min(best.get(key, cost), cost)
        together: dict[int, int] = {}
        for mask, cost in reachable.items():
            for extra, more in best.items():
                if not mask & extra:
                    key = mask | extra
                    together[key] = min(together.get(key, cost + more), cost + more)
        reachable = together
    musts = sum(1 << k for k, c in enumerate(problem.candidates) if c.urgent or c.appointment)
    cost_if_unserved = {
        mask: sum(problem.candidates[k].cost_if_unserved_cents for k in range(n) if not mask >> k & 1)
        for mask in reachable
    }
    most = max(bin(mask & musts & everything).count("1") for mask in reachable)
    return min(
        cost + cost_if_unserved[mask] for mask, cost in reachable.items() if bin(mask & musts).count("1") == most
    )


def constraint_optimum(problem: RoundProblem) -> int:
    """The same by CP-SAT: a circuit for each installer and day, times by implication, lunch after a stop or at home."""
    model = cp_model.CpModel()
    base, n = len(problem.installers), len(problem.candidates)
    objective = []
    served: dict[int, list[cp_model.IntVar]] = {c: [] for c in range(n)}
    for installer, day in itertools.product(range(base), range(problem.days)):
        person = problem.installers[installer]
        shift = next(s for s in person.shifts if s.day == day)
        lunch = person.lunch
        own_candidates = [c for c in range(n) if allowed(problem, installer, c) and problem.starts[c].get(day)]
        idle = model.new_bool_var("")
        arcs = [(0, 0, idle)]
        goes = model.new_int_var(shift.start_s, shift.end_s, "")  # leaves home, after any lunch there
        back = model.new_int_var(shift.start_s, shift.end_s, "")
        ready, start, here, eats = {}, {}, {}, {}
        before, after = model.new_bool_var(""), model.new_bool_var("")
        model.add(goes >= lunch.earliest_start_s + lunch.duration_s).only_enforce_if(before)
        model.add(back <= lunch.latest_start_s).only_enforce_if(after)
        for c in own_candidates:
            visit = problem.candidates[c]
            here[c], eats[c] = model.new_bool_var(""), model.new_bool_var("")
            served[c].append(here[c])
            arcs.append((c + 1, c + 1, here[c].negated()))
            spans = problem.starts[c][day]
            domain = cp_model.Domain.from_intervals([list(span) for span in spans])
            start[c] = model.new_int_var_from_domain(domain, "")
            ready[c] = model.new_int_var(0, 2 * shift.end_s, "")
            model.add(ready[c] >= start[c] + visit.service_s)
            model.add_implication(eats[c], here[c])
            eating = model.new_int_var(lunch.earliest_start_s, lunch.latest_start_s, "")
            model.add(eating >= start[c] + visit.service_s).only_enforce_if(eats[c])
            model.add(ready[c] >= eating + lunch.duration_s).only_enforce_if(eats[c])
            objective.append((visit.cost_by_day_cents[day] - visit.cost_if_unserved_cents) * here[c])
        model.add_exactly_one([idle, before, after, *eats.values()])
        for a, b in itertools.permutations([None, *own_candidates], 2):
            drive = model.new_bool_var("")
            arcs.append((0 if a is None else a + 1, 0 if b is None else b + 1, drive))
            row = installer if a is None else base + a
            column = installer if b is None else base + b
            seconds = int(problem.travel.seconds[row, column])
            objective.append(int(problem.driving_cents[row, column]) * drive)
            leaving = goes if a is None else ready[a]
            arriving = back if b is None else start[b]
            model.add(arriving >= leaving + seconds).only_enforce_if(drive)
        model.add_circuit(arcs)
    for c, visit in enumerate(problem.candidates):
        if visit.urgent or visit.appointment:
            model.add_exactly_one(served[c])
        else:
            model.add_at_most_one(served[c])
    model.minimize(sum(objective))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status == cp_model.OPTIMAL
    return round(solver.objective_value) + sum(c.cost_if_unserved_cents for c in problem.candidates)


@pytest.mark.parametrize(
    ("visits", "seed", "musts"),
    [
        (8, 1, 0),
        (8, 2, 2),
        (8, 3, 4),
        (9, 4, 3),
        (9, 5, 0),
        (10, 6, 0),
        (10, 7, 3),
        (10, 114, 2),
        (10, 144, 3),
        (9, 178, 0),
    ],
)
def test_equal_to_full_enumeration(visits: int, seed: int, musts: int) -> None:
    problem = make_week(visits, seed=seed, musts=musts, **SIZE)
    plan = plan_rounds(problem, iterations=3_000, seed=seed)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.total_cents == enumerate_optimum(problem)
    assert evaluate(problem, plan.plan).total_cents == plan.evaluation.total_cents


@pytest.mark.parametrize(("visits", "seed", "musts"), [(7, 11, 0), (8, 12, 2), (8, 2, 2)])
def test_equal_to_another_solver(visits: int, seed: int, musts: int) -> None:
    problem = make_week(visits, seed=seed, musts=musts, **SIZE)
    plan = plan_rounds(problem, iterations=3_000, seed=1)
    assert plan.evaluation.missed_urgent == ()
    assert plan.evaluation.missed_appointments == ()
    assert plan.evaluation.total_cents == constraint_optimum(problem)


@pytest.mark.parametrize("seed", [41, 42, 48, 55])
def test_overtime_at_a_price_is_equal_to_full_enumeration(seed: int) -> None:
    problem = make_week(8, seed=seed, musts=0, max_overtime_s=HOUR, **SIZE)
    plan = plan_rounds(problem, iterations=3_000, seed=1)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.overtime_cents > 0
    assert plan.evaluation.total_cents == enumerate_optimum(problem)


@pytest.mark.parametrize(("seed", "at", "fed"), [(21, 9, False), (22, 10, False), (23, 12, True), (24, 11, False)])
def test_a_day_that_has_begun_is_equal_to_full_enumeration(seed: int, at: int, fed: bool) -> None:
    week = make_week(9, seed=seed, musts=2, **SIZE)
    problem = RoundProblem.build(
        first_day=week.first_day,
        days=week.days,
        installers=[
            dataclasses.replace(
                person,
                shifts=(
                    Shift(0, at * HOUR, 15 * HOUR, starts_at=Place(50.05 + k / 20, 9.1), had_lunch=fed),
                    person.shifts[1],
                ),
            )
            for k, person in enumerate(week.installers)
        ],
        candidates=[
            dataclasses.replace(c, cost_by_installer_cents={"installer 1": 300} if k % 2 else {})
            for k, c in enumerate(week.candidates)
            if c.appointment is None
        ],
        rates=week.rates,
        provider=GreatCircleTravel(),
    )
    plan = plan_rounds(problem, iterations=3_000, seed=1)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.total_cents == enumerate_optimum(problem)
