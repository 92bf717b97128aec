"""A made-up fleet of small reverse-osmosis units in a hot inland valley, all invented: water, people, firm, figures.

The world
    Nine districts, each fed by three wells whose shares change with the season, and now and then a well is lost or a
    new one is drilled. The water is hard, warm (64 to 88 degF), rich in silica, chlorinated with free chlorine and
    dusty: wells bring sand when pumps restart, and the spring wind brings more. Most units are drinking taps with a
    pressurised tank; many are for planted tanks; some coffee bars, small laboratories and a few reef keepers. Some
    houses stand empty in the hot months.

The physics (chosen by the author of this file)
    sediment    Pores narrow as dust is caught: the drop at the usual flow is d0 (1 + 3 s) / (1 - s)^1.5, s = dust held
                over dust capacity.
    carbon      A reacting bed: outlet = inlet exp(-N a), N from contact time and temperature, and the activity a falls
                with chlorine taken up and with age (dust and slime). Combined chlorine reacts at a quarter of the rate.
                A small share passes beside the bed.
    membrane    Solution and diffusion with back-pressure of the tank and osmotic pressure. Flow is lost to compaction,
                to scale (hardness, alkalinity, recovery, standing time) and to fine dust that passed the sediment; salt
                passage grows with age, heat and with chlorine that passed the carbon. Steps: a leaking seal, a membrane
                that dried.
    resin       Mixed beds loaded by ions and by carbon dioxide, with an S-shaped breakthrough and a slow loss of
                capacity without use.

The limits of use
    sediment    50 kPa at the usual flow and the mean temperature
    carbon      0.1 mg/L total chlorine behind the last carbon, or 365 days
    membrane    rejection (tank valve closed, conditions of the day, mean of about 30 days) below the unit's minimum, or
                permeability below 80 % of its first
    resin       lead of two: outlet at 50 % of the permeate TDS; last or single: product at the unit's target

The habits
    A spreadsheet in US units. Stickers on the housings say 6 or 12 months. Pocket meters read whole ppm. Reasons are
    mostly 'routine' or blank; some people write 'exhausted' whatever they saw. Two to four visits a year; some clients
    read monthly, a few meters daily or weekly. Dates are off by days in places, gauges drift, counters are replaced,
    wrong parts are fitted without a word.

Truth (folder truth)
    exhausted_on: nothing in the unit is changed after the cut. exhausted_on_rest_served: the other cartridges of the
    unit are replaced whenever they reach their limits. A limit already reached before the cut gives its own, earlier
    date. Empty: more than ten years after the cut.

Run: python inland_valley.py --units 500 --years 4 --seed 7 --out DIR
"""

import argparse
import csv
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np

START = date(2021, 3, 1)
CLOCK = timezone(timedelta(hours=-7))
GAL = 3.785411784
PSI = 6.894757
HORIZON = 3650
SEDIMENT1, SEDIMENT2, CARBON1, CARBON2, MEMBRANE, RESIN1, RESIN2 = range(7)
STAGES = ["sediment", "sediment", "carbon", "carbon", "membrane", "resin", "resin"]
ROLES = ["lead", "lag", "lead", "lag", "single", "lead", "lag"]
PARTNER = [1, 0, 3, 2, None, 6, 5]
FIXED = {"sediment": 180, "carbon": 365, "membrane": 730, "resin": 180}
MEMBRANE_USUAL = 1095
DISTRICTS = [
    "North bench",
    "Old orchard",
    "Canal side",
    "Mesa",
    "Dry creek",
    "Railway",
    "South flats",
    "Quarry hill",
    "East wells",
]

# name: stage, then what the label says
ITEMS = {
    "SED-10-5": {"stage": "sediment", "micron": 5, "volume": 19000.0, "grams": 26.0, "drop": 2.2},
    "SED-10-1": {"stage": "sediment", "micron": 1, "volume": 15000.0, "grams": 19.0, "drop": 3.4},
    "SED-10-20": {"stage": "sediment", "micron": 20, "volume": 30000.0, "grams": 34.0, "drop": 1.2},
    "SED-20-5": {"stage": "sediment", "micron": 5, "volume": 45000.0, "grams": 60.0, "drop": 1.5},
    "CB-10": {"stage": "carbon", "form": "block", "bed": 0.65, "chlorine": 24.0, "transfer": 17.0},
    "CB-20": {"stage": "carbon", "form": "block", "bed": 1.4, "chlorine": 60.0, "transfer": 26.0},
    "GAC-10": {"stage": "carbon", "form": "granular", "bed": 0.8, "chlorine": 18.0, "transfer": 10.0},
    "M-50": {"stage": "membrane", "gpd": 50, "rejection": 97.0},
    "M-75": {"stage": "membrane", "gpd": 75, "rejection": 97.5},
    "M-100": {"stage": "membrane", "gpd": 100, "rejection": 96.5},
    "M-200": {"stage": "membrane", "gpd": 200, "rejection": 96.5},
    "MB-1L": {"stage": "resin", "bed": 1.2, "capacity": 0.55},
    "MB-3L": {"stage": "resin", "bed": 3.0, "capacity": 0.55},
    "MB-5L": {"stage": "resin", "bed": 5.0, "capacity": 0.52},
}


def climate(rng, days):
    """Water of each district on each day: arrays of district by day."""
    n = len(DISTRICTS)
    t = np.arange(days)
    season = np.cos(2 * np.pi * (t - 140) / 365.25)  # one in late July, counted from the first of March
    out = {
        k: np.zeros((n, days))
        for k in ("tds", "hardness", "alkalinity", "ph", "temperature", "free", "combined", "turbidity", "silica")
    }
    for d in range(n):
        wells = {
            "tds": rng.uniform(260, 780, 3),
            "hardness": rng.uniform(170, 420, 3),
            "alkalinity": rng.uniform(150, 270, 3),
            "ph": rng.uniform(7.3, 8.0, 3),
            "silica": rng.uniform(18, 60, 3),
            "turbidity": rng.lognormal(np.log(0.55), 0.45, 3),
            "temperature": rng.uniform(21, 26, 3),
        }
        phase = rng.uniform(-60, 60, 3)
        weight = rng.uniform(0.3, 1.5, 3)[:, None] * np.exp(
            0.8 * rng.normal(size=3)[:, None] * np.cos(2 * np.pi * (t - 140 - phase[:, None]) / 365.25)
        )
        position = rng.exponential(900)
        while position < days:  # a pump fails for months, or the works changes over to another well for good
            length = rng.choice([rng.uniform(40, 200), days])
            well = rng.integers(3)
            weight[well, int(position) : int(position + length)] *= rng.choice([0.03, 4.0])
            position += rng.exponential(1100)
        weight /= weight.sum(0)
        for key, values in wells.items():
            out[key][d] = (weight * values[:, None]).sum(0)
        out["temperature"][d] += rng.uniform(3.0, 5.5) * season
        wind = 1 + 0.7 * np.exp(-((((t % 365.25) - 35) / 30.0) ** 2))
        sand = np.ones(days)
        start = rng.exponential(50)
        while start < days:
            length = int(rng.integers(2, 10))
            sand[int(start) : int(start) + length] *= rng.uniform(2, 6)
            start += rng.exponential(60)
        out["turbidity"][d] *= wind * np.minimum(sand, 9)
        dose = rng.uniform(0.55, 1.15)
        slow = np.convolve(rng.normal(size=days + 29), np.ones(30) / 30, mode="valid")
        out["free"][d] = np.clip(dose * (1 + 0.18 * season + 0.5 * slow), 0.15, 2.0)
        out["combined"][d] = rng.uniform(0.03, 0.09)
    return out


