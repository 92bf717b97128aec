"""A company between two rivers, and when each of its cartridges really reaches its limit. All of it is invented.

Run `python -m tests.strangers.two_rivers --units 500 --years 4 --seed 7 --out DIR`. Figures are from memory of the
trade unless a comment says otherwise; none is measured, and nothing was fitted to any forecast.

The world. Sites drink of a few supplies (a river with chloramine and spring floods, chalk boreholes, a reservoir full
of organics, a village on old iron mains, a coast where waters are blended) or of a well of their own. Temperature,
solids, salt and chlorine follow the season; blends and doses change without notice. Small units serve kitchens and
aquaria, large ones coffee bars, laboratories and growers; use differs by more than a factor of fifty, steps up and
down, stops in holidays, and in a few units for so long that the membrane dries. Some have a pressurised tank, some a
booster pump.

The physics. Water is pressed through filters whose resistance grows: as pores fill in wound and spun filters
(resistance over clean goes as one over the square of the room left), as a cake in pleated ones. What they let pass
clogs carbon blocks and fouls the membrane. Chlorine reacts in the carbon at a rate of first order, slower in the cold
and for chloramine; activity falls with the chlorine taken up and with organics. Permeate follows net driving pressure
and temperature; permeability falls with age, fouling, hardness and drying, and salt passage grows with age, with
chlorine that comes through and with fouling. Waste follows the pressure before a restrictor. Resin takes up ions,
carbon dioxide and silica, and breaks through along a curve whose steepness is the bed's own; a lag bed gets what its
lead lets through. Seals leak, which spoils the permeate and is no fault of the membrane; waste valves stick, which
wears the filters.

The limits. Sediment: 50 kPa over that filter (each, where two are in series) at the unit's usual flow and
temperature. Carbon: 0.1 mg/L total chlorine behind the last, averaged over a week, or 365 days in service; a lead
carbon at 50 % of the feed's chlorine behind it, or 365 days. Membrane: its own rejection, at usual pressure and
temperature, below the unit's minimum (90 % where none is told), or permeability below 80 % of what it was at three
weeks. Resin: a lead at 50 % of what enters it, a last or single one at the unit's product target (1 mg/L where none
is told), averaged over a week.

The habits. A unit is looked after by the calendar, by condition, by a client who does the filters, or hardly at all;
a client may call when water is bad or slow. Installers change in pairs, because one was there anyway, or what they
measured as bad with poor gauges; some rotate a lag resin. Reasons are written as offices write them: mostly routine
or nothing, 'exhausted' by habit now and then. Days are off, cartridges of another size go in, a wrong part is written
down as the usual one, and some changes no file tells of. Readings are made at most visits but not all, monthly by
some clients, daily or weekly by few meters; quantities are missing, gauges are off, counters replaced, columns in
different units of measure, meters of different TDS scales, and a few entries are slips (refused or flagged on
purpose).

The truth. At three cuts every installed cartridge is followed for ten years with the same water and use: once with
nothing changed, once with every other cartridge of the unit replaced when it reaches its limit. `nominal_life_days`
is what the label gives at the use that was told; `label_exhausted_on` is that after the written day,
`fixed_exhausted_on` an interval of the calendar after it; `change_not_written` marks a cartridge whose arrival no
file tells of.
"""

import argparse
import csv
from dataclasses import dataclass, field
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

END = date(2025, 10, 31)
BEFORE = 1200  # days lived through before the files begin, so that cartridges are of all ages
AFTER = 3650
NEVER = 10**6
STAGES = ("sediment", "sediment", "carbon", "carbon", "membrane", "resin", "resin")
SED, SED2, CARB, CARB2, MEM, RES, RES2 = range(7)
PARTNER = {SED: SED2, CARB: CARB2, RES: RES2, SED2: SED, CARB2: CARB, RES2: RES}
CALENDAR_DAYS = {"sediment": 180, "carbon": 365, "membrane": 1095, "resin": 180}
GPD = 3.785411784
PSI = 6.894757
USES = ("reef", "planted", "drinking", "coffee", "laboratory", "hydroponics", "fish")
# Share of the clients, median and log spread of the weekly litres.
USE_SHARES = (0.24, 0.12, 0.31, 0.12, 0.08, 0.05, 0.08)
USE_LITRES = (95, 110, 32, 520, 260, 650, 220)
USE_SPREAD = (0.65, 0.6, 0.5, 0.6, 0.8, 0.6, 0.7)

# Name, size (0 for ten inches, 1 for twenty), micron, shape (0 pores, 1 cake), grams held, clean kPa per 1000 L/day,
# share held back, litres on the label.
SEDIMENTS = (
    ("ZF-20 spun", 0, 20, 0, 26.0, 0.7, 0.50, 30000),
    ("ZF-5 spun", 0, 5, 0, 20.0, 1.2, 0.80, 20000),
    ("ZF-5 pleated", 0, 5, 1, 8.5, 0.6, 0.78, 36000),
    ("ZF-1 spun", 0, 1, 0, 15.0, 2.6, 0.93, 15000),
    ("ZF-20 long", 1, 20, 0, 60.0, 0.3, 0.50, 90000),
    ("ZF-5 long", 1, 5, 0, 48.0, 0.5, 0.82, 60000),
    ("ZF-1 long", 1, 1, 0, 36.0, 1.1, 0.94, 40000),
)
# Name, size, kind, bed in litres, clean kPa per 1000 L/day, rate per minute for free chlorine, the same for chloramine
# over it, grams of chlorine, grams on the label.
CARBONS = (
    ("KB-10 block", 0, "block", 0.50, 4.0, 14.0, 0.22, 34.0, 40),
    ("KG-10 granules", 0, "granular", 0.62, 0.6, 7.0, 0.25, 36.0, 30),
    ("KK-10 catalytic", 0, "catalytic", 0.55, 3.0, 13.0, 0.75, 30.0, 45),
    ("KB-20 block", 1, "block", 1.05, 1.8, 14.0, 0.22, 72.0, 90),
    ("KG-20 granules", 1, "granular", 1.30, 0.3, 7.0, 0.25, 76.0, 60),
    ("KK-20 catalytic", 1, "catalytic", 1.15, 1.4, 13.0, 0.75, 64.0, 90),
)
# Name, gpd, rated kPa, rejection, U of water in kelvin.
MEMBRANES = (
    ("MT-50", 50, 414, 0.97, 2900),
    ("MT-75", 75, 345, 0.96, 2640),
    ("MT-100", 100, 345, 0.96, 3020),
    ("MT-150", 150, 448, 0.95, 2700),
    ("MT-300", 300, 448, 0.96, 2800),
    ("MT-600", 600, 552, 0.97, 2640),
)
# Name, litres, eq/L on the label, steepness of the breakthrough.
RESINS = (
    ("HM-06", 0.6, 0.60, 14.0),
    ("HM-1", 1.1, 0.60, 18.0),
    ("HM-2 colour", 2.2, 0.55, 20.0),
    ("HM-5", 5.0, 0.65, 26.0),
    ("HM-12", 12.0, 0.65, 30.0),
)
# Kind, TDS, its swing, chlorine, chloramine, solids mg/L, flood, organics, mean degC, swing, CO2 meq/L, hardness
# 0 to 1, fouling.
WATERS = (
    ("river", 210, 0.20, 2.0, 1, 0.55, 2.5, 1.2, 12.5, 7.5, 0.08, 0.5, 1.3),
    ("chalk", 300, 0.05, 0.35, 0, 0.30, 0.3, 0.4, 11.5, 1.5, 0.42, 0.9, 0.7),
    ("reservoir", 65, 0.12, 0.70, 0, 0.45, 1.0, 1.8, 12.0, 6.0, 0.10, 0.1, 1.2),
    ("iron", 230, 0.08, 0.25, 0, 1.30, 0.8, 0.7, 12.0, 4.0, 0.22, 0.6, 1.4),
    ("coast", 430, 0.25, 0.55, 0, 0.40, 0.6, 0.8, 14.0, 5.5, 0.18, 0.7, 1.0),
    ("well", 340, 0.08, 0.00, 0, 0.80, 0.8, 0.5, 11.0, 2.0, 0.45, 0.8, 1.3),
)
WATER_SHARES = (0.25, 0.25, 0.18, 0.14, 0.18)
Array = np.ndarray


@dataclass
class Item:
    """One thing of the catalogue with what its label says and what its maker really delivers."""

    name: str
    stage: str
    size: int
    label: tuple[Any, ...]
    promise: float  # real over label


