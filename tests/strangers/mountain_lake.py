"""A cold mountain region, wholly invented: water, people, units and parts are all made up.

World.  Two works draw very soft lake water (20 to 40 ppm, 3 to 14 degC, some humic matter, turbid after the snow
melt).  A spa town has hard spring water (about 330 ppm, even temperature).  A valley works mixes lake and borehole and
leans on the borehole in dry winters; half way through the third year it moves to the borehole for good.  One lake
works doses chloramine.  Reef keepers log weekly by themselves, hotels with coffee machines have winter and summer
seasons and stand still between them, dental practices close twice a year, school laboratories stop in the holidays.

Physics (one step a day).  Sediment: dirt narrows the pores, pressure drop = clean drop * viscosity * (1 - 0.75 x)^-2.2.
Carbon: transfer units times the remaining activity; activity is used up by chlorine, by humic matter and by age; cold
water reacts slower.  Membrane: flow by net driving pressure and an Arrhenius term, concentrate through an orifice,
salt passage by permeation and by seal leaks; flow is lost to age, humic matter, slipped dirt and scale, and salt
passage grows by age and by chlorine that the carbon let through.  Resin: equivalents of salts and carbon dioxide, a
logistic front, capacity lost with age.  A clogged filter lowers the pressure of the membrane, hence the cartridges of
a unit act on each other.

People.  One man serves everybody: two rounds a year (hotels often a third before the winter), and a visit when
somebody calls.  He changes by the calendar, by complaint, or because a reading shows it; he writes words in a note,
mostly no reason or 'routine', sometimes 'exhausted' by habit, puts dates down days late, and leaves about a fifth of
his changes unwritten.  Reef keepers also change cartridges by themselves and seldom tell.

Truth.  Folder truth: exhausted_on is the day on which the cartridge that truly is in place at the cut reaches its
limit if nothing in the unit is changed; exhausted_on_rest_served is the same with every other cartridge of the unit
replaced on the day on which that one reaches its own limit.  Both are empty beyond ten years after the cut.  A date
before the cut means that it was past its limit already.  installed_on is the true day; recorded_installed_on is what
the files as written say for a reader at the cut, and the label and fixed dates start from that.
"""

import argparse
import csv
import datetime as dt
import os

import numpy as np

SLOTS = ["sediment", "sediment", "carbon", "carbon", "membrane", "resin", "resin"]
SED1, SED2, CAR1, CAR2, MEM, RES1, RES2 = range(7)
FIXED = {"sediment": 180, "carbon": 270, "membrane": 730, "resin": 180}
START = dt.date(2021, 3, 1)
TEN_YEARS = 3652
CARBON_AGE = 365.0
LABEL_VOLUME = {8.0: 12000, 14.0: 22000, 22.0: 35000, 90.0: 130000, 160.0: 240000}  # litres, by dirt capacity in grams
NEVER = 1e9


def day_date(day):
    return START + dt.timedelta(days=int(day))


# ---------------------------------------------------------------- water


def make_water(rng, days):
    """Daily feed water of four works: a dict of arrays (works, day)."""
    t = np.arange(days)
    doy = (t + START.timetuple().tm_yday) % 365.25
    year = (t + START.timetuple().tm_yday) // 365.25
    summer = np.cos(2 * np.pi * (doy - 225) / 365.25)

    def rough(scale, tau):
        keep = np.exp(-1 / tau)
        shocks = rng.normal(0, scale * np.sqrt(1 - keep * keep), days)
        out, x = np.empty(days), 0.0
        for i in range(days):
            x = keep * x + shocks[i]
            out[i] = x
        return out

    melt = np.zeros(days)
    dry = np.zeros(days)
    for y in np.unique(year):
        m = year == y
        peak, width = 130 + rng.normal(0, 9), 16 + rng.uniform(0, 10)
        melt[m] = rng.lognormal(0, 0.35) * np.exp(-0.5 * ((doy[m] - peak) / width) ** 2)
        w = np.minimum(np.abs(doy[m] - 40), np.abs(doy[m] - 405))
        dry[m] = np.clip(rng.uniform(0, 1.1), 0, 1) * np.clip(1.4 - w / 50, 0, 1)
    move = int(2.5 * 365)
    lake = {
        "temp": 8 + 5 * summer + rough(0.5, 20),
        "tds": 28 - 6 * melt + rough(1.2, 60),
        "turb": 0.45 + 4.0 * melt + 0.3 * np.abs(rough(0.6, 4)),
        "toc": 2.2 + 1.6 * melt + 0.5 * summer + rough(0.2, 30),
        "hard": 22 - 5 * melt,
        "ph": 7.0 + rough(0.08, 40),
        "alk": 19 - 4 * melt,
        "co2": 0.05 + 0.005 * summer,
        "iron": 0.03 + 0.04 * melt,
        "silica": 2.5 + 0 * t,
    }
    bore = {
        "temp": 9.5 + 1.0 * summer,
        "tds": 165 + rough(4, 90),
        "turb": 0.25 + 0.1 * np.abs(rough(1, 5)),
        "toc": 0.7 + 0 * t,
        "hard": 150 + rough(3, 90),
        "ph": 7.5 + rough(0.05, 40),
        "alk": 130 + 0 * t,
        "co2": 0.08 + 0 * t,
        "iron": 0.09 + 0 * t,
        "silica": 9 + 0 * t,
    }
    spa = {
        "temp": 12.5 + 0.8 * summer,
        "tds": 330 + rough(9, 120) - 15 * melt,
        "turb": 0.3 + 0.15 * np.abs(rough(1, 5)),
        "toc": 0.6 + 0 * t,
        "hard": 310 + rough(6, 120),
        "ph": 7.3 + rough(0.05, 40),
        "alk": 245 + 0 * t,
        "co2": 0.12 + 0 * t,
        "iron": 0.06 + 0 * t,
        "silica": 14 + 0 * t,
    }
    share = np.clip(0.15 + dry, 0, 0.9)
    share[move:] = 0.93
    works = {}
    for key in lake:
        tarn = lake[key] * {"toc": 1.4, "tds": 0.8, "turb": 1.25}.get(key, 1.0)
        works[key] = np.stack([lake[key], tarn, spa[key], lake[key] * (1 - share) + bore[key] * share])
    cl = np.stack([0.24 + 0.06 * summer, 0.55 + 0.08 * summer, 0.36 + 0 * t, 0.30 + 0.05 * summer])
    works["cl"] = np.clip(
        cl * np.exp(np.stack([rough(0.18, 12) for _ in range(4)])) + 0.15 * np.array([[1], [1], [0], [0]]) * melt,
        0.03,
        2,
    )
    works["turb"] = np.clip(works["turb"], 0.1, None)
    works["tds"] = np.clip(works["tds"], 10, None)
    works["temp"] = np.clip(works["temp"], 3, None)
    works["toc"] = np.clip(works["toc"], 0.2, None)
    return works


