"""What keeping to a told time is worth, worked out by hand on a road of a cent a minute."""

from __future__ import annotations

import dataclasses
import itertools

import pytest

from scheduling.planning.rounds import Appointment, RoundProblem, Window
from scheduling.planning.rounds.insertion import round_total_cents
from scheduling.planning.rounds.stability import Stability
from tests.scheduling.planning.rounds.instances import HOUR
from tests.scheduling.planning.rounds.test_evaluate import MINUTE, line_problem

ADA = (0, 0)


def stability(problem: RoundProblem, told: dict[int, int], *, cents: int = 1_000, tolerance_s: int = 900) -> Stability:
    """Every visit was told to Ada's clients, to start at a second of the day."""
    published = {visit: (ADA, start) for visit, start in told.items()}
    return Stability(problem, published, retimed_cents=cents, tolerance_s=tolerance_s)


def test_a_round_has_a_price_only_where_a_pair_stands_side_by_side() -> None:
    problem = dataclasses.replace(line_problem([10, 20, 30, 40]), together=(("v0", "v1"),))
    judge = stability(problem, {})
    for size in (1, 2, 3, 4):
        for stops in itertools.permutations(range(4), size):
            here = {0, 1} & set(stops)
            side_by_side = len(here) == 2 and abs(stops.index(0) - stops.index(1)) == 1
            assert (judge.cents(ADA, stops) is not None) == (not here or side_by_side), stops


# the first stop is reached at 8:10, ten minutes from home
@pytest.mark.parametrize(("told_before_s", "is_charged"), [(899, False), (900, False), (901, True), (-3_600, False)])
def test_a_later_start_is_charged_beyond_the_tolerance_and_an_earlier_one_is_not(
    told_before_s: int, is_charged: bool
) -> None:
    problem = line_problem([10, 30])
    start = 8 * HOUR + 10 * MINUTE
    price = stability(problem, {0: start - told_before_s}).cents(ADA, (0, 1))
    assert price == round_total_cents(problem, *ADA, (0, 1)) + 1_000 * is_charged


def test_each_client_who_must_be_called_is_charged_and_one_of_another_day_is_not() -> None:
    problem = line_problem([10, 30], days=2)
    plain = round_total_cents(problem, *ADA, (0, 1))
    assert stability(problem, {0: 0, 1: 0}).cents(ADA, (0, 1)) == plain + 2_000
    other_day = Stability(problem, {0: ((0, 1), 0)}, retimed_cents=1_000, tolerance_s=900)
    assert other_day.cents(ADA, (0, 1)) == plain


@pytest.mark.parametrize(("tolerance_s", "starts_s"), [(0, 10 * HOUR), (900, 9 * HOUR + 45 * MINUTE)])
def test_who_was_told_a_later_time_is_not_visited_before_it(tolerance_s: int, starts_s: int) -> None:
    held = stability(line_problem([10]), {0: 10 * HOUR}, tolerance_s=tolerance_s).held({ADA: (0,)})
    assert held.candidates[0].windows == (Window(0, starts_s, 18 * HOUR),)


def test_waiting_for_one_client_must_not_make_the_next_later_than_told() -> None:
    # v0 from 8:10 to 8:40, v1 from 8:50: a wait until 9:00 moves v1 to 9:40
    problem = line_problem([10, 20])
    free, late = {0: 9 * HOUR, 1: 9 * HOUR + 40 * MINUTE}, {0: 9 * HOUR, 1: 9 * HOUR + 39 * MINUTE}
    assert stability(problem, free, tolerance_s=0).held({ADA: (0, 1)}).candidates[0].windows[0].opens_s == 9 * HOUR
    assert stability(problem, late, tolerance_s=0).held({ADA: (0, 1)}).candidates == problem.candidates


@pytest.mark.parametrize(("shift_end_s", "waits"), [(9 * HOUR + 39 * MINUTE, False), (9 * HOUR + 40 * MINUTE, True)])
def test_nobody_waits_into_overtime(shift_end_s: int, waits: bool) -> None:
    """Told 9:00 and half an hour of work ten minutes from home: home at 9:40 with the wait, at 8:50 without it."""
    shift = line_problem([10]).installers[0].shift_on(0)
    assert shift is not None
    person = {"shifts": (dataclasses.replace(shift, end_s=shift_end_s),), "max_overtime_s": HOUR}
    problem = line_problem([10], installer=person)
    held = stability(problem, {0: 9 * HOUR}, tolerance_s=0).held({ADA: (0,)})
    assert held.candidates[0].windows[0].opens_s == (9 if waits else 8) * HOUR


def test_an_appointment_keeps_its_time_and_a_window_stays_long_enough_for_the_work() -> None:
    fixed = {"appointment": Appointment(0, 9 * HOUR)}
    problem = line_problem([10], candidates=[fixed])
    assert stability(problem, {0: 10 * HOUR}).held({ADA: (0,)}).candidates == problem.candidates
    # told for the last minute of a window: cut to where half an hour of work still ends in it
    short = line_problem([10], candidates=[{"windows": (Window(0, 8 * HOUR, 10 * HOUR),)}])
    held = stability(short, {0: 10 * HOUR - MINUTE}, tolerance_s=0).held({ADA: (0,)})
    assert held.candidates[0].windows == (Window(0, 9 * HOUR + 30 * MINUTE, 10 * HOUR),)


# a visit at the door costs 100 and no drive; leaving it costs as told
@pytest.mark.parametrize(("left_cents", "plan"), [(99, {}), (100, {}), (101, {ADA: (0,)})])
def test_a_visit_is_taken_in_for_a_single_cent(left_cents: int, plan: dict) -> None:
    problem = line_problem([0], candidates=[{"cost_if_unserved_cents": left_cents}])
    assert stability(problem, {}).descend({}) == plan


@pytest.mark.parametrize(("left_cents", "plan"), [(99, {}), (100, {ADA: (0,)}), (101, {ADA: (0,)})])
def test_a_visit_is_left_out_for_a_single_cent_unless_it_must_be_made(left_cents: int, plan: dict) -> None:
    problem = line_problem([0], candidates=[{"cost_if_unserved_cents": left_cents}])
    assert stability(problem, {}).descend({ADA: (0,)}) == plan
    must = line_problem([0], candidates=[{"cost_if_unserved_cents": left_cents, "urgent": True}])
    assert stability(must, {}).descend({ADA: (0,)}) == {ADA: (0,)}


def test_a_visit_goes_to_the_place_in_the_round_that_is_cheapest() -> None:
    # 10, 30, 20 minutes along the road: 60 there and back in order, 80 to and fro; nobody was told a time
    problem = line_problem([10, 30, 20])
    assert stability(problem, {}).descend({ADA: (0, 1, 2)}) == {ADA: (0, 1, 2)}
    (stops,) = stability(problem, {}).descend({ADA: (1, 0, 2)}).values()
    assert round_total_cents(problem, *ADA, stops) == min(
        round_total_cents(problem, *ADA, order) for order in itertools.permutations(range(3))
    )
