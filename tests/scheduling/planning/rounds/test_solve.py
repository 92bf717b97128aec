from __future__ import annotations

import dataclasses
import datetime
import warnings

import numpy as np
import pytest
from pyvrp.exceptions import PenaltyBoundWarning

from scheduling.planning.errors import PlanningError
from scheduling.planning.rounds import (
    Appointment,
    Lunch,
    Progress,
    RoundProblem,
    UnservedReason,
    Window,
    evaluate,
    plan_rounds,
)
from scheduling.planning.rounds.insertion import (
    cheapest_insertion,
    make_room,
    place_the_musts,
    repair_round,
    working_cells,
)
from scheduling.planning.rounds.model import WarmStartError
from scheduling.planning.rounds.model_build import build_model
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.solve import BLOCK_CELLS, _Effort, _Search
from scheduling.planning.travel.trips import Travel
from tests.scheduling.planning.rounds.instances import HOUR, make_week
from tests.scheduling.planning.rounds.test_evaluate import MINUTE, line_problem


def change(problem: RoundProblem, **changes) -> RoundProblem:
    return dataclasses.replace(problem, **changes)


@pytest.mark.parametrize(("size", "seed"), [(90, 1), (120, 2)])
def test_it_beats_the_plan_made_by_hand_and_misses_nothing(size: int, seed: int) -> None:
    problem = make_week(size, seed=seed)
    with warnings.catch_warnings():
        warnings.simplefilter("error", PenaltyBoundWarning)
        plan = plan_rounds(problem, iterations=4_000, seed=seed)
    judged = plan.evaluation
    assert judged.faults == ()
    assert (judged.missed_urgent, judged.missed_appointments) == ((), ())
    assert judged.total_cents < 0.95 * plan.naive_total_cents
    assert plan.naive_total_cents == evaluate(problem, naive_plan(problem)).total_cents
    assert {s.visit for route in plan.routes for s in route.stops} == set(judged.served)
    assert [u.visit for u in plan.unserved] == list(judged.unserved)


def test_confirmed_appointments_are_kept_to_the_second() -> None:
    problem = make_week(60, seed=4, musts=12)
    plan = plan_rounds(problem, iterations=1_500, seed=1)
    starts = {(s.visit, route.installer, route.day, s.start_s) for route in plan.routes for s in route.stops}
    promised = [c for c in problem.candidates if c.appointment is not None]
    assert len(promised) == 4
    for c in promised:
        assert (c.key, c.appointment.installer, c.appointment.day, c.appointment.start_s) in starts


def test_the_same_seed_and_iterations_give_the_same_plan() -> None:
    problem = make_week(80, seed=5)
    one, two = (plan_rounds(problem, iterations=2_500, seed=9) for _ in range(2))
    assert one.plan == two.plan
    assert one.routes == two.routes
    assert one.unserved == two.unserved


def test_progress_rises_and_the_best_only_gets_better() -> None:
    reports: list[Progress] = []
    problem = make_week(70, seed=6, musts=0)
    plan = plan_rounds(problem, iterations=3_000, seed=1, on_progress=reports.append)
    shares = [p.share for p in reports]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert shares[-1] == 1.0
    assert len(reports) >= 5
    best = [p.best_cents for p in reports]
    assert best == sorted(best, reverse=True)
    assert best[-1] == plan.evaluation.total_cents


def test_stopping_keeps_the_best_so_far() -> None:
    problem = make_week(70, seed=6)
    stop_answers = iter([False] * 300 + [True] * 10_000_000)
    plan = plan_rounds(problem, seconds=3_600.0, seed=1, should_stop=lambda: next(stop_answers))
    assert plan.stopped
    assert plan.evaluation.faults == ()
    assert plan.evaluation.total_cents <= plan.naive_total_cents
    at_once = plan_rounds(problem, seconds=3_600.0, seed=1, should_stop=lambda: True)
    assert at_once.stopped
    assert at_once.evaluation.faults == ()


def test_seconds_end_by_themselves() -> None:
    plan = plan_rounds(make_week(30, seed=2), seconds=0.2)
    assert not plan.stopped
    assert plan.evaluation.faults == ()


@pytest.mark.parametrize("effort", [{}, {"seconds": 1.0, "iterations": 1}, {"seconds": 0.0}, {"iterations": 0}])
def test_effort_must_be_told_once(effort: dict) -> None:
    with pytest.raises(PlanningError):
        plan_rounds(make_week(3, seed=1), **effort)


