"""Which visit has which piece, and which waits for its parts: two answers from one allocation."""

from collections import Counter
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scheduling.planning.stock.coverage import Commitment, Coverage, PartsWait, VisitParts, cover_visits
from scheduling.planning.stock.supply import Supply

TODAY = date(2026, 3, 2)
AWAITED = ("carbon", "membrane")
IF_ORDERED = dict.fromkeys(AWAITED, TODAY + timedelta(days=8))
SMALL = "o-ring"
Stock = dict[str, list[Supply]]


def day(number: int) -> date:
    return TODAY + timedelta(days=number)


def cover(visits: list[VisitParts], stock: Stock) -> Coverage:
    return cover_visits(visits, stock, today=TODAY, if_ordered=IF_ORDERED)


def store(**pieces: int) -> Stock:
    return {item: [Supply("store", quantity)] for item, quantity in pieces.items()}


def pieces_in_time(coverage: Coverage, visit: str, item: str) -> int:
    return sum(share.quantity for share in coverage.shares[visit, item] if not share.is_late)


@st.composite
def stocks(draw: st.DrawFn) -> Stock:
    """Some pieces of each item in the store, in two vans and on order."""
    stock = {}
    for item in (*AWAITED, SMALL):
        orders = draw(st.lists(st.tuples(st.integers(1, 2), st.integers(0, 7)), max_size=2))
        stock[item] = [
            Supply("store", draw(st.integers(0, 2))),
            *(Supply(f"van:{van}", draw(st.integers(0, 1)), van=van) for van in ("ada", "ben")),
            *(Supply(f"order:{item}:{k}", pieces, day(on)) for k, (pieces, on) in enumerate(orders)),
        ]
    return stock


@st.composite
def visit_lists(draw: st.DrawFn) -> list[VisitParts]:
    visits = []
    for k in range(draw(st.integers(1, 6))):
        items = draw(st.dictionaries(st.sampled_from((*AWAITED, SMALL)), st.integers(1, 2), max_size=3))
        visits.append(
            VisitParts(
                key=f"v{k}",
                quantities=items,
                day=day(draw(st.integers(0, 9))),
                commitment=draw(st.sampled_from(Commitment)),
                urgent_items=frozenset(draw(st.sets(st.sampled_from(["", *items]), max_size=2))),
                van=draw(st.sampled_from(["", "ada", "ben"])),
            )
        )
    return visits


def costing(key: str, items: tuple[str, ...], *, urgent: str | None = None, **weekly: float) -> VisitParts:
    """A visit of today that takes a piece of each item; coming once more costs 40."""
    return VisitParts(
        key,
        dict.fromkeys(items, 1),
        day(0),
        urgent_items=frozenset() if urgent is None else frozenset({urgent}),
        weekly_costs=weekly,
        second_drive=40.0,
    )


def test_of_two_on_one_day_the_one_that_loses_more_by_waiting_has_the_piece() -> None:
    cheap, dear = costing("a", ("carbon",), carbon=9.0), costing("b", ("carbon",), carbon=10.0)
    assert list(cover([cheap, dear], store(carbon=1)).waits) == ["a"]
    # who is there for something else comes once more for it, which the other need not
    there = costing("c", ("carbon", "membrane"), urgent="membrane", carbon=1.0)
    for other, has_it in ((30.0, "c"), (39.0, "c"), (42.0, "d")):
        coverage = cover([there, costing("d", ("carbon",), carbon=other)], store(carbon=1, membrane=1))
        assert pieces_in_time(coverage, has_it, "carbon") == 1, other


@pytest.mark.parametrize(("weekly", "waits"), [(34.9, True), (35.1, False)])
def test_it_goes_without_where_what_can_be_done_meanwhile_costs_more_than_coming_again(
    weekly: float, waits: bool
) -> None:
    # eight days until the membrane is there: 35 a week are 40 in eight days
    visit = costing("a", ("carbon", "membrane"), carbon=weekly, membrane=500.0)
    assert list(cover([visit], store(carbon=1)).waits) == (["a"] if waits else [])
    assert list(cover([visit], store()).waits) == ["a"], "of nothing that it takes there is a piece"


def test_whoever_must_wait_lets_go_of_its_pieces_the_one_first_that_can_wait() -> None:
    both = [costing(key, ("carbon", "membrane"), carbon=cost, membrane=cost) for key, cost in (("a", 3.0), ("b", 4.0))]
    coverage = cover(both, store(carbon=1, membrane=1))
    assert list(coverage.waits) == ["a"]
    assert pieces_in_time(coverage, "b", "membrane") == 1


