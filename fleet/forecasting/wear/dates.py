"""From load left to a date: the load to come, how little is known of future demand, and the age limit."""

from typing import Final

import numpy as np
from scipy.special import ndtri

from fleet.forecasting.distribution import GRID_LEVELS, cumulative_at
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.tables import Floats, Indexes
from fleet.forecasting.wear.conditions import Conditions

FURTHEST_DAYS: Final = 3652.0
"""No date is given further ahead than this; a later one is shown as this one (ten years)."""

CONCENTRATION_SPREAD: Final = (0.0, 0.12, 0.0, 0.12, *(0.0 for _ in words.FINISHING_STAGES))
"""Spread of the logarithm of the mean concentration to come, by stage: chlorine on carbon; salt and carbon dioxide on
resin. A supply swings by 2 to 25 % over a year and changes its sources; common practice, no source."""

_NODE_LEVELS: Final = np.array([0.04, 0.18, 0.5, 0.82, 0.96])
_NODES: Final = ndtri(_NODE_LEVELS)
_NODE_WEIGHTS: Final = np.array([0.1, 0.22, 0.36, 0.22, 0.1])

LEVEL_MASS: Final = np.diff(np.concatenate([[0.0], 0.5 * (GRID_LEVELS[1:] + GRID_LEVELS[:-1]), [1.0]]))
"""Probability that each stored quantile stands for."""


def weighted_quantiles(values: Floats, weights: Floats, levels: Floats) -> Floats:
    """Quantiles of weighted points, row by row, linear between points.

    Parameters
    ----------
    values, weights
        Shape (rows, points); weights of a row sum to 1.
    levels
        Probability levels, rising.

    Returns
    -------
    Shape (rows, levels).
    """
    order = np.argsort(values, axis=1)
    sorted_values = np.take_along_axis(values, order, axis=1)
    mass = np.take_along_axis(weights, order, axis=1)
    start, end, share = _between(np.cumsum(mass, axis=1) - 0.5 * mass, sorted_values, levels)
    with np.errstate(invalid="ignore"):
        between = start + (end - start) * share
    return np.where(np.isfinite(end), between, np.where(share < 1.0, start, end))


def _between(reached: Floats, values: Floats, levels: Floats) -> tuple[Floats, Floats, Floats]:
    """The two neighbouring points of every row between which a level is reached, and how far from the first to the
    second; 0 and 1 beyond the ends.

    `reached` are the levels of `values`, both rising along the rows of at least two points.
    """
    rows, points = values.shape
    index = np.arange(rows)[:, None]
    # One sorted search for all rows: every row in a range of its own.
    after = np.searchsorted((reached + 2.0 * index).ravel(), (levels + 2.0 * index).ravel())
    high = np.clip(after.reshape(rows, len(levels)) - points * index, 1, points - 1)
    below, above = reached[index, high - 1], reached[index, high]
    # Where two points have one level it is that of the first of all, and both are the same.
    share = np.divide(levels - below, above - below, out=np.ones(high.shape), where=above > below)
    return values[index, high - 1], values[index, high], np.clip(share, 0.0, 1.0)


def demand_spread(horizon_days: Floats) -> Floats:
    """Spread of the logarithm of mean demand over a horizon: noise that averages out, and drift that grows.

    Holidays and weeks of much and little average out over months; habits change by about a tenth a year (common
    practice, no source).
    """
    return np.sqrt(0.05**2 + 0.25**2 * 15.0 / (horizon_days + 15.0) + (0.10 * horizon_days / 365.0) ** 2)


def dates_from_load(conditions: Conditions, stage: int, unit: Indexes, load_levels: Floats, now: float) -> Floats:
    """Quantiles (at `GRID_LEVELS`) of the day on which a load left has passed, not before now.

    Parameters
    ----------
    unit
        Unit of every row.
    load_levels
        Quantiles of the load left at `GRID_LEVELS` (stage's unit; negative when already passed).
    now
        The forecast's day.
    """
    load_levels = np.maximum(load_levels, 0.0)
    start = conditions.at(stage, unit, np.full(len(unit), now))
    reached = conditions.day_when(stage, unit, start[:, None] + load_levels)
    ahead = np.clip(reached - now, 0.0, 4.0 * FURTHEST_DAYS)
    ahead = np.where(load_levels <= 0.0, 0.0, ahead)
    # Hours by the clock come as they come; litres hang on what people will draw.
    spread = demand_spread(ahead) * (stage not in words.BY_THE_CLOCK)
    spread = np.hypot(spread, CONCENTRATION_SPREAD[stage])
    all_ahead = ahead[:, :, None] * np.exp(-spread[:, :, None] * _NODES)
    mass = (LEVEL_MASS[:, None] * _NODE_WEIGHTS).ravel()
    rows, points = len(unit), len(mass)
    quantiles = weighted_quantiles(all_ahead.reshape(rows, points), np.broadcast_to(mass, (rows, points)), GRID_LEVELS)
    return now + np.minimum(quantiles, FURTHEST_DAYS)


def earliest(first: Floats, second: Floats) -> Floats:
    """Quantiles of the earlier of two independent dates, each given by its quantiles at `GRID_LEVELS`."""
    both = np.concatenate([first, second], axis=1)
    both.sort(axis=1)
    alive = np.ones_like(both)
    for grid in (first, second):
        alive *= 1.0 - cumulative_at(grid, both)
    reached = np.maximum.accumulate(1.0 - alive, axis=1)
    start, end, share = _between(reached, both, GRID_LEVELS)
    return start + (end - start) * share
