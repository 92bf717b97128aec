"""What a night costs, step by step: prints a table, asserts nothing.

    python -m tests.benchmarks.bench_night                          400 units, a year of readings
    python -m tests.benchmarks.bench_night --units 1000 --profile findings
    python -m tests.benchmarks.bench_night --units 800 --workers    one worker against two, on PostgreSQL with a queue

Nights of one company, in processor seconds of all processes together, and in queries of the one that plans: the first;
the next day's, for which 1 % of the units got a reading; the one after it, with nothing new. Whatever is not made again
for news alone costs in the second what it cost in the first. 'Between' the steps are small things, such as keeping what
was reviewed. One unit in ten is read weekly, the others every month;
five positions a unit; every site's water was analysed. Values are invented; only their number and kind matter here.
The database is a file of its own that goes with the run, or the one that `--database` names: an empty one is filled,
and one that a run left goes on after its last night, with the two later nights alone.

With `--workers` the night of all units is done by one worker process and by two, which share its blocks of units. Their
speed-up is printed by the clock, and by processor seconds: those of one worker alone over those of the busier of two,
which is what the clock shows on a machine that does nothing else.
"""

import argparse
import cProfile
import os
import pstats
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import psycopg

from tests.benchmarks.processors import group_seconds, server_seconds

NOW = datetime(2026, 3, 10, 1, 15, tzinfo=UTC)
TRAIN = (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag"))

STEPS = {
    "recompute": "indicators",
    "refresh_forecasts": "forecasts",
    "refresh_findings": "findings",
    "calibrate_travel": "driving times",
    "WorkReviews": "review of work",
    "refresh_needs": "needs",
    "propose_visits": "visits",
    "plan_rounds": "plan",
}
"""Name in the module of the night -> name of the step."""

WITHIN = {"write_parts_lists": "parts"}
"""Name in the module of the plan -> a step that is done within another, and counted by itself."""


def main() -> None:
    """Make a database and a company, run its nights and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=400)
    parser.add_argument("--months", type=int, default=12)
    parser.add_argument("--iterations", type=int, default=200, help="effort of the planner; 0: its own")
    profiled = [*STEPS.values(), *WITHIN.values()]
    parser.add_argument("--profile", choices=profiled, help="print where a step's time goes, first of the nights")
    parser.add_argument("--database", help="address of a database that is empty, or that a run left")
    parser.add_argument("--workers", action="store_true", help="let one worker process do it, and two")
    options = parser.parse_args()
    options.iterations = options.iterations or None
    if options.workers:
        share(options)
        return
    with tempfile.TemporaryDirectory() as folder:
        set_up(options.database or f"sqlite:///{Path(folder) / 'bench.sqlite3'}")
        run(options)


def set_up(database: str) -> None:
    """Start Django on a database and migrate it."""
    os.environ["DATABASE_URL"] = database
    os.environ.pop("REDIS_URL", None)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.config.settings")
    import django

    django.setup()
    from django.core.management import call_command

    from fleet.config import garbage

    call_command("migrate", verbosity=0)
    # as in the workers that do it
    garbage.collect_less_often()
    garbage.keep_what_stands()


def run(options: argparse.Namespace) -> None:
    """Run the nights."""
    from accounts.models import Company
    from fleet.models import Reading, Unit
    from scheduling.models import Plan

    company = Company.objects.first()
    went_on = company is not None and Plan.objects.of_company(company).exists()
    company = company or invent(options.units, options.months)
    units = Unit.objects.count()
    print(f"{units} units, {Reading.objects.count()} readings, {options.months} months; ", end="")
    print(f"load {os.getloadavg()[0]:.1f}, {len(os.sched_getaffinity(0))} cores", flush=True)
    nights: dict[str, dict[str, Cost]] = {}
    last = NOW
    if went_on:
        last = Plan.objects.of_company(company).order_by("-created_at").values_list("created_at", flat=True)[0]
    else:
        nights["first"] = night(company, NOW, options.iterations, options.profile)
    hear_from(company, 0.01, last + timedelta(hours=8))
    in_second = options.profile if went_on else None
    nights["1 % news"] = night(company, last + timedelta(days=1), options.iterations, in_second)
    nights["nothing new"] = night(company, last + timedelta(days=2), options.iterations)
    print_table(nights)


def print_table(nights: "Mapping[str, Mapping[str, Cost]]") -> None:
    """Seconds and queries of each step of each night, and what the night with news takes of the first one."""
    steps = list(dict.fromkeys(step for costs in nights.values() for step in costs))
    print("| step | " + " | ".join(f"{name}, s | queries" for name in nights) + " | share of the first |")
    print("| -- | " + "--: | " * (2 * len(nights) + 1))
    sums = {"all": steps, "of units": UNIT_STEPS, "of all but the plan": [step for step in steps if step != "plan"]}
    for name, parts in {**{step: [step] for step in steps}, **sums}.items():
        costs = [sum((one[part] for part in parts if part in one), Cost()) for one in nights.values()]
        figures = " | ".join(f"{cost.seconds:.2f} | {cost.queries}" for cost in costs)
        first, news = nights.get("first"), costs[list(nights).index("1 % news")]
        print(f"| {name} | {figures} | {_share(costs[0], news) if first else ''} |")


@dataclass(frozen=True, slots=True)
class Cost:
    """What a step takes."""

    seconds: float = 0.0
    queries: int = 0
    database: float = 0.0
    """Processor seconds of the database's server; 0 where this process does its work."""

    def __add__(self, other: "Cost") -> "Cost":
        return Cost(self.seconds + other.seconds, self.queries + other.queries, self.database + other.database)

    def __sub__(self, other: "Cost") -> "Cost":
        return Cost(self.seconds - other.seconds, self.queries - other.queries, self.database - other.database)


def share(options: argparse.Namespace) -> None:
    """Let one worker do the units of a night, and two."""
    from tests.servers import running_redis, start_postgresql

    server = start_postgresql()
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute("CREATE DATABASE bench_night")
    set_up(urlsplit(server)._replace(path="/bench_night").geturl())
    company = invent(options.units, options.months)
    print(f"{options.units} units; load {os.getloadavg()[0]:.1f}, {len(os.sched_getaffinity(0))} cores", flush=True)
    print("| workers | blocks | clock | processor of each |\n| --: | --: | --: | --: |")
    times = {}
    with tempfile.TemporaryDirectory() as folder, running_redis() as queue:
        for night_number, (count, blocks, clock, busy) in enumerate(shares(company, queue, Path(folder))):
            times[count] = clock, busy
            name = f"{count} (first night)" if not night_number else str(count)
            print(f"| {name} | {blocks} | {clock:.1f} s | {', '.join(f'{one:.1f}' for one in busy)} s |", flush=True)
    (one_clock, one), (two_clock, two) = times[1], times[2]
    by_clock, by_processor = one_clock / two_clock, one[0] / max(two)
    print(f"speed-up of the steps of units: {by_clock:.2f} by the clock, {by_processor:.2f} by processor")


def shares(company: Any, queue: str, folder: Path) -> Iterator[tuple[int, int, float, list[float]]]:
    """A night by one worker, again by one, then by two: how many, blocks, seconds, each one's processor seconds."""
    for night_number, count in enumerate((1, 1, 2)):
        yield count, *shared_night(company, NOW + timedelta(days=night_number), count, queue, folder)


def shared_night(company: Any, now: datetime, count: int, queue: str, folder: Path) -> tuple[int, float, list[float]]:
    """Blocks of units, the seconds from the first that is begun to the last that is done, and each worker's processor
    seconds in them."""
    from accounts.jobs.models import Job, JobChunk
    from fleet.config.celery import app
    from scheduling.services import nightly
    from tests.live.queues import queue_at

    Job.objects.all().delete()
    with queue_at(queue):
        app.control.purge()
        workers = [_worker(queue, folder / f"{count}-{number}.log") for number in range(count)]
        try:
            _wait(lambda: len(app.control.ping(timeout=1.0) or ()) == count)
            # An earlier version of the product, measured beside this one, does a night of everything in one piece.
            in_blocks = hasattr(JobChunk, "stage")
            job = nightly.start_nightly_job(
                company=company, by=None, now=now, **({"everything": True} if in_blocks else {})
            )
            blocks = job.chunks.filter(stage=1) if in_blocks else job.chunks.all()
            if in_blocks:
                _wait(lambda: not job.chunks.filter(stage=0).exclude(state="done").exists())
            begun, used = time.perf_counter(), [group_seconds(worker.pid) for worker in workers]
            _wait(lambda: not blocks.exclude(state="done").exists())
            clock = time.perf_counter() - begun
            busy = [group_seconds(worker.pid) - before for worker, before in zip(workers, used, strict=True)]
            return blocks.count(), clock, busy
        finally:
            for worker in workers:
                os.killpg(worker.pid, signal.SIGKILL)
                worker.wait()


def _worker(queue: str, log: Path) -> "subprocess.Popen[bytes]":
    command = [sys.executable, "-m", "celery", "-A", "fleet.config.celery", "worker", "--concurrency", "1"]
    with log.open("wb") as output:
        return subprocess.Popen(
            [*command, "--hostname", f"{log.stem}@%h"],
            env=os.environ | {"REDIS_URL": queue},
            stdout=output,
            stderr=output,
            start_new_session=True,
        )


def _wait(happens: Callable[[], bool]) -> None:
    while not happens():
        time.sleep(0.05)


UNIT_STEPS = ("indicators", "forecasts", "findings")
"""Steps that are done for units with news alone."""


def _share(first: Cost, news: Cost) -> str:
    return f"{100 * news.seconds / first.seconds:.1f} %" if first.seconds >= 0.01 else ""


def night(company: Any, now: datetime, iterations: int | None, profiled: str | None = None) -> dict[str, Cost]:
    """What each step of a night takes."""
    from scheduling.services import nightly

    costs: dict[str, Cost] = {}
    with timed_steps(costs, profiled) as so_far:
        start = so_far()
        nightly.run_nightly(company=company, now=now, iterations=iterations)
        costs["between"] = so_far() - start - sum(costs.values(), Cost())
    return costs


@contextmanager
def timed_steps(costs: dict[str, Cost], profiled: str | None) -> Iterator[Callable[[], Cost]]:
    """Time the steps of a night while the block lasts; gives what tells the cost so far."""
    from django.db import connection

    from scheduling.services import nightly
    from scheduling.services.rounds import plans

    queries = 0

    def counted(execute: Callable[..., Any], *statement: Any) -> Any:
        nonlocal queries
        queries += 1
        return execute(*statement)

    def so_far() -> Cost:
        nonlocal queries
        asked = queries
        database = server_seconds() if connection.vendor == "postgresql" else 0.0
        queries = asked  # without the one that finds the server
        return Cost(_processor(), queries, database)

    def timed(step: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def run_step(*args: Any, **named: Any) -> Any:
            profile = cProfile.Profile() if step == profiled else None
            start, within = so_far(), _sum_within(costs)
            result = profile.runcall(work, *args, **named) if profile else work(*args, **named)
            took = so_far() - start
            costs[step] = costs.get(step, Cost()) + took - (_sum_within(costs) - within)
            if profile:
                pstats.Stats(profile, stream=sys.stdout).sort_stats("cumtime").print_stats(45)
            return result

        return run_step

    # An earlier version of the product, measured beside this one, may not have all of them.
    places = [(nightly, name, step) for name, step in STEPS.items() if hasattr(nightly, name)]
    places += [(plans, name, step) for name, step in WITHIN.items() if hasattr(plans, name)]
    plain = [(module, name, getattr(module, name)) for module, name, _ in places]
    for (module, name, step), (_, _, work) in zip(places, plain, strict=True):
        setattr(module, name, timed(step, work))
    try:
        with connection.execute_wrapper(counted):
            yield so_far
    finally:
        for module, name, work in plain:
            setattr(module, name, work)


def _sum_within(costs: Mapping[str, Cost]) -> Cost:
    return sum((cost for step, cost in costs.items() if step in WITHIN.values()), Cost())


def _processor() -> float:
    """Processor seconds of this process and of those it started and that have ended."""
    return sum(os.times()[:4])


def invent(units: int, months: int) -> Any:
    """A company with that many units, read for that many months."""
    from fleet.models import FeedWaterSample, Placement, Position, Reading, Site, Unit
    from tests import factories

    rng = np.random.default_rng(16)
    begin = NOW - timedelta(days=30 * months)
    company = factories.CompanyFactory()
    client = factories.ClientFactory(company=company)
    # In the middle of the sites, so that there is something to plan.
    factories.InstallerFactory.create_batch(2, company=company, home_latitude=47.15, home_longitude=8.2)
    items = {
        stage: factories.CatalogueItemFactory(company=company, kind=stage)
        for stage in ("sediment", "carbon", "membrane", "resin")
    }
    sites = Site.objects.bulk_create(
        [
            Site(
                company=company,
                client=client,
                code=f"S{n}",
                name=f"Site {n}",
                latitude=47.0 + 0.3 * rng.random(),
                longitude=8.0 + 0.4 * rng.random(),
            )
            for n in range(units)
        ],
        batch_size=500,
    )
    FeedWaterSample.objects.bulk_create(
        [
            FeedWaterSample(
                site=site,
                taken_at=begin,
                received_at=begin,
                ph=7.4 + 0.4 * rng.random(),
                hardness_mg_per_l_as_caco3=60.0 + 200.0 * rng.random(),
                alkalinity_mg_per_l_as_caco3=60.0 + 150.0 * rng.random(),
                silica_mg_per_l=5.0 + 10.0 * rng.random(),
            )
            for site in sites
        ],
        batch_size=500,
    )
    made = Unit.objects.bulk_create(
        [
            Unit(
                company=company,
                site=site,
                use="reef",
                kind="ro_di",
                product_tds_target_mg_per_l=2.0,
                code=f"U{n}",
                commissioned_on=begin.date(),
                weekly_demand_l=float(np.exp(rng.normal(4.0, 0.5))),
            )
            for n, site in enumerate(sites)
        ],
        batch_size=500,
    )
    places = Position.objects.bulk_create(
        [
            Position(unit=unit, order=order, stage=stage, role=role)
            for unit in made
            for order, (stage, role) in enumerate(TRAIN, start=1)
        ],
        batch_size=500,
    )
    stays = []
    for place in places:
        changed = begin if place.stage == "membrane" else begin + timedelta(days=float(rng.uniform(0, 20 * months)))
        for at, until in ((begin, changed), (changed, None)) if changed > begin else ((begin, None),):
            stays.append(
                Placement(
                    position=place,
                    item=items[place.stage],
                    placed_at=at,
                    first_installed_at=at,
                    removed_at=until,
                    removal="" if until is None else "early",
                )
            )
    Placement.objects.bulk_create(stays, batch_size=500)
    rows: list[Any] = []
    for number, unit in enumerate(made):
        rhythm = 7.0 if number % 10 == 0 else 30.0
        worn = float(rng.random())
        for day in np.arange(rng.uniform(0.5, rhythm), 30.0 * months - 0.5, rhythm):
            share = float(day) / (30.0 * months)
            rows.append(reading(unit.pk, begin + timedelta(days=float(day)), worn * share, float(rng.random())))
    Reading.objects.bulk_create(rows, batch_size=500)
    return company


def reading(unit_id: int, at: datetime, worn: float, noise: float) -> Any:
    """A plausible reading with a little noise, the older the more worn; both between 0 and 1."""
    from fleet.models import Reading

    return Reading(
        unit_id=unit_id,
        taken_at=at,
        received_at=at,
        source="meter",
        occasion="routine",
        state="flowing",
        line_pressure_kpa=400.0 + 10 * noise,
        prefilter_outlet_pressure_kpa=380.0 - 5 * noise - 40 * worn,
        inlet_pressure_kpa=375.0 - 5 * noise - 40 * worn,
        temperature_degc=14.0 + 2 * noise,
        feed_tds_mg_per_l=240.0 + 20 * noise,
        permeate_tds_mg_per_l=9.0 + 2 * noise + 8 * worn,
        interstage_tds_mg_per_l=round(noise + 4 * worn, 1),
        product_tds_mg_per_l=0.0,
        permeate_flow_l_per_day=180.0 + 10 * noise - 50 * worn,
        concentrate_flow_l_per_day=600.0 + 20 * noise,
    )


def hear_from(company: Any, share: float, at: datetime) -> int:
    """Let a share of the units be read at a moment; how many."""
    from fleet.models import Reading, Unit

    ids = list(Unit.objects.of_company(company).order_by("pk").values_list("pk", flat=True))
    heard = ids[5 :: max(round(1 / share), 1)]
    Reading.objects.bulk_create([reading(pk, at, 0.5, 0.4) for pk in heard])
    return len(heard)


if __name__ == "__main__":
    begun = time.perf_counter()
    main()
    print(f"{time.perf_counter() - begun:.0f} s by the clock")
