"""The round planner on Solomon's public instances (M. M. Solomon, Operations Research 35(2), 1987).

Best known values are those of CVRPLIB (`fixtures/reference/solomon`), under its distance convention.
"""

from __future__ import annotations

import pytest

from scheduling.planning.rounds import evaluate, plan_rounds
from tests.effort import some
from tests.published import solomon

NAMES = sorted(path.stem for path in solomon.FOLDER.glob("*.txt"))


@pytest.mark.parametrize("name", NAMES)
def test_the_judge_prices_the_best_known_solution_as_published(name: str) -> None:
    problem = solomon.read(name)
    plan = {(k, 0): tuple(c - 1 for c in route) for k, route in enumerate(solomon.best_known_routes(name))}
    judged = evaluate(problem, plan)
    assert judged.faults == ()
    assert judged.unserved == ()
    assert judged.total_cents == solomon.best_known(name)


@pytest.mark.parametrize(("name", "gap"), [("C101", 0.0), ("R101", 0.005)])
def test_a_hundred_customers_against_the_best_known(name: str, gap: float) -> None:
    plan = plan_rounds(solomon.read(name), iterations=5_000, seed=1)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.unserved == ()
    best = solomon.best_known(name)
    assert best <= plan.evaluation.total_cents <= best * (1.0 + gap)


@pytest.mark.parametrize(
    ("name", "optimum"),
    # optima of the first 25 customers in the literature, from memory
    some(
        [("C101", 191.3), ("C201", 214.7), ("R101", 617.1), ("R201", 463.3), ("RC101", 461.1), ("RC201", 360.2)],
        "optima",
        one_in=4,
    ),
)
def test_the_first_25_customers_to_the_optimum(name: str, optimum: float) -> None:
    plan = plan_rounds(solomon.read(name, customers=25), iterations=2_000, seed=1)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.unserved == ()
    assert plan.evaluation.total_cents == round(optimum * 10)
