"""A year under several ways of deciding, on a simulated fleet with the same history: prints a table, asserts nothing.

    python -m tests.benchmarks.bench_policy --units 120 --seeds 1 2

* every six (four, three) months: each site is visited every 182 (121, 91) days; sediment, carbon and resin are
  replaced, membranes every three
  years;
* when a reading fails: a site is visited in the week after a reading of the client or meter shows the water bad or the
  filter blocked, and every six months to read the gauges; only what is spent is replaced;
* planned: every Monday the fleet is forecast from what has been recorded by then, visits are chosen by
  ``scheduling.planning.bundling``, and those best made that week are made.

In all of them a client may call about bad water, and what an installer finds spent on a visit is replaced. Two years of
history come first; then each way runs half a year to settle and a year that counts. Money is the default policy's:
visits with their estimated driving and work, cartridges, and the days the truth says the last cartridge of a stage was
spent, at the policy's price for that stage and use. Prices of bad water are a choice: ``--bad-water`` multiplies them.
Everything is invented; one simulator, no field data: believe the order, not the digits.
"""

from __future__ import annotations

import argparse
import copy
import time
from dataclasses import dataclass, field

import numpy as np

from fleet.forecasting import build_fleet, forecast
from scheduling.planning.bundling import BundlingSite, bundle_visits, travel_cost_estimate
from scheduling.planning.needs import Need, NeedKind
from scheduling.planning.policy import STAGES, USES, Policy
from scheduling.planning.travel import Place
from tests.benchmarks.bench_rounds import machine
from tests.simulator.fleet import _Service
from tests.simulator.plant import CARB, MEM, RES, SED, SLOT_STAGE, Day, build_plant, run_day
from tests.simulator.settings import World
from tests.simulator.water import make_paths

HISTORY_DAYS = 730
SETTLE_DAYS = 182
COUNTED_DAYS = 365
PRICE = {"sediment": 6.0, "carbon": 14.0, "membrane": 60.0, "resin": 25.0}
#: A spent lead cartridge harms nobody while its lag holds; this share of the price says it should not stay.
LEAD_SHARE = 0.15


@dataclass
class Tally:
    """What a way of deciding cost in the counted year."""

    visits: int = 0
    travel: float = 0.0
    work: float = 0.0
    cartridges: float = 0.0
    bad_days: float = 0.0
    by_stage: dict[str, float] = field(default_factory=lambda: dict.fromkeys(STAGES, 0.0))
    bad_money: float = 0.0
    replaced: int = 0

    @property
    def total(self) -> float:
        """All money."""
        return self.travel + self.work + self.cartridges + self.bad_money


#: Days between visits, of the ways that have a rhythm.
INTERVALS = {
    "every six months": 182.0,
    "every four months": 121.0,
    "every three months": 91.0,
    "when a reading fails": 182.0,
}
WAYS = (*INTERVALS, "planned")


