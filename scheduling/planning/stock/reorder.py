"""How many to have so that, with a chosen probability, nothing is missing: the quantile of an uncertain demand.

A cartridge is wanted on the day of its visit, or when it is exhausted before. Each is so a piece that is wanted by a
day with some probability; the sum over many is a Poisson binomial distribution, made here by convolution, exactly. The
quantity for a service level is its quantile: the newsvendor's answer (critical fractile of Arrow, Harris and Marschak
1951, Econometrica 19:250-272, from memory), which costs least when the level is Cu / (Cu + Co), with Cu what a missing
piece costs and Co what a piece too many does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve
from scipy.special import gammaln, pdtrik, xlogy

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import FloatArray, exhausted_probability, quantile_table
from scheduling.planning.stock.lead_times import ROUNDING
from scheduling.planning.stock.many_sums import sums_of_many

#: Up to so many are added one by one: more together cost less than one by one.
FEW: Final = 64


@dataclass(frozen=True, slots=True)
class ExpectedDemand:
    """Pieces that will or may be wanted.

    Attributes
    ----------
    quantity
        Pieces, at least 1.
    day
        Day from today on which they are wanted for certain, 0 or later; None: on no day that is known.
    quantile_days
        Quantiles of the day they may be wanted already (as ``Need.quantile_days``), days from today; empty: none.
    position
        Name of the place they go to; empty: none of its own.
    fresh_life_days
        Days within which what is fitted then is exhausted with 10, 50 and 90 %; empty: it is not wanted again.
    """

    quantity: int
    day: int | None = None
    quantile_days: tuple[float, ...] = ()
    position: str = ""
    fresh_life_days: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.quantity < 1:
            raise PlanningError("wanted.quantity", f"must be at least 1, not {self.quantity!r}.")


@dataclass(frozen=True, slots=True)
class Arrival:
    """Pieces that can be used from a day on, counted from today; at hand: 0; and through which day, None: they keep."""

    quantity: int
    usable_from: int = 0
    usable_until: int | None = None


@dataclass(frozen=True, slots=True)
class Cover:
    """What a period asks for.

    Attributes
    ----------
    quantity
        Pieces that suffice until the last day with the service level.
    expected
        Pieces wanted until then on average.
    missing
        Of the quantity, what is neither at hand nor on order.
    short_on
        First day, from today, by which what can be used then no longer suffices with the service level; None when
        nothing is missing.
    """

    quantity: int
    expected: float
    missing: int
    short_on: int | None


def demand_quantile(quantities: Sequence[int], probabilities: Sequence[float], level: float) -> int:
    """Smallest number of pieces that suffices with at least the probability ``level``.

    Parameters
    ----------
    quantities
        Pieces that are wanted together, at least 0.
    probabilities
        How probably each is wanted, 0 to 1, independent of the others.
    level
        Above 0, at most 1.

    Raises
    ------
    PlanningError
        When a value is out of range.

    Examples
    --------
    >>> demand_quantile([1, 1, 1], [0.5, 0.5, 0.5], 0.875)  # none or one or two of three coins
    2
    """
    if not 0.0 < level <= 1.0:
        raise PlanningError("level", f"must be above 0 and at most 1, not {level!r}.")
    chances = [(q, p) for q, p in zip(quantities, probabilities, strict=True) if q > 0]
    if not all(math.isfinite(p) and 0.0 <= p <= 1.0 for _, p in chances):
        raise PlanningError("probabilities", f"must be between 0 and 1, not {sorted(p for _, p in chances)!r}.")
    spread = poisson_binomial([q for q, _ in chances], np.array([[p for _, p in chances]]).reshape(1, -1))[0]
    return quantile_of(spread, level)


def poisson_binomial(quantities: Sequence[int], probabilities: FloatArray) -> FloatArray:
    """How many pieces are wanted, when each is wanted with a probability of its own, by convolution.

    Parameters
    ----------
    quantities
        ``(wanted,)`` pieces that are wanted together.
    probabilities
        ``(days, wanted)``, 0 to 1, independent of one another.

    Returns
    -------
    array ``(days, pieces + 1)``: the probability of each number of pieces, by day.
    """
    if len(quantities) > FEW:
        return _of_many(np.asarray(quantities), probabilities)
    spread = np.ones((probabilities.shape[0], 1))
    for quantity, chance in zip(quantities, probabilities.T, strict=True):
        if not chance.any():
            continue
        longer = np.zeros((spread.shape[0], spread.shape[1] + quantity))
        longer[:, : spread.shape[1]] = spread * (1.0 - chance)[:, None]
        longer[:, quantity:] += spread * chance[:, None]
        spread = longer
    return spread


def _of_many(quantities: NDArray[np.int64], probabilities: FloatArray) -> FloatArray:
    spread = np.ones((probabilities.shape[0], 1))
    for quantity in np.unique(quantities):
        chances = probabilities[:, quantities == quantity].T
        chances = chances[chances.any(axis=1)]
        wanted = sums_of_many(np.stack([1.0 - chances, chances], axis=2))
        spread = sums_of(spread, in_pieces(wanted, int(quantity)))
    return spread


def in_pieces(times: FloatArray, quantity: int) -> FloatArray:
    """A distribution of how often, as one of pieces where each time asks for so many."""
    pieces = np.zeros((times.shape[0], (times.shape[1] - 1) * quantity + 1))
    pieces[:, ::quantity] = times
    return pieces


def with_unplanned(spread: FloatArray, means: FloatArray) -> FloatArray:
    """The same with a Poisson demand of so many pieces on average on top, day by day: ``(days, pieces + 1)``."""
    if not means.any():
        return spread
    most = int(pdtrik(1.0 - ROUNDING, means.max())) + 1
    pieces = np.arange(most + 1)
    unplanned = np.exp(xlogy(pieces, means[:, None]) - means[:, None] - gammaln(pieces + 1))
    return sums_of(spread, unplanned / unplanned.sum(axis=1, keepdims=True))


def sums_of(first: FloatArray, second: FloatArray) -> FloatArray:
    """Distributions of the sums of two independent numbers of pieces, row by row."""
    if min(first.shape[1], second.shape[1]) > FEW:
        return np.maximum(fftconvolve(first, second, axes=1), 0.0)
    if second.shape[1] > first.shape[1]:
        first, second = second, first
    total = np.zeros((first.shape[0], first.shape[1] + second.shape[1] - 1))
    for pieces in range(second.shape[1]):
        total[:, pieces : pieces + first.shape[1]] += first * second[:, pieces, None]
    return total


def quantile_of(spread: FloatArray, level: float) -> int:
    """Smallest number of pieces that suffices with a probability, of a distribution ``(pieces + 1,)``."""
    enough = np.flatnonzero(np.cumsum(spread) >= level - ROUNDING)
    return int(enough[0]) if enough.size else spread.size - 1


def cover(
    demands: Sequence[ExpectedDemand],
    supply: Sequence[Arrival],
    *,
    last_day: int,
    level: float,
    unplanned_per_day: float = 0.0,
) -> Cover:
    """What one item's demand until a day asks for, with a service level.

    Deliveries that come after the last day, or after a piece is wanted, count as bought: what is missing is what no
    order stands for yet.

    Parameters
    ----------
    demands, supply
        Of one item.
    last_day
        Last day that counts, from today.
    level
        Probability, above 0 and at most 1, with which nothing is to be missing.
    unplanned_per_day
        Pieces a day that are used without a plan, on average, at least 0.

    Examples
    --------
    >>> cover([ExpectedDemand(1, day=3), ExpectedDemand(1, day=9)], [Arrival(1)], last_day=20, level=0.9)
    Cover(quantity=2, expected=2.0, missing=1, short_on=9)
    """
    quantities = [w.quantity for w in demands]
    chances = Chances(demands)

    def enough_by(day: int) -> int:
        spread = poisson_binomial(quantities, chances.by([day]))
        return quantile_of(with_unplanned(spread, np.array([unplanned_per_day * day]))[0], level)

    quantity = enough_by(last_day)
    expected = float(np.dot(quantities, chances.by([last_day])[0])) if demands else 0.0
    expected += unplanned_per_day * last_day
    missing = max(0, quantity - sum(arrival.quantity for arrival in supply))
    if not missing:
        return Cover(quantity, expected, 0, None)

    def there_on(day: int) -> int:
        return sum(arrival.quantity for arrival in supply if arrival.usable_from <= day)

    # what is wanted only grows, so between two arrivals the first day short is found by halving; there is one, since
    # all that arrives by the last day is less than what is wanted by then
    steps = sorted({0, *(a.usable_from for a in supply if 0 < a.usable_from <= last_day), last_day + 1})
    low, high = next((first, end - 1) for first, end in pairwise(steps) if enough_by(end - 1) > there_on(first))
    available = there_on(low)
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if enough_by(middle) > available else (middle + 1, high)
    return Cover(quantity, expected, missing, low)


class Chances:
    """How probably each of some pieces is wanted, asked for one day after another."""

    def __init__(self, demands: Sequence[ExpectedDemand]) -> None:
        self._count = len(demands)
        self._uncertain = [k for k, w in enumerate(demands) if w.quantile_days]
        self._known = [k for k, w in enumerate(demands) if w.day is not None]
        self._table = quantile_table([demands[k].quantile_days for k in self._uncertain]) if self._uncertain else None
        self._on = np.array([demands[k].day for k in self._known], dtype=np.float64)

    def by(self, days: Sequence[int]) -> FloatArray:
        """The probability of each by each day, ``(days, demands)``."""
        by = np.asarray(days, dtype=np.float64)
        chances = np.zeros((by.size, self._count))
        if self._table is not None:
            chances[:, self._uncertain] = exhausted_probability(self._table, by).T
        if self._known:
            chances[:, self._known] = np.where(by[:, None] >= self._on, 1.0, chances[:, self._known])
        return chances


def chances_by(demands: Sequence[ExpectedDemand], days: Sequence[int]) -> FloatArray:
    """How probably each is wanted by each day, ``(days, demands)``."""
    return Chances(demands).by(days)