def test_what_no_round_can_hold_takes_what_is_left_and_waits_for_nothing() -> None:
    far = VisitParts(
        "far", {"carbon": 1}, day(0), Commitment.NOT_YET, frozenset({"carbon"}), weekly_costs={"carbon": 99.0}
    )
    near = VisitParts("near", {"carbon": 1}, day(3))
    coverage = cover([far, near], store(carbon=1))
    assert (dict(coverage.waits), pieces_in_time(coverage, "near", "carbon")) == ({}, 1)
    assert pieces_in_time(cover([far], store(carbon=1)), "far", "carbon") == 1


@settings(max_examples=200, deadline=None)
@given(visit_lists(), stocks())
def test_no_more_is_allocated_than_there_is_and_nobody_gets_more_than_it_takes(
    visits: list[VisitParts], stock: Stock
) -> None:
    coverage = cover(visits, stock)
    given_out: Counter[tuple[str, str]] = Counter()
    for visit in visits:
        for item, quantity in visit.quantities.items():
            shares = coverage.shares[visit.key, item]
            assert sum(share.quantity for share in shares) <= quantity
            for share in shares:
                given_out[item, share.supply] += share.quantity
    assert all(given_out[item, s.key] <= s.quantity for item, supplies in stock.items() for s in supplies)
    for item, supplies in stock.items():
        total = sum(count for (given_item, _), count in given_out.items() if given_item == item)
        wanted = sum(visit.quantities.get(item, 0) for visit in visits)
        assert total == min(wanted, sum(s.quantity for s in supplies))


@settings(max_examples=200, deadline=None)
@given(visit_lists(), stocks())
def test_a_visit_waits_for_what_it_lacks_and_for_nothing_else(visits: list[VisitParts], stock: Stock) -> None:
    coverage = cover(visits, stock)
    usable_from = {(item, s.key): s.usable_from or TODAY for item, supplies in stock.items() for s in supplies}
    for visit in visits:
        shares = {item: coverage.shares[visit.key, item] for item in visit.quantities if item in IF_ORDERED}
        missing = {item for item in shares if sum(s.quantity for s in shares[item]) < visit.quantities[item]}
        to_come = {item for item in shares if any(usable_from[item, s.supply] > TODAY for s in shares[item])}
        lacking = missing | to_come
        met_without = any(item not in lacking for item in visit.urgent_items)
        wait = coverage.waits.get(visit.key)
        if visit.commitment is not Commitment.OPEN or not lacking or met_without:
            assert wait is None
            continue
        assert wait is not None
        assert (wait.items, wait.must_order) == (lacking, missing)
        ordered = [IF_ORDERED[item] for item in missing]
        assert wait.until == max([*ordered, *(usable_from[i, s.supply] for i in lacking for s in shares[i])])


@settings(max_examples=400, deadline=None)
@given(visit_lists(), stocks(), st.data())
def test_what_the_parts_list_says_of_a_plan_agrees_with_what_visits_were_said_to_wait_for(
    visits: list[VisitParts], stock: Stock, data: st.DataObject
) -> None:
    """Whoever is planned on a day from which its parts were said to be there has them in time on that day.

    Put aside are visits that go without a part: what they lack they may get by the day they are planned for.
    """
    before = cover(visits, stock)
    planned, rows = set(), []
    for visit in visits:
        wait = before.waits.get(visit.key)
        lacks = any(
            pieces_today(before, stock, visit.key, item) < quantity
            for item, quantity in visit.quantities.items()
            if item in IF_ORDERED
        )
        may_go = (wait is None and not lacks) or (wait is not None and not wait.must_order)
        if visit.commitment is Commitment.OPEN and may_go and data.draw(st.booleans()):
            first = TODAY if wait is None else wait.until
            on = first + timedelta(days=data.draw(st.integers(0, 9)))
            van = data.draw(st.sampled_from(["ada", "ben"]))
            planned.add(visit.key)
            rows.append(VisitParts(visit.key, visit.quantities, on, Commitment.PLANNED, visit.urgent_items, van))
        elif visit.commitment is not Commitment.PLANNED:
            rows.append(visit)
    parts_list = cover(rows, stock)
    for visit in rows:
        if visit.key in planned:
            for item in set(visit.quantities) & set(IF_ORDERED):
                assert pieces_in_time(parts_list, visit.key, item) == visit.quantities[item]
        elif visit.commitment is Commitment.CONFIRMED:
            for item in visit.quantities:
                assert pieces_in_time(parts_list, visit.key, item) == pieces_in_time(before, visit.key, item)


def pieces_today(coverage: Coverage, stock: Stock, visit: str, item: str) -> int:
    there = {s.key for s in stock[item] if s.is_there_on(TODAY)}
    return sum(share.quantity for share in coverage.shares[visit, item] if share.supply in there)


def test_who_must_order_anyway_holds_nothing_back_meanwhile() -> None:
    """The first lacks a membrane that nobody has ordered, so the second has the carbon."""
    visits = [
        VisitParts("first", {"carbon": 1, "membrane": 1}, day(0)),
        VisitParts("second", {"carbon": 1}, day(3)),
    ]
    coverage = cover(visits, store(carbon=1, membrane=0))
    assert coverage.waits == {
        "first": PartsWait(day(8), frozenset({"carbon", "membrane"}), must_order=frozenset({"carbon", "membrane"}))
    }