def test_nobody_and_nothing() -> None:
    empty = make_week(5, seed=1, musts=0)
    nobody = change(
        empty,
        installers=(),
        travel=Travel(empty.travel.metres[4:, 4:], empty.travel.seconds[4:, 4:], "none"),
    )
    plan = plan_rounds(nobody, iterations=10)
    assert plan.routes == ()
    assert {u.reason for u in plan.unserved} == {UnservedReason.NO_SKILLED_INSTALLER}
    nothing = change(
        empty, candidates=(), travel=Travel(empty.travel.metres[:4, :4], empty.travel.seconds[:4, :4], "none")
    )
    assert plan_rounds(nothing, iterations=10).evaluation.total_cents == 0


def test_the_model_prices_a_plan_as_the_judge_does() -> None:
    """Cost of the model plus what it cannot know (every visit left out) is the judge's total, to the cent."""
    for seed in range(6):
        problem = make_week(50, seed=seed, musts=6)
        plan = place_the_musts(problem, naive_plan(problem))
        cells = [(k, day) for day in range(5) for k in range(4)]
        model = build_model(problem, cells=cells, candidates=list(range(50)))
        solution, dropped = model.encode(plan)
        served_plan = {cell: tuple(c for c in stops if c not in dropped) for cell, stops in plan.items()}
        judged = evaluate(problem, served_plan)
        bonus = {c.key: 300_000 if c.appointment else 100_000 * c.urgent for c in problem.candidates}
        lunches = sum(route.lunch_start_s is not None for route in judged.routes)
        collected = sum(bonus[key] for key in judged.served) + 10_000 * lunches
        assert solution.fixed_vehicle_cost() == 10_000 * lunches
        gained = sum(c.cost_if_unserved_cents for c in problem.candidates if c.key in judged.served)
        assert solution.distance_cost() == judged.driving_cents
        assert solution.prizes() - collected == gained - judged.visits_cents
        assert model.decode(solution, plan) == {cell: stops for cell, stops in served_plan.items() if stops}


def test_a_plan_that_cannot_be_driven_is_not_passed_over() -> None:
    problem = line_problem([10, 20], candidates=[{"appointment": Appointment(0, 9 * HOUR)}] * 2)
    model = build_model(problem, cells=[(0, 0)], candidates=[0, 1])
    with pytest.raises(WarmStartError, match="cannot be driven"):  # both are confirmed for nine o'clock
        model.encode({(0, 0): (0, 1)})


def test_skills_and_promises_are_kept() -> None:
    problem = make_week(60, seed=8, musts=0)
    skilled = tuple(
        dataclasses.replace(
            c,
            skills=frozenset({"pump"}) if k % 2 else frozenset(),
            installers=frozenset({"installer 2"}) if k % 6 == 0 else None,
        )
        for k, c in enumerate(problem.candidates)
    )
    plan = plan_rounds(change(problem, candidates=skilled), iterations=1_500, seed=1)
    by = {s.visit: route.installer for route in plan.routes for s in route.stops}
    for c in skilled:
        if c.key in by and c.skills:
            assert by[c.key] in ("installer 1", "installer 3")
        if c.key in by and c.installers:
            assert by[c.key] == "installer 2"
    assert len(by) > 30


def test_van_stock_limits_a_round() -> None:
    problem = make_week(40, seed=9, musts=0, skills=False)
    stocked = change(
        problem,
        installers=tuple(dataclasses.replace(p, van_stock={"resin": 2}) for p in problem.installers),
        candidates=tuple(dataclasses.replace(c, parts={"resin": 1}) for c in problem.candidates),
    )
    plan = plan_rounds(stocked, iterations=1_500, seed=1)
    assert plan.evaluation.faults == ()
    assert max(len(route.stops) for route in plan.routes) == 2


def test_overtime_is_used_when_it_pays() -> None:
    ends = [{"appointment": Appointment(0, 16 * HOUR + 30 * MINUTE), "cost_if_unserved_cents": 50_000}]
    with_it = line_problem([40], candidates=ends, installer={"max_overtime_s": HOUR})
    plan = plan_rounds(with_it, iterations=200)
    assert plan.evaluation.served == ("v0",)
    assert plan.evaluation.overtime_cents == 5_400 * 40 // 60
    too_dear = [{"windows": (Window(0, 16 * HOUR + 30 * MINUTE, 18 * HOUR),), "cost_if_unserved_cents": 3_000}]
    problem = line_problem([40], candidates=too_dear, installer={"max_overtime_s": HOUR})
    assert plan_rounds(problem, iterations=200).evaluation.served == ()