def catalogue(rng: np.random.Generator) -> list[Item]:
    """Items whose labels promise too much in some and too little in others."""
    items = [Item(row[0], "sediment", row[1], row, 1.0) for row in SEDIMENTS]
    items += [Item(row[0], "carbon", row[1], row, 1.0) for row in CARBONS]
    items += [Item(row[0], "membrane", int(row[1] >= 300), row, 1.0) for row in MEMBRANES]
    items += [Item(row[0], "resin", int(row[1] >= 5), row, 1.0) for row in RESINS]
    spread = {"sediment": 0.28, "carbon": 0.30, "membrane": 0.05, "resin": 0.12}
    middle = {"sediment": 0.0, "carbon": -0.12, "membrane": -0.03, "resin": -0.18}
    for item in items:
        item.promise = float(np.exp(rng.normal(middle[item.stage], spread[item.stage])))
    return items


@dataclass
class World:
    """Water, use and units over all days; what depends on the day has the shape (days, units)."""

    n: int
    years: float
    rng: np.random.Generator
    items: list[Item] = field(default_factory=list)
    day: dict[str, Array] = field(default_factory=dict)
    k: dict[str, Array] = field(default_factory=dict)
    told: list[dict[str, Any]] = field(default_factory=list)
    usual_item: Array = field(default_factory=lambda: np.zeros((7, 0), int))
    supply: list[str] = field(default_factory=list)
    site: list[str] = field(default_factory=list)

    @property
    def last(self) -> int:
        return BEFORE + round(self.years * 365)

    def date(self, day: int) -> date:
        return END - timedelta(days=self.last - int(day))


def steps(rng: np.random.Generator, days: int, rate_per_year: float, spread: float) -> Array:
    """A factor that stays and steps at random days."""
    log = np.zeros(days)
    for at in np.flatnonzero(rng.random(days) < rate_per_year / 365):
        log[at:] += rng.normal(0, spread)
    return np.exp(np.clip(log, -1.3, 1.3))


def slow(rng: np.random.Generator, days: int, spread: float, memory_days: float = 30) -> Array:
    """A wandering factor with a memory of some weeks."""
    keep = np.exp(-7 / memory_days)
    weeks = days // 7 + 2
    noise = rng.normal(0, 1, weeks) * np.sqrt(1 - keep * keep)
    path = np.empty(weeks)
    path[0] = rng.normal()
    for week in range(1, weeks):
        path[week] = keep * path[week - 1] + noise[week]
    return np.exp(spread * np.interp(np.arange(days), np.arange(weeks) * 7, path) - spread * spread / 2)


def one_water(rng: np.random.Generator, kind: tuple[Any, ...], days: int, first: date) -> dict[str, Any]:
    """The water of one supply or well on every day."""
    own = np.exp(rng.normal(0, 0.5 if kind[0] == "well" else 0.15))
    year = 2 * np.pi * (np.arange(days) + first.timetuple().tm_yday - 1) / 365.25
    summer = -np.cos(year - 0.5)  # 1 at the end of July
    salt = kind[1] * own * (1 + kind[2] * summer) * steps(rng, days, 0.10, 0.28) * slow(rng, days, 0.06)
    dose = (
        kind[3] * np.exp(rng.normal(0, 0.25)) * (1 + 0.2 * summer) * steps(rng, days, 0.10, 0.3) * slow(rng, days, 0.15)
    )
    amine = np.full(days, float(kind[4]))
    if kind[3] and not kind[4] and rng.random() < 0.10:  # a works that changes to chloramine
        at = int(rng.uniform(0.2, 0.8) * days)
        amine[at:], dose[at:] = 1.0, np.maximum(dose[at:], 0.8) * 1.7
    flood = 1 + kind[6] * np.exp(8 * (np.cos(year - 1.7) - 1)) * slow(rng, days, 0.5, 60)
    solids = 1.4 * kind[5] * np.exp(rng.normal(0, 0.3)) * flood * slow(rng, days, 0.4)
    for at in np.flatnonzero(rng.random(days) < 0.35 / 365):  # work on the mains
        solids[at : at + rng.integers(2, 15)] *= rng.uniform(3, 12)
    return {
        "salt": salt,
        "chlorine": dose,
        "amine": amine,
        "solids": solids,
        "temperature": kind[8] + kind[9] * summer,
        "organics": kind[7] * np.exp(rng.normal(0, 0.25)),
        "co2": kind[10] * np.exp(rng.normal(0, 0.35)),
        "hard": float(np.clip(kind[11] + rng.normal(0, 0.12), 0, 1)),
        "fouling": kind[12] * np.exp(rng.normal(0, 0.3)),
        "line": rng.uniform(260, 480),
    }


def weekly_use(world: World, use: Array) -> Array:
    """Litres drawn on every day, with steps, seasons, weekends, holidays and long absences that dry the membrane."""
    rng, days, n = world.rng, world.last + AFTER + 1, world.n
    litres = np.array(USE_LITRES)[use] * np.exp(rng.normal(0, np.array(USE_SPREAD)[use]))
    world.k["weekly"] = np.clip(litres, 6, 4000)
    drawn = np.empty((days, n), np.float32)
    dry = np.zeros((days, n), np.float32)
    first = world.date(0)
    year = 2 * np.pi * (np.arange(days) + first.timetuple().tm_yday - 1) / 365.25
    for unit in range(n):
        season = {"hydroponics": 0.35, "drinking": 0.15, "coffee": 0.08}.get(USES[use[unit]], 0.10)
        path = world.k["weekly"][unit] / 7 * steps(rng, days, 0.18, 0.40) * (1 - season * np.cos(year - 0.5))
        path *= slow(rng, days, 0.18) * np.exp(rng.normal(-0.06, 0.35, days))
        if use[unit] in (3, 4):
            path[(np.arange(days) + first.weekday()) % 7 >= 5] *= 0.35
        for start in np.flatnonzero(rng.random(days) < 1.1 / 365):  # holidays
            path[start : start + rng.integers(7, 22)] *= 0.15
        if rng.random() < 0.07:
            for start in np.flatnonzero(rng.random(days) < 0.6 / 365):
                end = min(start + int(rng.integers(45, 160)), days - 1)
                path[start:end] = 0
                dry[end, unit] = rng.gamma(1.5, 0.06)
        drawn[:, unit] = path
    world.day["use"], world.day["dry"] = drawn, dry
    stuck = np.zeros((days, n), np.float32)  # a waste valve that does not close: share of the standstill it runs
    for unit in range(n):
        for start in np.flatnonzero(rng.random(days) < 0.035 / 365):
            stuck[start : start + rng.integers(15, 150), unit] = rng.uniform(0.02, 0.4)
    world.day["stuck"] = stuck
    return use


