"""The level that several looks agree on, over that of the first ones: what a single reading against another loses."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fleet.engineering.diagnosis.steps import by_visit, checked_columns

VISITS: Final = 3
"""So many visits make the first level, and so many the newest. Common practice, no source."""

SETTLED_VISITS: Final = 5
"""From so many visits on the lowest of them is as low as what differs from visit to visit makes it: of eight visits in
any order the three lowest are the newest once in 56 times. Common practice, no source."""

FIRST_DAYS: Final = 120.0
"""The first level is read within so many days of the first look; later ones belong to what became of it."""


def newest_level(day: ArrayLike, value: ArrayLike) -> float:
    """Median of the newest three visits; NaN before the second.

    Of two visits their mean in logarithms; readings within `SAME_VISIT_DAYS` are one visit.

    Parameters
    ----------
    day
        Days of the readings, ascending; shape (n,).
    value
        What was read, above 0; shape (n,). NaN and values that are not positive are left out.

    Returns
    -------
    float
        In the unit of the values.

    Raises
    ------
    EngineeringError
        As many days as values are needed, in ascending order.

    Examples
    --------
    >>> newest_level([0, 30, 60], [0.9, 0.5, 1.0])
    0.9
    """
    _, levels = _levels(day, value)
    return float(np.exp(np.median(levels[-VISITS:]))) if len(levels) >= 2 else float("nan")


def level_over_first(day: ArrayLike, value: ArrayLike, *, at_first: ArrayLike | None = None) -> float:
    """Newest level over the first one, believed as far as two of the newest three visits agree on it.

    Of two visits since the first ones, the one nearer to the first level counts; a single one tells nothing.

    Parameters
    ----------
    day, value
        As `newest_level`.
    at_first
        What makes the first level, where that is not known as the values are: with the most each may have been as
        values and the least of it here, the answer is the most that the level may be; shape (n,).

    Returns
    -------
    float
        Above 0; NaN where there are too few visits to tell.

    Raises
    ------
    EngineeringError
        As `newest_level`.

    Examples
    --------
    >>> level_over_first([0, 30, 60, 90, 120, 150], [1.0, 1.0, 1.0, 0.5, 0.5, 1.0])
    0.5
    >>> level_over_first([0, 30, 60, 90, 120], [1.0, 1.0, 1.0, 0.5, 0.8])
    0.8
    >>> level_over_first([0, 30, 60], [1.5, 1.5, 0.6], at_first=[1.0, 1.0, 0.4])
    1.0
    """
    firsts = np.asarray(value if at_first is None else at_first, dtype=np.float64)
    both = np.where(np.isfinite(firsts) & (firsts > 0.0), np.asarray(value, dtype=np.float64), np.nan)
    days, levels = _levels(day, both)
    if len(levels) < 3:
        return float("nan")
    _, at_firsts = _levels(day, np.where(np.isfinite(both) & (both > 0.0), firsts, np.nan))
    first = min(VISITS, len(levels) - 2, int(np.sum(days <= days[0] + FIRST_DAYS)))
    since = levels[max(first, len(levels) - VISITS) :] - np.median(at_firsts[:first])
    change = np.median(since) if len(since) == VISITS else np.clip(0.0, since.min(), since.max())
    return round(float(np.exp(change)), 12)


def level_over_lowest(day: ArrayLike, value: ArrayLike) -> float:
    """Newest level over the lowest of the first visits, which are five at least; of ten or more the second lowest.

    What differs from visit to visit and nobody read (how full a tank was) has lowered the lowest of them as well, so
    that it explains no level below it.

    Parameters
    ----------
    day, value
        As `newest_level`.

    Returns
    -------
    float
        Above 0; NaN where there are too few visits to tell.

    Raises
    ------
    EngineeringError
        As `newest_level`.

    Examples
    --------
    >>> level_over_lowest([0, 30, 60, 90, 120, 150, 180, 210], [1.0, 0.8, 1.0, 0.9, 1.0, 0.4, 0.4, 0.4])
    0.5
    """
    days, levels = _levels(day, value)
    first = min(max(SETTLED_VISITS, int(np.sum(days <= days[0] + FIRST_DAYS))), len(levels) - 2) if len(days) else 0
    if first < SETTLED_VISITS:
        return float("nan")
    since = levels[max(first, len(levels) - VISITS) :]
    change = (np.median(since) if len(since) == VISITS else since.max()) - np.sort(levels[:first])[first // 10]
    return round(float(np.exp(change)), 12)


def _levels(day: ArrayLike, value: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Day and logarithm of each visit."""
    days, values = checked_columns(day, value)
    usable = np.isfinite(values) & (values > 0.0)
    return by_visit(days[usable], days[usable]), by_visit(days[usable], np.log(values[usable]))
