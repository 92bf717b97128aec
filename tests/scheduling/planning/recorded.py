"""Invented weeks and sites, and what planning makes of them without the solver.

python -m tests.scheduling.planning.recorded     # writes recorded.json anew, after a change that is meant
"""

import dataclasses
import json
from pathlib import Path

import numpy as np

from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.policy import Policy
from scheduling.planning.rounds import evaluate
from scheduling.planning.rounds.by_hand import move_by_hand
from scheduling.planning.rounds.evaluate import Plan
from scheduling.planning.rounds.greedy import greedy_plan
from scheduling.planning.rounds.insertion import place_the_musts, polish, working_cells
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.pairs import merge_pairs
from scheduling.planning.rounds.problem import RoundProblem
from scheduling.planning.rounds.solve import drivable
from scheduling.planning.rounds.stability import Stability
from scheduling.planning.rounds.unserved import explain_unserved
from scheduling.planning.travel.traffic import Traffic
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from scheduling.planning.visits.bundling import bundle_visits
from scheduling.planning.visits.proposal import BundlingSite
from tests.scheduling.planning.rounds.instances import HOUR, make_week

FILE = Path(__file__).with_suffix(".json")
SPREAD = np.array([0.55, 0.65, 0.8, 1.0, 1.2, 1.4, 1.55])
Rows = list[list[float | str | None]]


def weeks() -> dict[str, RoundProblem]:
    """Weeks of four kinds: plain, with overtime and a slow morning, with pairs, and two short days with more urgent and
    confirmed visits than fit and little in the vans, the first of them begun."""
    plain = make_week(45, seed=21, installers=3, days=3, musts=8)
    slow = make_week(36, seed=22, installers=2, days=3, musts=6, max_overtime_s=HOUR)
    slow = dataclasses.replace(slow, traffic=Traffic(((7 * HOUR, 1.4), (10 * HOUR, 1.0), (16 * HOUR, 1.25))))
    paired = make_week(30, seed=23, installers=2, days=2, musts=3, skills=False)
    keys = [c.key for c in paired.candidates if not c.must]
    paired = dataclasses.replace(
        paired, together=((keys[0], keys[1]), (keys[2], keys[3])), apart=((keys[4], keys[5]), (keys[6], keys[7]))
    )
    crowded = make_week(40, seed=24, installers=3, days=2, musts=24, shift=(8 * HOUR, 15 * HOUR), max_overtime_s=1_800)
    on_the_road = [
        dataclasses.replace(person, van_stock={"resin": 5 + k}) for k, person in enumerate(crowded.installers)
    ]
    first, *later = on_the_road[0].shifts
    begun = dataclasses.replace(first, start_s=10 * HOUR, starts_at=Place(50.1, 9.1), had_lunch=True)
    on_the_road[0] = dataclasses.replace(on_the_road[0], shifts=(begun, *later))
    crowded = RoundProblem.build(
        first_day=crowded.first_day, days=2, installers=on_the_road, rates=crowded.rates,
        provider=GreatCircleTravel(),
        candidates=[dataclasses.replace(c, parts={"resin": 1} if k % 3 else {})
                    for k, c in enumerate(crowded.candidates)],
    )  # fmt: skip
    return {"plain": plain, "slow": slow, "paired": paired, "crowded": crowded}


def of_plan(problem: RoundProblem, plan: Plan) -> Rows:
    """What the judge finds of a plan, in figures, and the times of its rounds."""
    judged = evaluate(problem, plan)
    rows: Rows = [
        [
            judged.driving_cents, judged.overtime_cents, judged.visits_cents, judged.unserved_cents, judged.drive_s,
            judged.drive_m, len(judged.served), len(judged.missed_urgent), len(judged.missed_appointments),
            len(judged.faults),
        ]
    ]  # fmt: skip
    for route in judged.routes:
        rows.append([
            route.installer, route.day, route.leaves_s, route.returns_s, route.lunch_start_s, route.lunch_after,
            route.overtime_s,
        ])  # fmt: skip
        rows.append([cell for stop in route.stops for cell in (stop.visit, stop.arrival_s, stop.start_s, stop.drive_m)])
    return rows