def make_units(rng, count, history, days):
    """Parameters of the units that never change (a dict of arrays), and their use on each day."""
    u = {}
    use = rng.choice(["drinking", "planted", "laboratory", "coffee", "reef"], count, p=[0.60, 0.19, 0.10, 0.07, 0.04])
    u["use"] = use
    resin = np.isin(use, ["laboratory", "reef"])
    u["resin"] = resin
    u["district"] = rng.integers(0, len(DISTRICTS), count)
    u["tank"] = (
        ((use == "drinking") & (rng.random(count) < 0.94))
        | ((use == "coffee") & (rng.random(count) < 0.8))
        | (resin & (rng.random(count) < 0.2))
    )
    u["booster"] = rng.random(count) < np.where(np.isin(use, ["coffee", "laboratory"]), 0.5, 0.12)
    base = {"drinking": 55, "planted": 170, "laboratory": 60, "coffee": 330, "reef": 75}
    demand = np.array([base[k] for k in use]) * rng.lognormal(0, 0.45, count)  # L/week
    u["gpd"] = np.select([demand > 420, demand > 220, demand > 95], [200, 100, 75], rng.choice([50, 75], count)).astype(
        float
    )
    u["membrane_item"] = np.array([f"M-{int(g)}" for g in u["gpd"]])
    u["told"] = demand * rng.lognormal(0, 0.3, count)
    u["line"] = rng.uniform(300, 480, count)
    u["line_dip"] = rng.uniform(5, 55, count)
    u["design"] = u["line"] + np.where(u["booster"], 220, 0)
    u["boost"] = np.where(u["booster"], rng.uniform(190, 260, count), 0.0)
    u["rated"] = u["gpd"] * GAL
    u["recovery"] = rng.choice([0.2, 0.25, 0.33, 0.4], count, p=[0.3, 0.4, 0.2, 0.1])
    u["restrictor"] = u["rated"] * (1 / u["recovery"] - 1)
    u["feed_flow"] = u["rated"] / u["recovery"] * u["design"] / 414
    u["temp_offset"] = rng.normal(0, 1.0, count)
    u["dust"] = rng.lognormal(0, 0.4, count)
    u["chlorine_left"] = rng.uniform(0.55, 1.0, count)
    u["scaling"] = rng.lognormal(0, 0.45, count)
    u["minimum"] = np.select(
        [use == "laboratory", use == "reef", use == "drinking"], [0.90, 0.90, 0.85], 0.87
    ) + rng.choice([-0.02, 0.0, 0.02], count)
    u["target"] = np.select(
        [use == "laboratory", use == "reef", use == "drinking", use == "coffee"],
        [
            rng.choice([1, 2, 5], count),
            rng.choice([2, 3, 5], count),
            rng.choice([50, 75, 100], count),
            rng.choice([60, 90], count),
        ],
        rng.choice([40, 60], count),
    ).astype(float)
    # which positions there are
    has = np.zeros((count, 7), bool)
    has[:, [SEDIMENT1, CARBON1, MEMBRANE]] = True
    has[:, SEDIMENT2] = rng.random(count) < 0.15
    has[:, CARBON2] = rng.random(count) < 0.38
    has[:, RESIN1] = resin
    has[:, RESIN2] = resin & (rng.random(count) < 0.55)
    u["has"] = has
    big = demand > 250
    kind = np.empty((count, 7), object)
    kind[:, SEDIMENT1] = np.where(
        big,
        "SED-20-5",
        np.where(has[:, SEDIMENT2], "SED-10-20", rng.choice(["SED-10-5", "SED-10-1"], count, p=[0.8, 0.2])),
    )
    kind[:, SEDIMENT2] = "SED-10-1"
    kind[:, CARBON1] = np.where(big, "CB-20", rng.choice(["CB-10", "GAC-10"], count, p=[0.7, 0.3]))
    kind[:, CARBON2] = np.where(big, "CB-20", "CB-10")
    kind[:, MEMBRANE] = u["membrane_item"]
    kind[:, RESIN1] = np.where(demand > 80, "MB-5L", rng.choice(["MB-3L", "MB-1L"], count, p=[0.75, 0.25]))
    kind[:, RESIN2] = kind[:, RESIN1]
    u["item"] = kind
    u["begin"] = np.where(
        rng.random(count) < 0.5, rng.integers(0, 30, count), rng.integers(0, int(0.42 * history), count)
    )
    # use on each day, L/day
    t = np.arange(days)
    season = np.cos(2 * np.pi * (t - 140) / 365.25)
    q = np.zeros((count, days), np.float32)
    for i in range(count):
        swing = rng.normal(
            {"drinking": 0.2, "planted": 0.3, "coffee": 0.05, "laboratory": 0.0, "reef": 0.25}[use[i]], 0.1
        )
        line = demand[i] / 7 * (1 + swing * season)
        if use[i] in ("drinking", "planted") and rng.random() < 0.12:  # away in the hot months
            line = np.where(((t % 365) > 95) & ((t % 365) < 190), 0.06 * line, line)
        if use[i] == "laboratory":
            line = np.where(((t % 365) > 292) & ((t % 365) < 308), 0.1 * line, line)
        for _ in range(rng.poisson(0.8 * days / 365.25)):  # holidays
            begin = rng.integers(days)
            line[begin : begin + rng.integers(6, 20)] *= 0.1
        for _ in range(rng.poisson(0.14 * days / 365.25)):  # lasting steps: a new tank, a child, a closed room
            line[rng.integers(days) :] *= np.exp(rng.normal(0, 0.35))
        q[i] = np.clip(line * rng.lognormal(0, 0.2, days), 0, 4 * demand[i] / 7)
    u["demand"] = q
    u["overrun"] = np.where(
        rng.random(count) < 0.05, rng.integers(0, days, count), 10**7
    )  # shut-off valve passes from that day
    # hidden steps on the membrane: day, kind (1 seal leak, 2 dried), size
    u["steps"] = {}
    for i in range(count):
        for _ in range(rng.poisson(0.035 * days / 365.25)):
            u["steps"].setdefault(int(rng.integers(days)), []).append(
                (
                    i,
                    int(rng.choice([1, 2], p=[0.7, 0.3])),
                    float(rng.uniform(0.02, 0.10)),
                    float(rng.uniform(0.1, 0.35)),
                )
            )
    return u


