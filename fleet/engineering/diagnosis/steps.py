"""A sudden change that lasts: what a single comparison with the reading before loses at the next reading."""

from bisect import insort
from collections.abc import Sequence
from math import exp
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.engineering.errors import EngineeringError
from fleet.engineering.usual import SAME_VISIT_DAYS

BEFORE: Final = 5
"""So many days before a change make the old level. Common practice, no source."""

LASTED_DAYS: Final = 2
"""A new level is believed when it was read on so many days. Common practice, no source."""

_SCATTER: Final = 0.2
"""By so much, in logarithms, may a level that stands still differ from visit to visit. Common practice, no source."""


def lasting_step(day: ArrayLike, value: ArrayLike) -> float:
    """Ratio of the new level to the old one at the largest sudden change that has lasted until the newest reading.

    A change is sudden when the readings before it had not yet left the old level, and lasts when every reading since
    lies nearer to the new level than to the old one. What creeps over months is none.

    Parameters
    ----------
    day
        Days of the readings, ascending; shape (n,).
    value
        What was read, above 0; shape (n,). NaN and values that are not positive are left out.

    Returns
    -------
    float
        Above 0; 1 where there is no such change; NaN where there are too few readings to tell.

    Raises
    ------
    EngineeringError
        As many days as values are needed, in ascending order.

    Examples
    --------
    >>> round(lasting_step([0, 30, 60, 90, 120], [3.0, 3.1, 2.9, 15.0, 14.0]), 1)
    4.8
    >>> lasting_step([0, 30, 60, 90, 120], [3.0, 3.1, 2.9, 15.0, 3.0])
    1.0
    """
    return lasting_step_at(day, value)[0]


def lasting_step_at(day: ArrayLike, value: ArrayLike) -> tuple[float, float]:
    """The same, and the first day of the new level; NaN where there is no such change.

    Examples
    --------
    >>> lasting_step_at([0, 30, 60, 90, 120], [3.0, 3.0, 3.0, 15.0, 15.0])
    (5.0, 90.0)
    """
    days, values = checked_columns(day, value)
    usable = np.isfinite(values) & (values > 0.0)
    levels = by_visit(days[usable], np.log(values[usable]))
    if len(levels) < 1 + LASTED_DAYS:
        return float("nan"), float("nan")
    visit_days = by_visit(days[usable], days[usable])
    # The medians are taken in plain numbers: of a handful of them that is many times faster than with arrays.
    visits: list[float] = levels.tolist()
    sorted_since, new_levels = visits[len(visits) - LASTED_DAYS + 1 :], []
    sorted_since.sort()
    for level in reversed(visits[1 : len(visits) - LASTED_DAYS + 1]):
        insort(sorted_since, level)
        new_levels.append((_median(sorted_since), sorted_since[0], sorted_since[-1]))
    largest, at = 0.0, float("nan")
    for first, (new, lowest, highest) in enumerate(reversed(new_levels), start=1):
        before = visits[max(first - BEFORE, 0) : first]
        old = _median(sorted(before))
        size = new - old
        rises = size > 0.0
        sign = 1.0 if rises else -1.0
        nearest = lowest if rises else highest
        is_lasting = sign * (nearest - old) > 0.5 * abs(size)
        is_sudden = sign * (before[-1] - old) < 0.35 * abs(size)
        # Between two looks most of the change has come: what grows from look to look is no step.
        is_whole = sign * (visits[first] - before[-1]) > 0.6 * abs(size)
        # What goes on growing after it is none either.
        is_over = sign * (visits[-1] - visits[first]) < max(0.25 * abs(size), _SCATTER)
        if is_lasting and is_sudden and is_whole and is_over and abs(size) > abs(largest):
            largest, at = size, float(visit_days[first])
    return round(exp(largest), 12), at


def _median(ascending: Sequence[float]) -> float:
    middle = len(ascending) // 2
    return ascending[middle] if len(ascending) % 2 else 0.5 * (ascending[middle - 1] + ascending[middle])


def checked_columns(day: ArrayLike, value: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Days and values as arrays; `EngineeringError` where they do not fit each other.

    Examples
    --------
    >>> checked_columns([0, 1], [3, 4])
    (array([0., 1.]), array([3., 4.]))
    """
    days, values = np.asarray(day, dtype=np.float64), np.asarray(value, dtype=np.float64)
    if days.shape != values.shape:
        raise EngineeringError("day", f"As many days as values are needed, not {days.size} for {values.size}.")
    if np.any(np.diff(days) < 0.0):
        raise EngineeringError("day", "The days must ascend: sort the readings by time.")
    return days, values


def by_visit(days: NDArray[np.float64], values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean value of each visit; readings within `SAME_VISIT_DAYS` of the one before belong to its visit.

    Examples
    --------
    >>> by_visit(np.array([0.0, 0.1, 9.0]), np.array([4.0, 6.0, 7.0]))
    array([5., 7.])
    """
    if not len(days):
        return values
    visit = np.concatenate([[0], np.cumsum(np.diff(days) > SAME_VISIT_DAYS)])
    return np.bincount(visit, weights=values) / np.bincount(visit)
