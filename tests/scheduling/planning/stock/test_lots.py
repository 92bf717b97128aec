"""Which lots lie where: first expired, first out."""

from collections import Counter
from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.stock.lots import UNKNOWN_LOT, Lot, LotMovement, brought_to, lots_by_place

MARCH, JUNE, TODAY = date(2026, 3, 31), date(2026, 6, 30), date(2026, 4, 1)
SOON, LATER, KEEPS = Lot("B", JUNE), Lot("A", date(2027, 6, 30)), Lot("C")
OLD = Lot("O", MARCH)


def came(pieces: int, **lots: int) -> LotMovement:
    names = {"soon": SOON, "later": LATER, "keeps": KEEPS, "old": OLD}
    return LotMovement(TODAY, pieces, destination="store", lots={names[name]: n for name, n in lots.items()})


def went(
    pieces: int, *, to: str | None = None, lots: dict[Lot, int] | None = None, clears: bool = False
) -> LotMovement:
    return LotMovement(TODAY, pieces, source="store", destination=to, lots=lots, takes_expired_first=clears)


def test_what_expires_first_leaves_first_and_what_is_known_to_keep_last() -> None:
    stock = came(6, soon=2, later=2, keeps=1)
    left = [lots_by_place([stock, went(pieces)])["store"] for pieces in range(1, 6)]
    assert left == [
        {SOON: 1, LATER: 2, KEEPS: 1, UNKNOWN_LOT: 1},
        {LATER: 2, KEEPS: 1, UNKNOWN_LOT: 1},
        {LATER: 1, KEEPS: 1, UNKNOWN_LOT: 1},
        {KEEPS: 1, UNKNOWN_LOT: 1},
        {KEEPS: 1},
    ]


def test_what_is_expired_is_used_last_and_cleared_out_first() -> None:
    stock = came(4, old=2, soon=2)
    assert lots_by_place([stock, went(2)])["store"] == {OLD: 2}
    assert lots_by_place([stock, went(3)])["store"] == {OLD: 1}
    assert lots_by_place([stock, went(1, clears=True)])["store"] == {OLD: 1, SOON: 2}


def test_a_lot_may_be_used_on_its_last_day() -> None:
    on_the_day = LotMovement(JUNE, 1, source="store")
    assert lots_by_place([came(2, soon=1, later=1), on_the_day])["store"] == {LATER: 1}
    assert not SOON.is_expired_on(JUNE)
    assert SOON.is_expired_on(date(2026, 7, 1))


def test_a_lot_that_somebody_named_leaves_before_the_one_that_expires_first() -> None:
    stock = came(4, soon=2, later=2)
    assert lots_by_place([stock, went(3, lots={Lot("A"): 3})])["store"] == {SOON: 1}
    # a code that is not there says nothing of the others
    assert lots_by_place([stock, went(1, lots={Lot("X"): 1})])["store"] == {SOON: 1, LATER: 2}
    assert lots_by_place([stock, went(1, lots={Lot("A", JUNE): 1})])["store"] == {SOON: 1, LATER: 2}


def test_pieces_take_their_lot_along_to_the_van() -> None:
    moved = lots_by_place([came(3, soon=1, later=1), went(2, to="van")])
    assert moved == {"store": {UNKNOWN_LOT: 1}, "van": {SOON: 1, LATER: 1}}
    # more than anybody knew of: they are there all the same, of a lot that nobody knows
    assert lots_by_place([came(1, soon=1), went(3, to="van")]) == {"store": {}, "van": {SOON: 1, UNKNOWN_LOT: 2}}


def test_a_count_without_lots_keeps_them_and_one_with_lots_replaces_them() -> None:
    stock = came(4, soon=2, later=2)

    def counted(pieces: int, **lots: Lot) -> Counter[Lot]:
        count = LotMovement(TODAY, pieces, destination="store", is_count=True, lots=dict.fromkeys(lots.values(), 1))
        return lots_by_place([stock, count])["store"]

    assert counted(3) == {SOON: 1, LATER: 2}
    assert counted(6) == {SOON: 2, LATER: 2, UNKNOWN_LOT: 2}
    assert counted(2, only=KEEPS) == {KEEPS: 1, UNKNOWN_LOT: 1}
    assert counted(0) == {}


LOTS = st.dictionaries(st.sampled_from([SOON, LATER, KEEPS, OLD]), st.integers(1, 4), max_size=3)
MOVEMENTS = st.lists(
    st.builds(
        lambda lots, more, ends, is_count, clears: LotMovement(
            TODAY,
            sum(lots.values()) + more,
            source=None if is_count else ends[0],
            destination=ends[1] or "store" if is_count else ends[1],
            lots=lots,
            is_count=is_count,
            takes_expired_first=clears,
        ),
        LOTS,
        st.integers(0, 3),
        st.sampled_from([(None, "store"), ("store", "van"), ("van", "store"), ("store", None), ("van", None)]),
        st.booleans(),
        st.booleans(),
    ),
    max_size=8,
)


@given(MOVEMENTS)
def test_lots_are_never_fewer_than_none_and_no_piece_is_of_two(movements: list[LotMovement]) -> None:
    total: Counter[object] = Counter()
    for movement in movements:
        if movement.is_count:
            total[movement.destination] = movement.pieces
            continue
        if movement.source is not None:
            total[movement.source] -= min(movement.pieces, total[movement.source])
        if movement.destination is not None:
            total[movement.destination] += movement.pieces
    found = lots_by_place(movements)
    assert all(pieces > 0 for lots in found.values() for pieces in lots.values())
    assert {place: lots.total() for place, lots in found.items() if lots} == dict(+total)


@given(LOTS, st.integers(0, 20))
def test_lots_fill_the_total_of_their_place_exactly(lots: dict[Lot, int], pieces: int) -> None:
    filled = brought_to(lots, pieces)
    assert filled.total() == pieces
    assert all(filled[lot] <= number for lot, number in lots.items())
