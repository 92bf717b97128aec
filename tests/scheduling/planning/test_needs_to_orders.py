"""From forecast dates to rounds and parts, through every step of the room."""

from __future__ import annotations

import datetime
import math

import numpy as np

from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.policy import Policy
from scheduling.planning.rounds import (
    Candidate,
    Installer,
    RoundProblem,
    Shift,
    Window,
    candidate_of,
    lunch_of,
    on_allowed_days,
    plan_rounds,
    rates_of,
)
from scheduling.planning.stock.parts import PartsTask, Rule, parts_for
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from scheduling.planning.visits.bundling import bundle_visits
from scheduling.planning.visits.proposal import BundlingSite, VisitProposal

MONDAY = datetime.date(2026, 11, 30)
HOUR = 3_600


def test_from_dates_to_rounds_and_parts() -> None:
    rng = np.random.default_rng(1)
    policy = Policy(horizon_days=5)
    sites = [BundlingSite(f"site {k}", Place(50 + rng.normal() / 12, 9 + rng.normal() / 12)) for k in range(60)]
    spread = np.array([0.55, 0.65, 0.8, 1.0, 1.2, 1.4, 1.55])
    needs = []
    for site in sites:
        for stage, price, life in (("sediment", 6.0, 150), ("carbon", 14.0, 300), ("resin", 25.0, 120)):
            days = float(rng.uniform(-10.0, life))
            needs.append(
                Need(
                    key=f"{site.key} {stage}",
                    site=site.key,
                    unit=site.key,
                    kind=NeedKind.REPLACE,
                    position=stage,
                    label=stage,
                    minutes=policy.minutes_for("replace"),
                    quantile_days=tuple(spread * days if days > 0 else np.full(7, days)),
                    remaining_share=max(days, 0.0) / life,
                    price=price,
                    late_cost_per_day=policy.late_cost(stage, "reef"),
                    parts={stage: 1},
                )
            )
    base = Place(50.0, 9.0)
    proposals = bundle_visits(needs, sites, policy=policy, bases=[base])
    upcoming = [p for p in proposals if p.number == 0]
    by_key = {need.key: need for need in needs}
    place_of = {site.key: site.place for site in sites}
    candidates = [
        _candidate(
            p,
            place_of[p.site],
            [Window(day, 8 * HOUR, 17 * HOUR) for day in range(5)],
            {key: 1 for n in p.needs for key in by_key[n].parts},
        )
        for p in upcoming
    ]
    problem = RoundProblem.build(
        first_day=MONDAY,
        days=5,
        installers=[
            Installer("Ada", base, tuple(Shift(d, 8 * HOUR, 16 * HOUR) for d in range(5)), lunch=lunch_of(policy))
        ],
        candidates=candidates,
        rates=rates_of(policy),
        provider=GreatCircleTravel(),
    )
    plan = plan_rounds(problem, iterations=1_500, seed=1)
    assert plan.evaluation.faults == ()
    assert set(plan.evaluation.served) | {u.visit for u in plan.unserved} == {p.site for p in upcoming}
    # what is exhausted already is seen to this week, what is not due for months is not
    exhausted_sites = {need.site for need in needs if need.quantile_days[0] < 0.0}
    assert exhausted_sites <= set(plan.evaluation.served)
    far_off = {p.site for p in upcoming if p.best_day > 35}
    assert far_off
    assert not far_off & set(plan.evaluation.served)

    tasks = [
        PartsTask(stop.visit, stop.visit, "replace", by_key[n].position, by_key[n].position, item)
        for route in plan.routes
        for stop in route.stops
        for n in next(p for p in upcoming if p.site == stop.visit).needs
        for item in by_key[n].parts
    ]
    taken = parts_for(tasks, [Rule("o-ring", 1, "housing"), Rule("gloves", 2, "visit")])
    count = {item: sum(by_visit.values()) for item, by_visit in taken.items()}
    assert count["o-ring"] == len(tasks) == count["sediment"] + count["carbon"] + count["resin"]
    assert count["gloves"] == 2 * len(plan.evaluation.served)


def _candidate(proposal: VisitProposal, place: Place, hours: list[Window], parts: dict[str, int]) -> Candidate:
    return candidate_of(
        key=proposal.site,
        place=place,
        windows=on_allowed_days(hours, proposal.cost_by_day),
        minutes=proposal.minutes,
        cost_by_day=proposal.cost_by_day,
        cost_if_unserved=proposal.cost_if_unserved,
        urgent=proposal.urgent,
        skills=proposal.skills,
        parts=parts,
    )


def test_a_forbidden_day_has_no_window() -> None:
    need = Need("check", "a", "unit", NeedKind.INSPECT, minutes=10.0, not_before_day=1, deadline_day=3)
    (proposal,) = bundle_visits([need], [BundlingSite("a", Place(50.0, 9.0))], policy=Policy())
    candidate = _candidate(proposal, Place(50.0, 9.0), [Window(day, 0, 10 * HOUR) for day in range(5)], {})
    assert [window.day for window in candidate.windows] == [1, 2, 3]
    assert candidate.urgent
    assert candidate.service_s == 25 * 60
    assert math.isinf(proposal.cost_by_day[0])


def test_the_prices_of_the_policy_reach_the_rounds() -> None:
    rates = rates_of(Policy(driving_cost_per_minute=0.75, driving_cost_per_km=0.42, overtime_cost_per_hour=60.0))
    assert (rates.driving_minute_cents, rates.km_cents, rates.overtime_hour_cents) == (75, 42, 6_000)
    assert lunch_of(Policy(lunch_minutes=0)) is None
    assert lunch_of(Policy(lunch_minutes=45)).duration_s == 2_700
