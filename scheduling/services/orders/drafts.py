"""Draft orders from a parts list: the shortfall, by supplier, in packs."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
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
    only_now: bool = False,
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
        Only what must be ordered by this day; None: all that is short. Where that is worth less than a supplier's
        minimum order, what must be ordered next comes along until it is reached.
    only_now
        Only what cannot wait for the next look at what is to be ordered, in the packs that last until then.

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
        later: dict[int, list[PartsLine]] = defaultdict(list)
        for line in fresh.lines.select_related("item__supplier").order_by("item__code", "pk"):
            if only_now:
                line.packs_to_order = line.packs_now
            if not line.packs_to_order:
                continue
            supplier = line.item.supplier
            is_due = until is None or line.order_by is None or line.order_by <= until
            if supplier is None or not supplier.is_active:
                without += [line] if is_due else []
            elif is_due:
                short[supplier.pk][line.item_id] = line
            else:
                later[supplier.pk].append(line)
        for lines, waiting in ((short[pk], later[pk]) for pk in list(short)):
            top_up(lines, waiting, currency=company.currency)
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


def top_up(lines: dict[int, PartsLine], waiting: list[PartsLine], *, currency: str) -> None:
    """Take along what must be ordered next, until the supplier's minimum order is reached."""
    supplier = next(iter(lines.values())).item.supplier
    assert supplier is not None
    least = supplier.minimum_order_value
    value = sum(_cost(line) for line in lines.values())
    for line in sorted(waiting, key=lambda each: (each.order_by or date.max, each.item.code)):
        if value >= least:
            return
        line.sentence = f"{line.sentence} {words.tops_up(supplier.name, f'{least:.2f} {currency}')}"
        lines[line.item_id] = line
        value += _cost(line)


def _cost(line: PartsLine) -> Decimal:
    return line.packs_to_order * line.item.pack_size * line.item.price_of(line.packs_to_order)


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
