"""Which needs are met on which visit, once the weeks are chosen."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.needs.need import FloatArray
from scheduling.planning.visits.patterns import IntArray
from scheduling.planning.visits.rows import NeedRows


@dataclass(frozen=True, slots=True, eq=False)
class WeekChoices:
    """Of each row, the week it is met in (the number of weeks: after them all), and what that saves over the next best
    way: another visit of the site, or one of its own."""

    week: IntArray
    saving: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Members:
    """The rows met on each visit.

    Attributes
    ----------
    row
        Rows, visit by visit.
    first
        ``(visits,)`` where in ``row`` those of each visit begin.
    site, week
        ``(visits,)`` number of the site, and the week.
    """

    row: IntArray
    first: IntArray
    site: IntArray
    week: IntArray

    def ends(self) -> IntArray:
        """``(visits,)`` where those of each visit end."""
        return np.append(self.first[1:], self.row.size)


def choose_weeks(
    weekly: FloatArray, *, visited: NDArray[np.bool_], site_of_row: IntArray, visit_price: FloatArray
) -> WeekChoices:
    """Let each row take the cheapest of the weeks in which its site is visited, or the time after them all."""
    n_rows, weeks = weekly.shape[0], weekly.shape[1] - 1
    choice = np.where(
        np.concatenate([visited[site_of_row], np.ones((n_rows, 1), dtype=np.bool_)], axis=1), weekly, math.inf
    )
    chosen_week = np.argmin(choice, axis=1)
    chosen_cost = choice[np.arange(n_rows), chosen_week]
    choice[np.arange(n_rows), chosen_week] = math.inf
    other_visit = choice.min(axis=1)
    own_visit = weekly[:, :weeks].min(axis=1) + visit_price[site_of_row]
    return WeekChoices(chosen_week, np.maximum(np.minimum(other_visit, own_visit) - chosen_cost, 0.0))


def members_of_visits(rows: NeedRows, week: IntArray, *, site_of_row: IntArray, weeks: int) -> Members:
    """Gather the rows of each site and week on one visit, or on two where they cannot be done on one day."""
    on_visit = np.flatnonzero(week < weeks)
    week_code = site_of_row[on_visit] * weeks + week[on_visit]
    # a need stands on a visit once, even where its visit came so late that the one after it would fall on the same
    _, once = np.unique(np.column_stack([week_code, rows.need[on_visit]]), axis=0, return_index=True)
    once.sort()
    on_visit, week_code = on_visit[once], week_code[once]
    share = _share_of_week(week_code, rows.first_day[on_visit], rows.last_day[on_visit])
    parts = share.max(initial=0) + 1
    code = week_code * parts + share
    codes, first = np.unique(np.sort(code), return_index=True)
    site, visit_week = np.divmod(codes // parts, weeks)
    return Members(on_visit[np.argsort(code, kind="stable")], first, site, visit_week)


def _share_of_week(week_code: IntArray, first_day: FloatArray, last_day: FloatArray) -> IntArray:
    """0 for what can be done on one day with the other needs of its site and week, 1 for what needs a day after that.

    A deadline on Tuesday and a first allowed day on Thursday fall into one week and still ask for two visits.
    """
    share = np.zeros(week_code.size, dtype=np.int64)
    while week_code.size:
        _, visit = np.unique(week_code * 8 + share, return_inverse=True)
        last = np.full(visit.max() + 1, math.inf)
        np.minimum.at(last, visit, last_day)
        too_early = first_day > last[visit]
        if not too_early.any():
            break
        share = share + too_early
    return share
