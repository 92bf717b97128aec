"""Installers over the API, and their calendars."""

from datetime import datetime, timedelta

import pytest
from icalendar import Calendar
from rest_framework.test import APIClient

from accounts.models import Membership
from scheduling.exports.calendar import visit_uid
from scheduling.models import Installer, Plan, Stop, Visit
from scheduling.services.rounds.plans import publish_plan
from scheduling.services.visits.visits import cancel_visit, confirm_visit
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

ADA = {"name": "Ada", "home_latitude": 52.5, "home_longitude": 13.4, "time_zone": "Europe/Berlin"}


def test_office_adds_an_installer(as_office: APIClient, installer: Membership) -> None:
    created = as_office.post(
        "/api/v1/installers/", {**ADA, "membership": installer.pk, "skills": ["gas", "electrical"]}
    )
    assert created.status_code == 201, created.content
    body = created.json()
    assert body["weekdays"] == [0, 1, 2, 3, 4]
    assert body["skills"] == ["electrical", "gas"]
    assert (body["shift_starts"], body["shift_ends"]) == ("08:00:00", "17:00:00")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"home_latitude": 91}, "/home_latitude"),
        ({"home_longitude": "east"}, "/home_longitude"),
        ({"home_longitude": "nan"}, "/home_longitude"),
        ({"time_zone": "Berlin"}, "/time_zone"),
        ({"weekdays": [7]}, "/weekdays/0"),
        ({"weekdays": "Monday"}, "/weekdays"),
        ({"shift_ends": "07:00"}, "/shift_ends"),
        ({"shift_starts": "25:00"}, "/shift_starts"),
        ({"skills": ["gas", {}]}, "/skills/1"),
        ({"name": ""}, "/name"),
        ({"shoe_size": 43}, "/shoe_size"),
    ],
)
def test_a_fault_names_its_field(
    as_office: APIClient, installer: Membership, change: dict[str, object], pointer: str
) -> None:
    refused = as_office.post("/api/v1/installers/", {**ADA, "membership": installer.pk, **change})
    assert refused.status_code == 400, refused.content
    assert pointer in [fault["pointer"] for fault in refused.json()["errors"]]
    assert not Installer.objects.exists()


def test_a_client_is_no_installer(as_office: APIClient, client_member: Membership) -> None:
    refused = as_office.post("/api/v1/installers/", {**ADA, "membership": client_member.pk})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "/membership"


def test_a_shift_is_checked_against_what_is_stored(as_office: APIClient, ada: Installer) -> None:
    refused = as_office.patch(f"/api/v1/installers/{ada.pk}/", {"shift_starts": "18:00"})
    assert refused.status_code == 400
    assert as_office.patch(f"/api/v1/installers/{ada.pk}/", {"shift_starts": "09:30"}).status_code == 200


def test_one_who_has_driven_is_not_deleted(as_office: APIClient, town: Town, ada: Installer) -> None:
    run_night(town, sites=1)
    refused = as_office.delete(f"/api/v1/installers/{ada.pk}/")
    assert refused.status_code == 409
    assert refused.json()["dependants"]
    assert as_office.patch(f"/api/v1/installers/{ada.pk}/", {"is_active": False}).status_code == 200


def _calendar(api: APIClient, installer: Installer) -> Calendar:
    answer = api.get(f"/api/v1/installers/{installer.pk}/calendar/")
    assert answer.status_code == 200
    assert answer.headers["Content-Type"] == "text/calendar; charset=utf-8"
    return Calendar.from_ical(answer.content)


def test_the_calendar_holds_the_published_stops(
    as_installer: APIClient, town: Town, ada: Installer, office: Membership
) -> None:
    plan = run_night(town, sites=3)
    assert _calendar(as_installer, ada).walk("VEVENT") == []
    publish_plan(plan=plan, by=office, now=NOW)
    events = {str(event["SUMMARY"]): event for event in _calendar(as_installer, ada).walk("VEVENT")}
    stops = {stop.visit.site.name: stop for stop in Stop.objects.select_related("visit__site")}
    assert set(events) == set(stops)
    for name, event in events.items():
        stop = stops[name]
        assert (event["DTSTART"].dt, event["DTEND"].dt) == (stop.starts_at, stop.leaves_at)
        assert event["SEQUENCE"] == stop.visit.revision == 1
        assert event["STATUS"] == "TENTATIVE"
        assert event["DTSTAMP"].dt == NOW
        # RFC 5545 section 3.8.1.6: latitude before longitude
        assert event["GEO"].latitude == pytest.approx(stop.visit.site.latitude)
        assert "replace cartridge (carbon)" in str(event["DESCRIPTION"])