WORKS = ["Upper lake works", "Tarn works", "Spa spring works", "Valley works"]


# ---------------------------------------------------------------- units


def make_units(rng, n, days, hist):
    u = {}
    use = rng.choice(["reef", "coffee", "laboratory", "drinking", "planted"], n, p=[0.36, 0.24, 0.2, 0.12, 0.08])
    u["use"] = use
    kind_di = (use == "reef") & (rng.random(n) < 0.93) | (use == "laboratory") & (rng.random(n) < 0.95)
    u["di"] = kind_di
    site, supply, sid = [], [], -1
    u["sub"] = np.array(["" for _ in range(n)], dtype=object)
    for i in range(n):
        if i == 0 or use[i] not in ("coffee", "laboratory") or rng.random() < 0.8:
            sid += 1
            p = [0.30, 0.17, 0.33, 0.20] if use[i] == "coffee" else [0.34, 0.2, 0.26, 0.2]
            works = rng.choice(4, p=p)
        site.append(sid)
        supply.append(works)
        if use[i] == "laboratory":
            u["sub"][i] = "dental" if rng.random() < 0.6 else "school"
    u["site"], u["supply"] = np.array(site), np.array(supply)
    big = use == "coffee"
    weekly = np.where(
        use == "reef",
        rng.lognormal(np.log(55), 0.5, n),
        np.where(
            big,
            rng.lognormal(np.log(900), 0.5, n),
            np.where(
                use == "laboratory",
                rng.lognormal(np.log(110), 0.55, n),
                np.where(use == "drinking", rng.lognormal(np.log(75), 0.4, n), rng.lognormal(np.log(60), 0.5, n)),
            ),
        ),
    )
    u["true_weekly"] = weekly
    u["told_weekly"] = np.round(weekly * rng.lognormal(0.08, 0.3, n), -1).clip(10)
    u["Qr"] = np.where(big, rng.choice([1100.0, 1500.0, 2300.0], n), rng.choice([190.0, 284.0, 379.0], n))
    u["Pr"] = np.where(big, 690.0, rng.choice([345.0, 414.0], n))
    u["Qr_label"] = u["Qr"].copy()
    u["rej"] = np.where(big, 0.965, rng.choice([0.955, 0.965, 0.975], n))
    u["rec"] = np.where(big, rng.choice([0.4, 0.5], n), rng.choice([0.2, 0.25, 0.33], n))
    u["Qc"] = u["Qr"] * (1 / u["rec"] - 1) * 0.75
    u["boost"] = np.where(big | (rng.random(n) < 0.2), rng.uniform(250, 420, n), 0.0)
    u["pline"] = rng.uniform(300, 520, n) + np.where(u["boost"] > 0, -70, 20)
    u["tank"] = (
        ((use == "drinking") & (rng.random(n) < 0.85))
        | (big & (rng.random(n) < 0.8))
        | ((use == "laboratory") & (rng.random(n) < 0.3))
    )
    u["back"] = np.where(u["tank"], rng.uniform(90, 190, n), 5.0)
    u["toff"] = rng.uniform(0.5, 5, n)
    u["tdsoff"] = rng.lognormal(0, 0.06, n)
    u["cloff"] = rng.lognormal(0, 0.2, n)
    u["turboff"] = rng.lognormal(0, 0.45, n)
    u["dp0"] = rng.uniform(5, 10, n)
    mean_feed = weekly / 7 / u["rec"]
    u["Mcap"] = np.where(big, rng.choice([90.0, 160.0], n), rng.choice([8.0, 14.0, 22.0], n))
    u["micron"] = rng.choice([5.0, 10.0], n)
    u["cvol"] = np.where(big, rng.choice([2.5, 5.0], n), rng.choice([0.35, 0.5], n))
    chlor = u["supply"] == 1
    u["chloramine"] = chlor
    u["N0"] = rng.uniform(6, 9, n) * np.where(chlor, 0.75, 1.0)
    u["clcap"] = u["cvol"] * rng.choice([14.0, 18.0, 22.0], n)
    u["rvol"] = np.where(use == "laboratory", rng.choice([1.0, 1.8], n), rng.choice([0.45, 0.7], n))
    u["rcap"] = rng.choice([0.45, 0.5, 0.55], n)
    hard = np.isin(u["supply"], [2, 3])
    u["rvol"] = np.where(hard, u["rvol"] * 2, u["rvol"])
    # the office sets the lowest rejection some points below what the unit did on its first cold day
    pin = 0.9 * u["pline"] + u["boost"]
    tds0 = np.array([26.0, 21.0, 330.0, 90.0])[u["supply"]]
    flow0 = 0.6 * (pin - u["back"] - 0.13 * tds0) / u["Pr"]
    rec0 = flow0 * u["Qr"] / (flow0 * u["Qr"] + u["Qc"] * np.sqrt(pin / u["Pr"]))
    salt0 = (1 - u["rej"]) * 0.62
    first = 1 - salt0 / (flow0 + salt0) * -np.log(1 - rec0) / rec0 - 0.15 / tds0
    u["minrej"] = np.floor((first - rng.uniform(0.025, 0.075, n)) * 100).clip(70, 94) / 100
    u["target"] = np.where(
        kind_di, np.where(hard, rng.choice([1.0, 2.0, 3.0], n), rng.choice([0.5, 1.0], n)), np.where(hard, 40.0, 10.0)
    )
    has = np.ones((7, n), bool)
    has[SED2] = rng.random(n) < 0.16
    has[CAR2] = (rng.random(n) < 0.22) | (chlor & (rng.random(n) < 0.4))
    has[RES1] = kind_di
    has[RES2] = kind_di & (rng.random(n) < np.where(use == "laboratory", 0.55, 0.25))
    u["has"] = has
    u["commissioned"] = np.where(rng.random(n) < 0.55, rng.integers(0, 40, n), rng.integers(0, int(0.42 * hist), n))
    # client's use
    t = np.arange(days)
    dates = [day_date(d) for d in t]
    doy = np.array([d.timetuple().tm_yday for d in dates])
    wd = np.array([d.weekday() for d in dates])
    summer = np.cos(2 * np.pi * (doy - 205) / 365.25)
    demand = np.empty((n, days), np.float32)
    for i in range(n):
        if use[i] == "coffee":
            o = rng.integers(-8, 9)
            prof = np.full(days, 0.12 if rng.random() < 0.6 else 0.35)
            winter = (doy > 350 + o) | (doy < 95 + o)
            prof[winter] = rng.uniform(1.3, 1.8)
            prof[(doy > 165 + o) & (doy < 262 + o)] = rng.uniform(1.1, 1.7)
            if rng.random() < 0.3:
                prof[(doy > 298 + o) & (doy < 335)] = 0
        elif use[i] == "laboratory" and u["sub"][i] == "school":
            prof = np.where(wd < 5, 1.7, 0.0)
            prof[(doy > 186) & (doy < 250)] = 0
            prof[(doy > 354) | (doy < 8)] = 0
            prof[(doy > 95) & (doy < 108)] = 0
        elif use[i] == "laboratory":
            prof = np.where(wd < 5, 1.4, 0.0)
            prof[(doy > 210) & (doy < 229)] = 0
            prof[(doy > 356) | (doy < 5)] = 0
        elif use[i] == "reef":
            prof = 1 - 0.2 * summer + np.where(wd == 6, 1.5, -0.25)
            off = rng.integers(190, 230)
            prof = prof * np.where((doy > off) & (doy < off + 14), 0.6, 1)
        else:
            prof = 1 + 0.25 * summer
        prof = np.clip(prof, 0, None) / 1.0
        prof = prof * (weekly[i] / 7)
        day = rng.exponential(1500)
        while day < days:
            f = rng.choice([0.5, 0.7, 1.4, 1.8, 0.0], p=[0.2, 0.27, 0.3, 0.2, 0.03])
            prof[int(day) :] *= f if f > 0 else 1
            if f == 0:
                prof[int(day) : int(day) + 200] = 0
            day += rng.exponential(1500)
        demand[i] = prof * rng.gamma(8, 1 / 8, days)
        demand[i, : u["commissioned"][i]] = 0
    cap = (u["Qr"] * 0.5)[:, None]
    u["demand"] = np.minimum(demand, cap * 1.2).astype(np.float32)
    u["mean_feed"] = mean_feed
    u["Qu"] = u["Qr"] * 0.65 / u["rec"]
    return u


