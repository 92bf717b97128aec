"""How long the solver searches, and whom it tells."""

from __future__ import annotations

import pytest

from scheduling.planning.rounds.greedy import greedy_plan
from scheduling.planning.rounds.insertion import working_cells
from scheduling.planning.rounds.model_build import build_model
from scheduling.planning.rounds.search import search
from tests.scheduling.planning.rounds.instances import make_week


@pytest.fixture(scope="module")
def started():
    problem = make_week(8, seed=5, installers=2, days=2)
    model = build_model(problem, cells=working_cells(problem), candidates=range(8))
    return model, model.encode(greedy_plan(problem))[0]


@pytest.mark.parametrize(("iterations", "told"), [(499, []), (500, [500]), (1_600, [500, 1_000, 1_500])])
def test_whoever_watches_is_told_every_five_hundred_iterations(started, iterations: int, told: list[int]) -> None:
    heard: list[int] = []
    search(*started, seed=1, iterations=iterations, on_iteration=heard.append)
    assert heard == told


def test_whoever_stops_it_is_asked_at_every_iteration(started) -> None:
    calls: list[int] = []

    def has_had_enough() -> bool:
        calls.append(1)
        return len(calls) > 20

    search(*started, seed=1, iterations=100_000, should_stop=has_had_enough)
    assert len(calls) == 21
