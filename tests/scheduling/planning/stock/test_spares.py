"""Spares worth carrying, against trying out every number of them."""

from itertools import product
from math import prod

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.stock.spares import spares_worth_carrying


def expected_cost(chances: list[float], spares: int, trip: float, carrying: float) -> float:
    """Over every way the cartridges can turn out: what is carried, and a second trip for each piece that lacks."""
    cost = spares * carrying
    for exhausted in product([True, False], repeat=len(chances)):
        probability = prod(p if gone else 1 - p for p, gone in zip(chances, exhausted, strict=True))
        cost += probability * trip * max(sum(exhausted) - spares, 0)
    return cost


@given(st.lists(st.floats(0.0, 1.0), max_size=5), st.floats(0.5, 60.0), st.floats(0.1, 10.0))
def test_no_other_number_of_spares_costs_less(chances: list[float], trip: float, carrying: float) -> None:
    found = spares_worth_carrying(chances, second_trip_costs=[trip] * len(chances), carrying_cost=carrying)
    costs = [expected_cost(chances, spares, trip, carrying) for spares in range(len(chances) + 1)]
    assert costs[found] == pytest.approx(min(costs), abs=1e-6)


def test_a_dearer_trip_carries_what_a_cheaper_one_does_not() -> None:
    assert spares_worth_carrying([0.06], second_trip_costs=[15.0], carrying_cost=1.2) == 0
    assert spares_worth_carrying([0.06], second_trip_costs=[30.0], carrying_cost=1.2) == 1
    # a far site that hardly needs one does not make the near one's spare worth it
    assert spares_worth_carrying([0.3, 0.001], second_trip_costs=[3.0, 300.0], carrying_cost=1.2) == 0
    assert spares_worth_carrying([], second_trip_costs=[], carrying_cost=1.2) == 0


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"carrying_cost": 0.0}, "carrying_cost"),
        ({"second_trip_costs": [-1.0]}, "second_trip_costs"),
        ({"second_trip_costs": []}, "second_trip_costs"),
        ({"probabilities": [1.1]}, "probabilities"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, object], field: str) -> None:
    sent = {"probabilities": [0.5], "second_trip_costs": [30.0], "carrying_cost": 1.2, **change}
    with pytest.raises(PlanningError, match=field):
        spares_worth_carrying(sent.pop("probabilities"), **sent)  # type: ignore[arg-type]
