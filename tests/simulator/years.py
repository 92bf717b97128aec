"""Years under a way of deciding: what is replaced when changes the readings that come and the forecasts made then.

The fleet, its wear, its readings and its complaints are the simulator's; only the visits are decided from here, and
what they and the water cost is counted. All of it invented: one simulator, no field data.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from fleet.engineering.stages import STAGES
from fleet.forecasting import LEVELS, Fleet, Learned, build_fleet, forecast
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.wear.nominal import current_placements, fixed_interval
from scheduling.planning.company_rules import CompanyRules
from scheduling.planning.needs.dates import first_day_on_condition
from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.policy import USES, Policy
from scheduling.planning.travel.trips import Place
from scheduling.planning.visits.bundling import bundle_visits
from scheduling.planning.visits.proposal import BundlingSite
from scheduling.planning.visits.travel_cost import travel_cost_estimate
from tests.simulator.fleet import Service, service_of
from tests.simulator.plant import CARB, MEM, RES, SED, SLOT_STAGE, Day, build_plant, run_day
from tests.simulator.settings import World
from tests.simulator.water import make_paths

HISTORY_DAYS: Final = 730
SETTLE_DAYS: Final = 182
PRICE: Final = {"sediment": 6.0, "carbon": 14.0, "membrane": 60.0, "resin": 25.0}
"""Of a cartridge; common practice, no source."""

BASE: Final = Place(50.0, 9.0)
LEARN_EVERY_DAYS: Final = 91
"""Between two runs in which the whole fleet teaches; in between, what it taught is used again, as every night does."""

MEMBRANE_RUIN: Final = 1.2
"""Log of the growth of salt passage that takes a usual membrane (97 %) to the 90 % it is discarded at."""

LOOKED_AHEAD_DAYS: Final = 300
_SHOWN = np.array([int(np.argmin(np.abs(GRID_LEVELS - level))) for level in LEVELS])
_PAIRS = {2: 3, 5: 6}


@dataclass(frozen=True)
class Way:
    """A way of deciding.

    Attributes
    ----------
    name
        For the table.
    interval_days
        Days between visits on which sediment, carbon and resin are replaced, membranes every three years; infinite: no
        rhythm.
    on_readings
        Whether a reading that fails sends somebody to replace what is exhausted; the rhythm then only reads the gauges.
    dates
        For a planned way, where the dates come from: ``learned`` (forecasts from what was recorded by then), ``fixed``
        (fixed intervals, no reading) or ``true`` (the simulator's own, which nobody can have). Empty: not planned.
    policy
        What the planning is told; the counting has its own.
    lead_late_share
        As in the house rules: what an exhausted lead before a good lag counts.
    membrane_probability
        As in the house rules: from which probability on a membrane is replaced.
    """

    name: str
    interval_days: float = np.inf
    on_readings: bool = False
    dates: str = ""
    policy: Policy = field(default_factory=Policy)
    lead_late_share: float = CompanyRules().lead_late_share
    membrane_probability: float = CompanyRules().membrane_probability


@dataclass
class Tally:
    """What a way cost in the years counted, of all units together.

    ``paced`` are the visits that the busiest position of each unit would have asked for by itself: fewer cannot be had
    by bundling.
    """

    unit_years: float
    visits: int = 0
    going: float = 0.0
    cartridges: float = 0.0
    replaced: dict[str, int] = field(default_factory=lambda: dict.fromkeys(STAGES, 0))
    bad_days: dict[str, float] = field(default_factory=lambda: dict.fromkeys(STAGES, 0.0))
    bad_money: dict[str, float] = field(default_factory=lambda: dict.fromkeys(STAGES, 0.0))
    damage: float = 0.0
    paced: int = 0

    def __add__(self, other: Tally) -> Tally:
        def both(one: dict[str, Any], two: dict[str, Any]) -> dict[str, Any]:
            return {key: one[key] + two[key] for key in one}

        return Tally(
            self.unit_years + other.unit_years,
            self.visits + other.visits,
            self.going + other.going,
            self.cartridges + other.cartridges,
            both(self.replaced, other.replaced),
            both(self.bad_days, other.bad_days),
            both(self.bad_money, other.bad_money),
            self.damage + other.damage,
            self.paced + other.paced,
        )

    @property
    def off_spec_days(self) -> float:
        """Days of water that is not what was sold: carbon or resin exhausted, or the membrane."""
        return self.bad_days["carbon"] + self.bad_days["membrane"] + self.bad_days["resin"]

    @property
    def all_bad_days(self) -> float:
        """Those, and days of too little water behind a blocked filter."""
        return sum(self.bad_days.values())

    def money(self, price_of_bad_water: float = 1.0) -> float:
        """All of it, with the policy's price of bad water taken so many times."""
        return self.going + self.cartridges + self.damage + price_of_bad_water * sum(self.bad_money.values())


class Years(Service):
    """The simulated service with its visits decided from outside."""

    way: Way
    counting: Policy
    tally: Tally
    places: list[Place]
    count_from: int

    def begin(self, way: Way, counting: Policy, places: list[Place], day: int, years: float) -> None:
        """Take over from the history."""
        self.way, self.counting, self.places = way, counting, places
        self.sites = [BundlingSite(f"s{unit}", place) for unit, place in enumerate(places)]
        self.travel = travel_cost_estimate(places, [BASE], policy=counting)
        self.late = np.array([[counting.late_cost(stage, USES[use]) for stage in STAGES] for use in self.plant.use])
        self.count_from = day + SETTLE_DAYS
        self.tally = Tally(len(places) * years)
        self.changes = np.zeros((len(places), 7), dtype=int)
        self.busiest = np.zeros(len(places), dtype=int)
        self.planned_slots: dict[int, set[int]] = {}
        self.learned: Learned | None = None
        self.learned_on = -LEARN_EVERY_DAYS
        self.last_visit = day - np.random.default_rng(5).uniform(0.0, 182.0, len(places))
        self.next_visit = np.ceil(self.last_visit + np.minimum(way.interval_days, 1e9))
        self.unchanging = super().columns()
        self.damage_before = self.state.damage.copy()

    # -- at the site

    def is_exhausted(self, unit: int, slot: int) -> bool:
        """Whether an installer at the unit would find it exhausted."""
        return bool(self.plant.has[unit, slot] and not np.isnan(self.state.exhausted[unit, slot]))

    def _visit(self, unit: int, day: int) -> bool:
        plant, rng, way = self.plant, self.rng, self.way
        change = set(self.planned_slots.pop(unit, set()))
        all_of_them = not way.dates and not way.on_readings
        if all_of_them:
            change |= {slot for slot in range(7) if plant.has[unit, slot] and slot != MEM}
            if day - self.state.placed[unit, MEM] >= 1_095:
                change.add(MEM)
        change |= {slot for slot in range(7) if self.is_exhausted(unit, slot) and rng.random() > self.world.miss_share}
        used: list[int] = []
        for slot in sorted(change):
            if slot in (3, 6) and slot - 1 in used:
                continue
            lag = _PAIRS.get(slot, 0)
            in_series = bool(lag and plant.has[unit, lag])
            if in_series and not all_of_them and lag not in change:
                # lead out, lag to lead, fresh lag
                self._out(unit, slot, day)
                moved = self._remove(unit, lag, day, "rotated")
                for name in ("capacity", "used", "first"):
                    values = getattr(self.state, name)
                    values[unit, slot] = values[unit, lag]
                self._place(unit, slot, day, continued=moved)
                self._place(unit, lag, day)
                used.append(slot)
                continue
            for one in (slot, lag) if in_series else (slot,):
                self._out(unit, one, day)
                self._place(unit, one, day)
                used.append(one)
        self.last_visit[unit] = day
        if day >= self.count_from:
            minutes = self.counting.removal_minutes + self.counting.minutes_for("replace") * len(used)
            self.tally.visits += 1
            self.tally.going += self.travel[unit] + self.counting.visit_cost
            self.tally.going += minutes * self.counting.working_cost_per_minute
            for slot in used:
                stage = STAGES[SLOT_STAGE[slot]]
                self.tally.replaced[stage] += 1
                self.tally.cartridges += PRICE[stage]
            self.changes[unit, np.array(used, dtype=int)] += 1
            self.tally.paced += int(self.changes[unit].max() - self.busiest[unit])
            self.busiest[unit] = self.changes[unit].max()
        return bool(used)

    def _out(self, unit: int, slot: int, day: int) -> None:
        self._remove(unit, slot, day, "exhausted" if self.is_exhausted(unit, slot) else "early")

    # -- one day

    def after_day(self, day: int, actual: Day) -> None:
        """The simulator's day, then the visits to come."""
        super().after_day(day, actual)
        exhausted = self.plant.has & ~np.isnan(self.state.exhausted)
        # behind an exhausted lead a good lag still gives good water, of which nobody complains
        self.complaint[self.plant.has[:, 6] & ~exhausted[:, 6]] = np.inf
        if day >= self.count_from:
            self._count(exhausted)
        self.damage_before = self.state.damage.copy()
        way = self.way
        if np.isfinite(way.interval_days):
            self.next_visit = np.ceil(self.last_visit + way.interval_days)
        else:
            self.next_visit[(self.last_visit == day) | (self.next_visit <= day)] = np.inf
        if way.on_readings:
            self._visit_where_a_reading_failed(day)
        if way.dates and day % 7 == 0:
            self._plan(day)

    def _count(self, exhausted: np.ndarray) -> None:
        """Charge the day: the last cartridge of a stage exhausted; any of the sediment filters in a row is blocked."""
        single = self.plant.role != 1
        for code, where in enumerate((SED, CARB, slice(MEM, MEM + 1), RES)):
            bad = (exhausted[:, where] & (single[:, where] | (code == 0))).any(axis=1)
            self.tally.bad_days[STAGES[code]] += float(bad.sum())
            self.tally.bad_money[STAGES[code]] += float(self.late[bad, code].sum())
        eaten = np.maximum(self.state.damage - self.damage_before, 0.0)
        self.tally.damage += float(eaten.sum()) / MEMBRANE_RUIN * PRICE["membrane"]

    def _visit_where_a_reading_failed(self, day: int) -> None:
        """Readings of clients and meters of today that show bad water or a blocked filter: somebody comes in 3 days."""
        for row in reversed(self.readings):
            if row["day"][0] < self.world.start_day + day:
                break
            if row["source"][0] == "installer":
                continue
            units = row["unit"]
            with np.errstate(invalid="ignore"):
                bad = self.plant.kind_ro_di[units] & (row["product_tds_mg_per_l"] > 1.5)
                bad |= row["carbon_outlet_total_chlorine_mg_per_l"] > 0.1
                drop_kpa = row["line_pressure_kpa"] - row["prefilter_outlet_pressure_kpa"]
                bad |= drop_kpa > 1.3 * self.plant.sediment_limit[units]
                bad |= row["permeate_tds_mg_per_l"] > 0.12 * row["feed_tds_mg_per_l"]
            for unit in units[bad]:
                if day - self.last_visit[unit] > 10:
                    self.next_visit[unit] = min(self.next_visit[unit], day + 3)

    # -- planning

    def columns(self) -> dict[str, dict[str, list]]:
        """What was recorded by now; what does not change is written down once."""
        joined = {name: np.concatenate([row[name] for row in self.readings]) for name in self.readings[0]}
        readings: dict[str, Any] = {name: values for name, values in joined.items() if name not in ("unit", "flushed")}
        names = np.array([f"u{unit}" for unit in range(self.world.units)], dtype=object)
        readings["unit_id"] = names[joined["unit"]]
        readings["sampled_after_flush"] = joined["flushed"]
        return self.unchanging | {
            "readings": readings,
            "placements": {name: [row[name] for row in self.placements] for name in self.placements[0]},
            "feed_water": {name: [row[name] for row in self.reports] for name in self.reports[0]},
        }

    def _plan(self, day: int) -> None:
        """Date every cartridge, choose, and set the visits of this week."""
        slots: dict[str, tuple[int, int]] = {}
        needs: list[Need] = []
        days_left, share = self._dates(day)
        for unit in range(self.world.units):
            for slot in np.flatnonzero(self.plant.has[unit]):
                need = self._need(unit, int(slot), day, days_left, share)
                if need is not None:
                    slots[need.key] = (unit, int(slot))
                    needs.append(need)
        chosen = bundle_visits(needs, self.sites, policy=self.way.policy, bases=[BASE], days=7)
        for visit in chosen:
            if visit.number or visit.best_day >= 7:
                continue
            unit = slots[visit.needs[0]][0]
            self.next_visit[unit] = min(self.next_visit[unit], day + 1 + visit.best_day)
            self.planned_slots[unit] = {slots[key][1] for key in visit.needs}

    def _dates(self, day: int) -> tuple[np.ndarray, np.ndarray]:
        """Days left at the quantiles and the share left, (units, 7, 7) and (units, 7); NaN where nothing stands."""
        shape = self.plant.has.shape
        days_left = np.full((*shape, len(LEVELS)), np.nan)
        share = np.full(shape, np.nan)
        at = self.plant.has & ~np.isnan(self.state.placed)
        if self.way.dates == "true":
            true_days = self._true_days_left(day)
            days_left[at] = true_days[at][:, None]
            age = day - self.state.placed
            share[at] = (true_days / np.maximum(true_days + age, 1.0))[at]
            return days_left, share
        today = self.world.start_day + day + 0.6
        fleet, _ = build_fleet(as_of_day=today, **self.columns())
        quantiles, remaining = self._forecast_quantiles(fleet, day)
        rows = self.position_rows[at]
        days_left[at] = quantiles[rows] - today
        share[at] = np.clip(remaining[rows], 0.0, 1.0)
        return days_left, share

    def _forecast_quantiles(self, fleet: Fleet, day: int) -> tuple[np.ndarray, np.ndarray]:
        if self.way.dates == "fixed":
            grid = fixed_interval(fleet)
            placed = fleet.placements.placed_day[current_placements(fleet)]
            middle = grid[:, len(GRID_LEVELS) // 2] - fleet.as_of_day
            return grid[:, _SHOWN], middle / np.maximum(middle + fleet.as_of_day - placed, 1.0)
        if day - self.learned_on >= LEARN_EVERY_DAYS:
            self.learned, self.learned_on = None, day
        answer = forecast(fleet, learned=self.learned)
        if self.learned is None:
            self.learned = answer.learned
        return answer.quantile_day, answer.remaining_share

    def _true_days_left(self, day: int) -> np.ndarray:
        """Days until the truth, when everything else is kept up; what lasts beyond what is looked at, just beyond."""
        state = self.state.copy()
        for ahead in range(day + 1, day + LOOKED_AHEAD_DAYS):
            run_day(self.world, self.plant, self.paths, state, ahead, others_are_kept_up=True)
        days_left = np.where(np.isnan(state.exhausted), day + 1.2 * LOOKED_AHEAD_DAYS, state.exhausted) - day
        return np.maximum(days_left, 0.0)

    def _need(self, unit: int, slot: int, day: int, days_left: np.ndarray, share: np.ndarray) -> Need | None:
        plant = self.plant
        stage, use = STAGES[SLOT_STAGE[slot]], USES[plant.use[unit]]
        mine = days_left[unit, slot]
        if np.isnan(mine).any():
            return None
        half, remaining_share = mine[3], float(share[unit, slot])
        price, late = PRICE[stage], self.way.policy.late_cost(stage, use)
        need = Need(
            f"{unit}.{slot}",
            f"s{unit}",
            f"u{unit}",
            NeedKind.REPLACE,
            label=stage,
            minutes=self.counting.minutes_for("replace"),
            quantile_days=tuple(mine),
            remaining_share=remaining_share,
            price=price,
            late_cost_per_day=late,
            fresh_life_days=float(half / remaining_share) if remaining_share > 0.05 and half > 0 else float("nan"),
        )
        if stage == "membrane":
            first_day = first_day_on_condition(need.quantile_days, self.way.membrane_probability)
            within = first_day <= 7 * self.way.policy.bundling_weeks
            return replace(need, not_before_day=first_day) if within else None
        lead = slot if slot in _PAIRS else slot - 1
        lag = _PAIRS.get(lead, 0)
        if not lag or not plant.has[unit, lag] or not days_left[unit, lag, 3] > 0.5:
            return need
        ages_out = days_left[unit, lag, 3] <= days_left[unit, lead, 3]
        if slot == lag:
            return need if ages_out else None  # it moves up when the lead goes
        if ages_out:
            return replace(need, kind=NeedKind.ROTATE, late_cost_per_day=late * self.way.lead_late_share)
        return replace(
            need,
            kind=NeedKind.ROTATE,
            quantile_days=tuple(np.maximum(days_left[unit, lag], mine)),
            exhausted_quantile_days=tuple(mine),
            exhausted_cost_per_day=late * self.way.lead_late_share,
        )


def run_years(
    units: int, seed: int, ways: list[Way], counting: Policy, *, years: int = 1, world: World | None = None
) -> dict[str, Tally]:
    """The ways on one fleet with one history: two years, half a year to settle in, and the years that count.

    Parameters
    ----------
    units, seed
        Size of the fleet, and where everything random comes from.
    ways
        Ways of deciding, with different names.
    counting
        Prices at which all of them are counted.
    years
        How many years count.
    world
        The simulated world; None: the usual one.
    """
    days = HISTORY_DAYS + SETTLE_DAYS + 365 * years
    knobs = {**vars(world)} if world is not None else {}
    world = World(**(knobs | {"units": units, "years": days / 365.25 + 0.1}))
    rng = np.random.default_rng(seed)
    paths = make_paths(world, rng, days + LOOKED_AHEAD_DAYS + 100)
    plant = build_plant(world, paths, rng)
    history = service_of(world)(world, plant, paths, rng, days)
    for day in range(HISTORY_DAYS):
        history.after_day(day, run_day(world, plant, paths, history.state, day))
    scatter = np.random.default_rng(seed + 100)
    places = [Place(50.0 + scatter.normal() / 8, 9.0 + scatter.normal() / 6) for _ in range(units)]
    tallies = {}
    for way in ways:
        service = copy.deepcopy(history)
        service.__class__ = Years
        service.begin(way, counting, places, HISTORY_DAYS, years)  # type: ignore[attr-defined]
        for day in range(HISTORY_DAYS, days):
            service.after_day(day, run_day(world, plant, paths, service.state, day))
        tallies[way.name] = service.tally  # type: ignore[attr-defined]
    return tallies
