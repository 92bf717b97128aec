"""Cartridges come and go: placed, removed, rotated from lag to lead. Each stay is kept; nothing is overwritten."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import transaction

from accounts.day_alone import moment_in_words
from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from accounts.services import record
from fleet.models import CatalogueItem, Forecast, Placement, Position, Stage, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.formats import refuse_wrong_format
from fleet.services.units.moments import check_moment

_ONE_MINUTE: Final = timedelta(minutes=1)
"""Two cartridges in one position within a minute are one that was told twice."""


@dataclass(frozen=True)
class Rotation:
    """What a rotation did: the discarded lead (None when the lead stood empty), the moved and the fresh cartridge."""

    discarded: Placement | None
    moved: Placement
    fresh: Placement


def place(
    *,
    position: Position,
    item: CatalogueItem,
    by: Membership | None,
    now: datetime,
    placed_at: datetime | None = None,
    serial_or_lot: str = "",
    removal: str = "",
) -> Placement:
    """Put a fresh cartridge into a position.

    Parameters
    ----------
    placed_at
        When it was done; now when None. Not in the future, and not before what stood there last.
    removal
        Why the installed cartridge leaves ('exhausted', 'early', 'damaged', 'routine', 'unknown'); empty demands that
        there is none.

    Raises
    ------
    InvalidInput
        When the item belongs to another stage, is of another format or no longer used, or the time cannot be.
    Conflict
        When a cartridge stands there and no reason for its removal is given.
    """
    at = _moment(position.unit, placed_at, now)
    with transaction.atomic():
        _lock(position.unit_id)
        check_item(position, item)
        present = _placement_at(position, at)
        later = (present.removed_at, present.removal) if present is not None else (None, "")
        if present is not None:
            if not removal:
                raise Conflict(
                    "position_is_taken",
                    f"A cartridge has been installed there since {present.placed_at:%Y-%m-%d}; give 'removal' to "
                    "replace it, or remove it first.",
                    pointer="/removal",
                )
            _end(present, at, removal)
        else:
            _check_gap(position, at)
        fresh = Placement.objects.create(
            position=position,
            item=item,
            serial_or_lot=serial_or_lot,
            placed_at=at,
            first_installed_at=at,
            # a report that was overtaken by a later one: what was fitted then has left again by now
            removed_at=later[0],
            removal=later[1],
            entered_by=by,
            entered_at=now,
        )
        follow(position.unit, [position], now)
        _note(by, "place cartridge", fresh, now, position, {"item": item.code, "replaces": present and present.pk})
    return fresh


def remove(
    *, placement: Placement, removal: str, by: Membership | None, now: datetime, removed_at: datetime | None = None
) -> Placement:
    """Take the cartridge out of its position, for good.

    Raises
    ------
    InvalidInput
        When the reason is none of 'exhausted', 'early', 'damaged', 'routine', 'unknown', or the time cannot be.
    Conflict
        When it has left already, or was taken back.
    """
    at = _moment(placement.position.unit, removed_at, now, pointer="/removed_at")
    with transaction.atomic():
        _lock(placement.position.unit_id)
        refuse_taken_back(placement)
        current = Placement.objects.select_related("position__unit").get(pk=placement.pk)
        if current.removed_at is not None:
            raise Conflict("already_removed", f"This cartridge was removed on {current.removed_at:%Y-%m-%d}.")
        _end(current, at, removal, pointer="/removed_at", is_replaced=False)
        follow(current.position.unit, [current.position], now)
        _note(by, "remove cartridge", current, now, current.position, {"removal": removal})
    return current


def refuse_taken_back(placement: Placement) -> None:
    """Raise a Conflict where the placement was voided: it never was."""
    if placement.voided_at is not None:
        raise Conflict(
            "already_voided",
            f"This placement was taken back on {placement.voided_at:%Y-%m-%d}: {placement.void_reason}",
        )


def rotate_lead_lag(
    *,
    unit: Unit,
    stage: str,
    item: CatalogueItem,
    by: Membership | None,
    now: datetime,
    rotated_at: datetime | None = None,
    serial_or_lot: str = "",
    removal: str = Placement.Removal.ROUTINE,
) -> Rotation:
    """Discard the lead cartridge, move the lag to lead and put a fresh one in lag.

    The moved cartridge begins a new stay that names the old one and keeps the day it was first installed, so that its
    used capacity and its age go with it.

    Parameters
    ----------
    item
        The fresh cartridge for the lag position.
    removal
        Why the lead leaves: 'exhausted' only when that was seen, 'early' when it was found good, else 'damaged',
        'routine' (nobody looked) or 'unknown'.

    Raises
    ------
    InvalidInput
        When the unit has no lead and lag of this stage, or the item or the time cannot be.
    Conflict
        When no cartridge stands in lag to move.
    """
    at = _moment(unit, rotated_at, now, pointer="/rotated_at")
    with transaction.atomic():
        _lock(unit.pk)
        positions = {position.role: position for position in Position.objects.filter(unit=unit, stage=stage)}
        lead, lag = positions.get(Position.Role.LEAD), positions.get(Position.Role.LAG)
        if lead is None or lag is None:
            raise InvalidInput(
                "no_lead_and_lag",
                f"{unit.code} has no lead and lag of '{stage}'; place a fresh cartridge instead.",
                pointer="/stage",
            )
        check_item(lag, item)
        present_lead, present_lag = _present_placement(lead), _present_placement(lag)
        if present_lag is None:
            raise Conflict("lag_is_empty", "There is no cartridge in lag to move; place one in lead.")
        if present_lead is not None:
            _end(present_lead, at, removal, pointer="/rotated_at")
        else:
            _check_gap(lead, at)
        _end(present_lag, at, Placement.Removal.ROTATED, pointer="/rotated_at", moved=True)
        moved = Placement.objects.create(
            position=lead,
            item=present_lag.item,
            serial_or_lot=present_lag.serial_or_lot,
            placed_at=at,
            first_installed_at=present_lag.first_installed_at,
            continues=present_lag,
            entered_by=by,
            entered_at=now,
        )
        fresh = Placement.objects.create(
            position=lag,
            item=item,
            serial_or_lot=serial_or_lot,
            placed_at=at,
            first_installed_at=at,
            entered_by=by,
            entered_at=now,
        )
        follow(unit, [lead, lag], now)
        _note(by, "rotate lead and lag", moved, now, lead, {"fresh": fresh.pk, "item": item.code, "removal": removal})
    return Rotation(present_lead, moved, fresh)


def _lock(unit_id: int) -> None:
    """Take the unit, so that two changes to its cartridges follow one another."""
    Unit.objects.select_for_update(no_key=True).get(pk=unit_id)


def follow(unit: Unit, positions: Sequence[Position], now: datetime) -> None:
    """A forecast of what stands there no more is history at once, whenever the next one is made."""
    for position in positions:
        present = _present_placement(position)
        latest = Forecast.objects.filter(position=position, is_latest=True)
        latest.exclude(placement=present).update(is_latest=False)
    announce(unit.company_id, units=[unit.pk], kind=Kind.TRAIN, now=now)


def _present_placement(position: Position) -> Placement | None:
    present: Placement | None = (
        Placement.objects.filter(position=position, removed_at__isnull=True).select_related("position", "item").first()
    )
    return present


def _placement_at(position: Position, at: datetime) -> Placement | None:
    """What stood there at a moment; what stands there now, unless a later report came in first."""
    present = _present_placement(position)
    if present is None or present.placed_at <= at:
        return present
    earlier: Placement | None = (
        Placement.objects.filter(position=position, placed_at__lte=at, removed_at__gt=at, continued_by__isnull=True)
        .select_related("position", "item")
        .first()
    )
    return earlier or present


def _moment(unit: Unit, stated_at: datetime | None, now: datetime, pointer: str = "/placed_at") -> datetime:
    if stated_at is not None:
        check_moment(unit, stated_at, now, pointer)
    return stated_at or now


def check_item(position: Position, item: CatalogueItem, *, is_past: bool = False) -> None:
    """Refuse an item of another stage, and, unless it stood there in the past, one of another format or no longer used.

    Raises
    ------
    InvalidInput
        Pointing at the item.
    """
    if item.kind != position.stage:
        raise InvalidInput(
            "wrong_stage",
            f"{item.code} is '{item.get_kind_display()}' and cannot be placed in a {Stage(position.stage).label} "
            "position.",
            pointer="/item",
        )
    if is_past:
        return
    if not item.is_active:
        raise InvalidInput("item_not_in_use", f"{item.code} is no longer used; choose another item.", pointer="/item")
    refuse_wrong_format(position, item)


def _check_gap(position: Position, at: datetime) -> None:
    """Refuse to place a cartridge into a time when another one stood there."""
    last = Placement.objects.filter(position=position, removed_at__gt=at).order_by("-removed_at").first()
    if last is not None:
        raise InvalidInput(
            "overlaps_another",
            f"Until {moment_in_words(last.removed_at)} another cartridge stood there; the new one cannot be placed "
            f"on {moment_in_words(at)}.",
            pointer="/placed_at",
        )


def _end(
    placement: Placement,
    at: datetime,
    removal: str,
    *,
    pointer: str = "/placed_at",
    moved: bool = False,
    is_replaced: bool = True,
) -> Placement:
    words = [choice for choice in Placement.Removal.values if choice != Placement.Removal.ROTATED]
    if not moved and removal not in words:
        raise InvalidInput(
            "unknown_removal",
            f"'{removal[:40]}' is no reason to remove a cartridge; write one of {', '.join(words)}.",
            pointer="/removal",
        )
    if at <= placement.placed_at or (is_replaced and at < placement.placed_at + _ONE_MINUTE):
        raise InvalidInput(
            "before_placing",
            f"{moment_in_words(at)} is not after the cartridge there was placed on "
            f"{moment_in_words(placement.placed_at)}.",
            pointer=pointer,
        )
    placement.removed_at = at
    placement.removal = removal
    placement.save(update_fields=["removed_at", "removal"])
    return placement


def _note(
    by: Membership | None,
    action: str,
    subject: Placement,
    now: datetime,
    position: Position,
    details: dict[str, object],
) -> None:
    if by is not None:
        record(by=by, action=action, subject=subject, now=now, details={"position": position.pk, **details})
