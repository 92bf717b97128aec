"""What is known of one unit on one day, as far as deciding about its work goes."""

from __future__ import annotations

import datetime
import enum
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from fleet.engineering.positions import position_name
from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, exhausted_probability
from scheduling.planning.needs.work import FindingWork

_P10 = min(range(len(DISTRIBUTION_LEVELS)), key=lambda at: abs(DISTRIBUTION_LEVELS[at] - 0.1))


class Role(enum.StrEnum):
    """Place of a position in its stage."""

    SINGLE = "single"
    LEAD = "lead"
    LAG = "lag"


@dataclass(frozen=True, slots=True)
class ForecastFacts:
    """When a cartridge will be exhausted.

    Attributes
    ----------
    key, cartridge
        The caller's keys of the forecast and of the cartridge it speaks of.
    quantile_days
        Exhaustion date at DISTRIBUTION_LEVELS, days from today; empty: no date.
    is_exhausted
        Whether it is called exhausted already.
    is_maximum_service_time
        Whether its date is the longest time it may serve, not its wear.
    remaining_share
        Median share (0-1) of its life that is left; None: not known.
    used_days
        Days since it was first installed; None: not known.
    fresh_life_days
        Life of a fresh cartridge at its position, p10, p50 and p90; None: not known.
    read_days_ago
        Days since the newest reading that it rests on; None: it rests on none.
    is_by_label
        Whether nothing that was read speaks of it: its wear is known by a label and a load alone.
    sentence
        What it says to an installer.
    """

    key: int
    cartridge: int | None
    quantile_days: tuple[float, ...] = ()
    is_exhausted: bool = False
    is_maximum_service_time: bool = False
    remaining_share: float | None = None
    used_days: float | None = None
    fresh_life_days: tuple[float, float, float] | None = None
    read_days_ago: float | None = None
    is_by_label: bool = False
    sentence: str = ""

    def __post_init__(self) -> None:
        if self.quantile_days and len(self.quantile_days) != len(DISTRIBUTION_LEVELS):
            raise PlanningError(
                f"forecast {self.key}.quantile_days",
                f"must hold {len(DISTRIBUTION_LEVELS)} days, not {len(self.quantile_days)}.",
            )

    @property
    def early_day(self) -> float:
        """Day from today by which it is exhausted with a probability of 10 %; only with a date."""
        return self.quantile_days[_P10]

    @property
    def exhausted_today(self) -> float:
        """Probability (0-1) that it is exhausted by the end of today; only with a date."""
        if self.quantile_days[0] > 0.0:
            return 0.0  # most of a fleet; the distribution does not go on into the past
        return float(exhausted_probability([self.quantile_days], [0.0])[0, 0])


@dataclass(frozen=True, slots=True)
class PositionFacts:
    """One position of a unit's train.

    Attributes
    ----------
    key
        The caller's.
    stage, role
        'sediment', 'carbon', 'membrane' or 'resin', and its place in the stage.
    cartridge
        Key of what stands there; None: nothing on record.
    item
        Key of what to fit: the same as stands there or stood there last, or what suits the water of the site better;
        None: nothing ever did.
    price
        Price of what stands there or stood there last.
    newest_forecast
        Of the position, whichever cartridge it speaks of.
    missing_part
        What to look for where the catalogue has nothing that suits the water of the site; empty: it has.
    """

    key: int
    stage: str
    role: Role = Role.SINGLE
    cartridge: int | None = None
    item: int | None = None
    price: float = 0.0
    newest_forecast: ForecastFacts | None = None
    missing_part: str = ""

    @property
    def forecast(self) -> ForecastFacts | None:
        """The newest forecast, where it has a date and speaks of what stands there."""
        newest = self.newest_forecast
        if newest is None or self.cartridge is None or not newest.quantile_days:
            return None
        return newest if newest.cartridge == self.cartridge else None

    @property
    def name(self) -> str:
        """What a practitioner calls it: 'lead resin', 'membrane'."""
        return position_name(self.stage, self.role)


