"""A harbour town: an invented fleet of small reverse-osmosis units.

Everything in this file is invented: the town, its two water works, its clients, the two people in the office, all
cartridges and all numbers. Nothing is taken from a real place, firm or product.

The world
    A temperate harbour town with two water works. The north works draw soft surface water (cold in winter, turbid in
    autumn storms, chloramine); the south works pump hard ground water (even temperature, some iron, a little free
    chlorine). Once in the history the north works take a lasting share of well water, and in each dry summer some
    more for a few weeks. The mains are flushed in spring, which stirs up rust. Most clients keep reef or planted tanks
    or run coffee bars; there are a few kitchens and small laboratories. Trade in the bars follows the visitors.

The physics (daily steps)
    Sediment: dirt fills pores; pressure difference rises with the inverse square of the room that is left.
    Carbon: first-order removal over the contact time; the rate falls with chlorine taken up and with age. The slow
    monochloramine needs more of the bed. Two in series pass chlorine from the first to the second.
    Membrane: solution and diffusion with temperature, net driving pressure, concentration along the element; water
    permeability falls by compaction, dirt, growth, scale; salt permeability rises with age and oxidation. A leaking
    seal lets feed pass. Tanks press back on the permeate.
    Resin: the load is permeate salts, free carbon dioxide and the salty first water after standstill; outlet follows a
    smooth front; capacity is lost slowly without use.

The habits
    Two to four visits a year, some monthly readings by clients, a few meters. Replacement by calendar, after a
    complaint, or because a reading at the visit shows it. One of the two in the office writes 'routine', the other
    leaves the reason blank and writes 'exhausted' for resin by habit. Slips of paper are entered days later, some
    never.

The truth
    exhausted_on: first day of five in a row at which the cartridge that is installed at the cut is at its limit when no
    cartridge of the unit is changed after the cut. exhausted_on_rest_served: the same when all the other cartridges of
    the unit are changed at the company's fixed intervals or at their limits, whichever is first. Demand, water and
    faults after the cut come as the world has them. A first carbon counts as exhausted when chlorine stands behind the
    last one, or by its own age. A membrane is judged at the unit's usual pressure with clean prefilters, at the
    temperature of the day. nominal_life_days: all cartridges fresh at the cut, mean of the cuts. installed_on is the
    true day of first service, also for a rotated cartridge.
"""

import argparse
import csv
import datetime
import os

import numpy as np

SEDIMENT_1, SEDIMENT_2, CARBON_1, CARBON_2, MEMBRANE, RESIN_1, RESIN_2 = range(7)
STAGE = ["sediment", "sediment", "carbon", "carbon", "membrane", "resin", "resin"]
FIXED_DAYS = np.array([180, 180, 270, 270, 730, 180, 180])
USUAL_MEMBRANE_DAYS = 1095
WARM_UP = 540
AHEAD = 3652
FIRST_DAY = datetime.date(2019, 3, 1)
IN_A_ROW = 5

# item: stage, then what the label says, then what is true ("room" grams of dirt, "k" rates, "true" eq/L)
ITEMS = {
    "Spun 20": {"stage": "sediment", "micron": 20, "rated_volume": 60000, "room": 12.0, "caught": 0.45},
    "Spun 5": {"stage": "sediment", "micron": 5, "rated_volume": 30000, "room": 6.5, "caught": 0.75},
    "Big 5": {"stage": "sediment", "micron": 5, "rated_volume": 100000, "room": 19.0, "caught": 0.75},
    "Pleat 5": {"stage": "sediment", "micron": 5, "rated_volume": "", "room": 8.5, "caught": 0.70},
    "Spun 1": {"stage": "sediment", "micron": 1, "rated_volume": 20000, "room": 5.0, "caught": 0.93},
    "Block 10": {
        "stage": "carbon",
        "kind": "block",
        "volume": 0.55,
        "capacity": 22,
        "free_k": 9.5,
        "amine_k": 4.2,
        "room": 38.0,
    },
    "Grain 10": {
        "stage": "carbon",
        "kind": "granular",
        "volume": 0.70,
        "capacity": "",
        "free_k": 7.0,
        "amine_k": 3.4,
        "room": 45.0,
    },
    "Cat 10": {
        "stage": "carbon",
        "kind": "catalytic",
        "volume": 0.70,
        "capacity": 30,
        "free_k": 9.0,
        "amine_k": 6.5,
        "room": 44.0,
    },
    "Cat 20": {
        "stage": "carbon",
        "kind": "catalytic",
        "volume": 1.45,
        "capacity": 65,
        "free_k": 18.0,
        "amine_k": 13.0,
        "room": 92.0,
    },
    "M75": {
        "stage": "membrane",
        "flow": 284,
        "pressure": 345,
        "tds": 250,
        "recovery": 15,
        "rejection": 97.0,
        "true_rejection": 0.972,
    },
    "M100": {
        "stage": "membrane",
        "flow": 379,
        "pressure": 345,
        "tds": 250,
        "recovery": 15,
        "rejection": 96.0,
        "true_rejection": 0.966,
    },
    "M150": {
        "stage": "membrane",
        "flow": 568,
        "pressure": 414,
        "tds": 250,
        "recovery": 15,
        "rejection": 96.0,
        "true_rejection": 0.962,
    },
    "M400": {
        "stage": "membrane",
        "flow": 1514,
        "pressure": 690,
        "tds": 500,
        "recovery": 20,
        "rejection": 97.5,
        "true_rejection": 0.972,
    },
    "Mix 0.75": {"stage": "resin", "volume": 0.75, "capacity": 0.55, "true": 0.50},
    "Mix 1.5": {"stage": "resin", "volume": 1.5, "capacity": 0.55, "true": 0.50},
    "Mix 3": {"stage": "resin", "volume": 3.0, "capacity": 0.55, "true": 0.51},
    "Blue 1.5": {"stage": "resin", "volume": 1.5, "capacity": 0.60, "true": 0.43},
}
RESINS = ["Mix 0.75", "Mix 1.5", "Mix 3"]


def wander(rng, days, memory_days, spread):
    """A slow random course of mean zero."""
    keep = np.exp(-1.0 / memory_days)
    kicks = rng.normal(0, spread * np.sqrt(1 - keep**2), days)
    course = np.zeros(days)
    level = rng.normal(0, spread)
    for day in range(days):
        level = keep * level + kicks[day]
        course[day] = level
    return course


class Water:
    """The water of both works, one row a works (0 north, 1 south), one column a day."""

    def __init__(self, rng, days, history_days, dates):
        year_day = np.array([d.timetuple().tm_yday for d in dates], float)
        season = np.cos(2 * np.pi * (year_day - 210) / 365.25)  # +1 at the end of July
        month = np.array([d.month for d in dates])
        north = {
            "temperature": 11.0 + 7.2 * season + wander(rng, days, 8, 0.9),
            "tds": 78 + 9 * season + wander(rng, days, 25, 7),
            "alkalinity": 30 + 4 * season + wander(rng, days, 25, 2.5),
            "hardness": 42 + 5 * season + wander(rng, days, 25, 4),
            "ph": 7.45 + wander(rng, days, 30, 0.10),
            "chlorine": 1.05 + 0.18 * season + wander(rng, days, 12, 0.10),
            "silica": 5.0 + wander(rng, days, 60, 0.6),
            "dirt": 0.24 * np.exp(wander(rng, days, 15, 0.30)),
        }
        south = {
            "temperature": 11.6 + 1.0 * season + wander(rng, days, 20, 0.2),
            "tds": 318 + wander(rng, days, 70, 13),
            "alkalinity": 232 + wander(rng, days, 70, 8),
            "hardness": 272 + wander(rng, days, 70, 10),
            "ph": 7.62 + wander(rng, days, 60, 0.06),
            "chlorine": 0.42 + 0.04 * season + wander(rng, days, 10, 0.05),
            "silica": 16 + wander(rng, days, 90, 0.9),
            "dirt": 0.15 * np.exp(wander(rng, days, 20, 0.25)),
        }
        for day in range(days):  # storms and flushing of the mains
            if month[day] in (10, 11, 12, 1) and rng.random() < 0.035:
                length = rng.integers(2, 9)
                north["dirt"][day : day + length] += (
                    rng.gamma(2.0, 0.45) * np.exp(-np.arange(length) / 3.0)[: days - day]
                )
            if month[day] == 4 and rng.random() < 0.06:
                for works in (north, south):
                    works["dirt"][day : day + 2] += rng.gamma(2.0, 0.4)
        self.change_day = WARM_UP + int(history_days * rng.uniform(0.40, 0.68))
        self.lasting = rng.uniform(0.25, 0.45)
        share = np.zeros(days)
        share[self.change_day :] = self.lasting
        dry = {d.year: rng.random() < 0.5 for d in dates}
        for day in range(days):
            if dry[dates[day].year] and 200 < year_day[day] < 255:
                share[day] = min(share[day] + 0.3, 0.8)
        share = np.convolve(np.pad(share, (4, 4), "edge"), np.ones(9) / 9, "valid")
        for name in ("tds", "alkalinity", "hardness", "silica", "dirt"):
            north[name] = (1 - share) * north[name] + share * south[name]
        north["ph"] = north["ph"] + 0.1 * share
        north["temperature"] = (1 - 0.6 * share) * north["temperature"] + 0.6 * share * south["temperature"]
        for name in north:
            setattr(self, name, np.array([north[name], south[name]]))
        self.chlorine = np.clip(self.chlorine, 0.08, None)
        self.dirt = np.clip(self.dirt, 0.02, None)
        self.temperature = np.clip(self.temperature, 3.0, None)
        self.carbon_dioxide = self.alkalinity / 50.0 / 10 ** (self.ph - 6.35)  # mmol/L
        self.season = season