def build(units: int, years: float, seed: int) -> World:
    """The whole world but for people."""
    rng = np.random.default_rng([seed, 20571])
    world = World(units, years, rng)
    world.items = catalogue(rng)
    days, first = world.last + AFTER + 1, world.date(0)
    supplies = int(np.clip(units // 30 + 2, 3, 12))
    kinds = [WATERS[i] for i in rng.choice(5, supplies, p=WATER_SHARES)]
    waters = [one_water(rng, kind, days, first) for kind in kinds]
    where: list[int] = []
    site = 1
    while len(where) < units:  # sites, some with two units
        count = 1 if rng.random() < 0.85 else 2
        if rng.random() < 0.10:
            waters.append(one_water(rng, WATERS[5], days, first))
            kinds.append(WATERS[5])
            own = len(waters) - 1
        else:
            own = int(rng.integers(supplies))
        for _ in range(min(count, units - len(where))):
            where.append(own)
            world.site.append(f"R{site:04d}")
            world.supply.append("" if own >= supplies else f"{kinds[own][0]} {own + 1}")
        site += 1
    index = np.array(where)
    for name in ("salt", "chlorine", "amine", "solids", "temperature"):
        world.day[name] = np.stack([water[name] for water in waters]).astype(np.float32)[index].T.copy()
    for name in ("organics", "co2", "hard", "fouling", "line"):
        world.k[name] = np.array([water[name] for water in waters])[index]
    world.day["temperature"] += rng.normal(0.8, 1.2, units).astype(np.float32)
    use = rng.choice(len(USES), units, p=USE_SHARES)
    weekly_use(world, use)
    world.k["use"] = use
    equip(world)
    return world


def equip(world: World) -> None:
    """Choose the parts of each unit as a salesman would, from the use and the water that were told."""
    rng, n, k = world.rng, world.n, world.k
    weekly, use = k["weekly"], k["use"]
    salt, dose = world.day["salt"][0], world.day["chlorine"][0]
    told = weekly * np.exp(rng.normal(0, 0.35, n))
    line = np.clip(k["line"] * np.exp(rng.normal(0, 0.15, n)), 180, 560)
    year = 2 * np.pi * np.arange(len(world.day["use"])) / 365.25
    wander = np.stack([slow(rng, len(year), 0.05) for _ in range(n)], 1)
    k["line"] = line
    world.day["line"] = (line * (1 - 0.04 * np.sin(year)[:, None]) * wander).astype(np.float32)
    wants = told / 7 / rng.uniform(2.0, 5.0, n) * 24 / 0.5 / GPD  # gpd for two to five hours a day at half the label
    member = np.array([int(np.argmin([abs(np.log(row[1] / want)) for row in MEMBRANES])) for want in wants])
    drinks = np.isin(use, (2, 3))
    member = np.where(drinks & (told < 90), rng.choice([0, 1, 2], n, p=[0.4, 0.4, 0.2]), member)
    large = (member >= 4).astype(int)
    k["pump"] = ((line < 270) & (rng.random(n) < 0.7)) | (rng.random(n) < np.where(large, 0.6, 0.08))
    k["tank"] = rng.random(n) < np.where(drinks, 0.8, np.where(use == 4, 0.5, 0.06))
    k["setting"] = np.where(large, rng.uniform(600, 800, n), rng.uniform(480, 600, n))
    k["precharge"] = rng.uniform(35, 80, n)
    k["design_recovery"] = np.clip(rng.normal(np.where(large, 0.42, np.where(k["pump"], 0.33, 0.24)), 0.05), 0.15, 0.6)
    has_resin = rng.random(n) < np.array([0.93, 0.35, 0.03, 0.05, 0.9, 0.25, 0.25])[use]
    k["target"] = np.where(np.isin(use, (0, 4)), rng.choice([1.0, 1.0, 2.0], n), rng.choice([1.0, 2.0, 5.0], n))
    usual = np.full((7, n), -1)
    two_sed = rng.random(n) < np.where(world.day["solids"][:400].mean(0) > 0.8, 0.3, 0.08)
    two_carb = rng.random(n) < np.where(dose > 1.2, 0.55, np.where(large, 0.25, 0.10))
    two_resin = has_resin & (rng.random(n) < np.where(np.isin(use, (0, 4)), 0.38, 0.1))
    for unit in range(n):
        if large[unit]:
            usual[SED, unit] = 4 if two_sed[unit] else rng.choice([5, 6], p=[0.8, 0.2])
            usual[SED2, unit] = rng.choice([5, 6]) if two_sed[unit] else -1
        else:
            usual[SED, unit] = 0 if two_sed[unit] else rng.choice([1, 2, 3], p=[0.6, 0.2, 0.2])
            usual[SED2, unit] = rng.choice([1, 2, 3], p=[0.5, 0.1, 0.4]) if two_sed[unit] else -1
        base = len(SEDIMENTS) + 3 * large[unit]
        amine = world.day["amine"][0, unit] > 0
        weights = [0.1, 0.05, 0.85] if amine else [0.68, 0.24, 0.08]
        usual[CARB, unit] = base + rng.choice(3, p=weights)
        if two_carb[unit]:
            usual[CARB2, unit] = base + (2 if amine else rng.choice([0, 0, 2]))
        usual[MEM, unit] = len(SEDIMENTS) + len(CARBONS) + member[unit]
        if has_resin[unit]:
            load = told[unit] / 7 * (salt[unit] * 0.06 / 58 + 0.15) / 1000  # eq a day as a salesman reckons
            litres = load * rng.uniform(140, 380) / 0.6 / (1 + two_resin[unit])
            pick = int(np.argmin([abs(np.log(row[1] / max(litres, 0.1))) for row in RESINS]))
            usual[RES, unit] = len(SEDIMENTS) + len(CARBONS) + len(MEMBRANES) + pick
            if two_resin[unit]:
                usual[RES2, unit] = usual[RES, unit]
    world.usual_item = usual
    k["mean_temperature"] = world.day["temperature"][:365].mean(0)
    k["channel"] = np.where(rng.random(n) < 0.12, rng.uniform(0.5, 0.8, n), 1.0)  # beds laid flat
    k["told_weekly"] = told
    rated = np.array([row[1] * GPD for row in MEMBRANES])[member]
    press = np.array([row[2] for row in MEMBRANES])[member]
    run = np.where(k["pump"], k["setting"], line)
    flow = rated / press * (run - 25) * np.where(k["tank"] & ~k["pump"], 0.65, 0.9) * 0.75
    k["restrictor"] = flow * (1 / k["design_recovery"] - 1) * np.exp(rng.normal(0, 0.08, n))  # real flow at `run`
    k["run"] = run
    least = np.array([0.90, 0.88, 0.85, 0.85, 0.92, 0.85, 0.88])[use]
    k["least"] = np.where(k["tank"] & ~k["pump"], np.minimum(least, 0.85), least) - np.where(line < 250, 0.03, 0.0)
    later = rng.integers(BEFORE, BEFORE + round(world.years * 365 * 0.8) + 1, n)
    k["begin"] = np.where(rng.random(n) < 0.7, rng.integers(0, BEFORE - 20, n), later)


class Rows:
    """The state of many units side by side; a unit stands in several rows where several futures are followed."""

    SLOT = ("item", "cap", "a", "b", "c", "load", "foul", "clog", "born", "limit")
    ROW = ("unit", "flow", "usual", "leak", "counter", "chlorine_week", "lead_week", "product_week")

    def __init__(self, world: World) -> None:
        n = world.n
        self.world = world
        self.item = np.full((7, n), -1)
        self.cap, self.a, self.b, self.c = (np.ones((7, n)) for _ in range(4))
        self.load, self.foul, self.clog = (np.zeros((7, n)) for _ in range(3))
        self.born, self.limit = np.zeros((7, n), int), np.full((7, n), NEVER)
        self.unit = np.arange(n)
        self.flow, self.usual = np.full(n, 800.0), np.full(n, 800.0)
        self.leak, self.counter = np.zeros(n), world.rng.uniform(0, 90000, n)
        self.chlorine_week, self.lead_week, self.product_week = (np.zeros(n) for _ in range(3))
        self.k = world.k

    def take(self, rows: Array) -> "Rows":
        """A copy of these rows, in this order."""
        new = object.__new__(Rows)
        new.world = self.world
        for name in self.SLOT:
            setattr(new, name, getattr(self, name)[:, rows].copy())
        for name in self.ROW:
            setattr(new, name, getattr(self, name)[rows].copy())
        new.k = {name: value[rows] for name, value in self.k.items()}
        return new

    def fit(self, slot: int, row: int, item: int, day: int, rng: np.random.Generator | None = None) -> None:
        """Put a new cartridge in; without `rng` it is an average one of its make."""
        kind = self.world.items[item]
        vary = 1.0 if rng is None else float(np.exp(rng.normal(0, 0.13)))
        label = kind.label
        if kind.stage == "sediment":
            values = (label[4] * kind.promise * vary, label[5] / 1000, label[3], label[6])
        elif kind.stage == "carbon":
            values = (label[7] * kind.promise * vary, label[4] / 1000, label[5] * label[3] * 1440, label[6])
        elif kind.stage == "membrane":
            small = 1.0 if rng is None else float(np.exp(rng.normal(0, 0.07)))
            passes = (1 - label[3]) / label[3] * (1.0 if rng is None else float(np.exp(rng.normal(0.05, 0.22))))
            net = label[2] - 30  # kPa that drive at the test
            values = (label[1] * GPD / net * kind.promise * small, label[1] * GPD * passes, label[4], 0.0)
        else:
            made = label[1] * label[2] * kind.promise * vary * self.k["channel"][row]
            values = (made, label[3] * (0.6 if self.k["channel"][row] < 1 else 1.0), 0.0, 0.0)
        self.cap[slot, row], self.a[slot, row], self.b[slot, row], self.c[slot, row] = values
        self.item[slot, row], self.born[slot, row], self.limit[slot, row] = item, day, NEVER
        self.load[slot, row] = self.foul[slot, row] = self.clog[slot, row] = 0.0
        if slot in (CARB, CARB2):
            self.chlorine_week[row] = self.lead_week[row] = 0.0
        if slot in (RES, RES2):
            self.product_week[row] = 0.0
        if slot == MEM:
            self.usual[row] = usual_flow(self, row)


def usual_flow(rows: Rows, row: int) -> float:
    """Feed in L/day while it runs, with clean filters, at the mean temperature and pressure."""
    k = rows.k
    warm = np.exp(rows.b[MEM, row] * (1 / 298.15 - 1 / (k["mean_temperature"][row] + 273.15)))
    back = 180.0 if k["pump"][row] and k["tank"][row] else 0.36 * k["run"][row] if k["tank"][row] else 12.0
    return float(k["restrictor"][row] + rows.cap[MEM, row] * 0.95 * warm * max(k["run"][row] - back - 25, 20))


def resistance(rows: Rows, slot: int) -> Array:
    """KPa per L/day at 25 degC of one filter or carbon; nothing where there is none."""
    filled = rows.load[slot] / rows.cap[slot]
    if slot in (CARB, CARB2):
        grown = 1 + rows.clog[slot] / 3.0  # three grams double it
        return np.where(rows.item[slot] >= 0, rows.a[slot] * grown, 0.0)
    pores = 1 / np.maximum(1 - filled, 0.02) ** 2
    cake = 1 + 12 * filled + 10 * filled * filled
    return np.where(rows.item[slot] >= 0, rows.a[slot] * np.where(rows.b[slot] > 0.5, cake, pores), 0.0)


def permeability(rows: Rows, day: int) -> tuple[Array, Array]:
    """L/day per kPa at 25 degC, and the same over what it was at three weeks (the loss by then is kept in `clog`)."""
    age = np.maximum(day - rows.born[MEM], 0)
    settled = 0.93 + 0.07 * np.exp(-age / 15)
    first = (0.93 + 0.07 * np.exp(-21 / 15)) * np.exp(-rows.clog[MEM])
    now = settled * np.exp(-rows.load[MEM])
    return rows.cap[MEM] * now, now / first


def gauges(rows: Rows, day: int, rounds: int = 1) -> dict[str, Array]:
    """Pressures, flows and concentrations of each row while it runs on that day."""
    e = {name: values[day][rows.unit] for name, values in rows.world.day.items()}
    k = rows.k
    thick = np.exp(0.0258 * (25 - e["temperature"]))
    parts = np.stack([resistance(rows, slot) for slot in (SED, SED2, CARB, CARB2)])
    warm = np.exp(rows.b[MEM] * (1 / 298.15 - 1 / (e["temperature"] + 273.15)))
    able, share = permeability(rows, day)
    for _ in range(rounds):
        lost = np.minimum(parts.sum(0) * rows.flow * thick, 0.9 * e["line"])
        behind = e["line"] - lost
        # A booster gives what it is set to while water reaches it; starved, it gives less.
        pushed = np.where(k["pump"], k["setting"] * np.clip((behind - 20) / 80, 0.1, 1), behind)
        held = np.where(k["pump"], 180.0, np.maximum(0.36 * pushed, np.minimum(k["precharge"], 0.5 * pushed)))
        back = np.where(k["tank"], held, 12.0)
        waste = k["restrictor"] * np.maximum(pushed / k["run"], 0.05) ** 0.6
        osmotic = 0.0764 * e["salt"] * 1.2
        net = np.maximum(pushed - back - osmotic, 4.0)
        permeate = able * warm * net
        rows.flow = 0.5 * rows.flow + 0.5 * (permeate + waste)
    recovery = permeate / (permeate + waste)
    strong = -np.log(1 - np.minimum(recovery, 0.9)) / np.minimum(recovery, 0.9)
    passes = rows.a[MEM] * np.exp(rows.foul[MEM])
    own = passes * warm**1.1 * strong / (permeate + passes * warm**1.1)
    salt = e["salt"] * np.minimum(own + rows.leak, 0.98)
    # At the usual pressure and temperature, for the limit.
    usual_warm = np.exp(rows.b[MEM] * (1 / 298.15 - 1 / (k["mean_temperature"] + 273.15)))
    usual_back = np.where(k["tank"], np.where(k["pump"], 180.0, 0.36 * k["run"]), 12.0)
    usual_flow_ = able * usual_warm * np.maximum(k["run"] - usual_back - osmotic, 4.0)
    usual_recovery = np.minimum(usual_flow_ / (usual_flow_ + k["restrictor"]), 0.9)
    usual_strong = -np.log(1 - usual_recovery) / usual_recovery
    usual_pass = passes * usual_warm**1.1 * usual_strong / (usual_flow_ + passes * usual_warm**1.1)
    chlorine = [e["chlorine"]]
    for slot in (CARB, CARB2):
        alive = np.maximum(1 - rows.load[slot] / rows.cap[slot] - rows.foul[slot], 0.0)
        rate = np.where(e["amine"] > 0.5, rows.c[slot], 1.0) * np.exp(0.03 * (e["temperature"] - 15))
        removed = np.exp(-rows.b[slot] * alive * rate / np.maximum(rows.flow, 30.0))
        chlorine.append(np.where(rows.item[slot] >= 0, chlorine[-1] * removed, chlorine[-1]))
    through = []
    for slot in (RES, RES2):
        filled = rows.load[slot] / rows.cap[slot]
        curve = 1 / (1 + np.exp(-np.clip(rows.a[slot] * (filled - 1), -40, 40)))
        through.append(np.where(rows.item[slot] >= 0, 0.001 + 0.999 * curve, 1.0))
    return e | {
        "thick": thick, "parts": parts, "lost": lost, "behind": behind, "pushed": pushed, "back": back, "waste": waste,
        "permeate": permeate, "recovery": recovery, "salt_out": salt, "share": share, "usual_pass": usual_pass,
        "lead_chlorine": chlorine[1], "last_chlorine": chlorine[2], "lead": through[0], "lag": through[1],
        "interstage": salt * through[0], "product": salt * through[0] * through[1],
    }  # fmt: skip


def live(rows: Rows, day: int, active: Array | None = None) -> dict[str, Array]:
    """One day of water through every row: wear, and the first day on which a limit is passed."""
    g = gauges(rows, day)
    k = rows.k
    on = 1.0 if active is None else active.astype(float)
    drawn = np.minimum(g["use"], g["permeate"]) * on
    running = drawn / np.maximum(g["permeate"], 1e-9)
    feed = drawn / g["recovery"] + g["stuck"] * (1 - running) * g["waste"] * on
    stream = np.choose(k["stream"], [feed, drawn, drawn]) if "stream" in k else drawn
    rows.counter += stream
    dirt = feed * g["solids"] / 1000
    for slot in (SED, SED2):
        there = rows.item[slot] >= 0
        held = np.where(there, dirt * rows.c[slot], 0.0)
        rows.load[slot] += held
        dirt = dirt - held
    enters = g["chlorine"]
    for slot, leaves in ((CARB, g["lead_chlorine"]), (CARB2, g["last_chlorine"])):
        there = rows.item[slot] >= 0
        rows.load[slot] += np.where(there, feed * (enters - leaves) / 1000, 0.0)
        bed = np.maximum(rows.b[slot], 1.0) / 10000
        rows.foul[slot] += np.where(there, feed * k["organics"] / 1e5 / bed * 0.45 + 0.10 / 365 * on, 0.0)
        rows.clog[slot] += np.where(there, 0.5 * dirt, 0.0)
        dirt = np.where(there, 0.5 * dirt, dirt)
        enters = leaves
    # Fouling works while it runs, and slime where it stands; hardness scales at high recovery.
    hours = np.sqrt(np.minimum(running, 1.0) * 24 / 4)
    scale = 0.12 * np.maximum(k["hard"] - 0.35, 0) * np.maximum(g["recovery"] - 0.25, 0) / 0.2
    rate = 0.010 + k["fouling"] * (0.020 + 0.026 * hours) + scale * hours
    rows.load[MEM] += on * (rate / 365 + g["dry"] + 0.012 * dirt)
    harm = np.where(g["amine"] > 0.5, 0.08, 1.0) * enters * running * 24 / 1500
    rows.foul[MEM] += on * ((0.05 + 0.6 * rate) / 365 + 1.5 * g["dry"] + harm)
    rows.load[MEM] -= on * 0.10 * harm  # an oxidised skin lets more water through as well
    rows.clog[MEM] = np.where(day - rows.born[MEM] <= 21, rows.load[MEM], rows.clog[MEM])
    ions = drawn * (g["salt_out"] / 58.4 + 0.55 * k["co2"] + 0.01) / 1000
    rows.load[RES] += np.where(rows.item[RES] >= 0, ions, 0.0)
    rows.load[RES2] += np.where(rows.item[RES2] >= 0, ions * g["lead"], 0.0)
    mean_thick = np.exp(0.0258 * (25 - k["mean_temperature"]))
    rows.chlorine_week += (g["last_chlorine"] - rows.chlorine_week) / 7
    rows.lead_week += (g["lead_chlorine"] / np.maximum(g["chlorine"], 1e-6) - rows.lead_week) / 7
    rows.product_week += (g["product"] - rows.product_week) / 7
    two_carbons, two_resins = rows.item[CARB2] >= 0, rows.item[RES2] >= 0
    old = day - rows.born >= 365
    bad_lead = (rows.lead_week > 0.5) & (g["chlorine"] > 0.02)
    past = {
        SED: g["parts"][0] * rows.usual * mean_thick > 50,
        SED2: g["parts"][1] * rows.usual * mean_thick > 50,
        CARB: old[CARB] | np.where(two_carbons, bad_lead, rows.chlorine_week > 0.1),
        CARB2: old[CARB2] | (rows.chlorine_week > 0.1),
        MEM: (g["share"] < 0.8) & (day - rows.born[MEM] > 21) | (1 - g["usual_pass"] < k["least"]),
        RES: np.where(two_resins, g["lead"] > 0.5, rows.product_week > k["target"]),
        RES2: rows.product_week > k["target"],
    }
    for slot, passed in past.items():
        new = passed & (rows.item[slot] >= 0) & (rows.limit[slot] == NEVER)
        if active is not None:
            new &= active
        rows.limit[slot][new] = day
    g["drawn"] = drawn
    return g


def future(rows: Rows, cut: int, spared: Array) -> Array:
    """The day each row's spared slot reaches its limit, all others replaced at theirs; -1 spares all of them.

    Answers an array (7, rows).
    """
    answer = rows.limit.copy()
    index = np.arange(len(rows.unit))
    for day in range(cut + 1, cut + AFTER + 1):
        for slot in range(7):
            due = (rows.limit[slot] != NEVER) & (spared >= 0) & (spared != slot) & (rows.item[slot] >= 0)
            for row in np.flatnonzero(due):
                rows.fit(slot, row, int(rows.item[slot, row]), day)
                if slot == MEM:
                    rows.leak[row] = 0.0
        live(rows, day)
        answer[:, index] = rows.limit
        if day % 60 == 0:
            waits = (rows.limit == NEVER) & (rows.item >= 0)
            open_ = np.where(spared < 0, waits.any(0), waits[np.maximum(spared, 0), np.arange(len(spared))])
            if not open_.any():
                break
            keep = np.flatnonzero(open_)
            rows, spared, index = rows.take(keep), spared[keep], index[keep]
    return answer


class Company:
    """The people: who visits, what is changed, what is read and what is written down."""

    def __init__(self, world: World) -> None:
        n, rng = world.n, world.rng
        self.world, self.rows = world, Rows(world)
        self.rng = rng
        self.way = rng.choice(["calendar", "condition", "client", "neglect"], n, p=[0.38, 0.34, 0.16, 0.12])
        self.every = np.choose(
            np.searchsorted(["calendar", "client", "condition", "neglect"], self.way),
            [rng.choice([182, 365], n, p=[0.55, 0.45]), rng.integers(200, 380, n), rng.integers(100, 260, n),
             rng.integers(400, 800, n)],
        )  # fmt: skip
        self.next = (world.k["begin"] + self.every * rng.uniform(0.3, 1.1, n)).astype(int)
        self.called = np.zeros(n, bool)
        self.placements: list[dict[str, Any]] = []
        self.open: dict[tuple[int, int], dict[str, Any]] = {}
        self.untold: set[tuple[int, int]] = set()
        self.readings: list[dict[str, Any]] = []
        self.instruments()

    def instruments(self) -> None:
        """Gauges, meters and habits of reading of each unit; none is right, some are far off."""
        n, rng, k = self.world.n, self.rng, self.world.k
        self.scale = rng.choice([0.5, 0.5, 0.64, 0.7], n, p=[0.4, 0.3, 0.1, 0.2])
        self.gain = np.exp(rng.normal(0, 0.03, (n, 12)))
        self.zero = rng.normal(0, 4, (n, 3))  # kPa of the three gauges
        self.resolution = np.where(k["use"] == 4, 0.1, 1.0)
        self.has_line = rng.random(n) < 0.62
        self.has_behind = rng.random(n) < 0.42
        self.has_counter = rng.random(n) < 0.33
        k["stream"] = rng.choice(3, n, p=[0.45, 0.25, 0.3])
        who = rng.random(n)
        self.rhythm = np.select([who < 0.02, who < 0.06, who < 0.19, who < 0.27], [1, 7, 30, 91], 0)
        self.diligence = rng.beta(4, 2, n)  # how much of the sheet gets filled in

    def name(self, unit: int) -> str:
        return f"TR{unit + 1:04d}"

    def role(self, unit: int, slot: int) -> str:
        if slot == MEM or self.world.usual_item[PARTNER[slot], unit] < 0:
            return "single"
        return "lag" if slot in (SED2, CARB2, RES2) else "lead"

    def commission(self, day: int) -> None:
        for unit in np.flatnonzero(self.world.k["begin"] == day):
            for slot in range(7):
                if self.world.usual_item[slot, unit] >= 0:
                    item = int(self.world.usual_item[slot, unit])
                    self.rows.fit(slot, unit, item, day, self.rng)
                    self.write(unit, slot, day, item, day)
            self.next[unit] = max(self.next[unit], day + 30)

    def write(self, unit: int, slot: int, day: int, item: int, first: int, **more: Any) -> None:
        """A new line in the office's list of what stands where."""
        line = {
            "placement": f"P{len(self.placements) + 1:06d}", "unit": self.name(unit), "stage": STAGES[slot],
            "role": self.role(unit, slot), "item": self.world.items[item].name, "placed": day, "removed": None,
            "reason": "", "first": first, "item_index": item,
        }  # fmt: skip
        self.placements.append(line | more)
        self.open[unit, slot] = self.placements[-1]
        self.untold.discard((unit, slot))

    def written_day(self, day: int, after: int) -> int:
        """The day that gets into the list: mostly right, at times that of the invoice."""
        off = 0 if self.rng.random() < 0.78 else int(self.rng.integers(-4, 13))
        return max(min(day + off, self.world.last), after + 1)

    def reason(self, unit: int, slot: int, day: int) -> str:
        """What the office writes, which has little to do with how the cartridge was."""
        rng = self.rng
        past = self.rows.limit[slot, unit] <= day
        blank = ["", "", "", "routine", "routine", "service", "annual", "calendar", "unknown"]
        if rng.random() < (0.36 if past else 0.09):
            return str(rng.choice(["exhausted", "exhausted", "used up", "clogged" if slot < CARB else "spent"]))
        if not past and rng.random() < 0.035:
            return "found good"
        return str(rng.choice(blank))

    def choose_item(self, unit: int, slot: int) -> tuple[int, int]:
        """What goes in, and what is written down."""
        rng, usual = self.rng, int(self.world.usual_item[slot, unit])
        size = self.world.items[usual].size
        like = [
            i
            for i, item in enumerate(self.world.items)
            if item.stage == STAGES[slot]
            and (item.size == size or slot in (RES, RES2))
            and (slot not in (MEM, RES, RES2) or abs(i - usual) <= 1)
        ]
        chance = rng.random()
        if chance < 0.90:
            return usual, usual
        other = int(rng.choice(like))
        if chance < 0.975:  # what the supplier had; some stay with it
            if rng.random() < 0.3:
                self.world.usual_item[slot, unit] = other
            return other, other
        return other, usual  # the wrong part, and nobody saw

    def change(self, unit: int, slot: int, day: int, by_client: bool = False, why: str | None = None) -> None:
        """One cartridge goes out and a new one in."""
        reason = self.reason(unit, slot, day) if why is None else why
        real, said = self.choose_item(unit, slot)
        self.rows.fit(slot, unit, real, day, self.rng)
        if self.rng.random() < (0.25 if by_client else 0.025):
            self.untold.add((unit, slot))
            return
        old = self.open[unit, slot]
        written = self.written_day(day, old["placed"])
        old["removed"], old["reason"] = written, reason
        self.write(unit, slot, written, said, written)
        if slot == MEM or slot in (RES, RES2):
            self.rows.leak[unit] = self.rng.uniform(0.01, 0.08) if self.rng.random() < 0.02 else 0.0

    def rotate(self, unit: int, day: int) -> None:
        """The lag resin becomes the lead, and a new one goes behind it."""
        rows, lead, lag = self.rows, self.open[unit, RES], self.open[unit, RES2]
        for name in Rows.SLOT:
            values = getattr(rows, name)
            values[RES, unit] = values[RES2, unit]
        rows.limit[RES, unit] = NEVER
        written = max(self.written_day(day, lead["placed"]), lag["placed"] + 1)
        was_untold = (unit, RES2) in self.untold
        lead["removed"], lead["reason"] = written, self.reason(unit, RES, day)
        lag["removed"], lag["reason"] = written, "rotated"
        link = {"continued from": lag["placement"]} if self.rng.random() < 0.85 else {}
        self.write(unit, RES, written, lag["item_index"], lag["first"], **link)
        if was_untold:
            self.untold.add((unit, RES))
        real, said = self.choose_item(unit, RES2)
        rows.fit(RES2, unit, real, day, self.rng)
        self.write(unit, RES2, written, said, written)

    def judge(self, unit: int, slot: int, day: int, g: dict[str, Array]) -> bool:
        """Whether an installer with poor gauges and little time calls it bad."""
        rng, rows, k = self.rng, self.rows, self.world.k
        if slot in (SED, SED2):
            fall = float(g["parts"][slot][unit] * rows.flow[unit] * g["thick"][unit])
            if self.has_line[unit] and self.has_behind[unit]:
                return fall + rng.normal(0, 8) > rng.uniform(25, 50)
            brown = rows.load[slot, unit] / rows.cap[slot, unit]
            return bool(rng.random() < 0.7 and brown > rng.uniform(0.45, 0.95)) or day - rows.born[slot, unit] > 270
        if slot in (CARB, CARB2):
            strip = g["last_chlorine"][unit] * np.exp(rng.normal(0, 0.3))
            return bool(strip > 0.08 and rng.random() < 0.5) or day - rows.born[slot, unit] > rng.uniform(230, 430)
        if slot == MEM:
            poor = 1 - g["salt_out"][unit] / g["salt"][unit] + rng.normal(0, 0.01) < k["least"][unit]
            if g["pushed"][unit] < 0.8 * k["run"][unit] and rng.random() < 0.85:
                return False  # with so little pressure no membrane does well: the filters first
            slow_ = g["share"][unit] * np.exp(rng.normal(0, 0.08)) < rng.uniform(0.58, 0.78)
            return bool(poor and rng.random() < 0.75) or bool(slow_ and rng.random() < 0.6)
        out = g["interstage"][unit] if slot == RES else g["product"][unit]
        if self.role(unit, slot) == "lead":
            return bool(out > rng.uniform(0.25, 0.9) * g["salt_out"][unit])
        return bool(out > rng.uniform(0.4, 1.5) * k["target"][unit])

    def visit(self, unit: int, day: int, called: bool) -> None:
        """An installer, or the client with a spanner, is at the unit."""
        rng, rows, way = self.rng, self.rows, self.way[unit]
        now = rows.take(np.array([unit]))
        one = gauges(now, day, 4)
        g = {name: _spread(value, unit, self.world.n) for name, value in one.items()}
        client = way == "client" and not called and rng.random() < 0.7
        if not client and rng.random() < 0.72:
            self.read(unit, day, one, "installer", "as_found")
        if rng.random() < 0.55 and not client:
            rows.leak[unit] = 0.0
        wanted: set[int] = set()
        slots = [slot for slot in range(7) if rows.item[slot, unit] >= 0]
        for slot in slots:
            age = day - rows.born[slot, unit]
            if way == "calendar":
                turn = {SED: 1, SED2: 1, CARB: 1, CARB2: 1, MEM: 6 if self.every[unit] < 200 else 3}.get(slot, 1)
                if age > self.every[unit] * turn - 45 and rng.random() < 0.92:
                    wanted.add(slot)
            if client:
                is_old = slot < MEM and age > 0.6 * self.every[unit] and rng.random() < 0.85
                if is_old or (slot in (RES, RES2) and self.judge(unit, slot, day, g)):
                    wanted.add(slot)
            elif (way != "neglect" or called) and rng.random() < 0.85 and self.judge(unit, slot, day, g):
                wanted.add(slot)
            if not client and age > 60 and rng.random() < (0.01 if slot == MEM else 0.04):  # it was there anyway
                wanted.add(slot)
        if wanted & {SED, SED2} and rng.random() < 0.5:  # in pairs
            wanted |= {slot for slot in slots if slot in (CARB, CARB2)}
        if wanted & {CARB, CARB2} and rng.random() < 0.6:
            wanted |= {slot for slot in slots if slot in (SED, SED2)}
        if RES in wanted and RES2 in slots and rng.random() < 0.2:
            wanted.add(RES2)
        for slot in sorted(wanted):
            if slot == RES and RES2 in slots and RES2 not in wanted and not client and rng.random() < 0.6:
                self.rotate(unit, day)
            elif slot in slots:
                self.change(unit, slot, day, client)
        if wanted and not client and rng.random() < 0.38:
            now = rows.take(np.array([unit]))
            self.read(unit, day, gauges(now, day, 4), "installer", "as_left")
        self.next[unit] = day + max(20, int(self.every[unit] * np.exp(rng.normal(0, 0.12)) - 5))
        self.called[unit] = False

    def read(self, unit: int, day: int, g: dict[str, Array], source: str, occasion: str) -> None:
        """One row of the log of readings, with the gauges, the gaps and the slips of whoever reads."""
        if day < BEFORE:
            return
        rng, rows, k = self.rng, self.rows, self.world.k
        v = {name: float(np.atleast_1d(value)[0]) for name, value in g.items() if np.ndim(value) < 2}
        gain, factor = self.gain[unit], self.scale[unit] / 0.5
        full = {"installer": self.diligence[unit], "client": 0.55 * self.diligence[unit], "meter": 0.9}[source]

        def wants(share: float) -> bool:
            return bool(rng.random() < share * full)

        def ppm(value: float, which: int) -> str:
            step = self.resolution[unit]
            shown = value * factor * gain[which] * np.exp(rng.normal(0, 0.02)) + rng.normal(0, 0.25 * step)
            return f"{max(0.0, round(shown / step) * step):.{1 if step < 1 else 0}f}"

        def psi(value: float, which: int) -> str:
            return f"{max(0.0, round((value * gain[3 + which] + self.zero[unit, which] + rng.normal(0, 2)) / PSI)):.0f}"

        hour = int(rng.integers(8, 18))
        at = self.world.date(day) if source != "installer" or rng.random() < 0.95 else self.world.date(day - 1)
        row: dict[str, Any] = {"unit": self.name(unit), "time": f"{at}T{hour:02d}:{int(rng.integers(60)):02d}"}
        row |= {"source": source, "occasion": occasion}
        pipe = v["line"] * float(np.exp(rng.normal(0, 0.03)))
        if self.has_line[unit] and wants(0.85) and source != "client":
            row["line pressure [psi]"] = psi(pipe, 0)
        if self.has_behind[unit] and wants(0.85):
            row["prefilter outlet pressure [psi]"] = psi(v["behind"] * pipe / v["line"], 1)
        if source != "meter" and wants(0.6 if k["pump"][unit] or not self.has_behind[unit] else 0.2):
            shown = (v["pushed"] * gain[6] + self.zero[unit, 2] + rng.normal(0, 4)) / 100
            row["inlet pressure [bar]"] = f"{max(shown, 0):.1f}"
        if wants(0.55):
            row["temperature [degC]"] = f"{v['temperature'] + rng.normal(0.4, 0.8):.0f}"
        cold_start = rng.random() < (0.08 if source == "installer" else 0.2)
        creep = float(rng.uniform(1.1, 1.9)) if cold_start else 1.0
        if wants(0.85 if source != "client" else 0.5):
            shown = v["salt"] / 0.5 * gain[7] * np.exp(rng.normal(0, 0.02))
            row["feed tds [uS/cm]"] = f"{shown:.0f}"
        if wants(0.95):
            row["permeate tds [ppm]"] = ppm(v["salt_out"] * creep, 1)
            if source == "installer" and rng.random() < 0.12:
                row["permeate tds at start [ppm]"] = ppm(v["salt_out"] * rng.uniform(1.5, 4), 1)
        if rows.item[RES, unit] >= 0:
            if wants(1.2):
                row["product tds [ppm]"] = ppm(v["product"] * creep**0.5, 2)
            if rows.item[RES2, unit] >= 0 and wants(0.55):
                row["interstage tds [ppm]"] = ppm(v["interstage"], 2)
            if "colour" in self.world.items[rows.item[RES, unit]].name and wants(0.5):
                seen = rows.load[RES, unit] / rows.cap[RES, unit] + rng.normal(0, 0.08)
                row["resin colour changed [%]"] = f"{np.clip(round(seen * 10) * 10, 0, 100):.0f}"
        if source == "installer" and wants(0.5):
            empty = 1.0 if not k["tank"][unit] else float(rng.uniform(0.9, 1.35))  # a tank that is not half full
            row["permeate flow [mL/min]"] = f"{v['permeate'] * empty / 1.44 * np.exp(rng.normal(0, 0.05)):.0f}"
            if rng.random() < 0.6:
                row["concentrate flow [mL/min]"] = f"{v['waste'] / 1.44 * np.exp(rng.normal(0, 0.06)):.0f}"
            if k["tank"][unit] and rng.random() < 0.35:
                row["tank pressure [psi]"] = f"{v['back'] * (2 - empty) / PSI:.0f}"
        if source == "installer" and wants(0.33):
            strip = np.array([0, 0.05, 0.1, 0.25, 0.5, 1.0, 2.0, 3.0])
            for column, value in (("feed total chlorine [mg/L]", v["chlorine"]),
                                  ("interstage chlorine [mg/L]", v["lead_chlorine"]),
                                  ("carbon outlet total chlorine [mg/L]", v["last_chlorine"])):  # fmt: skip
                shown = strip[np.argmin(abs(strip - value * np.exp(rng.normal(0, 0.25))))]
                if rng.random() < 0.85 and (column[:5] != "inter" or rows.item[CARB2, unit] >= 0):
                    row[column] = f"{shown:g}"
        if self.has_counter[unit] and wants(0.9):
            row["totaliser [L]"] = f"{rows.counter[unit] * gain[8]:.0f}"
        if cold_start and rng.random() < 0.4:
            row["minutes since start [min]"] = f"{int(rng.integers(0, 3))}"
        if k["pump"][unit] and rng.random() < 0.3:
            row["pump"] = "on"
        self.slip(row)
        if len(row) > 4:
            self.readings.append(row)
            if rng.random() < 0.006:
                self.readings.append(dict(row))  # uploaded twice

    def slip(self, row: dict[str, Any]) -> None:
        """A slip of the pen, on purpose: exchanged values, a digit, psi in the column for bar."""
        chance = self.rng.random()
        if chance < 0.002 and "feed tds [uS/cm]" in row and "permeate tds [ppm]" in row:
            row["feed tds [uS/cm]"], row["permeate tds [ppm]"] = row["permeate tds [ppm]"], row["feed tds [uS/cm]"]
        elif chance < 0.005 and "inlet pressure [bar]" in row:
            row["inlet pressure [bar]"] = f"{float(row['inlet pressure [bar]']) * 14.5:.0f}"
        elif chance < 0.007 and "permeate tds [ppm]" in row:
            row["permeate tds [ppm]"] += "0"

    def complaints(self, day: int, g: dict[str, Array], active: Array) -> None:
        """Clients call when the water is bad, if they see it, or slow; wells may go on for months."""
        k = self.world.k
        bad = (self.rows.item[RES] >= 0) & (g["product"] > 1.5 * k["target"])
        short = (g["drawn"] < 0.8 * g["use"]) | (g["permeate"] < 0.5 * (self.rows.usual - k["restrictor"]))
        hazard = 0.018 * bad + 0.02 * short + 0.004 * (g["salt_out"] > 0.3 * g["salt"])
        new = active & ~self.called & (self.rng.random(self.world.n) < hazard)
        self.next[new] = np.minimum(self.next[new], day + self.rng.integers(2, 15, int(new.sum())))
        self.called |= new

    def accidents(self, day: int, active: Array) -> None:
        """Seals that begin to leak, counters that are replaced, housings that crack."""
        rng = self.rng
        rolls = rng.random((3, self.world.n))
        self.rows.leak = np.where(active & (rolls[0] < 0.02 / 365), rng.uniform(0.01, 0.10), self.rows.leak)
        self.rows.counter = np.where(rolls[1] < 0.04 / 365, rng.uniform(0, 4), self.rows.counter)
        for unit in np.flatnonzero(active & (rolls[2] < 0.06 / 365)):
            there = [slot for slot in range(7) if self.rows.item[slot, unit] >= 0]
            self.change(int(unit), int(rng.choice(there)), day, why=str(rng.choice(["leaking", "broken", "damaged"])))

    def run(
        self, cuts: list[int]
    ) -> list[tuple[int, Rows, dict[tuple[int, int], dict[str, Any]], set[tuple[int, int]]]]:
        """Live through the history; answers what stood where at each cut."""
        world, kept = self.world, []
        for day in range(world.last + 1):
            self.commission(day)
            active = world.k["begin"] <= day
            with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
                g = live(self.rows, day, active)
            self.complaints(day, g, active)
            for unit in np.flatnonzero(active & (self.next <= day)):
                self.visit(int(unit), day, bool(self.called[unit]))
            self.accidents(day, active)
            for unit in np.flatnonzero(active & (self.rhythm > 0)):
                chance = {1: 0.97, 7: 1 / 7.3, 30: 1 / 36, 91: 1 / 110}[int(self.rhythm[unit])]
                if self.rng.random() < chance and day >= BEFORE:
                    now = self.rows.take(np.array([unit]))
                    source = "meter" if self.rhythm[unit] < 10 else "client"
                    self.read(int(unit), day, gauges(now, day, 2), source, "routine")
            if day in cuts:
                standing = {key: dict(line) for key, line in self.open.items()}
                kept.append((day, self.rows.take(np.flatnonzero(active)), standing, set(self.untold)))
        return kept


def _spread(value: Array, unit: int, n: int) -> Array:
    """One unit's value where an index over all units expects it."""
    if value.ndim == 2:
        wide = np.zeros((value.shape[0], n))
        wide[:, unit] = value[:, 0]
        return wide
    wide = np.zeros(n)
    wide[unit] = value[0]
    return wide


def nominal_life(world: World, unit: int, slot: int, item: int) -> float:
    """Days that the label gives at the use and the water that were told."""
    k, label = world.k, world.items[item].label
    litres = max(float(k["told_weekly"][unit]) / 7, 0.5)
    feed = litres / float(k["design_recovery"][unit])
    if STAGES[slot] == "sediment":
        return float(np.clip(label[7] / feed, 20, 1825))
    if STAGES[slot] == "carbon":
        dose = float(world.day["chlorine"][BEFORE : BEFORE + 365, unit].mean())
        return float(np.clip(label[8] / max(feed * dose / 1000, 1e-4), 20, 365))
    if STAGES[slot] == "membrane":
        return 1095.0
    salt = float(world.day["salt"][BEFORE : BEFORE + 365, unit].mean())
    return float(np.clip(label[1] * label[2] / (litres * (salt * 0.05 / 58.4 + 0.1) / 1000), 20, 1825))


def truth_rows(world: World, kept: list[Any], company: Company) -> list[dict[str, Any]]:
    """What nobody can know: the day each cartridge reaches its limit."""
    written: list[dict[str, Any]] = []
    for cut, rows, standing, untold in kept:
        count = len(rows.unit)
        who = np.arange(count)
        served_row, served_slot = np.nonzero(rows.item.T >= 0)
        everything = rows.take(np.concatenate([who, served_row]))
        spared = np.concatenate([np.full(count, -1), served_slot])
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            answer = future(everything, cut, spared)

        def day_of(day: int, cut: int = cut) -> str:
            return "" if day == NEVER or day > cut + AFTER else world.date(int(day)).isoformat()

        for place, (row, slot) in enumerate(zip(served_row, served_slot, strict=True)):
            unit = int(rows.unit[row])
            line = standing[unit, int(slot)]
            life = nominal_life(world, unit, slot, line["item_index"])
            placed = world.date(line["first"])
            written.append({
                "as_of": world.date(cut).isoformat(), "unit": company.name(unit), "stage": STAGES[slot],
                "role": company.role(unit, int(slot)), "exhausted_on": day_of(answer[slot, row]),
                "exhausted_on_rest_served": day_of(answer[slot, count + place]), "nominal_life_days": f"{life:.1f}",
                "label_exhausted_on": (placed + timedelta(days=round(life))).isoformat(),
                "fixed_exhausted_on": (placed + timedelta(days=CALENDAR_DAYS[STAGES[slot]])).isoformat(),
                # A line that is dated after the cut is not known by then either.
                "change_not_written": "yes" if (unit, int(slot)) in untold or line["placed"] > cut else "",
            })  # fmt: skip
    return written


def save(path: Path, rows: list[dict[str, Any]], columns: list[str]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, columns, extrasaction="ignore", restval="")
        writer.writeheader()
        writer.writerows(rows)


def item_rows(world: World) -> list[dict[str, Any]]:
    """The labels; here and there a line of the leaflet was never typed in."""
    rng, rows = world.rng, []
    for item in world.items:
        label = item.label
        row: dict[str, Any] = {"item": item.name, "stage": item.stage}
        if item.stage == "sediment":
            row |= {"micron rating [um]": label[2], "rated volume [m3]": f"{label[7] / 1000:g}"}
        elif item.stage == "carbon":
            row |= {"carbon kind": label[2], "carbon volume [L]": label[3], "chlorine capacity [g]": label[8]}
        elif item.stage == "membrane":
            row |= {"rated flow [gpd]": label[1], "rated pressure [psi]": f"{label[2] / PSI:.0f}",
                    "rejection [%]": f"{label[3] * 100:g}", "rated temperature [degC]": 25, "rated tds [ppm]": 250,
                    "rated recovery [%]": 15, "membrane material": "polyamide"}  # fmt: skip
        else:
            row |= {"resin volume [L]": label[1], "resin capacity [eq/L]": label[2]}
        if rng.random() < 0.15:
            row.pop(str(rng.choice(list(row)[2:])))
        rows.append(row)
    return rows


def unit_rows(world: World, company: Company) -> list[dict[str, Any]]:
    """The units as the office knows them."""
    rng, k, rows = world.rng, world.k, []
    for unit in range(world.n):
        resin = world.usual_item[RES, unit] >= 0
        begin = int(k["begin"][unit])
        rows.append({
            "unit": company.name(unit), "site": world.site[unit], "use": USES[k["use"][unit]],
            "kind": "ro_di" if resin else "ro",
            "weekly demand [L/week]": "" if rng.random() < 0.15 else f"{k['told_weekly'][unit]:.2g}",
            "product tds target [ppm]": k["told_target"][unit], "minimum rejection [%]": k["told_least"][unit],
            "recovery [%]": "" if rng.random() < 0.4 else round(k["design_recovery"][unit] * 100),
            "restrictor flow [mL/min]": "" if rng.random() < 0.6 else round(k["restrictor"][unit] / 1.44, -1),
            "tds factor": "" if company.scale[unit] == 0.5 or rng.random() < 0.12 else company.scale[unit],
            "tds resolution [ppm]": company.resolution[unit],
            "booster pump": "yes" if k["pump"][unit] else "no", "pressure tank": "yes" if k["tank"][unit] else "no",
            "chloraminated": "" if rng.random() < 0.3 else "yes" if world.day["amine"][BEFORE, unit] else "no",
            "totaliser": ("feed", "permeate", "product" if resin else "permeate")[k["stream"][unit]]
            if company.has_counter[unit] else "",
            "commissioned": "" if begin < BEFORE and rng.random() < 0.5 else world.date(begin).isoformat(),
        })  # fmt: skip
    return rows


def feed_water(world: World) -> list[dict[str, Any]]:
    """Leaflets of the works and samples of wells, at few sites and now and then."""
    rng, rows, seen = world.rng, [], set()
    for unit in range(world.n):
        if world.site[unit] in seen:
            continue
        seen.add(world.site[unit])
        for day in range(BEFORE + int(rng.integers(0, 300)), world.last, 365):
            if rng.random() < 0.25:
                d, k = world.day, world.k
                alkaline = 30 + 230 * k["hard"][unit] * np.exp(rng.normal(0, 0.1))
                # CO2 in mmol/L from alkalinity and pH with pK 6.4: pH follows from what the unit really gets.
                ph = np.clip(6.4 + np.log10(alkaline / 50 / max(k["co2"][unit], 0.02)), 6.2, 8.4)
                rows.append({
                    "site": world.site[unit], "time": world.date(day).isoformat(),
                    "ph": f"{ph + rng.normal(0, 0.1):.1f}",
                    "alkalinity [mg/L as CaCO3]": f"{alkaline:.0f}",
                    "hardness [dH]": f"{(25 + 300 * k['hard'][unit]) / 17.848:.1f}",
                    "total chlorine [mg/L]": "" if rng.random() < 0.4 else f"{d['chlorine'][day, unit]:.2f}",
                    "tds [ppm]": "" if rng.random() < 0.4 else f"{d['salt'][day, unit]:.0f}",
                })  # fmt: skip
    return rows


def what_is_told(world: World) -> None:
    """Targets that reached the office; where none did, the usual one is meant in the truth as well."""
    rng, k, n = world.rng, world.k, world.n
    silent = rng.random((2, n)) < np.array([[0.15], [0.25]])
    silent[1] &= (k["line"] >= 250) & (~k["tank"] | k["pump"])  # where 90 % cannot be had, the office knows
    k["target"] = np.where(silent[0], 1.0, k["target"])
    k["told_target"] = np.where(silent[0], "", np.array([f"{value:g}" for value in k["target"]]))
    k["least"] = np.where(silent[1], 0.90, k["least"])
    k["told_least"] = np.where(silent[1], "", np.array([f"{value * 100:g}" for value in k["least"]]))


def write_fleet(world: World, company: Company, out: Path) -> None:
    """The files of the company as they lie on the office's disk."""
    sites = dict(zip(world.site, world.supply, strict=True))
    save(out / "sites.csv", [{"site": site, "supply": supply} for site, supply in sites.items()], ["site", "supply"])
    units = unit_rows(world, company)
    save(out / "units.csv", units, list(units[0]))
    items = item_rows(world)
    save(out / "items.csv", items, list(dict.fromkeys(name for row in items for name in row)))
    lines = []
    for line in company.placements:
        if line["removed"] is not None and line["removed"] < BEFORE:
            continue
        days = {name: world.date(line[name]) for name in ("placed", "removed", "first") if line[name] is not None}
        moved = line["first"] != line["placed"]
        lines.append(line | {
            "placed": f"{days['placed']:%d.%m.%Y}",
            "removed": f"{days['removed']:%d.%m.%Y}" if "removed" in days else "",
            "first installed": f"{days['first']:%d.%m.%Y}" if moved else "",
        })  # fmt: skip
    known = {line["placement"] for line in lines}
    for line in lines:
        if line.get("continued from") not in known:
            line["continued from"] = ""
    columns = ["placement", "unit", "stage", "role", "item", "placed", "removed", "reason", "first installed"]
    save(out / "placements.csv", lines, [*columns, "continued from"])
    readings = sorted(company.readings, key=lambda row: (row["time"], row["unit"]))
    columns = list(dict.fromkeys(name for row in readings for name in row))
    save(out / "readings.csv", readings, columns or ["unit", "time"])
    water = feed_water(world)
    save(out / "feed_water.csv", water, list(water[0]) if water else ["site", "time", "ph"])


def main() -> None:
    parser = argparse.ArgumentParser(description="Write the fleet of a company between two rivers, and its truth.")
    parser.add_argument("--units", type=int, default=500)
    parser.add_argument("--years", type=float, default=4)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--out", type=Path, required=True)
    options = parser.parse_args()
    world = build(options.units, options.years, options.seed)
    what_is_told(world)
    company = Company(world)
    length = round(options.years * 365)
    kept = company.run([BEFORE + round(length * share) for share in (0.5, 0.75, 1.0)])
    write_fleet(world, company, options.out)
    truth = truth_rows(world, kept, company)
    save(options.out / "truth" / "truth.csv", truth, list(truth[0]))


if __name__ == "__main__":
    main()