PARAMS = [
    "Qr",
    "Pr",
    "rej",
    "Qc",
    "boost",
    "pline",
    "back",
    "toff",
    "tdsoff",
    "cloff",
    "turboff",
    "dp0",
    "Mcap",
    "cvol",
    "N0",
    "clcap",
    "rvol",
    "rcap",
    "minrej",
    "target",
    "supply",
]


# ---------------------------------------------------------------- physics

STATE = ["age", "load", "cap", "step_at", "a", "b", "leak", "step_a", "step_leak", "limit_day"]


def fresh_state(n):
    return {
        "age": np.zeros((7, n)),
        "load": np.zeros((7, n)),
        "cap": np.ones((7, n)),
        "step_at": np.full((7, n), NEVER),
        "a": np.ones(n),
        "b": np.ones(n),
        "leak": np.zeros(n),
        "step_a": np.ones(n),
        "step_leak": np.zeros(n),
        "limit_day": np.full((7, n), NEVER),
    }


def renew(st, slot, cols, cap=1.0):
    st["age"][slot, cols] = 0
    st["load"][slot, cols] = 0
    st["cap"][slot, cols] = cap
    st["step_at"][slot, cols] = NEVER
    st["limit_day"][slot, cols] = NEVER
    if slot == MEM:
        for key, v in (("a", 1), ("b", 1), ("leak", 0), ("step_a", 1), ("step_leak", 0)):
            st[key][cols] = v


def one_day(st, p, has, feed, want, day, on):
    """Outputs of the day; the state moves on by one day."""
    temp = feed["temp"] + p["toff"]
    cold = 20 - temp
    visc = np.exp(0.025 * cold)
    load, age, cap = st["load"], st["age"], st["cap"]
    dp = np.empty((2, len(temp)))
    for k in (SED1, SED2):
        x = np.minimum(load[k] / cap[k], 1.0)  # beyond this the water finds a way round the seal
        dp[k] = p["dp0"] * visc * (1 - 0.75 * x) ** -2.2 * has[k]
    line = p["pline"]
    pre = line * line / (line + dp[0] + dp[1] + 8 * visc)
    pin = pre + p["boost"]
    ctds = feed["tds"] * p["tdsoff"]
    ndp = np.maximum(pin - p["back"] - 0.13 * ctds, 8)
    kelvin = 1 / 298.15 - 1 / (temp + 273.15)
    a = st["a"]
    qp = p["Qr"] * a * np.exp(2700 * kelvin) * ndp / p["Pr"]
    qc = p["Qc"] * np.sqrt(pin / p["Pr"])
    made = np.minimum(want, qp * 0.9)
    hours = 24 * made / qp
    rec = np.minimum(qp / (qp + qc), 0.95)
    fed = made / rec * 1.03
    around = ctds * -np.log(1 - rec) / rec
    j = qp / p["Qr"]
    bb = (1 - p["rej"]) * st["b"] * np.exp(2400 * kelvin)
    cp = around * (bb / (j + bb) + st["leak"]) + 0.15
    rejection = 1 - cp / ctds
    # carbon
    cl = feed["cl"] * p["cloff"]
    speed = np.exp(-0.02 * cold)
    ntu = p["N0"] * speed
    c1 = cl * np.exp(-ntu * np.maximum(0, 1 - load[CAR1] / cap[CAR1]))
    c2 = np.where(has[CAR2], c1 * np.exp(-ntu * np.maximum(0, 1 - load[CAR2] / cap[CAR2])), c1)
    # resin
    s = []
    for k in (RES1, RES2):
        full = np.maximum(cap[k] * (1 - 0.08 * age[k] / 365), 0.05)
        s.append(np.where(has[k], 0.01 + 0.99 / (1 + np.exp(-(load[k] / full - 0.9) / 0.055)), 1.0))
    r1 = cp * s[0]
    prod = r1 * s[1]
    out = {
        "temp": temp,
        "line": line,
        "pre": pre,
        "pin": pin,
        "ctds": ctds,
        "cp": cp,
        "r1": r1,
        "prod": prod,
        "conc": (ctds - rec * cp) / (1 - rec),
        "qp": qp,
        "qc": qc,
        "cl": cl,
        "c1": c1,
        "c2": c2,
        "made": made,
        "fed": fed,
        "dp1": dp[0],
        "dp2": dp[1],
        "rej": rejection,
        "ph": feed["ph"],
    }
    # limits
    hit = np.zeros((7, len(temp)), bool)
    hit[SED1], hit[SED2] = dp[0] >= 50, dp[1] >= 50
    late = c2 >= 0.1
    hit[CAR1], hit[CAR2] = late | (age[CAR1] >= CARBON_AGE), late | (age[CAR2] >= CARBON_AGE)
    hit[MEM] = (rejection < p["minrej"]) | (a < 0.8)
    over = prod >= p["target"]
    hit[RES1] = np.where(has[RES2], r1 >= 0.5 * cp, over)
    hit[RES2] = over
    hit &= has & on
    out["lead_carbon"] = c1 >= 0.1
    st["limit_day"] = np.where(hit & (st["limit_day"] >= NEVER), day, st["limit_day"])
    # wear
    live = on * 1.0
    solids = (feed["turb"] * p["turboff"] + feed["iron"] * 2 + 0.12 * feed["toc"]) * fed / 1000 / p["Mcap"]
    part = np.where(has[SED2], 0.6, 0.9)
    load[SED1] += (solids * part + 0.15 / 365) * live
    load[SED2] += (solids * 0.3 + 0.1 / 365) * live
    toc = fed * feed["toc"] * 6e-6 / p["cvol"]
    load[CAR1] += (fed * (cl - c1) / 1000 / p["clcap"] + toc + 0.2 / 365) * live
    load[CAR2] += (fed * (c1 - c2) / 1000 / p["clcap"] + 0.5 * toc + 0.2 / 365) * live
    busy = np.minimum(hours / 8, 2)
    scale = np.maximum(0, feed["hard"] / (1 - rec) / 420 - 0.6)
    slip = feed["turb"] * p["turboff"] * 0.02
    worse = (
        (0.025 + busy * (0.012 * feed["toc"] + 0.05 * scale + slip) + 0.05 * np.exp(-age[MEM] / 60)) / 365 / cap[MEM]
    )
    st["a"] = a * (1 - worse * live)
    st["b"] = st["b"] + live * ((0.07 + 0.06 * scale * busy) / 365 + c2 * hours / 2000) / cap[MEM]
    step = on & (age[MEM] >= st["step_at"][MEM])
    if step.any():
        st["a"] = np.where(step, st["a"] * st["step_a"], st["a"])
        st["leak"] = np.where(step, st["leak"] + st["step_leak"], st["leak"])
        st["step_at"][MEM] = np.where(step, NEVER, st["step_at"][MEM])
    eq = made * (cp / 50 + feed["co2"]) / 1000 / (p["rvol"] * p["rcap"])
    load[RES1] += eq * (1 - s[0])
    load[RES2] += eq * s[0] * (1 - s[1])
    age += live
    return out


