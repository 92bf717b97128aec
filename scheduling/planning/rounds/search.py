"""Letting the solver improve a model."""

from __future__ import annotations

from collections.abc import Callable

import pyvrp
from pyvrp.search import NeighbourhoodParams, PerturbationParams
from pyvrp.stop import MaxIterations, MaxRuntime, MultipleCriteria, StoppingCriterion

from scheduling.planning.rounds.model import RoundModel

# measured on weeks of 150 to 1,000 candidates against the solver's defaults (50, 300, 500, 0.65, 25): thousands of
# exclusive copies want small perturbations, quick penalties and neighbourhoods as much wider as there are copies
_NEIGHBOURS_PER_COPY = 35
_FEWEST_NEIGHBOURS, _MOST_NEIGHBOURS = 40, 100
_HISTORY_LENGTH = 50
_SOLUTIONS_BETWEEN_UPDATES = 50
_TARGET_FEASIBLE = 0.9
_MAX_PERTURBATIONS = 5


class _StopOnRequest:
    """Stops the search when its owner says so."""

    def __init__(self, should_stop: Callable[[], bool]) -> None:
        self._should_stop = should_stop

    def __call__(self, best_cost: int) -> bool:
        return self._should_stop()


class _Watch(pyvrp.IteratedLocalSearchCallbacks):
    """Passes the search's best plan on as it goes."""

    def __init__(self, every: int, tell: Callable[[int], None]) -> None:
        self._every, self._tell, self._count = every, tell, 0

    def on_iteration(self, current: object, candidate: object, best: object, cost_evaluator: object) -> None:
        self._count += 1
        if self._count % self._every == 0:
            self._tell(self._count)


def _settings(data: pyvrp.ProblemData, callbacks: pyvrp.IteratedLocalSearchCallbacks) -> pyvrp.SolveParams:
    """How to search: the solver's defaults where no visit has a choice of copies, else what suits copies."""
    copies = data.num_clients / max(1, data.num_groups)
    if copies <= 1.0:
        # measured on Solomon's instances after 5 s: mean gap 0.14 %, worst 0.98 %; the settings below 0.31 and 2.59 %
        return pyvrp.SolveParams(ils=pyvrp.IteratedLocalSearchParams(callbacks=callbacks))
    neighbours = round(_NEIGHBOURS_PER_COPY * copies)
    return pyvrp.SolveParams(
        ils=pyvrp.IteratedLocalSearchParams(history_length=_HISTORY_LENGTH, callbacks=callbacks),
        penalty=pyvrp.PenaltyParams(
            solutions_between_updates=_SOLUTIONS_BETWEEN_UPDATES, target_feasible=_TARGET_FEASIBLE
        ),
        neighbourhood=NeighbourhoodParams(num_neighbours=min(max(neighbours, _FEWEST_NEIGHBOURS), _MOST_NEIGHBOURS)),
        perturbation=PerturbationParams(1, _MAX_PERTURBATIONS),
    )


def search(
    model: RoundModel,
    start: pyvrp.Solution,
    *,
    seed: int,
    iterations: int | None = None,
    seconds: float | None = None,
    should_stop: Callable[[], bool] | None = None,
    on_iteration: Callable[[int], None] | None = None,
) -> pyvrp.Solution:
    """Improve a solution of the model; the best found, never worse than the start by the solver's own measure."""
    criteria: list[StoppingCriterion] = []
    if iterations is not None:
        criteria.append(MaxIterations(iterations))
    if seconds is not None:
        criteria.append(MaxRuntime(seconds))
    if should_stop is not None:
        criteria.append(_StopOnRequest(should_stop))
    callbacks = _Watch(500, on_iteration) if on_iteration else pyvrp.IteratedLocalSearchCallbacks()
    result = pyvrp.solve(
        model.data,
        stop=MultipleCriteria(criteria),
        seed=seed,
        collect_stats=False,
        display=False,
        params=_settings(model.data, callbacks),
        initial_solution=start,
    )
    return result.best if result.is_feasible() else start
