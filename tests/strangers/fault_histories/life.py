"""A unit's life: litres, wear, service in time, and every look at the gauges."""

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from tests.strangers.fault_histories.hydraulics import Running
from tests.strangers.fault_histories.instruments import Kit, Reader
from tests.strangers.fault_histories.logbook import Logbook
from tests.strangers.fault_histories.parts import RESIN_LITRES, Layout
from tests.strangers.fault_histories.records import AlsoTrue, Change
from tests.strangers.fault_histories.resin import Resin
from tests.strangers.fault_histories.state import State, first_state, fresh_membrane
from tests.strangers.fault_histories.water import Water

Effect = Callable[[State, float], None]
"""Acts on a sound state, given the days since the fault began."""
Slip = Callable[[dict[str, float | None], float], None]
"""Acts on what is written down at a reading, given the days since the fault began."""
STEP_DAYS = 6
NOTABLE_CHANGE = 0.2
"""Share of its first TDS by which a feed differs that may rightly be called another water."""
PEOPLE = ("Anka", "Bertil", "Corin", "Dagny")


@dataclass(frozen=True)
class Course:
    """What is to happen."""

    layout: Layout
    water: Water
    kit: Kit
    first_day: date
    days: int
    onset: int = 0
    """Day of the fault; counted from the first day."""
    effect: Effect | None = None
    is_by_work: bool = False
    """The fault comes of that day's work: what is read before it shows nothing yet."""
    slip: Slip | None = None
    prefilter_days: int = 180
    membrane_changes: tuple[int, ...] = ()
    not_served: frozenset[str] = frozenset()
    """Stages that nobody changes from the onset on."""
    wrong_order_at: int = -1
    """Day on which the fresh resin is put in front and the older one stays behind; -1 for never."""
    standstill: tuple[int, int] = (0, 0)
    """Days between which nothing is drawn and nothing is read."""
    resin_limit: float = 0.0
    """Used share at which resin is changed; 0 for in time."""


@dataclass
class Looked:
    """One reading as it was written down, in bar, degC, mg/L and L/day, by column."""

    at: datetime
    state: str
    """'flowing', 'full' (its store is full) or 'emptied' (the tank was drained)."""
    occasion: str
    values: dict[str, float | None]


@dataclass
class Lived:
    """What came of it."""

    logbook: Logbook
    looked: list[Looked] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    also_true: list[AlsoTrue] = field(default_factory=list)
    slips: list[tuple[datetime, str]] = field(default_factory=list)
    restrictor: float = 0.0
    restrictor_bar: float = 0.0
    recovery: float = 0.0


