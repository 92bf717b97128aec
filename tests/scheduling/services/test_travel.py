"""Driving times: learned from the company's own trips, asked of a table service, slowed down by traffic."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from pytest_django import Settings
from rest_framework.test import APIClient

from scheduling.models import CompanyPolicy, Installer, Plan, RoadCalibration, Stop, Visit
from scheduling.planning.travel.trips import GreatCircleTravel, Place, RoadModel
from scheduling.services import travel
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.policy import read_policy
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.travel import calibrate_travel, provider_for
from scheduling.services.visits.visits import begin_visit, depart, propose_visits
from tests import factories
from tests.scheduling.table_service import Service, running_service
from tests.scheduling.town import NOW, TODAY, Town

#: What the town's vans really do: slower than the default model says.
TRUE_ROAD = RoadModel(speed_far_km_per_h=45.0, speed_drop_km_per_h=28.0, parking_s=200.0)


@pytest.fixture
def ada(town: Town) -> Installer:
    return town.installer("Ada")


@pytest.fixture
def service(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Iterator[Service]:
    with running_service() as running:
        settings.TABLE_SERVICE_URL = running.url
        settings.TABLE_SERVICE_TIMEOUT_SECONDS = 1
        monkeypatch.setattr(travel, "_TRIPS", travel.TripCache())
        yield running


def _drive(town: Town, ada: Installer, days: int) -> None:
    """Days of three visits each, driven as the true road says, every trip up to a tenth off."""
    rng = np.random.default_rng(3)
    road = GreatCircleTravel(TRUE_ROAD)
    visits = []
    for day in range(1, days + 1):
        here, clock = Place(ada.home_latitude, ada.home_longitude), NOW - timedelta(days=day) + timedelta(hours=3)
        for _ in range(3):
            site = town.site(east_km=float(rng.uniform(1, 40)), north_km=float(rng.uniform(-20, 20)))
            place = Place(site.latitude, site.longitude)
            seconds = float(road.matrix([here], [place]).seconds[0, 0]) * float(rng.uniform(0.9, 1.1))
            visit = factories.VisitFactory.build(
                company=town.company, site=site, installer=ada, state="done", closed_at=clock
            )
            visit.departed_at, visit.begun_at = clock, clock + timedelta(seconds=seconds)
            visits.append(visit)
            here, clock = place, visit.begun_at + timedelta(minutes=40)
    Visit.objects.bulk_create(visits)


def _ask(town: Town, **more: Any) -> Plan:
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=50, **more).plan


def _due(town: Town, count: int = 3) -> None:
    for k in range(count):
        town.forecast(town.position(town.unit(town.site(east_km=3.0 * (k + 1), north_km=2.0 * k)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)


def test_driving_times_are_learned_from_past_trips(town: Town, ada: Installer) -> None:
    _drive(town, ada, 40)
    fit = calibrate_travel(company=town.company, now=NOW)
    row = RoadCalibration.objects.get()
    assert (fit.fitted, row.trips) == (True, 120)
    assert row.error_after < 0.08 < 0.2 < row.error_before
    provider = provider_for(company=town.company, policy=read_policy(company=town.company))
    places = [Place(52.5, 13.4), Place(52.6, 13.7), Place(52.51, 13.42)]
    predicted_s, true = (
        provider.matrix(places, places).seconds,
        GreatCircleTravel(TRUE_ROAD).matrix(places, places).seconds,
    )
    assert predicted_s[predicted_s > 0] == pytest.approx(true[true > 0], rel=0.1)
    # a second look at the same trips writes nothing
    calibrate_travel(company=town.company, now=NOW + timedelta(days=1))
    assert RoadCalibration.objects.get().calibrated_at == NOW
    _due(town)
    assert _ask(town).travel_source == "straight line with detour and speed model, fitted to 120 trips"


def test_few_trips_leave_the_model_as_it_is(town: Town, ada: Installer, as_office: APIClient) -> None:
    assert as_office.get("/api/v1/travel/").json()["calibrated_at"] is None
    _drive(town, ada, 5)
    calibrate_travel(company=town.company, now=NOW)
    body = as_office.get("/api/v1/travel/").json()
    assert (body["is_fitted"], body["trips"], body["error_before"], body["table_service"]) == (False, 15, None, "")
    assert "15 usable trips are too few; 60 are needed" in body["sentence"]
    assert body["road"]["speed_far_km_per_h"] == RoadModel().speed_far_km_per_h


def test_setting_out_and_beginning_are_the_ends_of_a_trip(town: Town, ada: Installer) -> None:
    member = ada.membership
    _due(town, 2)
    for k, visit in enumerate(Visit.objects.order_by("pk")):
        visit.installer = ada
        visit.save()
        at = NOW + timedelta(hours=2 * k + 3)
        depart(visit=visit, by=member, now=at)
        begin_visit(visit=visit, by=member, now=at + timedelta(minutes=9 + k))
    legs = travel._past_trips(town.company, NOW + timedelta(days=1))
    # from home 3 km, then 3 km east and 2 km north to the next
    assert [round(metres, -2) for metres, _ in legs] == [3_000, 3_600]
    assert [seconds for _, seconds in legs] == [540.0, 600.0]


def test_a_table_service_makes_the_times_of_a_plan(town: Town, ada: Installer, service: Service) -> None:
    _due(town)
    plan = _ask(town)
    host = f"127.0.0.1:{service.server.server_port}"
    assert plan.travel_source == f"table service {host}"
    stop = Stop.objects.order_by("order")[0]
    metres = abs(stop.visit.site.longitude - 13.4) * 71_000.4 + abs(stop.visit.site.latitude - 52.5) * 111_000.4
    assert stop.driving_km == pytest.approx(metres / 1_000, abs=0.06)
    requests_before = len(service.requests)
    assert _ask(town) == plan
    assert len(service.requests) == requests_before  # every trip is known by now


@pytest.mark.parametrize(
    ("fault", "why"),
    [
        ({"refuse": [500, 500, 500]}, "it answered 500"),
        ({"refuse": [400]}, "it answered 400 (NoTable)"),
        ({"wait_s": 1.3}, "it timed out"),
        ({"no_road_to": round(13.4 + 3.0 / 67.7, 5)}, "no road known"),
        ({"answer": {"code": "NoTable"}}, "its code is 'NoTable'"),
    ],
)
def test_where_the_service_fails_the_plan_says_what_stood_in(
    town: Town, ada: Installer, service: Service, fault: dict[str, Any], why: str
) -> None:
    _due(town)
    for name, value in fault.items():
        setattr(service, name, value)
    plan = _ask(town)
    assert plan.faults == []
    assert "trips by straight line with detour and speed model" in plan.travel_source
    assert why in plan.travel_source
    assert Stop.objects.filter(round__plan=plan).count() == 3


def test_a_company_may_do_without_the_service(
    town: Town, ada: Installer, service: Service, as_owner: APIClient
) -> None:
    assert as_owner.get("/api/v1/travel/").json()["uses_table_service"] is True
    changed = as_owner.patch("/api/v1/policy/", {"uses_table_service": False}, format="json")
    assert changed.json()["uses_table_service"] is False
    body = as_owner.get("/api/v1/travel/").json()
    assert (body["uses_table_service"], body["table_service"].startswith("127.0.0.1")) == (False, True)
    _due(town)
    assert _ask(town).travel_source == "straight line with detour and speed model"
    assert service.requests == []


def test_traffic_slows_driving_down(town: Town, ada: Installer, as_owner: APIClient) -> None:
    _due(town)
    free = _ask(town)
    changed = as_owner.patch("/api/v1/policy/", {"traffic": [{"from_s": 0, "factor": 2}]}, format="json")
    assert changed.json()["traffic"] == [{"from_s": 0, "factor": 2.0}]
    slow = _ask(town)
    minutes = [sum(r.driving_minutes for r in plan.rounds.all()) for plan in (free, slow)]
    assert minutes[1] == pytest.approx(2 * minutes[0], rel=0.1)
    assert slow.costs["driving"] > 1.5 * free.costs["driving"]


@pytest.mark.parametrize(
    ("traffic", "pointer"),
    [
        ([{"from_s": 0, "factor": 0.5}], "/traffic"),
        ([{"from_s": 3600, "factor": 2}, {"from_s": 0, "factor": 2}], "/traffic"),
        ([{"from_s": 0}], "/traffic/0/factor"),
        ("rush", "/traffic"),
    ],
)
def test_traffic_that_cannot_be_is_refused(town: Town, as_owner: APIClient, traffic: Any, pointer: str) -> None:
    refused = as_owner.patch("/api/v1/policy/", {"traffic": traffic}, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert not CompanyPolicy.objects.exists()


def test_whom_nobody_can_drive_to_within_a_shift_is_out_of_reach(town: Town, ada: Installer) -> None:
    near, unlocated = town.site(), town.site()
    far = factories.SiteFactory(client=near.client, company=town.company, latitude=5.436, longitude=5.03)
    type(near).objects.filter(pk=unlocated.pk).update(latitude=None, longitude=None)
    reached = travel.sites_within_reach(company=town.company)
    assert near.pk in reached
    assert not {far.pk, unlocated.pk} & reached
    Installer.objects.update(is_active=False)
    assert far.pk in travel.sites_within_reach(company=town.company), "nobody drives: nobody knows how far"


def test_no_trip_is_learned_from_before_the_past_year(town: Town, ada: Installer) -> None:
    _drive(town, ada, 5)
    assert len(travel._past_trips(town.company, NOW)) == 15
    assert travel._past_trips(town.company, NOW + timedelta(days=370)) == []
    assert NOW.date() == TODAY