# ---------------------------------------------------------------- people and records

GOOD = ["looked fine, changed anyway", "still ok", "as every year", "", "", "changed, service contract", "set changed"]
BAD = {
    "sediment": ["brown all through", "very dirty after the melt", "client says slow", ""],
    "carbon": ["smelled of chlorine", "overdue", "strip turned pink behind it", ""],
    "membrane": ["tds up", "slow, worn out", "old", ""],
    "resin": ["tds up", "colour gone", "client called, tds", ""],
}


class Records:
    def __init__(self):
        self.rows = []
        self.open = {}
        self.n = 0

    def place(self, rng, unit, slot, day, item, reason, note, written, exact=False, first=None, source=None):
        if not written:
            return None
        r = rng.random()
        noted = day
        if not exact and r > 0.62:
            noted = day + int(np.round(rng.normal(2, 5)))
            if r > 0.92:
                noted = day - day_date(day).day + 1
        old = self.open.get((unit, slot))
        if old is not None:
            noted = max(noted, old["placed"] + 1)
            if not (rng.random() < 0.03):
                old["removed"] = noted
            old["reason"] = reason
            old["note"] = note
        self.n += 1
        row = {
            "id": f"P{self.n:05d}",
            "unit": unit,
            "slot": slot,
            "item": item,
            "placed": noted,
            "removed": None,
            "reason": "",
            "note": "",
            "first": first,
            "source": source,
        }
        self.rows.append(row)
        self.open[unit, slot] = row
        return row


def draw_cartridge(rng, st, slot, i):
    cap = float(
        np.exp(rng.normal(0, {SED1: 0.22, SED2: 0.22, CAR1: 0.2, CAR2: 0.2, MEM: 0.25, RES1: 0.13, RES2: 0.13}[slot]))
    )
    if rng.random() < 0.02:
        cap *= 0.45  # a wrong part
    renew(st, slot, i, cap)
    if slot == MEM:
        r = rng.random()
        if r < 0.09:
            st["step_at"][MEM, i] = rng.exponential(600)
            st["step_leak"][i] = rng.uniform(0.02, 0.12)  # a seal starts to leak
        elif r < 0.12:
            st["step_at"][MEM, i] = rng.exponential(500)
            st["step_a"][i], st["step_leak"][i] = rng.uniform(0.6, 0.85), 0.02  # it dried out in the dead season


