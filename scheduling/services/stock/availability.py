"""What is there of each item, what of it is reserved for confirmed visits, what is on order, and what is free."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime

from accounts.kept_answers import KeptAnswers
from accounts.models import Company
from fleet.models import CatalogueItem
from scheduling.services.stock.allocation import Allocation, live_plan
from scheduling.services.stock.counting import rows_of_allocation


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
    today = company.day_at(now)
    kept = KeptAnswers(("availability", company.pk, today), lambda: rows_of_allocation(company))
    pieces = kept.of(["all"], lambda names, at: {"all": _pieces(company, today)})["all"]
    items = CatalogueItem.objects.of_company(company).select_related("supplier").filter(pk__in=pieces)
    return [Availability(item, *pieces[item.pk]) for item in items.order_by("code")]


def _pieces(company: Company, today: date) -> dict[int, tuple[int, int, int, int, int]]:
    """Item id to what an `Availability` says of it."""
    allocation = Allocation(company=company, today=today, plan=live_plan(company))
    supplies = allocation.supplies
    reserved: Counter[str] = Counter()
    for (visit, item), shares in allocation.shares.items():
        if allocation.is_confirmed(visit):
            ordered = {coming.key for coming in supplies.coming.get(item, ())}
            reserved[item] += sum(share.quantity for share in shares if share.supply not in ordered)
    return {
        int(key): (
            supplies.store[key],
            supplies.at_hand(key) - supplies.store[key],
            supplies.expired[key],
            reserved[key],
            supplies.on_order(key),
        )
        for key in supplies.counted | set(supplies.coming)
    }
