"""How long an order takes, and how much that varies."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import gammainc, gammaincinv

from fleet.engineering.lead_times import LONGEST_LEAD_TIME_DAYS, WEEKEND
from scheduling.planning.errors import PlanningError

#: Deliveries from which on they tell more of a supplier than what it states; common practice, no source.
ENOUGH_DELIVERIES = 8
#: Sums of probabilities are a rounding short of what they are.
ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class LeadTime:
    """Days from reading an order to the store, as a distribution.

    Attributes
    ----------
    mean_days
        Calendar days on average, 0 to 730.
    sd_days
        Standard deviation, at least 0; 0: it always takes as long.
    closed, no_orders
        Weekdays on which the supplier is closed, and on which it takes no orders beside.
    deliveries
        Deliveries it was learned from; 0: it is what the supplier states.
    """

    mean_days: float
    sd_days: float = 0.0
    closed: frozenset[int] = WEEKEND
    no_orders: frozenset[int] = frozenset()
    deliveries: int = 0

    def __post_init__(self) -> None:
        if not 0.0 <= self.mean_days <= LONGEST_LEAD_TIME_DAYS:
            sentence = f"must be between 0 and {LONGEST_LEAD_TIME_DAYS}, not {self.mean_days!r}."
            raise PlanningError("mean_days", sentence)
        if not 0.0 <= self.sd_days <= LONGEST_LEAD_TIME_DAYS:
            raise PlanningError("sd_days", f"must be between 0 and {LONGEST_LEAD_TIME_DAYS}, not {self.sd_days!r}.")

    @property
    def usual_days(self) -> int:
        """Whole days it takes on average."""
        return int(self.mean_days + 0.5)

    def chances(self) -> list[tuple[int, float]]:
        """Whole days to the probability that it takes so long: a gamma distribution, rounded to days.

        Lead times are not negative and their tail is to the right, which is why inventory texts take a gamma (Silver,
        Pyke and Thomas 2017, Inventory and Production Management in Supply Chains, from memory).
        """
        if not self.sd_days or not self.mean_days:
            return [(self.usual_days, 1.0)]
        return list(_gamma_days(self.mean_days, self.sd_days))

    def days_with(self, level: float) -> int:
        """Fewest whole days that suffice with a probability (0-1)."""
        total = 0.0
        for day, chance in self.chances():
            total += chance
            if total >= level - ROUNDING:
                return day
        return self.chances()[-1][0]


@lru_cache(maxsize=256)
def _gamma_days(mean: float, sd: float) -> tuple[tuple[int, float], ...]:
    shape = (mean / sd) ** 2
    longest = min(int(gammaincinv(shape, 0.9999) * mean / shape) + 1, LONGEST_LEAD_TIME_DAYS)
    days = np.arange(longest + 1)
    upto = gammainc(shape, (days + 0.5) * shape / mean)
    upto[-1] = 1.0
    return tuple(zip(days.tolist(), np.diff(upto, prepend=0.0).tolist(), strict=True))


def learned(stated_days: float, stated_sd_days: float, delays: Sequence[float]) -> tuple[float, float, int]:
    """Mean and standard deviation of a lead time, in days, and how many deliveries say so.

    Parameters
    ----------
    stated_days, stated_sd_days
        What holds while few deliveries have come.
    delays
        Days by which each delivery came later than by the stated lead time; negative: sooner.

    Examples
    --------
    >>> learned(5, 0, [2, 4] * 4)
    (8.0, 1.0690449676496976, 8)
    """
    if len(delays) < ENOUGH_DELIVERIES:
        return stated_days, stated_sd_days, 0
    mean = min(max(stated_days + float(np.mean(delays)), 0.0), float(LONGEST_LEAD_TIME_DAYS))
    return mean, float(np.std(delays, ddof=1)), len(delays)
