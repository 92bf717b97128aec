"""The plan a person makes by hand: day by day, always on to the nearest site that can still be visited.

It is the yardstick the planner is measured against, and the plan it starts from.
"""

from __future__ import annotations

from scheduling.planning.rounds.evaluate import may_be_driven
from scheduling.planning.rounds.problem import RoundProblem

PlanDict = dict[tuple[int, int], tuple[int, ...]]


def naive_plan(problem: RoundProblem) -> PlanDict:
    """Confirmed appointments first, then urgent visits, then whatever is nearest and worth serving that day.

    Every round in the answer can be driven. Visits that fit nowhere are left out.
    """
    plan: PlanDict = {}
    done: set[int] = set()
    _place_appointments(problem, plan, done)
    for day in range(problem.days):
        for installer, person in enumerate(problem.installers):
            if person.shift_on(day) is None:
                continue
            for urgent_only in (True, False):
                _extend(problem, plan, done, installer, day, urgent_only=urgent_only)
    return {key: stops for key, stops in plan.items() if stops}


def _place_appointments(problem: RoundProblem, plan: PlanDict, done: set[int]) -> None:
    confirmed = [
        (c.appointment.day, c.appointment.start_s, k)
        for k, c in enumerate(problem.candidates)
        if c.appointment is not None
    ]
    for day, _, k in sorted(confirmed):
        best: tuple[int, int, tuple[int, ...]] | None = None
        for installer in range(len(problem.installers)):
            stops = plan.get((installer, day), ())
            for position in range(len(stops), -1, -1):
                tried = (*stops[:position], k, *stops[position:])
                if not may_be_driven(problem, installer, day, tried):
                    continue
                detour = _detour(problem, installer, stops, position, k)
                if best is None or detour < best[0]:
                    best = (detour, installer, tried)
        if best is not None:
            plan[best[1], day] = best[2]
            done.add(k)


def _detour(problem: RoundProblem, installer: int, stops: tuple[int, ...], position: int, candidate: int) -> int:
    """Driving money that going past a candidate adds."""
    before = problem.node(stops[position - 1]) if position else installer
    after = problem.node(stops[position]) if position < len(stops) else installer
    new, cents = problem.node(candidate), problem.driving_cents
    return int(cents[before, new] + cents[new, after] - cents[before, after])


def _extend(
    problem: RoundProblem, plan: PlanDict, done: set[int], installer: int, day: int, *, urgent_only: bool
) -> None:
    """Walk along the round and go on to the nearest open candidate wherever one still fits."""
    seconds = problem.travel.seconds
    person = problem.installers[installer]
    stops = plan.get((installer, day), ())
    position = 0
    while position <= len(stops):
        here = problem.node(stops[position - 1]) if position else installer
        open_ones = [
            k
            for k, c in enumerate(problem.candidates)
            if k not in done
            and day in problem.starts[k]
            and (c.urgent or (not urgent_only and c.value_cents(day) > 0))
            and problem.may_serve(person, c)
        ]
        open_ones.sort(key=lambda k: (int(seconds[here, problem.node(k)]), k))
        for k in open_ones:
            tried = (*stops[:position], k, *stops[position:])
            if may_be_driven(problem, installer, day, tried):
                stops = tried
                done.add(k)
                break
        position += 1
    if stops:
        plan[installer, day] = stops
