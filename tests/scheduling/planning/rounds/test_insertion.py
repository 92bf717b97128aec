"""The small steps of the search, against trying everything."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import Any

import pytest

from scheduling.planning.rounds import UnservedReason, evaluate
from scheduling.planning.rounds.evaluate import may_be_driven
from scheduling.planning.rounds.greedy import greedy_plan
from scheduling.planning.rounds.insertion import (
    Rooms,
    cheapest_insertion,
    make_room,
    place_the_musts,
    polish,
    repair_round,
    working_cells,
)
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.problem import Appointment, Candidate, Installer, Rates, RoundProblem, Shift, Window
from scheduling.planning.rounds.unserved import explain_unserved
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.planning.rounds.instances import FIRST_DAY, HOUR, make_week

SEEDS = [1, 2, 3, 4]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("make", [naive_plan, greedy_plan])
def test_first_plans_can_be_driven_and_hold_what_must_be_served(make, seed: int) -> None:
    judged = evaluate(problem := make_week(90, seed=seed), make(problem))
    assert judged.faults == ()
    assert (judged.missed_appointments, judged.missed_urgent) == ((), ())
    assert judged.total_cents < evaluate(problem, {}).total_cents


@pytest.mark.parametrize("seed", SEEDS)
def test_value_for_time_beats_the_nearest_door(seed: int) -> None:
    problem = make_week(200, seed=seed)
    assert evaluate(problem, greedy_plan(problem)).total_cents < evaluate(problem, naive_plan(problem)).total_cents


@pytest.mark.parametrize("overtime", [0, HOUR])
@pytest.mark.parametrize("seed", SEEDS)
def test_the_cheapest_insertion_is_the_cheapest_of_all(seed: int, overtime: int) -> None:
    problem = make_week(60, seed=seed, installers=2, days=3, max_overtime_s=overtime)
    plan = naive_plan(problem)
    before = evaluate(problem, plan).total_cents
    served = {c for stops in plan.values() for c in stops}
    for k in [k for k in range(60) if k not in served][:12]:
        costs = []
        for cell in working_cells(problem):
            stops = plan.get(cell, ())
            for place in range(len(stops) + 1):
                tried = (*stops[:place], k, *stops[place:])
                if may_be_driven(problem, *cell, tried):
                    costs.append(evaluate(problem, {**plan, cell: tried}).total_cents - before)
        insertion = cheapest_insertion(problem, plan, k, positions=99)
        assert (insertion is None) == (not costs)
        if insertion is not None:
            assert insertion.extra_cents == min(costs)


@pytest.mark.parametrize(("saved_cents", "is_made"), [(-1, False), (0, False), (1, True)])
def test_polishing_puts_in_a_visit_that_saves_a_single_cent(saved_cents: int, is_made: bool) -> None:
    """At the installer's door a visit costs no driving: it saves what leaving it would cost beyond its own price."""
    home = Place(50.0, 9.0)
    problem = RoundProblem.build(
        first_day=FIRST_DAY,
        days=1,
        installers=[Installer("Ada", home, (Shift(0, 8 * HOUR, 16 * HOUR),))],
        candidates=[
            Candidate("v", home, (Window(0, 8 * HOUR, 16 * HOUR),), HOUR, (500,), 500 + saved_cents),
        ],
        rates=Rates(),
        provider=GreatCircleTravel(),
    )
    assert polish(problem, {}) == ({(0, 0): (0,)} if is_made else {})


@pytest.mark.parametrize(("more_cents", "served"), [(-1, (0,)), (0, (0,)), (1, (1,))])
def test_a_visit_is_exchanged_for_one_that_is_worth_a_single_cent_more(more_cents: int, served: tuple[int]) -> None:
    """Two visits at one door, and time for one of them; one worth the same is not taken, for it would never end."""
    home = Place(50.0, 9.0)
    problem = RoundProblem.build(
        first_day=FIRST_DAY,
        days=1,
        installers=[Installer("Ada", home, (Shift(0, 8 * HOUR, 9 * HOUR),))],
        candidates=[
            Candidate(f"v{k}", home, (Window(0, 8 * HOUR, 16 * HOUR),), HOUR, (500,), cents)
            for k, cents in enumerate((900, 900 + more_cents))
        ],
        rates=Rates(),
        provider=GreatCircleTravel(),
    )
    assert polish(problem, {(0, 0): (0,)}) == {(0, 0): served}


@pytest.mark.parametrize("seed", SEEDS)
def test_polishing_never_makes_a_plan_dearer_and_leaves_no_exchange_in_place(seed: int) -> None:
    problem = make_week(80, seed=seed, installers=2, days=3)
    plan = naive_plan(problem)
    better = polish(problem, plan)
    before, after = evaluate(problem, plan), evaluate(problem, better)
    assert after.faults == ()
    assert after.rank <= before.rank
    assert len(after.missed_urgent) <= len(before.missed_urgent)
    unserved = [k for k in range(80) if problem.candidates[k].key in set(after.unserved)]
    for cell, stops in better.items():
        for (place, removed), k in itertools.product(enumerate(stops), unserved[:10]):
            if problem.candidates[removed].must:
                continue
            tried = {**better, cell: (*stops[:place], k, *stops[place + 1 :])}
            judged = evaluate(problem, tried)
            assert judged.faults or judged.total_cents >= after.total_cents