def live_history(rng, u, n, hist, water, cuts):
    st = fresh_state(n)
    p = {k: u[k] for k in PARAMS}
    has = u["has"]
    rec = Records()
    installed = np.full((7, n), -1)
    keep = [
        "temp",
        "line",
        "pre",
        "pin",
        "ctds",
        "cp",
        "r1",
        "prod",
        "conc",
        "qp",
        "qc",
        "cl",
        "c1",
        "c2",
        "made",
        "fed",
        "ph",
    ]
    log = {k: np.zeros((hist + 1, n), np.float32) for k in keep}
    sees_dp = rng.random(n) < 0.2
    u["two_gauges"] = sees_dp
    rotates = has[RES2] & (rng.random(n) < 0.6)
    plan = [[] for _ in range(hist + 400)]
    first_year, last_year = START.year, day_date(hist).year
    for i in range(n):
        for y in range(first_year, last_year + 1):
            times = [rng.integers(105, 170), rng.integers(262, 325)]
            if u["use"][i] == "coffee" and rng.random() < 0.6:
                times.append(rng.integers(335, 352))
            for doy in times:
                d = (dt.date(y, 1, 1) - START).days + int(doy)
                if u["commissioned"][i] + 25 < d < hist and rng.random() < 0.92 and d not in cuts:
                    plan[d].append((i, "round"))
    called = np.full(n, -1)
    visits, snaps = [], {}
    low = np.zeros(n)
    for d in range(hist + 1):
        if d in cuts:
            snaps[d] = ({k: v.copy() for k, v in st.items()}, installed.copy())
        for i in np.flatnonzero(u["commissioned"] == d):
            for slot in np.flatnonzero(has[:, i]):
                draw_cartridge(rng, st, slot, i)
                installed[slot, i] = d
                rec.place(rng, i, slot, d, slot, "", "", True, exact=rng.random() < 0.7)
        on = d >= u["commissioned"]
        feed = {k: v[u["supply"], d] for k, v in water.items()}
        want = u["demand"][:, d]
        out = one_day(st, p, has, feed, want, d, on)
        for k in keep:
            log[k][d] = out[k]
        if d == hist:
            break
        low = np.where(
            (out["made"] < 0.8 * want) | ((out["pre"] < 0.55 * out["line"]) & (want > 0)),
            low + 1,
            np.maximum(0, low - 0.5),
        )
        upset = on & (
            ((out["prod"] > 2.5 * u["target"]) & (rng.random(n) < 0.03)) | ((low > 6) & (rng.random(n) < 0.06))
        )
        for i in np.flatnonzero(upset & (called < d)):
            if u["use"][i] == "reef" and rng.random() < 0.5:
                plan[d + int(rng.integers(1, 6))].append((i, "self"))
                called[i] = d + 30
                continue
            when = d + int(rng.integers(3, 21))
            called[i] = when + 20
            plan[when].append((i, "call"))
        if d in cuts:
            plan[d + 1].extend(plan[d])
            continue
        for i, why in plan[d]:
            if d < u["commissioned"][i] + 5:
                continue
            visits.append((d, i, why))
            did = False
            r = out
            for slot in np.flatnonzero(has[:, i]):
                age, stage = st["age"][slot, i], SLOTS[slot]
                seen, change = False, False
                if stage == "sediment":
                    seen = sees_dp[i] and r["line"][i] - r["pre"][i] > 55 and rng.random() < 0.8
                    change = (
                        seen
                        or (why == "call" and low[i] > 3 and rng.random() < 0.8)
                        or (age > 150 and rng.random() < 0.68)
                    )
                elif stage == "carbon":
                    seen = r["c2"][i] > 0.12 and rng.random() < 0.15
                    change = seen or (age > 250 and rng.random() < 0.66) or (age > 150 and rng.random() < 0.15)
                elif stage == "membrane":
                    seen = r["rej"][i] < u["minrej"][i] - 0.01 and rng.random() < 0.45
                    change = (
                        seen
                        or (why == "call" and low[i] > 3 and age > 500 and rng.random() < 0.5)
                        or (age > 950 and rng.random() < 0.25)
                    )
                else:
                    last = slot == RES2 or not has[RES2, i]
                    high = r["prod"][i] > u["target"][i] * 1.15 if last else r["r1"][i] > 0.6 * r["cp"][i]
                    seen = high and rng.random() < 0.8
                    change = seen or (age > 270 and rng.random() < 0.35)
                    if slot == RES2 and rotates[i] and did == "rotated":
                        continue
                if why == "self":
                    change = stage in ("resin", "sediment") and rng.random() < 0.75
                    seen = change and stage == "resin"
                if not change:
                    continue
                written = rng.random() < (0.35 if why == "self" else 0.81)
                q = rng.random()
                if seen:
                    reason = "exhausted" if q < 0.38 else ("routine" if q < 0.55 else "")
                else:
                    reason = (
                        "exhausted"
                        if q < 0.07
                        else (
                            "early"
                            if q < 0.09 and st["limit_day"][slot, i] >= NEVER
                            else ("routine" if q < 0.48 else "")
                        )
                    )
                note = str(rng.choice(BAD[stage] if seen else GOOD))
                if slot == RES1 and rotates[i] and why != "self":
                    # the second cartridge moves to the first place, a new one behind it
                    for key in ("age", "load", "cap", "step_at"):
                        st[key][RES1, i] = st[key][RES2, i]
                    st["limit_day"][RES1, i] = NEVER
                    moved = installed[RES2, i]
                    installed[RES1, i] = moved
                    lag = rec.open.get((i, RES2))
                    rec.place(
                        rng,
                        i,
                        RES1,
                        d,
                        slot,
                        reason,
                        note,
                        written,
                        exact=True,
                        first=lag["placed"] if lag else None,
                        source=lag["id"] if lag else None,
                    )
                    draw_cartridge(rng, st, RES2, i)
                    installed[RES2, i] = d
                    rec.place(rng, i, RES2, d, RES2, "rotated", "moved to the front", written, exact=True)
                    did = "rotated"
                    continue
                draw_cartridge(rng, st, slot, i)
                installed[slot, i] = d
                rec.place(rng, i, slot, d, slot, reason, note, written)
                did = did or True
    return st, installed, rec, log, visits, snaps


# ---------------------------------------------------------------- what would come


def run_on(u, water, state, units, first_days, target, span, serve_all=False):
    """Columns run for span days; target: slot left alone, all others served (-1: nothing is changed)."""
    p = {k: u[k][units] for k in PARAMS}
    has = u["has"][:, units]
    st = state
    served = has & (target[None, :] >= 0) & (np.arange(7)[:, None] != target[None, :])
    if serve_all:
        served = has.copy()
    count = np.zeros_like(st["age"])
    total = np.zeros_like(st["age"])
    for slot in range(7):
        renew(st, slot, np.flatnonzero(served[slot] & (st["limit_day"][slot] < NEVER)))
    for k in range(span):
        day = first_days + k
        feed = {key: v[p["supply"], day] for key, v in water.items()}
        want = u["demand"][units, day]
        on = day >= u["commissioned"][units]
        ages = st["age"].copy()
        out = one_day(st, p, has, feed, want, day[None, :].astype(float), on)
        worn = served & (st["limit_day"] < NEVER)
        worn[CAR1] |= served[CAR1] & out["lead_carbon"] & has[CAR2]
        if worn.any():
            for slot in np.flatnonzero(worn.any(axis=1)):
                cols = np.flatnonzero(worn[slot])
                if serve_all:
                    count[slot, cols] += 1
                    total[slot, cols] += ages[slot, cols]
                renew(st, slot, cols)
    return st, count, total


# ---------------------------------------------------------------- files


def write(path, header, rows):
    with open(path, "w", newline="", encoding="utf-8") as f:
        w = csv.writer(f)
        w.writerow(header)
        w.writerows(rows)


def stamp(day, hour):
    return dt.datetime.combine(day_date(day), dt.time(int(hour), int(hour * 60 % 60))).strftime("%Y-%m-%dT%H:%M")


