"""How many pieces of an item are wanted by a day, as a distribution: positions, visits and what nobody plans.

Each position wants a piece when its cartridge is exhausted, and again when the one fitted then is: so many independent
chances, the sum of which is a Poisson binomial distribution where nobody wants a second piece. Unplanned use comes on
top as a Poisson distribution. Over a lead time that varies the distributions of its days are mixed.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft

from scheduling.planning.needs.need import FloatArray
from scheduling.planning.stock.lead_times import LeadTime
from scheduling.planning.stock.many_sums import sums_of_many
from scheduling.planning.stock.reorder import (
    FEW,
    Arrival,
    ExpectedDemand,
    chances_by,
    in_pieces,
    poisson_binomial,
    sums_of,
    with_unplanned,
)

#: Pieces that one position may want within the weeks looked at.
_MOST_TIMES = 12
NEGLIGIBLE = 1e-9
# Positions that are worked out together: as arrays they take some ten megabytes.
_POSITIONS_AT_ONCE = 2000


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
    by_quantity: dict[int, list[ExpectedDemand]] = {}
    for wanted in demands:
        if wanted.fresh_life_days:
            by_quantity.setdefault(wanted.quantity, []).append(wanted)
    for quantity, alike in by_quantity.items():
        times = times_of(alike, days)
        if len(alike) > FEW:
            spread = sums_of(spread, in_pieces(sums_of_many(times), quantity))
            continue
        for own in times:
            spread = sums_of(spread, in_pieces(_without_end(own), quantity))
    return with_unplanned(spread, unplanned_per_day * np.asarray(days, dtype=np.float64))


def _without_end(times: FloatArray) -> FloatArray:
    """The same without the numbers of times that are impossible on all days."""
    return times[:, : int(np.flatnonzero(times.any(axis=0))[-1]) + 1]


def times_by(wanted: ExpectedDemand, days: Sequence[int]) -> FloatArray:
    """How often a position wants its pieces by each day: ``(days, times + 1)`` of probabilities."""
    return _without_end(times_of([wanted], days)[0])


def times_of(demands: Sequence[ExpectedDemand], days: Sequence[int]) -> FloatArray:
    """The same of many positions at once: ``(demands, days, times + 1)``."""
    blocks = [
        _times_of_block(demands[at : at + _POSITIONS_AT_ONCE], list(days))
        for at in range(0, len(demands), _POSITIONS_AT_ONCE)
    ]
    times = np.zeros((len(demands), len(days), max((block.shape[2] for block in blocks), default=1)))
    for number, block in enumerate(blocks):
        times[number * _POSITIONS_AT_ONCE : number * _POSITIONS_AT_ONCE + len(block), :, : block.shape[2]] = block
    return times


def _times_of_block(demands: Sequence[ExpectedDemand], days: list[int]) -> FloatArray:
    last = max(days, default=0)
    reached: FloatArray = chances_by(demands, range(last + 1)).T
    again = np.array([bool(wanted.fresh_life_days) for wanted in demands])
    lives = np.zeros_like(reached)
    lives[again] = _lives_by([wanted.fresh_life_days for wanted in demands if wanted.fresh_life_days], last)
    width = next_fast_len(2 * last + 1, real=True)
    of_lives = rfft(lives, n=width)
    at_least = [np.ones_like(reached), reached]
    while len(at_least) <= _MOST_TIMES and (goes_on := at_least[-1][:, -1] > NEGLIGIBLE).any():
        began = np.diff(at_least[-1][goes_on], axis=1, prepend=0.0)
        following = np.zeros_like(reached)
        following[goes_on] = irfft(rfft(began, n=width) * of_lives[goes_on], n=width)[:, : last + 1]
        at_least.append(np.maximum(following, 0.0))
    at_least.append(np.zeros_like(reached))
    return np.moveaxis(-np.diff(np.array(at_least)[:, :, days], axis=0), 0, 2)


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


def _lives_by(life_days: Sequence[tuple[float, ...]], last: int) -> FloatArray:
    """Probability that fresh cartridges are exhausted within so many days; straight lines through their quantiles."""
    if not life_days:
        return np.zeros((0, last + 1))
    low, median, high = np.array(life_days).T
    first = np.maximum(low - (median - low) / 4.0, 0.0)
    knots = np.array([first, low, median, high, high + (high - median) / 4.0])
    rising = np.maximum.accumulate(knots + np.arange(5)[:, None] * 1e-6, axis=0)
    grid = np.arange(last + 1)
    reached = np.zeros((len(life_days), last + 1))
    for number, share in enumerate(np.diff([0.0, 0.1, 0.5, 0.9, 1.0])):
        begin, end = rising[number][:, None], rising[number + 1][:, None]
        part = np.where(end > begin, (grid - begin) / np.where(end > begin, end - begin, 1.0), grid >= end)
        reached += share * np.clip(part, 0.0, 1.0)
    return reached
