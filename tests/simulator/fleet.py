"""Runs the fleet day by day: wear, visits, readings with their errors, and truth at cut dates."""

from dataclasses import dataclass, field

import numpy as np

from tests.simulator.plant import CARB, MEM, PSI, RES, SLOT_STAGE, Day, Plant, State, build_plant, fresh, run_day
from tests.simulator.settings import World
from tests.simulator.water import Paths, make_paths

USES = ("reef", "planted", "drinking", "coffee", "laboratory")
STAGES = ("sediment", "carbon", "membrane", "resin")
ROLES = ("single", "lead", "lag")
FURTHEST_YEARS = 5.0


@dataclass
class Truth:
    """What would happen if nothing were changed after a cut day: arrays (units, 7); NaN where there is no such slot."""

    cut_day: float
    exhausted_day: np.ndarray
    driver: np.ndarray
    placed_day: np.ndarray
    nominal_life_days: np.ndarray
    capacity: np.ndarray
    used: np.ndarray


@dataclass
class Simulated:
    """Columns as a company would have recorded them, and the truth at every cut."""

    columns: dict[str, dict[str, list]]
    positions: np.ndarray  # (units, 7): row of the position, -1 where none
    truths: list[Truth]
    slips: int
    plant: Plant
    paths: Paths
    world: World
    lives: list[dict] = field(default_factory=list)


def simulate(world: World, seed: int, cut_years: tuple[float, ...] | None = None) -> Simulated:
    """Simulate a fleet.

    Parameters
    ----------
    world
        The knobs.
    seed
        Everything random comes from it.
    cut_years
        Years after the start at which the truth is taken; the world's own when None.
    """
    cut_years = world.cut_years if cut_years is None else cut_years
    rng = np.random.default_rng(seed)
    recorded = int(world.years * 365.25)
    days = recorded + int(FURTHEST_YEARS * 365.25)
    paths = make_paths(world, rng, days)
    plant = build_plant(world, paths, rng)
    service = service_of(world)(world, plant, paths, rng, recorded)
    cuts = {int(year * 365.25): None for year in cut_years}
    snapshots: list[tuple[int, State]] = []
    for day in range(recorded):
        if day in cuts:
            snapshots.append((day, service.state.copy()))
        actual = run_day(world, plant, paths, service.state, day)
        service.after_day(day, actual)
    truths = [_truth(world, plant, paths, state, day, days) for day, state in snapshots]
    return Simulated(
        columns=service.columns(),
        positions=service.position_rows,
        truths=truths,
        slips=service.slips,
        plant=plant,
        paths=paths,
        world=world,
        lives=service.lives,
    )


def service_of(world: World) -> "type[Service]":
    """How the world's people serve and keep their books."""
    if not world.is_kept_by_offices:
        return Service
    from tests.simulator.as_kept import ServiceAsKept

    return ServiceAsKept


def _truth(world: World, plant: Plant, paths: Paths, state: State, cut: int, days: int) -> Truth:
    at_cut, state = state, state.copy()
    last = min(days, cut + int(FURTHEST_YEARS * 365.25))
    for day in range(cut, last):
        run_day(world, plant, paths, state, day, others_are_kept_up=True)
    exhausted = np.where(np.isnan(state.exhausted), last, state.exhausted)
    exhausted = np.maximum(exhausted, cut)
    installed = plant.has & ~np.isnan(state.placed)
    mean_product = paths.product_l[:, :700].mean(axis=1)
    mean_feed = mean_product * (1 + plant.waste_ratio)
    chlorine = paths.chlorine[:, :700].mean(axis=1)
    permeate = paths.feed_tds[:, :700].mean(axis=1) * (1 - plant.rejection)
    nominal = np.zeros((len(mean_product), 7))
    nominal[:, 0:2] = plant.label[:, 0:2] / mean_feed[:, None]
    nominal[:, CARB] = np.minimum(plant.label[:, CARB] * 1000 / (mean_feed * chlorine)[:, None], 365)
    nominal[:, MEM] = 1095
    nominal[:, RES] = plant.label[:, RES] * 1000 * 58.443 / (mean_product * permeate)[:, None]
    return Truth(
        cut_day=world.start_day + cut,
        exhausted_day=np.where(installed, world.start_day + exhausted, np.nan),
        driver=np.where(installed, state.driver, 0),
        placed_day=world.start_day + state.placed,
        nominal_life_days=np.clip(nominal, 30, 1095),
        capacity=at_cut.capacity,
        used=at_cut.used,
    )


