"""What is there of each item, what of it is reserved for confirmed visits, what is on order, and what is free."""

from collections import Counter
from dataclasses import dataclass
from datetime import datetime

from accounts.models import Company
from fleet.models import CatalogueItem
from scheduling.services.stock.allocation import Allocation, live_plan


@dataclass(frozen=True, slots=True)
class Availability:
    """One item of which something was counted, or is on order; all numbers are pieces.

    Attributes
    ----------
    store, vans
        On hand in the store, and in all vans together, without what has expired.
    expired
        Pieces in the store and in the vans that may not be used any more.
    reserved
        Pieces on hand that confirmed visits take.
    on_order
        Pieces that were ordered and have not come.
    """

    item: CatalogueItem
    store: int
    vans: int
    expired: int
    reserved: int
    on_order: int

    @property
    def on_hand(self) -> int:
        """Pieces in the store and in the vans that can be used."""
        return self.store + self.vans

    @property
    def free(self) -> int:
        """Pieces on hand that no confirmed visit takes."""
        return self.on_hand - self.reserved


def available(*, company: Company, now: datetime) -> list[Availability]:
    """Read what there is of each item, by its code; every piece is allocated as in the parts lists of the live plan."""
    allocation = Allocation(company=company, today=company.day_at(now), plan=live_plan(company))
    supplies = allocation.supplies
    reserved: Counter[str] = Counter()
    for (visit, item), shares in allocation.shares.items():
        if allocation.is_confirmed(visit):
            ordered = {coming.key for coming in supplies.coming.get(item, ())}
            reserved[item] += sum(share.quantity for share in shares if share.supply not in ordered)
    items = (allocation.catalogue.items[key] for key in supplies.counted | set(supplies.coming))
    return [
        Availability(
            item=item,
            store=supplies.store[str(item.pk)],
            vans=supplies.at_hand(str(item.pk)) - supplies.store[str(item.pk)],
            expired=supplies.expired[str(item.pk)],
            reserved=reserved[str(item.pk)],
            on_order=supplies.on_order(str(item.pk)),
        )
        for item in sorted(items, key=lambda item: item.code)
    ]
