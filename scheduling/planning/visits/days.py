"""On which day each visit costs least, between which days it is due, and what each day costs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.needs.need import FloatArray
from scheduling.planning.needs.pricing import WAITING_DAYS
from scheduling.planning.policy import Policy
from scheduling.planning.visits.members import Members
from scheduling.planning.visits.patterns import IntArray
from scheduling.planning.visits.rows import NeedRows

#: So many visits at once, so that a fleet of ten thousand sites does not need the whole days x needs table at once.
_BLOCK = 2_000


@dataclass(frozen=True, slots=True, eq=False)
class VisitDays:
    """Of each visit: its due window, its cheapest day, whether it must be made in the days that are routed, what each
    day costs without driving, and what leaving it until after those days costs."""

    earliest: IntArray
    best: IntArray
    latest: IntArray
    is_forced: NDArray[np.bool_]
    by_day: FloatArray
    if_left: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class MemberDays:
    """Of each need on a visit: its own cheapest day, and on the best day of the visit its waste, its whole cost, what
    four more weeks add to that, and the probabilities that it is late and that it is exhausted."""

    own_best: IntArray
    waste: FloatArray
    cost: FloatArray
    waiting: FloatArray
    probability: FloatArray
    exhausted_probability: FloatArray


@dataclass(frozen=True, slots=True)
class DaySettings:
    """How many days are routed and told of, and the policy."""

    policy: Policy
    routed_days: int
    cost_days: int

    @property
    def span(self) -> int:
        """How many days are weighed."""
        return max(7 * self.policy.bundling_weeks + WAITING_DAYS, self.cost_days)


def weigh_days(
    rows: NeedRows,
    members: Members,
    settings: DaySettings,
    *,
    visit_price: FloatArray,
    travel_cost: FloatArray,
    interval_days: FloatArray,
) -> tuple[VisitDays, MemberDays]:
    """Weigh the days of every visit.

    Parameters
    ----------
    rows, members
        The needs, and which of them are met on which visit.
    visit_price, travel_cost, interval_days
        ``(sites,)`` what a visit costs, the driving in it, and how long one usually lasts.

    Returns
    -------
    Figures ``(visits,)`` and ``(members,)``.
    """
    visits, needs = [], []
    ends = members.ends()
    for low in range(0, members.first.size, _BLOCK):
        block = slice(low, low + _BLOCK)
        first, site = members.first[block], members.site[block]
        of_visits, of_needs = _weigh_block(
            rows.take(members.row[first[0] : ends[block][-1]]),
            first - first[0],
            settings,
            week=members.week[block],
            visit_price=visit_price[site],
            travel_cost=travel_cost[site],
            interval_days=interval_days[site],
        )
        visits.append(of_visits)
        needs.append(of_needs)
    return _joined(visits), _joined(needs)


def _weigh_block(
    rows: NeedRows,
    starts: IntArray,
    settings: DaySettings,
    *,
    week: IntArray,
    visit_price: FloatArray,
    travel_cost: FloatArray,
    interval_days: FloatArray,
) -> tuple[VisitDays, MemberDays]:
    policy, routed_days, span = settings.policy, settings.routed_days, settings.span
    grid: FloatArray = np.arange(span).astype(np.float64)
    curves = rows.curves(grid)
    total = curves.total
    must = np.logical_or.reduceat(rows.urgent, starts)
    going = _price_of_going(grid, visit_price, interval_days, must)
    free = np.add.reduceat(total, starts, axis=0) + going
    allowed = (grid <= rows.last_day[:, None]) & (grid >= rows.first_day[:, None])
    open_day = np.logical_and.reduceat(allowed, starts, axis=0)
    near = (grid >= 7 * (week[:, None] - 1)) & (grid < 7 * (week[:, None] + 2))
    best = np.argmin(np.where(open_day & near, free, math.inf), axis=1)
    risk = np.where(rows.rate[:, None] > 0.0, curves.probability, 0.0)
    is_within_risk = np.maximum.reduceat(risk, starts, axis=0) <= policy.target_risk
    earliest, latest = _due_window(free, open_day, best, is_within_risk, policy.due_window_tolerance)
    # what is urgent must go into the days that are routed, and still has its cost on a day after them
    not_forbidden = (grid <= rows.deadline[:, None]) & (grid >= rows.first_day[:, None])
    is_open = np.logical_and.reduceat(not_forbidden, starts)
    visits = VisitDays(
        earliest=earliest,
        best=best,
        latest=latest,
        is_forced=~open_day[:, routed_days:].any(axis=1) | must,
        by_day=np.where(is_open, free - travel_cost[:, None], math.inf)[:, : settings.cost_days],
        if_left=free[:, routed_days:].min(axis=1),
    )
    row = np.arange(rows.need.size)
    at = np.repeat(best, np.diff([*starts, rows.need.size]))
    needs = MemberDays(
        own_best=np.argmin(np.where(allowed, total, math.inf), axis=1),
        waste=curves.waste[row, at],
        cost=total[row, at],
        waiting=total[row, np.minimum(at + WAITING_DAYS, span - 1)] - total[row, at],
        probability=curves.probability[row, at],
        exhausted_probability=curves.exhausted_probability[row, at],
    )
    return visits, needs


def _price_of_going(
    grid: FloatArray, visit_price: FloatArray, interval_days: FloatArray, must: NDArray[np.bool_]
) -> FloatArray:
    """``(visits, days)``: a visit put off is paid for later; one that must be made now gains nothing by that."""
    put_off = np.where(must[:, None], 0.0, np.minimum(grid / interval_days[:, None], 1.0))
    return np.asarray(visit_price[:, None] * (1.0 - put_off))


def _due_window(
    free: FloatArray,
    open_day: NDArray[np.bool_],
    best: IntArray,
    is_within_risk: NDArray[np.bool_],
    tolerance: float,
) -> tuple[IntArray, IntArray]:
    """First and last day on which a visit costs little more than on its best, the last one within the risk."""
    span = free.shape[1]
    at_best = free[np.arange(best.size), best]
    due = open_day & (free <= at_best[:, None] + tolerance)
    last_safe_day = np.where(is_within_risk.all(axis=1), span, np.argmin(is_within_risk, axis=1) - 1)
    first_due = np.where(due.any(axis=1), np.argmax(due, axis=1), best)
    last_due = np.where(due.any(axis=1), span - 1 - np.argmax(due[:, ::-1], axis=1), best)
    return first_due, np.maximum(np.minimum(last_due, last_safe_day), best)


_Figures = TypeVar("_Figures", VisitDays, MemberDays)


def _joined(blocks: Sequence[_Figures]) -> _Figures:
    first: Any = blocks[0]
    return type(first)(*(np.concatenate([getattr(b, f.name) for b in blocks]) for f in fields(first)))
