"""A site in one draw: visits to it, and what they and the days between them cost."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, fields

from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.facts import PositionFacts
from scheduling.planning.needs.need import NeedKind
from scheduling.planning.needs.tasks import Task
from scheduling.planning.outlook.inputs import OutlookSite, Span
from scheduling.planning.outlook.units import Chance, SimulatedUnit, Stage


@dataclass(slots=True)
class Tally:
    """What is counted at a site.

    Attributes
    ----------
    visits, parts
        How many, cartridges alone.
    days_at_risk
        Days on which the last cartridge of a stage is exhausted, added up over stages.
    visit_money, parts_money, bad_water_money
        Visits with their driving and work, cartridges, and those days at the policy's price.
    """

    visits: float = 0.0
    parts: float = 0.0
    days_at_risk: float = 0.0
    visit_money: float = 0.0
    parts_money: float = 0.0
    bad_water_money: float = 0.0

    def row(self) -> list[float]:
        """Its figures in the order of `MEASURES`, the sum of the money last."""
        money = [self.visit_money, self.parts_money, self.bad_water_money]
        return [self.visits, self.parts, self.days_at_risk, *money, math.fsum(money)]


MEASURES = (*(f.name for f in fields(Tally)), "money")


@dataclass(frozen=True, slots=True)
class WorkAtUnit:
    """What is done at one unit on a visit: tasks of planning, or positions that are changed by the calendar."""

    unit: SimulatedUnit
    tasks: tuple[Task, ...] = ()
    changed: tuple[PositionFacts, ...] = ()


@dataclass(slots=True, eq=False)
class SimulatedSite:
    """A site that goes through the days of one draw."""

    site: OutlookSite
    units: tuple[SimulatedUnit, ...]
    span: Span
    prices: ServicePolicy
    travel_cost: float
    tally: Tally = field(default_factory=Tally)

    @classmethod
    def begin(
        cls, site: OutlookSite, *, span: Span, prices: ServicePolicy, travel_cost: float, chance: Chance
    ) -> SimulatedSite:
        """A site on day 0; money is counted by these prices, whatever the decisions are made by."""
        units, first = [], 0
        for unit in site.units:
            units.append(SimulatedUnit(unit, chance, first))
            first += len(unit.facts.positions)
        return cls(site, tuple(units), span, prices, travel_cost)

    def today(self, day: float) -> datetime.date:
        """The date of a day."""
        return self.span.first_day + datetime.timedelta(days=math.floor(day))

    def seen_on(self) -> float:
        """The next day on which a reading shows something that nobody saw yet."""
        return min((unit.seen_on() for unit in self.units), default=math.inf)

    def read_until(self, day: float) -> None:
        """Take over what readings without a visit have shown by a day."""
        for unit in self.units:
            unit.read_until(day)

    def visit(self, day: float, work: Iterable[WorkAtUnit]) -> None:
        """Go there on a day: do the work, read every unit, and change what is found exhausted."""
        policy, counts = self.prices.planning, self.span.settle_days <= day < self.span.end
        minutes = policy.removal_minutes
        work_of = {id(one.unit): one for one in work}
        for unit in self.units:
            unit.read_gauges(day, is_visit=True)
            before = [unit.late_on(stage) for stage in unit.stages]
            minutes += self._do(unit, work_of.get(id(unit), WorkAtUnit(unit)), day, counts)
            for stage, late_on in zip(unit.stages, before, strict=True):
                if unit.late_on(stage) > day:
                    self._count_late(unit, stage, late_on, day)
        if counts:
            self.tally.visits += 1
            self.tally.visit_money += policy.visit_cost + self.travel_cost + minutes * policy.working_cost_per_minute

    def end(self) -> None:
        """Count what is exhausted still on the last day."""
        for unit in self.units:
            for stage in unit.stages:
                self._count_late(unit, stage, unit.late_on(stage), float(self.span.end))

    def _do(self, unit: SimulatedUnit, work: WorkAtUnit, day: float, counts: bool) -> float:
        """Do it, and change what is found exhausted; how many minutes that takes."""
        planning, minutes = self.prices.planning, 0.0
        by_key = {position.key: position for position in unit.facts.positions}
        for task in work.tasks:
            minutes += planning.minutes_for(task.kind.value)
            if task.kind == NeedKind.SANITISE:
                unit.sanitised_on = day
            elif task.kind in (NeedKind.REPLACE, NeedKind.ROTATE) and task.position in unit.cartridges:
                position = by_key[task.position]
                self._change(unit, position, day, counts, may_rotate=task.kind == NeedKind.ROTATE)
        for position in work.changed:
            minutes += self._change(unit, position, day, counts)
        for position in unit.facts.positions:
            cartridge = unit.cartridges.get(position.key)
            if cartridge is not None and cartridge.is_seen_exhausted:
                minutes += self._change(unit, position, day, counts)
        return minutes

    def _change(
        self, unit: SimulatedUnit, position: PositionFacts, day: float, counts: bool, *, may_rotate: bool = True
    ) -> float:
        """Fit one new cartridge: where it stands, or behind the lag that moves up; how many minutes that takes."""
        lag = unit.lag_behind(position) if may_rotate else None
        if lag is not None:
            unit.rotate(position, lag, day)
        else:
            unit.fit_new(position, day)
        if counts:
            self.tally.parts += 1
            self.tally.parts_money += position.price
        return self.prices.planning.minutes_for((NeedKind.ROTATE if lag is not None else NeedKind.REPLACE).value)

    def _count_late(self, unit: SimulatedUnit, stage: Stage, late_on: float, until: float) -> None:
        first, last = max(late_on, float(self.span.settle_days), 0.0), min(until, float(self.span.end))
        days = max(last - first, 0.0)
        self.tally.days_at_risk += days
        self.tally.bad_water_money += days * self.prices.planning.late_cost(stage.name, unit.facts.use)
