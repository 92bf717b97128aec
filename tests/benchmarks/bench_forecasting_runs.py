"""How long forecasts of a company take, from the database to stored rows: prints a table, asserts nothing.

    python -m tests.benchmarks.bench_forecasting_runs                     1,000 and 2,500 units
    python -m tests.benchmarks.bench_forecasting_runs --units 1000 5000 10000

Two years of readings: 30 % of the units weekly, 10 % daily, the rest at visits three months apart; five positions a
unit, two earlier cartridges in each but the membrane's. Each size runs in a process and a database of its own, so that
the peak memory is its own. A run of all is timed twice: by the clock, which tells something on a machine that does
nothing else, and in processor seconds of all processes together, which hold beside neighbours. `nightly` is the refresh
of the next night after 1 % of the units got a reading. `baseline` is label capacity over mean load on the same tables,
read from the same database in the same run, without storing anything. Both are processor seconds. The memory is that of
the process that writes, and of the largest other one times their number. Values are invented; only their number and
kind matter here.
"""

import argparse
import cProfile
import os
import pstats
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
DAYS = 730
TRAIN = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag"))


def main() -> None:
    """Run every size and print the table with the exponent of growth."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, nargs="+", default=[1000, 2500])
    parser.add_argument("--profile", action="store_true", help="print where the time of the full run goes")
    parser.add_argument("--one", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.one is not None:
        print(" ".join(str(value) for value in run_one(options.units[0], options.one, options.profile)))
        return
    with open("/proc/cpuinfo", encoding="utf-8") as facts:
        model = next((line.split(":")[1].strip() for line in facts if line.startswith("model name")), "unknown")
    print(f"{len(os.sched_getaffinity(0))} cores of {model}; load {os.getloadavg()[0]:.1f} when it began\n")
    print("| units | readings | full run, clock | processor | peak memory | second run | nightly, 1 % news |", end="")
    print(" nightly/full | baseline | full/baseline |\n" + "| --: " * 10 + "|")
    sizes, times = [], []
    for units in options.units:
        with tempfile.TemporaryDirectory() as folder:
            command = [sys.executable, "-m", "tests.benchmarks.bench_forecasting_runs", "--units", str(units)]
            command += ["--one", folder, *(["--profile"] if options.profile else [])]
            output_lines = (
                subprocess.run(command, check=True, capture_output=True, text=True).stdout.strip().splitlines()
            )
        for line in output_lines[:-1]:
            print(line)
        readings, clock, full, memory, again, night, news, baseline = (
            float(value) for value in output_lines[-1].split()
        )
        sizes.append(units)
        times.append(full)
        print(
            f"| {units} | {readings:.0f} | {clock:.1f} s | {full:.1f} s | {memory:.0f} MB | {again:.1f} s | "
            f"{night:.2f} s ({news:.0f} units) | {100 * night / full:.1f} % | {baseline:.1f} s | "
            f"{full / baseline:.1f} |",
            flush=True,
        )
    if len(sizes) > 1:
        exponent = np.polyfit(np.log(sizes), np.log(times), 1)[0]
        print(f"growth of the full run with the units: exponent {exponent:.2f}")


def run_one(units: int, folder: Path, is_profiled: bool) -> tuple[float, ...]:
    """Times of one size, in a fresh database."""
    os.environ["DATABASE_URL"] = f"sqlite:///{folder / 'bench.sqlite3'}"
    os.environ.pop("REDIS_URL", None)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    from fleet.forecasting.wear.nominal import label_over_load
    from fleet.models import Reading, Unit
    from fleet.services.forecasts.forecasts import forecast_company, refresh_forecasts, unit_blocks
    from fleet.services.forecasts.tables import end_of_day, load_fleet
    from fleet.services.forecasts.workers import MOST_PROCESSES

    company = invent(units)
    readings = Reading.objects.count()
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    profile = cProfile.Profile()
    if is_profiled:
        profile.enable()
    begun = time.perf_counter()
    full = timed(lambda: forecast_company(company=company, now=NOW))
    clock = time.perf_counter() - begun
    profile.disable()
    if is_profiled:
        pstats.Stats(profile, stream=sys.stdout).sort_stats("tottime").print_stats(30)
    others = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * min(len(os.sched_getaffinity(0)), MOST_PROCESSES)
    memory = (max(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, before) + others) / 1024
    again = timed(lambda: forecast_company(company=company, now=NOW))
    ids = list(Unit.objects.order_by("pk").values_list("pk", flat=True))
    chosen = ids[:: max(units // max(units // 100, 1), 1)]
    Reading.objects.bulk_create([reading(pk, NOW + timedelta(hours=20), 0.4) for pk in chosen])
    counts: dict[str, int] = {}
    night = timed(lambda: counts.update(refresh_forecasts(company=company, now=NOW + timedelta(days=1))))
    day = company.day_at(NOW)

    def baseline() -> None:
        for block in unit_blocks(company, day):
            label_over_load(load_fleet(company=company, unit_ids=block, as_of_day=end_of_day(company, day)).fleet)

    return readings, clock, full, memory, again, night, counts["units"], timed(baseline)


def timed(work: Any) -> float:
    """Processor seconds of a piece of work, here and in the processes it started and ended."""
    start = sum(os.times()[:4])
    work()
    return sum(os.times()[:4]) - start


def invent(units: int) -> Any:
    """A company with that many units, their trains, past cartridges and two years of readings."""
    from fleet.models import Placement, Position, Reading, Site, Unit
    from tests import factories

    rng = np.random.default_rng(11)
    company = factories.CompanyFactory()
    client = factories.ClientFactory(company=company)
    items = {
        stage: factories.CatalogueItemFactory(company=company, kind=stage)
        for stage in ("sediment", "carbon", "membrane", "resin")
    }
    sites = Site.objects.bulk_create(
        [
            Site(company=company, client=client, code=f"S{n}", name=f"Site {n}", latitude=47.0, longitude=8.0)
            for n in range(units)
        ],
        batch_size=1000,
    )
    begin = NOW - timedelta(days=DAYS)
    units_made = Unit.objects.bulk_create(
        [
            Unit(
                company=company,
                site=site,
                use="reef",
                kind="ro_di",
                product_tds_target_mg_per_l=2.0,
                code=f"U{n}",
                commissioned_on=begin.date(),
                weekly_demand_l=float(np.exp(rng.normal(4.3, 0.5))),
            )
            for n, site in enumerate(sites)
        ],
        batch_size=500,
    )
    places = Position.objects.bulk_create(
        [
            Position(unit=unit, order=order, stage=stage, role=role)
            for unit in units_made
            for order, (stage, role) in enumerate(TRAIN, start=1)
        ],
        batch_size=1000,
    )
    stays = []
    for place in places:
        lives = 1 if place.stage == "membrane" else 3
        cuts = [0.0, *np.sort(rng.uniform(150, 600, lives - 1)), None]
        for start, end in pairwise(cuts):
            at = begin + timedelta(days=float(start or 0.0))
            removed_at = None if end is None else begin + timedelta(days=float(end))
            why = "" if removed_at is None else ("exhausted" if rng.random() < 0.6 else "early")
            stays.append(
                Placement(
                    position=place, item=items[place.stage], placed_at=at, first_installed_at=at,
                    removed_at=removed_at, removal=why,
                )
            )  # fmt: skip
    Placement.objects.bulk_create(stays, batch_size=1000)
    rows: list[Reading] = []
    for number, unit in enumerate(units_made):
        rhythm = 1.0 if number % 10 == 0 else 7.0 if number % 10 in (1, 2, 3) else 90.0
        for at in np.arange(rng.uniform(0, rhythm), DAYS - 0.1, rhythm):
            rows.append(reading(unit.pk, begin + timedelta(days=float(at)), float(rng.random())))
        if len(rows) > 20_000:
            Reading.objects.bulk_create(rows, batch_size=500)
            rows = []
    Reading.objects.bulk_create(rows, batch_size=500)
    return company


def reading(unit_id: int, at: datetime, noise: float) -> Any:
    """A plausible reading with a little noise, `noise` between 0 and 1."""
    from fleet.models import Reading

    return Reading(
        unit_id=unit_id,
        taken_at=at,
        received_at=at,
        source="meter",
        occasion="routine",
        state="flowing",
        line_pressure_kpa=400.0 + 10 * noise,
        prefilter_outlet_pressure_kpa=380.0 - 5 * noise,
        inlet_pressure_kpa=375.0 - 5 * noise,
        temperature_degc=14.0 + 2 * noise,
        feed_tds_mg_per_l=240.0 + 20 * noise,
        permeate_tds_mg_per_l=9.0 + 2 * noise,
        interstage_tds_mg_per_l=round(noise, 1),
        product_tds_mg_per_l=0.0,
        permeate_flow_l_per_day=180.0 + 10 * noise,
        concentrate_flow_l_per_day=600.0 + 20 * noise,
    )


if __name__ == "__main__":
    main()
