"""The tasks of a unit: each once, whatever and however many reasons ask for it."""

from __future__ import annotations

import dataclasses
import datetime
import enum
import math
from dataclasses import dataclass
from typing import Any

from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.facts import FindingFacts, ForecastFacts, PositionFacts, UnitFacts
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.ways_to_read import ReadingWanted


class Source(enum.StrEnum):
    """What asks for a task."""

    FORECAST = "forecast"
    FINDING = "finding"
    CALENDAR = "calendar"


@dataclass(frozen=True, slots=True)
class Task:
    """One piece of work at one unit.

    Attributes
    ----------
    key
        The same work in the same situation has the same key.
    kind, source, label
        What is done, what asks for it, and how a sentence names what it is done to.
    minutes, skills
        How long it takes at the unit, and what the installer must be able to do.
    position, item
        Keys of where, and of what will be fitted; None: at the unit as a whole, nothing.
    missing_part
        What to look for where the catalogue has nothing that fits; empty: it has, or nothing is fitted.
    price
        What is thrown away by going early, were it new.
    late_cost_per_day, exhausted_cost_per_day
        What a day of being late costs, and one with a lead exhausted while its lag holds.
    forecast, lag_forecast, finding, cause
        What it rests on.
    is_urgent
        Whether it must be in the next rounds whatever it costs.
    not_before, due_on
        First day it may be done, and the day from which it is late where no forecast speaks.
    reading
        Of a reading that is wanted: how it is had, and what it is worth.
    reason
        Why, for an installer.
    """

    key: str
    kind: NeedKind
    source: Source
    label: str
    minutes: int
    skills: tuple[str, ...] = ()
    position: int | None = None
    item: int | None = None
    missing_part: str = ""
    price: float = 0.0
    late_cost_per_day: float = 0.0
    exhausted_cost_per_day: float = 0.0
    forecast: ForecastFacts | None = None
    lag_forecast: ForecastFacts | None = None
    finding: FindingFacts | None = None
    is_urgent: bool = False
    not_before: datetime.date | None = None
    due_on: datetime.date | None = None
    reading: ReadingWanted | None = None
    reason: str = ""

    @property
    def cause(self) -> str:
        """Cause of the finding behind it; empty without one."""
        return self.finding.cause if self.finding is not None else ""


def merged(earlier: Task, later: Task) -> Task:
    """One task for two reasons: both are kept and the finding speaks first; it is urgent when either was.

    What a finding names may be done now, whatever day the forecast alone would wait for.
    """
    first, second = (earlier, later) if earlier.finding is not None or later.finding is None else (later, earlier)
    return dataclasses.replace(
        first,
        is_urgent=first.is_urgent or second.is_urgent,
        late_cost_per_day=max(first.late_cost_per_day, second.late_cost_per_day),
        reason=_joined(first.reason, second.reason),
    )


def _joined(first: str, second: str) -> str:
    return first if not second or second in first else f"{first} {second}".strip()


def key_at(kind: NeedKind, position: PositionFacts) -> str:
    """Key of work on what stands in a position: another cartridge makes it another task."""
    return f"{kind.value}:{position.key}:{position.cartridge or 0}"


def key_at_unit(kind: NeedKind, unit: UnitFacts, cause: str = "") -> str:
    """Key of work at a unit as a whole."""
    return ":".join([kind.value, f"unit-{unit.key}", *([cause] if cause else [])])


class TaskList:
    """The tasks of one unit while they are found, by key."""

    def __init__(self, unit: UnitFacts, policy: ServicePolicy) -> None:
        self.unit, self.policy = unit, policy
        self.by_key: dict[str, Task] = {}

    def add(self, kind: NeedKind, key: str, source: Source, *, label: str, **values: Any) -> None:
        """Add a task; a task of the same key is one with it."""
        values.setdefault("late_cost_per_day", self.policy.undone_cost(kind.value))
        task = Task(
            key=key,
            kind=kind,
            source=source,
            label=label,
            minutes=math.ceil(self.policy.planning.minutes_for(kind.value)),
            skills=tuple(self.policy.skills_for(kind.value)),
            **values,
        )
        earlier = self.by_key.get(key)
        self.by_key[key] = task if earlier is None else merged(earlier, task)

    def replace(
        self,
        position: PositionFacts,
        source: Source,
        *,
        is_urgent: bool,
        reason: str,
        finding: FindingFacts | None = None,
        not_before: datetime.date | None = None,
    ) -> None:
        """Add the replacement of what stands in a position."""
        self.add(
            NeedKind.REPLACE,
            key_at(NeedKind.REPLACE, position),
            source,
            label=position.name,
            position=position.key,
            item=position.item,
            missing_part=position.missing_part,
            price=position.price,
            late_cost_per_day=self.late_cost(position),
            forecast=position.forecast,
            finding=finding,
            is_urgent=is_urgent,
            not_before=not_before,
            reason=f"{reason} {position.missing_part}".strip(),
        )

    def rotate(
        self,
        lead: PositionFacts,
        lag: PositionFacts,
        source: Source,
        *,
        lag_forecast: ForecastFacts | None,
        reason: str,
        finding: FindingFacts | None = None,
        may_be_urgent: bool = False,
    ) -> None:
        """Add the rotation of a pair: the lead goes, the lag moves up, a fresh one stands behind it.

        It is late when the lag is exhausted too; before that an exhausted lead costs a small share of a late day.
        Where nothing is known of the lag, its share is all that being late costs.
        """
        late, share = self.late_cost(lead), self.policy.rules.lead_late_share
        rate = late if lag_forecast is not None else late * share
        late_by = lag_forecast or lead.forecast
        self.add(
            NeedKind.ROTATE,
            key_at(NeedKind.ROTATE, lead),
            source,
            label=lead.name,
            position=lead.key,
            item=lag.item,
            missing_part=lag.missing_part,
            price=lead.price if lead.cartridge is not None else 0.0,
            late_cost_per_day=rate,
            exhausted_cost_per_day=late * share if lag_forecast is not None else 0.0,
            forecast=lead.forecast,
            lag_forecast=lag_forecast,
            finding=finding,
            is_urgent=may_be_urgent and late_by is not None and self.is_urgent(late_by, rate),
            reason=f"{reason} {lag.missing_part}".strip(),
        )

    def late_cost(self, position: PositionFacts) -> float:
        """What a day with the position exhausted costs at this unit."""
        return self.policy.planning.late_cost(position.stage, self.unit.use)

    def is_urgent(self, forecast: ForecastFacts, late_cost_per_day: float) -> bool:
        """Whether it is so likely exhausted today, and a late day so dear, that it must be in the next rounds.

        What rests on a label and a load alone has its price by the day like all else, and competes by it: of a company
        that was just brought in nearly every cartridge is likely past its limit by its label, and where all go first
        nobody does.
        """
        planning = self.policy.planning
        if late_cost_per_day < planning.urgent_late_cost_per_day or forecast.is_by_label:
            return False
        return forecast.exhausted_today >= planning.urgent_probability

    def is_within_weeks(self, forecast: ForecastFacts) -> bool:
        """Whether it may be exhausted, with a probability of 10 %, within the weeks that visits are weighed for."""
        return forecast.early_day <= 7 * self.policy.planning.bundling_weeks

    def was_done_since(self, key: str, finding: FindingFacts) -> bool:
        """Whether the same work was done after what the finding rests on was seen."""
        done_at = self.unit.done.get(key)
        return done_at is not None and done_at >= finding.seen_at
