"""What to order today, so that a share of the pieces is there when it is wanted, and no more lies on the shelf.

Periodic review with packs, (R, s, nQ): at each review an item of which no more than s pieces are at hand and on order
is brought above s in whole packs Q. Its position then lies anywhere from s + 1 to s + Q, equally often (Hadley and
Whitin 1963, Analysis of Inventory Systems, from memory), and so many pieces are missing on average until an order of
the next review is here. The fill rate is the share of the pieces wanted that are not missing.

What is more likely than not wanted before today's order is here is always ordered: whoever wants it waits already.
Beyond that the item that is worst served is raised by a piece, again and again, until the fill rate of all items
together is the one asked for. Whole pieces and packs serve some items better than asked whatever is done; that is set
off against the others, which are so served alike. (Buying where a piece of money saves most missing pieces would hold
less money, and leave the dearest items missing two times of three.)
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import FloatArray
from scheduling.planning.stock.reorder import quantile_of
from scheduling.planning.stock.uncertain_demand import NEGLIGIBLE, expected_pieces

#: The s of an item that is ordered only when somebody waits for it.
_LEAST = -1
_HALF = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class ItemToOrder:
    """What decides about one item.

    Attributes
    ----------
    key
        Its name, unique among the items.
    there
        Pieces at hand and on order less those that somebody waits for; may be below 0.
    before
        ``(pieces + 1,)`` distribution of what is wanted until an order of today is here.
    through
        The same until an order of the next review is here.
    pack_size
        Pieces in a pack, at least 1.
    price
        Of one piece, above 0.
    """

    key: str
    there: int
    before: FloatArray
    through: FloatArray
    pack_size: int
    price: float

    def __post_init__(self) -> None:
        if self.pack_size < 1:
            raise PlanningError(f"item {self.key}.pack_size", f"must be at least 1, not {self.pack_size!r}.")
        if not self.price > 0.0:
            raise PlanningError(f"item {self.key}.price", f"must be above 0, not {self.price!r}.")

    @property
    def wanted(self) -> float:
        """Pieces wanted on average between the arrivals of an order of today and of the next."""
        return expected_pieces(self.through) - expected_pieces(self.before)

    @property
    def least_point(self) -> int:
        """The s below which somebody would more likely than not still wait when an order of today is here."""
        return quantile_of(self.before, _HALF) + _LEAST

    def missing(self) -> FloatArray:
        """Pieces of them missing on average, for s = -1, 0, 1 ... up to where none is."""
        count = self.through.size + self.pack_size
        at = _missing_at(self.through, count) - _missing_at(self.before, count)
        total = np.concatenate([[0.0], np.cumsum(at)])
        averages: FloatArray = (total[self.pack_size :] - total[: -self.pack_size]) / self.pack_size
        return averages


def reorder_points(items: Sequence[ItemToOrder], *, fill_rate: float) -> dict[str, int]:
    """Item key to its s: with no more pieces than that at hand and on order it is ordered.

    Parameters
    ----------
    fill_rate
        Share of the pieces that are to be there when they are wanted, above 0 and below 1. The s are whole numbers, so
        that the share is met to the nearest step.

    Raises
    ------
    PlanningError
        When the fill rate is out of range.
    """
    if not 0.0 < fill_rate < 1.0:
        raise PlanningError("fill_rate", f"must be above 0 and below 1, not {fill_rate!r}.")
    points = {item.key: item.least_point for item in items}
    by_key = {item.key: (wanted, item.missing()) for item in items if (wanted := item.wanted) > NEGLIGIBLE}
    bearable = (1.0 - fill_rate) * sum(wanted for wanted, _ in by_key.values())
    first = {key: points[key] - _LEAST for key in by_key}
    too_many = sum(float(table[first[key]]) for key, (_, table) in by_key.items()) - bearable
    prices = {item.key: item.price for item in items}
    queue = [
        (-float(table[first[key]]) / wanted, prices[key], key, first[key]) for key, (wanted, table) in by_key.items()
    ]
    heapq.heapify(queue)
    while queue:
        share, price, key, number = heapq.heappop(queue)
        wanted, table = by_key[key]
        if number + 1 >= table.size or -share <= NEGLIGIBLE:
            continue
        saved = float(table[number] - table[number + 1])
        if abs(too_many - saved) >= abs(too_many) and too_many <= saved:
            break
        too_many -= saved
        points[key] += 1
        heapq.heappush(queue, (-float(table[number + 1]) / wanted, price, key, number + 1))
    return points


def packs_to_order(items: Sequence[ItemToOrder], *, fill_rate: float) -> dict[str, int]:
    """Item key to the packs to order today; items of which none is ordered are left out.

    Raises
    ------
    PlanningError
        As :func:`reorder_points`.
    """
    points = reorder_points(items, fill_rate=fill_rate)
    packs = {item.key: -((item.there - points[item.key] - 1) // item.pack_size) for item in items}
    return {key: count for key, count in packs.items() if count > 0}


def _missing_at(spread: FloatArray, count: int) -> FloatArray:
    """Pieces missing on average where 0, 1, 2 ... are there: the sum of the chances that more are wanted."""
    more = np.concatenate([1.0 - np.cumsum(spread), np.zeros(max(0, count - spread.size))])
    missing: FloatArray = np.cumsum(np.maximum(more, 0.0)[::-1])[::-1][:count]
    return missing