def salt_base(item):
    """Water and salt constants of a membrane from its rating."""
    recovery = item["recovery"] / 100
    mean = np.log(1 / (1 - recovery)) / recovery
    driving = item["pressure"] - 0.075 * item["tds"] * mean * 1.25
    water = item["flow"] / driving
    passage = (1 - item["true_rejection"]) / (mean * np.exp(0.7 * recovery))
    return water, item["flow"] * passage / (1 - passage)


class Train:
    """State of many units at once; one column a unit (or a copy of one)."""

    FIELDS = ["used", "first", "room", "rate", "caught", "at_limit_on", "in_a_row", "present"]
    FLAT = ["water_0", "salt_0", "water", "salt", "leak", "rated", "flow_before"]

    def __init__(self, town):
        n = town.n
        self.town = town
        self.column = np.arange(n)
        self.used = np.zeros((7, n))
        self.first = np.full((7, n), 1e9)
        self.room = np.ones((7, n))
        self.rate = np.zeros((7, n))
        self.caught = np.zeros((7, n))
        self.at_limit_on = np.full((7, n), np.nan)
        self.in_a_row = np.zeros((7, n))
        self.present = town.present.copy()
        self.water_0 = np.ones(n)
        self.salt_0 = np.ones(n)
        self.water = np.ones(n)
        self.salt = np.ones(n)
        self.leak = np.zeros(n)
        self.rated = np.full(n, 300.0)
        self.flow_before = town.usual_feed.copy()

    def copies(self, count):
        other = Train.__new__(Train)
        other.town = self.town
        other.column = np.tile(self.column, count)
        for name in self.FIELDS:
            setattr(other, name, np.tile(getattr(self, name), (1, count)))
        for name in self.FLAT:
            setattr(other, name, np.tile(getattr(self, name), count))
        return other

    def thin(self, keep):
        self.column = self.column[keep]
        for name in self.FIELDS:
            setattr(self, name, getattr(self, name)[:, keep])
        for name in self.FLAT:
            setattr(self, name, getattr(self, name)[keep])

    def fit(self, slot, columns, day, item, quality=1.0, salt_quality=1.0):
        """A new cartridge of one item."""
        entry = ITEMS[item]
        stage = entry["stage"]
        self.used[slot, columns] = 0
        self.first[slot, columns] = day
        self.at_limit_on[slot, columns] = np.nan
        self.in_a_row[slot, columns] = 0
        if stage == "sediment":
            self.room[slot, columns] = entry["room"] * quality
            self.caught[slot, columns] = entry["caught"]
        elif stage == "carbon":
            amine = self.town.amine[self.column[columns]]
            self.rate[slot, columns] = np.where(amine, entry["amine_k"], entry["free_k"]) * salt_quality
            self.room[slot, columns] = entry["room"] * quality
        elif stage == "membrane":
            water, salt = salt_base(entry)
            self.water_0[columns] = water * quality
            self.salt_0[columns] = salt * salt_quality
            self.water[columns] = 1
            self.salt[columns] = 1
            self.leak[columns] = 0
            self.rated[columns] = entry["flow"]
        else:
            self.room[slot, columns] = entry["volume"] * entry["true"] * quality

    def fit_usual(self, slot, mask, day):
        """Fresh average cartridges of each unit's usual item where mask holds."""
        usual = self.town.usual_item[slot][self.column]
        for item in set(usual[mask]):
            if item:
                self.fit(slot, np.nonzero(mask & (usual == item))[0], day, item)

    def step(self, day, span=1.0):
        town, unit = self.town, self.column
        water = town.water
        works = town.works[unit]
        on = self.first[MEMBRANE] <= day
        celsius = water.temperature[works, day] + (18 - water.temperature[works, day]) * town.indoors[unit]
        tds = water.tds[works, day] * town.tds_factor_site[unit]
        chlorine = water.chlorine[works, day] * town.chlorine_site[unit]
        dirt = water.dirt[works, day] * town.dirt_site[unit]
        gas = water.carbon_dioxide[works, day]
        demand = town.demand[day][unit]
        line = town.line[unit] * (1 - 0.05 * water.season[day]) + town.line_noise[day]
        warm = 1 / 298.15 - 1 / (celsius + 273.15)
        thick = np.exp(-0.024 * (celsius - 15))

        relative_flow = self.flow_before / town.usual_feed[unit]
        left_1 = np.clip(1 - self.used[SEDIMENT_1] / self.room[SEDIMENT_1], 0.09, 1)
        left_2 = np.clip(1 - self.used[SEDIMENT_2] / self.room[SEDIMENT_2], 0.09, 1)
        usual_1 = town.clean_drop[unit] / left_1**2
        usual_2 = np.where(self.present[SEDIMENT_2], town.clean_drop[unit] / left_2**2, 0)
        drop = (usual_1 + usual_2) * relative_flow * thick
        carbon_drop = (5.0 + 5.0 * self.present[CARBON_2]) * relative_flow * thick
        behind = np.maximum(line - drop - carbon_drop, 40)
        inlet = behind + town.boost[unit]

        restrictor = town.restrictor[unit] * np.sqrt(np.maximum(inlet, 50) / town.design_pressure[unit])
        conductance = self.water_0 * self.water * np.exp(2640 * warm)
        recovery_guess = np.clip(town.recovery[unit], 0.05, 0.8)
        osmotic = 0.075 * tds * (1 + 0.7 * recovery_guess)
        driving = np.maximum(0.96 * inlet - town.tank_mean[unit] - osmotic, 15)
        permeate = conductance * driving
        feed = permeate + restrictor
        recovery = np.clip(permeate / feed, 0.03, 0.88)
        self.flow_before = 0.5 * self.flow_before + 0.5 * feed
        volume = np.where(on, np.minimum(demand, 0.97 * permeate), 0.0)
        hours = 24 * volume / permeate
        feed_volume = volume / recovery

        mean = np.log(1 / (1 - recovery)) / recovery * np.exp(0.7 * recovery)
        salt_flow = self.salt_0 * self.salt * np.exp(2900 * warm)
        passage = np.minimum(mean * salt_flow / (permeate + salt_flow), 0.95)
        passage = passage + self.leak * (1 - passage)
        behind_membrane = tds * passage

        # the membrane is judged as if its prefilters were clean: a blocked sediment cartridge is no fault of its own
        clean = town.clean_drop[unit] * (1.0 + self.present[SEDIMENT_2]) + 5.0 + 5.0 * self.present[CARBON_2]
        usual_inlet = line - clean + town.boost[unit]
        usual_permeate = conductance * np.maximum(0.96 * usual_inlet - town.tank_mean[unit] - osmotic, 15)
        part = usual_permeate / (
            usual_permeate + town.restrictor[unit] * np.sqrt(usual_inlet / town.design_pressure[unit])
        )
        part = np.clip(part, 0.03, 0.88)
        usual_mean = np.log(1 / (1 - part)) / part * np.exp(0.7 * part)
        usual_passage = np.minimum(usual_mean * salt_flow / (usual_permeate + salt_flow), 0.95)
        usual_passage = usual_passage + self.leak * (1 - usual_passage)

        litres_a_minute = np.maximum(feed / 1440, 0.02)
        pace = 1.025 ** (celsius - 15) / litres_a_minute
        chlorine_at, behind_carbon = chlorine, []
        for slot in (CARBON_1, CARBON_2):
            good = np.clip(1 - self.used[slot] / self.room[slot], 0.02, 1)
            stale = np.exp(-np.clip(day - self.first[slot], 0, 9000) / 1100)
            out = chlorine_at * np.exp(-np.minimum(self.rate[slot] * good * stale * pace, 40))
            out = np.where(self.present[slot], out, chlorine_at)
            self.used[slot] += span * feed_volume * (chlorine_at - out) / 1000
            behind_carbon.append(out)
            chlorine_at = out

        went_1 = self.caught[SEDIMENT_1]
        went_2 = np.where(self.present[SEDIMENT_2], self.caught[SEDIMENT_2], 0)
        self.used[SEDIMENT_1] += span * feed_volume * dirt * went_1 / 1000 * (left_1 > 0.1)
        self.used[SEDIMENT_2] += span * feed_volume * dirt * (1 - went_1) * went_2 / 1000 * (left_2 > 0.1)
        fines = dirt * (1 - went_1) * (1 - went_2)

        age = np.clip(day - self.first[MEMBRANE], 0, 9000)
        use = volume / self.rated
        over = np.clip(water.hardness[works, day] / (1 - recovery) - 330, 0, None) / 100
        oxidised = chlorine_at * hours * np.where(town.amine[unit], 0.07, 1.0)
        loss = (
            0.011 / (age + 12)
            + town.fouling[unit] * (0.022 / 365 + use * (0.0007 + 0.006 * fines))
            + town.fouling[unit] * 0.00085 * over * use
            - 0.00012 * oxidised
        )
        self.water *= np.exp(-span * np.where(on, loss, 0))
        growth = town.salt_ageing[unit] * (0.16 / 365 + 0.0010 * use) + 0.0007 * oxidised
        self.salt *= np.exp(span * np.where(on, growth, 0))

        begun = town.starts[unit] * np.minimum(1, volume / 3)
        creep = np.clip(begun * 0.4 * 4 / np.maximum(volume, 0.5), 0, 1.2)
        tds_at, gas_at, outlets = behind_membrane, gas, []
        for slot in (RESIN_1, RESIN_2):
            stale = np.exp(-np.clip(day - self.first[slot], 0, 9000) / 2600)
            share = self.used[slot] / (self.room[slot] * stale)
            open_ = 0.004 + 0.996 / (1 + np.exp(-np.clip((share - 1) / town.front[unit], -30, 30)))
            gas_open = 1 / (1 + np.exp(-np.clip((share - 0.95) / town.front[unit], -30, 30)))
            open_ = np.where(self.present[slot], open_, 1)
            gas_open = np.where(self.present[slot], gas_open, 1)
            self.used[slot] += (
                span * volume / 1000 * (tds_at / 50 * (1 + creep) * (1 - open_) + gas_at * (1 - gas_open))
            )
            tds_at, gas_at = tds_at * open_, gas_at * gas_open
            outlets.append(tds_at)

        carbon_limit = chlorine_at >= 0.1
        resin_1_limit = np.where(
            self.present[RESIN_2], outlets[0] >= 0.5 * behind_membrane, outlets[0] >= town.target[unit]
        )
        limit = [
            usual_1 >= 50,
            usual_2 >= 50,
            carbon_limit | (day - self.first[CARBON_1] >= 365),
            carbon_limit | (day - self.first[CARBON_2] >= 365),
            (1 - usual_passage < town.minimum_rejection[unit]) | (self.water < 0.8),
            resin_1_limit,
            outlets[1] >= town.target[unit],
        ]
        for slot in range(7):
            now = limit[slot] & self.present[slot] & on
            self.in_a_row[slot] = np.where(now, self.in_a_row[slot] + span, 0)
            new = (self.in_a_row[slot] >= IN_A_ROW) & np.isnan(self.at_limit_on[slot])
            if new.any():
                self.at_limit_on[slot][new] = day - self.in_a_row[slot][new] + span
        return {
            "line": line,
            "behind": behind,
            "inlet": inlet,
            "celsius": celsius,
            "tds": tds,
            "permeate_tds": behind_membrane,
            "between": outlets[0],
            "product": outlets[1],
            "permeate": permeate,
            "concentrate": restrictor,
            "chlorine": chlorine,
            "chlorine_1": behind_carbon[0],
            "chlorine_2": chlorine_at,
            "volume": volume,
            "feed_volume": feed_volume,
            "driving": driving,
            "drop": drop,
            "demand": demand,
            "creep": creep,
            "rejection": 1 - passage,
            "on": on,
        }

    def strike(self, columns, kind, size):
        """A fault: seal leak, dried membrane."""
        if kind == "leak":
            self.leak[columns] = size
        elif kind == "dried":
            self.water[columns] *= 1 - 4 * size
            self.salt[columns] *= 1 + 12 * size


