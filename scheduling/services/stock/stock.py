"""Stock: counted by people, taken by work, filled up by deliveries."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.day_alone import moment_in_words
from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from fleet.models import CatalogueItem
from scheduling.models import Delivery, Installer, ServiceRecord, StockLevel, StockMovement
from scheduling.planning.stock.lots import Lot
from scheduling.services.stock.ledger import STORE, Ledger, van_or_store
from scheduling.services.stock.lots import faults_of_lots, read_lots, stored_lots

Kind = StockMovement.Kind


def count_stock(
    *,
    by: Membership,
    item: CatalogueItem,
    quantity: int,
    now: datetime,
    installer: Installer | None = None,
    counted_at: datetime | None = None,
    lots: Sequence[Mapping[str, Any]] = (),
    shelf: str | None = None,
) -> StockLevel:
    """Write down what was counted of an item in the store, or in an installer's van.

    What moved after the count is still counted, although it was told before. Where `lots` (each with `lot`,
    `expires_on` and `quantity`) are given, they are those that were there; else they are as they were known.
    `shelf` says where it lies there; None leaves it as it is.

    Raises
    ------
    InvalidInput
        When the count lies in the future, when the lots have more pieces than were counted or neither code nor day,
        or when an installer counts anything but the own van.
    Conflict
        When the place was counted again after it.
    """
    at = counted_at or now
    if at > now:
        sentence = f"counted_at {moment_in_words(at)} is in the future; give when it was counted."
        raise InvalidInput("in_the_future", sentence, faults=[Fault("/counted_at", sentence)])
    if by.role == Membership.Role.INSTALLER and (installer is None or installer.membership_id != by.pk):
        sentence = "installers count their own van; give yourself as the installer, or leave the count to the office."
        raise InvalidInput("van_of_another", sentence, faults=[Fault("/installer", sentence)])
    faults = faults_of_lots(lots, quantity)
    if faults:
        raise InvalidInput("lots_not_valid", "The lots cannot be those that were counted.", faults=faults)
    place = van_or_store(installer)
    with transaction.atomic():
        ledger = Ledger(company=item.company_id, by=by, now=now, items=[item.pk])
        level = ledger.level(item.pk, place)
        quantity_before = level.quantity if level is not None else 0
        named = stored_lots(read_lots(lots))
        ledger.count(item=item.pk, place=place, quantity=quantity, counted_at=at, lots=named)
        level = ledger.level(item.pk, place)
        assert level is not None
        if shelf is not None and shelf != level.shelf:
            level.shelf = shelf
            level.save(update_fields=["shelf"])
        details = {"was": quantity_before, "quantity": quantity, **({"lots": named} if named else {})}
        record(by=by, action="count stock", subject=level, details=details, now=now)
    return level


def forget_level(*, level: StockLevel, by: Membership, now: datetime) -> None:
    """Say that an item is no longer kept at a place: its pieces leave the ledger, and are no longer known."""
    with transaction.atomic():
        ledger = Ledger(company=level.company_id, by=by, now=now, items=[level.item_id])
        row = ledger.forget(item=level.item_id, place=van_or_store(level.installer_id))
        if row is not None:
            record(by=by, action="delete stock_level", subject=level, details={"was": row.pieces}, now=now)


def put_into_store(
    *, delivery: Delivery, pieces: Mapping[int, Mapping[Lot, int]], by: Membership, now: datetime
) -> None:
    """Add what was delivered to the store, by item id and lot; call it inside the transaction of the delivery.

    An item that nobody has counted yet counts from now on, with what came.
    """
    ledger = Ledger(company=delivery.order.company_id, by=by, now=now, items=pieces)
    for item, lots in pieces.items():
        ledger.move(
            item=item,
            kind=Kind.RECEIPT,
            pieces=sum(lots.values()),
            destination=STORE,
            happened_at=now,
            delivery=delivery,
            lots=stored_lots(lots),
        )


def withdraw_delivery(*, delivery: Delivery, by: Membership, reason: str, now: datetime) -> list[StockMovement]:
    """Take back what a delivery put into the store; call it inside the transaction that voids the delivery.

    Raises
    ------
    Conflict
        When the delivery is older than the ledger; when its pieces are no longer there.
    """
    rows = delivery.movements.filter(reversal_of=None, reversal=None).select_related("delivery", "service_record")
    movements = list(rows.order_by("pk"))
    if not movements:
        raise Conflict(
            "older_than_the_ledger",
            f"Delivery {delivery.reference} came before movements of stock were kept; count what is in the store.",
        )
    items = {row.item_id for row in movements}
    ledger = Ledger(company=delivery.order.company_id, by=by, now=now, items=items)
    return [ledger.reverse(row, reason=reason) for row in movements]


def take_from_stock(
    *,
    service_record: ServiceRecord,
    quantity_of: Mapping[CatalogueItem, int],
    installer: Installer | None,
    by: Membership,
    now: datetime,
) -> list[dict[str, Any]]:
    """Take pieces from the van, then from the store; call it inside the transaction of the work.

    A report may come in after somebody counted what the work had left: pieces used before the count are gone from it
    already, and are not taken a second time.

    Returns
    -------
    list
        For each item what came from where; `uncounted` pieces were fitted although the last count knew of none, which
        says that the count is wrong.
    """
    ledger = Ledger(company=service_record.company_id, by=by, now=now, items=[item.pk for item in quantity_of])
    own = van_or_store(installer)
    withdrawals = []
    for item, quantity in sorted(quantity_of.items(), key=lambda entry: entry[0].pk):
        withdrawn, missing = {}, quantity
        for place in dict.fromkeys([own, STORE]):
            level = ledger.level(item.pk, place)
            counted_since = level is not None and level.counted_at > service_record.done_at
            withdrawn[place] = missing if counted_since else min(level.quantity if level is not None else 0, missing)
            missing -= withdrawn[place]
        # what nobody knew of must have been in the van, whatever its count said
        for place, pieces in withdrawn.items():
            unknown = missing if place == own else 0
            if pieces + unknown:
                ledger.move(
                    item=item.pk,
                    kind=Kind.WORK,
                    pieces=pieces + unknown,
                    uncounted=unknown,
                    source=place,
                    happened_at=service_record.done_at,
                    service_record=service_record,
                )
        from_store = withdrawn[STORE]
        withdrawals.append(
            {
                "item": item.pk,
                "quantity": quantity,
                "from_van": quantity - from_store - missing,
                "from_store": from_store,
                "uncounted": missing,
            }
        )
    return withdrawals


def put_into_stock(
    *,
    service_record: ServiceRecord,
    quantity_of: Mapping[CatalogueItem, int],
    installer: Installer | None,
    by: Membership,
    now: datetime,
) -> list[dict[str, Any]]:
    """Put pieces that were over into the van, or into the store where nobody drives; inside the work's transaction.

    A level that nobody has counted yet stays unknown, and one that was counted since knows of them already.
    """
    ledger = Ledger(company=service_record.company_id, by=by, now=now, items=[item.pk for item in quantity_of])
    put = []
    for item, quantity in sorted(quantity_of.items(), key=lambda entry: entry[0].pk):
        ledger.move(
            item=item.pk,
            kind=Kind.LEFTOVER,
            pieces=quantity,
            destination=van_or_store(installer),
            happened_at=service_record.done_at,
            begins_total=False,
            service_record=service_record,
        )
        put.append({"item": item.pk, "quantity": quantity})
    return put


def give_back(*, service_record: ServiceRecord, by: Membership, now: datetime, reason: str) -> list[StockMovement]:
    """Take back all that a report of work did to the stock; call it inside the transaction that voids the report.

    Pieces go back where they came from, unless that place was counted after the work: then the count stands. Pieces
    that were left over leave again; where they have been used since, what is missing was never counted.

    Returns
    -------
    list
        The reversals, oldest movement first; empty when all of it was given back before, or when the report is older
        than the ledger, so that only a count tells what is there.
    """
    rows = StockMovement.objects.of_company(service_record.company).filter(
        service_record=service_record, reversal_of=None, reversal=None
    )
    with transaction.atomic():
        items = sorted(set(rows.order_by().values_list("item", flat=True)))
        ledger = Ledger(company=service_record.company_id, by=by, now=now, items=items)
        # read again under the lock: two may give back at once
        movements = list(rows.select_related("delivery", "service_record").order_by("pk"))
        return [ledger.reverse(row, reason=reason, as_found=True) for row in movements]
