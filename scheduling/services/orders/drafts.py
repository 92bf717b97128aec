"""Draft orders from a parts list: the shortfall, by supplier, in packs."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from accounts.errors import Conflict
from accounts.models import Company, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.models import Supplier
from scheduling.models import PartsLine, PartsList, Plan, PurchaseOrder, PurchaseOrderLine
from scheduling.services.orders.orders import new_order
from scheduling.services.stock.parts import rewrite_period
from scheduling.services.words import stock as words

State = PurchaseOrder.State


@dataclass(frozen=True, slots=True)
class Drafted:
    """The drafts as they stand now, the list they were made from, and what could not be put into any."""

    parts_list: PartsList
    orders: list[PurchaseOrder]
    without_supplier: list[PartsLine]


def draft_orders(
    *,
    company: Company,
    by: Membership,
    now: datetime,
    parts_list: PartsList | None = None,
    until: date | None = None,
) -> Drafted:
    """Put what a period's parts list is short of into draft orders, one for each supplier.

    The list is worked out anew first, so that what was ordered or received since it was written is not ordered again.
    There is one draft a supplier; called again, it follows the list: a line nobody touched takes the new number of
    packs or goes, one that a person changed keeps the packs and shows the new number beside them, and a draft that
    nothing is left of is cancelled. Twice the same call changes nothing.

    Parameters
    ----------
    company, by, now
        Whose orders, who asks, and when.
    parts_list
        For a period; None: the newest list that reaches farthest.
    until
        Only what must be ordered by this day; None: all that is short.

    Raises
    ------
    Conflict
        When there is no list for days to come.
    InvalidInput
        When the list is none for a period.
    """
    with transaction.atomic():
        lock_company(company.pk)
        fresh = rewrite_period(parts_list=parts_list or _newest(company, now), now=now)
        short: dict[int, dict[int, PartsLine]] = defaultdict(dict)
        without = []
        for line in fresh.lines.select_related("item__supplier").order_by("item__code", "pk"):
            if not line.packs_to_order or (until is not None and line.order_by is not None and line.order_by > until):
                continue
            supplier = line.item.supplier
            if supplier is None or not supplier.is_active:
                without.append(line)
            else:
                short[supplier.pk][line.item_id] = line
        drafts = {
            order.supplier_id: order
            for order in PurchaseOrder.objects.select_for_update(no_key=True)
            .of_company(company)
            .filter(state=State.DRAFT)
        }
        suppliers = Supplier.objects.of_company(company).filter(pk__in={*short, *drafts}).order_by("name", "pk")
        orders = []
        for supplier in suppliers:
            order = drafts.get(supplier.pk) or new_order(supplier=supplier, by=by, now=now)
            if _follow(order, short.get(supplier.pk, {}), fresh, by, now):
                orders.append(order)
    return Drafted(fresh, orders, without)


def _newest(company: Company, now: datetime) -> PartsList:
    rows = PartsList.objects.of_company(company).filter(
        scope=PartsList.Scope.PERIOD, last_day__gte=company.day_at(now), plan__isnull=False
    )
    newest: PartsList | None = rows.exclude(plan__state=Plan.State.REPLACED).order_by("-last_day", "-pk").first()
    if newest is None:
        raise Conflict(
            "no_parts_list",
            "There is no parts list for days to come; plan the rounds and write their parts lists first.",
        )
    return newest


def _follow(
    order: PurchaseOrder, short: dict[int, PartsLine], parts_list: PartsList, by: Membership, now: datetime
) -> bool:
    """Bring a draft up to the list; answer whether anything is left of it."""
    changes: dict[str, Any] = {}
    lines_left = 0
    for line in list(order.lines.select_related("item")):
        before = _content(line)
        suggestion = short.pop(line.item_id, None)
        touched = line.packs != line.suggested_packs
        if suggestion is None and not touched:
            line.delete()
            changes[line.item.code] = {"was": line.packs, "is": 0}
            continue
        _suggest(line, order, suggestion, touched=touched)
        if _content(line) != before:
            line.save()
            changes[line.item.code] = {"was": before[0], "is": line.packs, "suggested": line.suggested_packs}
        lines_left += 1
    for suggestion in short.values():
        line = PurchaseOrderLine(order=order, item=suggestion.item)
        _suggest(line, order, suggestion, touched=False)
        line.save()
        changes[suggestion.item.code] = {"was": 0, "is": line.packs}
        lines_left += 1
    if not lines_left:
        order.state, order.closed_at = State.CANCELLED, now
        changes["state"] = words.nothing_to_order()
    if changes or order.parts_list_id != parts_list.pk:
        order.parts_list, order.updated_at = parts_list, now
        order.save()
        record(by=by, action="follow parts list", subject=order, details={"packs": changes}, now=now)
    return bool(lines_left)


def _suggest(line: PurchaseOrderLine, order: PurchaseOrder, suggestion: PartsLine | None, *, touched: bool) -> None:
    line.suggested_packs = suggestion.packs_to_order if suggestion is not None else 0
    line.needed_by = suggestion.needed_by if suggestion is not None else None
    line.order_by = suggestion.order_by if suggestion is not None else None
    line.sentence = suggestion.sentence if suggestion is not None else words.put_in_by_hand()
    reasons = suggestion.reasons if suggestion is not None else []
    line.wanted_for = [
        {
            **{key: reason[key] for key in ("visit", "site", "site_code", "site_name", "day")},
            "pieces": reason["missing"],
        }
        for reason in reasons
        if reason["missing"]
    ]
    if not touched:
        line.packs, line.pack_size = line.suggested_packs, line.item.pack_size
        line.price = line.item.price_of(line.packs)
        line.supplier_part_number = line.item.supplier_part_number if line.item.supplier_id == order.supplier_id else ""


def _content(line: PurchaseOrderLine) -> tuple[Any, ...]:
    return (
        line.packs,
        line.suggested_packs,
        line.pack_size,
        line.price,
        line.supplier_part_number,
        line.needed_by,
        line.order_by,
        line.sentence,
        line.wanted_for,
    )