def of_week(problem: RoundProblem) -> dict[str, Rows]:
    """Plans of the plain ways of planning, what they leave out and why, and what moving a stop would cost."""
    merged = merge_pairs(problem)
    simple = merged.problem
    by_hand, by_value = naive_plan(simple), greedy_plan(simple)
    better = polish(simple, place_the_musts(simple, by_value))
    promised = {
        c: ((simple.installer_index[route.installer], route.day), stop.start_s)
        for route in evaluate(simple, by_value).routes
        for stop in route.stops
        for c in [simple.candidate_index[stop.visit]]
    }
    stability = Stability(simple, promised, retimed_cents=900, tolerance_s=600)
    most_stable = stability.descend(by_value)
    moves: Rows = []
    full = merged.expand(better)
    for installer in problem.installers[:2]:
        for c in [c for stops in full.values() for c in stops][::4]:
            moved = move_by_hand(problem, full, problem.candidates[c].key, installer=installer.key, day=1)
            moves.append([
                problem.candidates[c].key, installer.key, moved.driving_cents, moved.overtime_cents, moved.visits_cents,
                moved.drive_s, moved.drive_m, ",".join(sorted(f.code for f in moved.refusals)),
                ",".join(sorted(f.code for f in moved.warnings)),
            ])  # fmt: skip
    unserved: Rows = [
        [one.visit, str(one.reason), one.displaces, one.extra_cents] for one in explain_unserved(simple, better)
    ]
    in_turn = list(range(len(simple.candidates)))
    overfull = {cell: tuple(in_turn[at::6][:9]) for at, cell in enumerate(working_cells(simple)[:6])}
    return {
        "cut back": of_plan(simple, place_the_musts(simple, drivable(simple, overfull))),
        "as a person would": of_plan(problem, merged.expand(by_hand)),
        "by value for time": of_plan(problem, merged.expand(by_value)),
        "polished": of_plan(problem, full),
        "most stable": of_plan(problem, merged.expand(most_stable)),
        "nobody too early": of_plan(stability.held(most_stable), most_stable),
        "left out": unserved,
        "moved by hand": moves,
    }


def needs_of_sites() -> tuple[list[Need], list[BundlingSite]]:
    """Needs of every kind at twenty sites around two bases."""
    rng = np.random.default_rng(31)
    sites = [BundlingSite(f"s{k}", Place(50.0 + rng.normal() / 8, 9.0 + rng.normal() / 8)) for k in range(20)]
    needs = []
    for site in sites:
        for j in range(int(rng.integers(1, 6))):
            days = float(rng.uniform(-10.0, 220.0))
            worn = rng.random() < 0.75
            lead = worn and rng.random() < 0.25
            first = int(rng.integers(0, 60)) if rng.random() < 0.2 else None
            needs.append(
                Need(
                    f"{site.key}.{j}", site.key, f"u{j % 2}", NeedKind.REPLACE if worn else NeedKind.SANITISE,
                    label="cartridge", minutes=float(rng.integers(8, 40)), urgent=bool(rng.random() < 0.08),
                    not_before_day=first,
                    deadline_day=(first or 0) + int(rng.integers(-5, 90)) if rng.random() < 0.2 and not first else None,
                    quantile_days=tuple(days * SPREAD) if worn else (), remaining_share=float(rng.uniform(0.0, 1.0)),
                    price=float(rng.uniform(2.0, 90.0)), late_cost_per_day=float(rng.choice([0.0, 0.5, 3.0, 8.0])),
                    fresh_life_days=float(rng.choice([np.nan, 40.0, 90.0, 180.0])),
                    exhausted_quantile_days=tuple(days * 0.6 * SPREAD) if lead else (),
                    exhausted_cost_per_day=0.2 if lead else 0.0,
                    skills=frozenset({"pump"}) if rng.random() < 0.2 else frozenset(),
                )
            )  # fmt: skip
    return needs, sites


def of_visits() -> dict[str, Rows]:
    """The visits chosen, with their windows, their prices and why each need is on them."""
    needs, sites = needs_of_sites()
    policy = Policy(bundling_weeks=20)
    bases = [Place(50.0, 9.0), Place(50.2, 9.1)]
    visits: Rows = []
    why: Rows = []
    for v in bundle_visits(needs, sites, policy=policy, bases=bases, days=7):
        visits.append([
            v.site, v.number, v.week, v.earliest_day, v.best_day, v.latest_day, v.urgent, v.minutes, len(v.skills),
            v.cost_if_unserved, v.travel_cost, *(cost if np.isfinite(cost) else None for cost in v.cost_by_day),
        ])  # fmt: skip
        why += [
            [
                c.need,
                c.best_day,
                c.cost_on_visit,
                c.waste_on_visit,
                c.cost_of_waiting,
                c.saving,
                c.exhausted_probability,
            ]
            for c in v.choices
        ]
    return {"visits": visits, "why": why}


def figures() -> dict[str, dict[str, Rows]]:
    """All of it."""
    return {"sites": of_visits(), **{name: of_week(problem) for name, problem in weeks().items()}}


if __name__ == "__main__":
    text = json.dumps(
        {
            name: {
                key: [[round(cell, 6) if isinstance(cell, float) else cell for cell in row] for row in rows]
                for key, rows in parts.items()
            }
            for name, parts in figures().items()
        }
    )
    FILE.write_text(text.replace("]], ", "]],\n") + "\n")