FIELDS = ("age", "x", "cap", "p1", "p2", "cross")
EXTRA = ("damage", "leak", "loss", "smooth")


def empty_state(count):
    s = {k: np.zeros((count, 7)) for k in FIELDS}
    s["cap"] += 1.0
    s["p1"] += 1.0
    s["cross"][:] = np.nan
    for k in EXTRA:
        s[k] = np.zeros(count)
    s["smooth"][:] = np.nan
    return s


def item_values(name, rng=None):
    """Capacity and two parameters of a real cartridge of that kind; without rng the mean one."""
    v = ITEMS[name]
    g = (lambda spread: float(np.exp(rng.normal(0, spread)))) if rng is not None else (lambda spread: 1.0)
    if v["stage"] == "sediment":
        return v["grams"] * g(0.22), v["drop"] * g(0.12), 0.0
    if v["stage"] == "carbon":
        return 0.85 * v["chlorine"] * g(0.22), v["transfer"] * g(0.15), 0.012 * g(0.5)
    if v["stage"] == "membrane":
        return 1.0, 1.0 * g(0.11), (1 - v["rejection"] / 100) * 1.15 * g(0.22)
    return 0.85 * v["bed"] * v["capacity"] * g(0.1), 0.07 * g(0.2), 0.0


def place(s, i, k, values):
    s["age"][i, k] = 0
    s["x"][i, k] = 0
    s["cap"][i, k], s["p1"][i, k], s["p2"][i, k] = values
    s["cross"][i, k] = np.nan
    if k == MEMBRANE:
        s["damage"][i] = s["leak"][i] = s["loss"][i] = 0
        s["smooth"][i] = np.nan


def advance(s, u, w, days, dt):
    """One step of dt days from the day of each row. u: parameters by row; w: water; returns what can be measured."""
    d, has = u["district"], u["has"]
    last = u["demand_table"].shape[1] - 1
    days = np.minimum(days, last)
    temp = w["temperature"][d, days] + u["temp_offset"]
    tds = w["tds"][d, days]
    turb = w["turbidity"][d, days] * u["dust"]
    free = w["free"][d, days] * u["chlorine_left"]
    combined = w["combined"][d, days]
    use = u["demand_table"][u["unit"], days]
    line = u["line"] - u["line_dip"] * np.cos(2 * np.pi * (days - 140) / 365.25)
    # sediment and prefilter drop at usual flow
    held = np.minimum(s["x"][:, :2] / s["cap"][:, :2], 0.95)
    drops = s["p1"][:, :2] * (u["feed_flow"] / 1400)[:, None] ** 0.6 * (1 + 3 * held) / (1 - held) ** 1.5 * has[:, :2]
    carbon_drop = (5.0 + 0.010 * s["age"][:, 2:4]) * has[:, 2:4]
    viscosity = np.exp(-0.022 * (temp - 24))
    total = (drops.sum(1) + carbon_drop.sum(1)) * viscosity
    before = line / (1 + total / u["design"])
    inlet = before + u["boost"] * before / (before + 80)
    # membrane
    f = s["x"][:, MEMBRANE]
    permeability = np.exp(-f + 0.22 * s["damage"]) * (1 - s["loss"]) * (1 - 0.02 * np.log1p(s["age"][:, MEMBRANE] / 30))
    tcf = np.exp(2700 * (1 / 298.15 - 1 / (temp + 273.15)))
    osmotic = 0.09 * tds * 1.15
    unit_flow = u["rated"] / 390 * s["p1"][:, MEMBRANE] * permeability * tcf
    flow = np.maximum(unit_flow * (inlet - osmotic), 1.0)
    back = np.where(u["tank"], 0.42 * inlet, 0.0)
    flow_tank = np.maximum(unit_flow * (inlet - back - osmotic), 0.8)
    waste = u["restrictor"] * np.sqrt(np.maximum(inlet, 5) / 414)
    b = s["p2"][:, MEMBRANE] * np.exp(s["damage"]) * np.exp(3600 * (1 / 298.15 - 1 / (temp + 273.15)))

    def salt(q):
        r = q / (q + waste)
        concentration = -np.log1p(-np.minimum(r, 0.9)) / np.maximum(r, 0.01)
        return np.minimum(tds * (concentration * b / (q / u["rated"] + b) + s["leak"]), tds)

    permeate = salt(flow)
    made = salt(flow_tank)
    product_volume = np.minimum(use, flow_tank)
    running = product_volume / flow_tank
    feed_volume = running * (flow_tank + waste) + np.where(days >= u["overrun"], 0.25 * (1 - running) * waste, 0.0)
    # dust
    coming = 1.3e-3 * turb * feed_volume
    catch = np.where(held > 0.9, 0.3, 0.88)  # a full one lets dust through
    first = catch[:, 0] * np.where(has[:, 1], 0.6, 1.0) * coming  # the first of two is the coarse one
    second = np.where(has[:, 1], catch[:, 1] * (coming - first), 0)
    fines = coming - first - second
    # carbon
    contact = 1400 / np.maximum(flow_tank + waste, 200)
    heat = np.exp(0.03 * (temp - 24))
    c_free, c_comb = free, combined
    taken, mids = [], []
    for k in (CARBON1, CARBON2):
        activity = np.maximum(1 - s["x"][:, k] / s["cap"][:, k], 0) ** 1.4 * np.exp(-s["age"][:, k] / 900)
        n = np.minimum(s["p1"][:, k] * activity * contact * heat, 60)
        side = s["p2"][:, k]
        out_free = np.where(has[:, k], c_free * (side + (1 - side) * np.exp(-n)), c_free)
        out_comb = np.where(has[:, k], c_comb * (side + (1 - side) * np.exp(-0.25 * n)), c_comb)
        taken.append((c_free - out_free + c_comb - out_comb) * feed_volume * 1e-3)
        c_free, c_comb = out_free, out_comb
        mids.append(c_free + c_comb)
    out_total = c_free + c_comb
    # resin
    co2 = w["alkalinity"][d, days] / 50 / 10 ** (w["ph"][d, days] - 6.35)
    load = product_volume * (made * 2 / 115 + co2) * 1e-3
    fractions, loads = [], []
    coming_eq, concentration = load, made
    for k in (RESIN1, RESIN2):
        capacity = s["cap"][:, k] * np.maximum(1 - 0.07 * s["age"][:, k] / 365, 0.3)
        z = np.clip((s["x"][:, k] / capacity - 1) / s["p1"][:, k], -40, 40)
        fraction = np.where(has[:, k], 1 / (1 + np.exp(-z)), 1.0)
        loads.append(coming_eq * (1 - fraction))
        coming_eq = coming_eq * fraction
        concentration = concentration * fraction
        fractions.append(concentration)
    # limits
    rejection = 1 - permeate / tds
    share = min(1.0, dt / 30)
    s["smooth"] = np.where(np.isnan(s["smooth"]), rejection, s["smooth"] + share * (rejection - s["smooth"]))
    over = np.zeros(has.shape, bool)
    over[:, :2] = drops >= 50
    over[:, 2:4] = (out_total >= 0.1)[:, None] | (s["age"][:, 2:4] >= 365)
    over[:, MEMBRANE] = ((s["smooth"] < u["minimum"]) & (s["age"][:, MEMBRANE] > 10)) | (permeability < 0.8)
    two = has[:, RESIN2]
    over[:, RESIN1] = np.where(two, fractions[0] >= 0.5 * made, fractions[0] >= u["target"])
    over[:, RESIN2] = fractions[1] >= u["target"]
    over &= has
    # go on
    s["age"] += dt
    s["x"][:, 0] += first * dt
    s["x"][:, 1] += second * dt
    s["x"][:, 2] += taken[0] * dt
    s["x"][:, 3] += taken[1] * dt
    r = flow_tank / (flow_tank + waste)
    scale = (
        u["scaling"]
        * w["hardness"][d, days]
        / 300
        * w["alkalinity"][d, days]
        / 210
        * (0.75 / (1 - np.minimum(r, 0.7))) ** 1.5
        * np.exp(0.02 * (temp - 24))
    )
    s["x"][:, 4] += dt * (scale * (0.012 + 0.07 * np.sqrt(running)) / 365 + 0.006 * fines / (u["rated"] / 284))
    s["x"][:, 5] += loads[0] * dt
    s["x"][:, 6] += loads[1] * dt
    exposure = (c_free + 0.15 * c_comb) * 24 * np.sqrt(running)
    s["damage"] += dt * (0.07 * np.exp(0.05 * (temp - 25)) / 365 + exposure / 2600)
    return {
        "over": over,
        "temp": temp,
        "tds": tds,
        "free": free,
        "total": free + combined,
        "line": line,
        "before": before,
        "inlet": inlet,
        "flow": flow,
        "flow_tank": flow_tank,
        "back": back,
        "waste": waste,
        "permeate": permeate,
        "made": made,
        "product": fractions[1],
        "mid": fractions[0],
        "mid_chlorine": mids[0],
        "out_free": c_free,
        "out_total": out_total,
        "product_volume": product_volume,
        "feed_volume": feed_volume,
        "chlorine_load": (free + combined) * feed_volume * 1e-3,
        "resin_load": load,
        "drops": drops,
        "permeability": permeability,
        "ph": w["ph"][d, days],
    }


