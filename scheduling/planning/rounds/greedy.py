"""A first plan by value for time: always put in what saves most money for the minutes it takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.rounds.evaluate import may_be_driven
from scheduling.planning.rounds.insertion import PlanDict, place_the_musts, working_cells
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.schedule import left_of_day_s

#: Added to the time a visit takes, so that very short ones do not crowd out all others.
_SPARE_S = 300
#: How many places of a round are tried for one visit before the round is held to be full for it.
_TRIED = 4


class _Cell:
    """The offers of one round to every visit left out: what each saves there for its time, at its best place."""

    def __init__(self, problem: RoundProblem, cell: tuple[int, int]) -> None:
        self.problem, self.cell = problem, cell
        self.stops: tuple[int, ...] = ()
        candidates = problem.spans[cell[1]][0] if cell[1] in problem.spans else np.zeros(0, dtype=np.int64)
        self._may_hold = np.unique(candidates[problem.may_be_served[cell[0]][candidates]])
        self._asked: NDArray[np.int64] = self._may_hold[:0]
        self._scores: NDArray[np.float64] = np.zeros(0)
        self._tried: dict[int, int] = {}
        self.best, self._at, self._next = -np.inf, 0, -np.inf

    def update(self, stops: tuple[int, ...], is_waiting: NDArray[np.bool_]) -> None:
        """Price every waiting visit in the round as it now is."""
        self.stops, self._tried = stops, {}
        asked = self._may_hold[is_waiting[self._may_hold]]
        scores = self._price(asked).max(axis=0, initial=-np.inf)
        is_offered = np.isfinite(scores)
        self._asked, self._scores = asked[is_offered], scores[is_offered]
        self.find_best()

    def _price(self, asked: NDArray[np.int64]) -> NDArray[np.float64]:
        """What visits save for their time at each place of the round, places x visits; minus infinity where one does
        not fit or saves nothing."""
        problem = self.problem
        path = np.array(problem.path(*self.cell, self.stops))
        before, after = path[:-1], path[1:]
        cents, seconds = problem.driving_cents, problem.travel.seconds
        busy = int(seconds[before, after].sum()) + sum(problem.candidates[c].service_s for c in self.stops)
        spare = left_of_day_s(problem, *self.cell, busy)
        new = len(problem.installers) + asked
        detour = cents[np.ix_(before, new)] + cents[np.ix_(new, after)].T - cents[before, after][:, None]
        takes = seconds[np.ix_(before, new)] + seconds[np.ix_(new, after)].T - seconds[before, after][:, None]
        service = problem.service_s[asked]
        gain = problem.worths_cents(*self.cell)[asked] - detour
        fits = (takes + service <= spare) & (gain > 0)
        return np.where(fits, gain / (service + takes + _SPARE_S), -np.inf)

    def find_best(self) -> None:
        """Look for the best offer anew."""
        self._at = int(np.argmax(self._scores)) if self._scores.size else 0
        self.best = float(self._scores[self._at]) if self._scores.size else -np.inf

    def candidate(self) -> int:
        """Whose offer is the best."""
        return int(self._asked[self._at])

    def withdraw(self) -> None:
        """The best offer is none any more: its visit is served elsewhere."""
        self._scores[self._at] = -np.inf
        self.find_best()

    def with_best(self) -> tuple[int, ...]:
        """The stops with the visit of the best offer at its place."""
        k = self.candidate()
        scores = self._price(self._asked[self._at : self._at + 1])[:, 0]
        order = np.argsort(-scores, kind="stable")
        tried = self._tried.get(k, 0)
        place = int(order[tried])
        self._next = float(scores[order[tried + 1]]) if tried + 1 < min(_TRIED, scores.size) else -np.inf
        return (*self.stops[:place], k, *self.stops[place:])

    def try_next_place(self) -> None:
        """What `with_best` gave cannot be driven: the next best place of that visit comes up in turn."""
        k = self.candidate()
        self._tried[k] = self._tried.get(k, 0) + 1
        self._scores[self._at] = self._next
        self.find_best()


def greedy_plan(problem: RoundProblem) -> PlanDict:
    """Confirmed and urgent visits first, then value for time, as long as anything fits and pays.

    Every round in the answer can be driven.
    """
    plan = place_the_musts(problem, {})
    is_waiting = np.ones(len(problem.candidates), dtype=np.bool_)
    is_waiting[[c for stops in plan.values() for c in stops]] = False
    cells = [_Cell(problem, cell) for cell in working_cells(problem)]
    if not cells or not is_waiting.any():
        return plan
    for cell in cells:
        cell.update(plan.get(cell.cell, ()), is_waiting)
    best = np.array([cell.best for cell in cells])
    while True:
        number = int(np.argmax(best))
        if not np.isfinite(best[number]):
            return plan
        cell = cells[number]
        k = cell.candidate()
        if not is_waiting[k]:
            cell.withdraw()
        elif may_be_driven(problem, *cell.cell, tried := cell.with_best()):
            plan[cell.cell] = tried
            is_waiting[k] = False
            cell.update(tried, is_waiting)
        else:
            cell.try_next_place()
        best[number] = cell.best