def test_a_start_plan_from_elsewhere_is_repaired_first() -> None:
    problem = make_week(50, seed=10, musts=6)

    def careless(_: RoundProblem) -> dict[tuple[int, int], tuple[int, ...]]:
        return {(0, 0): tuple(range(50)), (1, 2): tuple(range(30)), (2, 4): (1, 1, 2)}

    plan = plan_rounds(problem, iterations=1_000, seed=1, start=careless)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.missed_appointments == ()


def test_room_is_made_for_what_must_be_served() -> None:
    full = [{"service_s": 85 * MINUTE, "cost_if_unserved_cents": 1_000 + 100 * k} for k in range(5)]
    problem = line_problem([10, 12, 14, 16, 18, 20], candidates=[*full, {"urgent": True, "service_s": 85 * MINUTE}])
    plan = {(0, 0): (0, 1, 2, 3, 4)}
    assert evaluate(problem, plan).faults == ()
    assert cheapest_insertion(problem, plan, 5) is None
    insertion, displaced = make_room(problem, plan, 5)
    assert displaced == (0,)  # the least valuable
    assert 5 in insertion.stops
    assert evaluate(problem, place_the_musts(problem, plan)).missed_urgent == ()


def test_a_round_too_long_gives_up_as_little_as_it_can() -> None:
    problem = line_problem([10] * 8, candidates=[{"service_s": 80 * MINUTE, "urgent": k == 7} for k in range(8)])
    drivable_stops = repair_round(problem, 0, 0, tuple(range(8)))
    assert 7 in drivable_stops
    assert evaluate(problem, {(0, 0): drivable_stops}).faults == ()
    assert (
        len(drivable_stops) == 6
    )  # six times 80 minutes, lunch and the drive fit between eight and five, seven do not


@pytest.mark.parametrize(
    ("candidate", "installer", "reason"),
    [
        ({"skills": frozenset({"pump"})}, {}, UnservedReason.NO_SKILLED_INSTALLER),
        ({"windows": ()}, {}, UnservedReason.NO_OPEN_DAY),
        ({}, {"shifts": ()}, UnservedReason.NO_OPEN_DAY),
        ({"service_s": 9 * HOUR}, {}, UnservedReason.CANNOT_BE_REACHED),
        ({"parts": {"resin": 3}}, {"van_stock": {"resin": 2}}, UnservedReason.VAN_STOCK),
        ({"cost_by_day_cents": (2_000,)}, {}, UnservedReason.NOT_WORTH_IT),
        ({"cost_by_day_cents": (990,)}, {}, UnservedReason.DEARER_THAN_WAITING),
    ],
)
def test_every_reason_is_told(candidate: dict, installer: dict, reason: UnservedReason) -> None:
    plan = plan_rounds(line_problem([10], candidates=[candidate], installer=installer), iterations=50)
    (unserved,) = plan.unserved
    assert unserved.reason == reason
    assert unserved.sentence.startswith("v0: ")
    assert unserved.sentence.endswith(".")


def test_on_full_days_it_names_what_would_have_to_give_way_and_the_money() -> None:
    values = [{"service_s": 80 * MINUTE, "cost_if_unserved_cents": 2_000 + 100 * k} for k in range(8)]
    problem = line_problem([10] * 8, candidates=values)
    plan = plan_rounds(problem, iterations=500)
    assert sorted(plan.evaluation.unserved) == ["v0", "v1"]
    unserved_by_visit = {u.visit: u for u in plan.unserved}
    assert unserved_by_visit["v1"].reason is UnservedReason.DAYS_ARE_FULL
    assert unserved_by_visit["v1"].displaces == "v2"
    assert unserved_by_visit["v1"].extra_cents == 100
    assert "v2" in unserved_by_visit["v1"].sentence
    assert "1.00 EUR" in unserved_by_visit["v1"].sentence


def test_many_installers_are_taken_in_parts() -> None:
    problem = make_week(140, seed=12, installers=13, musts=6)
    plan = plan_rounds(problem, iterations=4_000, seed=1)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.missed_appointments == ()
    assert plan.evaluation.total_cents < plan.naive_total_cents