@dataclass(frozen=True, slots=True)
class FindingFacts:
    """Something the readings of the unit show.

    Attributes
    ----------
    key
        The caller's.
    cause
        What was found to be behind it.
    work
        What it calls for; None: nothing.
    seen_at
        When it was last seen.
    is_confirmed
        Whether a person confirmed it.
    sentence
        What it says to an installer.
    """

    key: int
    cause: str
    work: FindingWork | None
    seen_at: datetime.datetime
    is_confirmed: bool = False
    sentence: str = ""

    @property
    def reason(self) -> str:
        """Its sentence as the reason of a task."""
        return f"{self.sentence} Confirmed by a person." if self.is_confirmed else self.sentence


@dataclass(frozen=True, slots=True)
class GaugeFacts:
    """How a unit can be read, and what a visit to it takes.

    Attributes
    ----------
    by_client, by_installer
        Columns of the quantities that its client, and whoever comes, can read there.
    read_on
        Column to the day it was last read.
    visit_price
        What a visit of its own costs, in money.
    next_visit_on
        Day of the next confirmed visit; None: none is confirmed.
    """

    by_client: frozenset[str] = frozenset()
    by_installer: frozenset[str] = frozenset()
    read_on: Mapping[str, datetime.date] = field(default_factory=lambda: MappingProxyType({}))
    visit_price: float = 0.0
    next_visit_on: datetime.date | None = None


@dataclass(frozen=True, slots=True)
class PartFacts:
    """The part of the catalogue that fits a unit.

    Attributes
    ----------
    item
        Its key; None: none is known to fit.
    missing_part
        What to look for where the catalogue has none; empty: too little is known of the unit.
    """

    item: int | None = None
    missing_part: str = ""


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """A unit on the day that is planned.

    Attributes
    ----------
    key, use
        The caller's key, and what the water is for.
    commissioned_on
        First day of service.
    has_pressurised_tank
        Whether its product water stands in a closed tank, which is sanitised by the calendar.
    positions
        In the order of the train.
    findings
        Live ones, the surest first.
    last_read_on, last_sanitised_on
        Days of the newest reading and the last sanitising; None: never.
    seen_on
        Day on which somebody last said what can be seen there without a meter; None: never.
    asked_on
        Since when a reading of it is asked for; None: is not.
    kept_since
        Since when the company keeps it here; None: not known, or later than the day that is asked for.
    done
        Key of a task to when it was last done.
    parts
        Name of a fitting, one of `PURPOSES`, to the part that fits here; of those that its findings call for.
    gauges
        How it can be read.
    has_client
        Whether anybody is known who could be asked.
    """

    key: int
    use: str
    commissioned_on: datetime.date
    has_pressurised_tank: bool = False
    positions: tuple[PositionFacts, ...] = ()
    findings: tuple[FindingFacts, ...] = ()
    last_read_on: datetime.date | None = None
    last_sanitised_on: datetime.date | None = None
    seen_on: datetime.date | None = None
    asked_on: datetime.date | None = None
    kept_since: datetime.date | None = None
    done: Mapping[str, datetime.datetime] = field(default_factory=lambda: MappingProxyType({}))
    parts: Mapping[str, PartFacts] = field(default_factory=lambda: MappingProxyType({}))
    gauges: GaugeFacts = field(default_factory=GaugeFacts)
    has_client: bool = True

    @property
    def pairs(self) -> list[tuple[PositionFacts, PositionFacts | None]]:
        """Every lead with the lag behind it, or without one; a lag alone stands in for its lead."""
        by_role = {(p.stage, p.role): p for p in self.positions}
        pairs = []
        for (stage, role), position in by_role.items():
            if role == Role.LEAD:
                pairs.append((position, by_role.get((stage, Role.LAG))))
            elif role == Role.LAG and (stage, Role.LEAD) not in by_role:
                pairs.append((position, None))
        return pairs
