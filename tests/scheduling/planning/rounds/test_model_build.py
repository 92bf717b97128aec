"""What the solver is told of a problem, worked out by hand: units of money, who is offered, whose round it is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pytest

from scheduling.planning.rounds.model import RoundModel
from scheduling.planning.rounds.model_build import _twin, build_model
from scheduling.planning.rounds.problem import Candidate, Installer, Lunch, Rates, RoundProblem, Shift, Window
from scheduling.planning.travel.trips import GreatCircleTravel, Place
from tests.scheduling.planning.rounds.instances import FIRST_DAY, HOUR

HOME = Place(50.0, 9.0)


def visit(key: str, **values: Any) -> Candidate:
    facts: dict[str, Any] = {
        "windows": (Window(0, 8 * HOUR, 17 * HOUR),), "service_s": HOUR, "cost_by_day_cents": (100,),
        "cost_if_unserved_cents": 10_000,
    }  # fmt: skip
    return Candidate(key, Place(50.0, 9.01), **{**facts, **values})


def model(
    *candidates: Candidate, installers: int = 1, rates: Rates | None = None, lunches: Sequence[Lunch | None] = (None,),
    **person: Any,
) -> RoundModel:  # fmt: skip
    people = [
        Installer(
            f"i{k}", HOME, **{"shifts": (Shift(0, 8 * HOUR, 17 * HOUR),), "lunch": lunches[k % len(lunches)], **person}
        )
        for k in range(installers)
    ]
    problem = RoundProblem.build(
        first_day=FIRST_DAY, days=1, installers=people, candidates=candidates or (visit("v"),), rates=rates or Rates(),
        provider=GreatCircleTravel(),
    )  # fmt: skip
    return build_model(
        problem, cells=[(k, 0) for k in range(installers)], candidates=list(range(len(problem.candidates)))
    )


@pytest.mark.parametrize(
    ("overtime_hour_cents", "units"),
    # cents a second: 1, 3/2, 2; 1/36 (1/35 is 2.9 % more, 1/34 too far), 1/35 (1/34 is 2.8 % more); 1/37, which the
    # most units there may be, 36, miss by 3.1 %
    [(3_600, 1), (5_400, 2), (7_200, 1), (100, 35), (103, 34), (97, 36), (50, 36), (0, 1)],
)
def test_a_second_of_overtime_is_a_whole_number_of_units(overtime_hour_cents: int, units: int) -> None:
    rates = Rates(overtime_hour_cents=overtime_hour_cents)
    assert model(rates=rates, max_overtime_s=HOUR).scale == units
    assert model(rates=rates).scale == 1


def test_what_is_worth_nothing_on_a_day_is_not_offered() -> None:
    told = model(
        visit("worthless", cost_if_unserved_cents=100), visit("a cent", cost_if_unserved_cents=101),
        visit("dearer than nothing", cost_if_unserved_cents=99),
    )  # fmt: skip
    assert {candidate for candidate, _, _ in told.plain} == {1}


def test_only_a_vehicle_whose_installer_eats_has_a_fixed_cost() -> None:
    for lunch, cents in ((None, 0), (Lunch(), 10_000)):
        told = model(visit("v"), lunches=[lunch])
        solution, dropped = told.encode({(0, 0): (0,)})
        assert dropped == ()
        assert solution.fixed_vehicle_cost() == cents


def test_of_installers_who_are_alike_each_keeps_the_round_that_is_most_like_theirs() -> None:
    told = model(*(visit(f"v{k}") for k in range(5)), installers=2)
    solution, _ = told.encode({(0, 0): (0, 1, 2), (1, 0): (3, 4)})
    for mine, other in (((0, 1, 2), (3, 4)), ((3, 4), (0, 1, 2))):
        assert told.decode(solution, near={(0, 0): mine, (1, 0): other}) == {(0, 0): mine, (1, 0): other}
    # one visit in common is less than two
    decoded = told.decode(solution, near={(0, 0): (0, 3, 4), (1, 0): (1, 2)})
    assert decoded == {(0, 0): (3, 4), (1, 0): (0, 1, 2)}


@pytest.mark.parametrize(("first_day_cents", "days_offered"), [(9_999, {0, 1}), (10_000, {1}), (10_001, {1})])
def test_a_day_on_which_a_visit_is_worth_nothing_does_not_hide_the_next(
    first_day_cents: int, days_offered: set[int]
) -> None:
    windows = tuple(Window(day, 8 * HOUR, 17 * HOUR) for day in range(2))
    problem = RoundProblem.build(
        first_day=FIRST_DAY, days=2, rates=Rates(), provider=GreatCircleTravel(),
        installers=[Installer("i", HOME, tuple(Shift(day, 8 * HOUR, 17 * HOUR) for day in range(2)), lunch=None)],
        candidates=[visit("v", windows=windows, cost_by_day_cents=(first_day_cents, 100))],
    )  # fmt: skip
    told = build_model(problem, cells=[(0, 0), (0, 1)], candidates=[0])
    assert {day for _, day, _ in told.plain} == days_offered


@pytest.mark.parametrize("overtime_hour_cents", [0, 100, 5_400])
def test_lunch_at_home_gives_back_what_a_round_with_lunch_costs_whatever_the_unit_of_money(
    overtime_hour_cents: int,
) -> None:
    told = model(
        rates=Rates(overtime_hour_cents=overtime_hour_cents), lunches=[Lunch()], max_overtime_s=HOUR,
    )  # fmt: skip
    (vehicle,) = told.data.vehicle_types()
    prizes = [told.data.clients()[client].prize for client in told.home_lunch.values()]
    assert prizes == [vehicle.fixed_cost] == [10_000 * told.scale]


LUNCH = Lunch(1_800, 12 * HOUR, 13 * HOUR)


@pytest.mark.parametrize(
    ("early", "late", "service", "told"),
    [
        # the work of an hour ends between 12 and 13 o'clock, and lunch follows at once
        (8 * HOUR, 17 * HOUR, HOUR, (11 * HOUR, 12 * HOUR, HOUR + 1_800)),
        (11 * HOUR + 600, 11 * HOUR + 900, HOUR, (11 * HOUR + 600, 11 * HOUR + 900, HOUR + 1_800)),
        # to the second at either end
        (8 * HOUR, 11 * HOUR, HOUR, (11 * HOUR, 11 * HOUR, HOUR + 1_800)),
        (12 * HOUR, 17 * HOUR, HOUR, (12 * HOUR, 12 * HOUR, HOUR + 1_800)),
        # over before noon: drawn out until lunch has been had at half past
        (8 * HOUR, 10 * HOUR, HOUR, (10 * HOUR, 10 * HOUR, 2 * HOUR + 1_800)),
        (8 * HOUR, 11 * HOUR - 1, HOUR, (11 * HOUR - 1, 11 * HOUR - 1, HOUR + 1_801)),
        # too late for it
        (12 * HOUR + 1, 17 * HOUR, HOUR, None),
    ],
)
def test_a_visit_with_lunch_behind_it_ends_when_lunch_may_begin(
    early: int, late: int, service: int, told: tuple[int, int, int] | None
) -> None:
    assert _twin(early, late, service, LUNCH) == told