@pytest.mark.parametrize("seed", SEEDS)
def test_the_visit_to_give_way_is_the_one_whose_loss_is_least(seed: int) -> None:
    problem = make_week(40, seed=seed, installers=1, days=2, skills=False, musts=3)
    plan = polish(problem, greedy_plan(problem))
    total = evaluate(problem, plan).total_cents
    full = [u for u in explain_unserved(problem, plan) if u.reason is UnservedReason.DAYS_ARE_FULL]
    assert full
    for unserved in full[:6]:
        k = problem.candidate_index[unserved.visit]
        costs: dict[str, int] = {}
        for cell, stops in plan.items():
            for removed in stops:
                other = problem.candidates[removed]
                if other.must:
                    continue
                remaining = tuple(c for c in stops if c != removed)
                for place in range(len(remaining) + 1):
                    tried = (*remaining[:place], k, *remaining[place:])
                    if may_be_driven(problem, *cell, tried):
                        cost = evaluate(problem, {**plan, cell: tried}).total_cents - total
                        costs[other.key] = min(costs.get(other.key, cost), cost)
        if unserved.displaces:
            assert unserved.extra_cents == min(costs.values()) == costs[unserved.displaces]
        else:
            assert costs == {}


BENCH = Place(50.0, 9.0)
AT_EIGHT_FOR_TWO_HOURS = (Shift(0, 8 * HOUR, 10 * HOUR),)


def beside_each_other(*candidates: Candidate, installers: tuple[str, ...]) -> RoundProblem:
    """Visits next door to homes, on one morning of two hours."""
    return RoundProblem.build(
        first_day=FIRST_DAY,
        days=1,
        installers=[Installer(key, BENCH, AT_EIGHT_FOR_TWO_HOURS, lunch=None) for key in installers],
        candidates=candidates,
        rates=Rates(),
        provider=GreatCircleTravel(),
    )


def visit(key: str, *, minutes: int, worth_cents: int = 0, **more: Any) -> Candidate:
    more.setdefault("windows", (Window(0, 8 * HOUR, 10 * HOUR),))
    return Candidate(
        key, BENCH, service_s=60 * minutes, cost_by_day_cents=(0,), cost_if_unserved_cents=worth_cents, **more
    )


@pytest.mark.parametrize("dear_is_first", [True, False])
def test_room_is_made_in_the_round_that_loses_least(dear_is_first: bool) -> None:
    worth = {"dear": 5_000, "cheap": 500}
    keys = ["dear", "cheap"] if dear_is_first else ["cheap", "dear"]
    optional = [visit(key, minutes=90, worth_cents=worth[key]) for key in keys]
    problem = beside_each_other(visit("urgent", minutes=60, urgent=True), *optional, installers=("Ada", "Ben"))
    plan = {(0, 0): (1,), (1, 0): (2,)}
    room = make_room(problem, plan, 0)
    assert room is not None
    insertion, given_up = room
    assert [keys[k - 1] for k in given_up] == ["cheap"]
    assert (insertion.installer, insertion.stops) == (keys.index("cheap"), (0,))
    # what was the cheap visit's is lost, and nothing is driven that was not before
    assert insertion.extra_cents == 500
    placed = place_the_musts(problem, plan)
    assert placed == {**plan, (insertion.installer, 0): (0,)}


@pytest.mark.parametrize("urgent_is_first", [True, False])
def test_what_is_confirmed_is_placed_before_what_is_urgent(urgent_is_first: bool) -> None:
    urgent = visit("urgent", minutes=90, urgent=True)
    confirmed = visit("confirmed", minutes=60, windows=(), appointment=Appointment(0, 8 * HOUR + 1_800, "Ada"))
    both = [urgent, confirmed] if urgent_is_first else [confirmed, urgent]
    problem = beside_each_other(*both, installers=("Ada",))
    placed = place_the_musts(problem, {})
    assert [problem.candidates[k].key for k in placed[0, 0]] == ["confirmed"]


def test_a_visit_that_fits_displaces_nobody() -> None:
    problem = beside_each_other(
        visit("urgent", minutes=60, urgent=True), visit("other", minutes=50, worth_cents=100), installers=("Ada",)
    )
    assert sorted(place_the_musts(problem, {(0, 0): (1,)})[0, 0]) == [0, 1]


def test_a_round_gives_up_what_is_worth_least_until_it_can_be_driven() -> None:
    visits = [visit(key, minutes=50, worth_cents=worth) for key, worth in (("a", 900), ("b", 300), ("c", 700))]
    problem = beside_each_other(*visits, installers=("Ada",))
    assert repair_round(problem, 0, 0, (0, 1, 2)) == (0, 2)
    one_round = beside_each_other(visits[0], replace(visits[1], urgent=True), visits[2], installers=("Ada",))
    assert repair_round(one_round, 0, 0, (0, 1, 2)) == (0, 1)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_round_without_room_for_a_visit_takes_it_in_nowhere(seed: int) -> None:
    problem = make_week(90, seed=seed)
    plan = greedy_plan(problem)
    rooms = Rooms(problem, plan)
    served = {c for stops in plan.values() for c in stops}
    without_room = 0
    for k in set(range(len(problem.candidates))) - served:
        roomy = rooms.that_may_hold(k)
        assert rooms.that_may_hold(k, roomy[:1]) == roomy[:1]
        for cell in set(rooms.cells) - set(roomy):
            without_room += 1
            stops = plan.get(cell, ())
            tried = [(*stops[:place], k, *stops[place:]) for place in range(len(stops) + 1)]
            assert not any(may_be_driven(problem, *cell, longer) for longer in tried)
    assert without_room
