"""How a night, its plan and every route grow with the units: prints tables, asserts nothing.

    python -m tests.benchmarks.bench_growth                            500 and 2,000 units
    python -m tests.benchmarks.bench_growth --units 5000 20000         the better part of an hour
    python -m tests.benchmarks.bench_growth --units 500 --only map/ plans/

Each size is a company, a process and a PostgreSQL of its own. Of the company, which `bench_routes` invents: the first
night, after which its plan is published and what is short is ordered; the next day's, for which 1 % of the units got a
reading; the one after it, with nothing new; then every route that reads. Seconds are those of processors, of this
process with its children and of the database's server together, so that what else the machine does changes them
little; of a route, milliseconds of both (the 95th percentile of the turns of the one, the mean of the other). An
exponent of 1 is in step with the units.
"""

import argparse
import json
import math
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tests.benchmarks.bench_night import UNIT_STEPS, hear_from, night
from tests.benchmarks.bench_routes import analyse, costs_of, found, set_up, settle

#: name -> what it costs
Costs = Mapping[str, float]

_SUMS: Mapping[str, Callable[[str], bool]] = {
    "all": lambda step: True,
    "of units": UNIT_STEPS.__contains__,
    "of all but the plan": lambda step: step != "plan",
}
_DEAR = 20
_LITTLE_S = 0.05
_LITTLE_MS = 10.0


def main() -> None:
    """Measure every size in a process of its own, and print how they grow."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, nargs="+", default=[500, 2000])
    parser.add_argument("--readings", type=int, default=30, help="of each unit, in a year")
    parser.add_argument("--iterations", type=int, default=0, help="effort of the planner; 0: its own")
    parser.add_argument("--keep", type=Path, help="folder of figures; a size that is there is not run again")
    parser.add_argument("--only", nargs="*", help="routes whose address holds one of these")
    parser.add_argument("--one", type=int, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one is not None:
        print(json.dumps(measured(options.one, options.readings, options.iterations or None, options.only)))
        return
    found_out = []
    for units in options.units:
        found_out.append(in_own_process(units, options))
        figures = found_out[-1]
        print(
            f"{units} units, {figures['readings']} readings in {figures['readings_mb']:.0f} MB with their indexes; "
            f"all tables {figures['tables_mb']:.0f} MB; the process took at most {figures['memory_mb']:.0f} MB; "
            f"load {os.getloadavg()[0]:.1f}, {len(os.sched_getaffinity(0))} cores",
            flush=True,
        )
    for name in ("first", "1 % news", "nothing new"):
        print(f"\nnight, {name}: processor seconds")
        print_growth([with_sums(figures["nights"][name]) for figures in found_out], options.units, _LITTLE_S, 2)
    shares = (share_with_news(figures["nights"]) for figures in found_out)
    print("\na night with 1 % news as share of the first: " + "; ".join(shares))
    routes = [figures["routes"] for figures in found_out]
    dearest = sorted(routes[-1], key=lambda route: -routes[-1][route])[:_DEAR]
    print(f"\nthe {_DEAR} dearest of {len(routes[-1])} routes: milliseconds")
    print_growth(
        [{route: costs.get(route, 0.0) for route in dearest} for costs in routes], options.units, _LITTLE_MS, 0
    )


def in_own_process(units: int, options: argparse.Namespace) -> dict[str, Any]:
    """What a process of its own found out of one size, or an earlier run."""
    kept: Path | None = options.keep and options.keep / f"{units}.json"
    if kept and kept.exists():
        known: dict[str, Any] = json.loads(kept.read_text())
        return known
    command = [sys.executable, "-m", "tests.benchmarks.bench_growth", "--one", str(units)]
    command += ["--readings", str(options.readings), "--iterations", str(options.iterations)]
    command += ["--only", *options.only] if options.only else []
    ended = subprocess.run(command, stdout=subprocess.PIPE, check=True)
    figures: dict[str, Any] = json.loads(ended.stdout.decode().splitlines()[-1])
    if kept:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_text(json.dumps(figures))
    return figures


def measured(
    units: int, readings: int, iterations: int | None, only: Sequence[str] | None, *, address: str = ""
) -> dict[str, Any]:
    """Nights, routes and sizes of one company, as JSON can hold them, on the empty database at an address or an own."""
    set_up(None, address)
    from fleet.models import Reading

    now = datetime.now(UTC)
    company = found(units, readings, now)
    analyse()
    said(f"{units} units are there")
    nights = {"first": seconds_of(company, now, iterations)}
    said(f"the first night is done: {json.dumps(nights)}")
    settle(company, now)
    hear_from(company, 0.01, now + timedelta(hours=8))
    nights["1 % news"] = seconds_of(company, now + timedelta(days=1), iterations)
    said(f"the one with news: {json.dumps(nights['1 % news'])}")
    nights["nothing new"] = seconds_of(company, now + timedelta(days=2), iterations)
    said(f"the nights are done: {json.dumps(nights)}")
    analyse()
    routes = {cost.route: cost.processor_ms + cost.server_ms for cost in costs_of(company, list(only or []))}
    return {
        "nights": nights,
        "routes": routes,
        "readings": Reading.objects.count(),
        "readings_mb": megabytes("pg_total_relation_size('fleet_reading')"),
        "tables_mb": megabytes("pg_database_size(current_database())"),
        "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }


def seconds_of(company: Any, now: datetime, iterations: int | None) -> dict[str, float]:
    """Processor seconds of each step of a night, the database's among them."""
    return {step: cost.seconds + cost.database for step, cost in night(company, now, iterations).items()}


def megabytes(asked: str) -> float:
    """A size that the database tells."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {asked} / 1e6")
        return float(cursor.fetchone()[0])


def said(what: str) -> None:
    """Tell whoever waits how far it is."""
    print(f"{datetime.now(UTC):%H:%M:%S} {what}", file=sys.stderr, flush=True)


def with_sums(steps: Costs) -> dict[str, float]:
    """Steps of a night, all of them, and those done for each unit by itself."""
    return {**steps, **{name: sum(cost for step, cost in steps.items() if of(step)) for name, of in _SUMS.items()}}


def share_with_news(nights: Mapping[str, Costs]) -> str:
    """What a night with little news takes of one that makes all anew."""
    first, news = (with_sums(nights[name]) for name in ("first", "1 % news"))
    return ", ".join(f"{name} {100 * news[name] / first[name]:.1f} %" for name in _SUMS)


def print_growth(columns: Sequence[Costs], units: Sequence[int], little: float, digits: int) -> None:
    """A line for each name with its cost at every size and, from the first size to the last, the exponent."""
    print("| | " + " | ".join(f"{number} units" for number in units) + " | exponent |")
    print("| -- | " + "--: | " * (len(units) + 1))
    for name in columns[-1]:
        costs = [column[name] for column in columns]
        figures = " | ".join(f"{cost:.{digits}f}" for cost in costs)
        print(f"| {name} | {figures} | {exponent(costs, units, little)} |", flush=True)


def exponent(costs: Sequence[float], units: Sequence[int], little: float) -> str:
    """By which power of the units a cost grows; nothing where the cost is too small to tell."""
    if len(units) < 2 or units[0] == units[-1] or costs[0] < little:
        return ""
    return f"{math.log(costs[-1] / costs[0]) / math.log(units[-1] / units[0]):.2f}" if costs[-1] else ""


if __name__ == "__main__":
    begun = time.perf_counter()
    main()
    print(f"{time.perf_counter() - begun:.0f} s by the clock", file=sys.stderr)
