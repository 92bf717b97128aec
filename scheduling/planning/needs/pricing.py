"""What each need costs by the day it is met on, and the day that costs least."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, Need, cost_curves, quantile_table
from scheduling.planning.policy import Policy
from scheduling.planning.words import needs as words

#: What waiting costs is told for so long.
WAITING_DAYS = 28


@dataclass(frozen=True, slots=True)
class Priced:
    """A need's money.

    Attributes
    ----------
    curve
        Expected cost of meeting it on each day from today; None on a day that is not allowed.
    best_day
        Its cheapest allowed day; its first allowed day where that lies beyond the curve.
    """

    curve: tuple[float | None, ...]
    best_day: int

    def sentence(self, *, today: datetime.date, currency: str) -> str:
        """What the best day and waiting beyond it cost; empty when no day of the curve is allowed, or neither costs."""
        cost = self.curve[self.best_day] if self.best_day < len(self.curve) else None
        if cost is None:
            return ""
        later = self.curve[min(self.best_day + WAITING_DAYS, len(self.curve) - 1)]
        if not cost and not later:
            return ""
        return words.cheapest_day(today + datetime.timedelta(days=self.best_day), cost, later, currency)


def price(needs: Sequence[Need], *, policy: Policy) -> list[Priced]:
    """Price needs on every day of the weeks that visits are weighed for, in the order given."""
    if not needs:
        return []
    span = 7 * policy.bundling_weeks
    days = np.arange(span)
    quantiles = quantile_table([need.quantile_days for need in needs], width=len(DISTRIBUTION_LEVELS))
    for row, need in enumerate(needs):
        if not need.quantile_days and need.late_cost_per_day > 0.0:
            # due from its first allowed day on
            quantiles[row] = float(need.not_before_day or 0)
    curves = cost_curves(
        quantiles,
        remaining_share=[need.remaining_share for need in needs],
        price=[need.price for need in needs],
        late_cost_per_day=[need.late_cost_per_day for need in needs],
        days=days,
        exhausted_quantile_days=[
            need.exhausted_quantile_days or row for need, row in zip(needs, quantiles, strict=True)
        ],
        exhausted_cost_per_day=[need.exhausted_cost_per_day for need in needs],
    ).total
    first = np.array([need.not_before_day or 0 for need in needs])
    limits = (need.deadline_day for need in needs)
    last = np.array([span if limit is None or limit < 0 else limit for limit in limits])
    allowed = (days >= first[:, None]) & (days <= last[:, None])
    costs = np.where(allowed, curves, math.inf)
    best_days = np.where(allowed.any(axis=1), np.argmin(costs, axis=1), first).tolist()
    is_open = np.asarray(np.isfinite(costs).all(axis=1))
    priced = []
    for row, best, whole in zip(np.round(costs, 2).tolist(), best_days, is_open.tolist(), strict=True):
        curve = row if whole else [cost if math.isfinite(cost) else None for cost in row]
        priced.append(Priced(tuple(curve), best))
    return priced