class Run(_Service):
    """The simulated fleet with its visits decided from outside; readings and complaints are the simulator's."""

    decide: str
    tally: Tally
    policy: Policy
    travel_cost: np.ndarray
    places: list[Place]
    wanted: dict[int, set[int]]
    last_visit: np.ndarray
    interval: float

    def begin(self, decide: str, policy: Policy, places: list[Place], day: int) -> None:
        """Take over from the history."""
        self.decide, self.policy, self.places = decide, policy, places
        self.travel_cost = travel_cost_estimate(places, [Place(50.0, 9.0)], policy=policy)
        self.tally = Tally()
        self.wanted = {}
        rng = np.random.default_rng(5)
        self.last_visit = day - rng.uniform(0.0, 182.0, len(places))
        self.interval = INTERVALS.get(decide, np.inf)
        self.next_visit = np.ceil(self.last_visit + np.minimum(self.interval, 1e9))

    def spent(self, unit: int, slot: int) -> bool:
        """Whether an installer at the unit would find it spent."""
        return bool(self.plant.has[unit, slot] and not np.isnan(self.state.exhausted[unit, slot]))

    def _visit(self, unit: int, day: int) -> bool:
        plant, rng = self.plant, self.rng
        change = set(self.wanted.pop(unit, set()))
        if self.decide.startswith("every"):
            change |= {slot for slot in (0, 1, 2, 3, 5, 6) if plant.has[unit, slot]}
            if day - self.state.placed[unit, MEM] >= 1_095:
                change.add(MEM)
        change |= {s for s in range(7) if self.spent(unit, s) and rng.random() > self.world.miss_share}
        used: list[int] = []
        for first in (0, 2, 5):
            mine = sorted(change & {first, first + 1})
            if not mine:
                continue
            in_series = bool(plant.has[unit, first + 1]) and first != 0
            if in_series and mine == [first] and not self.decide.startswith("every"):
                # lead out, lag to lead, fresh lag
                self._remove(unit, first, day, "exhausted" if self.spent(unit, first) else "early")
                moved = self._remove(unit, first + 1, day, "rotated")
                for name in ("capacity", "used", "first"):
                    values = getattr(self.state, name)
                    values[unit, first] = values[unit, first + 1]
                self._place(unit, first, day, continued=moved)
                self._place(unit, first + 1, day)
                used.append(first)
                continue
            both = [first, first + 1] if in_series else mine
            for slot in both:
                self._remove(unit, slot, day, "exhausted" if self.spent(unit, slot) else "early")
                self._place(unit, slot, day)
                used.append(slot)
        if MEM in change:
            self._remove(unit, MEM, day, "exhausted" if self.spent(unit, MEM) else "early")
            self._place(unit, MEM, day)
            used.append(MEM)
        self.last_visit[unit] = day
        if day >= HISTORY_DAYS + SETTLE_DAYS:
            minutes = self.policy.removal_minutes + 12.0 * len(used)
            self.tally.visits += 1
            self.tally.travel += self.travel_cost[unit] + self.policy.visit_cost
            self.tally.work += minutes * self.policy.working_cost_per_minute
            self.tally.cartridges += sum(PRICE[STAGES[SLOT_STAGE[slot]]] for slot in used)
            self.tally.replaced += len(used)
        return bool(used)

    def after_visits(self, day: int, seen: Day) -> None:
        """Set the next visits; the simulator has set its own, which are not wanted."""
        if self.decide in INTERVALS:
            self.next_visit = np.ceil(self.last_visit + self.interval)
        else:
            self.next_visit = np.where(self.next_visit > day, self.next_visit, np.inf)
        if self.decide == "when a reading fails" and day % 7 == 0:
            self._visit_where_a_reading_failed(day)
        if self.decide == "planned":
            made = self.last_visit == day
            self.next_visit[made] = np.inf
            if day % 7 == 0:
                self._plan(day)

    def _visit_where_a_reading_failed(self, day: int) -> None:
        """Readings of clients and meters in the past week that show bad water or a blocked filter."""
        for row in self.readings[-400:]:
            if row["source"][0] == "installer" or row["day"][0] < self.world.start_day + day - 7:
                continue
            units = row["unit"]
            with np.errstate(invalid="ignore"):
                bad = self.plant.kind_ro_di[units] & (row["product_tds_mg_per_l"] > 1.5)
                bad |= row["carbon_outlet_total_chlorine_mg_per_l"] > 0.1
                drop = row["line_pressure_kpa"] - row["prefilter_outlet_pressure_kpa"]
                bad |= drop > 1.3 * self.plant.sediment_limit[units]
                bad |= row["permeate_tds_mg_per_l"] > 0.12 * row["feed_tds_mg_per_l"]
            for unit in units[bad]:
                if day - self.last_visit[unit] > 10:
                    self.next_visit[unit] = min(self.next_visit[unit], day + 3)

    def _plan(self, day: int) -> None:
        """Forecast, choose, and set the visits of this week."""
        columns = self.columns()
        today = self.world.start_day + day + 0.6
        made, _ = build_fleet(as_of_day=today, **columns)
        told = forecast(made)
        needs: list[Need] = []
        slot_of: dict[str, tuple[int, int]] = {}
        quantiles = told.quantile_day - today
        for unit, slot in np.argwhere(self.position_rows >= 0):
            row = self.position_rows[unit, slot]
            stage, use = STAGES[SLOT_STAGE[slot]], USES[self.plant.use[unit]]
            if np.isnan(quantiles[row]).any() or np.isnan(self.state.placed[unit, slot]):
                continue
            lead = self.plant.role[unit, slot] == 1 and slot in (2, 5)
            lag = self.plant.role[unit, slot] == 2 and slot in (3, 6)
            share = float(np.clip(np.nan_to_num(told.remaining_share[row], nan=1.0), 0.0, 1.0))
            half = quantiles[row, 3]
            key = f"{unit}.{slot}"
            slot_of[key] = (int(unit), int(slot))
            needs.append(
                Need(
                    key,
                    f"s{unit}",
                    f"u{unit}",
                    NeedKind.ROTATE if lead else NeedKind.REPLACE,
                    label=stage,
                    minutes=12.0,
                    quantile_days=tuple(quantiles[row]),
                    remaining_share=share,
                    price=PRICE[stage] * (2.0 if lag else 1.0),
                    late_cost_per_day=self.policy.late_cost(stage, use) * (LEAD_SHARE if lead else 1.0),
                    fresh_life_days=float(half / share) if share > 0.05 and half > 0 else float("nan"),
                )
            )
        sites = [BundlingSite(f"s{k}", place) for k, place in enumerate(self.places)]
        for visit in bundle_visits(needs, sites, policy=self.policy, bases=[Place(50.0, 9.0)], days=7):
            if visit.number or visit.best_day >= 7:
                continue
            unit = slot_of[visit.needs[0]][0]
            self.next_visit[unit] = min(self.next_visit[unit], day + 1 + visit.best_day)
            self.wanted[unit] = {slot_of[key][1] for key in visit.needs}

    def count_bad_water(self, day: int) -> None:
        """Charge the day: the last cartridge of a stage is spent."""
        if day < HISTORY_DAYS + SETTLE_DAYS:
            return
        spent = self.plant.has & ~np.isnan(self.state.exhausted)
        for stage, where in (("sediment", SED), ("carbon", CARB), ("membrane", slice(MEM, MEM + 1)), ("resin", RES)):
            bad = (spent[:, where] & (self.plant.role[:, where] != 1)).any(axis=1)
            if stage == "sediment":
                bad = spent[:, where].any(axis=1)
            money = np.array([self.policy.late_cost(stage, USES[use]) for use in self.plant.use])
            self.tally.bad_days += float(bad.sum())
            self.tally.bad_money += float(money[bad].sum())
            self.tally.by_stage[stage] += float(bad.sum())


