"""The life of a purchase order: draft, placed, partly received, received, cancelled."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Max

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.models import CatalogueItem, Supplier
from scheduling.models import Message, PurchaseOrder, PurchaseOrderLine
from scheduling.services.people.messages import Document, order_cancelled, order_sent
from scheduling.services.stock.lead_times import LeadTimes
from scheduling.services.stock.ledger import MOST_PIECES
from scheduling.services.stock.supplies import COMING

State = PurchaseOrder.State

#: What an order may become, from each state. Received and cancelled are the end of it.
LEGAL_MOVES: Mapping[str, frozenset[str]] = {
    State.DRAFT: frozenset({State.PLACED, State.CANCELLED}),
    State.PLACED: frozenset({State.PARTLY_RECEIVED, State.RECEIVED, State.CANCELLED}),
    State.PARTLY_RECEIVED: frozenset({State.PARTLY_RECEIVED, State.RECEIVED, State.CANCELLED}),
    State.RECEIVED: frozenset(),
    State.CANCELLED: frozenset(),
}
#: How far an order may lie in the past when it is written down, and its delivery ahead.
_FARTHEST = timedelta(days=730)


@dataclass(frozen=True, slots=True)
class LineRequest:
    """One line as a person writes it; price None: the catalogue's."""

    item: CatalogueItem
    packs: int
    price: Decimal | None = None


def new_order(*, supplier: Supplier, by: Membership, now: datetime) -> PurchaseOrder:
    """A draft without lines; call it inside a transaction that holds the company's lock."""
    number = PurchaseOrder.objects.of_company(supplier.company).aggregate(last=Max("number"))["last"] or 0
    order = PurchaseOrder.objects.create(
        company=supplier.company, supplier=supplier, number=number + 1, created_at=now, updated_at=now
    )
    record(by=by, action="draft order", subject=order, details={"supplier": supplier.name}, now=now)
    return order


def create_order(
    *, supplier: Supplier, by: Membership, lines: Sequence[LineRequest], now: datetime, note: str = ""
) -> PurchaseOrder:
    """Draft an order by hand.

    Raises
    ------
    Conflict
        When there is a draft to this supplier already.
    InvalidInput
        When a line cannot be right.
    """
    with transaction.atomic():
        lock_company(supplier.company_id)
        if not supplier.is_active:
            sentence = f"{supplier.name} is inactive; make it active again or order elsewhere."
            raise Conflict("supplier_is_inactive", sentence, pointer="/supplier")
        open_draft = PurchaseOrder.objects.filter(supplier=supplier, state=State.DRAFT).first()
        if open_draft is not None:
            sentence = f"Order {open_draft.number} to {supplier.name} is still a draft; add to it, or place it first."
            raise Conflict("one_draft_per_supplier", sentence, pointer="/supplier")
        order = new_order(supplier=supplier, by=by, now=now)
        order.note = note
        order.save(update_fields=["note"])
        _write_lines(order, lines)
    return order


def edit_order(
    *,
    order: PurchaseOrder,
    by: Membership,
    now: datetime,
    lines: Sequence[LineRequest] | None = None,
    note: str | None = None,
) -> PurchaseOrder:
    """Change a draft; lines, when given, take the place of those there are.

    Raises
    ------
    Conflict
        When the order is no draft any more.
    InvalidInput
        When a line cannot be right.
    """
    with transaction.atomic():
        row = lock_order(order)
        if row.state != State.DRAFT:
            raise Conflict(
                "order_is_no_draft", f"Order {row.number} is {row.get_state_display()}; only a draft can be changed."
            )
        details: dict[str, Any] = {}
        if note is not None and note != row.note:
            row.note = note
            details["note"] = note
        if lines is not None:
            packs_before = {line.item_id: line.packs for line in row.lines.all()}
            _write_lines(row, lines)
            details["packs"] = {"was": packs_before, "is": {request.item.pk: request.packs for request in lines}}
        if details:
            _save(row, by, "edit order", details, now)
    return row


