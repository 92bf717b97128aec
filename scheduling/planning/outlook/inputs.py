"""What an outlook starts from: the units as planning knows them today."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.facts import UnitFacts

MOST_DRAWS = 1_000
LONGEST_DAYS = 1_096


@dataclass(frozen=True, slots=True)
class OutlookUnit:
    """A unit, and how often it is read.

    Attributes
    ----------
    facts
        As planning knows it today.
    reading_interval_days
        Days between two readings that somebody takes without a visit; None: it is read on visits alone.
    last_read_days_ago
        How long ago it was read last; only with an interval.
    """

    facts: UnitFacts
    reading_interval_days: float | None = None
    last_read_days_ago: float = 0.0

    def __post_init__(self) -> None:
        interval = self.reading_interval_days
        if interval is not None and not interval >= 1.0:
            raise PlanningError("reading_interval_days", f"must be at least 1, not {interval!r}.")


@dataclass(frozen=True, slots=True)
class OutlookSite:
    """A site with its units.

    Attributes
    ----------
    key
        The caller's.
    units
        Those in service.
    """

    key: int
    units: tuple[OutlookUnit, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """Which days are simulated, how often, from which chance.

    Attributes
    ----------
    first_day
        Day 0.
    days
        How many days count.
    settle_days
        How many days are simulated before those that count.
    draws
        How often each site is simulated.
    seed
        The same seed, sites and draws give the same chances to every policy.
    """

    first_day: datetime.date
    days: int = 365
    settle_days: int = 0
    draws: int = 40
    seed: int = 0

    def __post_init__(self) -> None:
        if not 1 <= self.draws <= MOST_DRAWS:
            raise PlanningError("draws", f"must be between 1 and {MOST_DRAWS}, not {self.draws!r}.")
        if self.days < 1 or self.settle_days < 0 or self.days + self.settle_days > LONGEST_DAYS:
            raise PlanningError(
                "days",
                f"must be at least 1, and {LONGEST_DAYS} at most with the days before them, not {self.days!r} and "
                f"{self.settle_days!r}.",
            )

    @property
    def end(self) -> int:
        """The first day after those that count."""
        return self.settle_days + self.days


@dataclass(frozen=True, slots=True)
class Way:
    """A way of deciding.

    Attributes
    ----------
    name
        For a table.
    policy
        What the decisions are made by.
    interval_days
        Every site is visited in this interval, whatever it reads; None: when planning says.
    """

    name: str
    policy: ServicePolicy
    interval_days: int | None = None

    def __post_init__(self) -> None:
        if self.interval_days is not None and not self.interval_days >= 7:
            raise PlanningError("interval_days", f"must be at least 7, not {self.interval_days!r}.")