def run_fleet(units: int, seed: int, policy: Policy, ways: tuple[str, ...] = WAYS) -> dict[str, Tally]:
    """The ways on one fleet."""
    days = HISTORY_DAYS + SETTLE_DAYS + COUNTED_DAYS
    world = World(units=units, years=days / 365.25 + 0.1)
    rng = np.random.default_rng(seed)
    paths = make_paths(world, rng, days + 400)
    plant = build_plant(world, paths, rng)
    service = Run(world, plant, paths, rng, days)
    for day in range(HISTORY_DAYS):
        seen = run_day(world, plant, paths, service.state, day)
        service.__class__ = _Service  # the history is served as the simulator does
        service.after_day(day, seen)
        service.__class__ = Run
    scatter = np.random.default_rng(seed + 100)
    places = [Place(50.0 + scatter.normal() / 8, 9.0 + scatter.normal() / 6) for _ in range(units)]
    tallies = {}
    for decide in ways:
        run = copy.deepcopy(service)
        run.begin(decide, policy, places, HISTORY_DAYS)
        for day in range(HISTORY_DAYS, days):
            seen = run_day(world, plant, paths, run.state, day)
            run.after_day(day, seen)
            run.after_visits(day, seen)
            run.count_bad_water(day)
        tallies[decide] = run.tally
    return tallies


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=120)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--bad-water", type=float, nargs="+", default=[1.0])
    chosen = parser.parse_args()
    print(machine() + "\n")
    print(
        "| bad water x | seed | way | visits | cartridges | bad days | by stage | visits, driving, work "
        "| cartridges | bad water | total | total ÷ six months | visits ÷ | bad days ÷ | s |"
    )
    print("| --: | --: | --- |" + " --: |" * 12)
    for factor in chosen.bad_water:
        base = Policy()
        prices = {
            stage: {use: factor * x for use, x in by_use.items()} for stage, by_use in base.late_cost_per_day.items()
        }
        policy = Policy.from_mapping({"late_cost_per_day": prices})
        for seed in chosen.seeds:
            began = time.perf_counter()
            tallies = run_fleet(chosen.units, seed, policy)
            took = time.perf_counter() - began
            first = tallies["every six months"]
            for way, t in tallies.items():
                n = chosen.units
                by_stage = " + ".join(f"{days / n:.0f}" for days in t.by_stage.values())
                print(
                    f"| {factor:g} | {seed} | {way} | {t.visits / n:.2f} | {t.replaced / n:.2f} | {t.bad_days / n:.1f} "
                    f"| {by_stage} | {(t.travel + t.work) / n:.0f} | {t.cartridges / n:.0f} "
                    f"| {t.bad_money / n:.0f} | {t.total / n:.0f} | {t.total / first.total:.2f} "
                    f"| {t.visits / first.visits:.2f} | {t.bad_days / first.bad_days:.2f} | {took:.0f} |",
                    flush=True,
                )


if __name__ == "__main__":
    main()
