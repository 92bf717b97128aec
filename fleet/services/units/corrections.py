"""What was entered wrongly of a cartridge is put right: the old row stays, and what follows from it follows anew.

A change of a cartridge is one moment: the old one leaves as the new one comes. Taking a placement back lets what stood
before it stand on until it would have left; putting another in its place ends that one again, for the reason it had.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from accounts.day_alone import moment_in_words
from accounts.errors import Conflict, InvalidInput
from accounts.models import Membership
from accounts.services import record
from fleet.models import CatalogueItem, Placement, Position, Unit
from fleet.services.putting_right import refuse_stranger, void
from fleet.services.units.moments import check_moment
from fleet.services.units.placements import check_item, follow, refuse_taken_back

CHANGEABLE: Final = ("item", "position", "placed_at", "removed_at", "removal", "serial_or_lot")
"""What a correction may say anew."""

Question = Callable[[Placement], None]
_asked_before: dict[str, Question] = {}


def correct_placement(*, placement: Placement, reason: str, by: Membership, now: datetime, **changes: Any) -> Placement:
    """Put another placement in the place of one that was entered wrongly.

    Parameters
    ----------
    reason
        Why, for whoever reads the old one.
    changes
        Of `CHANGEABLE`, what was wrong and is right now; the rest stays. `removed_at` None: it still stands there.

    Returns
    -------
    The new placement, which names the old one in `corrects`.

    Raises
    ------
    InvalidInput
        When nothing changes, or what is said cannot be.
    NotAllowed
        When an installer did not enter it, or did so too long ago.
    Conflict
        When it was taken back already, or a rotation rests on it.
    """
    with transaction.atomic():
        old = _locked(placement, by, now)
        changed = _really_changed(old, changes)
        if not changed:
            raise InvalidInput(
                "nothing_changes", f"All is so already; give what was wrong, one or more of {', '.join(CHANGEABLE)}."
            )
        units = {old.position.unit_id, changed.get("position", old.position).unit_id}
        list(Unit.objects.select_for_update(no_key=True).filter(pk__in=units).order_by("pk").values_list("pk"))
        rotation = _rotation_at(old)
        if rotation is not None and changed.keys() & {"position", "removed_at"}:
            raise Conflict(
                "part_of_a_rotation",
                f"On {old.placed_at:%Y-%m-%d} it came by a rotation of lead and lag; take the rotation back with "
                f"placements/{rotation.moved.pk}/void/ and enter what was done.",
            )
        successor = _continued_by(old)
        if successor is not None and changed.keys() & {"position", "removed_at", "removal"}:
            raise _later_rotation(successor)
        if rotation is not None and "placed_at" in changed:
            fresh = _move_rotation(rotation, old, changed, reason=reason, by=by, now=now)
        elif changed.keys() <= {"item", "serial_or_lot"}:
            check_item(old.position, changed.get("item", old.item), is_past=True)
            fresh = _replace_cartridge(old, changed, reason=reason, by=by, now=now)
        else:
            _refuse_end_of_next_change(old, changed)
            (fresh,) = _put_again([(old, changed)], reason=reason, by=by, now=now)
        _follow(units, by, now)
        record(
            by=by,
            action="correct placement",
            subject=fresh,
            now=now,
            details={
                "corrects": old.pk,
                "reason": reason,
                "changed": {name: _change(old, fresh, name) for name in changed},
            },
        )
    return fresh


def swap_placements(
    *, placement: Placement, other: Placement, reason: str, by: Membership, now: datetime
) -> tuple[Placement, Placement]:
    """Put two cartridges that were entered in one another's positions where they stand.

    Raises
    ------
    InvalidInput
        When they stood in positions of different stages or units, or are one.
    NotAllowed, Conflict
        As for `correct_placement`.
    """
    with transaction.atomic():
        first, second = _locked(placement, by, now), _locked(other, by, now)
        same_train = (first.position.unit_id, first.position.stage) == (second.position.unit_id, second.position.stage)
        if first.position_id == second.position_id or not same_train:
            raise InvalidInput(
                "not_to_be_swapped",
                "Only cartridges of two positions of one stage of one unit can be swapped; correct the position.",
                pointer="/other",
            )
        for each in (first, second):
            if _rotation_at(each) is not None or _continued_by(each) is not None:
                raise Conflict(
                    "part_of_a_rotation", f"Placement {each.pk} is part of a rotation; take the rotation back first."
                )
        fresh = _put_again(
            [(first, {"position": second.position}), (second, {"position": first.position})],
            reason=reason,
            by=by,
            now=now,
        )
        _follow({first.position.unit_id}, by, now)
        for new, old in zip(fresh, (first, second), strict=True):
            details = {"corrects": old.pk, "reason": reason, "changed": {"position": _change(old, new, "position")}}
            record(by=by, action="correct placement", subject=new, now=now, details=details)
    return fresh[0], fresh[1]


def void_placement(*, placement: Placement, reason: str, by: Membership, now: datetime) -> Placement:
    """Take back a placement that never was; what stood there before it stood on.

    One that came by a rotation takes the rotation back: the lead stood on, and so did the lag.

    Raises
    ------
    InvalidInput
        Without a reason.
    NotAllowed
        When an installer did not enter it, or did so too long ago.
    Conflict
        When it was taken back already, or a later rotation rests on it.
    """
    with transaction.atomic():
        old = _locked(placement, by, now)
        return take_back_placement(placement=old, reason=reason, by=by, now=now)


def take_back_placement(*, placement: Placement, reason: str, by: Membership, now: datetime) -> Placement:
    """Take back what a report of work fitted: as `void_placement`, for a caller that decided who may.

    Raises
    ------
    InvalidInput, Conflict
        As for `void_placement`.
    """
    with transaction.atomic():
        old = _fetched(placement)
        rotation = _rotation_at(old)
        rows = [old] if rotation is None else [rotation.fresh, rotation.moved]
        for row in rows:
            successor = _continued_by(row)
            if successor is not None:
                raise _later_rotation(successor)
        stood_on = []
        for row in rows:
            stood_on += _lift_out(row, reason=reason, by=by, now=now)
        _follow({old.position.unit_id}, by, now)
        for row in rows:
            details = {"reason": reason, "position": row.position_id, "stood on": [each.pk for each in stood_on]}
            record(by=by, action="void placement", subject=row, now=now, details=details)
    old.refresh_from_db()
    return old


@dataclass(frozen=True)
class _RotationRows:
    """The rows of one rotation: what left the lead (None: it stood empty), what moved there, what is fresh in lag."""

    left: Placement | None
    came_from: Placement
    moved: Placement
    fresh: Placement


def ask_before(name: str, question: Question) -> None:
    """Have somebody else refuse what rests on them, with a `Conflict`; the same name again takes the first's place.

    A room does so when its application is ready, so that nothing here has to know of it.
    """
    _asked_before[name] = question


def _locked(placement: Placement, by: Membership, now: datetime) -> Placement:
    row = _fetched(placement)
    refuse_stranger(by=by, entered_by=row.entered_by_id, entered_at=row.entered_at, now=now)
    for question in _asked_before.values():
        question(row)
    return row


def _fetched(placement: Placement) -> Placement:
    Unit.objects.select_for_update(no_key=True).get(pk=placement.position.unit_id)
    row: Placement = Placement.with_voided.select_related("position__unit__site", "item").get(pk=placement.pk)
    refuse_taken_back(row)
    return row


def _really_changed(old: Placement, changes: Mapping[str, Any]) -> dict[str, Any]:
    changed = {name: value for name, value in changes.items() if getattr(old, name) != value}
    removed_at = changed.get("removed_at", old.removed_at)
    if removed_at is None and old.removed_at is not None:
        changed["removal"] = ""
    if removed_at is not None and not changed.get("removal", old.removal):
        raise InvalidInput("no_removal", "Give 'removal', why it left, with 'removed_at'.", pointer="/removal")
    if removed_at is None and changed.get("removal"):
        raise InvalidInput(
            "not_removed",
            "It still stands there; give 'removed_at' with 'removal', or leave both out.",
            pointer="/removal",
        )
    return changed


def _continued_by(row: Placement) -> Placement | None:
    successor: Placement | None = Placement.objects.filter(continues=row).first()
    return successor


def _before(row: Placement) -> Placement | None:
    """What left its position as the row came."""
    earlier: Placement | None = (
        Placement.objects.filter(position=row.position, removed_at=row.placed_at)
        .exclude(pk=row.pk)
        .order_by("-placed_at")
        .first()
    )
    return earlier


def _rotation_at(row: Placement) -> _RotationRows | None:
    """The rotation by which a placement began, as the lag that moved to lead or as the fresh cartridge behind it."""
    moved: Placement | None = row
    if row.continues_id is None:
        lag = _before(row)
        moved = _continued_by(lag) if lag is not None else None
    if moved is None or moved.continues is None:
        return None
    came_from = moved.continues
    fresh = Placement.objects.filter(position=came_from.position_id, placed_at=came_from.removed_at).first()
    if fresh is None:
        return None
    return _RotationRows(_before(moved), came_from, moved, fresh)


def _later_rotation(successor: Placement) -> Conflict:
    return Conflict(
        "later_rotation",
        f"On {successor.placed_at:%Y-%m-%d} this cartridge was moved from lag to lead (placement {successor.pk}); take "
        f"that rotation back first, with placements/{successor.pk}/void/.",
    )


def _refuse_end_of_next_change(old: Placement, changed: Mapping[str, Any]) -> None:
    """A cartridge leaves as the next one comes: the moment of a change is that of the next placement."""
    if "removed_at" not in changed or old.removed_at is None:
        return
    following = Placement.objects.filter(position=old.position, placed_at=old.removed_at).exclude(pk=old.pk).first()
    if following is not None:
        raise Conflict(
            "ends_with_next",
            f"It left as placement {following.pk} came; correct placed_at of that one, and this one's removed_at "
            "follows.",
            pointer="/removed_at",
        )


def _replace_cartridge(
    old: Placement, changed: Mapping[str, Any], *, reason: str, by: Membership, now: datetime
) -> Placement:
    """Say anew which cartridge it was, at every place to which it was moved."""
    fresh = _supersede(old, reason=reason, by=by, now=now, **changed)
    back, forth = fresh.continues, _continued_by(fresh)
    while back is not None:
        back = _supersede(back, reason=reason, by=by, now=now, **changed).continues
    while forth is not None:
        forth = _continued_by(_supersede(forth, reason=reason, by=by, now=now, **changed))
    fresh.refresh_from_db()
    return fresh


def _supersede(old: Placement, *, reason: str, by: Membership, now: datetime, **changes: Any) -> Placement:
    """Void a row and put another in its place, which takes over what continues what."""
    successor, continues = _continued_by(old), old.continues
    _take_back(old, reason=reason, by=by, now=now)
    values = {
        name: getattr(old, name)
        for name in ("position", "item", "serial_or_lot", "placed_at", "removed_at", "removal", "first_installed_at")
    }
    fresh: Placement = Placement.objects.create(
        **{**values, **changes}, continues=continues, corrects=old, entered_by=by, entered_at=now
    )
    if successor is not None:
        successor.continues = fresh
        successor.save(update_fields=["continues"])
    return fresh


def _take_back(row: Placement, *, reason: str, by: Membership, now: datetime) -> None:
    void(row=row, reason=reason, by=by, now=now)
    # A row that counts for nothing must not hold the one place behind the cartridge it continued.
    row.continues = None
    row.save(update_fields=["voided_at", "voided_by", "void_reason", "continues"])


def _lift_out(row: Placement, *, reason: str, by: Membership, now: datetime) -> list[Placement]:
    """Void a row and let what left as it came stand on; those that stand on, with the ends they had."""
    earlier = _before(row)
    _take_back(row, reason=reason, by=by, now=now)
    if earlier is None:
        return []
    earlier.removed_at, earlier.removal = row.removed_at, row.removal
    earlier.save(update_fields=["removed_at", "removal"])
    return [earlier]


def _put_again(
    pairs: Iterable[tuple[Placement, Mapping[str, Any]]], *, reason: str, by: Membership, now: datetime
) -> list[Placement]:
    """Take rows out and put what is right in, in the order of time."""
    pairs = list(pairs)
    reason_of: dict[int, str] = {}
    for old, _ in sorted(pairs, key=lambda pair: pair[0].placed_at, reverse=True):
        earlier = _before(old)
        if earlier is not None:
            reason_of[earlier.pk] = earlier.removal
        _lift_out(old, reason=reason, by=by, now=now)
    given = next(iter(reason_of.values()), "")
    fresh = {}
    for old, changed in sorted(pairs, key=lambda pair: pair[1].get("placed_at", pair[0].placed_at)):
        fresh[old.pk] = _put_in(old, changed, reason_of, given, by=by, now=now)
    return [fresh[old.pk] for old, _ in pairs]


def _put_in(
    old: Placement,
    changed: Mapping[str, Any],
    reason_of: Mapping[int, str],
    given: str,
    *,
    by: Membership,
    now: datetime,
) -> Placement:
    position: Position = changed.get("position", old.position)
    item: CatalogueItem = changed.get("item", old.item)
    placed_at: datetime = changed.get("placed_at", old.placed_at)
    removed_at: datetime | None = changed.get("removed_at", old.removed_at)
    removal = changed.get("removal", old.removal)
    check_moment(position.unit, placed_at, now, "/placed_at")
    check_item(position, item, is_past=removed_at is not None)
    others = list(Placement.objects.filter(position=position).order_by("placed_at", "pk").select_related("item"))
    earlier = next((row for row in reversed(others) if row.placed_at <= placed_at), None)
    later = next((row for row in others if row.placed_at > placed_at), None)
    if earlier is not None and (earlier.removed_at is None or earlier.removed_at > placed_at):
        if earlier.placed_at == placed_at or _continued_by(earlier) is not None:
            raise _overlap(earlier, placed_at, "/placed_at")
        if removed_at is None and earlier.removed_at is not None and "removed_at" not in changed:
            # What was fitted then has left again by now, as what was thought to stand there did.
            removed_at, removal = earlier.removed_at, earlier.removal
        earlier.removed_at = placed_at
        earlier.removal = reason_of.get(earlier.pk) or given or Placement.Removal.UNKNOWN
        earlier.save(update_fields=["removed_at", "removal"])
    if removed_at is not None:
        check_moment(position.unit, removed_at, now, "/removed_at")
        if removed_at <= placed_at:
            raise InvalidInput(
                "before_placing",
                f"It left on {moment_in_words(removed_at)}, which is not after it was placed on "
                f"{moment_in_words(placed_at)}.",
                pointer="/removed_at" if "removed_at" in changed else "/placed_at",
            )
    if later is not None and (removed_at is None or removed_at > later.placed_at):
        raise _overlap(later, later.placed_at, "/removed_at" if "removed_at" in changed else "/placed_at")
    fresh: Placement = Placement.objects.create(
        position=position,
        item=item,
        serial_or_lot=changed.get("serial_or_lot", old.serial_or_lot),
        placed_at=placed_at,
        removed_at=removed_at,
        removal=removal if removed_at is not None else "",
        first_installed_at=placed_at,
        corrects=old,
        entered_by=by,
        entered_at=now,
    )
    successor = _continued_by(old)
    while successor is not None:
        # It was moved to lead later on, and takes its age there.
        if successor.continues_id == old.pk:
            successor.continues = fresh
        successor.item, successor.serial_or_lot = fresh.item, fresh.serial_or_lot
        successor.first_installed_at = placed_at
        successor.save(update_fields=["continues", "item", "serial_or_lot", "first_installed_at"])
        successor = _continued_by(successor)
    return fresh


def _move_rotation(
    rotation: _RotationRows, old: Placement, changed: Mapping[str, Any], *, reason: str, by: Membership, now: datetime
) -> Placement:
    """Say anew when lead and lag were rotated: all that came or went by it moves with it."""
    if changed.keys() != {"placed_at"}:
        raise InvalidInput(
            "one_at_a_time", "Correct the moment of a rotation by itself, and what was fitted afterwards."
        )
    at: datetime = changed["placed_at"]
    check_moment(old.position.unit, at, now, "/placed_at")
    ending = [row for row in (rotation.left, rotation.came_from) if row is not None]
    for row in ending:
        if at <= row.placed_at:
            raise _overlap(row, at, "/placed_at", wording="was placed only then")
    for row in (rotation.moved, rotation.fresh):
        if row.removed_at is not None and at >= row.removed_at:
            raise InvalidInput(
                "before_placing",
                f"{moment_in_words(at)} is not before placement {row.pk} left, on {moment_in_words(row.removed_at)}.",
                pointer="/placed_at",
            )
    for row in ending:
        row.removed_at = at
        row.save(update_fields=["removed_at"])
    moved = _supersede(rotation.moved, reason=reason, by=by, now=now, placed_at=at)
    fresh = _supersede(rotation.fresh, reason=reason, by=by, now=now, placed_at=at, first_installed_at=at)
    successor = _continued_by(fresh)
    while successor is not None:
        successor.first_installed_at = at
        successor.save(update_fields=["first_installed_at"])
        successor = _continued_by(successor)
    return moved if old.pk == rotation.moved.pk else fresh


def _overlap(row: Placement, at: datetime, pointer: str, *, wording: str = "") -> InvalidInput:
    until = f"until {moment_in_words(row.removed_at)}" if row.removed_at else "and stands there still"
    return InvalidInput(
        "overlaps_another",
        f"{row.item.code} (placement {row.pk}) {wording or 'stood there'} from {moment_in_words(row.placed_at)} "
        f"{until}; on {moment_in_words(at)} two would stand in one position.",
        pointer=pointer,
    )


def _follow(unit_ids: Iterable[int], by: Membership, now: datetime) -> None:
    for unit in Unit.objects.filter(pk__in=unit_ids):
        follow(unit, list(unit.positions.all()), now)


def _change(old: Placement, fresh: Placement, name: str) -> list[Any]:
    """A field before and after, as the trail keeps it."""
    pair = []
    for row in (old, fresh):
        value = getattr(row, name)
        if isinstance(value, datetime):
            value = value.isoformat()
        elif isinstance(value, CatalogueItem):
            value = value.code
        elif isinstance(value, Position):
            value = value.spoken_name
        pair.append(value)
    return pair