ROW_KEYS = (
    "district",
    "tank",
    "line",
    "line_dip",
    "design",
    "boost",
    "rated",
    "restrictor",
    "feed_flow",
    "temp_offset",
    "dust",
    "chlorine_left",
    "scaling",
    "minimum",
    "target",
    "has",
    "overrun",
)


def rows_of(u, index):
    r = {k: u[k][index] for k in ROW_KEYS}
    r["unit"] = index
    r["demand_table"] = u["demand"]
    return r


def apply_steps(s, events, rows_by_unit, since):
    for i, kind, leak, loss in events:
        for row in rows_by_unit.get(i, ()):
            if since is None or since[row]:
                if kind == 1:
                    s["leak"][row] += leak
                else:
                    s["loss"][row] = 1 - (1 - s["loss"][row]) * (1 - loss)


def day_of(n):
    return (START + timedelta(days=int(n))).isoformat()


class Office:
    """The spreadsheet: what was written down."""

    def __init__(self):
        self.placements, self.readings, self.last = [], [], {}

    def put(self, rng, unit, k, role, item, day, first=None, origin=None):
        number = f"P{len(self.placements) + 1:05d}"
        written = int(day)
        if rng.random() < 0.15:
            written += int(rng.integers(-4, 5))
        previous = self.last.get((unit, k))
        if previous is not None:
            written = max(written, previous["on"] + 1)
            previous["removed"] = written
        row = {
            "number": number,
            "unit": unit,
            "k": k,
            "role": role,
            "item": item,
            "on": written,
            "removed": None,
            "reason": "",
            "first": first,
            "origin": origin,
        }
        self.placements.append(row)
        self.last[unit, k] = row
        return row


