"""Stock: counted by people, taken by work, filled up by deliveries."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.errors import Fault, InvalidInput
from accounts.models import Company, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.models import CatalogueItem
from scheduling.models import Installer, StockLevel

#: Most pieces of one item that one place holds; more is a slip of the pen.
MOST_PIECES = 1_000_000


def count_stock(
    *,
    by: Membership,
    item: CatalogueItem,
    quantity: int,
    now: datetime,
    installer: Installer | None = None,
    counted_at: datetime | None = None,
) -> StockLevel:
    """Write down what was counted of an item in the store, or in an installer's van.

    Raises
    ------
    InvalidInput
        When the count lies in the future.
    """
    at = counted_at or now
    if at > now:
        sentence = f"counted_at {at.isoformat()} is in the future; give when it was counted."
        raise InvalidInput("in_the_future", sentence, faults=[Fault("/counted_at", sentence)])
    with transaction.atomic():
        lock_company(item.company_id)
        level, _ = StockLevel.objects.get_or_create(
            company_id=item.company_id, item=item, installer=installer, defaults={"counted_at": at}
        )
        quantity_before, level.quantity, level.counted_at = level.quantity, quantity, at
        level.save(update_fields=["quantity", "counted_at"])
        record(
            by=by, action="count stock", subject=level, details={"was": quantity_before, "quantity": quantity}, now=now
        )
    return level


def put_into_store(*, company: Company, pieces: Mapping[int, int], now: datetime) -> None:
    """Add what was delivered to the store, by item id; call it inside the transaction of the delivery.

    An item that nobody has counted yet counts from now on, with what came.
    """
    rows = StockLevel.objects.select_for_update(no_key=True).of_company(company).filter(installer=None)
    levels = {level.item_id: level for level in rows.filter(item__in=list(pieces))}
    for item, quantity in pieces.items():
        level = levels.get(item) or StockLevel(company=company, item_id=item, counted_at=now)
        if level.quantity + quantity > MOST_PIECES:
            sentence = f"the store would hold more than {MOST_PIECES} pieces of one item; count it first."
            raise InvalidInput("too_many_pieces", sentence)
        level.quantity += quantity
        level.save()


def take_from_stock(
    *, company: Company, quantity_of: Mapping[CatalogueItem, int], installer: Installer | None, used_at: datetime
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
    rows = StockLevel.objects.select_for_update(no_key=True).of_company(company).filter(item__in=list(quantity_of))
    levels = {(level.item_id, level.installer_id): level for level in rows.order_by("pk")}
    withdrawals = []
    for item, quantity in sorted(quantity_of.items(), key=lambda entry: entry[0].pk):
        missing = quantity
        van = levels.get((item.pk, installer.pk)) if installer is not None else None
        store = levels.get((item.pk, None))
        counted = van if van is not None else store
        if counted is not None and counted.counted_at > used_at:
            from_van, from_store = (quantity, 0) if van is not None else (0, quantity)
            missing = 0
        else:
            from_van, missing = _take(van, missing)
            from_store, missing = _take(store, missing)
        withdrawals.append(
            {
                "item": item.pk,
                "quantity": quantity,
                "from_van": from_van,
                "from_store": from_store,
                "uncounted": missing,
            }
        )
    return withdrawals


def _take(level: StockLevel | None, quantity: int) -> tuple[int, int]:
    if level is None:
        return 0, quantity
    withdrawn = min(level.quantity, quantity)
    if withdrawn:
        level.quantity -= withdrawn
        level.save(update_fields=["quantity"])
    return withdrawn, quantity - withdrawn


def put_into_stock(
    *, company: Company, quantity_of: Mapping[CatalogueItem, int], installer: Installer | None, added_at: datetime
) -> list[dict[str, Any]]:
    """Put pieces that were over into the van, or into the store where nobody drives; inside the work's transaction.

    A level that nobody has counted yet stays unknown, and one that was counted since knows of them already.
    """
    rows = StockLevel.objects.select_for_update(no_key=True).of_company(company).filter(item__in=list(quantity_of))
    levels = {level.item_id: level for level in rows.filter(installer=installer).order_by("pk")}
    put = []
    for item, quantity in sorted(quantity_of.items(), key=lambda entry: entry[0].pk):
        level = levels.get(item.pk)
        if level is not None and level.counted_at <= added_at:
            level.quantity += quantity
            level.save(update_fields=["quantity"])
        put.append({"item": item.pk, "quantity": quantity})
    return put