class Life:
    """Lives a course through."""

    def __init__(self, course: Course, seed: str, logbook: Logbook) -> None:
        self.course = course
        self.seed = seed
        chance = random.Random(f"{seed}:unit")
        self.state, rated, recovery = first_state(course.layout, course.water, chance)
        self.reader = Reader(seed, course.kit)
        self.lived = Lived(logbook, restrictor=rated, restrictor_bar=self.state.restrictor.bar, recovery=recovery)
        self.true_on: dict[str, list[date]] = {}
        self.was_worked = not course.is_by_work
        self.person = chance.choice(PEOPLE)

    def live(self) -> Lived:
        """Go from the first day to the last."""
        visits = self._visits()
        looks_of_client = self._looks_of_client()
        day = 0
        self._step(0, 0)
        self._visit(0, occasion="as left")
        served = 0
        membrane_changes = set(self.course.membrane_changes)
        while day < self.course.days:
            ahead = sorted(d for d in visits | looks_of_client | membrane_changes | {self.course.onset} if d > day)
            following = min([day + STEP_DAYS, self.course.days, *ahead[:1]])
            self._step(following, following - day)
            day = following
            work = self._work(day, due=day - served >= self.course.prefilter_days, membrane=day in membrane_changes)
            if work:
                self._serve(day, work)
                served = day if "sediment" in work else served
            elif day in visits:
                self._visit(day)
            elif day in looks_of_client:
                self._client_looks(day)
        self._close()
        return self.lived

    def _date(self, day: int) -> date:
        return self.course.first_day + timedelta(days=day)

    def _visits(self) -> set[int]:
        chance = random.Random(f"{self.seed}:visits")
        days, day = set(), 0.0
        while day < self.course.days:
            day += self.course.kit.every_days * (0.4 if day == 0 else chance.uniform(0.8, 1.2))
            if not self._stands(int(day)):
                days.add(int(day))
        return {day for day in days if day <= self.course.days}

    def _looks_of_client(self) -> set[int]:
        every = self.course.kit.client_days
        if not every:
            return set()
        chance = random.Random(f"{self.seed}:client")
        return {d + chance.randrange(9) for d in range(20, self.course.days - 9, every) if not self._stands(d)}

    def _stands(self, day: int) -> bool:
        begin, end = self.course.standstill
        return begin < day < end

    def _since(self, day: int) -> float | None:
        """Days since the fault began; None before."""
        return float(day - self.course.onset) if day >= self.course.onset else None

    def _step(self, day: int, days: int) -> None:
        """Live `days` days up to `day`."""
        state, water, today = self.state, self.course.water, self._date(day)
        state.age += days / 365.25
        state.make_sound()
        since = self._since(day)
        if self.course.effect and since is not None and self.was_worked:
            self.course.effect(state, since)
        running = self._running(day)
        litres = 0.0 if self._stands(day) else self.course.layout.weekly_litres / 7 * days * self._thirst(day)
        waste = litres * running.concentrate / running.permeate
        if state.drain_open:
            waste += 0.6 * running.concentrate * days
        state.prefilters.litres += litres + waste
        state.carbon.take(water.chlorine, litres + waste, chloramine=water.chloramine)
        tds = running.permeate_tds
        for resin in state.resins:
            before = resin.outlet(tds)
            resin.treat(tds, water.carbon_dioxide if resin is state.resins[0] else 0.0, litres)
            tds = (before + resin.outlet(tds)) / 2
        state.counter += litres if self.course.layout.totaliser == "permeate" else litres + waste
        self._note_what_is_true(today, running)

    def _thirst(self, day: int) -> float:
        return random.Random(f"{self.seed}:thirst:{day // 30}").uniform(0.8, 1.2)

    def _running(self, day: int) -> Running:
        water, today = self.course.water, self._date(day)
        return self.state.run(static_bar=water.line(today), degc=water.degc(today), tds=water.feed_tds(today))

    def _note_what_is_true(self, today: date, running: Running) -> None:
        state, layout = self.state, self.course.layout
        said = []
        shares = [resin.passed_share() for resin in state.resins]
        product = running.permeate_tds
        for resin in state.resins:
            product = resin.outlet(product)
        if len(shares) == 2 and shares[0] > 0.3:
            said.append("lead resin exhausted")
        if shares and product > 0.4 * layout.target_tds:
            said.append("resin exhausted")
        if running.line - running.prefilter_outlet > 0.45:
            said.append("prefilter clogged")
        if state.carbon.outlet(self.course.water.chlorine, chloramine=self.course.water.chloramine) > 0.07:
            said.append("carbon exhausted")
        water = self.course.water
        if abs(water.feed_tds(today) / water.tds - 1) > NOTABLE_CHANGE:
            said.append("feed water changed")
        for words in said:
            self.true_on.setdefault(words, []).append(today)

    def _work(self, day: int, *, due: bool, membrane: bool) -> list[str]:
        """Stages to be served now, all of them in time."""
        state = self.state
        if self._stands(day):
            return []
        broken = self._since(day) is not None
        spared = self.course.not_served if broken else frozenset()
        work = [stage for stage in ("sediment", "carbon") if due and stage not in spared]
        if membrane:
            work.append("membrane")
        limit = self.course.resin_limit or (0.88 if len(state.resins) == 1 else 0.97)
        is_due = bool(state.resins) and "resin" not in spared and state.resins[0].used > limit
        if is_due or day == self.course.wrong_order_at:
            work.append("resin")
        return work

    def _serve(self, day: int, work: list[str]) -> None:
        """Read, change cartridges, read again."""
        self._visit(day, occasion="as found")
        at = self._moment(day) + timedelta(minutes=25)
        state, layout = self.state, self.course.layout
        for place in layout.train:
            if place.stage in work and place.stage != "resin":
                self.lived.changes.append(Change(at, place.stage, place.role, place.item))
        if "sediment" in work:
            state.prefilters.litres = 0.0
        if "carbon" in work:
            state.carbon.taken_g = 0.0
        if "membrane" in work:
            state.membrane = fresh_membrane(layout, random.Random(f"{self.seed}:membrane:{day}"))
            state.age = 0.0
        if "resin" in work:
            self._serve_resin(day, at)
        self.was_worked |= day >= self.course.onset
        self._step(day, 0)
        self._visit(day, occasion="as left", later=50)

    def _serve_resin(self, day: int, at: datetime) -> None:
        resins, codes = self.state.resins, self.course.layout.resins
        fresh = Resin(RESIN_LITRES[codes[-1]])
        if len(resins) == 1:
            self.state.resins = [fresh]
            removal = "exhausted" if resins[0].passed_share() > 0.3 else "early"
            self.lived.changes.append(Change(at, "resin", "single", codes[0], removal=removal))
        elif day == self.course.wrong_order_at:
            # What is reported is a rotation; what was done is that the exhausted one went behind, and the good one out.
            resins[0].loaded_eq = max(resins[0].loaded_eq, 1.25 * resins[0].litres * resins[0].eq_per_litre)
            self.state.resins = [fresh, resins[0]]
            self.lived.changes.append(Change(at, "resin", "lead", codes[-1], is_rotation=True, removal="exhausted"))
        else:
            self.state.resins = [resins[1], fresh]
            removal = "exhausted" if resins[0].passed_share() > 0.3 else "early"
            self.lived.changes.append(Change(at, "resin", "lead", codes[-1], is_rotation=True, removal=removal))

    def _moment(self, day: int) -> datetime:
        minutes = random.Random(f"{self.seed}:hour:{day}").randrange(0, 7 * 60, 5)
        return datetime.combine(self._date(day), time(9, 0)) + timedelta(minutes=minutes)

    def _visit(self, day: int, *, occasion: str = "routine", later: int = 0) -> None:
        """The installer reads the running unit, and looks again when its store is full."""
        course, kit, water = self.course, self.course.kit, self.course.water
        at = self._moment(day) + timedelta(minutes=later)
        today = self._date(day)
        running = self._running(day)
        true: dict[str, float] = {}
        if kit.line_gauge:
            true["line pressure"] = running.line
        if kit.behind_prefilters_gauge and self.state.pump:
            true["prefilter outlet pressure"] = running.prefilter_outlet
        if kit.inlet_gauge:
            true["inlet pressure"] = running.inlet
        if kit.thermometer:
            true["temperature"] = water.degc(today)
        true["feed TDS"] = water.feed_tds(today)
        true |= self._salts(running)
        true["permeate flow"] = running.permeate
        true["concentrate flow"] = running.concentrate
        if kit.chlorine_test:
            true["feed total chlorine"] = water.chlorine
            true["carbon outlet total chlorine"] = self.state.carbon.outlet(water.chlorine, chloramine=water.chloramine)
        if course.layout.totaliser != "none":
            true["totaliser"] = self.state.counter
        self._write(at, true, person=self.person, occasion=occasion, state="flowing", full="")
        if course.layout.tank != "none" and kit.looks_when_full and occasion != "as found":
            self._look_when_full(at + timedelta(minutes=20), running, occasion)

    def _salts(self, running: Running) -> dict[str, float]:
        salts = {"permeate TDS": running.permeate_tds}
        value = running.permeate_tds
        for number, resin in enumerate(self.state.resins, start=1):
            value = resin.outlet(value)
            salts["product TDS" if number == len(self.state.resins) else "interstage TDS"] = value
        return salts

    def _look_when_full(self, at: datetime, running: Running, occasion: str) -> None:
        true = {"concentrate flow": 0.97 * running.concentrate if self.state.drain_open else 0.0}
        # People differ in what they call a unit whose product stands and whose drain runs.
        state = self.course.kit.state_of_running_drain if self.state.drain_open else "static"
        if self.course.layout.tank == "pressurised":
            true["tank pressure"] = 0.62 * running.line
            emptied: dict[str, float] = {"tank pressure": self.state.precharge_bar}
            self._write(at, true, person=self.person, occasion=occasion, state=state, full="yes")
            later = at + timedelta(minutes=15)
            self._write(later, emptied, person=self.person, occasion=occasion, state="static", full="no")
            return
        self._write(at, true, person=self.person, occasion=occasion, state=state, full="yes")

    def _client_looks(self, day: int) -> None:
        running = self._running(day)
        true = self._salts(running)
        if not self.state.resins:
            true["feed TDS"] = self.course.water.feed_tds(self._date(day))
        self._write(self._moment(day), true, person="client", occasion="routine", state="flowing", full="")

    def _write(
        self, at: datetime, true: dict[str, float], *, person: str, occasion: str, state: str, full: str
    ) -> None:
        values = {column: self.reader.read(at, column, value) for column, value in true.items()}
        since = self._since((at.date() - self.course.first_day).days)
        if self.course.slip and since is not None and not full:
            self.course.slip(values, since)
        seen = {"": "flowing", "yes": "full", "no": "emptied"}[full]
        self.lived.looked.append(Looked(at, seen, occasion, values))
        self.lived.logbook.add(at, values, person=person, occasion=occasion, state=state, full=full)

    def _close(self) -> None:
        """Make spans of what was true; a slip of the pen may be spoken of until the next but one reading."""
        lived = self.lived
        lived.slips = self.reader.slips
        lived.also_true += spans(self.true_on)
        moments = sorted({look.at.date() for look in lived.looked})
        for at, _ in lived.slips:
            later = [moment for moment in moments if moment > at.date()]
            until = later[1] if len(later) > 1 else self._date(self.course.days)
            lived.also_true.append(AlsoTrue("value mistyped", at.date(), until))


def spans(true_on: dict[str, list[date]]) -> list[AlsoTrue]:
    """Days not far apart make one span; it may still be spoken of at the next visit after it."""
    found = []
    for words, days in true_on.items():
        begin = end = days[0]
        for day in [*days[1:], date.max]:
            if (day - end).days > 20:
                found.append(AlsoTrue(words, begin, end + timedelta(days=60)))
                begin = day
            end = day
    return found