def simulate(rng, u, w, count, history, cuts):
    s = empty_state(count)
    index = np.arange(count)
    rows = rows_of(u, index)
    office = Office()
    name = [f"V-{i + 101:04d}" for i in range(count)]
    begin = u["begin"]
    two = {k: u["has"][:, PARTNER[k]] if PARTNER[k] is not None else np.zeros(count, bool) for k in range(7)}
    u["role"] = lambda i, k: ROLES[k] if two[k][i] else "single"
    placed = np.full((count, 7), -1)
    # people
    sticker = np.zeros((count, 7))
    sticker[:, :2] = rng.choice([182, 365], count, p=[0.72, 0.28])[:, None]
    sticker[:, 2:4] = rng.choice([182, 365], count, p=[0.3, 0.7])[:, None]
    sticker[:, 4] = rng.choice([730, 1095], count, p=[0.6, 0.4])
    sticker[:, 5:] = rng.choice([182, 365], count, p=[0.6, 0.4])[:, None]
    sticker[rng.random(count) < 0.18] = 1e9  # by what is seen only
    gap = rng.choice([182.0, 122.0, 91.0], count, p=[0.6, 0.25, 0.15])
    next_visit = begin + gap * rng.uniform(0.5, 1.1, count)
    monthly = rng.random(count) < np.where(u["resin"], 0.6, 0.15)
    next_client = np.where(monthly, begin + rng.uniform(5, 30, count), 1e9)
    meter = rng.choice([0, 1, 7], count, p=[0.94, 0.025, 0.035])
    meter_from = begin + rng.integers(0, 300, count)
    gauge = rng.choice(["inlet", "before", "line", "both", "none"], count, p=[0.55, 0.15, 0.08, 0.12, 0.10])
    gauge_off, gauge_drift = rng.normal(0, 2.0, count), rng.normal(0, 0.8, count)
    line_off = rng.normal(0, 1.5, count)
    gauge_step = rng.choice([1.0, 2.0, 5.0], count, p=[0.35, 0.45, 0.2])
    meter_gain = rng.normal(1, 0.035, count)
    meter_drift = rng.normal(0, 0.015, count)
    counter = np.where(rng.random(count) < np.where(meter > 0, 0.8, 0.13), 1, 0)
    u["counter"] = counter
    u["counts"] = np.where(rng.random(count) < 0.7, "feed", "permeate")
    count_gain = rng.normal(1, 0.03, count)
    total_count = rng.uniform(0, 300, count) * counter
    rotates = rng.random(count) < 0.5
    fine_kit = rng.random(count) < 0.35
    sums = {k: np.zeros(count) for k in ("feed_volume", "chlorine_load", "resin_load")}
    lived = np.zeros(count)
    snapshots = {}
    by_unit = {i: (i,) for i in range(count)}

    def fit(i, k, day, reason=None):
        item = u["item"][i, k]
        real = item
        if rng.random() < 0.025:  # a wrong part, and nobody writes it
            real = {"sediment": "SED-10-1", "carbon": "GAC-10", "membrane": item, "resin": "MB-1L"}[STAGES[k]]
        if reason is not None and (name[i], k) in office.last:
            office.last[name[i], k]["reason"] = reason
        office.put(rng, name[i], k, u["role"](i, k), item, day)
        place(s, i, k, item_values(real, rng))
        placed[i, k] = day

    def rotate(i, day, reason):
        lag = office.last[name[i], RESIN2]
        office.last[name[i], RESIN1]["reason"] = reason
        lag["reason"] = "rotated"
        origin = lag["number"]
        old = office.last[name[i], RESIN1]
        new = office.put(
            rng,
            name[i],
            RESIN1,
            "lead",
            lag["item"],
            day,
            first=lag["on"] if lag["first"] is None else lag["first"],
            origin=origin,
        )
        old["removed"] = new["on"] = max(new["on"], lag["on"] + 1)
        for key in ("age", "x", "cap", "p1", "p2"):
            s[key][i, RESIN1] = s[key][i, RESIN2]
        s["cross"][i, RESIN1] = np.nan
        placed[i, RESIN1] = day
        office.put(rng, name[i], RESIN2, "lag", u["item"][i, RESIN2], day)
        office.last[name[i], RESIN2]["on"] = new["on"]
        lag["removed"] = new["on"]
        place(s, i, RESIN2, item_values(u["item"][i, RESIN2], rng))
        placed[i, RESIN2] = day

    def ppm(i, value, day):
        return round(
            max(
                value * (meter_gain[i] + meter_drift[i] * day / 365) + rng.normal(0, 0.4) + 0.01 * value * rng.normal(),
                0,
            )
        )

    def psi(i, value, day, off=None):
        off = gauge_off[i] + gauge_drift[i] * day / 365 if off is None else off
        step = gauge_step[i]
        return max(round((value / PSI + off + rng.normal(0, 0.7)) / step) * step, 0)

    def chlorine(i, value):
        if fine_kit[i]:
            return round(max(value * rng.normal(1, 0.08) + rng.normal(0, 0.015), 0), 2)
        return round(max(value * rng.normal(1, 0.15) + rng.normal(0, 0.03), 0), 1)

    def read(o, i, day, who, occasion):
        r = {"unit": name[i], "source": who, "occasion": occasion}
        hour = rng.uniform(8, 17) if who != "meter" else 3.0
        midnight = datetime(START.year, START.month, START.day, tzinfo=CLOCK)
        r["time"] = (midnight + timedelta(days=int(day), minutes=int(hour * 60))).isoformat(timespec="minutes")
        pro = who == "installer"
        left = occasion == "as_left"

        def chance(p):
            return rng.random() < p

        if who == "meter":
            r["permeate_tds"] = ppm(i, o["made"][i], day)
            if chance(0.8):
                r["feed_tds"] = ppm(i, o["tds"][i], day)
            if u["resin"][i]:
                r["product_tds"] = ppm(i, o["product"][i], day)
            if counter[i]:
                r["count"] = round(total_count[i], 1)
            if gauge[i] in ("inlet", "both") and chance(0.7):
                r["inlet"] = psi(i, o["inlet"][i], day)
            if not chance(0.5):
                r["state"] = "flowing"
            return office.readings.append(r)
        static = chance(0.06 if pro else 0.12)
        if chance(0.85 if pro else 0.75):
            closed = pro and chance(0.6) and u["tank"][i]
            open_tank = u["tank"][i] and not closed
            value = o["permeate"][i] if not open_tank else o["made"][i]
            flushed = pro and chance(0.8)
            r["permeate_tds"] = ppm(i, value * (1 if flushed or not pro else 1.12), day)
            if chance(0.3):
                r["flushed"] = "yes" if flushed else "no"
            if u["tank"][i] and chance(0.45):
                r["valve"] = "closed" if closed else "open"
        if pro and chance(0.05):
            r["permeate_start"] = ppm(i, o["permeate"][i] * rng.uniform(1.5, 3.5), day)
        if chance(0.72 if pro else 0.3):
            r["feed_tds"] = ppm(i, o["tds"][i], day)
        if u["resin"][i] and chance(0.9):
            r["product_tds"] = ppm(i, o["product"][i], day)
            if u["has"][i, RESIN2] and chance(0.5):
                r["mid_tds"] = ppm(i, o["mid"][i], day)
        if gauge[i] != "none" and chance(0.75 if pro else 0.3):
            if gauge[i] in ("inlet",):
                r["inlet"] = psi(i, (u["line"][i] + u["boost"][i]) if static else o["inlet"][i], day)
            if gauge[i] in ("before", "both"):
                r["before"] = psi(i, u["line"][i] if static else o["before"][i], day)
            if gauge[i] in ("line", "both"):
                r["line"] = psi(i, o["line"][i], day, line_off[i])
            if static or chance(0.55):
                r["state"] = "static" if static else "flowing"
            if u["booster"][i] and not static and chance(0.3):
                r["pump"] = "on"
        if pro and not left:
            if u["tank"][i] and chance(0.15):
                r["tank"] = psi(i, o["back"][i] * rng.uniform(0.6, 1.5), day, rng.normal(0, 1))
            if chance(0.2):
                r["chlorine_total"] = chlorine(i, o["total"][i])
                if chance(0.5):
                    r["chlorine_free"] = chlorine(i, o["free"][i])
            if chance(0.3):
                r["out_total"] = chlorine(i, o["out_total"][i])
            if u["has"][i, CARBON2] and chance(0.12):
                r["mid_chlorine"] = chlorine(i, o["mid_chlorine"][i])
            if chance(0.06):
                r["ph"] = round(o["ph"][i] + rng.normal(0, 0.15), 1)
        if pro and chance(0.35):
            r["temp"] = round(o["temp"][i] * 1.8 + 32 + rng.normal(0, 1.5))
        if pro and not static and chance(0.22):
            closed = r.get("valve") != "open"
            r["flow"] = round((o["flow"][i] if closed else o["flow_tank"][i]) / GAL * rng.normal(1, 0.06), 0)
            if chance(0.5):
                r["waste"] = round(o["waste"][i] / GAL * rng.normal(1, 0.06), 0)
            if chance(0.4):
                r["minutes"] = int(rng.choice([2, 5, 10, 15]))
        if counter[i] and chance(0.85):
            r["count"] = round(total_count[i], 1)
        if len(r) > 4:
            office.readings.append(r)
        return None

    def why(bad, seen):
        z = rng.random()
        if seen and bad:
            return "exhausted" if z < 0.55 else "routine" if z < 0.8 else ""
        if seen and not bad:
            return "early" if z < 0.06 else "exhausted" if z < 0.14 else "routine" if z < 0.75 else ""
        return (
            "exhausted"
            if z < 0.10
            else "damaged"
            if z < 0.115
            else "unknown"
            if z < 0.15
            else "routine"
            if z < 0.7
            else ""
        )

    def change(i, k, day, bad, seen, done):
        if k == RESIN1 and u["has"][i, RESIN2] and rotates[i]:
            rotate(i, day, why(bad, seen))
            done.update((RESIN1, RESIN2))
        else:
            fit(i, k, day, reason=why(bad, seen))
            done.add(k)

    def visit(o, i, day, complaint):
        read(o, i, day, "installer", rng.choice(["as_found", "", "routine"], p=[0.45, 0.35, 0.2]))
        done = set()
        refuses = rng.random() < 0.12 and not complaint
        for k in range(7):
            if not u["has"][i, k] or k in done:
                continue
            bad = bool(o["over"][i, k])
            far = {0: o["drops"][i, 0] > 65, 1: o["drops"][i, 1] > 65}.get(k, bad)
            if k in (CARBON1, CARBON2):
                far = o["out_total"][i] > 0.12
            looks = rng.random() < (
                0.85 if complaint else {0: 0.45, 1: 0.45, 2: 0.25, 3: 0.25, 4: 0.45, 5: 0.8, 6: 0.8}[k]
            )
            due = s["age"][i, k] > sticker[i, k] - 30
            if (far and looks) or (due and not refuses and rng.random() < 0.9):
                change(i, k, day, bad, looks, done)
            elif rng.random() < 0.006:
                change(i, k, day, bad, False, done)
        if done and rng.random() < 0.4:
            return done
        return set()

    for day in range(history):
        live = begin <= day
        for i in np.flatnonzero(begin == day):
            for k in range(7):
                if u["has"][i, k]:
                    fit(i, k, day)
        if day in u["steps"]:
            apply_steps(s, u["steps"][day], by_unit, live)
        frozen = {k: s[k][~live].copy() for k in FIELDS + EXTRA}
        if day in cuts:
            snapshots[day] = {
                "state": {k: v.copy() for k, v in s.items()},
                "placed": placed.copy(),
                "sums": {k: v.copy() for k, v in sums.items()},
                "lived": lived.copy(),
                "item": {(n, k): row["item"] for (n, k), row in office.last.items()},
            }
        o = advance(s, rows, w, np.full(count, day), 1)
        for k in FIELDS + EXTRA:
            s[k][~live] = frozen[k]
        fresh = o["over"] & np.isnan(s["cross"]) & live[:, None]
        s["cross"][fresh] = day
        for k in sums:
            sums[k] += o[k] * live
        lived += live
        total_count += (
            counter * np.where(u["counts"] == "feed", o["feed_volume"], o["product_volume"]) / GAL * count_gain * live
        )
        for i in np.flatnonzero(counter & live & (rng.random(count) < 0.0002)):
            total_count[i] = 0.0
        # complaints: weak flow, or bad water
        weak = o["drops"].max(1) > 120
        salty = u["resin"] & (o["product"] > 2.5 * u["target"] + 3)
        slow = o["permeability"] < 0.55
        bad_water = o["permeate"] / o["tds"] > 0.3
        complain = live & (rng.random(count) < 0.04 * weak + 0.012 * salty + 0.01 * slow + 0.008 * bad_water)
        again = []
        for i in np.flatnonzero(live & ((day >= next_visit) | complain)):
            if not complain[i]:
                next_visit[i] = day + max(gap[i] * rng.normal(1, 0.1), 30)
                if rng.random() < 0.06:
                    continue
            if visit(o, i, day, complain[i]):
                again.append(i)
        if again:
            trial = {k: v.copy() for k, v in s.items()}
            after = advance(trial, rows, w, np.full(count, day), 1)
            for i in again:
                read(after, i, day, "installer", "as_left")
                office.readings[-1]["time"] = office.readings[-1]["time"][:11] + "17:40-07:00"
        for i in np.flatnonzero(live & (day >= next_client)):
            next_client[i] = day + rng.uniform(24, 45)
            if rng.random() < 0.8:
                read(o, i, day, "client", "")
                if u["resin"][i] and o["product"][i] > 1.3 * u["target"][i] + 0.7 and rng.random() < 0.5:
                    change(i, RESIN1, day, bool(o["over"][i, RESIN1]), True, set())
        for i in np.flatnonzero(live & (meter > 0) & (day >= meter_from)):
            if day % meter[i] == 0 and rng.random() < 0.95:
                read(o, i, day, "meter", "")
    day = history
    snapshots[day] = {
        "state": {k: v.copy() for k, v in s.items()},
        "placed": placed.copy(),
        "sums": sums,
        "lived": lived,
        "item": {(n, k): row["item"] for (n, k), row in office.last.items()},
    }
    return name, office, snapshots


