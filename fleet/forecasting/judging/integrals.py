"""Coverage of intervals when most ends were not seen: the distribution of probability integrals, with censoring.

A calibrated forecast with cumulative distribution F puts F(day of exhaustion) anywhere between 0 and 1 alike. Of a
life it is often known only that it was still good on one day, or that it ended between two. Counting seen ends alone
would be biased: within a record that stops, short lives are seen to end and long ones are not. So the share of lives in
each bin of F is the one that makes all observations most likely together: every life is shared out over the bins that
it may lie in, in the proportions of the whole, until nothing changes (Turnbull's estimator, from memory).
"""

from typing import Final

import numpy as np

from fleet.forecasting.distribution import cumulative_at
from fleet.forecasting.inputs.tables import Bools, Floats

BINS: Final = 20
"""Bins of F, so that the edges of the 50, 80 and 90 % intervals lie between bins."""

ROUNDS: Final = 300
CHANGE: Final = 1e-5


def integral_bounds(grid_day: Floats, low_day: Floats, high_day: Floats, end_is_seen: Bools) -> tuple[Floats, Floats]:
    """F at the last day on which each life was good and at the day by which it had ended (1 where that was not seen).

    Parameters
    ----------
    grid_day
        Quantiles of the forecast at `results.GRID_LEVELS`.
    low_day, high_day
        Days that enclose the end.
    end_is_seen
        Whether the end was seen; `high_day` does not count otherwise.
    """
    days = np.stack([low_day, np.where(end_is_seen, np.maximum(high_day, low_day), low_day)], axis=1)
    low, high = cumulative_at(grid_day, days).T
    return low, np.where(end_is_seen, high, 1.0)


def integral_shares(low: Floats, high: Floats) -> Floats:
    """Share of lives in each of `BINS` equal bins of F, from bounds of F for every life; sums to 1, NaN without lives.

    >>> integral_shares(np.array([0.0, 0.5]), np.array([1.0, 1.0])).round(3)[[0, 19]].tolist()
    [0.0, 0.1]
    """
    if not len(low):
        return np.full(BINS, np.nan)
    edges = np.linspace(0.0, 1.0, BINS + 1)
    overlap = np.minimum(high[:, None], edges[1:]) - np.maximum(low[:, None], edges[:-1])
    point = np.clip((0.5 * (low + high) * BINS).astype(np.int64), 0, BINS - 1)
    inside = np.maximum(overlap, 0.0)
    inside[np.arange(len(low)), point] = np.maximum(inside[np.arange(len(low)), point], 1e-6)
    shares = np.full(BINS, 1.0 / BINS)
    for _ in range(ROUNDS):
        joint = inside * shares
        new = (joint / joint.sum(axis=1, keepdims=True)).mean(axis=0)
        converged = np.abs(new - shares).max() < CHANGE
        shares = new
        if converged:
            break
    return shares


def coverage(shares: Floats, interval: float) -> float:
    """Share of lives whose end lies in the central interval, 0.5, 0.8 or 0.9.

    >>> coverage(np.full(BINS, 1 / BINS), 0.8)
    0.8
    """
    outside = round(BINS * (1.0 - interval) / 2.0)
    return float(shares[outside : BINS - outside].sum())
