"""When cartridges are exhausted: what is known of it, and what a draw says."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import (
    DISTRIBUTION_LEVELS,
    QUANTILE_LEVELS,
    FloatArray,
    median_days,
    quantile_knots,
    quantile_table,
)
from scheduling.planning.visits.rows import FRESH_SPREAD

_SHORTEST_LIFE_DAYS = 7.0


@dataclass(frozen=True, slots=True, eq=False)
class Dates:
    """Distribution of a day: its quantile function, straight between knots.

    Attributes
    ----------
    days
        ``(knots,)`` rising, counted from the first day of the outlook.
    probabilities
        ``(knots,)`` from 0 to 1.
    """

    days: FloatArray
    probabilities: FloatArray

    @classmethod
    def of(cls, quantile_days: tuple[float, ...]) -> Dates:
        """From a row of quantiles at `QUANTILE_LEVELS` or `DISTRIBUTION_LEVELS`."""
        return cls(*quantile_knots(quantile_days))

    def at(self, probability: float) -> float:
        """The day by which it is exhausted with this probability."""
        return float(np.interp(probability, self.probabilities, self.days))

    def later(self, days: float) -> Dates:
        """The same, so many days later."""
        return Dates(self.days + days, self.probabilities)

    def quantiles_from(self, day: float, alive_on: float | None = None) -> tuple[float, ...]:
        """Quantiles at `DISTRIBUTION_LEVELS` in days from ``day``, given that it was not exhausted on ``alive_on``."""
        levels = np.asarray(DISTRIBUTION_LEVELS)
        if alive_on is not None:
            gone = float(np.interp(alive_on, self.days, self.probabilities))
            levels = gone + (1.0 - gone) * levels
        days = np.interp(levels, self.probabilities, self.days)
        if alive_on is not None:
            days = np.maximum(days, alive_on)
        return tuple((days - day).tolist())


@dataclass(frozen=True, slots=True)
class FreshLife:
    """How long a new cartridge lasts in its position, days.

    Attributes
    ----------
    p10, p50, p90
        Rising, above 0.
    """

    p10: float
    p50: float
    p90: float
    _dates: Dates = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not 0.0 < self.p10 <= self.p50 <= self.p90:
            raise PlanningError(
                "fresh_life", f"p10, p50, p90 must be above 0 and rising, not {self.p10}, {self.p50}, {self.p90}."
            )
        low, high = (self.p50 - self.p10) / 4.0, (self.p90 - self.p50) / 4.0
        # straight lines through the three, at the seven levels of a short row
        row = np.interp(
            QUANTILE_LEVELS,
            [0.05, 0.10, 0.50, 0.90, 0.95],
            [self.p10 - low / 2.0, self.p10, self.p50, self.p90, self.p90 + high / 2.0],
        )
        object.__setattr__(self, "_dates", Dates.of(tuple(np.maximum(row, _SHORTEST_LIFE_DAYS).tolist())))

    @classmethod
    def around(cls, median: float) -> FreshLife:
        """A life of which only the middle is known, spread as planning spreads the cartridge after the next one."""
        if not median > 0.0:
            raise PlanningError("fresh_life", f"the median must be above 0, not {median!r}.")
        row = quantile_table([FRESH_SPREAD])[0] * median
        return cls(float(row[1]), median_days(row.tolist()), float(row[5]))

    @property
    def dates(self) -> Dates:
        """Its distribution, counted from the day on which it is fitted."""
        return self._dates
