"""The plan a person makes by hand: day by day, always on to where work can start soonest.

It is the yardstick the planner is measured against, and the plan it starts from.
"""

from __future__ import annotations

import numpy as np

from scheduling.planning.rounds.evaluate import may_be_driven
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.schedule import spare_s, time_round

PlanDict = dict[tuple[int, int], tuple[int, ...]]


def naive_plan(problem: RoundProblem) -> PlanDict:
    """Confirmed appointments first, then urgent visits, then whatever is soonest reached and worth serving that day.

    Every round in the answer can be driven. Visits that fit nowhere are left out.
    """
    plan: PlanDict = {}
    placed: set[int] = set()
    _place_appointments(problem, plan, placed)
    for day in range(problem.days):
        for installer, person in enumerate(problem.installers):
            if person.shift_on(day) is None:
                continue
            for urgent_only in (True, False):
                _extend(problem, plan, placed, installer, day, urgent_only=urgent_only)
    return {key: stops for key, stops in plan.items() if stops}


def _place_appointments(problem: RoundProblem, plan: PlanDict, placed: set[int]) -> None:
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
                detour = _detour(problem, installer, day, stops, position, k)
                if best is None or detour < best[0]:
                    best = (detour, installer, tried)
        if best is not None:
            plan[best[1], day] = best[2]
            placed.add(k)


def _detour(
    problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...], position: int, candidate: int
) -> int:
    """Driving money that going past a candidate adds."""
    path = problem.path(installer, day, stops)
    before, after = path[position], path[position + 1]
    new, cents = problem.node(candidate), problem.driving_cents
    return int(cents[before, new] + cents[new, after] - cents[before, after])


def _extend(
    problem: RoundProblem, plan: PlanDict, placed: set[int], installer: int, day: int, *, urgent_only: bool
) -> None:
    """Walk along the round and go on to the open candidate where work can start soonest, wherever one still fits."""
    stops = plan.get((installer, day), ())
    # who may be served at all does not depend on the place in the round
    worth_it = np.array([c.urgent for c in problem.candidates], dtype=np.bool_)
    if not urgent_only:
        worth_it |= problem.worths_cents(installer, day) > 0
    worth_it &= problem.may_be_served[installer]
    worth_it[list(placed)] = False
    if not worth_it.any():
        return
    waiting = _Waiting(problem, worth_it, day)
    position = 0
    while position <= len(stops):
        here, ready = _leaves(problem, installer, day, stops[:position])
        path = problem.path(installer, day, stops)
        spare = spare_s(problem, installer, day, stops)
        for k in waiting.soonest(here, ready, path[position], path[position + 1], spare):
            tried = (*stops[:position], k, *stops[position:])
            if may_be_driven(problem, installer, day, tried):
                stops = tried
                placed.add(k)
                waiting.remove(k)
                break
        position += 1
    if stops:
        plan[installer, day] = stops


class _Waiting:
    """Candidates that wait for a place on a day, with the spans in which their work may start, as arrays."""

    def __init__(self, problem: RoundProblem, wanted: np.ndarray, day: int) -> None:
        none = np.zeros(0, dtype=np.int64)
        owner, earliest, latest = problem.spans.get(day, (none, none, none))
        mine = wanted[owner]
        self._seconds = problem.travel.seconds
        # the spans of a candidate stand one behind the other
        self._candidates, self._owner = np.unique(owner[mine], return_inverse=True)
        self._earliest, self._latest = earliest[mine], latest[mine]
        self._nodes = len(problem.installers) + self._candidates
        self._service = problem.service_s[self._candidates]
        self._waits = np.ones(self._candidates.size, dtype=np.bool_)

    def soonest(self, here: int, ready: int, before: int, after: int, spare: int) -> list[int]:
        """Those whose work can start when somebody goes there from here, and who take no longer between two rows of the
        table than there is to spare; whose work starts soonest comes first."""
        seconds = self._seconds
        arrival = ready + seconds[here, self._nodes]
        in_time = np.flatnonzero((arrival[self._owner] <= self._latest) & self._waits[self._owner])
        # the spans of a candidate stand in order of time: the first that is still open is the one
        number, first = np.unique(self._owner[in_time], return_index=True)
        start = np.maximum(arrival[number], self._earliest[in_time[first]])
        new = self._nodes[number]
        takes = seconds[before, new] + seconds[new, after] - seconds[before, after] + self._service[number]
        fits = np.flatnonzero(takes <= spare)
        found: list[int] = self._candidates[number[fits[np.argsort(start[fits], kind="stable")]]].tolist()
        return found

    def remove(self, candidate: int) -> None:
        """One of them has its place."""
        self._waits[self._candidates == candidate] = False


def _leaves(problem: RoundProblem, installer: int, day: int, stops: tuple[int, ...]) -> tuple[int, int]:
    """Where the installer is after some stops, and when they can go on; lunch is left to the check."""
    shift = problem.installers[installer].shift_on(day)
    timing = time_round(problem, installer, day, stops, with_lunch=False)
    if not stops or timing is None:
        return problem.start_node(installer, day), shift.start_s if shift is not None else 0
    return problem.node(stops[-1]), timing.starts_s[-1] + problem.candidates[stops[-1]].service_s
