"""The logs that installers, clients, the office and the logging meters of the invented company keep."""

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fleet.demo import mistakes
from fleet.demo.life import random_for
from fleet.demo.log_files import FEED_WATER, QUANTITIES, READINGS, LogFile, LogRow
from fleet.demo.records import GaugeReading, Life
from fleet.demo.scenario import InstrumentSpec, Scenario, UnitSpec
from fleet.demo.writing import Hand, header, shown

_OFTEN: Mapping[str, Mapping[str, float]] = {
    # How often each kind of writer notes a quantity; 0 when not named.
    "installer": {
        "line_pressure_kpa": 0.97, "prefilter_outlet_pressure_kpa": 0.45, "inlet_pressure_kpa": 0.97,
        "tank_pressure_kpa": 1.0, "temperature_degc": 0.97, "feed_tds_mg_per_l": 0.97, "permeate_tds_mg_per_l": 0.98,
        "permeate_tds_at_start_mg_per_l": 0.2, "interstage_tds_mg_per_l": 0.95, "product_tds_mg_per_l": 0.97,
        "concentrate_tds_mg_per_l": 0.15, "permeate_flow_l_per_day": 0.95, "concentrate_flow_l_per_day": 0.9,
        "feed_total_chlorine_mg_per_l": 0.75, "interstage_chlorine_mg_per_l": 0.7,
        "carbon_outlet_total_chlorine_mg_per_l": 0.85, "feed_ph": 0.15, "totaliser_l": 1.0,
    },
    "client": {
        "inlet_pressure_kpa": 0.7, "tank_pressure_kpa": 1.0, "temperature_degc": 0.35, "feed_tds_mg_per_l": 0.6,
        "permeate_tds_mg_per_l": 0.95, "interstage_tds_mg_per_l": 0.75, "product_tds_mg_per_l": 0.95,
        "totaliser_l": 0.8,
    },
    "meter": {
        "inlet_pressure_kpa": 0.99, "temperature_degc": 0.99, "feed_tds_mg_per_l": 0.99, "permeate_tds_mg_per_l": 0.99,
        "interstage_tds_mg_per_l": 0.99, "product_tds_mg_per_l": 0.99, "totaliser_l": 1.0,
    },
}  # fmt: skip
_ALSO: Mapping[str, tuple[str, ...]] = {
    # What a client with a reason also writes down.
    "line-pressure-low": ("line_pressure_kpa", "inlet_pressure_kpa", "permeate_flow_l_per_day", "temperature_degc"),
    "prefilters-clogged": ("line_pressure_kpa", "inlet_pressure_kpa", "prefilter_outlet_pressure_kpa"),
    "chlorine-past-carbon": (
        "carbon_outlet_total_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l", "feed_tds_mg_per_l",
        "inlet_pressure_kpa", "temperature_degc", "permeate_flow_l_per_day", "concentrate_flow_l_per_day",
    ),
    "lead-resin-exhausted": ("interstage_tds_mg_per_l", "product_tds_mg_per_l", "permeate_tds_mg_per_l"),
    "resin-cut-by-carbon-dioxide": (
        "interstage_tds_mg_per_l", "product_tds_mg_per_l", "permeate_tds_mg_per_l", "feed_tds_mg_per_l",
    ),
    "concentrate-never-stops": ("line_pressure_kpa", "tank_pressure_kpa", "concentrate_flow_l_per_day"),
}  # fmt: skip
_CLIENT_HANDS = (
    Hand("psi", "degF", "gpd", "ppm"),
    Hand("bar", "degC", "L/day", "ppm", separator=";", clock="day first"),
    Hand("kPa", "degC", "mL/min", "uS/cm"),
    Hand("bar", "degC", "L/day", "mg/L"),
)


def write_logs(scenario: Scenario, lives: Mapping[str, Life], *, as_of: date, seed: int) -> list[LogFile]:
    """All logs up to `as_of`, with the mistakes people make; the same arguments give the same files."""
    clerk = _Clerk(scenario, as_of, seed)
    files = [*clerk.reading_logs(lives), *clerk.feed_water_logs(lives)]
    for file in files:
        file.rows.sort(key=lambda row: row.at)
    mistakes.make(files, as_of=as_of, zone=clerk.zone, random=random_for(seed, "mistakes"))
    return files


