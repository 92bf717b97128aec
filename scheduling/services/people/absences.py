"""Who is away when, and what is left of a shift."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.errors import Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from scheduling.models import Absence, Installer

#: From when to when somebody works on one day, on the clock of the installer.
Hours = tuple[time, time]
#: How many days one absence may last.
LONGEST_DAYS = 366


def absences_of(installers: Iterable[Installer], first_day: date, last_day: date) -> Mapping[int, list[Absence]]:
    """Absences that touch some days, by the id of the installer."""
    table: dict[int, list[Absence]] = {}
    rows = Absence.objects.filter(installer__in=installers, first_day__lte=last_day, last_day__gte=first_day)
    for row in rows:
        table.setdefault(row.installer_id, []).append(row)
    return table


def hours_on(installer: Installer, day: date, absences: Sequence[Absence]) -> Hours | None:
    """What is left of the shift of a day; None on a day off.

    Somebody who is away in the middle of a day works the longer of its two ends: there is one round a day.
    """
    if day.weekday() not in installer.weekdays:
        return None
    hours_left: Hours | None = (installer.shift_starts, installer.shift_ends)
    for absence in absences:
        away = away_on(absence, day)
        if hours_left is None or away is None or away[0] >= hours_left[1] or away[1] <= hours_left[0]:
            continue
        ends = [(hours_left[0], min(hours_left[1], away[0])), (max(hours_left[0], away[1]), hours_left[1])]
        longest = max(ends, key=lambda hours: _minutes(hours[1]) - _minutes(hours[0]))
        hours_left = longest if longest[1] > longest[0] else None
    return hours_left


def away_on(absence: Absence, day: date) -> Hours | None:
    """From when to when an absence lasts on a day; None when it does not touch it."""
    if not absence.first_day <= day <= absence.last_day:
        return None
    begins = absence.from_time if day == absence.first_day else None
    ends = absence.to_time if day == absence.last_day else None
    return begins or time.min, ends or time.max


def works(installer: Installer, begins: datetime, minutes: int) -> bool:
    """Whether the installer is at work from a moment on for some minutes."""
    local = begins.astimezone(ZoneInfo(installer.time_zone))
    absences = absences_of([installer], local.date(), local.date()).get(installer.pk, ())
    hours = hours_on(installer, local.date(), absences)
    if hours is None:
        return False
    first, last = _minutes(hours[0]), _minutes(hours[1])
    at = local.hour * 60 + local.minute
    return first <= at and at + minutes <= last


def is_away(installer: Installer, at: datetime, absences: Sequence[Absence] | None = None) -> bool:
    """Whether an absence lies over a moment; absences None: as they are stored."""
    local = at.astimezone(ZoneInfo(installer.time_zone))
    if absences is None:
        absences = absences_of([installer], local.date(), local.date()).get(installer.pk, ())
    spans = (away_on(absence, local.date()) for absence in absences)
    return any(span is not None and span[0] <= local.time() < span[1] for span in spans)


def record_absence(
    *,
    installer: Installer,
    by: Membership,
    now: datetime,
    first_day: date,
    last_day: date,
    from_time: time | None = None,
    to_time: time | None = None,
    reason: str = "",
) -> Absence:
    """Note that an installer is away. One that lies within an absence known already changes nothing.

    Raises
    ------
    InvalidInput
        When it ends before it begins, or lasts longer than a year.
    """
    _check(first_day, last_day, from_time, to_time)
    with transaction.atomic():
        # two who report the same illness at once take turns
        Installer.objects.select_for_update(no_key=True).get(pk=installer.pk)
        for recorded in Absence.objects.filter(installer=installer, first_day__lte=first_day, last_day__gte=last_day):
            if _within(recorded, first_day, last_day, from_time, to_time):
                return recorded
        row = Absence.objects.create(
            company=installer.company,
            installer=installer,
            first_day=first_day,
            last_day=last_day,
            from_time=from_time,
            to_time=to_time,
            reason=reason,
            created_at=now,
        )
        record(by=by, action="record absence", subject=row, details=_as_details(row), now=now)
    return row


def change_absence(*, absence: Absence, by: Membership, now: datetime, **changes: Any) -> Absence:
    """Change the days, the times or the reason of an absence.

    Raises
    ------
    InvalidInput
        As `record_absence`.
    """
    with transaction.atomic():
        row = Absence.objects.select_for_update().get(pk=absence.pk)
        before = _as_details(row)
        for name, value in changes.items():
            setattr(row, name, value)
        _check(row.first_day, row.last_day, row.from_time, row.to_time)
        row.save(update_fields=list(changes))
        record(by=by, action="change absence", subject=row, details={"was": before, **_as_details(row)}, now=now)
    return row


def _within(recorded: Absence, first_day: date, last_day: date, from_time: time | None, to_time: time | None) -> bool:
    begins = (recorded.first_day, recorded.from_time or time.min) <= (first_day, from_time or time.min)
    return begins and (last_day, to_time or time.max) <= (recorded.last_day, recorded.to_time or time.max)


def _check(first_day: date, last_day: date, from_time: time | None, to_time: time | None) -> None:
    faults = []
    if last_day < first_day:
        faults.append(Fault("/last_day", f"last_day {last_day} lies before first_day {first_day}."))
    elif (last_day - first_day).days >= LONGEST_DAYS:
        faults.append(Fault("/last_day", f"last_day {last_day} is more than a year after first_day {first_day}."))
    elif first_day == last_day and from_time is not None and to_time is not None and to_time <= from_time:
        faults.append(Fault("/to_time", f"to_time {to_time:%H:%M} is not after from_time {from_time:%H:%M}."))
    if faults:
        raise InvalidInput("absence_not_valid", "The times of the absence are not valid.", faults=faults)


def _as_details(row: Absence) -> dict[str, Any]:
    """What the audit may keep: the times and not the reason."""
    return {
        "installer": row.installer_id,
        "first_day": row.first_day.isoformat(),
        "last_day": row.last_day.isoformat(),
        "from_time": row.from_time.isoformat() if row.from_time else None,
        "to_time": row.to_time.isoformat() if row.to_time else None,
    }


def _minutes(clock: time) -> int:
    return 24 * 60 if clock == time.max else clock.hour * 60 + clock.minute
