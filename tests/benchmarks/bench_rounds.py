"""How good the rounds are, and how long deciding takes: prints tables, asserts nothing.

    python -m tests.benchmarks.bench_rounds solomon            gap to the best known value on twelve public instances
    python -m tests.benchmarks.bench_rounds weeks              total cost against the plan made by hand
    python -m tests.benchmarks.bench_rounds weeks --second     the same, with a start plan by a second solver beside it
    python -m tests.benchmarks.bench_rounds replan             mending a published week when the day goes wrong
    python -m tests.benchmarks.bench_rounds bundling           choosing visits for ten thousand sites

Every run uses one core, and seconds are seconds of that core (other work on the machine does not count). Weeks are
invented by ``tests.scheduling.planning.rounds.instances`` from the seeds named. 'gain' is
(cost of leaving everything - total) / (cost of leaving everything - total by hand), which the large cost of visits that
no plan could serve does not dilute.
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import platform
import time
from functools import partial
from importlib.metadata import version
from typing import Any

import numpy as np

from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.policy import Policy
from scheduling.planning.rounds import (
    Disturbance,
    FreeLater,
    InstallerOut,
    Moment,
    RoundPlan,
    RoundProblem,
    VisitAdded,
    VisitCancelled,
    Window,
    evaluate,
    list_people_to_notify,
    plan_rounds,
    replan,
)
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from scheduling.planning.visits.bundling import bundle_visits
from scheduling.planning.visits.proposal import BundlingSite
from tests.published import solomon
from tests.scheduling.planning.rounds.instances import make_week

#: Candidates, days, confirmed and urgent visits, and for each limit in seconds the ratio to the plan made by hand that
#: is aimed at.
WEEKS = [
    (150, 5, 16, {30: 0.80}),
    (400, 5, 40, {30: 0.82, 60: 0.80}),
    (1_000, 5, 60, {60: 0.90}),
    (600, 28, 24, {60: 0.83}),
]
#: Seconds to the mean and the worst gap aimed at, per cent.
SOLOMON_TARGETS = {1.0: (1.0, 2.5), 5.0: (0.3, 1.5), 30.0: (0.15, 1.0)}
REPLAN_TARGET_S = 10.0
BUNDLING_TARGET_S = 30.0


def machine() -> str:
    """What it ran on."""
    model = platform.processor() or platform.machine()
    try:
        with open("/proc/cpuinfo") as info:
            model = next(line.split(":")[1].strip() for line in info if line.startswith("model name"))
    except (OSError, StopIteration):
        pass
    return (
        f"{model}, {os.cpu_count()} cores (one used), Python {platform.python_version()}, NumPy {np.__version__}, "
        f"PyVRP {version('pyvrp')}"
    )


def plan_for(cpu_seconds: float, problem: RoundProblem, **more: Any) -> RoundPlan:
    """Plan for a number of seconds of this process's core."""
    ends = time.process_time() + cpu_seconds
    return plan_rounds(problem, seconds=3_600.0, should_stop=lambda: time.process_time() >= ends, **more)


def bench_solomon(limits: list[float], seeds: list[int]) -> None:
    """Gap to the best known value, per cent."""
    names = sorted(path.stem for path in solomon.FOLDER.glob("*.txt"))
    print("| seconds | mean gap % | target | worst gap % | target | at best known |")
    print("| --: | --: | --: | --: | --: | --: |")
    for limit in limits:
        gaps = []
        for name in names:
            for seed in seeds:
                plan = plan_for(limit, solomon.read(name), seed=seed)
                if plan.evaluation.faults or plan.evaluation.unserved:
                    print(f"{name}: not every customer served")
                gaps.append(100.0 * (plan.evaluation.total_cents / solomon.best_known(name) - 1.0))
        mean, worst = (f"≤ {target}" for target in SOLOMON_TARGETS[limit]) if limit in SOLOMON_TARGETS else ("", "")
        print(
            f"| {limit:g} | {np.mean(gaps):.2f} | {mean} | {max(gaps):.2f} | {worst} "
            f"| {sum(g < 1e-9 for g in gaps)} of {len(gaps)} |",
            flush=True,
        )


def _row(label: str, took: float, problem: RoundProblem, plan: RoundPlan, target: float) -> str:
    hand = evaluate(problem, naive_plan(problem)).total_cents
    unserved_cents = evaluate(problem, {}).total_cents
    judged = plan.evaluation
    return (
        f"{label} | {took:.0f} | {judged.total_cents / 100:,.0f} | {judged.drive_s / 3600:.1f} | {len(judged.served)} "
        f"| {len(judged.missed_urgent)}/{len(judged.missed_appointments)} | {len(judged.faults)} "
        f"| {judged.total_cents / hand:.3f} | ≤ {target:.2f} "
        f"| {(unserved_cents - judged.total_cents) / (unserved_cents - hand):.2f} |"
    )


