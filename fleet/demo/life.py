"""The life of one unit, day by day: use, visits, cartridges changed, and every look somebody took at the gauges."""

import zlib
from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fleet.demo import seasons
from fleet.demo.records import Call, GaugeReading, Life, PlacementRecord, WorkAction
from fleet.demo.scenario import Place, Scenario, UnitSpec
from fleet.demo.train import Cartridge, Conditions, Train

LOGGED_DAYS = 548
"""Eighteen months: what the logs hold. Commissioning is written up however long ago it was."""

SANITISE_AFTER_DAYS = 250
"""A pressurised tank is sanitised at the first call after this, so that none goes much over a year."""

_CALL_EVERY_DAYS = {"reef": 115, "planted": 180, "drinking": 180, "coffee": 95, "laboratory": 85}


def random_for(seed: int, *names: str) -> np.random.Generator:
    """A generator of its own for each purpose, so that one change does not shift everything else."""
    return np.random.default_rng([seed, zlib.crc32("/".join(names).encode())])


def live(scenario: Scenario, unit: UnitSpec, *, as_of: date, seed: int) -> Life:
    """Run one unit from its commissioning to the evening before `as_of`.

    The same arguments give the same life.
    """
    return _Keeper(scenario, unit, as_of, seed).run()


class _Keeper:
    """Keeps one unit: the state that a day hands on to the next."""

    def __init__(self, scenario: Scenario, unit: UnitSpec, as_of: date, seed: int) -> None:
        self.scenario, self.unit, self.as_of = scenario, unit, as_of
        self.supply = scenario.supply_of(unit)
        self.zone = ZoneInfo(scenario.company["time_zone"])
        self.random = random_for(seed, unit.code)
        self.story = scenario.stories.get(unit.story, {})
        commissioned = seasons.next_working_day(as_of - timedelta(days=round(30.44 * unit.commissioned_months_ago)))
        self.life = Life(unit, commissioned)
        # Units that tell a story tell it whatever the seed, so their lives scatter less.
        steady = 0.3 if self.story else 1.0
        self.train = Train(unit, self.supply, self.random, spread=steady)
        self.placements: dict[int, PlacementRecord] = {}
        self.doing: list[WorkAction] = []
        self.sanitised_on = commissioned
        # Clients of one site are called on together, so the rhythm belongs to the site.
        rhythm = random_for(seed, unit.site, "calls")
        self.every = round(_CALL_EVERY_DAYS[unit.use] * float(rhythm.uniform(0.9, 1.15)))
        self.next_call = commissioned + timedelta(days=round(self.every * float(rhythm.uniform(0.8, 1.0))))
        self.check_on = seasons.next_working_day(commissioned + timedelta(days=int(rhythm.integers(14, 28))))
        self.weekday = int(self.random.integers(0, 7))
        self.hour = int(self.random.integers(8, 16))
        self.true_demand = unit.weekly_demand_l / 7 * float(np.exp(self.random.normal(0.0, 0.15 * steady)))
        self.local_tds = float(np.exp(self.random.normal(0.0, 0.03)))
        self.pressure_drift = 0.0
        self.away = self._away()

    def run(self) -> Life:
        self._commission()
        day = self.life.commissioned + timedelta(days=1)
        while day < self.as_of:
            now = self._conditions(day)
            if self.story.get("begins_with_call") and self.days_ago(day) == int(self.story["days_ago"]) + 1:
                self._call_again(day, 1)
            if day == self.check_on:
                # A look after running-in, so that later readings have something to be held against.
                at = self._moment(day, self.hour)
                self._read_gauges(now, day, at, "installer", "routine", note="running-in check")
            if day == self.next_call:
                self._visit(day, now)
            else:
                self._read_by_others(day, now)
            self.train.use(now, day)
            if self.days_ago(day) == self.story.get("lead_gives_out_days_ago"):
                self._lead_gives_out()
            day += timedelta(days=1)
        self.life.waste_ratio = self.train.waste_ratio
        self.life.restrictor_flow_l_per_day = self.train.restrictor_flow_l_per_day
        return self.life

    def _lead_gives_out(self) -> None:
        """Channels open in the lead resin; the lag, which it has kept fresh, takes over."""
        lead, lag = self.train.installed_at("resin", "lead"), self.train.installed_at("resin", "lag")
        if lead is not None and lag is not None:
            lead.captured_share = max(lead.captured_share, 0.998)
            lag.captured_share = min(lag.captured_share, 0.3)

    def days_ago(self, day: date) -> int:
        """How long before the demo's day this was."""
        return (self.as_of - day).days

    def is_in_story(self, name: str, day: date) -> bool:
        """Whether the unit's story is this one and has begun."""
        return self.unit.story == name and self.begun(day)

    def begun(self, day: date) -> bool:
        """Whether the unit has a story that has begun."""
        return bool(self.story) and self.days_ago(day) <= int(self.story["days_ago"])

    def _away(self) -> tuple[tuple[date, int], ...]:
        if self.unit.use in {"coffee", "laboratory"}:
            return ()
        years = range(self.life.commissioned.year, self.as_of.year + 1)
        return tuple(
            (date(year, 7, 1) + timedelta(days=int(self.random.integers(0, 50))), int(self.random.integers(7, 20)))
            for year in years
        )

    def _conditions(self, day: date) -> Conditions:
        self.pressure_drift = 0.9 * self.pressure_drift + float(self.random.normal(0, 3.0))
        pressure = self.unit.line_pressure_kpa + self.pressure_drift
        if self.is_in_story("line-pressure-low", day):
            pressure = float(self.story["line_pressure_kpa"]) + self.pressure_drift
        chlorine = self.supply.total_chlorine_mg_per_l * (1.25 if 5 < day.month < 10 else 1.0)
        if self.is_in_story("chlorine-past-carbon", day):
            chlorine *= float(self.story["chlorine_times"])
        turbidity = self.supply.turbidity_ntu * (1.5 if day.month in {2, 3, 4} else 1.0)
        if self.is_in_story("prefilters-clogged", day):
            turbidity *= float(self.story["turbidity_times"])
        noise = float(np.exp(self.random.normal(0, 0.18)))
        return Conditions(
            line_pressure_kpa=max(pressure, 90.0),
            temperature_degc=seasons.water_temperature_degc(day, self.supply) + float(self.random.normal(0, 0.5)),
            feed_tds_mg_per_l=self.supply.tds_mg_per_l * self.local_tds * seasons.feed_tds_factor(day, self.supply)
            * float(np.exp(self.random.normal(0, 0.012))),
            total_chlorine_mg_per_l=chlorine,
            turbidity_ntu=turbidity,
            demand_l=self.true_demand * seasons.demand_factor(day, self.unit.use, self.away) * noise,
            waste_never_stops=self.is_in_story("concentrate-never-stops", day),
        )  # fmt: skip

    def _moment(self, day: date, hour: int, minute: int = 0) -> datetime:
        return datetime.combine(day, time(hour, minute), self.zone).astimezone(UTC)

    def _commission(self) -> None:
        day = self.life.commissioned
        at = self._moment(day, self.hour)
        for place in self.unit.places:
            self._place(place, self.train.fresh(place, self.scenario.items[place.item], day), at)
        self._read_gauges(
            self._conditions(day), day, at + timedelta(minutes=90), "installer", "as_left", note="commissioning"
        )

    def _place(
        self, place: Place, cartridge: Cartridge, at: datetime, continues: PlacementRecord | None = None
    ) -> None:
        self.train.installed[place.order] = cartridge
        first = continues.first_installed_at if continues else at
        placement = PlacementRecord(
            place.order, place.item if not continues else continues.item, cartridge.lot, at, first, continues
        )
        self.placements[place.order] = placement
        self.life.placements.append(placement)

    def _remove(self, place: Place, at: datetime, why: str) -> tuple[Cartridge, PlacementRecord]:
        placement = self.placements.pop(place.order)
        placement.removed_at, placement.removal = at, why
        return self.train.installed.pop(place.order), placement

    def _replace(self, place: Place, at: datetime, day: date, why: str) -> None:
        self._remove(place, at, why)
        self._place(place, self.train.fresh(place, self.scenario.items[place.item], day), at)
        self._did("replace", place, place, why)

    def _did(self, action: str, place: Place, fresh: Place, why: str) -> None:
        placement = self.placements[fresh.order]
        self.doing.append(WorkAction(action, place.order, placement.item, placement.lot, why))

    def _rotate(self, stage: str, at: datetime, day: date, why: str) -> None:
        """Discard the lead, move the lag to lead, a fresh one at lag."""
        lead, lag = self.unit.place(stage, "lead"), self.unit.place(stage, "lag")
        if lead is None or lag is None:
            raise ValueError(f"{self.unit.code} has no lead and lag {stage}")
        self._remove(lead, at, why)
        moved, placement = self._remove(lag, at, "rotated")
        self._place(lead, moved, at, continues=placement)
        self._place(lag, self.train.fresh(lag, self.scenario.items[lag.item], day), at)
        self._did("rotate", lead, lag, why)

    def _read_gauges(
        self, now: Conditions, day: date, at: datetime, source: str, occasion: str, note: str = ""
    ) -> None:
        if self.days_ago(day) > LOGGED_DAYS and not note:
            return
        self.life.readings.append(
            GaugeReading(self.unit.code, at, source, occasion, "flowing", self.train.read_gauges(now, day), note=note)
        )

    def _call_again(self, day: date, days: int) -> None:
        self.next_call = seasons.next_working_day(day + timedelta(days=max(days, 1)))

    def _visit(self, day: date, now: Conditions) -> None:
        self._call_again(day, round(self.every * float(self.random.uniform(0.85, 1.2))))
        if self._nobody_comes(day):
            return
        at = self._moment(day, self.hour, int(self.random.integers(0, 59)))
        self._read_gauges(now, day, at, "installer", "as_found")
        if self.unit.tank == "pressurised":
            self._read_with_full_tank(now, day, at - timedelta(minutes=6))
        self._work(day, at + timedelta(minutes=25), self.train.read_gauges(now, day), now)
        if self.unit.tank == "pressurised" and (day - self.sanitised_on).days > SANITISE_AFTER_DAYS:
            self.sanitised_on = day
            self.doing.append(WorkAction("sanitise"))
        if self.doing:
            self._read_gauges(now, day, at + timedelta(minutes=45), "installer", "as_left")
        self.life.calls.append(Call(at + timedelta(minutes=25), tuple(self.doing)))
        self.doing = []

    def _nobody_comes(self, day: date) -> bool:
        return self.begun(day) and bool(self.story.get("no_calls")) and not self._begins(day)

    def _read_with_full_tank(self, now: Conditions, day: date, at: datetime, source: str = "installer") -> None:
        """Before work, with the tank full: a sound shut-off valve lets nothing run."""
        if self.days_ago(day) > LOGGED_DAYS:
            return
        shown = self.train.read_gauges(now, day)
        runs = self.is_in_story("concentrate-never-stops", day)
        occasion = "as_found" if source == "installer" else "routine"
        self.life.readings.append(
            GaugeReading(
                self.unit.code, at, source, occasion, "flowing" if runs else "static",
                {
                    "line_pressure_kpa": now.line_pressure_kpa,
                    "tank_pressure_kpa": now.line_pressure_kpa * (0.74 if runs else 0.67),
                    "permeate_flow_l_per_day": 0.0,
                    "concentrate_flow_l_per_day": shown["concentrate_flow_l_per_day"] if runs else 0.0,
                },
                tank_is_full=True, tank_valve="open",
            )
        )  # fmt: skip

    def _work(self, day: date, at: datetime, gauges: dict[str, float], now: Conditions) -> None:
        """Change what an installer with these readings would change."""
        left_alone = str(self.story.get("left_alone", "")) if self.begun(day) or self._soon(day) else ""
        differential_pressure_kpa = gauges["line_pressure_kpa"] - gauges["prefilter_outlet_pressure_kpa"]
        for place, cartridge in self.train.of_stage("sediment"):
            if left_alone != "sediment" and (
                differential_pressure_kpa > 40 or cartridge.age_days(day) > 150 or self._begins(day)
            ):
                self._replace(place, at, day, "exhausted" if differential_pressure_kpa > 55 else "early")
        if left_alone != "carbon":
            self._work_on_carbon(day, at, gauges)
        if left_alone != "resin":
            self._work_on_resin(day, at, gauges)
        self._work_on_membrane(day, at, gauges, now)

    def _begins(self, day: date) -> bool:
        """The call with which a story begins: afterwards everything the story needs is fresh."""
        return bool(self.story.get("begins_with_call")) and 0 <= int(self.story["days_ago"]) - self.days_ago(day) < 5

    def _soon(self, day: date) -> bool:
        """Stories begin with what was left undone at the call before them."""
        return 0 < self.days_ago(day) - int(self.story.get("days_ago", 0)) <= int(self.story.get("left_undone_days", 0))

    def _work_on_carbon(self, day: date, at: datetime, gauges: dict[str, float]) -> None:
        for place, cartridge in self.train.of_stage("carbon"):
            if place.role == "single":
                passing = gauges["carbon_outlet_total_chlorine_mg_per_l"] >= 0.1
                if passing or cartridge.age_days(day) > 270:
                    self._replace(place, at, day, "exhausted" if passing else "early")
            elif place.role == "lead":
                passing = gauges["interstage_chlorine_mg_per_l"] > max(
                    0.1, 0.4 * gauges["feed_total_chlorine_mg_per_l"]
                )
                if passing or cartridge.age_days(day) > 270:
                    self._rotate("carbon", at, day, "exhausted" if passing else "early")
                    return

    def _work_on_resin(self, day: date, at: datetime, gauges: dict[str, float]) -> None:
        single = self.unit.place("resin", "single")
        if single is not None:
            is_exhausted = gauges["product_tds_mg_per_l"] >= 1
            cautious = self.train.installed[single.order].age_days(day) > 100 and float(self.random.random()) < 0.5
            if is_exhausted or cautious:
                self._replace(single, at, day, "exhausted" if is_exhausted else "early")
            return
        lead, lag = self.unit.place("resin", "lead"), self.unit.place("resin", "lag")
        if lead is None or lag is None:
            return
        share = gauges["interstage_tds_mg_per_l"] / max(gauges["permeate_tds_mg_per_l"], 0.5)
        if (gauges["product_tds_mg_per_l"] >= 2 and share > 0.9) or self._begins(day):
            why = "exhausted" if share > 0.85 else "early"
            self._replace(lead, at, day, why)
            self._replace(lag, at, day, why)
        elif share > 0.85:
            self._rotate("resin", at, day, "exhausted")
        elif share > 0.3 and float(self.random.random()) < 0.6:
            self._rotate("resin", at, day, "early")

    def _work_on_membrane(self, day: date, at: datetime, gauges: dict[str, float], now: Conditions) -> None:
        place = self.unit.place("membrane", "single")
        if place is None or self.is_in_story("chlorine-past-carbon", day):
            return
        cartridge = self.train.installed[place.order]
        rejection = 1 - gauges["permeate_tds_mg_per_l"] / gauges["feed_tds_mg_per_l"]
        attacked = cartridge.chlorine_hours > 150
        years = cartridge.age_days(day) / 365
        if rejection < 0.90 and (attacked or years > 1):
            self._replace(place, at, day, "damaged" if attacked else "exhausted")
        elif years > 2.6 and float(self.random.random()) < 0.5:
            self._replace(place, at, day, "early")

    def _read_by_others(self, day: date, now: Conditions) -> None:
        """Clients and meters; a client who sees bad water calls."""
        if self.days_ago(day) > LOGGED_DAYS or (self._nobody_comes(day) and self.unit.read_by == "visits"):
            return
        by = self.unit.read_by
        if by == "meter":
            if float(self.random.random()) > 0.01:
                self._read_gauges(now, day, self._moment(day, 4, 10), "meter", "routine")
                if day.weekday() == self.weekday:
                    self._maybe_calls(day, self.life.readings[-1].shown)
            return
        due = (by == "weekly" and day.weekday() == self.weekday) or (by == "monthly" and day.day == 3 + self.weekday)
        forgotten = float(self.random.random()) < 0.1
        if not due or forgotten:
            return
        self._read_gauges(now, day, self._moment(day, 19, int(self.random.integers(0, 59))), "client", "routine")
        if self.unit.tank == "pressurised" and self.is_in_story("concentrate-never-stops", day):
            self._read_with_full_tank(now, day, self._moment(day, 20, 15), "client")
        self._maybe_calls(day, self.life.readings[-1].shown)

    def _maybe_calls(self, day: date, shown: dict[str, float]) -> None:
        bad = shown.get("product_tds_mg_per_l", 0.0) >= 2 and self.unit.use in {"reef", "laboratory"}
        if bad and float(self.random.random()) < 0.6 and self.next_call > day + timedelta(days=12):
            self._call_again(day, int(self.random.integers(4, 12)))


def live_all(
    scenario: Scenario, *, as_of: date, seed: int, progress: Callable[[float, str], None] | None = None
) -> dict[str, Life]:
    """The lives of all units, by code."""
    out = {}
    for number, unit in enumerate(scenario.units, start=1):
        out[unit.code] = live(scenario, unit, as_of=as_of, seed=seed)
        if progress is not None:
            progress(number / len(scenario.units), f"living through the life of {unit.code}")
    return out
