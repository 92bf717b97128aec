"""What comes of the orders: received into the store."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.repeats import conflict, difference, worded
from accounts.services import record
from scheduling.models import Delivery, PurchaseOrder, PurchaseOrderLine
from scheduling.planning.stock.lots import Lot
from scheduling.services.orders.orders import lock_order
from scheduling.services.stock.stock import put_into_store, withdraw_delivery
from scheduling.services.stock.supplies import COMING

State = PurchaseOrder.State


@dataclass(frozen=True, slots=True)
class DeliveredPieces:
    """Pieces of one line that came, with their lot and the last day they may be used; a line may come in several."""

    line: int
    quantity: int
    lot: str = ""
    expires_on: date | None = None

    @property
    def as_stored(self) -> dict[str, Any]:
        """As a delivery keeps them."""
        day = self.expires_on.isoformat() if self.expires_on is not None else None
        return {"line": self.line, "quantity": self.quantity, "lot": self.lot, "expires_on": day}


def receive_order(
    *,
    order: PurchaseOrder,
    by: Membership,
    reference: str,
    pieces: Sequence[DeliveredPieces],
    now: datetime,
    received_on: date | None = None,
    note: str = "",
) -> tuple[Delivery, bool]:
    """Book what came of an order into the store, all or nothing.

    A report that comes again under its reference changes nothing.

    Parameters
    ----------
    order
        One that is placed or partly received.
    by, now
        Who received it, and when that is noted.
    reference
        Number of the delivery note, or the sender's own name for the report.
    pieces
        What came.
    received_on
        Day it came; None: today.

    Returns
    -------
    The delivery, and whether it is new.

    Raises
    ------
    Conflict
        When the reference stands for another delivery, naming each field that differs; when nothing of the order is
        still to come.
    InvalidInput
        Naming each row that cannot be right; nothing is stored then.
    """
    with transaction.atomic():
        row = lock_order(order)
        stored = [delivered.as_stored for delivered in pieces]
        earlier_delivery: Delivery | None = row.deliveries.filter(reference=reference, voided_at=None).first()
        if earlier_delivery is not None:
            _check_it_is_the_same(earlier_delivery, stored, note, received_on)
            return earlier_delivery, False
        if row.state not in COMING:
            sentence = f"Order {row.number} is {row.get_state_display()}; nothing is outstanding."
            raise Conflict("nothing_is_coming", sentence)
        day = received_on or row.company.day_at(now)
        lines = {line.pk: line for line in row.lines.select_related("item")}
        _check(row, lines, pieces, day, row.company.day_at(now))
        delivery = Delivery.objects.create(
            order=row,
            reference=reference,
            received_on=day,
            received_by=by,
            pieces=[
                {**piece, "item": lines[piece["line"]].item_id, "item_code": lines[piece["line"]].item.code}
                for piece in stored
            ],
            note=note,
            recorded_at=now,
        )
        _book(delivery, lines, pieces, by, now)
        details = {"reference": reference, "pieces": stored, "state": row.state}
        record(by=by, action="receive order", subject=row, details=details, now=now)
    return delivery, True


def void_delivery(
    *, order: PurchaseOrder, delivery: Delivery, by: Membership, reason: str, now: datetime
) -> PurchaseOrder:
    """Take back a delivery that was booked wrongly, all or nothing: its pieces leave the store and are still to come.

    The delivery stays, named as void, and its reference may be used again. An order that was cancelled stays so.

    Raises
    ------
    InvalidInput
        When the delivery is of another order.
    Conflict
        When it is void already; when it is older than the ledger of stock; when its pieces are no longer there.
    """
    with transaction.atomic():
        row = lock_order(order)
        if delivery.order_id != row.pk:
            numbers = ", ".join(str(pk) for pk in row.deliveries.filter(voided_at=None).values_list("pk", flat=True))
            sentence = f"delivery {delivery.pk} is of another order; of this one there are: {numbers or 'none'}."
            raise InvalidInput("delivery_elsewhere", sentence, pointer="/delivery")
        delivery.refresh_from_db()
        if delivery.voided_at is not None:
            raise Conflict("already_void", f"Delivery {delivery.reference} is void already.")
        withdraw_delivery(delivery=delivery, by=by, reason=reason, now=now)
        lines = {line.pk: line for line in row.lines.all()}
        for piece in delivery.pieces:
            lines[piece["line"]].received -= piece["quantity"]
        PurchaseOrderLine.objects.bulk_update(lines.values(), ["received"])
        if row.state != State.CANCELLED:
            some_came = any(line.received for line in lines.values())
            row.state = State.PARTLY_RECEIVED if some_came else State.PLACED
            row.closed_at = None
        row.updated_at = now
        row.save()
        delivery.voided_at, delivery.voided_by, delivery.void_reason = now, by, reason
        delivery.save(update_fields=["voided_at", "voided_by", "void_reason"])
        details = {"reference": delivery.reference, "pieces": delivery.pieces, "state": row.state, "reason": reason}
        record(by=by, action="void delivery", subject=row, details=details, now=now)
    return row


def _check_it_is_the_same(
    delivery: Delivery, pieces: Sequence[Mapping[str, Any]], note: str, received_on: date | None
) -> None:
    """Refuse a report under the reference of a delivery that it differs from."""
    different = worded("pieces", _in_words(delivery.pieces), _in_words(pieces))
    different += difference("note", delivery.note, note)
    if received_on is not None:
        different += difference("received_on", delivery.received_on, received_on)
    if different:
        raise conflict(delivery.reference, "another delivery of this order", "a delivery", different)


def _book(
    delivery: Delivery,
    lines: Mapping[int, PurchaseOrderLine],
    pieces: Sequence[DeliveredPieces],
    by: Membership,
    now: datetime,
) -> None:
    """Put pieces into the store, and on the order what that makes of it."""
    row = delivery.order
    into_store: dict[int, Counter[Lot]] = defaultdict(Counter)
    for delivered in pieces:
        lines[delivered.line].received += delivered.quantity
        into_store[lines[delivered.line].item_id][Lot(delivered.lot, delivered.expires_on)] += delivered.quantity
    PurchaseOrderLine.objects.bulk_update(lines.values(), ["received"])
    put_into_store(delivery=delivery, pieces=into_store, by=by, now=now)
    all_here = not any(line.outstanding for line in lines.values())
    row.state = State.RECEIVED if all_here else State.PARTLY_RECEIVED
    row.closed_at = now if all_here else None
    row.updated_at = now
    row.save()


def _in_words(pieces: Iterable[Mapping[str, Any]]) -> str:
    count: Counter[tuple[int, str, str]] = Counter()
    for piece in pieces:
        count[piece["line"], piece["lot"], piece.get("expires_on") or ""] += piece["quantity"]
    return ", ".join(
        f"line {line}: {many}{f' of lot {lot}' if lot else ''}{f' that expire on {day}' if day else ''}"
        for (line, lot, day), many in sorted(count.items())
    )


def _check(
    order: PurchaseOrder, lines: dict[int, PurchaseOrderLine], pieces: Sequence[DeliveredPieces], day: date, today: date
) -> None:
    assert order.placed_on is not None
    faults = []
    if not order.placed_on <= day <= today:
        faults.append(
            Fault("/received_on", f"received_on must be from {order.placed_on}, when the order was placed, to {today}.")
        )
    if not pieces:
        faults.append(Fault("/pieces", "pieces must name at least one line that came."))
    delivered: Counter[int] = Counter()
    for number, piece in enumerate(pieces):
        at = f"/pieces/{number}"
        line = lines.get(piece.line)
        if line is None:
            line_names = ", ".join(f"{pk} ({row.item.code})" for pk, row in sorted(lines.items()))
            faults.append(Fault(f"{at}/line", f"line {piece.line} is not on this order; use {line_names}."))
            continue
        delivered[piece.line] += piece.quantity
        if piece.quantity < 1:
            faults.append(Fault(f"{at}/quantity", f"quantity must be at least 1, not {piece.quantity}."))
        elif delivered[piece.line] > line.outstanding:
            faults.append(
                Fault(
                    f"{at}/quantity",
                    f"pieces of {line.item.code} still to come: {line.outstanding}, not {delivered[piece.line]}; "
                    "receive those, and count what is beyond them as stock.",
                )
            )
    if faults:
        raise InvalidInput("delivery_not_valid", "The delivery does not match the order.", faults=faults)
