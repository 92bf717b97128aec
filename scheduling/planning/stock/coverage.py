"""What each visit gets of what is in stock and on order, and which visits must wait for the rest."""

from __future__ import annotations

import datetime
import enum
import math
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

from scheduling.planning.stock.supply import Demand, Share, Supply, allocate


class Commitment(enum.IntEnum):
    """How far a visit has come; the lower is served before the higher."""

    CONFIRMED = 0  # the client or an installer counts on it
    PLANNED = 1  # in a round
    OPEN = 2
    NOT_YET = 3  # in no round, whatever is there: nobody knows where it is, or nobody can drive so far


@dataclass(frozen=True, slots=True)
class VisitParts:
    """What one visit takes, and how urgently.

    Attributes
    ----------
    key
        Its name, unique among the visits.
    quantities
        Item to pieces, at least 0.
    day
        Day it is expected on.
    commitment
        Confirmed and planned visits wait for nothing: they have their time. Nor do those that stand in no round yet.
    urgent_items
        Items of its urgent needs; an empty text stands for an urgent need that takes no item.
    van
        Van of the installer it has; empty: none yet.
    weekly_costs
        Item to what a week costs, in money, in which the work that takes it is not done; an empty text stands for work
        that takes none.
    second_drive
        What coming once more costs, in money.
    """

    key: str
    quantities: Mapping[str, int]
    day: datetime.date
    commitment: Commitment = Commitment.OPEN
    urgent_items: frozenset[str] = frozenset()
    van: str = ""
    weekly_costs: Mapping[str, float] = field(default_factory=dict)
    second_drive: float = math.inf

    def goes_without(self, lacking: Collection[str], days: int) -> bool:
        """Whether it is made without what it lacks for so many days, and once more when that is there.

        So it is when one of its urgent needs can be met without, or when leaving undone what can be done meanwhile
        costs more than coming once more.
        """
        meanwhile = math.fsum(cost for item, cost in self.weekly_costs.items() if item not in lacking)
        return not self.urgent_items.issubset(lacking) or meanwhile * days / 7.0 > self.second_drive

    def loses_without(self, item: str) -> float:
        """What a week without an item costs: of two visits on one day, the one that loses more gets its piece first."""
        is_made_anyway = self.urgent_items and item not in self.urgent_items and math.isfinite(self.second_drive)
        return self.weekly_costs.get(item, 0.0) + (self.second_drive if is_made_anyway else 0.0)


@dataclass(frozen=True, slots=True)
class PartsWait:
    """What a visit waits for.

    Attributes
    ----------
    until
        First day on which all of it can be used.
    items
        What it cannot have today.
    supplies
        Keys of the deliveries that bring it.
    must_order
        Items of which no order brings all that is lacking.
    """

    until: datetime.date
    items: frozenset[str]
    supplies: frozenset[str] = frozenset()
    must_order: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Coverage:
    """Who gets what.

    Attributes
    ----------
    shares
        (visit, item) to the pieces it gets; what no share covers is missing.
    waits
        Visit to what it waits for.
    """

    shares: Mapping[tuple[str, str], Sequence[Share]] = field(default_factory=dict)
    waits: Mapping[str, PartsWait] = field(default_factory=dict)


