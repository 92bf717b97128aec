"""How many pieces of an item are wanted by a day, as a distribution: positions, visits and what nobody plans.

Each position wants a piece when its cartridge is exhausted, and again when the one fitted then is: so many independent
chances, the sum of which is a Poisson binomial distribution where nobody wants a second piece. Unplanned use comes on
top as a Poisson distribution. Over a lead time that varies the distributions of its days are mixed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scheduling.planning.needs.need import FloatArray
from scheduling.planning.stock.lead_times import LeadTime
from scheduling.planning.stock.reorder import (
    Arrival,
    ExpectedDemand,
    chances_by,
    poisson_binomial,
    sums_of,
    with_unplanned,
)

#: Pieces that one position may want within the weeks looked at.
_MOST_TIMES = 12
NEGLIGIBLE = 1e-9


def pieces_by(demands: Sequence[ExpectedDemand], days: Sequence[int], *, unplanned_per_day: float = 0.0) -> FloatArray:
    """Distribution of the pieces wanted by each day.

    Parameters
    ----------
    demands
        Of one item.
    days
        From today, at least 0.
    unplanned_per_day
        Pieces a day that are used without a plan, on average, at least 0.

    Returns
    -------
    array ``(days, pieces + 1)`` of probabilities.

    Examples
    --------
    >>> pieces_by([ExpectedDemand(1, day=3), ExpectedDemand(2, day=9)], [2, 5, 9]).argmax(axis=1)
    array([0, 1, 3])
    """
    once = [wanted for wanted in demands if not wanted.fresh_life_days]
    spread = poisson_binomial([wanted.quantity for wanted in once], chances_by(once, days))
    for wanted in demands:
        if wanted.fresh_life_days:
            spread = sums_of(spread, _in_pieces(times_by(wanted, days), wanted.quantity))
    return with_unplanned(spread, unplanned_per_day * np.asarray(days, dtype=np.float64))


def times_by(wanted: ExpectedDemand, days: Sequence[int]) -> FloatArray:
    """How often a position wants its pieces by each day: ``(days, times + 1)`` of probabilities."""
    last = max(days, default=0)
    grid = list(range(last + 1))
    reached = chances_by([wanted], grid)[:, 0]
    life = _life_by(wanted.fresh_life_days, last) if wanted.fresh_life_days else np.zeros(last + 1)
    at_least = [np.ones(last + 1), reached]
    while at_least[-1][-1] > NEGLIGIBLE and len(at_least) <= _MOST_TIMES:
        began = np.diff(at_least[-1], prepend=0.0)
        at_least.append(np.convolve(began, life)[: last + 1])
    at_least.append(np.zeros(last + 1))
    return -np.diff(np.array(at_least)[:, list(days)], axis=0).T


def over_lead_time(
    demands: Sequence[ExpectedDemand], lead_time: LeadTime, *, review_days: int, unplanned_per_day: float = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Distributions of the pieces wanted until what is ordered today could be here, and what is at the next review.

    Parameters
    ----------
    review_days
        Days between two looks at what is to be ordered, at least 0.

    Returns
    -------
    two arrays ``(pieces + 1,)`` of probabilities.
    """
    chances = lead_time.chances()
    days = [day for day, _ in chances]
    weights = np.array([chance for _, chance in chances])
    spread = pieces_by(demands, [*days, *(day + review_days for day in days)], unplanned_per_day=unplanned_per_day)
    before: FloatArray = weights @ spread[: len(days)]
    through: FloatArray = weights @ spread[len(days) :]
    return before, through


def chance_of_running_out(
    demands: Sequence[ExpectedDemand],
    supply: Sequence[Arrival],
    lead_time: LeadTime,
    *,
    review_days: int,
    unplanned_per_day: float = 0.0,
) -> float:
    """Probability that a piece is missing before an order of the next review is here, if none is ordered today.

    What is on order counts from the day on which it can be used.
    """
    chances = lead_time.chances()
    days = [day + review_days for day, _ in chances]
    spread = pieces_by(demands, days, unplanned_per_day=unplanned_per_day)
    missing = 0.0
    for (_, chance), day, row in zip(chances, days, spread, strict=True):
        there = sum(arrival.quantity for arrival in supply if arrival.usable_from <= day)
        missing += chance * float(row[max(there, -1) + 1 :].sum())
    return min(max(missing, 0.0), 1.0)


def expected_missing(spread: FloatArray, there: int) -> float:
    """Pieces that are missing on average where so many are there, of a distribution ``(pieces + 1,)``."""
    return float(np.maximum(np.arange(spread.size) - there, 0) @ spread)


def expected_pieces(spread: FloatArray) -> float:
    """Pieces wanted on average, of a distribution ``(pieces + 1,)``."""
    return float(np.arange(spread.size) @ spread)


def _life_by(life_days: Sequence[float], last: int) -> FloatArray:
    """Probability that a fresh cartridge is exhausted within so many days; straight lines through its quantiles."""
    low, median, high = life_days
    knots = [max(low - (median - low) / 4.0, 0.0), low, median, high, high + (high - median) / 4.0]
    rising = np.maximum.accumulate(np.array(knots) + np.arange(5) * 1e-6)
    reached: FloatArray = np.interp(np.arange(last + 1), rising, [0.0, 0.1, 0.5, 0.9, 1.0])
    return reached


def _in_pieces(times: FloatArray, quantity: int) -> FloatArray:
    pieces = np.zeros((times.shape[0], (times.shape[1] - 1) * quantity + 1))
    pieces[:, ::quantity] = times
    return pieces
