"""Whether a time can be confirmed with a client: it is to come, somebody works then, and the site can be entered."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from accounts.errors import Fault, InvalidInput
from fleet.services.units.access import Access, access_of
from scheduling.models import Installer, Visit
from scheduling.services.people.absences import works


def check_appointment(
    visit: Visit, at: datetime, installer: Installer | None, now: datetime, *, outside_access_hours: bool = False
) -> None:
    """Refuse a start of work that cannot be kept.

    Parameters
    ----------
    visit
        Whose appointment it would be.
    at, installer
        When the work would start, and who was confirmed; None: whoever's round it fits.
    now
        The present moment.
    outside_access_hours
        Whether the client opens up at another time than the site's hours say.

    Raises
    ------
    InvalidInput
        When the time has gone by or is not on the minute, nobody who may come works then, or the site is closed.
    """
    if at <= now:
        raise _invalid("/appointment_at", f"{site_time(visit, at)} is in the past; give a time in the future.")
    if at.second or at.microsecond:
        raise _invalid("/appointment_at", f"{site_time(visit, at)} is not on the minute; give whole minutes.")
    _check_somebody_works(visit, at, installer)
    if not outside_access_hours:
        _check_open(visit, at)


def _check_somebody_works(visit: Visit, at: datetime, installer: Installer | None) -> None:
    if installer is None:
        active = Installer.objects.of_company(visit.company).filter(is_active=True)
        if not any(works(someone, at, visit.minutes) for someone in active):
            raise _invalid(
                "/appointment_at", f"{site_time(visit, at)}: no installer works from then for {visit.minutes} minutes."
            )
        return
    if installer.company_id != visit.company_id or not installer.is_active:
        raise _invalid("/installer", "is not an active installer of the company.")
    if not works(installer, at, visit.minutes):
        raise _invalid(
            "/appointment_at",
            f"{site_time(visit, at)}: {installer.name} does not work from then for {visit.minutes} minutes: the shift "
            f"is {installer.shift_starts:%H:%M} to {installer.shift_ends:%H:%M} ({installer.time_zone}) on "
            f"{_weekdays(installer)}, less absences.",
        )


def _check_open(visit: Visit, at: datetime) -> None:
    access = access_of([visit.site])[visit.site_id]
    if access.is_open(at, at + timedelta(minutes=visit.minutes)):
        return
    day = at.astimezone(access.zone).date()
    raise _invalid(
        "/appointment_at",
        f"{site_time(visit, at)}: the work of {visit.minutes} minutes is not within the hours of the site, which "
        f"is {hours_text(access, day)}. If the client opens up then, send outside_access_hours as true.",
    )


def site_time(visit: Visit, at: datetime) -> str:
    """A moment as the clock at the site shows it, with its offset."""
    return at.astimezone(ZoneInfo(visit.site.time_zone)).isoformat()


def hours_text(access: Access, day: date) -> str:
    """The hours of a site on a date, in words."""
    hours = access.hours_on(day)
    if not hours:
        return f"closed on {day:%A} {day}"
    return f"open on {day:%A} {day} from " + " and from ".join(f"{o:%H:%M} to {c:%H:%M}" for o, c in hours)


def _weekdays(installer: Installer) -> str:
    names = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
    return ", ".join(names[day] for day in sorted(installer.weekdays)) or "no day"


def _invalid(pointer: str, sentence: str) -> InvalidInput:
    message = f"{pointer.strip('/')} {sentence}"
    return InvalidInput("appointment_not_valid", message, faults=[Fault(pointer, message)])
