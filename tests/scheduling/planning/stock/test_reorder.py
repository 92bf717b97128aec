"""How many to have: against every outcome there is, the binomial, and the newsvendor's cost."""

from itertools import product
from math import prod

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import exhausted_probability
from scheduling.planning.stock.reorder import Arrival, Cover, ExpectedDemand, cover, demand_quantile

CHANCES = st.lists(st.tuples(st.integers(0, 4), st.floats(0.0, 1.0)), max_size=8)
LEVELS = st.floats(0.5, 0.999)


def outcomes(chances: list[tuple[int, float]]) -> dict[int, float]:
    """Pieces to their probability, by writing down all that can happen."""
    probability_of: dict[int, float] = {}
    for happens in product([0, 1], repeat=len(chances)):
        pieces = sum(q for (q, _), here in zip(chances, happens, strict=True) if here)
        probability_of[pieces] = probability_of.get(pieces, 0.0) + prod(
            p if here else 1.0 - p for (_, p), here in zip(chances, happens, strict=True)
        )
    return probability_of


@given(CHANCES, LEVELS)
def test_it_is_the_smallest_number_that_suffices_over_all_that_can_happen(
    chances: list[tuple[int, float]], level: float
) -> None:
    quantile = demand_quantile([q for q, _ in chances], [p for _, p in chances], level)
    table = outcomes(chances)

    def suffices(pieces: int) -> float:
        return sum(p for n, p in table.items() if n <= pieces)

    assert suffices(quantile) >= level - 1e-8
    assert quantile == 0 or suffices(quantile - 1) < level + 1e-8


@given(st.integers(0, 60), st.floats(0.01, 0.99), LEVELS)
def test_alike_cartridges_give_the_binomial_quantile(count: int, probability: float, level: float) -> None:
    """Source: scipy.stats.binom.ppf, another implementation of the textbook distribution."""
    expected = int(stats.binom.ppf(level, count, probability)) if count else 0
    # at a level that lies on a step of the distribution either neighbour is right to within rounding
    if count and abs(stats.binom.cdf(expected, count, probability) - level) < 1e-8:
        return
    if expected and abs(stats.binom.cdf(expected - 1, count, probability) - level) < 1e-8:
        return
    assert demand_quantile([1] * count, [probability] * count, level) == expected


@given(CHANCES, st.floats(1.0, 50.0), st.floats(1.0, 50.0))
def test_the_quantile_at_the_critical_fractile_costs_least(
    chances: list[tuple[int, float]], missing: float, over: float
) -> None:
    """Newsvendor: Cu a piece missing, Co a piece too many (Arrow, Harris and Marschak 1951, from memory)."""
    table = outcomes(chances)

    def cost(pieces: int) -> float:
        return sum(p * (missing * max(n - pieces, 0) + over * max(pieces - n, 0)) for n, p in table.items())

    quantile = demand_quantile([q for q, _ in chances], [p for _, p in chances], missing / (missing + over))
    assert cost(quantile) <= min(cost(pieces) for pieces in range(max(table) + 1)) + 1e-6


def test_a_worked_example() -> None:
    """Ten alike cartridges, each exhausted by then with 0.3: P(at most 5) = 0.953, P(at most 4) = 0.850.

    Source: cumulative binomial table for n = 10, p = 0.3 (any handbook; from memory, and scipy agrees).
    """
    assert stats.binom.cdf([4, 5], 10, 0.3) == pytest.approx([0.8497, 0.9527], abs=1e-4)
    demands = [ExpectedDemand(1, quantile_days=(3.0, 6.0, 15.0, 30.0, 45.0, 54.0, 57.0))] * 10
    day = 18
    assert exhausted_probability([demands[0].quantile_days], [float(day)])[0, 0] == pytest.approx(0.30)
    assert cover(demands, [Arrival(2)], last_day=day, level=0.9).quantity == 5
    assert cover(demands, [Arrival(2)], last_day=day, level=0.9).missing == 3
    assert cover(demands, [Arrival(2)], last_day=day, level=0.9).expected == pytest.approx(3.0)


WANTED = st.lists(
    st.builds(
        ExpectedDemand,
        quantity=st.integers(1, 3),
        day=st.none() | st.integers(0, 30),
        quantile_days=st.just(())
        | st.lists(st.floats(0.0, 40.0), min_size=7, max_size=7).map(lambda days: tuple(sorted(days))),
    ),
    max_size=6,
)
ARRIVALS = st.lists(st.builds(Arrival, quantity=st.integers(0, 4), usable_from=st.integers(0, 40)), max_size=4)


@settings(max_examples=150)
@given(WANTED, ARRIVALS, st.integers(0, 30), LEVELS)
def test_the_day_short_is_the_one_a_walk_over_every_day_finds(
    wanted: list[ExpectedDemand], supply: list[Arrival], last_day: int, level: float
) -> None:
    def enough_by(day: int) -> int:
        chances = [
            1.0
            if w.day is not None and w.day <= day
            else float(exhausted_probability([w.quantile_days], [float(day)])[0, 0])
            if w.quantile_days
            else 0.0
            for w in wanted
        ]
        return demand_quantile([w.quantity for w in wanted], chances, level)

    answer = cover(wanted, supply, last_day=last_day, level=level)
    assert answer.quantity == enough_by(last_day)
    assert answer.missing == max(0, answer.quantity - sum(a.quantity for a in supply))
    short = [
        day for day in range(last_day + 1) if enough_by(day) > sum(a.quantity for a in supply if a.usable_from <= day)
    ]
    assert answer.short_on == (short[0] if answer.missing else None)


@given(WANTED, ARRIVALS, LEVELS)
def test_a_higher_service_level_never_asks_for_less(
    wanted: list[ExpectedDemand], supply: list[Arrival], level: float
) -> None:
    low = cover(wanted, supply, last_day=20, level=0.5)
    high = cover(wanted, supply, last_day=20, level=level)
    assert high.quantity >= low.quantity
    assert high.missing >= low.missing
    certain = sum(w.quantity for w in wanted if w.day is not None and w.day <= 20)
    assert low.quantity >= certain


def test_a_level_of_one_asks_for_all_that_may_be_wanted() -> None:
    assert demand_quantile([2, 3], [0.5, 0.2], 1.0) == 5
    assert demand_quantile([2, 3, 4], [0.5, 1.0, 0.0], 1.0) == 5


def test_nothing_wanted_asks_for_nothing() -> None:
    assert cover([], [], last_day=10, level=0.9) == Cover(0, 0.0, 0, None)


def test_thousands_of_cartridges_are_counted() -> None:
    generator = np.random.default_rng(7)
    probabilities = generator.uniform(0.0, 1.0, 5_000)
    quantile = demand_quantile([1] * 5_000, probabilities.tolist(), 0.9)
    # the sum of so many is all but normal
    mean, deviation = probabilities.sum(), np.sqrt((probabilities * (1 - probabilities)).sum())
    assert quantile == pytest.approx(stats.norm.ppf(0.9, mean, deviation), abs=2.0)


def test_wrong_values_are_named() -> None:
    for level in (0.0, 1.1, float("nan")):
        with pytest.raises(PlanningError, match="level"):
            demand_quantile([1], [0.5], level)
    for probability in (-0.1, 1.1, float("nan")):
        with pytest.raises(PlanningError, match="probabilities"):
            demand_quantile([1], [probability], 0.9)
    with pytest.raises(PlanningError, match=r"wanted\.quantity"):
        ExpectedDemand(0)
