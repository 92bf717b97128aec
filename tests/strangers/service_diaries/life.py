"""One unit from its first day: water runs, cartridges fill, people come, look, write and change."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from random import Random

from tests.strangers.fault_histories.parts import Layout
from tests.strangers.fault_histories.records import AlsoTrue, Change, Observation, Sample
from tests.strangers.service_diaries.cartridges import Cartridges, breakthrough, fresh
from tests.strangers.service_diaries.fault import Fault
from tests.strangers.service_diaries.hydraulics import Running, run
from tests.strangers.service_diaries.notes import Note, Pen
from tests.strangers.service_diaries.people import Writer
from tests.strangers.service_diaries.supply import Supply

RESIN_ENDS = 0.95
"""Share of its capacity at which a careful person changes a resin."""
LEAD_ENDS = 1.03


@dataclass(frozen=True)
class Plan:
    """All that is decided before the first day."""

    layout: Layout
    supply: Supply
    writer: Writer
    waste: float
    pump_bar: float
    begin: date
    days: int
    fault: Fault | None
    fault_day: int
    """Day on which the fault begins; where it waits for the resin, on which nobody cares for it any more."""
    size: float
    filter_days: int
    """Filters are changed at the first look after so many days."""
    membrane_days: int


@dataclass
class Lived:
    """What is left on paper, and when the fault truly began."""

    notes: list[Note] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    samples: list[Sample] = field(default_factory=list)
    observations: list[Observation] = field(default_factory=list)
    true_days: dict[str, list[date]] = field(default_factory=dict)
    since: date | None = None

    def also_true(self) -> tuple[AlsoTrue, ...]:
        """Spells of days on which something held."""
        spells: list[AlsoTrue] = []
        for words, days in sorted(self.true_days.items()):
            begin = last = days[0]
            for day in days[1:]:
                if (day - last).days > 45:
                    spells.append(AlsoTrue(words, begin, last))
                    begin = day
                last = day
            spells.append(AlsoTrue(words, begin, last))
        return tuple(spells)


class Life:
    """Goes through a plan day by day."""

    def __init__(self, plan: Plan, rng: Random) -> None:
        self.plan, self.rng = plan, rng
        self.cartridges: Cartridges = fresh(plan.layout, rng)
        self.pen = Pen(plan.writer, rng)
        self.lived = Lived()
        self.placed = dict.fromkeys(("sediment", "carbon", "membrane"), 0)
        self.lead_ends = LEAD_ENDS + rng.uniform(-0.05, 0.05)
        if plan.fault and not plan.fault.waits_for_resin:
            self.lived.since = self.date_of(plan.fault_day)

    def date_of(self, day: int) -> date:
        return self.plan.begin + timedelta(days=day)

    def since(self, day: int) -> float | None:
        """Days since the fault began, or None."""
        since = self.lived.since
        return None if since is None or self.date_of(day) < since else float((self.date_of(day) - since).days)

    def live(self) -> Lived:
        plan, rng = self.plan, self.rng
        looks = set(self._looks())
        self._sample(0)
        for each in plan.fault.seen if plan.fault else ():
            at = datetime.combine(self.date_of(plan.fault_day + each.days), time(18, rng.randrange(60)))
            self.lived.observations.append(Observation(at, each.by, each.words, each.reach))
        running = self._run(0)
        for day in range(plan.days):
            if plan.fault and plan.fault.work and day == plan.fault_day:
                self._renew(day, plan.fault.work)
            if day in looks or day % 7 == 0:
                running = self._run(day)
            if day in looks:
                self._look(day, running)
                self._care(day, running)
            if day % 182 == 181:
                self._sample(day)
            self._flow(day, running)
            if day % 7 == 0:
                self._remember(day, running)
        return self.lived

    def _looks(self) -> Iterator[int]:
        writer, rng = self.plan.writer, self.rng
        at = rng.uniform(0, 3)
        while at < self.plan.days:
            if not self._is_away(round(at)):
                yield round(at)
            at += max(2.0, writer.every_days + rng.uniform(-1, 1) * writer.jitter_days)

    def _is_away(self, day: int) -> bool:
        """Three weeks in summer, two at the turn of the year."""
        if not self.plan.writer.holidays:
            return False
        today = self.date_of(day)
        return 200 <= today.timetuple().tm_yday < 221 or (today.month, today.day) >= (12, 22)

    def _run(self, day: int) -> Running:
        plan, today = self.plan, self.date_of(day)
        body = self.cartridges.body(plan.waste, plan.pump_bar)
        since = self.since(day)
        if since is not None and plan.fault and plan.fault.acts:
            plan.fault.acts(body, since, plan.size)
        supply = plan.supply
        return run(body, supply.static_bar(today, self.rng), supply.degc(today), supply.feed_tds(today))

    def _chlorine_passes(self, day: int) -> float:
        since = self.since(day)
        passes = self.cartridges.chlorine_passes
        if since is not None and self.plan.fault and self.plan.fault.carbon_days:
            passes = max(passes, min(0.5 * since / self.plan.fault.carbon_days, 0.85))
        return passes

    def _through_resin(self, day: int, running: Running) -> tuple[float, float]:
        """TDS behind the first resin and behind the last."""
        held = self.cartridges
        if not held.has_resin:
            return running.permeate_tds, running.permeate_tds
        first = running.permeate_tds * breakthrough(held.resin_share)
        fault = self.plan.fault
        if fault and fault.resin_slip and self.since(day) is not None:
            first = max(first, running.permeate_tds * fault.resin_slip * (0.7 + 0.3 * self.plan.size))
        return first, first * breakthrough(held.lag_share) if held.has_pair else first

    def _look(self, day: int, running: Running) -> None:
        plan, writer, supply, today = self.plan, self.plan.writer, self.plan.supply, self.date_of(day)
        between, product = self._through_resin(day, running)
        shown = {
            "line": running.line,
            "prefilter_outlet": running.prefilter_outlet,
            "inlet": running.inlet,
            "degc": supply.degc(today),
            "feed_tds": supply.feed_tds(today),
            "permeate_tds": running.permeate_tds,
            "start_tds": running.permeate_tds * self.rng.uniform(1.2, 1.7),
            "between_tds": between,
            "product_tds": product * (1 if self.cartridges.has_resin else writer.tap_mix),
            "permeate": running.permeate,
            "waste": running.waste,
            "feed_chlorine": supply.chlorine * self.rng.uniform(0.8, 1.2),
            "chlorine": supply.chlorine * self._chlorine_passes(day),
        }
        since = self.since(day)
        if since is not None and plan.fault and plan.fault.spoils:
            plan.fault.spoils(shown, since, plan.size)
        at = datetime.combine(today, time(self.rng.randrange(8, 17), self.rng.randrange(60)))
        self.lived.notes.append(self.pen.note(at, shown))

    def _is_neglected(self, day: int, stage: str) -> bool:
        fault = self.plan.fault
        return fault is not None and day >= self.plan.fault_day and stage in fault.neglected

    def _care(self, day: int, running: Running) -> None:
        """Whatever is due is changed, after the look."""
        plan, held = self.plan, self.cartridges
        for stage in ("sediment", "carbon"):
            is_due = day - self.placed[stage] >= plan.filter_days
            if (is_due or (stage == "carbon" and self._carbon_ends(day))) and not self._is_neglected(day, stage):
                self._renew(day, stage)
        if day - self.placed["membrane"] >= plan.membrane_days and not self._is_neglected(day, "membrane"):
            self._renew(day, "membrane")
        if not held.has_resin or self._is_neglected(day, "resin"):
            return
        if held.has_pair:
            if held.resin_share > self.lead_ends:
                self._renew(day, "resin")
            return
        before = held.resin_eq
        self._flow_for(day, running, plan.writer.every_days + plan.writer.jitter_days)
        will_be, held.resin_eq = held.resin_share, before
        if will_be > RESIN_ENDS:
            self._renew(day, "resin")

    def _carbon_ends(self, day: int) -> bool:
        """Before the next look, at the pace so far; nobody reckons with what a fault lets run to the drain."""
        if self.since(day) is not None:
            return False
        age = day - self.placed["carbon"]
        share = self.cartridges.carbon_share
        next_look = self.plan.writer.every_days + 2 * self.plan.writer.jitter_days
        return age > 0 and share * (1 + next_look / age) > 0.85

    def _flow_for(self, day: int, running: Running, days: float) -> None:
        litres = self.plan.layout.weekly_litres / 7 * days
        age = self.cartridges.membrane_days
        dioxide = self.plan.supply.carbon_dioxide
        self.cartridges.load(
            product=litres, feed=0.0, permeate_tds=running.permeate_tds, carbon_dioxide=dioxide, chlorine=0.0
        )
        self.cartridges.membrane_litres -= litres
        self.cartridges.membrane_days = age

    def _renew(self, day: int, stage: str) -> None:
        held = self.cartridges
        held.renew(stage)
        if stage in self.placed:
            self.placed[stage] = day
        at = datetime.combine(self.date_of(day), time(17, self.rng.randrange(1, 50)))
        is_pair = stage == "resin" and held.has_pair
        if is_pair:
            self.lived.changes.append(
                Change(at, stage, "lead", held.item(stage), is_rotation=True, removal="exhausted")
            )
        else:
            self.lived.changes.append(Change(at, stage, "single", held.item(stage)))

    def _flow(self, day: int, running: Running) -> None:
        """The day's water, and what it leaves behind."""
        plan, today = self.plan, self.date_of(day)
        if self._is_away(day):
            self.cartridges.membrane_days += 1
            return
        product = plan.layout.weekly_litres / 7 * self.rng.uniform(0.7, 1.3)
        feed = product / max(running.recovery, 0.02)
        speed = plan.fault.resin_load if plan.fault and day >= plan.fault_day else 1.0
        self.cartridges.sediment_load += plan.supply.dirt_on(today) / 365.25
        self.cartridges.load(
            product=product,
            feed=feed,
            permeate_tds=running.permeate_tds,
            carbon_dioxide=plan.supply.carbon_dioxide + (speed - 1) * 12.0,
            chlorine=plan.supply.chlorine,
        )
        is_waiting = plan.fault and plan.fault.waits_for_resin and self.lived.since is None
        if is_waiting and day >= plan.fault_day and self.cartridges.resin_share >= RESIN_ENDS:
            self.lived.since = today

    def _remember(self, day: int, running: Running) -> None:
        """What holds today, whatever the fault."""
        plan, held, today = self.plan, self.cartridges, self.date_of(day)
        resin = held.has_resin
        last = held.lag_share if held.has_pair else held.resin_share if resin else 0.0
        _, product = self._through_resin(day, running)
        holds = {
            "resin used up": resin and last > 0.85,
            "lead resin used up": held.has_pair and held.resin_share > 0.85,
            "product above its limit": product > 0.95 * plan.layout.target_tds,
            "supply pressure low": not plan.pump_bar and running.line < 2.9,
            "sediment filter blocked": running.line - running.prefilter_outlet > 0.35,
            "carbon block plugged": running.line - running.prefilter_outlet > 0.35,
            "carbon used up": self._chlorine_passes(day) > 0.1,
            "feed water changed": plan.supply.is_changed_on(today),
            "new membrane still flushing": held.membrane_litres < 150,
        }
        for words, is_so in holds.items():
            if is_so:
                self.lived.true_days.setdefault(words, []).append(today)

    def _sample(self, day: int) -> None:
        supply, rng = self.plan.supply, self.rng
        at = datetime.combine(self.date_of(day), time(7, 30))
        salt = supply.feed_tds(self.date_of(day)) / supply.tds
        hardness = supply.hardness * salt * rng.uniform(0.95, 1.05)
        chlorine = supply.chlorine * rng.uniform(0.8, 1.2)
        self.lived.samples.append(Sample(at, hardness, 0.75 * hardness, supply.ph, chlorine))
