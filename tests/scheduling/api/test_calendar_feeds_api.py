"""Calendars to subscribe to, fetched without a sign-in and read by a parser that did not write them (RFC 5545)."""

from datetime import datetime, timedelta
from typing import Any

import pytest
import vobject
from django.test import Client as Browser
from rest_framework.test import APIClient

from accounts.models import Client, Membership
from accounts.services.members import change_role
from scheduling.models import CalendarFeed, Installer, Stop, Visit
from scheduling.services.people.words import arrival_span
from scheduling.services.rounds import calendar_feeds
from scheduling.services.rounds.plans import publish_plan
from scheduling.services.visits.visits import cancel_visit, confirm_visit, unconfirm_visit
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town


def _open(api: APIClient, **body: Any) -> str:
    answer = api.post("/api/v1/calendar-feeds/", body, format="json")
    assert answer.status_code == 201, answer.content
    return str(answer.json()["address"])


def _events(address: str) -> dict[str, Any]:
    answer = Browser().get(address)
    assert answer.status_code == 200, answer.content
    assert answer.headers["Content-Type"].startswith("text/calendar")
    assert "private" in answer.headers["Cache-Control"]
    calendar = vobject.readOne(answer.content.decode(), validate=True)
    return {event.summary.value: event for event in calendar.contents.get("vevent", [])}


def _gone(address: str) -> bool:
    return Browser().get(address).status_code == 404


@pytest.fixture
def ada(town: Town, installer: Membership) -> Installer:
    return town.installer("Ada", membership=installer)


@pytest.fixture
def visit(town: Town, ada: Installer, office: Membership) -> Visit:
    """A visit in Ada's published round, whose client can be called."""
    plan = run_night(town, sites=1)
    publish_plan(plan=plan, by=office, now=NOW)
    visit = Visit.objects.select_related("site__client").get()
    visit.site.client.phone = "555 0123"
    visit.site.client.save()
    visit.site.address = "3 Quay Lane"
    visit.site.save()
    return visit


def _confirm(visit: Visit, installer: Installer, office: Membership) -> datetime:
    at = Stop.objects.get(visit=visit).starts_at.replace(second=0) + timedelta(days=1)
    confirm_visit(visit=visit, appointment_at=at, installer=installer, by=office, now=NOW)
    return at


def test_an_installer_reads_the_round_with_tasks_parts_and_whom_to_call(
    as_installer: APIClient, visit: Visit, ada: Installer
) -> None:
    events = _events(_open(as_installer, name="my telephone"))
    event = events[visit.site.name]
    task = visit.tasks.get()
    for text in (task.need.label, f"1 x {task.need.item.code}", "555 0123", visit.site.client.name):
        assert text in event.description.value
    assert event.location.value == visit.site.address
    assert event.dtstart.value == Stop.objects.get().starts_at


def test_a_visit_that_changes_hands_is_cancelled_in_the_first_calendar(
    as_installer: APIClient, as_office: APIClient, town: Town, visit: Visit, ada: Installer, office: Membership
) -> None:
    berta = town.installer("Berta")
    first, second = _open(as_installer), _open(as_office, installer=berta.pk)
    before = _events(first)[visit.site.name]
    assert _events(second) == {}
    at = _confirm(visit, berta, office)
    lost = _events(first)[visit.site.name]
    assert (before.status.value, lost.status.value) == ("TENTATIVE", "CANCELLED")
    assert lost.uid.value == before.uid.value
    assert int(lost.sequence.value) > int(before.sequence.value)
    assert lost.dtstart.value == before.dtstart.value
    assert _events(first)[visit.site.name].status.value == "CANCELLED", "and it stays so"
    found = _events(second)[visit.site.name]
    assert (found.status.value, found.uid.value, found.dtstart.value) == ("CONFIRMED", before.uid.value, at)


def test_what_comes_back_is_cancelled_no_more(
    as_installer: APIClient, town: Town, visit: Visit, ada: Installer, office: Membership
) -> None:
    address = _open(as_installer)
    assert _events(address)[visit.site.name].status.value == "TENTATIVE"
    _confirm(visit, town.installer("Berta"), office)
    assert _events(address)[visit.site.name].status.value == "CANCELLED"
    visit.refresh_from_db()
    confirm_visit(visit=visit, appointment_at=visit.appointment_at, installer=ada, by=office, now=NOW)
    assert _events(address)[visit.site.name].status.value == "CONFIRMED"


def test_a_client_reads_the_promised_hours_and_nothing_inner(
    as_office: APIClient, visit: Visit, ada: Installer, office: Membership, town: Town
) -> None:
    town.company.phone = "555 0199"
    town.company.save()
    visit.site.access_notes = "key under the stone"
    visit.site.save()
    address = _open(as_office, client=visit.site.client_id)
    assert _events(address) == {}, "a time that nobody confirmed is no promise"
    at = _confirm(visit, ada, office)
    event = _events(address)[visit.site.name]
    assert (event.dtstart.value, event.dtend.value) == arrival_span(at, visit.site.time_zone)
    text = event.description.value
    assert "Ada will come on" in text
    assert "We will replace the" in text
    assert "555 0199" in text
    assert "stone" not in text
    assert visit.tasks.get().need.item.code not in text
    visit.refresh_from_db()
    unconfirm_visit(visit=visit, by=office, note="", now=NOW)
    assert _events(address)[visit.site.name].status.value == "CANCELLED"