class Service:
    """Installers, clients and meters: what is changed and what is written down."""

    def __init__(self, world: World, plant: Plant, paths: Paths, rng: np.random.Generator, recorded: int) -> None:
        self.world, self.plant, self.paths, self.rng, self.recorded = world, plant, paths, rng, recorded
        n = world.units
        self.placements: list[dict] = []
        self.readings: list[dict[str, np.ndarray]] = []
        self.lives: list[dict] = []
        self.slips = 0
        self.commissioned = rng.integers(0, int(world.rollout_years * 365), n)
        blank = np.full((n, 7), np.nan)
        self.state = State(
            serial=np.full((n, 7), -1),
            placed=blank.copy(),
            first=blank.copy(),
            capacity=np.where(plant.has, plant.label, 1.0),
            used=np.zeros((n, 7)),
            loss_rate=plant.flow_loss.copy(),
            gain_rate=plant.salt_gain.copy(),
            damage=np.zeros(n),
            exhausted=blank.copy(),
            driver=np.zeros((n, 7), dtype=int),
        )
        self.position_rows = np.full((n, 7), -1)
        self.position_rows[plant.has] = np.arange(plant.has.sum())
        gap = world.visit_gap_days * np.exp(0.3 * rng.normal(size=n))
        self.gap = gap
        self.next_visit = self.commissioned.astype(float)
        kind = rng.random(n)
        edges = np.cumsum([world.daily_meter_share, world.weekly_client_share, world.monthly_client_share])
        self.rhythm = np.select([kind < edges[0], kind < edges[1], kind < edges[2]], [1.0, 7.0, 30.0], np.inf)
        self.next_own = self.commissioned + rng.uniform(0, 1, n) * np.where(np.isfinite(self.rhythm), self.rhythm, 1e9)
        self.bias: dict[str, np.ndarray] = {}
        self.gauges = {
            "line": rng.random(n) < 0.8,
            "prefilter": rng.random(n) < 0.6,
            "inlet": rng.random(n) < 0.7,
            "flow": rng.random(n) < 0.75,
            "chlorine": rng.random(n) < 0.75,
            "interstage": rng.random(n) < 0.8,
            "start": rng.random(n) < 0.2,
        }
        for name, flags in self.gauges.items():
            flags &= rng.random(n) < world.gauge_share if world.gauge_share < 1.0 else True
            self.bias[name] = np.exp(world.gauge_bias * rng.normal(size=n))
        self.totaliser = np.where(
            rng.random(n) < world.totaliser_share, rng.integers(1, 4, n), 0
        )  # feed, permeate, product
        self.counter = np.zeros(n)
        self.chosen_meter = rng.choice([1.0, 0.1], n, p=[0.6, 0.4])
        self.complaint = np.full(n, np.inf)
        self.reports: list[dict] = []

    # -- placements ------------------------------------------------------------------------------------------------
    def _place(self, unit: int, slot: int, day: int, continued: int | None = None) -> None:
        state = self.state
        if continued is None:
            capacity, loss, gain = fresh(self.world, self.plant, self.rng, unit, slot)
            state.capacity[unit, slot] = capacity
            state.used[unit, slot] = 0.0
            state.first[unit, slot] = day
            if slot == MEM:
                state.loss_rate[unit], state.gain_rate[unit], state.damage[unit] = loss, gain, 0.0
        state.serial[unit, slot] = len(self.placements)
        state.placed[unit, slot] = day
        state.exhausted[unit, slot] = np.nan
        state.driver[unit, slot] = 0
        self.placements.append(
            {
                "placement_id": len(self.placements),
                "position_id": f"p{self.position_rows[unit, slot]}",
                "item_id": f"{STAGES[SLOT_STAGE[slot]]}-{self._item_key(unit, slot)}",
                "placed_day": self.world.start_day + day + 0.5,
                "removed_day": None,
                "reason": None,
                "first_installed_day": self.world.start_day + state.first[unit, slot] + 0.5,
                "continued_from": continued,
            }
        )

    def _item_key(self, unit: int, slot: int) -> str:
        if slot == MEM:
            return f"{self.plant.rated_flow[unit]:.0f}-{self.plant.rejection[unit]:.2f}"
        return f"{self.plant.label[unit, slot]:.3g}"

    def _remove(self, unit: int, slot: int, day: int, reason: str | None) -> int:
        serial = int(self.state.serial[unit, slot])
        row = self.placements[serial]
        row["removed_day"] = self.world.start_day + day + 0.5
        row["reason"] = reason
        self.lives.append(
            {
                "placement": serial,
                "slot": slot,
                "unit": unit,
                "days": day - self.state.placed[unit, slot],
                "exhausted_after": self.state.exhausted[unit, slot] - self.state.placed[unit, slot],
                "reason": reason,
            }
        )
        return serial

    def _visit(self, unit: int, day: int) -> bool:
        world, plant, state, rng = self.world, self.plant, self.state, self.rng
        if world.keeps_to_intervals:
            return self._visit_by_calendar(unit, day)
        changed = False
        for first in (0, 2, 5):
            two = plant.has[unit, first + 1]
            if not plant.has[unit, first]:
                continue
            flags = []
            for slot in (first, first + 1) if two else (first,):
                found_exhausted = not np.isnan(state.exhausted[unit, slot]) and rng.random() > world.miss_share
                age = day - state.placed[unit, slot]
                usual = 150 if first != 2 else 250
                early = not found_exhausted and age > usual and rng.random() < world.early_share
                damaged = rng.random() < 0.004
                flags.append("exhausted" if found_exhausted else "early" if early else "damaged" if damaged else "")
            if two and first != 0:
                if flags[1] == "exhausted":
                    for slot in (first, first + 1):
                        self._remove(unit, slot, day, "exhausted")
                        self._place(unit, slot, day)
                    changed = True
                elif flags[0] or flags[1]:
                    # Lead out, lag to lead, fresh lag.
                    reason = flags[0] or flags[1]
                    self._remove(unit, first, day, reason)
                    moved = self._remove(unit, first + 1, day, "rotated")
                    for name in ("capacity", "used", "first"):
                        values = getattr(state, name)
                        values[unit, first] = values[unit, first + 1]
                    self._place(unit, first, day, continued=moved)
                    self._place(unit, first + 1, day)
                    changed = True
            else:
                for slot, flag in zip((first, first + 1), flags, strict=False):
                    if flag:
                        self._remove(unit, slot, day, flag)
                        self._place(unit, slot, day)
                        changed = True
        if (not np.isnan(state.exhausted[unit, MEM]) and rng.random() > world.miss_share) or (
            day - state.placed[unit, MEM] > 900 and rng.random() < 0.08
        ):
            reason = "early" if np.isnan(state.exhausted[unit, MEM]) else "exhausted"
            self._remove(unit, MEM, day, reason)
            self._place(unit, MEM, day)
            changed = True
        return changed

    def _visit_by_calendar(self, unit: int, day: int) -> bool:
        """Change what is due by the calendar, and what a gauge of this unit shows to be exhausted."""
        plant, state, changed = self.plant, self.state, False
        for first in (0, 2, MEM, 5):
            slots = [slot for slot in ((MEM,) if first == MEM else (first, first + 1)) if plant.has[unit, slot]]
            if not slots:
                continue
            shown = [not np.isnan(state.exhausted[unit, slot]) and self._can_see(unit, slot) for slot in slots]
            due = self._is_due(unit, slots[0], day)
            if len(slots) == 2 and first != 0 and (shown[0] or due) and not shown[1]:
                self._remove(unit, first, day, self._word(is_visible=shown[0]))
                moved = self._remove(unit, first + 1, day, "rotated" if self.rng.random() < 0.7 else self._word())
                for name in ("capacity", "used", "first"):
                    values = getattr(state, name)
                    values[unit, first] = values[unit, first + 1]
                self._place(unit, first, day, continued=moved)
                self._place(unit, first + 1, day)
                changed = True
            else:
                for slot, is_visible in zip(slots, shown, strict=True):
                    if is_visible or due:
                        self._remove(unit, slot, day, self._word(is_visible=is_visible))
                        self._place(unit, slot, day)
                        changed = True
        return changed

    def _can_see(self, unit: int, slot: int) -> bool:
        """Whether this visit's readings show that a cartridge is exhausted."""
        gauges = {0: ("line", "prefilter"), 2: ("chlorine",), MEM: ("flow", "inlet"), 5: ()}
        first = 5 if slot > MEM else slot if slot == MEM else slot - slot % 2
        is_read = all(self.gauges[name][unit] for name in gauges[first])
        return bool(is_read and self.rng.random() > self.world.miss_share + 0.15)

    def _is_due(self, unit: int, slot: int, day: int) -> bool:
        interval = self.world.interval_days[SLOT_STAGE[slot]]
        return bool(day - self.state.placed[unit, slot] > interval * np.exp(0.15 * self.rng.normal()))

    def _word(self, *, is_visible: bool = False) -> str | None:
        """The reason as the office has it in its books."""
        if self.rng.random() < self.world.unwritten_share:
            return None
        if is_visible or self.rng.random() < self.world.habitual_word_share:
            return "exhausted"
        return "routine" if self.rng.random() < 0.9 else "early"

    # -- one day ---------------------------------------------------------------------------------------------------
    def after_day(self, day: int, actual: Day) -> None:
        rng, world = self.rng, self.world
        running = day > self.commissioned
        stream = np.stack([np.zeros(world.units), actual.feed_l, actual.permeate_l * 1.01, actual.permeate_l])
        self.counter += np.where(running, stream[self.totaliser, np.arange(world.units)], 0.0)
        for unit in np.flatnonzero(self.commissioned == day):
            for slot in np.flatnonzero(self.plant.has[unit]):
                self._place(int(unit), int(slot), day)
            self.next_visit[unit] = day + rng.gamma(8, self.gap[unit] / 8)
        # A client who sees bad product water calls.
        bad = (
            running
            & ~np.isnan(self.state.exhausted[:, 5])
            & np.isinf(self.complaint)
            & (rng.random(world.units) < 0.01)
        )
        self.complaint[bad] = day + rng.integers(3, 20, int(bad.sum()))
        due = running & ((self.next_visit <= day) | (self.complaint <= day))
        if due.any():
            units = np.flatnonzero(due)
            self._read(units, day, actual, "as_found", "installer")
            for unit in units:
                self._visit(int(unit), day)
                self.next_visit[unit] = day + max(20.0, rng.gamma(8, self.gap[unit] / 8))
                self.complaint[unit] = np.inf
            read_as_left = units[rng.random(len(units)) < 0.5]
            if len(read_as_left):
                self._read_as_left.append((read_as_left, day))
        own = running & (self.next_own <= day)
        if own.any():
            units = np.flatnonzero(own)
            meters = self.rhythm[units] == 1.0
            if meters.any():
                self._read(units[meters], day, actual, "routine", "meter")
            if (~meters).any():
                clients = units[~meters]
                here = clients[rng.random(len(clients)) < 0.85]
                if len(here):
                    self._read(here, day, actual, "routine", "client")
            self.next_own[units] = day + self.rhythm[units] * np.where(meters, 1.0, rng.uniform(0.7, 1.5, len(units)))
        # Readings as left are taken on the next day, when the fresh cartridges show.
        for units, when in [entry for entry in self._read_as_left if entry[1] == day - 1]:
            self._read(units, when, actual, "as_left", "installer", later=0.04)
        self._read_as_left = [entry for entry in self._read_as_left if entry[1] >= day]
        for unit in np.flatnonzero(rng.random(world.units) < 1.2 / 365):
            self._report(int(unit), day)

    _read_as_left: list = []

    def _report(self, unit: int, day: int) -> None:
        rng, paths = self.rng, self.paths
        self.reports.append(
            {
                "site_id": f"s{unit}",
                "day": self.world.start_day + day + 0.4,
                "ph": round(float(paths.ph[unit, day] + 0.08 * rng.normal()), 1),
                "alkalinity_mg_per_l_as_caco3": round(
                    float(paths.alkalinity[unit, day] * np.exp(0.06 * rng.normal())), -1
                ),
                "free_chlorine_mg_per_l": None
                if paths.chloraminated[unit]
                else round(float(paths.chlorine[unit, day] * np.exp(0.1 * rng.normal())), 1),
                "total_chlorine_mg_per_l": round(float(paths.chlorine[unit, day] * np.exp(0.1 * rng.normal())), 1),
                "turbidity_ntu": round(float(paths.turbidity[unit] * np.exp(0.3 * rng.normal())), 2)
                if rng.random() < 0.6
                else None,
                "tds_mg_per_l": round(float(paths.feed_tds[unit, day] * np.exp(0.03 * rng.normal()))),
                "hardness_mg_per_l_as_caco3": None,
                "temperature_degc": round(float(paths.temperature_degc[unit, day]), 0),
            }
        )

    # -- readings --------------------------------------------------------------------------------------------------
    def _read(self, units: np.ndarray, day: int, actual: Day, occasion: str, source: str, later: float = 0.0) -> None:
        world, rng, m = self.world, self.rng, len(units)
        installer = source == "installer"

        def noisy(values: np.ndarray, share: float) -> np.ndarray:
            heavy = np.where(rng.random(m) < 0.03, 3.0, 1.0)
            return values[units] * np.exp(share * heavy * rng.normal(size=m))

        def rounded(values: np.ndarray, step: float | np.ndarray) -> np.ndarray:
            return np.round(values / step) * step

        bias = {name: values[units] for name, values in self.bias.items()}

        def pressure(values: np.ndarray, name: str) -> np.ndarray:
            raw = (values[units] * bias[name] + world.pressure_noise_kpa * rng.normal(size=m)) / PSI
            return rounded(np.maximum(raw, 0), 1.0) * PSI

        def some(values: np.ndarray, share: float | np.ndarray) -> np.ndarray:
            return np.where(rng.random(m) < share, values, np.nan)

        gauges = {name: flags[units].astype(float) for name, flags in self.gauges.items()}
        step = self.chosen_meter[units]
        unflushed = rng.random(m) < world.unflushed_share * (0.5 if source == "meter" else 1.0)
        creep = 1 + unflushed * rng.uniform(1, 8, m)
        row: dict[str, np.ndarray] = {}
        here = {"installer": 1.0, "client": 0.3, "meter": 0.6}[source]
        row["line_pressure_kpa"] = some(pressure(actual.line, "line"), gauges["line"] * here * 0.95)
        row["prefilter_outlet_pressure_kpa"] = some(
            pressure(actual.prefilter_outlet, "prefilter"), gauges["prefilter"] * here * 0.95
        )
        row["inlet_pressure_kpa"] = some(pressure(actual.inlet, "inlet"), gauges["inlet"] * here * 0.95)
        row["temperature_degc"] = some(rounded(actual.temperature[units] + 0.7 * rng.normal(size=m), 0.5), 0.85 * here)
        row["feed_tds_mg_per_l"] = some(rounded(noisy(actual.feed_tds, world.tds_noise), 1.0), 0.9)
        permeate = noisy(actual.permeate_tds, world.tds_noise) * creep
        row["permeate_tds_mg_per_l"] = some(rounded(permeate, step), 0.9)
        lead = self.plant.has[units, 6].astype(float)
        di = self.plant.has[units, 5].astype(float)
        row["interstage_tds_mg_per_l"] = some(
            rounded(noisy(actual.interstage_tds, 0.04) * np.sqrt(creep), step), lead * gauges["interstage"] * 0.9
        )
        row["product_tds_mg_per_l"] = some(
            rounded(noisy(actual.product_tds, 0.04) + 0.15 * rng.random(m), step), 0.92 * di
        )
        row["permeate_flow_l_per_day"] = some(
            noisy(actual.permeate_flow, world.flow_noise) * bias["flow"], gauges["flow"] * here * 0.9
        )
        row["concentrate_flow_l_per_day"] = some(
            noisy(actual.concentrate_flow, world.flow_noise) / bias["flow"], gauges["flow"] * here * 0.85
        )
        chlorine = gauges["chlorine"] * (1.0 if installer else 0.05)
        kit = 0.05
        total = rounded(noisy(actual.chlorine, world.chlorine_noise), kit)
        chloramine = self.paths.chloraminated[units]
        row["feed_total_chlorine_mg_per_l"] = some(total, chlorine * 0.8)
        row["feed_free_chlorine_mg_per_l"] = np.where(chloramine, np.nan, some(total, chlorine * 0.5))
        after = rounded(noisy(actual.carbon_outlet, world.chlorine_noise) + 0.01 * np.abs(rng.normal(size=m)), kit)
        row["carbon_outlet_total_chlorine_mg_per_l"] = some(after, chlorine * 0.9)
        row["carbon_outlet_free_chlorine_mg_per_l"] = np.where(chloramine, np.nan, some(after, chlorine * 0.5))
        between = rounded(noisy(actual.interstage_chlorine, world.chlorine_noise), kit)
        row["interstage_chlorine_mg_per_l"] = some(between, chlorine * self.plant.has[units, 3] * 0.7)
        row["permeate_tds_at_start_mg_per_l"] = some(
            rounded(permeate * rng.uniform(1.2, 4, m), 1.0), gauges["start"] * here
        )
        row["totaliser_l"] = np.where(self.totaliser[units] > 0, some(np.round(self.counter[units]), 0.9), np.nan)
        self._slips(row, m)
        row["unit"] = units
        row["day"] = np.full(
            m, world.start_day + day + 0.45 + 0.05 * rng.random(m) + later + (0.02 if occasion == "as_left" else 0)
        )
        row["flushed"] = np.where(rng.random(m) < 0.6, np.where(unflushed, "no", "yes"), "")
        row["minutes_since_start"] = np.where(
            unflushed & (rng.random(m) < 0.4), rng.uniform(0.5, 3, m), np.where(rng.random(m) < 0.3, 12.0, np.nan)
        )
        row["occasion"] = np.full(m, occasion)
        row["source"] = np.full(m, source)
        self.readings.append(row)

    def _slips(self, row: dict[str, np.ndarray], m: int) -> None:
        """Mistyped, transposed and wrong-unit values."""
        rng, share = self.rng, self.world.slip_share
        slip = rng.random(m) < share * 4
        if not slip.any():
            return
        for at in np.flatnonzero(slip):
            self.slips += 1
            kind = rng.integers(0, 5)
            if kind == 0:
                name = rng.choice([name for name in row if name != "totaliser_l"])
                row[name][at] *= rng.choice([0.1, 10.0])
            elif kind == 1:
                row["feed_tds_mg_per_l"][at], row["permeate_tds_mg_per_l"][at] = (
                    row["permeate_tds_mg_per_l"][at],
                    row["feed_tds_mg_per_l"][at],
                )
            elif kind == 2:
                for name in ("line_pressure_kpa", "prefilter_outlet_pressure_kpa", "inlet_pressure_kpa"):
                    row[name][at] /= PSI
            elif kind == 3:
                row["temperature_degc"][at] = row["temperature_degc"][at] * 1.8 + 32
            else:
                row["totaliser_l"][at] = row["totaliser_l"][at] * rng.choice([0.1, 10.0])

    # -- columns ---------------------------------------------------------------------------------------------------
    def columns(self) -> dict[str, dict[str, list]]:
        plant, world, rng = self.plant, self.world, self.rng
        n = world.units
        units = {
            "unit_id": [f"u{i}" for i in range(n)],
            "site_id": [f"s{i}" for i in range(n)],
            "use": [USES[code] for code in plant.use],
            "kind": ["ro_di" if di else "ro" for di in plant.kind_ro_di],
            "weekly_demand_l": self.paths.told_weekly_l.tolist(),
            "recovery_fraction": np.where(rng.random(n) < 0.5, 1 / (1 + plant.waste_ratio), np.nan).tolist(),
            "restrictor_flow_l_per_day": np.where(rng.random(n) < 0.6, plant.restrictor_flow, np.nan).tolist(),
            "minimum_rejection_fraction": plant.minimum_rejection.tolist(),
            "tds_resolution_mg_per_l": self.chosen_meter.tolist(),
            "has_booster_pump": plant.pump.tolist(),
            **({"has_pressure_tank": (plant.back_kpa > 0).tolist()} if world.tank_share else {}),
            "is_chloraminated": self.paths.chloraminated.tolist(),
            "totaliser": [("", "feed", "permeate", "product")[code] for code in self.totaliser],
            "commissioned_day": (world.start_day + self.commissioned).tolist(),
        }
        sites = {"site_id": [f"s{i}" for i in range(n)], "supply": [f"w{code}" for code in self.paths.supply]}
        rows, slots = np.nonzero(plant.has)
        positions = {
            "position_id": [f"p{self.position_rows[u, s]}" for u, s in zip(rows, slots, strict=True)],
            "unit_id": [f"u{u}" for u in rows],
            "order": (slots + 1).tolist(),
            "stage": [STAGES[SLOT_STAGE[s]] for s in slots],
            "role": [ROLES[plant.role[u, s]] for u, s in zip(rows, slots, strict=True)],
        }
        items: dict[str, list] = {
            name: []
            for name in (
                "item_id",
                "stage",
                "rated_volume_l",
                "chlorine_capacity_g",
                "rated_flow_l_per_day",
                "rated_pressure_kpa",
                "rated_temperature_degc",
                "rated_tds_mg_per_l",
                "rated_recovery_fraction",
                "rejection_fraction",
                "resin_volume_l",
                "resin_capacity_eq_per_l",
            )
        }
        keys_listed: set[str] = set()
        for u, s in zip(rows, slots, strict=True):
            key = f"{STAGES[SLOT_STAGE[s]]}-{self._item_key(u, s)}"
            if key in keys_listed:
                continue
            keys_listed.add(key)
            label, stage = plant.label[u, s], SLOT_STAGE[s]
            values = dict.fromkeys(items)
            values.update(item_id=key, stage=STAGES[stage])
            if stage == 0:
                values["rated_volume_l"] = label
            elif stage == 1:
                values["chlorine_capacity_g"] = label
            elif stage == 2:
                values.update(
                    rated_flow_l_per_day=plant.rated_flow[u],
                    rated_pressure_kpa=plant.rated_kpa[u],
                    rated_temperature_degc=25.0,
                    rated_tds_mg_per_l=250.0,
                    rated_recovery_fraction=0.15,
                    rejection_fraction=round(plant.rejection[u], 2),
                )
            else:
                values.update(resin_volume_l=label / 0.457, resin_capacity_eq_per_l=0.457)
            for name, column in items.items():
                column.append(values[name])
        readings: dict[str, list] = {}
        if self.readings:
            joined = {name: np.concatenate([row[name] for row in self.readings]) for name in self.readings[0]}
            unit = joined.pop("unit")
            readings = {name: values.tolist() for name, values in joined.items()}
            readings["unit_id"] = [f"u{u}" for u in unit]
            readings["sampled_after_flush"] = readings.pop("flushed")
        placements = {name: [row[name] for row in self.placements] for name in self.placements[0]}
        reports = {name: [row[name] for row in self.reports] for name in self.reports[0]} if self.reports else {}
        columns = {
            "sites": sites,
            "units": units,
            "positions": positions,
            "items": items,
            "placements": placements,
            "readings": readings,
            "feed_water": reports,
        }
        for name in world.left_out:
            table, _, column = name.partition(".")
            if column:
                columns[table].pop(column, None)
            else:
                columns[table] = {}
        return columns