class Town:
    """Clients, sites, units, what is usual for each, and the course of demand."""

    def __init__(self, rng, n, years):
        self.rng, self.n = rng, n
        self.history_days = round(365.25 * years)
        self.days = WARM_UP + self.history_days + AHEAD + 10
        self.start = FIRST_DAY - datetime.timedelta(days=WARM_UP)
        self.dates = [self.start + datetime.timedelta(days=d) for d in range(self.days)]
        self.end = WARM_UP + self.history_days
        self.water = Water(rng, self.days, self.history_days, self.dates)
        self.line_noise = wander(rng, self.days, 3, 6)

        self.use = rng.choice(
            ["reef", "planted", "coffee", "drinking", "laboratory"], n, p=[0.33, 0.18, 0.32, 0.11, 0.06]
        )
        coffee, reef, planted = self.use == "coffee", self.use == "reef", self.use == "planted"
        kitchen, bench = self.use == "drinking", self.use == "laboratory"
        self.site = np.zeros(n, int)
        self.sites = 0
        for u in range(n):  # bars and clubs have several units
            mates = [v for v in range(max(0, u - 12), u) if self.use[v] == self.use[u]]
            if mates and rng.random() < (0.22 if coffee[u] or bench[u] else 0.07):
                self.site[u] = self.site[mates[-1]]
            else:
                self.site[u] = self.sites
                self.sites += 1
        at = self.site
        self.site_works = (rng.random(self.sites) < 0.45).astype(int)
        self.works = self.site_works[at]
        self.amine = self.works == 0
        self.indoors = rng.uniform(0.05, 0.35, self.sites)[at]
        self.tds_factor_site = np.exp(rng.normal(0, 0.025, self.sites))[at]
        self.chlorine_site = rng.uniform(0.45, 1.1, self.sites)[at]
        self.dirt_site = np.exp(rng.normal(-0.05, 0.5, self.sites))[at]
        self.line = np.clip(rng.normal(355, 60, self.sites), 220, 520)[at]

        self.has_resin = reef | (bench & (rng.random(n) < 0.85)) | (planted & (rng.random(n) < 0.3))
        self.has_tank = rng.random(n) < np.select([coffee, kitchen, bench], [0.85, 0.95, 0.6], 0.09)
        self.has_pump = rng.random(n) < np.select([coffee, bench], [0.6, 0.5], 0.14)
        self.has_pump |= self.has_tank & (self.line < 300)  # nobody fills a tank from a weak main without one
        self.boost = np.where(self.has_pump, rng.normal(270, 40, n), 0)
        self.design_pressure = self.line + self.boost - 15
        self.tank_mean = np.where(self.has_tank, rng.uniform(0.24, 0.42, n) * (self.line + self.boost), 0)
        self.weekly = np.exp(
            np.log(np.select([coffee, reef, planted, kitchen], [620.0, 85.0, 60.0, 45.0], 170.0))
            + rng.normal(0, 0.55, n)
        )
        self.recovery = np.where(coffee | bench, rng.uniform(0.38, 0.58, n), rng.uniform(0.19, 0.34, n))
        self.recovery = np.where((self.works == 1) & coffee, self.recovery - 0.06, self.recovery)
        self.minimum_rejection = np.where(
            self.has_resin, rng.choice([0.90, 0.92, 0.93], n), rng.choice([0.85, 0.88, 0.90], n)
        )
        self.factor = np.where(rng.random(n) < 0.09, 0.7, 0.5)
        self.resolution = np.where(rng.random(n) < 0.15, 0.1, 1.0)
        written = np.where(
            self.has_resin,
            np.where(bench, rng.choice([1.0, 2.0, 3.0], n), rng.choice([1.0, 1.0, 2.0, 3.0], n)),
            rng.choice([20.0, 30.0, 50.0], n),
        )
        written = np.where(self.has_resin & planted, rng.choice([3.0, 5.0], n), written)
        self.target_written = written
        self.target = written * 0.5 / self.factor
        self.clean_drop = rng.uniform(2.2, 4.5, n)
        self.fouling = np.exp(rng.normal(0, 0.35, n))
        self.salt_ageing = np.exp(rng.normal(0, 0.35, n))
        self.front = rng.uniform(0.04, 0.09, n)
        self.starts = np.where(self.has_tank, rng.uniform(3, 9, n), rng.uniform(0.3, 1.2, n))

        self.present = np.ones((7, n), bool)
        self.present[SEDIMENT_2] = rng.random(n) < 0.24
        self.present[CARBON_2] = rng.random(n) < np.where(self.amine, 0.5, 0.25)
        self.present[RESIN_1] = self.has_resin
        self.present[RESIN_2] = self.has_resin & (rng.random(n) < 0.38)
        self.usual_item = np.full((7, n), "", dtype=object)
        self.usual_feed = np.zeros(n)
        for u in range(n):
            two = self.present[SEDIMENT_2, u]
            self.usual_item[SEDIMENT_1, u] = (
                "Spun 20" if two and rng.random() < 0.6 else rng.choice(["Spun 5", "Pleat 5"], p=[0.75, 0.25])
            )
            if two:
                self.usual_item[SEDIMENT_2, u] = "Spun 5" if self.usual_item[SEDIMENT_1, u] == "Spun 20" else "Spun 1"
            if not two and rng.random() < 0.15:
                self.usual_item[SEDIMENT_1, u] = "Spun 1"
            big = self.weekly[u] > 420
            if big and not two:
                self.usual_item[SEDIMENT_1, u] = "Big 5"
            if big:
                carbon = "Cat 20" if self.amine[u] or rng.random() < 0.5 else "Block 10"
            else:
                carbon = rng.choice(
                    ["Block 10", "Grain 10", "Cat 10"], p=[0.35, 0.2, 0.45] if self.amine[u] else [0.65, 0.3, 0.05]
                )
            self.usual_item[CARBON_1, u] = carbon
            if self.present[CARBON_2, u]:
                self.usual_item[CARBON_2, u] = carbon if big or rng.random() < 0.5 else "Block 10"
            a_day = self.weekly[u] / 7
            membrane = "M75" if a_day < 30 else "M100" if a_day < 60 else "M150" if a_day < 110 else "M400"
            if membrane == "M75" and rng.random() < 0.3:
                membrane = "M100"
            self.usual_item[MEMBRANE, u] = membrane
            water, salt = salt_base(ITEMS[membrane])
            typical = water * max(self.design_pressure[u] - self.tank_mean[u] - 15, 40) * 0.68
            self.usual_feed[u] = typical / self.recovery[u]
            mean = np.log(1 / (1 - self.recovery[u])) / self.recovery[u] * np.exp(0.7 * self.recovery[u])
            fresh = mean * 0.68 * salt / (typical + 0.68 * salt)  # what a fresh one passes here; the use asks for less
            self.minimum_rejection[u] = min(
                self.minimum_rejection[u], max(np.floor(100 * (1 - 2.1 * fresh)) / 100, 0.75)
            )
            if self.has_resin[u]:
                works = self.works[u]
                load = (
                    a_day / 1000 * (self.water.tds[works].mean() * 0.035 / 50 + self.water.carbon_dioxide[works].mean())
                )
                wanted = load * 150 / 0.5 / (1.6 if self.present[RESIN_2, u] else 1) * np.exp(rng.normal(0, 0.35))
                resin = RESINS[int(np.argmin([abs(np.log(wanted / ITEMS[r]["volume"])) for r in RESINS]))]
                if resin == "Mix 1.5" and rng.random() < 0.3:
                    resin = "Blue 1.5"
                self.usual_item[RESIN_1, u] = resin
                if self.present[RESIN_2, u]:
                    self.usual_item[RESIN_2, u] = resin
        self.restrictor = self.usual_feed * (1 - self.recovery)
        self.commissioned = np.where(
            rng.random(n) < 0.66,
            -rng.integers(0, 900, n),
            WARM_UP + (rng.random(n) * 0.7 * self.history_days).astype(int),
        )
        self.gone = np.where(
            rng.random(n) < 0.04, WARM_UP + (rng.uniform(0.3, 1.0, n) * self.history_days).astype(int), 10**8
        )
        self.gone = np.where(self.gone < self.commissioned + 200, 10**8, self.gone)
        self.course_of_demand()
        self.faults()

    def course_of_demand(self):
        rng, days = self.rng, self.days
        year_day = np.array([d.timetuple().tm_yday for d in self.dates])
        weekday = np.array([d.weekday() for d in self.dates])
        visitors = np.exp(-(((year_day - 212) / 38.0) ** 2))
        self.demand = np.zeros((days, self.n), np.float32)
        for u in range(self.n):
            use = self.use[u]
            if use == "coffee":
                course = 0.88 + rng.uniform(0.1, 0.9) * visitors + 0.15 * np.isin(weekday, (5, 6))
                if rng.random() < 0.4:
                    course = np.where(weekday == 0, 0.05, course * 1.12)
            elif use == "reef":
                course = 1 + rng.uniform(0, 0.3) * np.cos(2 * np.pi * (year_day - rng.choice([20, 205])) / 365.25)
            elif use == "planted":
                course = 1 + rng.uniform(0, 0.15) * visitors
            elif use == "drinking":
                course = 0.95 + 0.35 * visitors
            else:
                course = np.where(weekday < 5, 1.35, 0.12) * (1 - 0.5 * visitors)
            course = course * np.exp(wander(rng, days, 40, 0.14))
            level, day = 1.0, 0
            while True:  # a second tank, a new machine, a lost fancy
                gap = int(rng.exponential(1000)) + 30
                if day + gap >= days:
                    break
                day += gap
                new_level = float(np.clip(level * np.exp(rng.normal(0, 0.4)), 0.3, 2.6))
                course[day:] *= new_level / level
                level = new_level
            for first in range(0, days, 365):  # holidays
                if rng.random() < (0.75 if use != "drinking" else 0.5):
                    away = first + int(rng.integers(0, 350))
                    if use == "coffee":
                        away = first + int((10 - year_day[first]) % 365)
                    course[away : away + int(rng.integers(6, 19))] *= 0.05 if use == "coffee" else rng.uniform(0.1, 0.5)
            self.demand[:, u] = np.clip(course * self.weekly[u] / 7, 0, None)
        steady = self.demand[: WARM_UP + 365].mean(0) * 7
        told = steady * np.exp(rng.normal(0.0, 0.28, self.n))
        self.told = np.where(told > 150, np.round(told / 50) * 50, np.maximum(np.round(told / 5) * 5, 5))

    def faults(self):
        rng = self.rng
        self.fault_on = {}
        for u in range(self.n):
            count = rng.poisson(0.035 * self.days / 365)
            for _ in range(count):
                kind = rng.choice(["leak", "dried"], p=[0.65, 0.35])
                size = rng.uniform(0.01, 0.06)
                self.fault_on.setdefault(int(rng.integers(0, self.days)), []).append((u, kind, size))


