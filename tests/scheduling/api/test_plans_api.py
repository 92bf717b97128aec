"""Plans over the API: asked for as a job, read, published, drawn."""

import json
from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.jobs.models import Job
from accounts.models import Membership
from scheduling.models import Installer, PartsList, Plan, Stop
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town

ADDRESS = "/api/v1/plans/"


@pytest.mark.django_db(transaction=True)
def test_a_plan_is_made_by_a_job_that_without_a_broker_is_finished_at_once(
    as_office: APIClient, town: Town, ada: Installer
) -> None:
    run_night(town, sites=3)
    Plan.objects.all().delete()
    started = as_office.post(ADDRESS, {"iterations": 50}, format="json")
    assert started.status_code == 202, started.content
    job = Job.objects.get()
    assert started.headers["Location"] == f"/api/v1/jobs/{job.pk}/"
    assert (started.json()["id"], started.json()["state"]) == (job.pk, "done")
    plan = Plan.objects.get(pk=job.result["plan"])
    assert (plan.first_day, plan.days, plan.job) == (TODAY, 5, job)
    assert PartsList.objects.filter(plan=plan, scope="round").exists()


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"first_day": "2026-03-01"}, "/first_day"),
        ({"first_day": "2099-01-01"}, "/first_day"),
        ({"first_day": "soon"}, "/first_day"),
        ({"days": 0}, "/days"),
        ({"days": 10**12}, "/days"),
        ({"days": 2.5}, "/days"),
        ({"seconds": -1}, "/seconds"),
        ({"seconds": 10_000}, "/seconds"),
        ({"iterations": 0}, "/iterations"),
        ({"iterations": 5, "seconds": 5}, "/iterations"),
        ({"seed": 2**31}, "/seed"),
        ({"speed": 3}, "/speed"),
    ],
)
def test_a_fault_names_its_field_and_no_job_is_started(
    as_office: APIClient, town: Town, body: dict[str, Any], pointer: str
) -> None:
    refused = as_office.post(ADDRESS, body, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert not Job.objects.exists()


def test_a_plan_shows_rounds_stops_and_what_it_leaves_out(as_installer: APIClient, town: Town) -> None:
    town.installer("Ada", shift_ends="09:15")
    plan = run_night(town, sites=8)
    body = as_installer.get(f"{ADDRESS}{plan.pk}/").json()
    stops = [stop for round_ in body["rounds"] for stop in round_["stops"]]
    assert len(stops) == Stop.objects.count() > 0
    assert len(stops) + len(body["unserved"]) == 8
    assert body["unserved"]
    assert all(row["reason"] and row["sentence"] for row in body["unserved"])
    assert body["faults"] == []
    assert body["costs"]["total"] > 0
    listed = as_installer.get(ADDRESS).json()["results"]
    assert [row["id"] for row in listed] == [plan.pk]
    assert "rounds" not in listed[0]
    by_day = as_installer.get(f"/api/v1/rounds/?plan={plan.pk}&day={TODAY}").json()["results"]
    assert [round_["day"] for round_ in by_day] == [TODAY.isoformat()]
    on_day = as_installer.get(f"/api/v1/stops/?round__plan={plan.pk}&round__day={TODAY}").json()["results"]
    assert [stop["id"] for stop in on_day] == [stop["id"] for stop in by_day[0]["stops"]]


def test_publishing_twice_changes_nothing_and_a_replaced_plan_is_refused(
    as_office: APIClient, town: Town, ada: Installer
) -> None:
    plan = run_night(town, sites=2)
    first = as_office.post(f"{ADDRESS}{plan.pk}/publish/")
    assert (first.status_code, first.json()["state"]) == (200, "published")
    assert as_office.post(f"{ADDRESS}{plan.pk}/publish/").json() == first.json()
    Plan.objects.update(state="replaced")
    refused = as_office.post(f"{ADDRESS}{plan.pk}/publish/")
    assert (refused.status_code, refused.json()["code"]) == (409, "plan_is_replaced")


def test_parts_lists_are_written_anew_after_a_count(as_office: APIClient, town: Town, ada: Installer) -> None:
    plan = run_night(town, sites=2)
    item = town.item("carbon")
    before = as_office.get(f"/api/v1/parts-lists/?scope=round&plan={plan.pk}").json()["results"]
    assert before[0]["lines"][0]["in_stock"] == 0
    counted = as_office.post("/api/v1/stock-levels/", {"item": item.pk, "installer": ada.pk, "quantity": 7})
    assert counted.status_code == 201, counted.content
    assert as_office.post(f"{ADDRESS}{plan.pk}/write-parts-lists/").json()["written"] > 0
    after = as_office.get(f"/api/v1/parts-lists/?scope=round&plan={plan.pk}").json()["results"]
    assert after[0]["lines"][0]["in_stock"] == 7
    assert as_office.post(f"{ADDRESS}{plan.pk}/write-parts-lists/").json()["written"] == 0


def test_the_map_is_geojson(as_installer: APIClient, town: Town, ada: Installer) -> None:
    """RFC 7946: a FeatureCollection (3.3), positions as longitude, latitude (3.1.1), no crs member (4)."""
    plan = run_night(town, sites=3)
    answer = as_installer.get(f"{ADDRESS}{plan.pk}/map/")
    assert answer.headers["Content-Type"] == "application/geo+json"
    drawn = json.loads(answer.content)
    assert set(drawn) == {"type", "features"}
    assert drawn["type"] == "FeatureCollection"
    kinds = [feature["properties"]["kind"] for feature in drawn["features"]]
    rounds = plan.rounds.count()
    assert (kinds.count("round"), kinds.count("home"), kinds.count("stop")) == (rounds, rounds, 3)
    for feature in drawn["features"]:
        assert feature["type"] == "Feature"
        positions = feature["geometry"]["coordinates"]
        positions = positions if feature["geometry"]["type"] == "LineString" else [positions]
        assert all(13.3 < longitude < 13.6 and 52.4 < latitude < 52.6 for longitude, latitude in positions)
    round_feature = next(f for f in drawn["features"] if f["properties"]["kind"] == "round")
    assert round_feature["geometry"]["coordinates"][0] == round_feature["geometry"]["coordinates"][-1] == [13.4, 52.5]


def test_a_running_plan_is_not_started_twice(as_office: APIClient, town: Town, office: Membership) -> None:
    Job.objects.create(company=town.company, kind="plan", state="running", created_at=NOW - timedelta(minutes=1))
    refused = as_office.post(ADDRESS, {})
    assert (refused.status_code, refused.json()["code"]) == (409, "job_is_running")
