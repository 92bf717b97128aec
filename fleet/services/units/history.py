"""Stays of cartridges that are entered later, in any order: each finds its place between those that are known."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from accounts.day_alone import moment_in_words
from accounts.errors import InvalidInput
from accounts.models import Membership
from accounts.services import record
from fleet.models import CatalogueItem, Forecast, Placement, Position, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.units.moments import check_moment
from fleet.services.units.placements import check_item

SAME_DAY: Final = timedelta(hours=36)
"""Two notes of one change seldom agree to the hour."""


def enter_placement(
    *,
    position: Position,
    item: CatalogueItem,
    placed_at: datetime,
    by: Membership | None,
    now: datetime,
    removed_at: datetime | None = None,
    removal: str = "",
    serial_or_lot: str = "",
) -> tuple[Placement, str]:
    """Enter that a cartridge stood in a position from one moment to another, or since one.

    What stood there before and is not known to have left has left by then, for an unknown reason; a placement whose end
    is not told ends where the next one begins. The same item placed within a day and a half is the same placement.

    Parameters
    ----------
    removed_at
        When it left; None: at the next change, or it still stands there.
    removal
        Why it left; empty where that is not known.

    Returns
    -------
    placement, outcome
        The placement, and 'made', 'changed' or 'left' as it was.

    Raises
    ------
    InvalidInput
        When the item belongs to another stage, the times cannot be, or another cartridge stood there then.
    """
    with transaction.atomic():
        Unit.objects.select_for_update(no_key=True).get(pk=position.unit_id)
        _check_moments(position.unit, placed_at, removed_at, now)
        check_item(position, item, is_past=removed_at is not None)
        others = list(Placement.objects.filter(position=position).order_by("placed_at", "pk").select_related("item"))
        same = [
            placement
            for placement in others
            if placement.item_id == item.pk and abs(placement.placed_at - placed_at) < SAME_DAY
        ]
        if same:
            return same[0], _complete(same[0], removed_at, removal, serial_or_lot, by, now)
        before = [placement for placement in others if placement.placed_at <= placed_at]
        after = next((placement for placement in others if placement.placed_at > placed_at), None)
        if before:
            left_at = before[-1].removed_at
            if left_at is None:
                _end(before[-1], placed_at)
            elif left_at > placed_at:
                if before[-1].removal != Placement.Removal.UNKNOWN or after is None or left_at != after.placed_at:
                    raise _overlap(before[-1], placed_at)
                # Its end was only inferred from the change after it, before this one was known.
                _end(before[-1], placed_at)
        if after is not None:
            if removed_at is not None and removed_at > after.placed_at:
                raise _overlap(after, removed_at)
            removed_at = removed_at or after.placed_at
        placement = Placement.objects.create(
            position=position,
            item=item,
            serial_or_lot=serial_or_lot,
            placed_at=placed_at,
            first_installed_at=placed_at,
            removed_at=removed_at,
            removal=(removal or Placement.Removal.UNKNOWN) if removed_at is not None else "",
            entered_by=by,
            entered_at=now,
        )
        _follow(position, now)
        if by is not None:
            record(
                by=by,
                action="enter placement",
                subject=placement,
                now=now,
                details={"position": position.pk, "item": item.code},
            )
    return placement, "made"


def link_rotations(*, units: Iterable[int], now: datetime) -> int:
    """Let each cartridge that came to lead the moment it left lag keep the age it has; how many were linked."""
    linked = 0
    leads = Placement.objects.filter(
        position__unit__in=list(units), position__role=Position.Role.LEAD, continues__isnull=True
    ).select_related("position")
    for lead in leads:
        came_from = (
            Placement.objects.filter(
                position__unit=lead.position.unit_id,
                position__stage=lead.position.stage,
                position__role=Position.Role.LAG,
                item=lead.item_id,
                removal=Placement.Removal.ROTATED,
                removed_at=lead.placed_at,
                continued_by__isnull=True,
            )
            .order_by("pk")
            .first()
        )
        if came_from is None:
            continue
        lead.continues, lead.first_installed_at = came_from, came_from.first_installed_at
        lead.save(update_fields=["continues", "first_installed_at"])
        _follow(lead.position, now)
        linked += 1
    return linked


def _check_moments(unit: Unit, placed_at: datetime, removed_at: datetime | None, now: datetime) -> None:
    for name, at in (("placed_at", placed_at), ("removed_at", removed_at)):
        if at is not None:
            check_moment(unit, at, now, f"/{name}")
    if removed_at is not None and removed_at <= placed_at:
        raise InvalidInput(
            "before_placing",
            f"{moment_in_words(removed_at)} is not after the cartridge was placed on {moment_in_words(placed_at)}.",
            pointer="/removed_at",
        )


def _complete(
    placement: Placement,
    removed_at: datetime | None,
    removal: str,
    serial_or_lot: str,
    by: Membership | None,
    now: datetime,
) -> str:
    """Fill in what is told now and was not known; what is known otherwise is not overwritten."""
    changed = []
    if removed_at is not None and placement.removed_at is None:
        placement.removed_at, placement.removal = removed_at, removal or Placement.Removal.UNKNOWN
        changed += ["removed_at", "removal"]
    elif removal and placement.removed_at is not None and placement.removal == Placement.Removal.UNKNOWN != removal:
        placement.removal = removal
        changed.append("removal")
    if serial_or_lot and not placement.serial_or_lot:
        placement.serial_or_lot = serial_or_lot
        changed.append("serial_or_lot")
    if (
        removed_at is not None
        and placement.removed_at is not None
        and abs(placement.removed_at - removed_at) >= SAME_DAY
    ):
        raise InvalidInput(
            "known_otherwise",
            f"This cartridge is known to have left on {placement.removed_at:%Y-%m-%d}, not {removed_at:%Y-%m-%d}.",
            pointer="/removed_at",
        )
    if not changed:
        return "left"
    placement.save(update_fields=changed)
    _follow(placement.position, now)
    if by is not None:
        record(by=by, action="complete placement", subject=placement, now=now, details={"fields": changed})
    return "changed"


def _end(placement: Placement, at: datetime) -> None:
    placement.removed_at, placement.removal = at, Placement.Removal.UNKNOWN
    placement.save(update_fields=["removed_at", "removal"])


def _overlap(placement: Placement, at: datetime) -> InvalidInput:
    until = f"until {placement.removed_at:%Y-%m-%d}" if placement.removed_at else "and stands there still"
    return InvalidInput(
        "overlaps_another",
        f"{placement.item.code} stood there from {placement.placed_at:%Y-%m-%d} {until}, so also on {at:%Y-%m-%d}.",
        pointer="/placed_at",
    )


def _follow(position: Position, now: datetime) -> None:
    present = Placement.objects.filter(position=position, removed_at__isnull=True).first()
    Forecast.objects.filter(position=position, is_latest=True).exclude(placement=present).update(is_latest=False)
    announce(position.unit.company_id, units=[position.unit_id], kind=Kind.TRAIN, now=now)