def test_a_cancelled_visit_is_cancelled_for_both(
    as_office: APIClient, visit: Visit, ada: Installer, office: Membership
) -> None:
    addresses = [_open(as_office, installer=ada.pk), _open(as_office, client=visit.site.client_id)]
    _confirm(visit, ada, office)
    visit.refresh_from_db()
    cancel_visit(visit=visit, by=office, note="moved away", now=NOW)
    assert [_events(address)[visit.site.name].status.value for address in addresses] == ["CANCELLED"] * 2


def test_the_address_is_shown_once_and_stored_nowhere(as_installer: APIClient, visit: Visit) -> None:
    address = _open(as_installer)
    secret = address.rsplit("/", 1)[1].removesuffix(".ics")
    (row,) = as_installer.get("/api/v1/calendar-feeds/").json()["results"]
    assert "address" not in row
    assert secret not in str(CalendarFeed.objects.values().get())
    assert _gone(address.replace(secret, secret[:-1] + "_")), "a secret of another is none"


def test_an_ended_calendar_shows_nothing(as_installer: APIClient, visit: Visit, ada: Installer) -> None:
    address = _open(as_installer)
    (row,) = as_installer.get("/api/v1/calendar-feeds/").json()["results"]
    assert not _gone(address)
    assert as_installer.delete(f"/api/v1/calendar-feeds/{row['id']}/").status_code == 204
    assert _gone(address)


@pytest.mark.parametrize("who", ["installer", "maker", "driver"])
def test_nobody_reads_on_who_has_left(
    as_office: APIClient, visit: Visit, ada: Installer, office: Membership, installer: Membership, who: str
) -> None:
    address = _open(as_office, installer=ada.pk)
    assert not _gone(address)
    gone: Any = {"installer": installer, "maker": office, "driver": ada}[who]
    gone.is_active = False
    gone.save()
    assert _gone(address)


def test_each_opens_and_ends_their_own_alone(
    as_installer: APIClient,
    as_client: APIClient,
    as_other_client: APIClient,
    as_office: APIClient,
    as_rival: APIClient,
    town: Town,
    ada: Installer,
    first_client: Client,
) -> None:
    berta = town.installer("Berta")
    assert as_installer.post("/api/v1/calendar-feeds/", {"installer": berta.pk}, format="json").status_code == 403
    assert as_installer.post("/api/v1/calendar-feeds/", {"client": first_client.pk}, format="json").status_code == 400
    for nobody in (as_client, as_rival):
        answer = nobody.post("/api/v1/calendar-feeds/", {"installer": berta.pk}, format="json")
        assert answer.status_code in (400, 403)
    both = {"installer": berta.pk, "client": first_client.pk}
    assert as_office.post("/api/v1/calendar-feeds/", both, format="json").status_code == 400
    assert as_office.post("/api/v1/calendar-feeds/", {}, format="json").status_code == 400
    _open(as_client)
    (row,) = as_client.get("/api/v1/calendar-feeds/").json()["results"]
    assert row["client"] == first_client.pk
    for nobody in (as_other_client, as_rival):
        assert nobody.get("/api/v1/calendar-feeds/").json()["results"] == []
        assert nobody.delete(f"/api/v1/calendar-feeds/{row['id']}/").status_code == 404
    assert as_installer.delete(f"/api/v1/calendar-feeds/{row['id']}/").status_code == 403
    assert as_office.delete(f"/api/v1/calendar-feeds/{row['id']}/").status_code == 204


def test_there_are_no_more_than_a_person_has_devices(as_installer: APIClient, ada: Installer) -> None:
    for _ in range(calendar_feeds.MOST_FEEDS):
        _open(as_installer)
    answer = as_installer.post("/api/v1/calendar-feeds/", {}, format="json")
    assert answer.status_code == 409
    assert "end one that nobody uses" in answer.json()["detail"]


def test_it_costs_the_same_however_many_visits_there_are(
    as_office: APIClient, town: Town, office: Membership, django_assert_max_num_queries: Any
) -> None:
    ada = town.installer("Ada")
    publish_plan(plan=run_night(town, sites=5), by=office, now=NOW)
    address = _open(as_office, installer=ada.pk)
    with django_assert_max_num_queries(20):
        assert len(_events(address)) == 5


def test_who_asks_too_often_is_told_to_wait(as_installer: APIClient, ada: Installer) -> None:
    address = _open(as_installer)
    answers = [Browser().get(address).status_code for _ in range(62)]
    assert set(answers[:60]) == {200}
    assert answers[-1] == 429


def test_an_address_does_not_outlive_the_role_it_was_asked_for_in(
    as_office: APIClient,
    as_client: APIClient,
    ada: Installer,
    visit: Visit,
    owner: Membership,
    office: Membership,
    client_member: Membership,
    second_client: Client,
) -> None:
    """Neither of the office, once its person is a client, nor of a client's person, once they are another client's."""
    of_ada, of_client = _open(as_office, installer=ada.pk), _open(as_client)
    assert not _gone(of_ada)
    assert not _gone(of_client)
    change_role(by=owner, membership=office, role="client", client=second_client, now=NOW)
    change_role(by=owner, membership=client_member, role="client", client=second_client, now=NOW)
    assert _gone(of_ada)
    assert _gone(of_client)
    office.refresh_from_db()
    change_role(by=owner, membership=office, role="office", now=NOW)
    assert not _gone(of_ada)