def test_a_road_net_that_is_shorter_round_the_corner() -> None:
    """Tables from a service need not keep the triangle inequality, nor be the same in both directions."""
    problem = make_week(40, seed=13, musts=6)
    rng = np.random.default_rng(1)
    factor = rng.uniform(0.6, 1.6, problem.travel.seconds.shape)
    seconds = np.rint(problem.travel.seconds * factor).astype(np.int64)
    rough = change(problem, travel=Travel(problem.travel.metres, seconds, "rough"))
    plan = plan_rounds(rough, iterations=2_000, seed=1)
    assert plan.evaluation.faults == ()
    assert plan.evaluation.rank <= evaluate(rough, place_the_musts(rough, naive_plan(rough))).rank


def test_days_off_are_not_worked() -> None:
    problem = make_week(60, seed=14, musts=0)
    ill = tuple(
        dataclasses.replace(p, shifts=tuple(s for s in p.shifts if s.day != 2) if p.key == "installer 1" else p.shifts)
        for p in problem.installers
    )
    plan = plan_rounds(change(problem, installers=ill), iterations=1_000)
    assert ("installer 1", 2) not in {(route.installer, route.day) for route in plan.routes}
    assert ("installer 2", 2) in {(route.installer, route.day) for route in plan.routes}


def test_each_installer_eats_when_they_are_used_to() -> None:
    problem = make_week(60, seed=15, musts=0)
    people = tuple(
        dataclasses.replace(p, lunch=Lunch(45 * MINUTE, 12 * HOUR, 12 * HOUR + 30 * MINUTE) if k else None)
        for k, p in enumerate(problem.installers)
    )
    plan = plan_rounds(change(problem, installers=people), iterations=1_500)
    assert plan.evaluation.faults == ()
    for route in plan.routes:
        if route.installer == "installer 1":
            assert route.lunch_start_s is None
        else:
            assert 12 * HOUR <= route.lunch_start_s <= 12 * HOUR + 30 * MINUTE


def test_dates_of_the_rounds() -> None:
    problem = make_week(30, seed=16)
    for route in plan_rounds(problem, iterations=300).routes:
        assert route.date == datetime.date(2026, 11, 30) + datetime.timedelta(days=route.day)


@pytest.mark.parametrize(("days", "sizes"), [(1, [1]), (2, [2]), (3, [2, 2]), (4, [2, 2]), (5, [2, 2, 2])])
def test_a_pass_takes_every_day_once_in_pairs_and_an_odd_one_with_another(days: int, sizes: list[int]) -> None:
    problem = make_week(6, seed=3, installers=2, days=days)
    cells = working_cells(problem)
    for seed in range(4):
        blocks = _Search(problem, {}, _Effort(None, 10, None), seed, None)._blocks(cells)
        assert [len({day for _, day in block}) for block in blocks] == sizes
        taken = [cell for block in blocks for cell in block]
        assert set(taken) == set(cells)
        assert len(taken) == len(cells) + (2 if days % 2 and days > 1 else 0)


def test_many_rounds_of_a_block_are_split_and_none_is_lost() -> None:
    problem = make_week(6, seed=3, installers=2 * BLOCK_CELLS - 3, days=2)
    cells = working_cells(problem)
    blocks = _Search(problem, {}, _Effort(None, 10, None), 1, None)._blocks(cells)
    assert sorted(cell for block in blocks for cell in block) == sorted(cells)
    assert max(len(block) for block in blocks) == BLOCK_CELLS


def test_effort_is_spent_to_the_last_iteration_and_told_as_a_share() -> None:
    effort = _Effort(None, 1_000, None)
    assert effort.next_step(share=0.25) == (250, None)
    assert effort.share_with(100) == 0.1
    effort.spend(250)
    assert effort.share_with(250) == 0.5
    effort.spend(600)
    assert effort.next_step(share=0.25) == (150, None)
    effort.spend(150)
    assert effort.share_with(0) == 1.0
    assert effort.next_step(share=0.25) is None
    assert _Effort(None, 1, None).next_step(share=0.15) == (1, None)
    stopped = _Effort(None, 1_000, lambda: True)
    assert stopped.next_step(share=0.25) is None
    assert stopped.stopped


def test_rounds_are_worked_on_day_by_day() -> None:
    assert working_cells(make_week(2, seed=3, installers=3, days=2)) == [(k, day) for day in (0, 1) for k in range(3)]
