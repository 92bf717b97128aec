"""How long what is ordered takes, by supplier and item: as stated, or as its deliveries have come."""

from collections import defaultdict
from datetime import date, timedelta
from typing import Final

from accounts.models import Company
from fleet.engineering.lead_times import WEEKEND
from fleet.models import CatalogueItem, Supplier
from scheduling.models import Delivery
from scheduling.planning.stock.deliveries import expected_arrival
from scheduling.planning.stock.lead_times import LeadTime, learned

_REMEMBERED: Final = timedelta(days=730)


class LeadTimes:
    """Lead times of a company's suppliers; what came of its orders in the past two years is read once."""

    def __init__(self, *, company: Company, today: date) -> None:
        self.delays: dict[int, list[int]] = defaultdict(list)
        deliveries = (
            Delivery.objects.of_company(company)
            .filter(received_on__gt=today - _REMEMBERED, order__placed_on__isnull=False, voided_at=None)
            .select_related("order__supplier")
            .prefetch_related("order__lines__item")
        )
        for delivery in deliveries.order_by("received_on", "pk"):
            order, supplier = delivery.order, delivery.order.supplier
            delivered = {piece["line"] for piece in delivery.pieces}
            stated = [_stated(line.item, supplier) for line in order.lines.all() if line.pk in delivered]
            placed_on = order.placed_on
            if stated and placed_on is not None:
                expected = max(_arrival(placed_on, lead) for lead in stated)
                self.delays[supplier.pk].append((delivery.received_on - expected).days)

    def of(self, item: CatalogueItem, supplier: Supplier | None = None) -> LeadTime:
        """The lead time of an item from a supplier; None: from its usual one."""
        chosen = supplier or item.supplier
        stated = _stated(item, chosen)
        mean, sd, count = learned(
            stated.mean_days, stated.sd_days, self.delays[chosen.pk] if chosen is not None else ()
        )
        return LeadTime(mean, sd, stated.closed, stated.no_orders, count)

    def arrival(self, item: CatalogueItem, ordered_on: date, supplier: Supplier | None = None) -> date:
        """When an item is on the shelf that is ordered on a day, usually."""
        return _arrival(ordered_on, self.of(item, supplier))


def _arrival(ordered_on: date, lead_time: LeadTime) -> date:
    return expected_arrival(ordered_on, lead_time.usual_days, lead_time.closed, no_orders=lead_time.no_orders)


def _stated(item: CatalogueItem, supplier: Supplier | None) -> LeadTime:
    """What is stated. The item's own lead time holds for its usual supplier; bought elsewhere, that supplier's does."""
    if supplier is None:
        return LeadTime(item.days_to_store, closed=WEEKEND)
    is_usual = item.supplier_id in (None, supplier.pk) and item.lead_time_days is not None
    taking = set(supplier.order_weekdays)
    return LeadTime(
        item.days_to_store if is_usual else supplier.lead_time_days,
        supplier.lead_time_sd_days or 0.0,
        frozenset(supplier.closed_weekdays),
        frozenset(set(range(7)) - taking) if taking else frozenset(),
    )
