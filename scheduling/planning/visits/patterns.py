"""The least-cost set of weeks to visit a site in, of all sets there are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.needs.need import FloatArray

IntArray = NDArray[np.int64]


def best_patterns(
    weekly: FloatArray, first_row: IntArray, visit_price: FloatArray, interval_weeks: FloatArray | float
) -> NDArray[np.bool_]:
    """The least-cost set of weeks to visit each site in.

    Parameters
    ----------
    weekly
        ``(rows, weeks + 1)`` cost of meeting each row in each week, the last column being 'after them all'; infinite
        where it is not allowed. Rows of a site stand together; each row has one valley.
    first_row
        ``(sites,)`` where each site's rows begin.
    visit_price
        ``(sites,)`` price of one visit.
    interval_weeks
        Time a visit usually lasts, of each site or of all; what lasts beyond the weeks is credited.

    Returns
    -------
    array ``(sites, weeks)``, True where the site is visited.

    Notes
    -----
    Shortest path over the weeks, O(weeks^2) for each row. Between two neighbouring visits a < b stand the rows whose
    best week lies in (a, b]; each takes the cheaper of the two.
    """
    n_sites, weeks = first_row.size, weekly.shape[1] - 1
    best_week = np.argmin(weekly, axis=1)
    # path[b]: least cost of everything with best week <= b, given a visit in week b; came[b]: the visit before it
    path = np.empty((weeks, n_sites))
    previous_visit = np.full((weeks + 1, n_sites), -1, dtype=np.int64)
    for b in range(weeks + 1):
        best = np.add.reduceat(np.where(best_week <= b, weekly[:, b], 0.0), first_row)
        for a in range(b):
            between = (best_week > a) & (best_week <= b)
            step = np.add.reduceat(np.where(between, np.minimum(weekly[:, a], weekly[:, b]), 0.0), first_row)
            cost = path[a] + step
            if b == weeks:
                lasts = np.clip((a + interval_weeks - weeks) / interval_weeks, 0.0, 1.0)
                cost = cost - visit_price * lasts
            better = cost < best
            best = np.where(better, cost, best)
            previous_visit[b] = np.where(better, a, previous_visit[b])
        if b < weeks:
            path[b] = best + visit_price
    visited = np.zeros((n_sites, weeks), dtype=np.bool_)
    at = previous_visit[weeks].copy()
    sites = np.arange(n_sites)
    while np.any(at >= 0):
        is_reached = at >= 0
        visited[sites[is_reached], at[is_reached]] = True
        at = np.where(is_reached, previous_visit[np.maximum(at, 0), sites], -1)
    return visited