def test_uid_stays_and_sequence_rises_when_a_visit_moves(
    as_installer: APIClient, town: Town, ada: Installer, office: Membership
) -> None:
    run_night(town, sites=1)
    visit = Visit.objects.get()
    at = datetime(2026, 3, 4, 10, 0, tzinfo=NOW.tzinfo)
    confirm_visit(visit=visit, by=office, appointment_at=at, installer=ada, now=NOW)
    first = _calendar(as_installer, ada).walk("VEVENT")[0]
    confirm_visit(visit=visit, by=office, appointment_at=at + timedelta(hours=1), installer=ada, now=NOW)
    second = _calendar(as_installer, ada).walk("VEVENT")[0]
    cancel_visit(visit=visit, by=office, note="", now=NOW)
    third = _calendar(as_installer, ada).walk("VEVENT")[0]
    assert first["UID"] == second["UID"] == third["UID"]
    assert [event["SEQUENCE"] for event in (first, second, third)] == [1, 2, 3]
    assert second["DTSTART"].dt == at + timedelta(hours=1)
    assert [str(event["STATUS"]) for event in (first, second, third)] == ["CONFIRMED", "CONFIRMED", "CANCELLED"]


def test_an_unchanged_calendar_is_the_same_to_the_byte(
    as_installer: APIClient, town: Town, ada: Installer, office: Membership, clock: object
) -> None:
    publish_plan(plan=run_night(town, sites=2), by=office, now=NOW)
    address = f"/api/v1/installers/{ada.pk}/calendar/"
    first = as_installer.get(address).content
    clock.shift(timedelta(minutes=30))  # type: ignore[attr-defined]
    assert as_installer.get(address).content == first


def test_words_that_break_calendars_are_escaped(
    as_installer: APIClient, town: Town, ada: Installer, office: Membership
) -> None:
    """RFC 5545 section 3.3.11: commas, semicolons and line breaks in text; section 3.1: lines fold at 75 octets."""
    name = "Café; “Kühl, süß & klar”\nEND:VCALENDAR " + "ü" * 60
    town.finding(town.unit(town.site(name=name)), "shutoff_valve_fault")
    run_night(town)
    at = datetime(2026, 3, 4, 10, 0, tzinfo=NOW.tzinfo)
    confirm_visit(visit=Visit.objects.get(), by=office, appointment_at=at, installer=ada, now=NOW)
    answer = as_installer.get(f"/api/v1/installers/{ada.pk}/calendar/")
    assert max(len(line) for line in answer.content.split(b"\r\n")) <= 75
    assert answer.content.count(b"\r\nEND:VCALENDAR") == 1
    assert str(Calendar.from_ical(answer.content).walk("VEVENT")[0]["SUMMARY"]) == name


def test_an_error_of_the_calendar_is_a_problem(as_installer: APIClient) -> None:
    answer = as_installer.get("/api/v1/installers/999999/calendar/", headers={"Accept": "text/calendar"})
    assert answer.status_code == 404
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert answer.json()["code"] == "not_found"


def test_another_companys_calendar_is_not_there(as_rival: APIClient, ada: Installer) -> None:
    assert as_rival.get(f"/api/v1/installers/{ada.pk}/calendar/").status_code == 404


def test_plans_are_replaced_in_the_calendar(
    as_installer: APIClient, town: Town, ada: Installer, office: Membership
) -> None:
    publish_plan(plan=run_night(town, sites=2), by=office, now=NOW)
    replaced_visit = Visit.objects.order_by("pk").first()
    cancel_visit(visit=replaced_visit, by=office, note="", now=NOW)
    publish_plan(plan=run_night(town), by=office, now=NOW)
    assert Plan.objects.filter(state="published").count() == 1
    uids = {str(event["UID"]) for event in _calendar(as_installer, ada).walk("VEVENT")}
    served = Visit.objects.filter(stops__round__plan__state="published")
    assert uids == {visit_uid(visit) for visit in served}
    assert visit_uid(replaced_visit) not in uids