def test_who_waits_for_a_delivery_keeps_what_is_there_for_it() -> None:
    """Otherwise the membrane would come and the carbon be gone."""
    visits = [
        VisitParts("first", {"carbon": 1, "membrane": 1}, day(0)),
        VisitParts("second", {"carbon": 1}, day(3)),
    ]
    stock = {"carbon": [Supply("store", 1)], "membrane": [Supply("order", 1, day(4))]}
    coverage = cover(visits, stock)
    assert coverage.waits["first"] == PartsWait(day(4), frozenset({"membrane"}), frozenset({"order"}))
    assert coverage.waits["second"].must_order == {"carbon"}


def test_a_piece_let_go_by_one_may_spare_the_next_an_order() -> None:
    """The second lacks only what the first lets go, and so is not taken to have to order."""
    visits = [
        VisitParts("first", {"carbon": 1, "membrane": 2}, day(0)),
        VisitParts("second", {"carbon": 1, "membrane": 1}, day(1)),
        VisitParts("third", {"membrane": 1}, day(2)),
    ]
    coverage = cover(visits, store(carbon=1, membrane=1))
    assert set(coverage.waits) == {"first", "third"}


def test_the_piece_goes_to_the_visit_that_would_drive_for_nothing_without_it() -> None:
    """One is urgent for a repair and takes a carbon besides, the other is urgent for its carbon."""
    visits = [
        VisitParts("repair", {"carbon": 1}, day(0), urgent_items=frozenset({""})),
        VisitParts("carbon", {"carbon": 1}, day(2), urgent_items=frozenset({"carbon"})),
    ]
    coverage = cover(visits, store(carbon=1))
    assert coverage.waits == {}
    assert pieces_in_time(coverage, "carbon", "carbon") == 1


def test_an_urgent_visit_is_spared_a_second_drive_before_one_that_can_wait() -> None:
    visits = [
        VisitParts("can wait", {"carbon": 1}, day(0)),
        VisitParts("urgent", {"carbon": 1}, day(2), urgent_items=frozenset({""})),
    ]
    assert set(cover(visits, store(carbon=1)).waits) == {"can wait"}


def test_visits_in_rounds_come_before_open_ones_and_after_confirmed_ones() -> None:
    visits = [
        VisitParts("open", {"carbon": 1}, day(0), urgent_items=frozenset({"carbon"})),
        VisitParts("planned", {"carbon": 1}, day(5), Commitment.PLANNED),
        VisitParts("confirmed", {"carbon": 1}, day(9), Commitment.CONFIRMED),
    ]
    for pieces, served in ((1, {"confirmed"}), (2, {"confirmed", "planned"}), (3, {"confirmed", "planned", "open"})):
        coverage = cover(visits, store(carbon=pieces))
        assert {visit.key for visit in visits if pieces_in_time(coverage, visit.key, "carbon")} == served
        assert set(coverage.waits) == ({"open"} - served)


def test_nobody_waits_for_what_is_not_worth_waiting_for() -> None:
    assert cover([VisitParts("one", {SMALL: 2}, day(0))], {}).waits == {}


RANKS = [
    (Commitment.CONFIRMED, frozenset()),
    (Commitment.PLANNED, frozenset({"carbon"})),
    (Commitment.PLANNED, frozenset()),
    (Commitment.OPEN, frozenset({"carbon"})),
    (Commitment.OPEN, frozenset({"membrane"})),
    (Commitment.OPEN, frozenset()),
]


@pytest.mark.parametrize("rank", range(len(RANKS) - 1))
def test_who_comes_before_whom_whatever_their_days(rank: int) -> None:
    """Commitment, then whether the item is urgent, then whether anything is; the day decides among equals only."""
    (commitment, urgent), (other_commitment, other_urgent) = RANKS[rank], RANKS[rank + 1]
    before = VisitParts("before", {"carbon": 1}, day(9), commitment, urgent)
    after = VisitParts("after", {"carbon": 1}, day(0), other_commitment, other_urgent)
    coverage = cover([after, before], store(carbon=1))
    assert pieces_in_time(coverage, "before", "carbon") == 1
    assert coverage.shares["after", "carbon"] == []


@pytest.mark.parametrize(("commitment", "urgent"), RANKS)
def test_among_equals_the_earlier_comes_first(commitment: Commitment, urgent: frozenset[str]) -> None:
    early, late = (VisitParts(f"v{on}", {"carbon": 1}, day(on), commitment, urgent) for on in (1, 2))
    coverage = cover([late, early], store(carbon=1))
    assert (pieces_in_time(coverage, "v1", "carbon"), pieces_in_time(coverage, "v2", "carbon")) == (1, 0)