def ahead(u, w, snapshots):
    """Dates of exhaustion of the unit left alone, of each position with the rest kept up, of a fresh mean cartridge."""
    count = len(u["district"])
    where = np.argwhere(u["has"])
    result, blocks, starts, units, targets, kinds = {}, [], [], [], [], []
    mean = empty_state(count)
    for i, k in where:
        place(mean, i, k, item_values(u["item"][i, k]))
    for cut, snap in snapshots.items():
        state = snap["state"]
        for idx, target, kind in (
            (np.arange(count), np.full(count, -1), "alone"),
            (where[:, 0], where[:, 1], "served"),
        ):
            blocks.append({k: state[k][idx].copy() for k in FIELDS + EXTRA})
            starts.append(np.full(len(idx), cut))
            units.append(idx)
            targets.append(target)
            kinds += [(cut, kind)] * len(idx)
    blocks.append({k: mean[k][where[:, 0]].copy() for k in FIELDS + EXTRA})
    starts.append(np.zeros(len(where), int))
    units.append(where[:, 0])
    targets.append(where[:, 1])
    kinds += [(None, "fresh")] * len(where)
    s = {k: np.concatenate([b[k] for b in blocks]) for k in FIELDS + EXTRA}
    start, unit, target = map(np.concatenate, (starts, units, targets))
    rows = rows_of(u, unit)
    new = {k: mean[k][unit] for k in ("cap", "p1", "p2")}
    own = np.zeros(s["age"].shape, bool)
    served = target >= 0
    own[served, target[served]] = True
    partner_of = np.array([1, 0, 3, 2, 4, 6, 5])
    partner = partner_of[np.maximum(target, 0)]
    paired = served & np.isin(target, (CARBON1, CARBON2)) & rows["has"][np.arange(len(unit)), partner]
    line = np.arange(len(unit))
    is_fresh = np.array([k[1] == "fresh" for k in kinds])
    row_groups = {}
    for r, i in enumerate(unit):
        if not is_fresh[r]:
            row_groups.setdefault((int(i), int(start[r])), []).append(r)
    cut_days = sorted(snapshots)
    elapsed = 0
    while elapsed < HORIZON:
        dt = 1 if elapsed < 540 else 3
        for cut in cut_days:
            for d in range(cut + elapsed, cut + elapsed + dt):
                for event in u["steps"].get(d, ()):
                    apply_steps(s, [event], {event[0]: row_groups.get((event[0], cut), ())}, None)
        o = advance(s, rows, w, start + elapsed, dt)
        over = o["over"]
        counted = over.copy()
        if (
            paired.any()
        ):  # with a partner that is kept up, the chlorine behind both counts only while the partner is new
            r = line[paired]
            t, p = target[paired], partner[paired]
            counted[r, t] = over[r, t] & ((s["age"][r, t] >= 365) | (s["age"][r, p] <= 2 * dt + 1))
        hit = counted & np.isnan(s["cross"])
        s["cross"] = np.where(hit, (start + elapsed)[:, None], s["cross"])
        renew = over & ~own & served[:, None]
        if renew.any():
            s["age"][renew] = 0
            s["x"][renew] = 0
            for k in ("cap", "p1", "p2"):
                s[k][renew] = new[k][renew]
            m = renew[:, MEMBRANE]
            for k in ("damage", "leak", "loss"):
                s[k][m] = 0
            s["smooth"][m] = np.nan
        elapsed += dt
    for r, (cut, kind) in enumerate(kinds):
        if kind == "alone":
            for k in np.flatnonzero(u["has"][unit[r]]):
                result[cut, "alone", int(unit[r]), int(k)] = s["cross"][r, k]
        else:
            result[cut, kind, int(unit[r]), int(target[r])] = s["cross"][r, target[r]]
    return result