def place_order(
    *,
    order: PurchaseOrder,
    by: Membership,
    now: datetime,
    placed_on: date | None = None,
    expected_on: date | None = None,
    supplier_reference: str = "",
    below_minimum_order_value: bool = False,
) -> PurchaseOrder:
    """Note that the order has gone out to the supplier; from now on its pieces count as coming.

    Parameters
    ----------
    order
        A draft.
    by, now
        Who placed it, and when that is noted.
    placed_on
        Day it went out; None: today.
    expected_on
        When everything is to arrive, as the supplier says; None: by lead time and closed days, line by line.
    supplier_reference
        The supplier's own name for it.
    below_minimum_order_value
        Whether it may be worth less than the supplier asks for.

    Raises
    ------
    Conflict
        When the order is no draft, has no line, or is worth less than the supplier's least.
    InvalidInput
        When a day cannot be right.
    """
    with transaction.atomic():
        row = lock_order(order)
        _check_move(row, State.PLACED, "placed")
        today = row.company.day_at(now)
        day = placed_on or today
        if not today - _FARTHEST <= day <= today:
            raise _invalid("/placed_on", f"placed_on must be from {today - _FARTHEST} to {today}, not on {day}.")
        _check_expected(expected_on, day)
        lines = list(row.lines.select_related("item__supplier"))
        if not lines:
            raise Conflict("order_is_empty", f"Order {row.number} has no lines; add what is to be ordered.")
        value, least = sum(line.cost for line in lines), row.supplier.minimum_order_value
        if value < least and not below_minimum_order_value:
            raise Conflict(
                "below_minimum_order_value",
                f"Order {row.number} is worth {value:.2f} {row.company.currency}; {row.supplier.name} asks for at "
                f"least {least:.2f}. Add to it, or place it with below_minimum_order_value.",
                pointer="/below_minimum_order_value",
            )
        lead_times = LeadTimes(company=row.company, today=today)
        for line in lines:
            line.expected_on = expected_on or lead_times.arrival(line.item, day, row.supplier)
        PurchaseOrderLine.objects.bulk_update(lines, ["expected_on"])
        row.state, row.placed_on, row.supplier_reference = State.PLACED, day, supplier_reference
        expected = {line.pk: str(line.expected_on) for line in lines}
        _save(row, by, "place order", {"placed_on": str(day), "expected_on": expected, "value": f"{value:.2f}"}, now)
    return row


def send_order(
    *,
    order: PurchaseOrder,
    by: Membership,
    now: datetime,
    documents: Callable[[PurchaseOrder], Sequence[Document]],
    expected_on: date | None = None,
    below_minimum_order_value: bool = False,
) -> PurchaseOrder:
    """Place a draft and write the e-mail that takes it to its supplier; or send again what could not leave.

    Parameters
    ----------
    order
        A draft, or a placed order whose e-mail could not be delivered.
    by, now
        Who sends it, and when.
    documents
        Makes of the placed order what goes with the e-mail.
    expected_on, below_minimum_order_value
        As in :func:`place_order`.

    Raises
    ------
    Conflict
        When the supplier has no e-mail address, when the order has left already, or as :func:`place_order`.
    InvalidInput
        As :func:`place_order`.
    """
    with transaction.atomic():
        row = lock_order(order)
        if not row.supplier.email:
            raise Conflict(
                "supplier_has_no_email",
                f"{row.supplier.name} has no e-mail address. Add one to the supplier, or send the order by hand and "
                "note that with place/.",
            )
        if row.state == State.PLACED:
            _check_it_could_not_leave(row)
            record(by=by, action="send order again", subject=row, details={"email": row.supplier.email}, now=now)
        else:
            place_order(
                order=row,
                by=by,
                now=now,
                expected_on=expected_on,
                below_minimum_order_value=below_minimum_order_value,
            )
        row = PurchaseOrder.objects.select_related("supplier", "company").get(pk=row.pk)
        order_sent(order=row, documents=documents(row), now=now)
    return row


def _check_it_could_not_leave(order: PurchaseOrder) -> None:
    newest = order.messages.filter(kind=Message.Kind.ORDER).order_by("-pk").first()
    if newest is None:
        sentence = f"Order {order.number} was placed by hand; it is not sent a second time."
        raise Conflict("order_was_placed_by_hand", sentence)
    if newest.state != Message.State.TO_CALL:
        sentence = f"The e-mail with order {order.number} is '{newest.get_state_display()}'; it is not sent twice."
        raise Conflict("order_has_left", sentence)


