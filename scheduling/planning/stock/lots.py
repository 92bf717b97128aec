"""Lots: which pieces of an item lie where, told by what moved; first expired, first out."""

from __future__ import annotations

import datetime
from collections import Counter, defaultdict
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Lot:
    """Pieces that were made together.

    Attributes
    ----------
    code
        As it is printed on them; empty: not known.
    expires_on
        Last day on which they may be used; None: not known, or they keep.
    """

    code: str = ""
    expires_on: datetime.date | None = None

    def is_expired_on(self, day: datetime.date) -> bool:
        """Whether the pieces may not be used on the day any more."""
        return self.expires_on is not None and self.expires_on < day

    @property
    def order(self) -> tuple[datetime.date, str]:
        """Sorting key: what expires first, first; what keeps comes last."""
        return self.expires_on or datetime.date.max, self.code


#: Pieces of which nobody said a lot.
UNKNOWN_LOT = Lot()

Place = Hashable


@dataclass(frozen=True, slots=True)
class LotMovement:
    """Pieces of one item that moved, or were counted.

    Attributes
    ----------
    day
        When.
    pieces
        How many moved, at least 0; of a count, how many were there.
    source, destination
        Places; None: outside. A count has its place as destination.
    lots
        What was said of the lots, in pieces by lot; together they are at most `pieces`.
    is_count
        Whether it was a count.
    takes_expired_first
        Whether it clears out: what is expired leaves before what can be used.
    """

    day: datetime.date
    pieces: int
    source: Place | None = None
    destination: Place | None = None
    lots: Mapping[Lot, int] | None = None
    is_count: bool = False
    takes_expired_first: bool = False


def lots_by_place(movements: Iterable[LotMovement]) -> dict[Place, Counter[Lot]]:
    """Which lots lie where after all movements, in pieces.

    Pieces leave a place in the order in which they expire, and what is expired already leaves last, as nobody uses it
    while there is anything else; what somebody said of the lots goes before this. A count that names no lots leaves
    them as they were known: what is missing is what would have left first, and what is over is of no known lot.

    Parameters
    ----------
    movements
        Of one item, in the order in which they happened.
    """
    places: dict[Place, Counter[Lot]] = defaultdict(Counter)
    for movement in movements:
        named = movement.lots or {}
        if movement.is_count:
            assert movement.destination is not None
            if named:
                places[movement.destination] = Counter(named)
            places[movement.destination] = brought_to(places[movement.destination], movement.pieces)
            continue
        if movement.source is None:
            moved = brought_to(Counter(named), movement.pieces)
        else:
            moved = _take(places[movement.source], movement, named)
        if movement.destination is not None:
            places[movement.destination].update(moved)
    return {place: +lots for place, lots in places.items()}


def brought_to(lots: Mapping[Lot, int], pieces: int) -> Counter[Lot]:
    """The lots of a place in which there are so many pieces: the first to expire are gone, or others are of no lot."""
    more = pieces - sum(lots.values())
    left = Counter(lots)
    if more > 0:
        left[UNKNOWN_LOT] += more
    else:
        _remove(left, -more, sorted(left, key=lambda lot: lot.order))
    return +left


def _take(lots: Counter[Lot], movement: LotMovement, named: Mapping[Lot, int]) -> Counter[Lot]:
    """Take the pieces of a movement out of a place; what nobody knew to be there is of no known lot."""
    taken: Counter[Lot] = Counter()
    for lot, pieces in named.items():
        same = [known for known in lots if known.code == lot.code and lot.expires_on in (None, known.expires_on)]
        taken.update(_remove(lots, pieces, sorted(same, key=lambda known: known.order)))
    rest = movement.pieces - taken.total()

    def turn(lot: Lot) -> tuple[bool, tuple[datetime.date, str]]:
        return lot.is_expired_on(movement.day) and not movement.takes_expired_first, lot.order

    taken.update(_remove(lots, rest, sorted(lots, key=turn)))
    taken[UNKNOWN_LOT] += movement.pieces - taken.total()
    return +taken


def _remove(lots: Counter[Lot], pieces: int, turn: Sequence[Lot]) -> Counter[Lot]:
    removed: Counter[Lot] = Counter()
    for lot in turn:
        removed[lot] = min(pieces - removed.total(), lots[lot])
        lots[lot] -= removed[lot]
    return removed
