"""Other times for visits of a plan that all of them can be promised at once.

Every stop of the plan is held where it is, and each alternative takes a gap of its own. So whatever the clients
choose, and however many of them choose, every time that was offered can be kept. Only the break needs a look of its
own: it is had at a stop, so a round that loses that stop may have no place for it any more.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Collection
from dataclasses import dataclass

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.rounds.evaluate import Plan, make_route
from scheduling.planning.rounds.insertion import Insertion, PlanDict, cheapest_insertion, working_cells
from scheduling.planning.rounds.problem import Appointment, Candidate, RoundProblem, Window, whole_minute
from scheduling.planning.rounds.schedule import keeps_time

_NOON_S = SECONDS_PER_DAY // 2
#: What tells the key of an alternative from that of its visit.
_MARK = "~"
# Every choice of the clients of a round is tried out, 2 to the power of this many; a fuller round takes no more.
_MOST_OPEN_STOPS = 10


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another start of work for a visit: who, on which day of the horizon, at which second of it, on the minute."""

    visit: str
    installer: str
    day: int
    start_s: int


def held(candidate: Candidate, day: int, start_s: int, installer: str) -> Candidate:
    """A visit of a plan as one that starts when the plan says, by whom it says."""
    return dataclasses.replace(candidate, appointment=Appointment(day, start_s, installer))


def copies(candidate: Candidate, most: int) -> tuple[Candidate, ...]:
    """The candidates that stand for a visit's alternatives; their parts are those of the visit, so they take none."""
    return tuple(
        dataclasses.replace(candidate, key=f"{candidate.key}{_MARK}{n}", appointment=None, urgent=False, parts={})
        for n in range(1, most + 1)
    )


def find_alternatives(problem: RoundProblem, plan: Plan, days: Collection[int]) -> dict[str, list[Alternative]]:
    """Gaps in the rounds for the alternatives of every visit.

    An alternative lies on another half of a day than the visit's own time and than its other alternatives. It is the
    cheapest there is, and cheaper than not to go on any of the days: what a plan would rather leave out is not offered.

    Parameters
    ----------
    problem
        The stops of the plan, `held`, and the `copies` of those that want alternatives.
    plan
        The rounds as they stand, of the stops alone.
    days
        Days of the horizon on which alternatives may lie.

    Returns
    -------
    Key of a visit to its alternatives, by time; a visit without one is left out.
    """
    rounds: PlanDict = dict(plan)
    own = {c: cell for cell, stops in plan.items() for c in stops}
    cells = [cell for cell in working_cells(problem) if cell[1] in days]
    halves = {afternoon: _half(problem, afternoon=afternoon) for afternoon in (False, True)}
    used: dict[str, set[tuple[int, bool]]] = {}
    for c, (_, day) in own.items():
        fixed = problem.candidates[c].appointment
        used[problem.candidates[c].key] = {(day, fixed is not None and fixed.start_s >= _NOON_S)}
    placed: list[int] = []
    for number in range(1, 1 + max((int(c.key.rpartition(_MARK)[2]) for c in _copies(problem)), default=0)):
        # the first alternatives of all come before the second ones: one choice for everybody is worth more than two
        for c in sorted(own, key=lambda c: (own[c][1], own[c][0], c)):
            key = problem.candidates[c].key
            copy = problem.candidate_index.get(f"{key}{_MARK}{number}")
            if copy is None:
                continue
            best = None
            for afternoon, half in halves.items():
                free = [one for one in cells if (one[1], afternoon) not in used[key]]
                insertion = _insertion(half, rounds, copy, free)
                if insertion is not None and (best is None or insertion.extra_cents < best[0].extra_cents):
                    best = insertion, afternoon
            if best is None:
                continue
            insertion, afternoon = best
            rounds[insertion.installer, insertion.day] = insertion.stops
            used[key].add((insertion.day, afternoon))
            problem = _fix(halves[afternoon], copy, insertion, problem)
            halves = {afternoon: _half(problem, afternoon=afternoon) for afternoon in (False, True)}
            placed.append(copy)
    return _answer(problem, placed)


def _copies(problem: RoundProblem) -> list[Candidate]:
    return [c for c in problem.candidates if _MARK in c.key]


def _insertion(problem: RoundProblem, rounds: PlanDict, copy: int, cells: list[tuple[int, int]]) -> Insertion | None:
    """The cheapest gap that holds whatever else is chosen; None when none is worth going."""
    while (insertion := cheapest_insertion(problem, rounds, copy, cells)) is not None:
        if insertion.extra_cents >= 0:
            return None
        if _holds_anyway(problem, copy, insertion):
            return insertion
        cells = [cell for cell in cells if cell != (insertion.installer, insertion.day)]
    return None


def _holds_anyway(problem: RoundProblem, copy: int, insertion: Insertion) -> bool:
    """Whether the alternative breaks no round that could be driven without it, whoever else goes elsewhere."""
    cell, stops = (insertion.installer, insertion.day), insertion.stops
    fixed = _fix(problem, copy, insertion, problem)
    others = [c for c in stops if c != copy]
    if len(others) > _MOST_OPEN_STOPS:
        return False
    for size in range(len(others) + 1):
        for gone in itertools.combinations(others, size):
            remaining = tuple(c for c in stops if c not in gone)
            without = tuple(c for c in remaining if c != copy)
            if not keeps_time(fixed, *cell, remaining) and keeps_time(fixed, *cell, without):
                return False
    return True


def _half(problem: RoundProblem, *, afternoon: bool) -> RoundProblem:
    """The same problem with the alternatives that have no time yet on one half of the days."""
    opens, closes = (_NOON_S, SECONDS_PER_DAY) if afternoon else (0, _NOON_S - 1)

    def clipped(candidate: Candidate) -> Candidate:
        if _MARK not in candidate.key or candidate.appointment is not None:
            return candidate
        # a start before noon may end after it
        latest = SECONDS_PER_DAY if afternoon else closes + candidate.service_s
        spans = ((w, max(w.opens_s, opens), min(w.closes_s, latest)) for w in candidate.windows)
        windows = tuple(Window(w.day, a, b) for w, a, b in spans if b - a >= candidate.service_s)
        return dataclasses.replace(candidate, windows=windows)

    return dataclasses.replace(problem, candidates=tuple(clipped(c) for c in problem.candidates))


def _fix(timed: RoundProblem, copy: int, insertion: Insertion, problem: RoundProblem) -> RoundProblem:
    """The problem with an alternative held at the time that it has in its round as ``timed``."""
    route = make_route(timed, insertion.installer, insertion.day, insertion.stops)
    assert route is not None  # what is put into a round can be driven
    start = whole_minute(route.stops[insertion.stops.index(copy)].start_s)
    candidates = list(problem.candidates)
    candidates[copy] = held(candidates[copy], insertion.day, start, route.installer)
    return dataclasses.replace(problem, candidates=tuple(candidates))


def _answer(problem: RoundProblem, placed: list[int]) -> dict[str, list[Alternative]]:
    answer: dict[str, list[Alternative]] = {}
    for c in placed:
        candidate = problem.candidates[c]
        fixed = candidate.appointment
        assert fixed is not None
        assert fixed.installer is not None
        visit = candidate.key.rpartition(_MARK)[0]
        answer.setdefault(visit, []).append(Alternative(visit, fixed.installer, fixed.day, fixed.start_s))
    return {visit: sorted(found, key=lambda a: (a.day, a.start_s)) for visit, found in answer.items()}
