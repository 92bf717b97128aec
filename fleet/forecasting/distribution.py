"""How a distribution of a date is kept: its quantiles at fixed levels, and probabilities read from them."""

from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from accounts.language import gettext

Floats = NDArray[np.floating[Any]]

LEVELS: Final = np.array([0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95])
"""Probability levels of the quantiles that are shown."""

GRID_LEVELS: Final = np.concatenate(
    [[0.005, 0.01, 0.02, 0.03], np.arange(0.05, 0.951, 0.025), [0.97, 0.98, 0.99, 0.995]]
)
"""Levels at which the whole distribution is stored; holds every one of `LEVELS`."""


def places_of(levels: ArrayLike) -> NDArray[np.int64]:
    """Where levels that are stored stand in `GRID_LEVELS`.

    >>> places_of([0.1, 0.5, 0.9]).tolist()
    [6, 22, 38]
    """
    return np.abs(GRID_LEVELS - np.asarray(levels)[:, None]).argmin(axis=1)


SHOWN: Final = places_of(LEVELS)
"""Where each of `LEVELS` stands in `GRID_LEVELS`."""


def probability_by(grid_day: Floats, day: ArrayLike, levels: Floats = GRID_LEVELS) -> Floats:
    """Probability of exhaustion by a day, from stored quantiles.

    Parameters
    ----------
    grid_day
        Quantiles (days since 1970-01-01) in rising order at `levels`, shape (..., levels). A run of equal days is a
        jump: there the distribution holds that much probability on one date (a maximum service time, or a date that has
        passed).
    day
        The date asked about, a scalar or one per row.

    Returns
    -------
    Probability in 0 to 1, one per row; NaN where the row has no date. Between stored quantiles it is linear; outside
    them it is 0 or 1.

    >>> probability_by(np.array([10.0, 20.0, 30.0]), 25.0, np.array([0.1, 0.5, 0.9])).item()
    0.7
    """
    grid = np.atleast_2d(np.asarray(grid_day, dtype=np.float64))
    levels = np.asarray(levels, dtype=np.float64)
    asked_day = np.broadcast_to(np.asarray(day, dtype=np.float64), grid.shape[:1])[:, None]
    reached = (grid <= asked_day).sum(axis=1)
    below = np.clip(reached - 1, 0, len(levels) - 1)
    above = np.clip(reached, 0, len(levels) - 1)
    rows = np.arange(len(grid))
    low, high = grid[rows, below], grid[rows, above]
    width = np.where(high > low, high - low, 1.0)
    share = np.clip((asked_day[:, 0] - low) / width, 0.0, 1.0)
    inside = levels[below] + np.where(above > below, (levels[above] - levels[below]) * share, 0.0)
    answer = np.where(reached == 0, 0.0, np.where(reached == len(levels), 1.0, inside))
    answer = np.where(np.isnan(grid).any(axis=1), np.nan, answer)
    return answer.reshape(np.shape(grid_day)[:-1])


def percent_text(probability: float) -> str:
    """A probability as people are told it; an estimate is never called certain, nor impossible.

    >>> percent_text(0.734), percent_text(1.0), percent_text(0.0)
    ('73 %', 'over 99 %', 'under 1 %')
    """
    if probability > 0.994:
        return gettext("over 99 %")
    return gettext("under 1 %") if probability < 0.006 else f"{100 * probability:.0f} %"


def cumulative_at(grid: Floats, day: Floats) -> Floats:
    """Probability by many days at once: rows of quantiles at `GRID_LEVELS` against rows of days.

    As `probability_by`, without rows that have no date.
    """
    rows, points = grid.shape
    low, high = grid[:, :1], grid[:, -1:]
    span = np.maximum(high - low, 1e-9)
    scaled = np.clip((grid - low) / span, 0.0, 1.0)
    scaled_day = np.clip((day - low) / span, -0.5, 1.5)
    offset = 4.0 * np.arange(rows)[:, None] + 1.0
    insertion = np.searchsorted((scaled + offset).ravel(), (scaled_day + offset).ravel(), side="right")
    reached = insertion.reshape(day.shape) - points * np.arange(rows)[:, None]
    below = np.clip(reached - 1, 0, points - 1)
    above = np.clip(reached, 0, points - 1)
    index = np.arange(rows)[:, None]
    gap = scaled[index, above] - scaled[index, below]
    share = np.where(gap > 0, (scaled_day - scaled[index, below]) / np.where(gap > 0, gap, 1.0), 0.0)
    inside = GRID_LEVELS[below] + (GRID_LEVELS[above] - GRID_LEVELS[below]) * np.clip(share, 0.0, 1.0)
    return np.where(reached <= 0, 0.0, np.where(reached >= points, 1.0, inside))
