"""The plan the search starts from, and the effort that is usual."""

import dataclasses

from scheduling.planning.rounds import evaluate, usual_iterations
from scheduling.planning.rounds.first import first_plan
from scheduling.planning.rounds.greedy import greedy_plan
from scheduling.planning.rounds.insertion import Rooms, place_the_musts
from scheduling.planning.rounds.naive import naive_plan
from scheduling.planning.rounds.schedule import left_of_day_s
from tests.scheduling.planning.rounds.instances import HOUR, make_week
from tests.scheduling.planning.rounds.test_evaluate import MINUTE, line_problem


def test_the_better_of_both_is_taken_and_either_may_be_it() -> None:
    taken = set()
    for seed in range(2):
        # few that must be served, then so many that they fill the days
        for problem in (make_week(30, seed=seed), make_week(60, seed=seed, installers=2, days=2, musts=30)):
            by_value, by_hand = greedy_plan(problem), place_the_musts(problem, naive_plan(problem))
            ranks = [evaluate(problem, plan).rank for plan in (by_value, by_hand)]
            first = first_plan(problem, naive_plan(problem))
            assert evaluate(problem, first).rank == min(ranks)
            taken.add(ranks.index(min(ranks)))
    assert taken == {0, 1}


def test_the_usual_effort_is_in_step_with_the_rounds() -> None:
    assert usual_iterations(line_problem([10])) == 3_000
    assert usual_iterations(make_week(30, seed=1, installers=60, days=5)) == 100 * 60 * 5


def test_rooms_that_heard_of_a_change_are_those_of_the_changed_plan() -> None:
    problem = make_week(60, seed=3)
    plan = greedy_plan(problem)
    told = Rooms(problem, plan)
    for cell in list(plan)[:3]:
        plan[cell] = plan[cell][1:]
        told.changed(cell, plan[cell])
    anew = Rooms(problem, plan)
    for k in range(len(problem.candidates)):
        assert told.that_may_hold(k) == anew.that_may_hold(k)


def test_lunch_takes_its_time_of_the_day_unless_they_are_home_for_it() -> None:
    problem = line_problem([10])
    shift, lunch, latest_home = problem.working_days[0, 0]
    assert lunch is not None
    whole = latest_home - shift.start_s
    before_lunch = lunch.latest_start_s - shift.start_s
    # A morning's work may fill all of the time until lunch at home must begin.
    assert left_of_day_s(problem, 0, 0, before_lunch - MINUTE) == max(
        MINUTE, whole - before_lunch + MINUTE - lunch.duration_s
    )
    assert left_of_day_s(problem, 0, 0, whole - lunch.duration_s - MINUTE) == MINUTE
    assert left_of_day_s(problem, 0, 0, whole - lunch.duration_s) == 0
    no_lunch = dataclasses.replace(
        problem, installers=tuple(dataclasses.replace(person, lunch=None) for person in problem.installers)
    )
    assert left_of_day_s(no_lunch, 0, 0, HOUR) == whole - HOUR