def cover_visits(
    visits: Sequence[VisitParts],
    supplies: Mapping[str, Sequence[Supply]],
    *,
    today: datetime.date,
    if_ordered: Mapping[str, datetime.date],
) -> Coverage:
    """Give out every piece once, and say which open visits wait for parts.

    Confirmed visits come first, then those in a round, then the open ones, and last those that no round can hold yet;
    where the item is urgent before where it is
    not: a visit that is urgent for something else goes without the piece, this one would drive for nothing. Open visits
    that are urgent for something else, to be spared a second drive, and those for which a week without the item costs
    more than such a drive come before those that can wait. Within these :func:`allocate` decides.

    An open visit waits for an item that it cannot have today, unless it had better be made without
    (:meth:`VisitParts.goes_without`). One for which something must be ordered anyway holds nothing back meanwhile: it
    takes what all others leave.

    Parameters
    ----------
    visits
        Keys are unique.
    supplies
        Item to its supplies; an item without an entry has none.
    today
        Day on which visits that wait for nothing could be made.
    if_ordered
        Items that are worth waiting for, each with the first day on which pieces ordered today can be used. For other
        items nobody waits.
    """
    demands = _Demands(visits, supplies)
    for visit in visits:
        for item in visit.quantities:
            demands.changed.add(item)
    last: set[str] = set()
    turn = sorted(
        (v for v in visits if v.commitment is Commitment.OPEN),
        key=lambda v: (v.day, sum(v.weekly_costs.values()), v.key),
    )
    while True:
        demands.allocate(last)
        waits = {v.key: wait for v in turn if (wait := _wait(v, demands, today, if_ordered)) is not None}
        # a piece that one of them lets go may be all that the next one lacks
        let_go: set[str] = set()
        for visit in turn:
            if visit.key in last or visit.key not in waits or not waits[visit.key].must_order:
                continue
            if let_go.isdisjoint(waits[visit.key].items):
                last.add(visit.key)
                let_go.update(item for item in visit.quantities if demands.shares[visit.key, item])
        if not let_go:
            return Coverage(dict(demands.shares), waits)
        demands.changed = let_go


class _Demands:
    """The visits' demands item by item, allocated anew where something has changed."""

    def __init__(self, visits: Sequence[VisitParts], supplies: Mapping[str, Sequence[Supply]]) -> None:
        self.supplies = supplies
        self.by_item: dict[str, list[VisitParts]] = defaultdict(list)
        for visit in visits:
            for item in visit.quantities:
                self.by_item[item].append(visit)
        self.changed: set[str] = set()
        self.shares: dict[tuple[str, str], list[Share]] = {}
        self.usable_from = {(item, s.key): s.usable_from for item in supplies for s in supplies[item]}

    def allocate(self, last: Collection[str]) -> None:
        """Give out the items that have changed; visits in `last` come behind all others."""
        for item in self.changed:
            demands = [
                Demand(
                    v.key,
                    v.quantities[item],
                    v.day,
                    _LAST if v.key in last else _rank(v, item),
                    v.van,
                    v.loses_without(item),
                )
                for v in self.by_item[item]
            ]
            for visit in self.by_item[item]:
                self.shares[visit.key, item] = []
            for share in allocate(demands, self.supplies.get(item, ())):
                self.shares[share.demand, item].append(share)


_LAST = 6


def _rank(visit: VisitParts, item: str) -> int:
    if visit.commitment is Commitment.CONFIRMED:
        return 0
    if visit.commitment is Commitment.NOT_YET:
        return _LAST
    if visit.commitment is Commitment.PLANNED:
        return 1 if item in visit.urgent_items else 2
    if item in visit.urgent_items:
        return 3
    return 4 if visit.urgent_items or visit.weekly_costs.get(item, 0.0) > visit.second_drive else 5


def _wait(
    visit: VisitParts, demands: _Demands, today: datetime.date, if_ordered: Mapping[str, datetime.date]
) -> PartsWait | None:
    """What an open visit waits for; None: nothing."""
    days: list[datetime.date] = []
    items, deliveries, must_order = set(), set(), set()
    for item, quantity in visit.quantities.items():
        if item not in if_ordered:
            continue
        missing = quantity
        for share in demands.shares[visit.key, item]:
            missing -= share.quantity
            usable_from = demands.usable_from[item, share.supply]
            if usable_from is not None and usable_from > today:
                items.add(item)
                deliveries.add(share.supply)
                days.append(usable_from)
        if missing:
            items.add(item)
            must_order.add(item)
            days.append(if_ordered[item])
    if not items or visit.goes_without(items, (max(days) - today).days):
        return None
    return PartsWait(max(days), frozenset(items), frozenset(deliveries), frozenset(must_order))
