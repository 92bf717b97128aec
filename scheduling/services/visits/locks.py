"""Locking a stop: it stays with its installer, on its day, at its time, whatever later plans would rather do."""

from datetime import datetime

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from scheduling.models import Plan, Stop, Visit
from scheduling.services.people.absences import is_away

#: The columns of a lock.
LOCK = ("locked_start", "locked_installer", "locked_by", "locked_at", "lock_reason")


def holds(visit: Visit, since: datetime) -> bool:
    """Whether a lock is still to be kept: its time has not gone by, and whoever it names still drives out."""
    if visit.locked_start is None or visit.locked_start < since or visit.state not in Visit.AHEAD:
        return False
    return visit.locked_installer is not None and visit.locked_installer.is_active


def keeps_lock(visit: Visit, stop: Stop, now: datetime) -> bool:
    """Whether a stop is where a lock wants it; True when there is no lock to keep."""
    here = (stop.starts_at, stop.round.installer_id)
    return not holds(visit, now) or here == (visit.locked_start, visit.locked_installer_id)


def stands_in(visit: Visit, stop: Stop) -> bool:
    """Whether somebody else keeps the time of a lock, because its installer is away then."""
    installer = visit.locked_installer
    return installer is not None and visit.locked_start == stop.starts_at and is_away(installer, stop.starts_at)


def lock_stop(*, stop: Stop, by: Membership, reason: str, now: datetime) -> Stop:
    """Keep a stop where it is: its installer, its day and its time hold through new plans and repaired ones.

    A repaired plan releases a lock only when its installer is out or nobody can keep the time, and lists the visit
    among its differences. Locking again takes over the new reason.

    Parameters
    ----------
    stop
        Of a draft or a published plan, still to come.
    by, now
        Who locks it, and when.
    reason
        Why; whoever finds the lock wants to know.

    Raises
    ------
    Conflict
        When the plan was replaced, the stop has gone by, or its visit is under way or closed, or was confirmed for
        another time.
    InvalidInput
        When no reason is given.
    """
    if not reason.strip():
        sentence = "reason is required: say why the stop must stay."
        raise InvalidInput("reason_missing", sentence, faults=[Fault("/reason", sentence)])
    with transaction.atomic():
        visit = Visit.objects.select_for_update(no_key=True).get(pk=stop.visit_id)
        if stop.round.plan.state == Plan.State.REPLACED:
            raise Conflict("plan_is_replaced", "A newer plan has replaced this one; lock the visit's stop there.")
        if stop.starts_at <= now:
            raise Conflict("stop_has_gone_by", "The stop has begun by the plan; there is nothing left to lock.")
        if visit.state not in Visit.AHEAD:
            raise Conflict("visit_move_not_legal", f"The visit {visit.state_words}; it cannot be locked.")
        if visit.state == Visit.State.CONFIRMED and visit.appointment_at != stop.starts_at:
            raise Conflict("plan_is_stale", "The visit was confirmed for another time since; plan again first.")
        put_lock(visit=visit, start=stop, by=by, reason=reason, now=now)
        visit.save(update_fields=[*LOCK, "updated_at"])
        stop.visit = visit
    return stop


def put_lock(*, visit: Visit, start: Stop, by: Membership | None, reason: str, now: datetime) -> None:
    """Write a lock on a visit and on record; the caller holds the row and saves it."""
    visit.locked_start, visit.locked_installer_id = start.starts_at, start.round.installer_id
    visit.locked_by, visit.locked_at, visit.lock_reason = by, now, reason
    visit.updated_at = now
    details = {"starts_at": start.starts_at.isoformat(), "installer": start.round.installer_id, "reason": reason}
    record(by=by, action="lock visit", subject=visit, details=details, now=now, company=visit.company)


def unlock_visit(*, visit: Visit, by: Membership, note: str, now: datetime) -> Visit:
    """Let later plans move a visit again; one that is not locked is answered as it is.

    Raises nothing: whatever the state of the visit, a lock can be taken off.
    """
    with transaction.atomic():
        row: Visit = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
        if row.locked_start is not None:
            forget_lock(visit=row, by=by, why=note, now=now)
            row.save(update_fields=[*LOCK, "updated_at"])
    return row


def forget_lock(*, visit: Visit, by: Membership | None, why: str, now: datetime) -> None:
    """Take a lock off a visit and put that on record; the caller holds the row and saves it."""
    lock_before = {
        "starts_at": visit.locked_start.isoformat() if visit.locked_start else None,
        "installer": visit.locked_installer_id,
        "reason": visit.lock_reason,
    }
    visit.locked_start = visit.locked_installer = visit.locked_by = visit.locked_at = None
    visit.lock_reason, visit.updated_at = "", now
    record(
        by=by,
        action="unlock visit",
        subject=visit,
        details={"was": lock_before, "why": why},
        now=now,
        company=visit.company,
    )
