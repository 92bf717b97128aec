"""Movements of stock that people enter, and how each is taken back."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from django.db import transaction

from accounts.day_alone import moment_in_words
from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from fleet.models import CatalogueItem
from scheduling.models import Installer, StockMovement
from scheduling.planning.stock.lots import Lot
from scheduling.services.stock.ledger import OUTSIDE, Ledger, Place, van_or_store
from scheduling.services.stock.lots import stored_lots

Kind = StockMovement.Kind

#: Kinds that people enter, and whether pieces leave a place of the company, and whether they come to one.
ENTERED: Final[Mapping[str, tuple[bool, bool]]] = {
    Kind.TRANSFER: (True, True),
    Kind.RETURN: (False, True),
    Kind.SUPPLIER_RETURN: (True, False),
    Kind.SCRAP: (True, False),
}


def move_stock(
    *,
    by: Membership,
    item: CatalogueItem,
    kind: str,
    pieces: int,
    reason: str,
    now: datetime,
    from_installer: Installer | None = None,
    to_installer: Installer | None = None,
    happened_at: datetime | None = None,
    lot: str = "",
) -> StockMovement:
    """Write that pieces were moved between store and van, brought back from a site, sent back or scrapped.

    Parameters
    ----------
    kind
        One of `ENTERED`.
    from_installer, to_installer
        Whose van they left or came to; None: the store, where the kind has such a place at all.
    happened_at
        When; None: now.
    lot
        Code of the lot they are of; empty: not known, or those that leave first.

    Raises
    ------
    InvalidInput
        Naming each field that cannot be right: a place that the kind does not have, the van of somebody else, more
        pieces than are there, a time in the future or before the place was counted.
    """
    at = happened_at or now
    leaves, comes = ENTERED[kind]
    faults = []
    if from_installer is not None and not leaves:
        faults.append(Fault("/from_installer", f"a {_said(kind)} comes from outside; leave from_installer out."))
    if to_installer is not None and not comes:
        faults.append(Fault("/to_installer", f"a {_said(kind)} goes outside; leave to_installer out."))
    if leaves and comes and from_installer == to_installer:
        faults.append(Fault("/to_installer", "the pieces must go to another place; give another van, or one of them."))
    if at > now:
        faults.append(Fault("/happened_at", f"{moment_in_words(at)} is in the future; give when it happened."))
    faults += _of_somebody_else(by, kind, {"/from_installer": from_installer, "/to_installer": to_installer})
    if faults:
        raise InvalidInput("movement_not_valid", "The pieces cannot have moved so.", faults=faults)
    source = van_or_store(from_installer) if leaves else OUTSIDE
    destination = van_or_store(to_installer) if comes else OUTSIDE
    with transaction.atomic():
        ledger = Ledger(company=item.company_id, by=by, now=now, items=[item.pk])
        _check_there_are_so_many(ledger, item, source, destination, pieces, at)
        row = ledger.move(
            item=item.pk,
            kind=kind,
            pieces=pieces,
            source=source,
            destination=destination,
            happened_at=at,
            reason=reason,
            lots=stored_lots({Lot(lot): pieces}),
        )
        details = {"kind": kind, "item": item.code, "pieces": pieces, "from": _name(source), "to": _name(destination)}
        details |= {"lot": lot} if lot else {}
        record(by=by, action="move stock", subject=row, details={**details, "reason": reason}, now=now)
    return row


def void_movement(*, movement: StockMovement, by: Membership, reason: str, now: datetime) -> StockMovement:
    """Take a count, or a movement that a person entered, back by its reversal.

    Returns
    -------
    The reversal.

    Raises
    ------
    Conflict
        When it follows from a delivery or a report of work, which are put right themselves; when it is void already;
        when the pieces it brought are no longer there.
    """
    if movement.kind == Kind.RECEIPT and movement.delivery is not None:
        order, reference = movement.delivery.order, movement.delivery.reference
        raise Conflict(
            "follows_from_a_delivery",
            f"It follows from delivery {reference} of order {order.number}; void that delivery.",
        )
    if movement.service_record is not None:
        raise Conflict(
            "follows_from_work",
            f"It follows from the report of work {movement.service_record.reference}; put that report right.",
        )
    with transaction.atomic():
        ledger = Ledger(company=movement.company_id, by=by, now=now, items=[movement.item_id])
        row = ledger.reverse(movement, reason=reason)
        details = {"kind": movement.kind, "item": movement.item.code, "pieces": movement.pieces, "reason": reason}
        record(by=by, action="void stock movement", subject=movement, details=details, now=now)
    return row


def _of_somebody_else(by: Membership, kind: str, vans: Mapping[str, Installer | None]) -> list[Fault]:
    """What an installer may not move: an installer moves pieces of the own van."""
    if by.role != Membership.Role.INSTALLER:
        return []
    foreign = {pointer for pointer, van in vans.items() if van is not None and van.membership_id != by.pk}
    sentence = "installers move pieces of their own van; leave other vans to the office."
    if foreign:
        return [Fault(pointer, sentence) for pointer in sorted(foreign)]
    if not any(vans.values()):
        pointer = "/to_installer" if ENTERED[kind][1] else "/from_installer"
        return [Fault(pointer, "installers move pieces of their own van; give yourself as the installer.")]
    return []


def _check_there_are_so_many(
    ledger: Ledger, item: CatalogueItem, source: Place, destination: Place, pieces: int, at: datetime
) -> None:
    faults = []
    for place in (source, destination):
        level = ledger.level(item.pk, place)
        if level is not None and level.counted_at > at:
            faults.append(
                Fault(
                    "/happened_at",
                    f"{_name(place)} was counted after it, at {moment_in_words(level.counted_at)}, and knows of it "
                    "already; give a later time, or count again.",
                )
            )
    level = ledger.level(item.pk, source)
    there = level.quantity if level is not None else 0
    if not source.is_outside and pieces > there:
        faults.append(
            Fault(
                "/pieces",
                f"pieces of {item.code} in {_name(source)}: {there}, not {pieces}; count them first where there are "
                "more.",
            )
        )
    if faults:
        raise InvalidInput("movement_not_valid", "The pieces cannot have moved so.", faults=faults)


def _name(place: Place) -> str:
    if place.installer is not None:
        return f"the van of {Installer.objects.get(pk=place.installer).name}"
    return "outside" if place.is_outside else "the store"


def _said(kind: str) -> str:
    return kind.replace("_", " ")
