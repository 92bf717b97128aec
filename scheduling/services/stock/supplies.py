"""What a company has and what it has on order, item by item."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta

from accounts.models import Company
from scheduling.models import PurchaseOrder, PurchaseOrderLine, StockLevel
from scheduling.planning.stock.supply import Supply
from scheduling.services.stock.lots import expired_pieces, read_lots

#: States in which an order stands for pieces that are still to come.
COMING = (PurchaseOrder.State.PLACED, PurchaseOrder.State.PARTLY_RECEIVED)
STORE = "store"


_UNTIL = " until "


def van_key(installer: int) -> str:
    """The name of a van among the supplies."""
    return f"van:{installer}"


def place_of(supply: str) -> str:
    """Where the pieces of a supply lie, by its key: the store, a van or an order, whenever they expire."""
    return supply.partition(_UNTIL)[0]


@dataclass(frozen=True, slots=True)
class Coming:
    """Pieces that were ordered and have not come.

    Attributes
    ----------
    line
        The order's line, with its order at hand.
    usable_from
        First day they can be used: they are put on the shelf on the day they come, and vans are loaded before it. What
        is overdue may come today at the earliest.
    """

    line: PurchaseOrderLine
    usable_from: date

    @property
    def key(self) -> str:
        """Its name among the supplies."""
        return f"order:{self.line.pk}"


@dataclass(slots=True)
class Supplies:
    """Pieces in the store, in each van and on order, by item key; what has expired stands apart, and is no supply.

    Attributes
    ----------
    expiring
        Item key to supply key to the pieces there, of those in store and vans, of which the last day is known.
    """

    store: Counter[str] = field(default_factory=Counter)
    vans: dict[int, Counter[str]] = field(default_factory=dict)
    expired: Counter[str] = field(default_factory=Counter)
    expiring: dict[str, dict[str, Counter[date]]] = field(default_factory=lambda: defaultdict(dict))
    coming: dict[str, list[Coming]] = field(default_factory=lambda: defaultdict(list))
    counted: set[str] = field(default_factory=set)

    def at_hand(self, item: str) -> int:
        """Pieces in the store and in all vans that can be used."""
        return self.store[item] + sum(van[item] for van in self.vans.values())

    def on_order(self, item: str) -> int:
        """Pieces that are still to come."""
        return sum(coming.line.outstanding for coming in self.coming.get(item, ()))

    def of(self, item: str) -> list[Supply]:
        """All supplies of an item, as the planning room gives them out: pieces with the same last day are one."""
        in_vans = [
            supply
            for pk, van in sorted(self.vans.items())
            if van[item]
            for supply in self._by_last_day(item, van_key(pk), van[item], van=str(pk))
        ]
        coming = [Supply(c.key, c.line.outstanding, c.usable_from) for c in self.coming.get(item, ())]
        return [*self._by_last_day(item, STORE, self.store[item]), *in_vans, *coming]

    def _by_last_day(self, item: str, place: str, pieces: int, *, van: str = "") -> list[Supply]:
        days = self.expiring.get(item, {}).get(place, Counter())
        dated = [Supply(f"{place}{_UNTIL}{day}", days[day], van=van, usable_until=day) for day in sorted(days)]
        keeps = pieces - days.total()
        return [*dated, Supply(place, keeps, van=van)] if keeps or not dated else dated


def read_supplies(*, company: Company, today: date) -> Supplies:
    """Read what there is and what is on order, as things stand."""
    supplies = Supplies()
    for level in StockLevel.objects.of_company(company):
        item = str(level.item_id)
        supplies.counted.add(item)
        key, place = STORE, supplies.store
        if level.installer_id is not None:
            key, place = van_key(level.installer_id), supplies.vans.setdefault(level.installer_id, Counter())
        expired = expired_pieces(level, today)
        supplies.expired[item] += expired
        place[item] += level.quantity - expired
        last_days = supplies.expiring[item][key] = Counter()
        for lot, pieces in read_lots(level.lots).items():
            if lot.expires_on is not None and not lot.is_expired_on(today):
                last_days[lot.expires_on] += pieces
    lines = PurchaseOrderLine.objects.of_company(company).filter(order__state__in=COMING)
    for line in lines.select_related("order__supplier", "item").order_by("expected_on", "pk"):
        if line.outstanding:
            expected = max(line.expected_on or today, today)
            supplies.coming[str(line.item_id)].append(Coming(line, expected + timedelta(days=1)))
    return supplies
