"""An installer's calendar, read by a parser that did not write it, and held against RFC 5545."""

import re
from datetime import datetime, timedelta
from typing import Any

import vobject
from rest_framework.test import APIClient

from accounts.models import Membership
from scheduling.models import Plan, Stop, Visit
from scheduling.services.rounds.hand_moves import move_stop
from scheduling.services.rounds.plans import publish_plan
from scheduling.services.visits.visits import cancel_visit, confirm_visit
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

_UTC_TIME = re.compile(rb"\d{8}T\d{6}Z")


def _events(api: APIClient, installer: int) -> dict[str, Any]:
    content = api.get(f"/api/v1/installers/{installer}/calendar/").content
    # section 3.1: lines end in CRLF and are no longer than 75 octets; 3.6: these two properties once each
    assert content.count(b"\n") == content.count(b"\r\n")
    assert all(len(line) <= 75 for line in content.split(b"\r\n"))
    assert content.startswith(b"BEGIN:VCALENDAR\r\n")
    for name in (b"\r\nVERSION:2.0\r\n", b"\r\nPRODID:"):
        assert content.count(name) == 1
    calendar = vobject.readOne(content.decode(), validate=True)
    events = {event.uid.value: event for event in calendar.contents.get("vevent", [])}
    assert len(events) == len(calendar.contents.get("vevent", [])), "section 3.8.4.7: a UID stands for one event"
    # section 3.3.5: times as UTC, so that no time zone has to be sent along
    for name in (b"DTSTART", b"DTEND", b"DTSTAMP"):
        matches = re.findall(rb"\r\n" + name + rb"[^:\r]*:([^\r]*)", content)
        assert len(matches) == len(events)
        assert all(_UTC_TIME.fullmatch(at) for at in matches)
    return events


def test_another_parser_reads_the_same_stops(as_office: APIClient, town: Town, office: Membership) -> None:
    ada = town.installer("Ada")
    publish_plan(plan=run_night(town, sites=3), by=office, now=NOW)
    events = _events(as_office, ada.pk)
    assert len(events) == 3
    stops = {stop.visit.site.name: stop for stop in Stop.objects.select_related("visit__site")}
    for event in events.values():
        stop = stops[event.summary.value]
        assert (event.dtstart.value, event.dtend.value) == (stop.starts_at, stop.leaves_at)
        assert event.status.value == "TENTATIVE"
        (task,) = stop.visit.tasks.all()
        assert f"({task.need.label}), with {task.need.item.code}" in event.description.value


def test_a_visit_that_was_made_says_so(as_office: APIClient, town: Town, office: Membership) -> None:
    ada = town.installer("Ada")
    publish_plan(plan=run_night(town, sites=1), by=office, now=NOW)
    visit = Stop.objects.get().visit
    type(visit).objects.filter(pk=visit.pk).update(state="done", closed_at=NOW)
    (event,) = _events(as_office, ada.pk).values()
    assert event.summary.value == f"{visit.site.name} (done)"


def test_through_every_change_the_uid_stays_and_the_sequence_rises(
    as_office: APIClient, town: Town, office: Membership
) -> None:
    ada = town.installer("Ada")
    publish_plan(plan=run_night(town, sites=1), by=office, now=NOW)
    stop = Stop.objects.select_related("round__plan", "visit").get()
    calendars = [_events(as_office, ada.pk)]
    move_stop(stop=stop, by=office, now=NOW, day=stop.round.day + timedelta(days=1))
    calendars.append(_events(as_office, ada.pk))
    at = datetime(2026, 3, 5, 9, 0, tzinfo=NOW.tzinfo)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=at, installer=ada, now=NOW)
    calendars.append(_events(as_office, ada.pk))
    cancel_visit(visit=Visit.objects.get(), by=office, note="", now=NOW)
    calendars.append(_events(as_office, ada.pk))
    assert len({frozenset(events) for events in calendars}) == 1
    (uid,) = calendars[0]
    sequences = [int(events[uid].sequence.value) for events in calendars]
    assert sequences == sorted(set(sequences))
    assert [events[uid].status.value for events in calendars] == ["TENTATIVE", "TENTATIVE", "CONFIRMED", "CANCELLED"]
    starts = [events[uid].dtstart.value for events in calendars]
    assert starts[0] != starts[1] != starts[2] == at
    assert Plan.objects.filter(state="published").count() == 1
