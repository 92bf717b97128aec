"""The pages of an installer's day as they leave the server: whose they are, what they say, and what asking costs."""

import json
import re
from collections.abc import Iterator

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.models import Membership
from fleet.models import Placement
from scheduling.models import Installer, Plan, Round, Visit
from scheduling.services.people.words import arrival_window
from tests import factories
from tests.pages import browser, signed_in, text_of
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

pytestmark = pytest.mark.interface


@pytest.fixture(autouse=True)
def clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def day(town: Town, installer: Membership) -> Round:
    """One round of today, which is published, with two stops."""
    town.installer("Ines", membership=installer)
    plan = run_night(town, sites=2)
    Plan.objects.filter(pk=plan.pk).update(state="published", published_at=NOW)
    today: Round = plan.rounds.get()
    return today


def test_the_day_leads_to_its_stops_with_a_call_and_a_way(day: Round, installer: Membership) -> None:
    stop = day.stops.order_by("order").first()
    assert stop is not None
    client = stop.visit.site.client
    client.phone = "+49 30 (555) 01-23"
    client.save()
    page = text_of(signed_in(installer).get("/my-day/"))
    assert 'href="tel:+49305550123"' in page
    # RFC 5870: latitude, longitude, a point in either
    site = stop.visit.site
    assert f'href="geo:{site.latitude:.6f},{site.longitude:.6f}"' in page
    assert re.findall(r'href="(/my-day/stops/\d+/)"', page) == [
        f"/my-day/stops/{each.pk}/" for each in day.stops.order_by("order")
    ]


def test_a_stop_names_what_its_report_needs(day: Round, installer: Membership, town: Town) -> None:
    stop = day.stops.order_by("order").first()
    assert stop is not None
    unit = stop.visit.tasks.get().need.unit
    reading = town.read(unit, at=NOW, line_pressure_kpa=400.0)
    reading.as_sent = {"line_pressure": {"value": "58", "unit": "psi"}}
    reading.save()
    page = text_of(signed_in(installer).get(f"/my-day/stops/{stop.pk}/"))
    assert "Last 58 psi, 2 Mar 2026" in page
    line = page[page.index(f'id="found-{unit.pk}-line_pressure"') :]
    # the meter's own unit first, then that of the company
    assert re.findall(r'<option value="([^"]+)">', line)[:2] == ["psi", "bar"]
    assert all(f'<option value="{value}">' in page for value in Placement.Removal.values if value != "rotated")
    assert all(f'value="{value}" required' in page for value in Visit.Obstacle.values)
    facts = json.loads(re.findall(r'<script id="facts" type="application/json">(.*?)</script>', page)[0])
    need = stop.visit.tasks.get().need
    assert [task["need"] for task in facts["tasks"]] == [need.pk]
    assert facts["labels"]["positions"][str(need.position_id)].startswith("carbon")


def test_an_installer_opens_their_own_rounds_and_the_office_any(
    day: Round, town: Town, office: Membership, company: object
) -> None:
    other = factories.MembershipFactory(company=town.company, role="installer")
    town.installer("Iwo", membership=other)
    stop = day.stops.first()
    assert stop is not None
    for address in (f"/my-day/rounds/{day.pk}/", f"/my-day/stops/{stop.pk}/"):
        assert signed_in(other).get(address).status_code in {403, 404}
        assert signed_in(office).get(address).status_code == 200
    page = text_of(signed_in(other).get("/my-day/"))
    assert "No round of yours is published for today" in page
    assert f"/my-day/rounds/{day.pk}/" not in page


def test_a_day_to_come_is_found_from_the_day_without_a_round(day: Round, installer: Membership) -> None:
    Round.objects.filter(pk=day.pk).update(day="2026-03-04")
    assert f'href="/my-day/rounds/{day.pk}/"' in text_of(signed_in(installer).get("/my-day/"))


def test_asking_costs_the_same_whatever_the_number_of_units_and_readings(
    day: Round, installer: Membership, town: Town
) -> None:
    stop = day.stops.first()
    assert stop is not None
    person = signed_in(installer)
    address = f"/my-day/stops/{stop.pk}/"

    def queries() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert person.get(address).status_code == 200
        return len(asked)

    queries()
    few = queries()
    for unit in (town.unit(stop.visit.site), town.unit(stop.visit.site)):
        town.read(unit, at=NOW)
    # the day sheet looks for the last reading of each unit by itself
    assert queries() <= few + 2


def test_the_service_worker_has_the_site_in_its_scope_and_the_files_that_pages_ask_for(
    day: Round, installer: Membership
) -> None:
    worker = browser().get("/my-day/worker.js")
    assert worker.headers["Service-Worker-Allowed"] == "/"
    assert worker.headers["Content-Type"].startswith("text/javascript")
    kept = set(re.findall(r'"(/(?:static/[^"]+|my-day/\w+[.]js))"', text_of(worker)))
    person = signed_in(installer)
    stop = day.stops.first()
    assert stop is not None
    for address in ("/my-day/", f"/my-day/stops/{stop.pk}/"):
        asked = set(re.findall(r'(?:href|src)="(/[^"]+[.](?:js|css|svg))"', text_of(person.get(address))))
        assert len(asked) == 4, "a slow line carries few files at a time: see bench_phone"
        assert asked <= kept, asked - kept
    assert Installer.objects.get().name not in text_of(worker)


def test_the_installer_reads_the_hours_that_the_client_was_told(day: Round, installer: Membership) -> None:
    stop = day.stops.order_by("order").select_related("visit__site").first()
    assert stop is not None
    visit = stop.visit
    visit.state, visit.appointment_at = "confirmed", stop.starts_at
    visit.save()
    told = arrival_window(stop.starts_at, visit.site.time_zone)
    between = re.search(r"between ([0-9:]+) and ([0-9:]+)", told)
    assert between is not None
    for address in ("/my-day/", f"/my-day/stops/{stop.pk}/"):
        assert f"Promised {between[1]} - {between[2]}" in text_of(signed_in(installer).get(address))


@pytest.mark.parametrize(
    ("state", "buttons"),
    [
        ("proposed", ["depart", "begin"]),
        ("offered", ["depart", "begin"]),
        ("on_the_way", ["begin"]),
        ("in_progress", []),
        ("done", []),
    ],
)
def test_nobody_is_asked_to_set_out_who_is_there(
    day: Round, installer: Membership, state: str, buttons: list[str]
) -> None:
    stop = day.stops.order_by("order").first()
    assert stop is not None
    Visit.objects.filter(pk=stop.visit_id).update(state=state)
    page = text_of(signed_in(installer).get(f"/my-day/stops/{stop.pk}/"))
    assert re.findall(rf'data-address="/api/v1/visits/{stop.visit_id}/(depart|begin)/"', page) == buttons


def test_what_the_next_reading_settles_is_not_asked_of_the_installer(day: Round, installer: Membership) -> None:
    stop = day.stops.order_by("order").first()
    assert stop is not None
    unit = stop.visit.tasks.get().need.unit
    seen = factories.FindingFactory(unit=unit, rule="D46", cause="membrane_rejection_low")
    unread = factories.FindingFactory(unit=unit, rule="D41", cause="no_reading_for_weeks")
    page = text_of(signed_in(installer).get(f"/my-day/stops/{stop.pk}/"))
    assert f"/api/v1/findings/{seen.pk}/confirm/" in page
    assert "No reading for weeks" in page
    assert f"/api/v1/findings/{unread.pk}/" not in page