class Office:
    """History: visits, readings, replacements, and what is written down of them."""

    def __init__(self, town, rng):
        self.town, self.rng = town, rng
        n = town.n
        self.train = Train(town)
        self.placements, self.readings = [], []
        self.open = {}
        self.placed_item = np.full((7, n), "", dtype=object)
        self.unit_name = ["H-%03d" % (u + 1) for u in range(n)]
        self.roles = [["single"] * 7 for _ in range(n)]
        for u in range(n):
            for one, two in ((0, 1), (2, 3), (5, 6)):
                if town.present[two, u]:
                    self.roles[u][one], self.roles[u][two] = "lead", "lag"
        self.clerk = rng.choice(["writes", "blank"], n, p=[0.55, 0.45])
        self.installer = rng.integers(0, 3, n)
        self.interval = np.exp(rng.normal(0.12, 0.25, (7, n))) * FIXED_DAYS[:, None]
        self.interval[MEMBRANE] *= 1.35
        self.rotates = rng.random(n) < 0.6
        self.gauges = rng.choice([0, 1, 2, 3], n, p=[0.16, 0.62, 0.15, 0.07])
        self.has_counter = rng.random(n) < 0.42
        self.counts = rng.choice(["feed", "permeate", "product"], n, p=[0.35, 0.4, 0.25])
        self.counts = np.where((self.counts == "product") & ~town.has_resin, "permeate", self.counts)
        self.counter = np.where(self.has_counter, rng.uniform(0, 30000, n), 0.0)
        self.counter_step = rng.choice([1, 1, 10], n)
        self.style = rng.choice(["visits", "monthly", "weekly", "daily"], n, p=[0.81, 0.135, 0.035, 0.02])
        self.tests_chlorine = rng.random(n) < 0.3
        self.gauge_bias = rng.normal(0, 8, (3, n))
        self.gauge_step = rng.choice([10.0, 20.0, 50.0], n, p=[0.4, 0.45, 0.15])
        self.meter_bias = np.exp(rng.normal(0, 0.05, n))
        self.meter_drift = rng.normal(0, 0.025, n)
        self.hand_drift = np.array([wander(rng, town.days, 200, 0.04) for _ in range(3)])
        self.cuts = {}

    def run(self, cut_days):
        town, rng, n = self.town, self.rng, self.town.n
        a_year = rng.choice([2, 3, 4], n, p=[0.45, 0.3, 0.25])
        a_year = np.where(town.use == "coffee", np.maximum(a_year, 3), a_year)
        visits = {}
        for u in range(n):
            day = max(town.commissioned[u], 0) + rng.uniform(0.3, 1) * 365 / a_year[u]
            while day < town.end:
                if rng.random() > 0.06:  # some are missed
                    visits.setdefault(int(day), []).append((u, "planned"))
                day += 365 / a_year[u] * rng.uniform(0.75, 1.3)
        blind = [(int(rng.integers(0, town.end)), int(rng.integers(20, 80))) for _ in range(n)]  # outages of meters
        for day in range(town.end + 1):
            for u in np.nonzero(town.commissioned == day)[0]:
                self.begin(u, day)
            if day == 0:
                for u in np.nonzero(town.commissioned < 0)[0]:
                    self.begin(u, 0, -int(town.commissioned[u]))
            now = self.train.step(day)
            for u, kind, size in town.fault_on.get(day, []):
                if now["on"][u]:
                    self.train.strike(np.array([u]), kind, size)
            for u in np.nonzero(town.gone == day)[0]:
                self.close(u, day)
            counted = {"feed": now["feed_volume"], "permeate": now["volume"], "product": now["volume"]}
            for name, volume in counted.items():
                self.counter += np.where(self.counts == name, volume, 0)
            worn = self.has_counter & (rng.random(n) < 0.00012)
            self.counter[worn] = rng.choice([0.0, 0.0, 4.0, 812.0], worn.sum())
            here = now["on"] & (day < town.gone)
            bad = here & town.has_resin & (now["product"] > 2 * town.target) & (rng.random(n) < 0.022)
            short = here & (now["volume"] < 0.6 * now["demand"]) & (rng.random(n) < 0.03)
            salty = (
                here & ~town.has_resin & (now["rejection"] < town.minimum_rejection - 0.07) & (rng.random(n) < 0.006)
            )
            for mask, why in ((bad, "taste"), (short, "flow"), (salty, "salt")):
                for u in np.nonzero(mask)[0]:
                    visits.setdefault(day + int(rng.integers(1, 8)), []).append((u, why))
            seen = set()
            for u, why in visits.get(day, []):
                if here[u] and u not in seen:
                    seen.add(u)
                    self.visit(u, day, now, why)
            if day >= WARM_UP:
                due = {"monthly": day % 30, "weekly": day % 7, "daily": 0}
                for u in np.nonzero(here & (self.style != "visits"))[0]:
                    style = self.style[u]
                    if style == "monthly" and (u * 7) % 30 == due["monthly"] and rng.random() < 0.8:
                        self.client_read(u, day, now)
                    elif style in ("weekly", "daily") and (style == "daily" or u % 7 == due["weekly"]):
                        first, length = blind[u]
                        if not first <= day < first + length and rng.random() < 0.96:
                            self.meter_read(u, day, now)
            if day in cut_days:
                self.cuts[day] = self.train.copies(1)

    # -- cartridges -------------------------------------------------------------------------------------------------
    def begin(self, u, day, years_before=0):
        for slot in np.nonzero(self.town.present[:, u])[0]:
            self.put(u, slot, day, "begin")
        if years_before:  # an older unit: part of the life is gone when the account begins
            past = min(years_before, 700)
            train = self.train
            for slot in np.nonzero(self.town.present[:, u])[0]:
                share = self.rng.random()
                age = past if slot == MEMBRANE else int(min(past, share * FIXED_DAYS[slot]))
                train.first[slot, u] = -age
                self.open[(u, slot)]["true"] = -age
                self.open[(u, slot)]["placed"] = -age
                if slot != MEMBRANE:
                    train.used[slot, u] = 0.5 * share * train.room[slot, u]
            train.water[u] = np.exp(-0.03 - 0.04 * past / 365 * self.town.fouling[u])
            train.salt[u] = np.exp(0.18 * past / 365 * self.town.salt_ageing[u])

    def slip(self, day):
        """The date that gets on paper."""
        pick = self.rng.random()
        if pick < 0.68:
            return day
        if pick < 0.9:
            return day + int(self.rng.integers(1, 7))
        if pick < 0.95:
            return day - int(self.rng.integers(1, 4))
        return day - self.town.dates[day].day + 1 if day < self.town.days else day

    def put(self, u, slot, day, why, reason="", moved=None):
        """A cartridge goes in; the one before, if any, comes out."""
        rng, town = self.rng, self.town
        usual = town.usual_item[slot, u]
        actual = usual
        if rng.random() < 0.02 and why != "begin":  # the wrong part from the van
            actual = {
                "Spun 5": "Spun 20",
                "Spun 1": "Spun 5",
                "Cat 10": "Grain 10",
                "Cat 20": "Block 10",
                "M75": "M100",
                "M100": "M75",
                "Mix 1.5": "Blue 1.5",
            }.get(usual, usual)
        sd = 0.09 if slot == MEMBRANE else 0.13
        if moved is None:
            self.train.fit(
                slot, np.array([u]), day, actual, float(np.exp(rng.normal(0, sd))), float(np.exp(rng.normal(0, 0.17)))
            )
            self.placed_item[slot, u] = actual
        old = self.open.get((u, slot))
        if old is not None and why != "begin" and moved is None and rng.random() < 0.015:
            return  # the slip was lost
        placed = self.slip(day) if why != "begin" else day
        if old is not None:
            placed = max(placed, old["placed"] + 1)
            removed = placed if rng.random() < 0.8 else placed - int(rng.integers(0, 4))
            old["removed"] = max(removed, old["placed"] + 1)
            old["reason"] = reason
        row = {
            "unit": u,
            "slot": slot,
            "item": usual if rng.random() > 0.04 else "",
            "placed": placed,
            "removed": None,
            "reason": "",
            "first": "",
            "source": None,
            "true": day,
            "name": len(self.placements),
        }
        if moved is not None:
            row["first"], row["source"] = moved["first"] if moved["first"] != "" else moved["placed"], moved["name"]
            row["item"] = moved["item"]
        self.placements.append(row)
        self.open[(u, slot)] = row

    def close(self, u, day):
        for slot in np.nonzero(self.town.present[:, u])[0]:
            row = self.open.pop((u, slot))
            row["removed"] = max(self.slip(day), row["placed"] + 1)
            row["reason"] = self.rng.choice(["routine", "", "early"], p=[0.4, 0.5, 0.1])
            self.train.first[slot, u] = 1e9

    def why_written(self, u, slot, shown):
        rng = self.rng
        sound = np.isnan(self.train.at_limit_on[slot, u])
        if shown:
            odds = [0.50, 0.15, 0.32, 0.02, 0.01] if self.clerk[u] == "writes" else [0.08, 0.47, 0.42, 0.02, 0.01]
        elif self.clerk[u] == "writes":
            odds = [0.82, 0.08, 0.05, 0.02, 0.03]
        else:
            odds = [0.15, 0.53, 0.25, 0.04, 0.03] if slot >= RESIN_1 else [0.22, 0.64, 0.06, 0.05, 0.03]
        word = rng.choice(["routine", "", "exhausted", "unknown", "early"], p=odds)
        if word == "early" and (shown or not sound):
            word = "routine"
        return str(word)

    def change(self, u, slot, day, shown):
        town, train, rng = self.town, self.train, self.rng
        reason = self.why_written(u, slot, shown)
        if slot == MEMBRANE and (train.leak[u] > 0) and rng.random() < 0.4:
            reason = "damaged"
        if slot == RESIN_1 and town.present[RESIN_2, u] and self.rotates[u]:
            for name in ("used", "first", "room", "at_limit_on", "in_a_row"):
                table = getattr(train, name)
                table[RESIN_1, u] = table[RESIN_2, u]
            train.at_limit_on[RESIN_1, u] = np.nan
            train.in_a_row[RESIN_1, u] = 0
            lag = self.open[(u, RESIN_2)]
            self.placed_item[RESIN_1, u] = self.placed_item[RESIN_2, u]
            self.put(u, RESIN_1, day, "rotation", reason, moved=lag)
            self.put(u, RESIN_2, day, "rotation", "rotated")
            return
        self.put(u, slot, day, "change", reason)

    # -- readings ---------------------------------------------------------------------------------------------------
    def tds_seen(self, u, day, value, hand, celsius):
        rng, town = self.rng, self.town
        if hand:
            bias = np.exp(self.hand_drift[self.installer[u]][day])
        else:
            bias = self.meter_bias[u] * np.exp(self.meter_drift[u] * (day - town.commissioned[u]) / 365)
        seen = value * bias * (1 + 0.002 * (celsius - 25)) * np.exp(rng.normal(0, 0.02)) * town.factor[u] / 0.5
        step = town.resolution[u]
        steps = max(round((seen + rng.normal(0, 0.2 * step)) / step), 0)
        return steps if step == 1 else round(steps * step, 1)

    def gauge(self, u, which, value):
        step = self.gauge_step[u]
        seen = value + self.gauge_bias[which, u] + self.rng.normal(0, 4)
        return round(max(round(seen / step), 0) * step / 100, 2)

    def counter_seen(self, u):
        step = self.counter_step[u]
        value = int(self.counter[u] // step * step)
        if self.rng.random() < 0.006:  # digits changed over
            text = list(str(value))
            if len(text) > 2:
                text[1], text[2] = text[2], text[1]
            value = int("".join(text))
        return value

    def visit(self, u, day, now, why):
        rng, town, train = self.rng, self.town, self.train
        get = {name: float(column[u]) for name, column in now.items()}
        row = {
            "unit": u,
            "day": day,
            "minute": int(rng.integers(8 * 60, 17 * 60)),
            "occasion": "as_found",
            "source": "installer",
        }
        static = town.has_tank[u] and rng.random() < 0.10
        tank = float(rng.uniform(0.12, 0.58) * (town.line[u] + town.boost[u])) if town.has_tank[u] else 0.0
        closed = town.has_tank[u] and rng.random() < 0.35
        if closed:
            tank = 0.0
        ratio = max(get["driving"] + town.tank_mean[u] - tank, 20) / get["driving"]
        flow = get["permeate"] * ratio
        flush = rng.random()
        unflushed = 1 + (rng.uniform(0.2, 1.5) if flush < 0.12 else 0)
        rejection_seen = flow_seen = product_seen = chlorine_seen = drop_seen = None
        if static:
            row["state"] = "static"
            if self.gauges[u] >= 1:
                row["inlet"] = self.gauge(u, 0, town.line[u] + 25)
        else:
            if rng.random() < 0.4:
                row["state"] = "flowing"
            if self.gauges[u] >= 1 and rng.random() < 0.75:
                row["inlet"] = self.gauge(u, 0, get["inlet"])
            if self.gauges[u] >= 2 and rng.random() < 0.7:
                row["line"] = self.gauge(u, 1, get["line"])
            if self.gauges[u] >= 3 and rng.random() < 0.8:
                row["behind"] = self.gauge(u, 2, get["behind"])
            if self.gauges[u] >= 2 and not town.has_pump[u] and "inlet" in row and "line" in row:
                drop_seen = (row["line"] - row["inlet"]) * 100 - 8
            if rng.random() < 0.5:
                row["permeate_tds"] = self.tds_seen(u, day, get["permeate_tds"] * unflushed, True, get["celsius"])
                if rng.random() < 0.75:
                    row["feed_tds"] = self.tds_seen(u, day, get["tds"], True, get["celsius"])
                    rejection_seen = 1 - row["permeate_tds"] / max(row["feed_tds"], 1)
                if rng.random() < 0.06:
                    row["concentrate_tds"] = self.tds_seen(
                        u, day, get["tds"] / (1 - min(town.recovery[u], 0.7)), True, get["celsius"]
                    )
                if rng.random() < 0.35:
                    row["flushed"] = "no" if unflushed > 1 and rng.random() < 0.5 else "yes"
            if rng.random() < 0.05:
                row["start_tds"] = self.tds_seen(u, day, get["permeate_tds"] * rng.uniform(2, 6), True, get["celsius"])
            if rng.random() < 0.3:
                row["flow"] = int(round(flow / 1.44 * np.exp(rng.normal(0, 0.05)) / 5) * 5)
                typical = ITEMS[town.usual_item[MEMBRANE, u]]["flow"]
                flow_seen = row["flow"] * 1.44 / typical
                if rng.random() < 0.4:
                    row["concentrate"] = int(round(get["concentrate"] / 1.44 * np.exp(rng.normal(0, 0.05)) / 10) * 10)
                if rng.random() < 0.3:
                    row["minutes"] = int(rng.choice([2, 5, 10, 15]))
            if town.has_tank[u]:
                if rng.random() < 0.4:
                    row["valve"] = "closed" if closed else "open"
                if not closed and rng.random() < 0.2:
                    row["tank"] = round(round((tank + rng.normal(0, 5)) / 10) / 10, 1)
            if town.has_pump[u] and rng.random() < 0.3:
                row["pump"] = "on"
        if town.has_resin[u] and rng.random() < 0.72:
            row["product_tds"] = product_seen = self.tds_seen(
                u, day, get["product"], rng.random() < 0.5, get["celsius"]
            )
        if town.present[RESIN_2, u] and rng.random() < 0.5:
            row["between_tds"] = self.tds_seen(u, day, get["between"], True, get["celsius"])
        if rng.random() < 0.28:
            row["celsius"] = round(float(np.round((get["celsius"] + rng.normal(0, 0.7)) * 2) / 2), 1)
        if self.has_counter[u] and rng.random() < 0.8:
            row["counter"] = self.counter_seen(u)
        if self.tests_chlorine[u] and rng.random() < 0.6:
            value = get["chlorine_2"] * np.exp(rng.normal(0, 0.15)) + rng.normal(0, 0.015)
            row["chlorine_out"] = chlorine_seen = round(float(max(np.round(value / 0.05) * 0.05, 0)), 2)
            if rng.random() < 0.5:
                row["chlorine_in"] = round(
                    float(max(np.round(get["chlorine"] * np.exp(rng.normal(0, 0.1)) / 0.1) * 0.1, 0)), 1
                )
            if town.present[CARBON_2, u] and rng.random() < 0.25:
                row["chlorine_between"] = round(float(max(np.round(get["chlorine_1"] / 0.05) * 0.05, 0)), 2)
        if rng.random() < 0.05:
            row["ph"] = round(float(town.water.ph[town.works[u], day] + rng.normal(0, 0.15)), 1)
        if day >= WARM_UP:
            self.readings.append(row)

        shown = set()
        if (drop_seen is not None and drop_seen >= 50) or (why == "flow" and rng.random() < 0.7):
            shown.add(SEDIMENT_1)
            if town.present[SEDIMENT_2, u] and rng.random() < 0.8:
                shown.add(SEDIMENT_2)
        if chlorine_seen is not None and chlorine_seen >= 0.1 and rng.random() < 0.85:
            shown.add(CARBON_1)
            if town.present[CARBON_2, u] and rng.random() < 0.6:
                shown.add(CARBON_2)
        if (
            rejection_seen is not None and rejection_seen < town.minimum_rejection[u] and rng.random() < 0.6
        ) or why == "salt":
            if train.leak[u] > 0 and rng.random() < 0.5:
                train.leak[u] = 0  # a new ring, not written down
            else:
                shown.add(MEMBRANE)
        if (flow_seen is not None and flow_seen < 0.38 and rng.random() < 0.25) or (
            why == "flow" and train.water[u] < 0.76 and rng.random() < 0.7
        ):
            shown.add(MEMBRANE)
        if town.has_resin[u] and (
            (product_seen is not None and product_seen > town.target_written[u] and rng.random() < 0.85)
            or why == "taste"
        ):
            shown.add(RESIN_1)
            if town.present[RESIN_2, u] and not self.rotates[u] and rng.random() < 0.7:
                shown.add(RESIN_2)
        between = row.get("between_tds")
        if between is not None and between > 0.5 * row.get("permeate_tds", 1e9) and rng.random() < 0.8:
            shown.add(RESIN_1)
        changed = False
        for slot in range(7):
            if not town.present[slot, u]:
                continue
            age = day - train.first[slot, u]
            if slot in shown and age > 15:
                self.change(u, slot, day, True)
                changed = True
            elif age > 0.92 * self.interval[slot, u] and rng.random() < (0.55 if slot == MEMBRANE else 0.82):
                if slot == RESIN_2 and self.rotates[u]:
                    continue
                self.change(u, slot, day, False)
                changed = True
            elif slot < CARBON_1 and age > 60 and rng.random() < 0.08:
                self.change(u, slot, day, False)
                changed = True
        if changed and rng.random() < 0.22 and day >= WARM_UP:
            self.after(u, day, row["minute"] + int(rng.integers(25, 70)), get)

    def after(self, u, day, minute, before):
        """A reading after the work, from the state as it is left."""
        rng, town, train = self.rng, self.town, self.train
        row = {
            "unit": u,
            "day": day,
            "minute": minute,
            "occasion": "as_left",
            "source": "installer",
            "state": "flowing",
        }
        left = np.clip(1 - train.used[:2, u] / train.room[:2, u], 0.09, 1)
        drop = town.clean_drop[u] * (1 / left[0] ** 2 + (1 / left[1] ** 2 if town.present[1, u] else 0))
        inlet = before["line"] - drop - 6 + town.boost[u]
        driving = max(0.96 * inlet - town.tank_mean[u] - 10, 20)
        flow = (
            train.water_0[u] * train.water[u] * driving * np.exp(2640 * (1 / 298.15 - 1 / (before["celsius"] + 273.15)))
        )
        fresh = train.first[MEMBRANE, u] == day
        salt = train.salt_0[u] * train.salt[u] * np.exp(2900 * (1 / 298.15 - 1 / (before["celsius"] + 273.15)))
        permeate = (
            before["tds"] * (1.5 * salt / (flow + salt) + train.leak[u]) * (rng.uniform(1.0, 1.6) if fresh else 1)
        )
        if self.gauges[u]:
            row["inlet"] = self.gauge(u, 0, inlet)
        if rng.random() < 0.6:
            row["permeate_tds"] = self.tds_seen(u, day, permeate, True, before["celsius"])
        if town.has_resin[u] and rng.random() < 0.7:
            share = train.used[RESIN_2 if town.present[RESIN_2, u] else RESIN_1, u]
            row["product_tds"] = self.tds_seen(
                u, day, permeate * 0.006 if share < 0.3 else before["product"], True, before["celsius"]
            )
        if rng.random() < 0.3:
            row["flow"] = int(round(flow / 1.44 * np.exp(rng.normal(0, 0.05)) / 5) * 5)
        self.readings.append(row)

    def client_read(self, u, day, now):
        rng, town = self.rng, self.town
        row = {"unit": u, "day": day, "minute": int(rng.integers(7 * 60, 22 * 60)), "source": "client", "occasion": ""}
        celsius = float(now["celsius"][u])
        if town.has_resin[u]:
            row["product_tds"] = self.tds_seen(u, day, now["product"][u], False, celsius)
        if not town.has_resin[u] or rng.random() < 0.3:
            row["permeate_tds"] = self.tds_seen(
                u, day, now["permeate_tds"][u] * (1 + rng.exponential(0.12)), False, celsius
            )
        if self.has_counter[u] and rng.random() < 0.7:
            row["counter"] = self.counter_seen(u)
        if self.gauges[u] and rng.random() < 0.35:
            row["inlet"] = self.gauge(u, 0, now["inlet"][u])
        self.readings.append(row)
        worn = town.has_resin[u] and row["product_tds"] > town.target_written[u]
        if (
            worn and rng.random() < 0.4 and day - self.train.first[RESIN_1, u] > 15
        ):  # clients with spare resin on the shelf
            self.change(u, RESIN_1, day + 0, True)

    def meter_read(self, u, day, now):
        rng, town = self.rng, self.town
        row = {
            "unit": u,
            "day": day,
            "minute": int(rng.choice([6 * 60, 6 * 60 + 5])),
            "source": "meter",
            "occasion": "",
            "state": "flowing",
        }
        celsius = float(now["celsius"][u])
        row["product_tds" if town.has_resin[u] else "permeate_tds"] = self.tds_seen(
            u, day, now["product" if town.has_resin[u] else "permeate_tds"][u], False, celsius
        )
        if self.has_counter[u]:
            row["counter"] = self.counter_seen(u)
        if self.gauges[u] >= 2:
            row["inlet"] = round(float(now["inlet"][u] + self.gauge_bias[0, u] + rng.normal(0, 5)) / 100, 2)
        if u % 2:
            row["celsius"] = round(celsius + float(rng.normal(0, 0.4)), 1)
        self.readings.append(row)


def ahead(town, train, cut):
    """True limits from the cut: copy 0 unchanged, copies 1 to 7 keep one slot, copy 8 all fresh."""
    n = town.n
    future = train.copies(9)
    copy = np.repeat(np.arange(9), n)
    alive = future.first[MEMBRANE] <= cut
    for slot in range(7):
        mask = alive & (copy == 8) & future.present[slot]
        future.fit_usual(slot, mask, cut)
    span = 2
    served = (copy >= 1) & (copy <= 7)
    where = np.arange(9 * n)
    limit = np.full((7, 9 * n), np.nan)
    wanted = future.present & ((copy == 0) | (copy == 8) | (copy == 1 + np.arange(7)[:, None]))
    for turn, day in enumerate(range(cut + 1, min(cut + AHEAD, town.days - 2), span)):
        if turn % 60 == 0:  # columns that have told all that is asked of them are dropped
            limit[:, where] = future.at_limit_on
            keep = alive & (wanted & np.isnan(future.at_limit_on)).any(axis=0)
            where, copy, alive, served, wanted = where[keep], copy[keep], alive[keep], served[keep], wanted[:, keep]
            future.thin(keep)
        for when in (day, day + 1):
            for u, kind, size in town.fault_on.get(when, []):
                future.strike(np.nonzero((future.column == u) & (copy < 8) & alive)[0], kind, size)
        future.step(day, span)
        for slot in range(7):
            old = day - future.first[slot] >= FIXED_DAYS[slot]
            due = (
                served & alive & (copy != slot + 1) & future.present[slot] & (old | ~np.isnan(future.at_limit_on[slot]))
            )
            if due.any():
                future.fit_usual(slot, due, day)
    limit[:, where] = future.at_limit_on
    limit = limit.reshape(7, 9, n)
    fresh = limit[:, 8] - cut
    kept = np.stack([limit[slot, slot + 1] for slot in range(7)])
    return limit[:, 0], kept, np.where(np.isnan(fresh), AHEAD, fresh), train.first[MEMBRANE] <= cut


def label_days(town, slot, u, item):
    """What a person reckons from the label and the demand as told; None where the label gives nothing."""
    entry = ITEMS[item]
    a_day = town.told[u] / 7
    feed = a_day / town.recovery[u]
    works = town.works[u]
    if entry["stage"] == "sediment":
        return entry["rated_volume"] / feed if entry["rated_volume"] else FIXED_DAYS[slot]
    if entry["stage"] == "carbon":
        if not entry["capacity"]:
            return FIXED_DAYS[slot]
        return min(365, entry["capacity"] / (feed * (0.9, 0.4)[works] / 1000))
    if entry["stage"] == "membrane":
        return USUAL_MEMBRANE_DAYS
    permeate = (85, 320)[works] * (1 - ITEMS[town.usual_item[MEMBRANE, u]]["rejection"] / 100)
    return entry["volume"] * entry["capacity"] / (a_day * permeate / 50 / 1000)


def write(folder, name, header, rows, comma=","):
    with open(os.path.join(folder, name), "w", newline="", encoding="utf-8") as handle:
        writer = csv.writer(handle, delimiter=comma)
        writer.writerow(header)
        writer.writerows(rows)


def write_files(town, office, rng, folder):
    n = town.n

    def date(day):
        return (town.start + datetime.timedelta(days=int(day))).isoformat()

    site_name = ["Site %d" % (s + 101) for s in range(town.sites)]
    words = [["North works", "South works"][w] for w in town.site_works]
    words = ["" if rng.random() < 0.07 else word for word in words]
    write(folder, "sites.csv", ["Site", "Supply"], zip(site_name, words, strict=False))

    rows = []
    for u in range(n):
        known = rng.random(12)
        rows.append(
            [
                office.unit_name[u],
                site_name[town.site[u]] if known[0] > 0.02 else "",
                town.use[u],
                "ro_di" if town.has_resin[u] else "ro",
                int(town.told[u]),
                f"{town.target_written[u]:g}" if known[1] > 0.05 else "",
                int(round(100 * town.recovery[u] / 5) * 5) if known[2] > 0.3 else "",
                int(round(town.restrictor[u] / 1.44 / 50) * 50) if known[3] > 0.45 and town.restrictor[u] > 36 else "",
                f"{round(100 * town.minimum_rejection[u], 1):g}",
                f"{town.factor[u]:g}" if town.factor[u] > 0.5 or known[4] > 0.4 else "",
                f"{town.resolution[u]:g}" if known[5] > 0.3 or town.resolution[u] < 1 else "",
                "yes" if town.has_pump[u] else "no",
                "yes" if town.has_tank[u] else "no",
                ("yes" if town.amine[u] else "no") if known[6] > 0.25 else "",
                office.counts[u] if office.has_counter[u] else "",
                date(town.commissioned[u]) if known[7] > 0.1 else "",
            ]
        )
    write(
        folder,
        "units.csv",
        [
            "Unit",
            "Site",
            "Use",
            "Kind",
            "Weekly demand (L/week)",
            "Product TDS target (ppm)",
            "Recovery (%)",
            "Restrictor flow (mL/min)",
            "Minimum rejection (%)",
            "TDS factor",
            "TDS resolution (ppm)",
            "Booster pump",
            "Pressure tank",
            "Chloraminated",
            "Totaliser",
            "Commissioned",
        ],
        rows,
    )

    rows = []
    for u in range(n):
        for order, slot in enumerate(np.nonzero(town.present[:, u])[0]):
            rows.append(
                [position_name(office, u, slot), office.unit_name[u], STAGE[slot], office.roles[u][slot], order + 1]
            )
    write(folder, "positions.csv", ["Position", "Unit", "Stage", "Role", "Order"], rows)

    rows = []
    for item, entry in ITEMS.items():
        stage = entry["stage"]

        def pick(key, when):
            return entry.get(key, "") if stage == when else ""

        rows.append(
            [
                item,
                stage,
                pick("micron", "sediment"),
                pick("rated_volume", "sediment"),
                pick("kind", "carbon"),
                pick("volume", "carbon"),
                pick("capacity", "carbon"),
                pick("flow", "membrane"),
                round(entry["pressure"] / 100, 2) if stage == "membrane" else "",
                25 if stage == "membrane" else "",
                pick("tds", "membrane"),
                pick("recovery", "membrane"),
                "polyamide" if stage == "membrane" else "",
                pick("rejection", "membrane"),
                pick("volume", "resin"),
                pick("capacity", "resin"),
                365 if stage == "carbon" else "",
            ]
        )
    write(
        folder,
        "items.csv",
        [
            "Item",
            "Stage",
            "Micron rating (µm)",
            "Rated volume (L)",
            "Carbon kind",
            "Carbon volume (L)",
            "Chlorine capacity (g)",
            "Rated flow (L/day)",
            "Rated pressure (bar)",
            "Rated temperature (°C)",
            "Rated TDS (ppm)",
            "Rated recovery (%)",
            "Membrane material",
            "Rejection (%)",
            "Resin volume (L)",
            "Resin capacity (eq/L)",
            "Maximum service time (days)",
        ],
        rows,
    )

    rows = []
    for p in office.placements:
        rows.append(
            [
                "P%05d" % (p["name"] + 1),
                position_name(office, p["unit"], p["slot"]),
                p["item"],
                date(p["placed"]),
                "" if p["removed"] is None else date(p["removed"]),
                p["reason"],
                "" if p["first"] == "" else date(p["first"]),
                "" if p["source"] is None else "P%05d" % (p["source"] + 1),
            ]
        )
    write(
        folder,
        "placements.csv",
        ["Placement", "Position", "Item", "Placed", "Removed", "Reason", "First installed", "Continued from"],
        rows,
        ";",
    )

    columns = [
        ("line", "Line pressure (bar)"),
        ("behind", "Prefilter outlet pressure (bar)"),
        ("inlet", "Inlet pressure (bar)"),
        ("tank", "Tank pressure (bar)"),
        ("celsius", "Temperature (°C)"),
        ("feed_tds", "Feed TDS (ppm)"),
        ("permeate_tds", "Permeate TDS (ppm)"),
        ("start_tds", "Permeate TDS at start (ppm)"),
        ("between_tds", "Interstage TDS (ppm)"),
        ("product_tds", "Product TDS (ppm)"),
        ("concentrate_tds", "Concentrate TDS (ppm)"),
        ("flow", "Permeate flow (mL/min)"),
        ("concentrate", "Concentrate flow (mL/min)"),
        ("chlorine_in", "Feed total chlorine (mg/L)"),
        ("chlorine_between", "Interstage chlorine (mg/L)"),
        ("chlorine_out", "Carbon outlet total chlorine (mg/L)"),
        ("ph", "Feed pH"),
        ("counter", "Totaliser (L)"),
        ("minutes", "Minutes since start (min)"),
        ("state", "State"),
        ("valve", "Tank valve"),
        ("pump", "Pump"),
        ("flushed", "Sampled after flush"),
        ("occasion", "Occasion"),
        ("source", "Source"),
    ]
    rows = []
    for r in office.readings:
        when = date(r["day"])
        if r["source"] == "meter" or rng.random() < 0.5:
            when += "T%02d:%02d" % divmod(min(r["minute"], 1439), 60)
        if r["source"] != "meter" and rng.random() < 0.05:
            when = date(r["day"] + int(rng.integers(1, 4)))
        if r["day"] < town.end:
            rows.append([office.unit_name[r["unit"]], when] + [r.get(key, "") for key, _ in columns])
    write(folder, "readings.csv", ["Unit", "Date"] + [title for _, title in columns], rows)

    rows = []
    for s in range(town.sites):
        if rng.random() > 0.25:
            continue
        u = int(np.nonzero(town.site == s)[0][0])
        works, day = town.works[u], WARM_UP + int(rng.integers(0, 300))
        while day < town.end:
            full = rng.random() < 0.3
            w = town.water
            values = [
                round(w.ph[works, day] + rng.normal(0, 0.1), 1),
                int(w.alkalinity[works, day] * np.exp(rng.normal(0, 0.06)) / 5) * 5,
                int(w.hardness[works, day] * np.exp(rng.normal(0, 0.06)) / 5) * 5,
                round(w.chlorine[works, day] * town.chlorine_site[u] * np.exp(rng.normal(0, 0.1)), 1),
            ]
            values = [v if full or rng.random() < 0.6 else "" for v in values]
            values += (
                [
                    round(w.silica[works, day] * np.exp(rng.normal(0, 0.08)), 1),
                    round(w.dirt[works, day] * np.exp(rng.normal(0, 0.2)), 2),
                ]
                if full
                else ["", ""]
            )
            values += [
                int(w.tds[works, day] * town.tds_factor_site[u] * np.exp(rng.normal(0, 0.03))),
                round(w.temperature[works, day] + rng.normal(0, 1)) if rng.random() < 0.4 else "",
            ]
            rows.append([site_name[s], date(day), *values])
            day += int(rng.integers(120, 420))
    write(
        folder,
        "feed_water.csv",
        [
            "Site",
            "Date",
            "pH",
            "Alkalinity (mg/L as CaCO3)",
            "Hardness (mg/L as CaCO3)",
            "Total chlorine (mg/L)",
            "Silica (mg/L)",
            "Turbidity (NTU)",
            "TDS (ppm)",
            "Temperature (°C)",
        ],
        rows,
    )


def position_name(office, u, slot):
    short = ["SED", "SED2", "CAR", "CAR2", "MEM", "DI", "DI2"][slot]
    return f"{office.unit_name[u]}/{short}"


def write_truth(town, office, cuts, folder):
    def date(day):
        return (town.start + datetime.timedelta(days=round(day))).isoformat()

    outcomes = {cut: ahead(town, office.cuts[cut], cut) for cut in cuts}
    there = np.array([outcomes[cut][3] for cut in cuts])
    fresh = sum(outcomes[cut][2] * outcomes[cut][3] for cut in cuts) / np.maximum(there.sum(axis=0), 1)
    rows = []
    for cut in cuts:
        train = office.cuts[cut]
        limit, kept = outcomes[cut][:2]
        for u in range(town.n):
            for slot in np.nonzero(town.present[:, u])[0]:
                first = train.first[slot, u]
                if first > cut:
                    continue
                item = town.usual_item[slot, u]
                ends = [None if np.isnan(v[slot, u]) or v[slot, u] > cut + AHEAD else v[slot, u] for v in (limit, kept)]
                label = first + min(label_days(town, slot, u, item), 20000)
                rows.append(
                    [
                        office.unit_name[u],
                        STAGE[slot],
                        office.roles[u][slot],
                        date(cut),
                        date(first),
                        "" if ends[0] is None else date(ends[0]),
                        round(fresh[slot, u]),
                        date(label),
                        date(first + FIXED_DAYS[slot]),
                        "" if ends[1] is None else date(ends[1]),
                    ]
                )
    write(
        folder,
        "truth.csv",
        [
            "unit",
            "stage",
            "role",
            "as_of",
            "installed_on",
            "exhausted_on",
            "nominal_life_days",
            "label_exhausted_on",
            "fixed_exhausted_on",
            "exhausted_on_rest_served",
        ],
        rows,
    )


def main():
    parser = argparse.ArgumentParser(description="An invented harbour town and its reverse-osmosis units.")
    parser.add_argument("--units", type=int, default=500)
    parser.add_argument("--years", type=float, default=4)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--out", required=True)
    choice = parser.parse_args()
    rng = np.random.default_rng(choice.seed)
    town = Town(rng, choice.units, choice.years)
    office = Office(town, rng)
    cuts = [WARM_UP + round(share * town.history_days) for share in (0.5, 0.75, 1.0)]
    office.run(set(cuts))
    truth = os.path.join(choice.out, "truth")
    os.makedirs(truth, exist_ok=True)
    write_files(town, office, rng, choice.out)
    write_truth(town, office, cuts, truth)


if __name__ == "__main__":
    main()
