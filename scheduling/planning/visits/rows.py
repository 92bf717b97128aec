"""Needs as the arrays that visits are weighed with, each with the cartridges that follow it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.needs.need import CostCurves, FloatArray, Need, cost_curves, median_column, quantile_table
from scheduling.planning.policy import Policy
from scheduling.planning.visits.early import cost_of_going_early
from scheduling.planning.visits.patterns import IntArray

#: Quantiles of a cartridge that is not there yet, as shares of its expected life; common practice, no source.
FRESH_SPREAD = (0.55, 0.65, 0.80, 1.0, 1.20, 1.40, 1.55)

#: How long past the weighed weeks a need may still find its cheapest date.
_LATER_WEEKS = 26


@dataclass(frozen=True, slots=True, eq=False)
class NeedRows:
    """Needs as arrays; a need may have successors, which are rows of their own.

    Attributes
    ----------
    need
        Number of the need that each row is of.
    quantiles, exhausted_quantiles, is_buffered, share, price, rate, exhausted_rate
        As the arguments of `cost_curves`; whether the two dates differ.
    first_day, last_day
        Days between which it may be done, where what is urgent must go into the days that are routed.
    deadline
        The last day that is allowed, urgent or not; infinite without one.
    urgent
        Whether it must be in the days that are routed.
    fitted_day
        When the cartridge was fitted, days from today; NaN: not known.
    """

    need: IntArray
    quantiles: FloatArray
    exhausted_quantiles: FloatArray
    is_buffered: NDArray[np.bool_]
    share: FloatArray
    price: FloatArray
    rate: FloatArray
    exhausted_rate: FloatArray
    first_day: FloatArray
    last_day: FloatArray
    deadline: FloatArray
    urgent: NDArray[np.bool_]
    fitted_day: FloatArray

    @classmethod
    def of(cls, needs: Sequence[Need], policy: Policy, routed_days: int) -> NeedRows:
        n = len(needs)
        width = max((max(len(need.quantile_days), len(need.exhausted_quantile_days)) for need in needs), default=0)
        quantiles = quantile_table([need.quantile_days for need in needs], width=width)
        share = np.array([need.remaining_share for need in needs], dtype=np.float64)
        price = np.array([need.price for need in needs], dtype=np.float64)
        rate = np.array([need.late_cost_per_day for need in needs], dtype=np.float64)
        exhausted_rate = np.array([need.exhausted_cost_per_day for need in needs], dtype=np.float64)
        # a task without a forecast that costs by the day is late from its first allowed day on
        task = np.isnan(quantiles).any(axis=1) & (rate > 0.0)
        first = np.array([need.not_before_day or 0 for need in needs], dtype=np.float64)
        quantiles[task] = np.maximum(first, 0.0)[task, None]
        is_buffered = np.array([bool(need.exhausted_quantile_days) for need in needs], dtype=np.bool_)
        exhausted_quantiles = quantile_table([need.exhausted_quantile_days for need in needs], width=width)
        exhausted_quantiles = np.where(is_buffered[:, None], exhausted_quantiles, quantiles)
        last = np.array(
            [math.inf if need.deadline_day is None else need.deadline_day for need in needs], dtype=np.float64
        )
        # a deadline that has gone by can only be made good: in the days that are routed now
        overdue = last < 0.0
        deadline = np.maximum(np.where(overdue, math.inf, last), np.maximum(first, 0.0))
        urgent = np.array([need.urgent for need in needs], dtype=np.bool_) | overdue
        last = np.where(urgent, np.minimum(np.where(overdue, math.inf, last), routed_days - 1), last)
        first = np.maximum(first, 0.0)
        last = np.maximum(last, first)
        rows = cls(
            need=np.arange(n),
            quantiles=quantiles,
            exhausted_quantiles=exhausted_quantiles,
            is_buffered=is_buffered,
            share=share,
            price=price,
            rate=rate,
            exhausted_rate=exhausted_rate,
            first_day=first,
            last_day=last,
            deadline=deadline,
            urgent=urgent,
            fitted_day=np.array([-need.used_days for need in needs], dtype=np.float64),
        )
        return rows._with_successors(np.array([need.fresh_life_days for need in needs]), policy)

    def take(self, order: IntArray) -> NeedRows:
        return NeedRows(*(getattr(self, name)[order] for name in self.__dataclass_fields__))

    def _with_successors(self, fresh_life: FloatArray, policy: Policy) -> NeedRows:
        """Add the next cartridge, and the one after it, of everything that does not last to the end of the weeks."""
        end = 7.0 * policy.bundling_weeks
        parts = [self]
        life = fresh_life
        start = np.where(life < end, self.best_days(int(end)), math.inf)
        current = self
        while True:
            again = np.flatnonzero(np.isfinite(life) & (life > 0.0) & (start + life < end))
            if again.size == 0:
                break
            life, begin = np.maximum(life[again], 7.0), start[again]
            buffered = current.is_buffered[again]
            width = current.quantiles.shape[1]
            middle, spread = median_column(width), quantile_table([FRESH_SPREAD], width=width)
            # behind a lead there is still what its lag holds; a single one begins anew on the day it is changed
            late_from = np.where(buffered, np.maximum(begin, current.quantiles[again, middle]), begin)
            exhausted_from = np.where(buffered, np.maximum(begin, current.exhausted_quantiles[again, middle]), begin)
            current = NeedRows(
                need=current.need[again],
                quantiles=late_from[:, None] + life[:, None] * spread,
                exhausted_quantiles=exhausted_from[:, None] + life[:, None] * spread,
                is_buffered=buffered,
                # the curves scale with E[X - today]; this makes the whole price the life from the change on
                share=np.ones(again.size),
                price=current.price[again] * (exhausted_from + life) / life,
                rate=current.rate[again],
                exhausted_rate=current.exhausted_rate[again],
                # the next one is never fitted on the visit of the one before it, nor with half of its life to come
                first_day=begin + np.maximum(7.0, 0.5 * life),
                last_day=np.full(again.size, math.inf),
                deadline=np.full(again.size, math.inf),
                urgent=np.zeros(again.size, dtype=np.bool_),
                fitted_day=begin,
            )
            parts.append(current)
            start = current.best_days(int(end))
        return NeedRows(*(np.concatenate([getattr(p, name) for p in parts]) for name in self.__dataclass_fields__))

    def curves(self, days: FloatArray) -> CostCurves:
        """Costs on single days, deadlines not looked at."""
        return cost_curves(
            self.quantiles,
            remaining_share=self.share,
            price=self.price,
            late_cost_per_day=self.rate,
            exhausted_quantile_days=self.exhausted_quantiles,
            exhausted_cost_per_day=self.exhausted_rate,
            days=days,
        )

    def best_days(self, end: int) -> FloatArray:
        """Cheapest day of each row by itself, in steps of a week, infinite beyond the end."""
        weeks = end // 7
        best = np.argmin(self.weekly_costs(weeks), axis=1)
        return np.where(best < weeks, 7.0 * best + 3.0, math.inf)

    def cost_of_going_early(self, weekly: FloatArray, visit_price: FloatArray) -> FloatArray:
        """What meeting each row in each week costs beside its own waste and lateness, by the visits that follow."""
        middles = 7.0 * np.arange(weekly.shape[1]) + 3.0
        best = np.argmin(weekly, axis=1)
        return cost_of_going_early(
            middles,
            best_day=middles[best][:, None],
            best_cost=weekly[np.arange(best.size), best][:, None],
            visit_price=visit_price[:, None],
            fitted_day=self.fitted_day[:, None],
        )

    def weekly_costs(self, weeks: int) -> FloatArray:
        """``(rows, weeks + 1)``: the middle of each week, and the cheapest date after them."""
        grid: FloatArray = np.asarray(7.0 * np.arange(weeks + _LATER_WEEKS) + 3.0)
        total = self.curves(grid).total
        starts, ends = grid - 3.0, grid + 3.0
        allowed = (starts[None, :] <= self.last_day[:, None]) & (ends[None, :] >= self.first_day[:, None])
        total = np.where(allowed, total, math.inf)
        later = total[:, weeks:].min(axis=1)
        # one valley must stay one valley: a row allowed only after all the weeks keeps its date there
        return np.concatenate([total[:, :weeks], later[:, None]], axis=1)
