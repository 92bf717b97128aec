"""Sums of many independent numbers: against the binomial distribution of scipy, and against adding one by one."""

import numpy as np
import pytest
from scipy.stats import binom

from scheduling.planning.stock.many_sums import sums_of_many
from scheduling.planning.stock.reorder import FEW, ExpectedDemand, poisson_binomial, sums_of
from scheduling.planning.stock.uncertain_demand import pieces_by, times_by, times_of


@pytest.mark.parametrize(("coins", "chance"), [(1, 0.3), (7, 0.5), (400, 0.02), (3000, 0.4), (3000, 1e-7)])
def test_alike_coins_are_binomial(coins: int, chance: float) -> None:
    (row,) = sums_of_many(np.tile([1.0 - chance, chance], (coins, 1, 1)))
    expected = binom.pmf(np.arange(row.size), coins, chance)
    assert row == pytest.approx(expected, abs=1e-12)
    assert row.sum() == pytest.approx(1.0, abs=1e-12)


def test_unlike_numbers_are_those_added_one_by_one_on_every_day() -> None:
    rng = np.random.default_rng(1)
    terms = rng.dirichlet([1.0, 0.5, 0.2], (150, 3))
    terms[:40, 0] = [1.0, 0.0, 0.0]
    terms[:10, 2] = [0.0, 0.0, 1.0]
    one_by_one = np.ones((3, 1))
    for term in terms:
        one_by_one = sums_of(one_by_one, term)
    spread = sums_of_many(terms)
    assert spread == pytest.approx(one_by_one[:, : spread.shape[1]], abs=1e-13)
    assert one_by_one[:, spread.shape[1] :].sum() < 1e-13


def test_certain_numbers_only_move_the_sum() -> None:
    assert sums_of_many(np.tile([0.0, 1.0], (500, 1, 1))).argmax() == 500
    assert sums_of_many(np.zeros((0, 2, 2))).tolist() == [[1.0], [1.0]]


def test_many_demands_of_several_pieces_are_those_added_one_by_one() -> None:
    rng = np.random.default_rng(2)
    quantities, chances = rng.integers(1, 4, 4 * FEW).tolist(), rng.random((2, 4 * FEW))
    spread = poisson_binomial(quantities, chances)
    few = [poisson_binomial(quantities[at : at + FEW], chances[:, at : at + FEW]) for at in range(0, 4 * FEW, FEW)]
    one_by_one = few[0]
    for more in few[1:]:
        one_by_one = sums_of(one_by_one, more)
    least = min(spread.shape[1], one_by_one.shape[1])
    assert spread[:, :least] == pytest.approx(one_by_one[:, :least], abs=1e-13)
    assert max(spread[:, least:].sum(), one_by_one[:, least:].sum()) < 1e-12


def test_positions_together_want_what_each_wants_alone() -> None:
    rng = np.random.default_rng(3)
    demands = [
        ExpectedDemand(1, None, tuple(np.sort(rng.uniform(0, 90, 7))), f"P{n}", (20.0 + n % 5, 30.0 + n % 7, 45.0))
        for n in range(FEW + 10)
    ]
    days = [7, 60, 120]
    together = times_of(demands, days)
    for wanted, times in zip(demands, together, strict=True):
        alone = times_by(wanted, days)
        assert times[:, : alone.shape[1]] == pytest.approx(alone, abs=1e-12)
    one_by_one = np.ones((len(days), 1))
    for wanted in demands:
        one_by_one = sums_of(one_by_one, times_by(wanted, days))
    spread = pieces_by(demands, days)
    assert spread == pytest.approx(one_by_one[:, : spread.shape[1]], abs=1e-12)
