"""A year under several ways of deciding, on simulated fleets with the same history: prints tables, asserts nothing.

    python -m tests.benchmarks.bench_policy --units 100 --seeds 201 202 --keep years.jsonl
    python -m tests.benchmarks.bench_policy --bad-water 0.5 --seeds 201 202 --keep years.jsonl
    python -m tests.benchmarks.bench_policy --show years.jsonl
    python -m tests.benchmarks.bench_policy --told 0.25 4 --dearer-visits 100 --units 40 --seeds 201

* every twelve (six, four, three) months: each site is visited every 365 (182, 121, 91) days; sediment, carbon and
  resin are replaced, membranes every three years;
* when a reading fails: a site is visited three days after a reading of the client or meter shows the water bad or the
  filter blocked, and every six months to read the gauges; only what is exhausted is replaced;
* planned on fixed intervals: the planning of ``scheduling.planning``, told that sediment and resin last six months,
  carbon a year and membranes three, give or take; no reading is looked at;
* planned: the same planning; every Monday the fleet is forecast from what has been recorded by then, visits are chosen,
  and those best made that week are made. 'told bad water is cheap' is the same planning with its own price of bad water
  so many times the one that everything is counted at, 'told a visit costs more' with its own price of a visit: fewer
  visits, more bad water;
* knowing the truth: the same planning with the simulator's own dates, which nobody can have: what forecasts could win.

In all of them a client may call about bad water, and what an installer finds exhausted on a visit is replaced. Two
years of history come first; then each way runs half a year to settle and the year that counts. Money is the default
policy's: visits with their estimated driving and their work, cartridges, the days the truth says the last cartridge of
a stage was exhausted at the policy's price for that stage and use, and membrane eaten by chlorine. What bad water costs
is chosen: ``--bad-water`` multiplies it, for the planning and the counting alike. 'That the busiest position asked for'
counts, of each unit, the replacements at the position that had most: visits cannot be fewer by bundling. The frontier
holds the intervals against the curve of the planned ways, told several prices, at as many visits. Everything is
invented; one simulator, no field data: believe the order, not the digits.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import asdict, replace
from pathlib import Path
from statistics import fmean

from scheduling.planning.outlook.compare import FrontierPoint, held_against
from scheduling.planning.policy import Policy
from tests.benchmarks.bench_rounds import machine
from tests.simulator.years import Tally, Way, run_years

SIX, FIXED, PLANNED = "every six months", "planned on fixed intervals", "planned"

COLUMNS = (
    "way",
    "visits",
    "that the busiest position asked for",
    "cartridges",
    "bad days = sediment + carbon + membrane + resin",
    "off-spec days",
    "going and work",
    "cartridges",
    "bad water",
    "membrane eaten",
    "total",
    "total ÷ six months",
    "total ÷ fixed intervals",
    "visits ÷",
    "bad days ÷",
    "off-spec ÷",
)


def policy_at(price_of_bad_water: float) -> Policy:
    """The default policy with its price of bad water taken so many times."""
    prices = {
        stage: {use: price_of_bad_water * money for use, money in by_use.items()}
        for stage, by_use in Policy().late_cost_per_day.items()
    }
    return Policy.from_mapping({"late_cost_per_day": prices})


def dearer_visits(policy: Policy, more: float) -> Policy:
    """The same policy with so much more for every visit."""
    return replace(policy, visit_cost=policy.visit_cost + more)


def ways_at(price: float, told: list[float], dearer: list[float], *, with_truth: bool) -> list[Way]:
    """Every way at one price of bad water."""
    policy = policy_at(price)
    ways = [
        Way("every twelve months", 365.0),
        Way(SIX, 182.0),
        Way("every four months", 121.0),
        Way("every three months", 91.0),
        Way("when a reading fails", 182.0, on_readings=True),
        Way(FIXED, dates="fixed", policy=policy),
        Way(PLANNED, dates="learned", policy=policy),
    ]
    ways += [Way(f"planned, told {x:g} x bad water", dates="learned", policy=policy_at(price * x)) for x in told]
    ways += [
        Way(f"planned, told a visit costs {x:g} more", dates="learned", policy=dearer_visits(policy, x)) for x in dearer
    ]
    if with_truth:
        ways.append(Way("knowing the truth", dates="true", policy=policy))
    return ways


def show(rows: list[tuple[float, int, str, Tally]]) -> None:
    """Tables of every price: the seeds together, then the ratios seed by seed."""
    for price in sorted({row[0] for row in rows}):
        price_rows = [row for row in rows if row[0] == price]
        seeds = sorted({row[1] for row in price_rows})
        names = list(dict.fromkeys(row[2] for row in price_rows))
        by_seed = {(seed, name): tally for _, seed, name, tally in price_rows}
        print(
            f"\nPrice of bad water x {price:g}; {len(seeds)} fleets, seeds {', '.join(map(str, seeds))}; per unit-year"
        )
        print("| " + " | ".join(COLUMNS) + " |")
        print("| --- |" + " --: |" * (len(COLUMNS) - 1))
        sums: dict[str, Tally] = {}
        for name in names:
            parts = [by_seed[seed, name] for seed in seeds if (seed, name) in by_seed]
            if len(parts) < len(seeds):
                continue
            total = parts[0]
            for part in parts[1:]:
                total = total + part
            sums[name] = total
        six, fixed = sums.get(SIX), sums.get(FIXED)
        for name, t in sums.items():
            n = t.unit_years
            cells = [
                name,
                f"{t.visits / n:.2f}",
                f"{t.paced / n:.2f}",
                f"{sum(t.replaced.values()) / n:.2f}",
                f"{t.all_bad_days / n:.1f} = " + " + ".join(f"{days / n:.1f}" for days in t.bad_days.values()),
                f"{t.off_spec_days / n:.1f}",
                *(f"{x / n:.0f}" for x in (t.going, t.cartridges, sum(t.bad_money.values()), t.damage, t.money())),
                f"{t.money() / six.money():.2f}" if six else "",
                f"{t.money() / fixed.money():.2f}" if fixed else "",
                *(
                    [
                        f"{t.visits / six.visits:.2f}",
                        f"{t.all_bad_days / six.all_bad_days:.2f}",
                        f"{t.off_spec_days / six.off_spec_days:.2f}",
                    ]
                    if six
                    else [""] * 3
                ),
            ]
            print("| " + " | ".join(cells) + " |")
        for name in sums:
            if name in (SIX, FIXED) or six is None or fixed is None:
                continue
            against_six = [by_seed[s, name].money() / by_seed[s, SIX].money() for s in seeds]
            against_fixed = [by_seed[s, name].money() / by_seed[s, FIXED].money() for s in seeds]
            print(
                f"{name}: ÷ six months, seed by seed {', '.join(f'{x:.2f}' for x in against_six)}; "
                f"÷ fixed intervals {', '.join(f'{x:.2f}' for x in against_fixed)}"
            )


def show_frontier(rows: list[tuple[float, int, str, Tally]]) -> None:
    """At each price of bad water: visits against bad days and money, and which intervals lie on or under the curve."""
    for price in sorted({row[0] for row in rows}):
        points = {}
        for name in dict.fromkeys(row[2] for row in rows if row[0] == price):
            parts = [tally for one, _, other, tally in rows if (one, other) == (price, name)]
            total = sum(parts[1:], parts[0])
            per_year = [x / total.unit_years for x in (total.visits, total.all_bad_days, total.money())]
            points[name] = FrontierPoint(name, *per_year)
        curve = sorted(
            (p for name, p in points.items() if name == PLANNED or name.startswith(f"{PLANNED}, told")),
            key=lambda p: p.visits,
        )
        print(f"\nFrontier, price of bad water x {price:g}; per unit-year, counted at that price")
        print("| way | visits | bad days | money | bad days of the planned curve at as many visits |")
        print("| --- | --: | --: | --: | --: |")
        intervals = [held_against(p, curve) for name, p in points.items() if name.startswith("every ")]
        for p in [*curve, *intervals]:
            there = "" if p in curve else "fewer than it ever makes" if p.curve_days_at_risk is None else ""
            there = there or ("" if p.curve_days_at_risk is None else f"{p.curve_days_at_risk:.1f}")
            print(f"| {p.name} | {p.visits:.2f} | {p.days_at_risk:.1f} | {p.money:.0f} | {there} |")
        under = [p.name for p in intervals if p.is_above_curve is False]
        print(f"Not above the curve: {', '.join(under) or 'none'}")


def show_money(rows: list[tuple[float, int, str, Tally]]) -> None:
    """Money a unit-year of each way at each price of bad water: the mean of the seeds, and their least and greatest."""
    prices = sorted({row[0] for row in rows})
    print("\nMoney per unit-year: mean of the seeds (least to greatest)")
    print("| way | " + " | ".join(f"bad water x {price:g}" for price in prices) + " |")
    print("| --- |" + " --: |" * len(prices))
    for name in dict.fromkeys(row[2] for row in rows):
        cells = []
        for price in prices:
            money = [t.money() / t.unit_years for one, _, other, t in rows if (one, other) == (price, name)]
            cells.append(f"{fmean(money):.0f} ({min(money):.0f} to {max(money):.0f})" if money else "")
        print(f"| {name} | " + " | ".join(cells) + " |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=100)
    parser.add_argument("--seeds", type=int, nargs="+", default=[1, 2, 3])
    parser.add_argument("--bad-water", type=float, nargs="+", default=[1.0])
    parser.add_argument("--told", type=float, nargs="*", default=[], help="also plan with so many times that price")
    parser.add_argument(
        "--dearer-visits", type=float, nargs="*", default=[], help="also plan with so much more for each visit"
    )
    parser.add_argument("--truth", action="store_true", help="also plan with the true dates")
    parser.add_argument("--only", nargs="*", default=[], help="names of the ways to run; default: all")
    parser.add_argument("--keep", type=Path, help="add what was counted to this file, one line a fleet and way")
    parser.add_argument("--show", type=Path, help="only print the tables of such a file")
    chosen = parser.parse_args()
    if chosen.show:
        lines = [json.loads(line) for line in chosen.show.read_text().splitlines()]
        rows = [(one["price"], one["seed"], one["way"], Tally(**one["tally"])) for one in lines]
        show(rows)
        show_frontier(rows)
        show_money(rows)
        return
    print(machine())
    rows = []
    for price in chosen.bad_water:
        ways = ways_at(price, chosen.told, chosen.dearer_visits, with_truth=chosen.truth)
        ways = [way for way in ways if not chosen.only or way.name in chosen.only]
        for seed in chosen.seeds:
            began = time.process_time()
            for name, tally in run_years(chosen.units, seed, ways, policy_at(price)).items():
                rows.append((price, seed, name, tally))
                if chosen.keep:
                    with chosen.keep.open("a") as results_file:
                        results_file.write(
                            json.dumps({"price": price, "seed": seed, "way": name, "tally": asdict(tally)}) + "\n"
                        )
            print(f"price x {price:g}, seed {seed}: {time.process_time() - began:.0f} s of processor time", flush=True)
    if {SIX, FIXED} <= {name for _, _, name, _ in rows}:
        show(rows)
    show_frontier(rows)
    show_money(rows)


if __name__ == "__main__":
    main()