def main():
    ap = argparse.ArgumentParser()
    ap.add_argument("--units", type=int, default=500)
    ap.add_argument("--years", type=float, default=4)
    ap.add_argument("--seed", type=int, default=7)
    ap.add_argument("--out", required=True)
    arg = ap.parse_args()
    rng = np.random.default_rng(arg.seed)
    n, hist = arg.units, round(arg.years * 365.25)
    days = hist + TEN_YEARS + 5
    cuts = [hist // 2, hist * 3 // 4, hist]
    water = make_water(rng, days)
    u = make_units(rng, n, days, hist)
    _st, _installed, rec, log, visits, snaps = live_history(rng, u, n, hist, water, cuts)
    has = u["has"]

    def role(s, i):
        return (
            "single"
            if not has[{0: 1, 1: 1, 2: 3, 3: 3, 5: 6, 6: 6}.get(s, 4), i] or s == MEM
            else ("lead" if s in (SED1, CAR1, RES1) else "lag")
        )

    letters = {"reef": "RF", "coffee": "HT", "laboratory": "LB", "drinking": "DR", "planted": "PL"}
    uname = [f"{letters[u['use'][i]]}-{i + 1:03d}" for i in range(n)]

    def sname(i):
        return f"S{u['site'][i] + 1:03d}"

    def pname(s, i):
        return f"{uname[i]} {SLOTS[s]}" + ("" if role(s, i) == "single" else " " + role(s, i))

    # items
    items = {}

    def item_of(s, i):
        stage = SLOTS[s]
        if stage == "sediment":
            mic = 20.0 if (s == SED1 and has[SED2, i]) else u["micron"][i]
            key = f"SED {mic:.0f} / {u['Mcap'][i]:.0f}"
            row = {"micron": mic, "vol": LABEL_VOLUME[u["Mcap"][i]]}
        elif stage == "carbon":
            kind = "catalytic" if u["chloramine"][i] else ("block" if u["cvol"][i] in (0.5, 2.5) else "granular")
            key = f"CAR {kind[:3].upper()} {u['cvol'][i]:g} / {u['clcap'][i]:.1f}"
            row = {"ckind": kind, "cvol": u["cvol"][i], "ccap": round(u["clcap"][i], 1)}
        elif stage == "membrane":
            key = f"MEM {u['Qr_label'][i]:.0f} / {u['Pr'][i]:.0f} / {u['rej'][i] * 1000:.0f}"
            row = {
                "flow": u["Qr_label"][i],
                "press": u["Pr"][i] / 100,
                "temp": 25,
                "tds": 250,
                "rec": 15,
                "mat": "polyamide",
                "rej": round(u["rej"][i] * 100, 1),
            }
        else:
            key = f"MB {u['rvol'][i]:g} / {u['rcap'][i]:g}"
            row = {"rvol": u["rvol"][i], "rcap": u["rcap"][i]}
        items.setdefault(key, (stage, row))
        return key

    # write
    os.makedirs(os.path.join(arg.out, "truth"), exist_ok=True)

    def path_of(name):
        return os.path.join(arg.out, name)

    seen_sites = {}
    for i in range(n):
        seen_sites.setdefault(sname(i), i)
    write(path_of("sites.csv"), ["site", "supply"], [[s, WORKS[u["supply"][i]]] for s, i in seen_sites.items()])
    factor = rng.choice([0.5, 0.5, 0.5, 0.64, 0.7], n)
    reso = np.where(u["use"] == "laboratory", 0.1, 1.0)
    # clients' habits and meters
    stream = np.where(rng.random(n) < 0.28, rng.choice(["feed", "permeate", "product"], n, p=[0.5, 0.3, 0.2]), "")

    def booly(x):
        return "yes" if x else "no"

    def blank(v, q):
        return "" if rng.random() < q else v

    write(
        path_of("units.csv"),
        [
            "unit",
            "site",
            "use",
            "kind",
            "weekly demand [L/week]",
            "product TDS target [µS/cm]",
            "recovery [%]",
            "restrictor flow [mL/min]",
            "minimum rejection [%]",
            "TDS factor",
            "TDS resolution [ppm]",
            "booster pump",
            "pressure tank",
            "chloraminated",
            "totaliser",
            "commissioned",
        ],
        [
            [
                uname[i],
                sname(i),
                u["use"][i],
                "ro_di" if u["di"][i] else "ro",
                blank(f"{u['told_weekly'][i]:.0f}", 0.08),
                f"{u['target'][i] * 2:g}",
                blank(f"{u['rec'][i] * 100:.0f}", 0.15),
                blank(f"{u['Qc'][i] / 1.44:.0f}", 0.35),
                f"{u['minrej'][i] * 100:.0f}",
                f"{factor[i]:g}",
                f"{reso[i]:g}",
                booly(u["boost"][i] > 0),
                booly(u["tank"][i]),
                blank(booly(u["chloramine"][i]), 0.2),
                stream[i],
                day_date(u["commissioned"][i]),
            ]
            for i in range(n)
        ],
    )
    order = [SED1, SED2, CAR1, CAR2, MEM, RES1, RES2]
    pos = []
    for i in range(n):
        for k, s in enumerate([s for s in order if has[s, i]]):
            pos.append([pname(s, i), uname[i], SLOTS[s], role(s, i), k + 1])
    write(path_of("positions.csv"), ["position", "unit", "stage", "role", "order"], pos)
    rows = []
    for r in sorted(rec.rows, key=lambda r: (r["placed"], r["id"])):
        if r["placed"] >= hist:
            r["placed"] = hist - 1
        rm = r["removed"]
        if rm is not None:
            rm = max(min(rm, hist - 1), r["placed"])
        it = item_of(r["slot"], r["unit"])
        rows.append(
            [
                r["id"],
                pname(r["slot"], r["unit"]),
                blank(it, 0.07),
                day_date(r["placed"]),
                "" if rm is None else day_date(rm),
                r["reason"],
                "" if r["first"] is None else day_date(r["first"]),
                r["source"] or "",
                r["note"],
            ]
        )
    write(
        path_of("placements.csv"),
        ["placement", "position", "item", "placed", "removed", "reason", "first installed", "continued from", "note"],
        rows,
    )

    def g(row, k):
        return row.get(k, "")

    write(
        path_of("items.csv"),
        [
            "item",
            "stage",
            "micron rating [µm]",
            "rated volume [L]",
            "carbon kind",
            "carbon volume [L]",
            "chlorine capacity [g]",
            "rated flow [L/day]",
            "rated pressure [bar]",
            "rated temperature [°C]",
            "rated TDS [ppm]",
            "rated recovery [%]",
            "membrane material",
            "rejection [%]",
            "resin volume [L]",
            "resin capacity [eq/L]",
        ],
        [
            [k, stage]
            + [
                g(r, c)
                for c in (
                    "micron",
                    "vol",
                    "ckind",
                    "cvol",
                    "ccap",
                    "flow",
                    "press",
                    "temp",
                    "tds",
                    "rec",
                    "mat",
                    "rej",
                    "rvol",
                    "rcap",
                )
            ]
            for k, (stage, r) in items.items()
        ],
    )

    # readings
    cols = [
        "line pressure [bar]",
        "prefilter outlet pressure [bar]",
        "inlet pressure [bar]",
        "tank pressure [bar]",
        "temperature [°C]",
        "feed TDS [ppm]",
        "permeate TDS [ppm]",
        "permeate TDS at start [ppm]",
        "interstage TDS [ppm]",
        "product TDS [ppm]",
        "concentrate TDS [ppm]",
        "permeate flow [mL/min]",
        "concentrate flow [mL/min]",
        "feed free chlorine [mg/L]",
        "feed total chlorine [mg/L]",
        "interstage chlorine [mg/L]",
        "carbon outlet total chlorine [mg/L]",
        "feed pH",
        "totaliser [L]",
        "minutes since start [min]",
        "state",
        "tank valve",
        "pump",
        "tank is full",
        "sampled after flush",
        "occasion",
        "source",
        "remark",
    ]
    drift = rng.normal(0, 0.05, n)
    gain = rng.normal(1, 0.05, n)
    zero = rng.normal(0, 6, n)
    gauge = np.where(u["two_gauges"], "both", rng.choice(["pin", "line", "none"], n, p=[0.76, 0.12, 0.12]))
    cum = {
        "feed": np.cumsum(log["fed"], 0),
        "permeate": np.cumsum(log["made"], 0),
        "product": np.cumsum(log["made"], 0),
    }
    swap = np.where(rng.random(n) < 0.18, rng.integers(300, hist, n), -1)
    counter0 = rng.integers(0, 4000, n)

    def tds(i, d, v):
        v = v * 2 * factor[i] * (1 + drift[i] * d / 365) * gain[i] * rng.lognormal(0, 0.03) + rng.normal(0, 0.12)
        return f"{max(0, round(v / reso[i]) * reso[i]):.{1 if reso[i] < 1 else 0}f}"

    def bar(i, v):
        return f"{max(0, round((v * rng.normal(1, 0.015) + zero[i]) / 10) / 10):.1f}"

    def counter(i, d):
        base = cum[stream[i]][d, i]
        if swap[i] >= 0 and d >= swap[i]:
            return f"{base - cum[stream[i]][swap[i], i]:.0f}"
        return f"{base + counter0[i]:.0f}"

    def clr(v):
        return f"{max(0, round((v * rng.normal(1, 0.12) + rng.normal(0, 0.015)) / 0.02) * 0.02):.2f}"

    readings = []

    def read(i, d, hour, who, occasion, want, at=None, remark=""):
        at = d if at is None else at

        def logged(k):
            return float(log[k][at, i])

        r = dict.fromkeys(cols, "")
        if want("pressure"):
            if gauge[i] in ("line", "both"):
                r["line pressure [bar]"] = bar(i, logged("line"))
            if gauge[i] in ("both",):
                r["prefilter outlet pressure [bar]"] = bar(i, logged("pre"))
            if gauge[i] == "pin":
                r["inlet pressure [bar]"] = bar(i, logged("pin"))
        if u["tank"][i] and want("tank"):
            r["tank pressure [bar]"] = bar(i, float(u["back"][i] * rng.uniform(0.75, 1.2)))
        if want("temp"):
            r["temperature [°C]"] = f"{logged('temp') + rng.normal(0, 0.7):.0f}"
        if want("feed"):
            r["feed TDS [ppm]"] = tds(i, d, logged("ctds"))
        if want("permeate"):
            r["permeate TDS [ppm]"] = tds(i, d, logged("cp") * rng.lognormal(0.02, 0.06))
        if want("start"):
            r["permeate TDS at start [ppm]"] = tds(i, d, logged("cp") * rng.uniform(2, 5))
        if has[RES2, i] and want("inter"):
            r["interstage TDS [ppm]"] = tds(i, d, logged("r1"))
        if u["di"][i] and want("product"):
            r["product TDS [ppm]"] = tds(i, d, logged("prod"))
        if want("conc"):
            r["concentrate TDS [ppm]"] = tds(i, d, logged("conc"))
        if want("flow"):
            r["permeate flow [mL/min]"] = f"{logged('qp') / 1.44 * rng.normal(1, 0.05):.0f}"
            if rng.random() < 0.6:
                r["concentrate flow [mL/min]"] = f"{logged('qc') / 1.44 * rng.normal(1, 0.06):.0f}"
        if want("chlorine"):
            r["feed total chlorine [mg/L]"] = clr(logged("cl"))
            if not u["chloramine"][i] and rng.random() < 0.4:
                r["feed free chlorine [mg/L]"] = clr(logged("cl") * 0.88)
            if rng.random() < 0.75:
                r["carbon outlet total chlorine [mg/L]"] = clr(logged("c2"))
            if has[CAR2, i] and rng.random() < 0.4:
                r["interstage chlorine [mg/L]"] = clr(logged("c1"))
        if want("ph"):
            r["feed pH"] = f"{logged('ph') + rng.normal(0, 0.12):.1f}"
        if stream[i] and want("counter"):
            r["totaliser [L]"] = counter(i, d)
        if all(r[c] == "" for c in cols):
            return
        if want("minutes"):
            r["minutes since start [min]"] = f"{rng.integers(2, 30)}"
        if who == "installer" and rng.random() < 0.4:
            r["state"] = "flowing"
            if u["tank"][i]:
                r["tank valve"] = "open" if rng.random() < 0.8 else ""
            if u["boost"][i] > 0:
                r["pump"] = "on"
            r["sampled after flush"] = "yes" if rng.random() < 0.5 else ""
        r["occasion"], r["source"], r["remark"] = occasion, who, remark
        readings.append((d + hour / 24, [uname[i], stamp(d, hour)] + [r[c] for c in cols]))

    pv = {
        "pressure": 0.75,
        "tank": 0.3,
        "temp": 0.45,
        "feed": 0.6,
        "permeate": 0.7,
        "start": 0.08,
        "inter": 0.5,
        "product": 0.85,
        "conc": 0.08,
        "flow": 0.35,
        "chlorine": 0.22,
        "ph": 0.1,
        "counter": 0.8,
        "minutes": 0.3,
    }
    careful = rng.lognormal(0, 0.25, n)
    words = [
        "",
        "",
        "",
        "all fine",
        "somewhat slow",
        "client away",
        "noisy pump",
        "water brownish",
        "filter housing wet",
        "told to run the tap first",
    ]
    for d, i, why in visits:
        if why == "self" or rng.random() > 0.86:
            continue
        hour = rng.uniform(8, 17)
        read(
            i,
            d,
            hour,
            "installer",
            "as_found" if rng.random() < 0.8 else "",
            lambda k: rng.random() < pv[k] * min(careful[i], 1.3),
            remark=str(rng.choice(words)),
        )
        if rng.random() < 0.22:
            read(
                i,
                d,
                min(hour + 1, 18),
                "installer",
                "as_left",
                lambda k: rng.random() < pv[k] * 0.6 and k != "counter",
                at=d + 1,
            )
    for i in range(n):
        c0 = int(u["commissioned"][i]) + 7
        who = u["use"][i]
        q = rng.random()
        if who == "reef" and q < 0.45:
            fav = {
                k: rng.random() < x
                for k, x in {
                    "product": 0.95,
                    "permeate": 0.55,
                    "counter": 0.8,
                    "pressure": 0.25,
                    "feed": 0.2,
                    "temp": 0.12,
                }.items()
            }
            d = c0
            while d < hist:
                if rng.random() < 0.8:
                    read(
                        i,
                        d,
                        rng.uniform(9, 21),
                        "client",
                        "routine" if rng.random() < 0.3 else "",
                        lambda k: fav.get(k, False) and rng.random() < 0.85,
                    )
                d += 7 if rng.random() > 0.03 else int(rng.integers(20, 90))
        elif q < {"reef": 0.6, "coffee": 0.25, "laboratory": 0.3}.get(who, 0.12):
            fav = {
                k: rng.random() < x
                for k, x in {"product": 0.8, "permeate": 0.5, "counter": 0.8, "pressure": 0.6, "flow": 0.1}.items()
            }
            d = c0
            while d < hist:
                if u["demand"][i, d] > 0 and rng.random() < 0.75:
                    read(i, d, rng.uniform(8, 18), "client", "", lambda k: fav.get(k, False) and rng.random() < 0.8)
                d += int(rng.integers(25, 36))
        elif who in ("laboratory", "coffee") and q > 0.95:
            lost = rng.integers(c0, hist, 3)
            for d in range(c0, hist):
                if np.any((d >= lost) & (d < lost + 40)):
                    continue
                read(
                    i,
                    d,
                    6.5,
                    "meter",
                    "",
                    lambda k: k in (("product", "permeate", "temp") if u["di"][i] else ("permeate", "temp")),
                )
    readings.sort(key=lambda x: x[0])
    write(path_of("readings.csv"), ["unit", "time", *cols], [r for _, r in readings])

    # samples of feed water: a works report twice a year at a few sites, a test strip now and then
    rows = []
    for s, i in seen_sites.items():
        w = u["supply"][i]
        for d in np.sort(rng.integers(0, hist, rng.poisson(1.2))):
            f = {k: float(v[w, d]) for k, v in water.items()}

            def e(v, dec, q):
                return "" if rng.random() > q else f"{max(0, v * rng.normal(1, 0.07)):.{dec}f}"

            row = [
                "" if rng.random() > 0.7 else f"{f['ph'] + rng.normal(0, 0.12):.1f}",
                e(f["alk"], 0, 0.5),
                e(f["hard"], 0, 0.7),
                e(f["cl"] * (0.15 if w == 1 else 0.88), 2, 0.3),
                e(f["cl"], 2, 0.45),
                e(f["iron"], 2, 0.3),
                e(f["iron"] * 0.2, 3, 0.1),
                e(f["silica"], 1, 0.15),
                e(f["turb"], 1, 0.35),
                e(f["tds"], 0, 0.6),
                e(f["temp"], 0, 0.4),
            ]
            if any(row):
                rows.append([s, stamp(d, 10), *row])
    write(
        path_of("feed_water.csv"),
        [
            "site",
            "time",
            "pH",
            "alkalinity [mg/L as CaCO3]",
            "hardness [mg/L as CaCO3]",
            "free chlorine [mg/L]",
            "total chlorine [mg/L]",
            "iron [mg/L]",
            "manganese [mg/L]",
            "silica [mg/L]",
            "turbidity [NTU]",
            "TDS [ppm]",
            "temperature [°C]",
        ],
        rows,
    )

    # truth
    units, first, target, parts = [], [], [], []
    for c in cuts:
        snap, inst = snaps[c]
        who = [i for i in range(n) if u["commissioned"][i] < c]
        lists = [(i, -1) for i in who] + [(i, s) for i in who for s in range(7) if has[s, i]]
        ui = np.array([x[0] for x in lists])
        units.append(ui)
        target.append(np.array([x[1] for x in lists]))
        first.append(np.full(len(lists), c))
        parts.append({k: snap[k][..., ui] for k in STATE})
    [len(x) for x in units]
    units, first, target = map(np.concatenate, (units, first, target))
    state = {k: np.concatenate([x[k] for x in parts], axis=-1) for k in STATE}
    # mean fresh lives come from a run in which everything is served from the beginning
    st_end, _, _ = run_on(u, water, state, units, first, target, TEN_YEARS)
    _, count, total = run_on(
        u, water, fresh_state(n), np.arange(n), np.zeros(n, int), np.full(n, -1), days - 10, serve_all=True
    )
    nominal = np.where(count > 0, total / np.maximum(count, 1), TEN_YEARS).clip(20, TEN_YEARS)
    table = {(int(first[k]), int(units[k]), int(target[k])): k for k in range(len(units))}
    rows = []
    mean_tds = water["tds"][:, :hist].mean(1)
    mean_cl = water["cl"][:, :hist].mean(1)

    def written(day):
        return "" if day >= NEVER else day_date(day).isoformat()

    for c in cuts:
        inst = snaps[c][1]
        rec_at = {}
        for r in rec.rows:
            if r["placed"] < c:
                key = (r["unit"], r["slot"])
                rec_at[key] = r["placed"] if r["first"] is None else r["first"]
        for i in range(n):
            if u["commissioned"][i] >= c:
                continue
            base = table[c, i, -1]
            for s in range(7):
                if not has[s, i]:
                    continue
                stage = SLOTS[s]
                noted = rec_at.get((i, s), int(inst[s, i]))
                made = u["told_weekly"][i] / 7
                fed = made / u["rec"][i]
                if stage == "sediment":
                    vol = LABEL_VOLUME[u["Mcap"][i]]
                    label = vol / fed
                elif stage == "carbon":
                    label = min(CARBON_AGE, u["clcap"][i] * 1000 / (mean_cl[u["supply"][i]] * fed))
                elif stage == "membrane":
                    label = FIXED["membrane"]
                else:
                    perm = mean_tds[u["supply"][i]] * (1 - u["rej"][i]) * 1.15
                    label = u["rvol"][i] * u["rcap"][i] * 1000 / (made * max(perm, 0.5) / 50)
                label = min(label, 7300)
                rows.append(
                    [
                        uname[i],
                        stage,
                        role(s, i),
                        day_date(c),
                        day_date(inst[s, i]),
                        written(st_end["limit_day"][s, base]),
                        written(st_end["limit_day"][s, table[c, i, s]]),
                        f"{nominal[s, i]:.0f}",
                        day_date(noted + label),
                        day_date(noted + FIXED[stage]),
                        day_date(noted),
                        "no" if abs(noted - inst[s, i]) <= 25 else "yes",
                    ]
                )
    write(
        os.path.join(arg.out, "truth", "truth.csv"),
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
            "recorded_installed_on",
            "change_not_written",
        ],
        rows,
    )


if __name__ == "__main__":
    main()
