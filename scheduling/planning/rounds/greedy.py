"""A first plan by value for time: always put in what saves most money for the minutes it takes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.rounds.evaluate import may_be_driven
from scheduling.planning.rounds.insertion import PlanDict, place_the_musts, working_cells
from scheduling.planning.rounds.problem import RoundProblem

#: Added to the time a visit takes, so that very short ones do not crowd out all others.
_SPARE_S = 300
#: How many places of a round are tried for one visit before the round is held to be full for it.
_TRIED = 4


class _Cell:
    """The offers of one round to every visit left out: best place, and what it saves for its time."""

    def __init__(self, problem: RoundProblem, cell: tuple[int, int]) -> None:
        self.problem, self.cell = problem, cell
        self.stops: tuple[int, ...] = ()
        n = len(problem.candidates)
        self.open = np.zeros(n, dtype=np.bool_)
        if cell[1] in problem.spans:
            self.open[problem.spans[cell[1]][0]] = True
        self.open &= problem.may_be_served[cell[0]]
        self.worth = problem.worths_cents(*cell)
        self.service = problem.service_s
        self.nodes = len(problem.installers) + np.arange(n, dtype=np.int64)
        self.offers: NDArray[np.float64] = np.full((n, _TRIED), -np.inf)
        self.places: NDArray[np.int64] = np.zeros((n, _TRIED), dtype=np.int64)

    def update(self, stops: tuple[int, ...], waiting: NDArray[np.int64]) -> None:
        """Price every waiting visit in the round as it now is."""
        self.stops = stops
        problem = self.problem
        shift, _, latest_home = problem.working_days[self.cell]
        path = np.array(problem.path(*self.cell, stops))
        before, after = path[:-1], path[1:]
        cents, seconds = problem.driving_cents, problem.travel.seconds
        busy = int(seconds[before, after].sum()) + sum(problem.candidates[c].service_s for c in stops)
        spare = latest_home - shift.start_s - busy
        ask = waiting[self.open[waiting]]
        self.offers[:] = -np.inf
        if ask.size == 0:
            return
        new = self.nodes[ask]
        detour = cents[before][:, new] + cents[np.ix_(new, after)].T - cents[before, after][:, None]
        takes = seconds[before][:, new] + seconds[np.ix_(new, after)].T - seconds[before, after][:, None]
        gain = self.worth[ask] - detour
        score = np.where(
            (takes + self.service[ask] <= spare) & (gain > 0), gain / (self.service[ask] + takes + _SPARE_S), -np.inf
        )
        tried = min(_TRIED, score.shape[0])
        order = np.argsort(-score, axis=0, kind="stable")[:tried]
        self.places[ask, :tried] = order.T
        self.offers[ask, :tried] = np.take_along_axis(score, order, axis=0).T


def greedy_plan(problem: RoundProblem) -> PlanDict:
    """Confirmed and urgent visits first, then value for time, as long as anything fits and pays.

    Every round in the answer can be driven.
    """
    plan = place_the_musts(problem, {})
    served = {c for stops in plan.values() for c in stops}
    waiting = np.array([k for k in range(len(problem.candidates)) if k not in served], dtype=np.int64)
    cells = [_Cell(problem, cell) for cell in working_cells(problem)]
    if not cells or waiting.size == 0:
        return plan
    for cell in cells:
        cell.update(plan.get(cell.cell, ()), waiting)
    best = np.stack([cell.offers[:, 0] for cell in cells])
    while True:
        number, k = np.unravel_index(int(np.argmax(best)), best.shape)
        if not np.isfinite(best[number, k]):
            return plan
        cell = cells[int(number)]
        place = int(cell.places[k, 0])
        tried = (*cell.stops[:place], int(k), *cell.stops[place:])
        if not may_be_driven(problem, *cell.cell, tried):
            # its next best place in this round comes up in turn
            cell.offers[k, :-1], cell.offers[k, -1] = cell.offers[k, 1:].copy(), -np.inf
            cell.places[k, :-1] = cell.places[k, 1:].copy()
            best[number, k] = cell.offers[k, 0]
            continue
        plan[cell.cell] = tried
        waiting = waiting[waiting != k]
        best[:, k] = -np.inf
        for other in cells:
            other.offers[k] = -np.inf
        cell.update(tried, waiting)
        best[number] = cell.offers[:, 0]
