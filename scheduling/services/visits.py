"""What happens to a visit: proposed, confirmed with the client, moved, cancelled, done."""

from collections.abc import Collection
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from scheduling.models import Installer, Visit, VisitTask
from scheduling.services.proposals import VisitsProposed, propose_visits

__all__ = ["VisitsProposed", "cancel_visit", "complete_visit", "confirm_visit", "propose_visits", "unconfirm_visit"]

State = Visit.State
_LIVE = (State.PROPOSED, State.CONFIRMED)


def confirm_visit(
    *, visit: Visit, by: Membership, appointment_at: datetime, now: datetime, installer: Installer | None = None
) -> Visit:
    """Note the time agreed with the client; a confirmed visit is moved to the new time.

    Parameters
    ----------
    visit
        Proposed or confirmed.
    by, now
        Who confirms, and when.
    appointment_at
        Start of the work.
    installer
        The one promised to the client; None: whoever's round it fits.

    Raises
    ------
    Conflict
        When the visit is done or cancelled.
    InvalidInput
        When the time has gone by, or nobody who may come works then.
    """
    with transaction.atomic():
        row = _lock(visit, allowed=_LIVE, verb="confirmed")
        _check_appointment(row, appointment_at, installer, now)
        was = {"appointment_at": _text(row.appointment_at), "installer": row.installer_id, "state": row.state}
        row.state, row.appointment_at, row.installer = State.CONFIRMED, appointment_at, installer
        _save(row, by, "confirm visit", {"was": was, "appointment_at": _text(appointment_at)}, now)
    return row


def unconfirm_visit(*, visit: Visit, by: Membership, note: str, now: datetime) -> Visit:
    """Give a confirmed time back; the visit is a proposal again.

    When the site has another proposed visit already, that one takes over the tasks and this one is cancelled.

    Raises
    ------
    Conflict
        When the visit is not confirmed.
    """
    with transaction.atomic():
        row = _lock(visit, allowed=(State.CONFIRMED,), verb="put back to proposed")
        was = {"appointment_at": _text(row.appointment_at), "installer": row.installer_id}
        other = (
            Visit.objects.select_for_update(no_key=True)
            .filter(site_id=row.site_id, state=State.PROPOSED)
            .exclude(pk=row.pk)
            .first()
        )
        row.appointment_at, row.installer = None, None
        if other is None:
            row.state = State.PROPOSED
        else:
            _hand_over(row, other, now)
            row.state, row.closed_at = State.CANCELLED, now
            row.closing_note = "Its tasks went to the other proposed visit of the site."
        _save(row, by, "unconfirm visit", {"was": was, "note": note}, now)
    return row


def cancel_visit(*, visit: Visit, by: Membership, note: str, now: datetime) -> Visit:
    """Call a visit off; its needs stay open and are proposed again.

    Raises
    ------
    Conflict
        When the visit is done or cancelled already.
    """
    with transaction.atomic():
        row = _lock(visit, allowed=_LIVE, verb="cancelled")
        was = row.state
        row.state, row.closed_at, row.closing_note = State.CANCELLED, now, note
        _save(row, by, "cancel visit", {"was": was, "note": note}, now)
    return row


def complete_visit(*, visit: Visit, by: Membership, now: datetime, note: str = "") -> Visit:
    """Close a visit as done; needs on it that no record of work covers stay open and are proposed again.

    Raises
    ------
    Conflict
        When the visit is done or cancelled already.
    """
    with transaction.atomic():
        row = _lock(visit, allowed=_LIVE, verb="completed")
        was = row.state
        row.state, row.closed_at, row.closing_note = State.DONE, now, note
        _save(row, by, "complete visit", {"was": was, "note": note}, now)
    return row


def _lock(visit: Visit, *, allowed: Collection[str], verb: str) -> Visit:
    row = Visit.objects.select_for_update(no_key=True).get(pk=visit.pk)
    if row.state not in allowed:
        raise Conflict("visit_move_not_legal", f"The visit is {row.get_state_display()} and cannot be {verb}.")
    return row


def _save(row: Visit, by: Membership, action: str, details: dict[str, Any], now: datetime) -> None:
    row.revision += 1
    row.updated_at = now
    row.save()
    record(by=by, action=action, subject=row, details=details, now=now)


def _hand_over(visit: Visit, other: Visit, now: datetime) -> None:
    known = set(other.tasks.values_list("need_id", flat=True))
    tasks = [task for task in visit.tasks.select_related("need") if task.need_id not in known]
    first = len(known) + 1
    VisitTask.objects.bulk_create(
        VisitTask(visit=other, need=task.need, order=first + k, reason=task.reason) for k, task in enumerate(tasks)
    )
    other.minutes += sum(task.need.minutes for task in tasks)
    other.is_urgent = other.is_urgent or visit.is_urgent
    other.skills = sorted({*other.skills, *visit.skills})
    other.updated_at = now
    other.save()


def _check_appointment(visit: Visit, at: datetime, installer: Installer | None, now: datetime) -> None:
    if at <= now:
        raise _invalid("/appointment_at", f"{at.isoformat()} has gone by; give a time to come.")
    if at.second or at.microsecond:
        raise _invalid("/appointment_at", f"{at.isoformat()} is not on the minute; give whole minutes.")
    if installer is not None:
        if installer.company_id != visit.company_id or not installer.is_active:
            raise _invalid("/installer", "is not an active installer of the company.")
        if not _works(installer, at, visit.minutes):
            raise _invalid(
                "/appointment_at",
                f"{installer.name} does not work from then for {visit.minutes} minutes: the shift is "
                f"{installer.shift_starts:%H:%M} to {installer.shift_ends:%H:%M} ({installer.time_zone}) on "
                f"{_weekdays(installer)}.",
            )
        return
    active = Installer.objects.of_company(visit.company).filter(is_active=True)
    if not any(_works(someone, at, visit.minutes) for someone in active):
        raise _invalid("/appointment_at", f"no installer works from then for {visit.minutes} minutes.")


def _works(installer: Installer, at: datetime, minutes: int) -> bool:
    begins = at.astimezone(ZoneInfo(installer.time_zone))
    ends = begins.hour * 60 + begins.minute + minutes
    last = installer.shift_ends.hour * 60 + installer.shift_ends.minute
    return begins.weekday() in installer.weekdays and begins.time() >= installer.shift_starts and ends <= last


def _weekdays(installer: Installer) -> str:
    names = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    return ", ".join(names[day] for day in sorted(installer.weekdays)) or "no day"


def _invalid(pointer: str, sentence: str) -> InvalidInput:
    said = f"{pointer.strip('/')} {sentence}"
    return InvalidInput("appointment_not_valid", said, faults=[Fault(pointer, said)])


def _text(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment is not None else None
