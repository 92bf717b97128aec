"""The baseline of each membrane, from its first readings after running-in."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.errors import EngineeringError
from fleet.engineering.usual import FIRST_WEEKS_DAYS


def baseline_of_groups(
    group: Sequence[int] | NDArray[np.int64],
    days_since_fitting: FloatArray,
    values: FloatArray,
    valid: BoolArray,
    *,
    groups: int,
    from_day: float = 1.0,
    to_day: float = FIRST_WEEKS_DAYS,
    readings: int = 3,
) -> FloatArray:
    """Return the baseline of each membrane: the median of its first valid readings after running-in.

    Parameters
    ----------
    group : sequence of int
        Which membrane each reading belongs to, 0 to `groups` - 1.
    days_since_fitting : ndarray
        Days since that membrane was fitted.
    values : ndarray
        Normalised values, NaN where missing.
    valid : ndarray of bool
        Whether the reading may enter a trend.
    groups : int
        How many membranes.
    from_day, to_day : float
        Running-in is over after the first day at the earliest; later than `to_day` is no baseline.
    readings : int
        How many of the first readings count.

    Returns
    -------
    ndarray
        One value a membrane, NaN where no reading qualifies.

    Raises
    ------
    EngineeringError
        Columns of different lengths, a group outside the range.

    Examples
    --------
    >>> baseline_of_groups([0, 0, 0, 1], np.array([0.1, 5.0, 20.0, 3.0]), np.array([250.0, 200.0, 202.0, np.nan]),
    ...     np.array([True, True, True, True]), groups=2)
    array([201.,  nan])
    """
    owner = np.asarray(group, dtype=np.int64)
    days = np.asarray(days_since_fitting, dtype=np.float64)
    column = np.asarray(values, dtype=np.float64)
    if not owner.shape == days.shape == column.shape == np.shape(valid):
        raise EngineeringError("group", "Group, days, values and validity need one entry a reading each.")
    if owner.size and (owner.min() < 0 or owner.max() >= groups):
        raise EngineeringError("group", f"A group number lies outside 0 to {groups - 1}.")
    usable = np.asarray(valid) & ~np.isnan(column) & (days >= from_day) & (days <= to_day)
    if not np.any(usable):
        # Most quantities are read at few units.
        return np.full(groups, np.nan)
    owner, days, column = owner[usable], days[usable], column[usable]
    order = np.lexsort((days, owner))
    owner, column = owner[order], column[order]
    starts = np.searchsorted(owner, np.arange(groups))
    rank = np.arange(owner.size) - starts[owner]
    first = np.full((groups, readings), np.nan)
    early = rank < readings
    first[owner[early], rank[early]] = column[early]
    result = np.full(groups, np.nan)
    some = ~np.all(np.isnan(first), axis=1)
    result[some] = np.nanmedian(first[some], axis=1)
    return result
