"""When a visit can have its parts: an installer who arrives without the cartridge has driven for nothing."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from accounts.models import Company
from fleet.models import CatalogueItem
from scheduling.models import Need, StockLevel, Visit, VisitTask
from scheduling.services.visit_parts import parts_by_visit


@dataclass(frozen=True, slots=True)
class Wait:
    """A visit that waits for parts: from which day they are there, and which they are."""

    until: date
    items: tuple[str, ...]


def waits_for_parts(*, company: Company, visits: Sequence[Visit], today: date) -> dict[int, Wait]:
    """Visits that must wait for what is neither in the store nor in a van, by visit id.

    What is in stock is given to the visits in turn: confirmed ones first, then urgent ones, then by their best day.
    A part that is short counts as ordered today and there on the day after its lead time. Small parts make nobody
    wait: every van carries them and any shop has them. Nor does an item that nobody has ever counted: not known is not
    none. Confirmed visits keep their time, and an urgent visit goes
    without a missing part as long as one of its urgent needs can be met.
    """
    left: Counter[str] = Counter()
    for item_id, quantity in StockLevel.objects.of_company(company).values_list("item_id", "quantity"):
        left[str(item_id)] += quantity
    items = {
        str(item.pk): item
        for item in CatalogueItem.objects.of_company(company).exclude(kind=CatalogueItem.Kind.SMALL_PART)
        if str(item.pk) in left
    }
    wanted = parts_by_visit(company=company, visits=visits)
    urgent = _urgent_items(company, visits)
    waits: dict[int, Wait] = {}
    in_turn = sorted(visits, key=lambda v: (v.state != Visit.State.CONFIRMED, not v.is_urgent, v.best_day, v.pk))
    for visit in in_turn:
        takes = {key: quantity for key, quantity in wanted.get(visit.pk, {}).items() if key in items}
        missing = {key for key, quantity in takes.items() if left[key] < quantity}
        if missing and visit.state != Visit.State.CONFIRMED and not _goes_without(missing, urgent.get(visit.pk, set())):
            arrival = max(items[key].lead_time_days for key in missing) + 1
            names = tuple(sorted(items[key].code for key in missing))
            waits[visit.pk] = Wait(today + timedelta(days=arrival), names)
            continue
        left.subtract({key: min(quantity, left[key]) for key, quantity in takes.items()})
    return waits


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
