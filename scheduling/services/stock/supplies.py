"""What a company has and what it has on order, item by item."""

from collections import Counter, defaultdict
from dataclasses import dataclass, field
from datetime import date, timedelta

from accounts.models import Company
from scheduling.models import PurchaseOrder, PurchaseOrderLine, StockLevel
from scheduling.planning.stock.supply import Supply

#: States in which an order stands for pieces that are still to come.
COMING = (PurchaseOrder.State.PLACED, PurchaseOrder.State.PARTLY_RECEIVED)
STORE = "store"


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
    """Pieces in the store, in each van and on order, by item key."""

    store: Counter[str] = field(default_factory=Counter)
    vans: dict[int, Counter[str]] = field(default_factory=dict)
    coming: dict[str, list[Coming]] = field(default_factory=lambda: defaultdict(list))
    counted: set[str] = field(default_factory=set)

    def at_hand(self, item: str) -> int:
        """Pieces in the store and in all vans."""
        return self.store[item] + sum(van[item] for van in self.vans.values())

    def on_order(self, item: str) -> int:
        """Pieces that are still to come."""
        return sum(coming.line.outstanding for coming in self.coming.get(item, ()))

    def of(self, item: str) -> list[Supply]:
        """All supplies of an item, as the planning room gives them out."""
        return [
            Supply(STORE, self.store[item]),
            *(Supply(f"van:{pk}", van[item], van=str(pk)) for pk, van in sorted(self.vans.items()) if van[item]),
            *(Supply(c.key, c.line.outstanding, c.usable_from) for c in self.coming.get(item, ())),
        ]


def read_supplies(*, company: Company, today: date) -> Supplies:
    """Read what there is and what is on order, as things stand."""
    supplies = Supplies()
    for level in StockLevel.objects.of_company(company):
        item = str(level.item_id)
        supplies.counted.add(item)
        place = (
            supplies.store if level.installer_id is None else supplies.vans.setdefault(level.installer_id, Counter())
        )
        place[item] += level.quantity
    lines = PurchaseOrderLine.objects.of_company(company).filter(order__state__in=COMING)
    for line in lines.select_related("order__supplier", "item").order_by("expected_on", "pk"):
        if line.outstanding:
            expected = max(line.expected_on or today, today)
            supplies.coming[str(line.item_id)].append(Coming(line, expected + timedelta(days=1)))
    return supplies
