"""Needs over the API."""

from datetime import timedelta

import pytest
from rest_framework.test import APIClient

from fleet.services.findings.findings import refresh_findings
from scheduling.models import Need
from scheduling.services.needs.needs import refresh_needs
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town


def test_the_list_filters_and_a_single_need_explains_itself(as_installer: APIClient, town: Town) -> None:
    town.finding(town.unit(), "shutoff_valve_fault")
    run_night(town, sites=2)
    everything = as_installer.get("/api/v1/needs/").json()
    assert everything["count"] == 3
    assert "cost_curve" not in everything["results"][0]
    urgent = as_installer.get("/api/v1/needs/?is_urgent=true&kind=replace&state=open").json()["results"]
    assert len(urgent) == 2
    one = as_installer.get(f"/api/v1/needs/{urgent[0]['id']}/").json()
    assert one["curve_first_day"] == TODAY.isoformat()
    assert len(one["cost_curve"]) == 26 * 7
    # an exhausted carbon at a reef tank: eight a day by default
    assert one["cost_curve"][:3] == [0.0, 8.0, 16.0]
    assert one["late_cost_per_day"] == 8.0


def test_a_blocked_restrictor_goes_from_the_readings_to_urgent_work(as_installer: APIClient, town: Town) -> None:
    """Recovery 0.2 for weeks, then two visits with 150 L/day of drain: 200/350 is 57 %, near three times the design."""
    unit = town.unit(design_recovery_fraction=0.2)
    sent = {
        "inlet_pressure": "60 psi",
        "temperature": "15 degC",
        "feed_tds": "250 ppm",
        "permeate_tds": "9 ppm",
        "permeate_flow": "200 L/day",
        "minutes_since_start": "20 min",
        "state": "flowing",
    }
    for day in (20, 13, 6, 1):
        drain = "150 L/day" if day <= 6 else "800 L/day"
        body = {**sent, "concentrate_flow": drain, "taken_at": (NOW - timedelta(days=day)).isoformat()}
        stored = as_installer.post(f"/api/v1/units/{unit.pk}/readings/", body)
        assert stored.status_code == 201, stored.content
    refresh_findings(company=town.company, now=NOW)
    findings = as_installer.get(f"/api/v1/findings/?unit={unit.pk}&cause=restrictor_blocked").json()["results"]
    assert [(row["rule"], row["title"], row["state"]) for row in findings] == [
        ("D25", "Flow restrictor blocked", "open")
    ]
    refresh_needs(company=town.company, now=NOW)
    needs = as_installer.get(f"/api/v1/needs/?unit={unit.pk}&kind=replace_restrictor").json()["results"]
    assert [(need["is_urgent"], need["state"]) for need in needs] == [(True, "open")]


def test_office_asks_for_something_and_drops_it(as_office: APIClient, town: Town) -> None:
    unit = town.unit()
    created = as_office.post(
        "/api/v1/needs/",
        {"unit": unit.pk, "kind": "commission", "reason": "New tank.", "due_on": TODAY + timedelta(days=9)},
    )
    assert created.status_code == 201, created.content
    body = created.json()
    assert (body["source"], body["state"], body["site"]) == ("person", "open", unit.site_id)
    assert as_office.get(created.headers["Location"]).json() == body
    dropped = as_office.post(f"/api/v1/needs/{body['id']}/drop/", {"note": "Sold."})
    assert dropped.json()["state"] == "dropped"
    again = as_office.post(f"/api/v1/needs/{body['id']}/drop/", {})
    assert (again.status_code, again.json()["code"]) == (409, "need_is_closed")


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"kind": "dance"}, "/kind"),
        ({"kind": "replace"}, "/position"),
        ({"reason": ""}, "/reason"),
        ({"deadline": "2026-02-30"}, "/deadline"),
        ({"deadline": "2026-03-03", "not_before": "2026-03-09"}, "/deadline"),
        ({"is_urgent": "very"}, "/is_urgent"),
        ({"unit": "U001"}, "/unit"),
        ({"unit": None}, "/unit"),
        ({"item": 3.5}, "/item"),
    ],
)
def test_a_fault_names_its_field(as_office: APIClient, town: Town, change: dict[str, object], pointer: str) -> None:
    body = {"unit": town.unit().pk, "kind": "inspect", "reason": "It hums.", **change}
    refused = as_office.post("/api/v1/needs/", body, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert not Need.objects.exists()


@pytest.mark.parametrize("query", ["kind=dance", "is_urgent=maybe", "unit=x", "best_day__lte=tomorrow", "colour=red"])
def test_a_filter_that_cannot_be_read_is_named(as_office: APIClient, query: str) -> None:
    refused = as_office.get(f"/api/v1/needs/?{query}")
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["parameter"] == query.split("=")[0]
