"""Who gets which piece, against trying out every way of giving the pieces out."""

from collections import Counter
from datetime import date, timedelta
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.stock.supply import Demand, Share, Supply, allocate

MONDAY = date(2026, 3, 2)


def day(number: int) -> date:
    return MONDAY + timedelta(days=number)


ONE_PIECE_DEMANDS = st.lists(st.tuples(st.integers(0, 4), st.integers(0, 2)), max_size=5).map(
    lambda rows: [Demand(f"d{k}", 1, day(on), rank) for k, (on, rank) in enumerate(rows)]
)
ONE_PIECE_SUPPLIES = st.lists(st.tuples(st.none() | st.integers(0, 5), st.none() | st.integers(0, 5)), max_size=4).map(
    lambda rows: [
        Supply(f"s{k}", 1, None if on is None else day(on), usable_until=None if until is None else day(until))
        for k, (on, until) in enumerate(rows)
    ]
)


def best_by_trying(demands: list[Demand], supplies: list[Supply]) -> tuple[int, ...]:
    """Most demands met in time, of rank 0, then of rank 1, then of rank 2, over every assignment there is."""
    best: tuple[int, ...] = (0, 0, 0)
    for choice in product([None, *range(len(supplies))], repeat=len(demands)):
        used = [k for k in choice if k is not None]
        if len(used) != len(set(used)):
            continue
        met = [
            demand
            for demand, k in zip(demands, choice, strict=True)
            if k is not None
            and (supplies[k].usable_from is None or supplies[k].usable_from <= demand.day)
            and (supplies[k].usable_until is None or demand.day <= supplies[k].usable_until)
        ]
        if len(met) == len(used):
            best = max(best, tuple(sum(d.rank == rank for d in met) for rank in range(3)))
    return best


@settings(max_examples=200)
@given(ONE_PIECE_DEMANDS, ONE_PIECE_SUPPLIES)
def test_as_many_are_met_as_trying_everything_finds_the_lower_ranks_first(
    demands: list[Demand], supplies: list[Supply]
) -> None:
    in_time = {share.demand for share in allocate(demands, supplies) if not share.is_late}
    met = tuple(sum(d.rank == rank for d in demands if d.key in in_time) for rank in range(3))
    assert met == best_by_trying(demands, supplies)


DEMANDS = st.lists(
    st.tuples(st.integers(0, 5), st.integers(0, 9), st.integers(0, 2), st.sampled_from(["", "ada", "ben"])), max_size=6
).map(lambda rows: [Demand(f"d{k}", q, day(on), rank, van) for k, (q, on, rank, van) in enumerate(rows)])
SUPPLIES = st.lists(
    st.tuples(st.integers(0, 5), st.none() | st.integers(0, 9))
    | st.tuples(st.integers(0, 5), st.sampled_from(["ada"])),
    max_size=5,
).map(
    lambda rows: [
        Supply(f"s{k}", q, van=at) if isinstance(at, str) else Supply(f"s{k}", q, None if at is None else day(at))
        for k, (q, at) in enumerate(rows)
    ]
)


@given(DEMANDS, SUPPLIES)
def test_no_piece_is_given_twice_and_none_is_left_while_somebody_wants_it(
    demands: list[Demand], supplies: list[Supply]
) -> None:
    shares = allocate(demands, supplies)
    given_out: Counter[str] = Counter()
    allocated: Counter[str] = Counter()
    for share in shares:
        assert share.quantity > 0
        given_out[share.supply] += share.quantity
        allocated[share.demand] += share.quantity
    assert all(given_out[s.key] <= s.quantity for s in supplies)
    assert all(allocated[d.key] <= d.quantity for d in demands)
    total = min(sum(s.quantity for s in supplies), sum(d.quantity for d in demands))
    assert sum(given_out.values()) == total
    when = {s.key: s.usable_from or date.min for s in supplies}
    on = {d.key: d.day for d in demands}
    assert all(share.is_late == (when[share.supply] > on[share.demand]) for share in shares)


def test_what_expires_first_is_used_first_and_not_past_its_last_day() -> None:
    supplies = [Supply("keeps", 1), Supply("later", 1, usable_until=day(9)), Supply("soon", 1, usable_until=day(3))]
    given_out = allocate([Demand("d", 1, day(3)), Demand("e", 1, day(4)), Demand("f", 1, day(10))], supplies)
    assert given_out == [Share("d", "soon", 1), Share("e", "later", 1), Share("f", "keeps", 1)]
    assert allocate([Demand("d", 2, day(4))], supplies[2:]) == []
    # nor are they given out as late, or out of a van
    assert allocate([Demand("d", 1, day(4), van="ada")], [Supply("van", 1, None, "ada", day(3))]) == []
    assert allocate([Demand("d", 1, day(4))], [Supply("van", 1, None, "ada", day(3))]) == []


def test_two_rounds_on_successive_days_cannot_both_use_the_one_piece_in_store() -> None:
    demands = [Demand("Tuesday", 1, day(1), van="ben"), Demand("Monday", 1, day(0), van="ada")]
    assert allocate(demands, [Supply("store", 1)]) == [Share("Monday", "store", 1)]


def test_what_is_confirmed_with_a_client_keeps_its_piece() -> None:
    demands = [Demand("proposed", 1, day(0), rank=2), Demand("confirmed", 1, day(8), rank=0)]
    assert allocate(demands, [Supply("store", 1)]) == [Share("confirmed", "store", 1)]
    # unless a delivery comes in time for the confirmed one: then both are met
    both = allocate(demands, [Supply("store", 1), Supply("order", 1, day(5))])
    assert both == [Share("proposed", "store", 1), Share("confirmed", "order", 1)]


def test_a_round_takes_from_its_own_van_first_and_from_another_last() -> None:
    supplies = [Supply("van", 2, van="ada"), Supply("store", 1)]
    shares = allocate([Demand("ben's", 2, day(0), van="ben"), Demand("ada's", 1, day(3), van="ada")], supplies)
    assert shares == [Share("ada's", "van", 1), Share("ben's", "store", 1), Share("ben's", "van", 1)]


def test_a_round_leaves_a_piece_in_its_van_to_one_that_nothing_else_can_serve_in_time() -> None:
    demands = [Demand("ada's", 1, day(7), van="ada"), Demand("ben's", 1, day(1), van="ben")]
    supplies = [Supply("van", 1, van="ada"), Supply("order", 1, day(5))]
    assert allocate(demands, supplies) == [Share("ada's", "order", 1), Share("ben's", "van", 1)]
    # where both would be served from the one van, its own round has it
    assert allocate(demands, supplies[:1]) == [Share("ada's", "van", 1)]


def test_a_delivery_that_comes_too_late_stands_for_the_visit_that_lacks_it() -> None:
    shares = allocate([Demand("visit", 2, day(1))], [Supply("order", 5, day(4))])
    assert shares == [Share("visit", "order", 2, is_late=True)]


def test_negative_pieces_are_refused() -> None:
    with pytest.raises(PlanningError, match=r"supply store\.quantity"):
        Supply("store", -1)
    with pytest.raises(PlanningError, match=r"demand visit\.quantity"):
        Demand("visit", -1, MONDAY)