def expect_order(
    *, order: PurchaseOrder, by: Membership, expected_on: date, now: datetime, lines: Sequence[int] | None = None
) -> PurchaseOrder:
    """Note that the supplier names another day for what is still to come.

    Parameters
    ----------
    order
        One that is placed or partly received.
    expected_on
        The new day.
    lines
        Ids of the lines it holds for; None: all that is still to come.

    Raises
    ------
    Conflict
        When nothing of the order is still to come.
    InvalidInput
        When the day has gone by, or a line is none of the order's that is still to come.
    """
    with transaction.atomic():
        row = lock_order(order)
        if row.state not in COMING:
            raise Conflict(
                "nothing_is_coming", f"Order {row.number} is {row.get_state_display()}; nothing is outstanding."
            )
        today = row.company.day_at(now)
        if expected_on < today:
            raise _invalid("/expected_on", f"expected_on {expected_on} is in the past; give a day from {today} on.")
        _check_expected(expected_on, today)
        coming = {line.pk: line for line in row.lines.all() if line.outstanding}
        unknown = [number for number, pk in enumerate(lines or ()) if pk not in coming]
        if unknown:
            open_lines = ", ".join(map(str, sorted(coming)))
            faults = [
                Fault(f"/lines/{n}", f"Line {(lines or ())[n]} is not open on this order. Open lines: {open_lines}.")
                for n in unknown
            ]
            raise InvalidInput("which_line", "Some lines are not open on this order.", faults=faults)
        moved = [line for pk, line in coming.items() if lines is None or pk in lines]
        expected_before = {line.pk: str(line.expected_on) for line in moved}
        for line in moved:
            line.expected_on = expected_on
        PurchaseOrderLine.objects.bulk_update(moved, ["expected_on"])
        _save(row, by, "expect order", {"was": expected_before, "expected_on": str(expected_on)}, now)
    return row


def cancel_order(*, order: PurchaseOrder, by: Membership, note: str, now: datetime) -> PurchaseOrder:
    """Call an order off; what has come already stays in stock, and nothing more counts as coming.

    Raises
    ------
    Conflict
        When all of it has come, or it was cancelled already.
    """
    with transaction.atomic():
        row = lock_order(order)
        _check_move(row, State.CANCELLED, "cancelled")
        state_before, row.state, row.closed_at = row.state, State.CANCELLED, now
        _save(row, by, "cancel order", {"was": state_before, "note": note}, now)
        if state_before != State.DRAFT:
            order_cancelled(row, now)
    return row


def lock_order(order: PurchaseOrder) -> PurchaseOrder:
    """The order's row, nobody else's until the end of the transaction."""
    # orders change what every parts list of the company rests on, so they take turns with those who write them
    lock_company(order.company_id)
    row: PurchaseOrder = (
        PurchaseOrder.objects.select_for_update(no_key=True, of=("self",))
        .select_related("supplier", "company")
        .get(pk=order.pk)
    )
    return row


def _check_move(order: PurchaseOrder, becomes: str, verb: str) -> None:
    if becomes not in LEGAL_MOVES[order.state]:
        again = " again" if becomes == order.state else ""
        sentence = f"Order {order.number} is {order.get_state_display()} and cannot be {verb}{again}."
        raise Conflict("order_move_not_legal", sentence)


def _check_expected(expected_on: date | None, earliest: date) -> None:
    if expected_on is not None and not earliest <= expected_on <= earliest + _FARTHEST:
        raise _invalid(
            "/expected_on", f"expected_on must be from {earliest} to {earliest + _FARTHEST}, not on {expected_on}."
        )


def _write_lines(order: PurchaseOrder, requests: Sequence[LineRequest]) -> None:
    """Lines as a person wants them; what a line knows of the parts list stays with its item."""
    faults, item_ids = [], set()
    for number, request in enumerate(requests):
        at, item = f"/lines/{number}", request.item
        if item.pk in item_ids:
            faults.append(Fault(f"{at}/item", f"{item.code} appears twice; give each item one line."))
        item_ids.add(item.pk)
        if request.packs * item.pack_size > MOST_PIECES:
            sentence = f"{request.packs} packs of {item.pack_size} are more than {MOST_PIECES} pieces; order fewer."
            faults.append(Fault(f"{at}/packs", sentence))
    if faults:
        raise InvalidInput("lines_not_valid", "Some lines are not valid.", faults=faults)
    line_of = {line.item_id: line for line in order.lines.all()}
    order.lines.exclude(item__in=item_ids).delete()
    for request in requests:
        item = request.item
        line = line_of.get(item.pk) or PurchaseOrderLine(order=order, item=item)
        # a price that is the catalogue's follows the number of packs; one that a person wrote stays
        is_listed = line.price is None or line.price == item.price_of(line.packs)
        line.packs, line.pack_size = request.packs, item.pack_size
        if request.price is not None:
            line.price = request.price
        elif is_listed:
            line.price = item.price_of(line.packs)
        line.supplier_part_number = item.supplier_part_number if item.supplier_id == order.supplier_id else ""
        line.save()


def _save(row: PurchaseOrder, by: Membership, action: str, details: dict[str, Any], now: datetime) -> None:
    row.updated_at = now
    row.save()
    record(by=by, action=action, subject=row, details=details, now=now)


def _invalid(pointer: str, sentence: str) -> InvalidInput:
    return InvalidInput("day_not_valid", sentence, faults=[Fault(pointer, sentence)])