class _Clerk:
    def __init__(self, scenario: Scenario, as_of: date, seed: int) -> None:
        self.scenario, self.as_of, self.seed = scenario, as_of, seed
        self.zone = ZoneInfo(scenario.company["time_zone"])
        self.carried = {tool.carried_by: tool for tool in scenario.instruments if tool.carried_by}
        self.fitted = {tool.unit: tool for tool in scenario.instruments if tool.unit}

    def reading_logs(self, lives: Mapping[str, Life]) -> list[LogFile]:
        files: dict[str, LogFile] = {}
        for life in lives.values():
            random = random_for(self.seed, life.unit.code, "log")
            for number, gauges in enumerate(life.readings, start=1):
                file = self._file_of(files, life.unit, gauges)
                cells = self._row(file, life.unit, gauges, number, random)
                if cells:
                    file.rows.append(LogRow(cells, gauges.at))
        return [files[name] for name in sorted(files)]

    def _file_of(self, files: dict[str, LogFile], unit: UnitSpec, gauges: GaugeReading) -> LogFile:
        if gauges.source == "installer":
            person = self.scenario.installer_of(unit)
            habits = person.writes
            hand = Hand(habits["pressure"], habits["temperature"], habits["flow"], habits["tds"])
            name = f"installer-{person.key}.csv"
        elif gauges.source == "meter":
            in_first = list(self.fitted).index(unit.code) % 2 == 0
            hand = Hand("psi", "degF", "gpd", "ppm", clock="utc", volume="L")
            if not in_first:
                hand = Hand("bar", "degC", "L/day", "uS/cm", clock="utc", volume="m3")
            name = f"meters-{'a' if in_first else 'b'}.csv"
        elif unit.read_by == "monthly":
            hand, name = Hand("bar", "degC", "L/day", "ppm"), "office-phone-notes.csv"
        else:
            hand = _CLIENT_HANDS[int(unit.site[1:]) % len(_CLIENT_HANDS)]
            name = f"client-{unit.site.lower()}.csv"
        return files.setdefault(name, LogFile(name, READINGS, gauges.source, hand))

    def _row(
        self, file: LogFile, unit: UnitSpec, gauges: GaugeReading, number: int, random: np.random.Generator
    ) -> dict[str, str]:
        instrument = self._instrument(unit, gauges)
        noted = {
            name: shown(
                name,
                gauges.shown[name],
                hand=file.hand,
                instrument=instrument,
                temperature_degc=gauges.shown.get("temperature_degc", 15.0),
                random=random,
            )
            for name in self._noted(unit, gauges, instrument, random)
        }
        if not noted:
            return {}
        if gauges.source == "meter" and self._swapped(unit, gauges):
            feed, permeate = "feed_tds_mg_per_l", "permeate_tds_mg_per_l"
            if feed in noted and permeate in noted:
                noted[feed], noted[permeate] = noted[permeate], noted[feed]
        cells = {"unit": unit.code, "taken at": self._clock(gauges.at, file.hand), "source": gauges.source}
        if gauges.source != "client" or int(unit.site[1:]) % 2:
            cells["reference"] = f"{unit.code}-{gauges.at:%y%m%d}-{number}"
        if instrument is not None:
            cells["instrument"] = instrument.name
        cells.update(self._state(unit, gauges, random))
        cells.update({header(name, file.hand): text for name, text in noted.items()})
        if gauges.note:
            cells["note"] = gauges.note
        return cells

    def _instrument(self, unit: UnitSpec, gauges: GaugeReading) -> InstrumentSpec | None:
        if gauges.source == "installer":
            return self.carried[self.scenario.installer_of(unit).key]
        return self.fitted.get(unit.code) if gauges.source == "meter" else None

    def _noted(
        self, unit: UnitSpec, gauges: GaugeReading, instrument: InstrumentSpec | None, random: np.random.Generator
    ) -> list[str]:
        often = dict(_OFTEN[gauges.source])
        if gauges.source == "client":
            often.update(dict.fromkeys(_ALSO.get(unit.story, ()), 1.0))
        if gauges.tank_is_full is not None:
            often = dict.fromkeys(("line_pressure_kpa", "tank_pressure_kpa", "concentrate_flow_l_per_day"), 1.0)
        if instrument is not None and not instrument.compensates_temperature:
            often["temperature_degc"] = 1.0
        if unit.totaliser == "none":
            often["totaliser_l"] = 0.0
        if gauges.source == "installer" and unit.has_booster_pump:
            often["prefilter_outlet_pressure_kpa"] = 0.95
        # Readings that open a life are written up in full.
        surely = 2.0 if gauges.note else 1.0
        return [
            name
            for name in QUANTITIES
            if (float(random.random()) < surely * often.get(name, 0.0)) & (name in gauges.shown)
        ]

    def _swapped(self, unit: UnitSpec, gauges: GaugeReading) -> bool:
        story = self.scenario.stories.get(unit.story, {})
        days_ago = (self.as_of - gauges.at.date()).days
        return unit.story == "probes-swapped" and days_ago <= int(story["days_ago"])

    def _state(self, unit: UnitSpec, gauges: GaugeReading, random: np.random.Generator) -> dict[str, str]:
        if gauges.source == "meter":
            return {"state": gauges.state}
        cells = {"state": gauges.state if float(random.random()) < 0.93 else "", "person": self._person(unit, gauges)}
        if gauges.source == "client":
            if gauges.tank_is_full is not None:
                cells["tank is full"] = "yes"
            return cells
        cells["occasion"] = gauges.occasion.replace("_", " ")
        if gauges.tank_is_full is not None:
            return {**cells, "tank is full": "yes", "tank valve": "open"}
        cells["minutes since start"] = str(int(random.integers(8, 25)))
        cells["sampled after flush"] = "yes" if float(random.random()) < 0.9 else ""
        if unit.tank == "pressurised":
            cells["tank valve"] = "closed"
        if unit.has_booster_pump:
            cells["pump"] = "on"
        return cells

    def _person(self, unit: UnitSpec, gauges: GaugeReading) -> str:
        if gauges.source == "installer":
            return self.scenario.installer_of(unit).name
        return self.scenario.sites[unit.site].client

    def _clock(self, at: datetime, hand: Hand) -> str:
        if hand.clock == "utc":
            return f"{at:%Y-%m-%dT%H:%M:%SZ}"
        local = at.astimezone(self.zone)
        return f"{local:%d.%m.%Y %H:%M}" if hand.clock == "day first" else f"{local:%Y-%m-%d %H:%M}"

    def feed_water_logs(self, lives: Mapping[str, Life]) -> list[LogFile]:
        """Analyses of the supply: on commissioning, and a yearly one; three people, three units of hardness."""
        hands = {"runa": "gpg", "pelle": "dH", "tilda": "mg/L as CaCO3"}
        files: dict[str, LogFile] = {}
        sampled_sites: set[str] = set()
        for life in lives.values():
            if life.unit.site in sampled_sites:
                continue
            sampled_sites.add(life.unit.site)
            person = self.scenario.installer_of(life.unit)
            name = f"feed-water-{person.key}.csv"
            hand = Hand("bar", "degC", "L/day", "mg/L")
            file = files.setdefault(name, LogFile(name, FEED_WATER, "installer", hand))
            random = random_for(self.seed, life.unit.site, "feed water")
            day, first = life.commissioned, True
            while day < self.as_of - timedelta(days=3):
                always = life.unit.story == "resin-cut-by-carbon-dioxide"
                if first or always or float(random.random()) < 0.6:
                    at = datetime(day.year, day.month, day.day, 10, 30, tzinfo=self.zone)
                    file.rows.append(LogRow(self._sample(life.unit, at, hands[person.key], person.name, random), at))
                first = False
                day += timedelta(days=365 if not always else 150)
        return [files[name] for name in sorted(files)]

    def _sample(
        self, unit: UnitSpec, at: datetime, unit_of_hardness: str, person: str, random: np.random.Generator
    ) -> dict[str, str]:
        water = self.scenario.supply_of(unit)
        as_written = {"gpg": 17.118, "dH": 17.848, "mg/L as CaCO3": 1.0}[unit_of_hardness]

        def about(value: float, spread: float, places: int) -> str:
            return f"{max(value * (1 + float(random.normal(0, spread))), 0.0):.{places}f}"

        places = 0 if unit_of_hardness.startswith("mg") else 1
        cells = {
            "site": unit.site,
            "taken at": f"{at:%Y-%m-%d %H:%M}",
            "reference": f"{unit.site}-{at:%y%m%d}-W",
            "measured by": person,
            "method": "drop test and photometer",
            "pH": f"{water.ph + float(random.normal(0, 0.06)):.1f}",
            f"alkalinity [{unit_of_hardness}]": about(water.alkalinity_mg_per_l_as_caco3 / as_written, 0.04, places),
            f"hardness [{unit_of_hardness}]": about(water.hardness_mg_per_l_as_caco3 / as_written, 0.04, places),
            "free chlorine [mg/L]": about(water.free_chlorine_mg_per_l, 0.06, 2),
            "total chlorine [mg/L]": about(water.total_chlorine_mg_per_l, 0.02, 2),
            "TDS [mg/L]": about(water.tds_mg_per_l, 0.03, 0),
        }
        # Free chlorine is part of total chlorine, whatever the two tests' errors.
        if float(cells["free chlorine [mg/L]"]) > float(cells["total chlorine [mg/L]"]):
            cells["total chlorine [mg/L]"] = cells["free chlorine [mg/L]"]
        if float(random.random()) < 0.5:
            cells["iron [mg/L]"] = about(water.iron_mg_per_l, 0.15, 2)
            cells["manganese [mg/L]"] = about(water.manganese_mg_per_l, 0.15, 2)
            cells["silica [mg/L]"] = about(water.silica_mg_per_l, 0.08, 1)
            cells["turbidity [NTU]"] = about(water.turbidity_ntu, 0.1, 2)
        return cells
