"""Driving takes longer at some times of day."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fleet.engineering.constants import SECONDS_PER_DAY
from scheduling.planning.errors import PlanningError


@dataclass(frozen=True, slots=True)
class Traffic:
    """By how much driving is slowed down over the day.

    The speed changes on the road when the clock passes into the next period, so that leaving later never means arriving
    sooner.

    Attributes
    ----------
    periods
        (from this second of the day on, factor of at least 1), in order of time. Before the first the factor is 1.

    Examples
    --------
    >>> rush = Traffic(((7 * 3600, 1.5), (9 * 3600, 1.0)))
    >>> rush.drive_s(1200, 8 * 3600)
    1800
    >>> rush.drive_s(1200, 9 * 3600 - 900)  # ten of its twenty minutes are driven by nine o'clock
    1500
    """

    periods: tuple[tuple[int, float], ...]

    def __post_init__(self) -> None:
        begins = [begin for begin, _ in self.periods]
        if begins != sorted(set(begins)):
            raise PlanningError("traffic.periods", "must be in order of time, each beginning once.")
        for begin, factor in self.periods:
            if not 0 <= begin <= SECONDS_PER_DAY:
                raise PlanningError("traffic.periods", f"must begin within the day, not at second {begin!r}.")
            if not (math.isfinite(factor) and 1.0 <= factor <= 10.0):
                raise PlanningError("traffic.periods", f"must have factors between 1 and 10, not {factor!r}.")

    def drive_s(self, free_s: int, departs_s: int) -> int:
        """Seconds on the road for a trip that takes ``free_s`` when the road is free."""
        clock, free_left_s = float(departs_s), float(free_s)
        factor = 1.0
        for begin, next_factor in self.periods:
            if begin > clock:
                covered = (begin - clock) / factor
                if covered >= free_left_s:
                    break
                free_left_s -= covered
                clock = float(begin)
            factor = next_factor
        return round(clock + free_left_s * factor) - departs_s

    def departs_s(self, free_s: int, arrives_s: int) -> int:
        """The latest second to leave and be there in time."""
        low, high = arrives_s - math.ceil(free_s * max([1.0, *(f for _, f in self.periods)])) - 1, arrives_s - free_s
        while low < high:
            middle = (low + high + 1) // 2
            if middle + self.drive_s(free_s, middle) <= arrives_s:
                low = middle
            else:
                high = middle - 1
        return low

    def mean_factor(self, from_s: int, to_s: int) -> float:
        """Factor of driving spread evenly over a span of the day."""
        if to_s <= from_s:
            return 1.0
        begins = [from_s, *(begin for begin, _ in self.periods)]
        factors = [1.0, *(factor for _, factor in self.periods)]
        total = 0.0
        for begin, end, factor in zip(begins, [*begins[1:], to_s], factors, strict=True):
            total += max(0, min(end, to_s) - max(begin, from_s)) * factor
        return total / (to_s - from_s)
