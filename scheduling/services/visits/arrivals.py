"""When a visit can have its parts: an installer who arrives without the cartridge has driven for nothing."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from accounts.models import Company
from fleet.models import CatalogueItem
from scheduling.models import Need, Visit, VisitTask
from scheduling.planning.stock.deliveries import expected_arrival
from scheduling.services.stock.supplies import Coming, Supplies, read_supplies
from scheduling.services.stock.visit_parts import parts_by_visit


@dataclass(frozen=True, slots=True)
class Wait:
    """A visit that waits for parts.

    Attributes
    ----------
    until
        First day on which they are all there.
    items
        Codes of what is missing today.
    orders
        Numbers of the orders that bring it; what none of them brings must be ordered first.
    must_order
        Codes of what no order brings.
    """

    until: date
    items: tuple[str, ...]
    orders: tuple[int, ...] = ()
    must_order: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What it waits for, and until when."""
        clauses = []
        both = 0 < len(self.must_order) < len(self.items)
        on_order = [code for code in self.items if code not in self.must_order]
        if on_order:
            order_noun = "order" if len(self.orders) == 1 else "orders"
            numbers = " and ".join(str(number) for number in self.orders)
            clauses.append(f"{' and '.join(on_order)} {_are(on_order)} on order ({order_noun} {numbers})")
        if self.must_order:
            clauses.append(f"{' and '.join(self.must_order)} must be ordered first")
        day = f"{self.until:%a} {self.until.day} {self.until:%b}"
        return (
            f"{', '.join(clauses)}; all can be here for {day}." if both else f"{clauses[0]} and can be here for {day}."
        )


def _are(codes: Sequence[str]) -> str:
    return "is" if len(codes) == 1 else "are"


def waits_for_parts(
    *, company: Company, visits: Sequence[Visit], today: date, loaded: Collection[int] = ()
) -> dict[int, Wait]:
    """Visits that must wait for what is neither in the store nor in a van, by visit id.

    Visits agreed with the client come first, those of later weeks too: their pieces are laid aside by date, from what
    is on order where that comes in time, else from stock. What is left goes to the visits in turn: urgent ones first,
    then by their best day. A part that is short is there when an order that stands for it is expected, and otherwise
    counts as ordered today. Small parts make nobody wait: every van carries them and any shop has them. Nor does an
    item that nobody has ever counted: not known is not none. Confirmed visits keep their time, and an urgent visit goes
    without a missing part as long as one of its urgent needs can be met. The `loaded` are in published rounds: their
    pieces are allocated before all others, and they wait for nothing.
    """
    supplies = read_supplies(company=company, today=today)
    rows = CatalogueItem.objects.of_company(company).exclude(kind=CatalogueItem.Kind.SMALL_PART)
    shelves = {
        key: _Shelf(item, key, supplies)
        for item in rows.select_related("supplier")
        if (key := str(item.pk)) in supplies.counted
    }
    later = Visit.objects.of_company(company).filter(state=Visit.State.CONFIRMED)
    agreed = [visit for visit in later if _appointed(company, visit) >= today]
    parts_of_visit = parts_by_visit(company=company, visits=[*visits, *agreed])
    for visit in sorted(agreed, key=lambda v: (v.appointment_at, v.pk)):
        for key, quantity in parts_of_visit.get(visit.pk, {}).items():
            if key in shelves:
                shelves[key].reserve(quantity, _appointed(company, visit))
    urgent = _urgent_items(company, visits)
    waits: dict[int, Wait] = {}
    open_to_all = [visit for visit in visits if visit.state != Visit.State.CONFIRMED]
    for visit in sorted(open_to_all, key=lambda v: (v.pk not in loaded, not v.is_urgent, v.best_day, v.pk)):
        takes = {key: quantity for key, quantity in parts_of_visit.get(visit.pk, {}).items() if key in shelves}
        missing = {key for key, quantity in takes.items() if shelves[key].at_hand < quantity}
        if missing and visit.pk not in loaded and not _goes_without(missing, urgent.get(visit.pk, set())):
            waits[visit.pk] = _wait(shelves, {key: takes[key] for key in sorted(missing)}, today)
            continue
        for key, quantity in takes.items():
            shelves[key].take(quantity)
    return waits


class _Shelf:
    """What is left of one item, at hand and on order, while it is allocated."""

    def __init__(self, item: CatalogueItem, key: str, supplies: Supplies) -> None:
        self.item = item
        self.at_hand = supplies.at_hand(key)
        self.coming: list[Coming] = sorted(supplies.coming.get(key, ()), key=lambda c: (c.usable_from, c.key))
        self.remaining = {coming.key: coming.line.outstanding for coming in self.coming}

    def take(self, quantity: int) -> None:
        """Take pieces at hand, as many as there are."""
        self.at_hand -= min(quantity, self.at_hand)

    def reserve(self, quantity: int, day: date) -> None:
        """Keep pieces for a day: what comes last of what is in time, then what is at hand."""
        for coming in reversed(self.coming):
            if coming.usable_from <= day:
                reserved = min(quantity, self.remaining[coming.key])
                self.remaining[coming.key] -= reserved
                quantity -= reserved
        self.take(quantity)

    def claim(self, quantity: int, today: date) -> tuple[date, list[int], bool]:
        """Pieces that are not all at hand: the first day all are, the orders that bring them, whether one must be made.

        What is claimed of an order is nobody else's, and what is at hand is laid aside for it, unless an order must be
        made anyway: that brings them all, and what is at hand may serve another visit meanwhile.
        """
        short = quantity - self.at_hand
        orders = []
        until = today
        for coming in self.coming:
            claimed = min(short, self.remaining[coming.key])
            if claimed:
                self.remaining[coming.key] -= claimed
                short -= claimed
                until = coming.usable_from
                orders.append(coming.line.order.number)
        if short:
            arrival = expected_arrival(today, self.item.days_to_store, self.item.closed_weekdays)
            until = max(until, arrival + timedelta(days=1))
        else:
            self.at_hand = 0
        return until, orders, bool(short)


def _wait(shelves: Mapping[str, _Shelf], missing: Mapping[str, int], today: date) -> Wait:
    until, orders, must_order = today, set(), []
    for key, quantity in missing.items():
        day, numbers, must = shelves[key].claim(quantity, today)
        until = max(until, day)
        orders.update(numbers)
        if must:
            must_order.append(shelves[key].item.code)
    codes = tuple(sorted(shelves[key].item.code for key in missing))
    return Wait(until, codes, tuple(sorted(orders)), tuple(sorted(must_order)))


def _appointed(company: Company, visit: Visit) -> date:
    assert visit.appointment_at is not None
    return company.day_at(visit.appointment_at)


def _urgent_items(company: Company, visits: Sequence[Visit]) -> Mapping[int, set[str]]:
    """Visit id to the items of its urgent needs; an empty text stands for a need that takes no item."""
    rows = VisitTask.objects.of_company(company).filter(
        visit__in=[visit.pk for visit in visits], need__state=Need.State.OPEN, need__is_urgent=True
    )
    table: dict[int, set[str]] = {}
    for visit_id, item_id in rows.values_list("visit_id", "need__item_id"):
        table.setdefault(visit_id, set()).add(str(item_id or ""))
    return table


def _goes_without(missing: set[str], urgent: set[str]) -> bool:
    return bool(urgent - missing)
