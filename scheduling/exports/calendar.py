"""Visits of an installer or a client as an iCalendar (RFC 5545)."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID, uuid5

from icalendar import Calendar, Event, vGeo, vText

from accounts.models import Company
from scheduling.exports import words
from scheduling.models import Installer, Visit
from scheduling.services.people.words import state_sentence, work_text
from scheduling.services.words.tasks import task_at_unit

# Fixed for ever: with it the same visit has the same UID in every export.
_NAMESPACE = UUID("6f0d7c52-3c58-5f0e-9a54-0f4f0a3f7b11")

_STATUS = {
    Visit.State.PROPOSED: "TENTATIVE",
    Visit.State.OFFERED: "TENTATIVE",
    Visit.State.CONFIRMED: "CONFIRMED",
    Visit.State.ON_THE_WAY: "CONFIRMED",
    Visit.State.IN_PROGRESS: "CONFIRMED",
    Visit.State.DONE: "CONFIRMED",
    Visit.State.NOT_DONE: "CANCELLED",
    Visit.State.CANCELLED: "CANCELLED",
}


@dataclass(frozen=True, slots=True)
class Entry:
    """A visit, the time it takes up, and the parts it takes; `is_off`: whoever reads this does not drive there."""

    visit: Visit
    starts_at: datetime
    ends_at: datetime
    parts: Sequence[str] = ()
    is_off: bool = False


def entry_at_appointment(visit: Visit) -> Entry:
    """A visit at its confirmed time."""
    assert visit.appointment_at is not None
    return Entry(visit, visit.appointment_at, visit.appointment_at + timedelta(minutes=visit.minutes))


def visit_uid(visit: Visit) -> str:
    """The identifier under which calendars know a visit, the same in every export."""
    return str(uuid5(_NAMESPACE, f"visit {visit.pk}"))


def calendar_of(*, installer: Installer, entries: Iterable[Entry]) -> bytes:
    """Write an installer's visits.

    UID is the visit's for good; SEQUENCE is its revision, which rises whenever time, installer or state change; DTSTAMP
    is the moment it was last changed, so that an unchanged calendar is the same to the byte.

    Parameters
    ----------
    installer
        Whose calendar.
    entries
        Visits with `site` and `tasks__need__unit` at hand.
    """
    return _written(words.visits_of(installer.name), entries, _description)


def client_calendar_of(*, company: Company, entries: Iterable[Entry]) -> bytes:
    """Write the visits to a client as they were promised: no notes and no parts, and whom to call.

    Parameters
    ----------
    company
        Whose visits.
    entries
        Visits with `site`, `installer` and `tasks__need__position` at hand, at the hours promised.
    """
    return _written(words.visits_of(company.name), entries, _description_for_client)


def _written(name: str, entries: Iterable[Entry], describe: Callable[[Entry], str]) -> bytes:
    calendar = Calendar()
    calendar.add("version", "2.0")
    calendar.add("prodid", "-//RO fleet//visits//EN")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", name)
    for entry in sorted(entries, key=lambda e: (e.starts_at, e.visit.pk)):
        calendar.add_component(_event(entry, describe))
    return bytes(calendar.to_ical())


def _event(entry: Entry, describe: Callable[[Entry], str]) -> Event:
    visit, site = entry.visit, entry.visit.site
    event = Event()
    event.add("uid", visit_uid(visit))
    event.add("sequence", visit.revision)
    event.add("dtstamp", visit.updated_at)
    event.add("last-modified", visit.updated_at)
    # in UTC: a named zone would have to come with its rules (RFC 5545, 3.6.5)
    event.add("dtstart", entry.starts_at.astimezone(UTC))
    event.add("dtend", entry.ends_at.astimezone(UTC))
    event.add("summary", words.done(site.name) if visit.state == Visit.State.DONE else site.name)
    event.add("status", "CANCELLED" if entry.is_off else _STATUS[Visit.State(visit.state)])
    if site.address:
        event.add("location", site.address)
    if site.location is not None:
        event["geo"] = vGeo(site.location)
    event["description"] = vText(describe(entry))
    return event


def _description(entry: Entry) -> str:
    site = entry.visit.site
    lines = [task_at_unit(task.need) for task in entry.visit.tasks.all()]
    if entry.parts:
        lines.append(words.parts(entry.parts))
    if site.client.phone:
        lines.append(words.contact(site.client.name, site.client.phone))
    if site.access_notes:
        lines.append(words.access(site.access_notes))
    return "\n".join(lines)


def _description_for_client(entry: Entry) -> str:
    visit = entry.visit
    company = visit.site.company
    lines = [state_sentence(visit)]
    if visit.state in Visit.LIVE:
        lines.append(words.to_do(work_text(task.need for task in visit.tasks.all())))
    if company.phone:
        lines.append(words.contact(company.name, company.phone))
    return "\n".join(lines)