def label_days(u, snap, name, i, k):
    """Whole life that a person would work out from the label and the mean load."""
    lived = max(snap["lived"][i], 1)
    item = ITEMS[snap["item"][name[i], k]]
    load = {key: max(v[i] / lived, 1e-9) for key, v in snap["sums"].items()}
    if STAGES[k] == "sediment":
        return item["volume"] / load["feed_volume"]
    if STAGES[k] == "carbon":
        return min(item["chlorine"] / load["chlorine_load"], 365)
    if STAGES[k] == "membrane":
        return MEMBRANE_USUAL
    return item["bed"] * item["capacity"] / load["resin_load"]


def write(path, header, rows):
    with path.open("w", newline="", encoding="utf-8") as f:
        out = csv.writer(f)
        out.writerow(header)
        out.writerows([["" if v is None else v for v in row] for row in rows])


def main():
    parser = argparse.ArgumentParser(description="A made-up fleet in a hot inland valley")
    parser.add_argument("--units", type=int, default=500)
    parser.add_argument("--years", type=float, default=4)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--out", type=Path, required=True)
    a = parser.parse_args()
    if a.units < 1 or a.years <= 0:
        parser.error("--units must be at least 1 and --years above 0")
    rng = np.random.default_rng(a.seed)
    history = round(a.years * 365.25)
    days = history + HORIZON + 10
    cuts = [int(history * 0.5), int(history * 0.75)]
    w = climate(rng, days)
    u = make_units(rng, a.units, history, days)
    name, office, snapshots = simulate(rng, u, w, a.units, history, cuts)
    result = ahead(u, w, snapshots)
    out = a.out
    (out / "truth").mkdir(parents=True, exist_ok=True)
    # sites: laboratories share one
    site, number = [], 0
    last_lab = {}
    for i in range(a.units):
        lab = last_lab.get(u["district"][i]) if u["use"][i] == "laboratory" else None
        if lab is not None and rng.random() < 0.5:
            site.append(lab)
            continue
        number += 1
        site.append(f"Site {number:03d}")
        if u["use"][i] == "laboratory":
            last_lab[u["district"][i]] = site[-1]
    where = {}
    for i, x in enumerate(site):
        where.setdefault(x, i)
    write(out / "sites.csv", ["site", "supply"], [[x, DISTRICTS[u["district"][i]]] for x, i in where.items()])

    def blank(value, p):
        return value if rng.random() < p else ""

    write(
        out / "units.csv",
        [
            "unit",
            "site",
            "use",
            "kind",
            "weekly demand [US gal/week]",
            "product tds target [ppm]",
            "recovery [%]",
            "restrictor flow [gpd]",
            "minimum rejection [%]",
            "tds factor",
            "tds resolution [ppm]",
            "booster pump",
            "pressure tank",
            "chloraminated",
            "totaliser",
            "commissioned",
        ],
        [
            [
                name[i],
                site[i],
                u["use"][i],
                "ro_di" if u["resin"][i] else "ro",
                round(u["told"][i] / GAL, 0),
                u["target"][i],
                blank(round(100 * u["recovery"][i]), 0.7),
                blank(round(u["restrictor"][i] / GAL), 0.6),
                round(100 * u["minimum"][i]),
                blank(0.5, 0.8),
                1,
                "yes" if u["booster"][i] else "no",
                "yes" if u["tank"][i] else "no",
                blank("no", 0.8),
                u["counts"][i] if u["counter"][i] else "",
                day_of(u["begin"][i]),
            ]
            for i in range(a.units)
        ],
    )
    short = {"sediment": "SED", "carbon": "CARB", "membrane": "MEM", "resin": "DI"}

    def label(i, k):
        return f"{name[i]}/{short[STAGES[k]]}" + (
            "" if u["role"](i, k) == "single" else "1" if u["role"](i, k) == "lead" else "2"
        )

    write(
        out / "positions.csv",
        ["position", "unit", "stage", "role", "order"],
        [
            [label(i, k), name[i], STAGES[k], u["role"](i, k), n + 1]
            for i in range(a.units)
            for n, k in enumerate(np.flatnonzero(u["has"][i]))
        ],
    )
    items = []
    for key, v in ITEMS.items():
        st = v["stage"]
        items.append(
            [
                key,
                st,
                v.get("micron"),
                round(v["volume"] / GAL, -2) if "volume" in v else None,
                v.get("form"),
                round(v["bed"] / 28.316847, 3) if "bed" in v and st == "carbon" else None,
                v.get("chlorine"),
                v.get("gpd"),
                60 if st == "membrane" else None,
                77 if st == "membrane" else None,
                250 if st == "membrane" else None,
                15 if st == "membrane" else None,
                "polyamide" if st == "membrane" else None,
                v.get("rejection"),
                round(v["bed"] / 28.316847, 3) if st == "resin" else None,
                v.get("capacity"),
                365 if st == "carbon" else None,
            ]
        )
    write(
        out / "items.csv",
        [
            "item",
            "stage",
            "micron rating [um]",
            "rated volume [US gal]",
            "carbon kind",
            "carbon volume [ft3]",
            "chlorine capacity [g]",
            "rated flow [gpd]",
            "rated pressure [psi]",
            "rated temperature [degF]",
            "rated tds [ppm]",
            "rated recovery [%]",
            "membrane material",
            "rejection [%]",
            "resin volume [ft3]",
            "resin capacity [eq/L]",
            "maximum service time [days]",
        ],
        items,
    )
    number_of = {n: i for i, n in enumerate(name)}
    write(
        out / "placements.csv",
        ["placement", "position", "item", "placed", "removed", "reason", "first installed", "continued from"],
        [
            [
                p["number"],
                label(number_of[p["unit"]], p["k"]),
                p["item"],
                day_of(p["on"]),
                None if p["removed"] is None else day_of(p["removed"]),
                p["reason"] if p["removed"] is not None else "",
                None if p["first"] is None else day_of(p["first"]),
                p["origin"],
            ]
            for p in office.placements
        ],
    )
    columns = [
        ("unit", "unit"),
        ("time", "time"),
        ("line pressure [psi]", "line"),
        ("prefilter outlet pressure [psi]", "before"),
        ("inlet pressure [psi]", "inlet"),
        ("tank pressure [psi]", "tank"),
        ("temperature [degF]", "temp"),
        ("feed tds [ppm]", "feed_tds"),
        ("permeate tds [ppm]", "permeate_tds"),
        ("permeate tds at start [ppm]", "permeate_start"),
        ("interstage tds [ppm]", "mid_tds"),
        ("product tds [ppm]", "product_tds"),
        ("permeate flow [gpd]", "flow"),
        ("concentrate flow [gpd]", "waste"),
        ("feed free chlorine [ppm]", "chlorine_free"),
        ("feed total chlorine [ppm]", "chlorine_total"),
        ("interstage chlorine [ppm]", "mid_chlorine"),
        ("carbon outlet total chlorine [ppm]", "out_total"),
        ("feed ph", "ph"),
        ("totaliser [US gal]", "count"),
        ("minutes since start [min]", "minutes"),
        ("state", "state"),
        ("tank valve", "valve"),
        ("pump", "pump"),
        ("sampled after flush", "flushed"),
        ("occasion", "occasion"),
        ("source", "source"),
    ]
    office.readings.sort(key=lambda r: (r["time"], r["unit"]))
    write(out / "readings.csv", [c for c, _ in columns], [[r.get(k, "") for _, k in columns] for r in office.readings])
    samples, reported = [], set()
    for x, i in where.items():
        d = u["district"][i]
        if d not in reported:
            reported.add(d)
            times = np.arange(20, history, 91)
        else:
            times = rng.integers(0, history, rng.integers(1, 4)) if rng.random() < 0.3 else []
        for t in sorted(times):

            def v(key, spread):
                return w[key][d, t] * rng.normal(1, spread)

            samples.append(
                [
                    x,
                    day_of(t),
                    round(v("ph", 0.012), 1),
                    blank(round(v("alkalinity", 0.06)), 0.8),
                    round(v("hardness", 0.06) / 17.118, 1),
                    blank(round(v("free", 0.1) * u["chlorine_left"][i], 1), 0.7),
                    blank(
                        round((w["free"][d, t] * u["chlorine_left"][i] + w["combined"][d, t]) * rng.normal(1, 0.1), 1),
                        0.5,
                    ),
                    blank(round(v("silica", 0.1)), 0.4),
                    blank(round(v("turbidity", 0.2), 2), 0.5),
                    round(v("tds", 0.04)),
                    blank(round((w["temperature"][d, t]) * 1.8 + 32), 0.5),
                ]
            )
    write(
        out / "feed_water.csv",
        [
            "site",
            "time",
            "ph",
            "alkalinity [ppm as CaCO3]",
            "hardness [gpg]",
            "free chlorine [ppm]",
            "total chlorine [ppm]",
            "silica [ppm]",
            "turbidity [NTU]",
            "tds [ppm]",
            "temperature [degF]",
        ],
        samples,
    )
    truth = []
    for cut in sorted(snapshots):
        snap = snapshots[cut]
        for i in range(a.units):
            if u["begin"][i] > cut:
                continue
            for k in np.flatnonzero(u["has"][i]):
                on = int(snap["placed"][i, k])
                if on < 0:
                    continue

                def shown(v):
                    return "" if np.isnan(v) or v > cut + HORIZON else day_of(v)

                fresh = result[None, "fresh", i, int(k)]
                capped = min(label_days(u, snap, name, i, k), 36500)
                truth.append(
                    [
                        name[i],
                        STAGES[k],
                        u["role"](i, k),
                        day_of(cut),
                        day_of(on),
                        shown(result[cut, "alone", i, int(k)]),
                        shown(result[cut, "served", i, int(k)]),
                        HORIZON if np.isnan(fresh) else max(int(fresh), 1),
                        day_of(on + capped),
                        day_of(on + FIXED[STAGES[k]]),
                    ]
                )
    write(
        out / "truth" / "truth.csv",
        [
            "unit",
            "stage",
            "role",
            "as_of",
            "installed_on",
            "exhausted_on",
            "exhausted_on_rest_served",
            "nominal_life_days",
            "label_exhausted_on",
            "fixed_exhausted_on",
        ],
        truth,
    )


if __name__ == "__main__":
    main()