def bench_weeks(seeds: list[int], sizes: list[int], *, second: bool) -> None:
    """Total cost against the plan made by hand."""
    print(
        "| candidates | days | seed | method | s | total | drive h | served | missed urgent/confirmed | faults "
        "| ÷ by hand | target | gain |"
    )
    print("| --: | --: | --: | --- | --: | --: | --: | --: | --- | --: | --: | --: | --: |")
    print("| | | | | | | | | target 0/0 | target 0 | | | |")
    for n, days, musts, limits in WEEKS:
        if sizes and n not in sizes:
            continue
        for seed in seeds:
            problem = make_week(n, seed=seed, days=days, musts=musts)
            head = f"| {n} | {days} | {seed} "
            began = time.process_time()
            hand = evaluate(problem, naive_plan(problem))
            print(
                f"{head}| by hand | {time.process_time() - began:.1f} | {hand.total_cents / 100:,.0f} "
                f"| {hand.drive_s / 3600:.1f} | {len(hand.served)} "
                f"| {len(hand.missed_urgent)}/{len(hand.missed_appointments)} | {len(hand.faults)} | 1 | | 1 |"
            )
            for limit, target in limits.items():
                began = time.process_time()
                plan = plan_for(limit, problem, seed=1)
                print(head + _row("| planner", time.process_time() - began, problem, plan, target), flush=True)
                if second:
                    from tests.benchmarks.ortools_start import ortools_plan

                    began = time.process_time()
                    first = min(12.0, limit * 0.4)
                    plan = plan_for(limit, problem, seed=1, start=partial(ortools_plan, seconds=first))
                    took = time.process_time() - began
                    print(
                        head + _row(f"| OR-Tools {first:.0f} s, then planner", took, problem, plan, target), flush=True
                    )


def bench_replan(seeds: list[int]) -> None:
    """Four installers and sixty open visits in two days; what goes wrong at ten o'clock."""
    print(f"Target: under {REPLAN_TARGET_S:g} s, with few of the differences that planning anew makes.\n")
    print("| seed | what went wrong | s | differences | of these told to clients | plan anew, differences | s |")
    print("| --: | --- | --: | --: | --: | --: | --: |")
    now = Moment(0, 10 * 3_600)
    free = Disturbance(0, 0, 0, 0, 0, 0)
    for seed in seeds:
        problem = make_week(72, seed=seed, days=2, musts=16)
        plan = plan_rounds(problem, iterations=20_000, seed=1)
        later = next(r for r in plan.routes if r.day == 0 and r.stops[-1].start_s > 13 * 3_600)
        call = dataclasses.replace(
            problem.candidates[0],
            key="urgent call",
            urgent=True,
            appointment=None,
            skills=frozenset(),
            windows=(Window(0, 8 * 3_600, 17 * 3_600),),
            cost_if_unserved_cents=50_000,
        )
        incidents = {
            "an installer falls ill": [InstallerOut("installer 1", 0), InstallerOut("installer 1", 1)],
            "a visit overruns by two hours": [FreeLater("installer 2", 12 * 3_600 + 1_800)],
            "a client calls off": [VisitCancelled(later.stops[-1].visit)],
            "an urgent call comes in": [VisitAdded(call)],
        }
        for incident, changes in incidents.items():
            row = []
            for price in (None, free):
                began = time.perf_counter()
                repaired = replan(
                    problem,
                    plan.plan,
                    changes,
                    now=now,
                    provider=GreatCircleTravel(),
                    disturbance=price,
                    iterations=3_000,
                    seed=1,
                )
                row.append((time.perf_counter() - began, repaired))
            (took, repaired), (took_free, anew) = row
            clients, _ = list_people_to_notify(repaired.differences)
            print(
                f"| {seed} | {incident} | {took:.1f} | {len(repaired.differences)} | {len(clients)} "
                f"| {len(anew.differences)} | {took_free:.1f} |",
                flush=True,
            )


def bench_bundling(sites: int) -> None:
    """Choosing the visits of a fleet."""
    rng = np.random.default_rng(1)
    places = [BundlingSite(str(k), Place(50 + rng.normal() / 4, 9 + rng.normal() / 4)) for k in range(sites)]
    spread = np.array([0.55, 0.65, 0.8, 1.0, 1.2, 1.4, 1.55])
    stages = [("sediment", 6.0, 3.0, 180), ("carbon lead", 14.0, 8.0, 365), ("carbon lag", 14.0, 8.0, 365)]
    stages += [("membrane", 60.0, 4.0, 900), ("resin lead", 25.0, 6.0, 120), ("resin lag", 25.0, 6.0, 200)]
    needs = []
    for site in places:
        for stage, price, late, life in stages:
            share = float(rng.uniform())
            needs.append(
                Need(
                    f"{site.key} {stage}",
                    site.key,
                    site.key,
                    NeedKind.REPLACE,
                    label=stage,
                    minutes=12.0,
                    quantile_days=tuple(spread * share * life),
                    remaining_share=share,
                    price=price,
                    late_cost_per_day=late,
                    fresh_life_days=float(life),
                )
            )
    began = time.process_time()
    visits = bundle_visits(needs, places, policy=Policy(), bases=[Place(50.0, 9.0)])
    took = time.process_time() - began
    print("| sites | needs | visits proposed | seconds | target (10,000 sites) |\n| --: | --: | --: | --: | --: |")
    print(f"| {sites:,} | {len(needs):,} | {len(visits):,} | {took:.1f} | < {BUNDLING_TARGET_S:g} |")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=["solomon", "weeks", "replan", "bundling"])
    parser.add_argument("--seeds", type=int, nargs="+", default=None)
    parser.add_argument("--sizes", type=int, nargs="+", default=[])
    parser.add_argument("--seconds", type=float, nargs="+", default=[1.0, 5.0, 30.0])
    parser.add_argument("--second", action="store_true", help="also start from a plan by a second solver")
    parser.add_argument("--sites", type=int, default=10_000)
    chosen = parser.parse_args()
    print(machine() + "\n")
    if chosen.what == "solomon":
        bench_solomon(chosen.seconds, chosen.seeds or [1, 2])
    elif chosen.what == "weeks":
        bench_weeks(chosen.seeds or [7, 8, 9], chosen.sizes, second=chosen.second)
    elif chosen.what == "replan":
        bench_replan(chosen.seeds or [7, 8, 9])
    else:
        bench_bundling(chosen.sites)


if __name__ == "__main__":
    main()
