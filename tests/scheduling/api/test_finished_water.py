"""Post-carbon, minerals and a lamp: offered, installed with the unit, forecast, reported, replaced and cautioned.

Every step is a call over HTTP, by the role that makes it.
"""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from accounts.models import Client, Company, Membership
from fleet.models import Finding, Site
from fleet.services.forecasts.forecasts import forecast_company
from scheduling.models import Need
from scheduling.services.needs.needs import refresh_needs
from tests import factories

NOW = datetime(2026, 3, 2, 9, 50, tzinfo=UTC)
INSTALLED = NOW - timedelta(days=100)
WELL = {
    "uses": [{"use": "drinking", "weekly_demand": "105 L"}],
    "lowest_line_pressure": "50 psi",
    "highest_static_pressure": "60 psi",
    "lowest_temperature": "8 degC",
    "usual_temperature": "12 degC",
    "highest_temperature": "14 degC",
    "feed_tds": "250 ppm",
    "hardness": "50 mg/L as CaCO3",
    "alkalinity": "40 mg/L as CaCO3",
    "ph": "7.4",
    "disinfectant": "none",
    "own_well": True,
}
Caught = Any


@pytest.fixture(autouse=True)
def clock() -> Any:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def site(company: Company, first_client: Client) -> Site:
    item = factories.CatalogueItemFactory
    item(company=company, kind="sediment", code="SED")
    item(company=company, kind="carbon", code="BLOCK")
    item(company=company, kind="membrane", code="M75")
    item(company=company, kind="post_carbon", code="POST", price=Decimal("15"), rated_volume_l=5000.0)
    item(company=company, kind="remineralisation", code="CALCITE", price=Decimal("22"), rated_volume_l=3000.0)
    item(company=company, kind="uv", code="LAMP", price=Decimal("48"), rated_burning_hours=9000.0)
    item(
        company=company, kind="accessory", code="UV", purpose="uv_unit", price=Decimal("210"),
        rated_flow_l_per_day=9000.0,
    )  # fmt: skip
    return factories.SiteFactory(company=company, client=first_client, own_well=True, time_zone="Europe/Berlin")


def offered(api: APIClient) -> dict[str, Any]:
    answer = api.post("/api/v1/sizing/", WELL, format="json")
    assert answer.status_code == 200, answer.content
    alternative: dict[str, Any] = answer.json()["alternatives"][0]
    return alternative


def installed(api: APIClient, site: Site) -> dict[str, Any]:
    """A unit as it was offered: each part of the offer is a position."""
    positions = [
        {"stage": part["stage"], "role": part["role"], "item": part["item"], "placed_at": INSTALLED.isoformat()}
        for part in offered(api)["parts"]
    ]
    body = {
        "site": site.pk, "code": "W-1", "use": "drinking", "kind": "ro", "weekly_demand": "105 L",
        "commissioned_on": (INSTALLED - timedelta(days=1)).date().isoformat(), "tank": "pressurised",
        "positions": positions,
    }  # fmt: skip
    answer = api.post("/api/v1/units/", body, format="json")
    assert answer.status_code == 201, answer.content
    unit: dict[str, Any] = answer.json()
    return unit


def test_an_offer_names_life_and_cost_of_what_finishes_the_water(as_owner: APIClient, site: Site) -> None:
    """15 L a day: 5000 L last 333 days and 3000 L 200; 9000 h of a lamp that burns day and night 375. In a year of
    365.25 days that is 15 x 365.25/333.3 = 16.44, 22 x 365.25/200 = 40.18 and 48 x 365.25/375 = 46.75."""
    way = offered(as_owner)
    parts = {part["stage"]: part for part in way["parts"]}
    assert list(parts)[-3:] == ["post_carbon", "remineralisation", "uv"]
    lives = {stage: parts[stage]["life"]["days"] for stage in list(parts)[-3:]}
    assert lives == {"post_carbon": pytest.approx(333.3, abs=0.1), "remineralisation": 200.0, "uv": 375.0}
    costs = {stage: round(parts[stage]["cost_per_year"], 2) for stage in list(parts)[-3:]}
    assert costs == {"post_carbon": 16.44, "remineralisation": 40.18, "uv": 46.75}
    # the first lamp comes with its unit: 210 and no 48 beside it
    priced = sum(part["price"] * part["count"] for part in way["parts"] if part["stage"] != "uv")
    priced += sum((fitting["price"] or 0.0) * fitting["count"] for fitting in way["fittings"])
    assert way["first_cost"] == pytest.approx(priced)
    codes = [remark["code"] for remark in way["reasons"]]
    assert codes[0] == "well_not_tested"
    assert "uv_lamp" in codes


def test_a_unit_built_as_offered_is_forecast_and_kept(
    as_owner: APIClient, site: Site, django_capture_on_commit_callbacks: Caught
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        unit = installed(as_owner, site)
    forecast_company(company=site.company, now=NOW)
    refresh_needs(company=site.company, now=NOW)
    rows = {row["stage"]: row for row in as_owner.get(f"/api/v1/forecasts/?unit={unit['id']}").json()["results"]}
    assert (rows["uv"]["daily_load"], rows["uv"]["daily_load_unit"]) == (24.0, "h/day")
    assert rows["uv"]["p90"] == (INSTALLED + timedelta(days=375)).date().isoformat()
    assert rows["remineralisation"]["p10"] < rows["remineralisation"]["p50"] < rows["remineralisation"]["p90"]
    assert rows["post_carbon"]["client_sentence"].startswith("Your taste filter should be replaced around")
    needs = as_owner.get(f"/api/v1/needs/?unit={unit['id']}").json()["results"]
    assert any(need["kind"] == "replace" and "remineralising cartridge" in str(need) for need in needs)


def test_a_dark_lamp_is_an_urgent_finding_and_a_new_one_settles_it(
    as_owner: APIClient,
    as_client: APIClient,
    office: Membership,
    site: Site,
    clock: Any,
    django_capture_on_commit_callbacks: Caught,
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        unit = installed(as_owner, site)
    address = f"/api/v1/units/{unit['id']}"
    with django_capture_on_commit_callbacks(execute=True):
        seen = as_client.post(f"{address}/readings/", {"observations": {"uv_alarm": True}}, format="json")
    assert seen.status_code == 201, seen.content
    finding = Finding.objects.get(unit=unit["id"], cause="uv_lamp_out", state="open")
    need = Need.objects.get(unit=unit["id"], finding=finding, state="open")
    assert (need.kind, need.is_urgent, need.position.stage, need.item.code) == ("replace", True, "uv", "LAMP")
    status = as_client.get(f"{address}/status/").json()
    assert status["water"] == "not_good"
    assert any("do not drink this water unless it was boiled" in sentence for sentence in status["findings"])
    bad_water = next(row for row in as_owner.get("/api/v1/attention/").json()["by_kind"] if row["kind"] == "bad_water")
    assert [matter["unit_code"] for matter in bad_water["matters"]] == ["W-1"]
    clock.shift(timedelta(minutes=20))
    lamp = next(place for place in unit["positions"] if place["stage"] == "uv")
    with django_capture_on_commit_callbacks(execute=True):
        body = {"position": lamp["id"], "item": "LAMP", "removal": "exhausted"}
        changed = as_owner.post("/api/v1/placements/", body, format="json")
    assert changed.status_code in (200, 201), changed.content
    assert not Finding.objects.filter(unit=unit["id"], cause="uv_lamp_out", state="open").exists()
    assert not Need.objects.filter(unit=unit["id"], finding=finding, state="open").exists()


def test_two_acid_readings_call_for_new_minerals_and_one_does_not(
    as_owner: APIClient, site: Site, django_capture_on_commit_callbacks: Caught
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        unit = installed(as_owner, site)
    forecast_company(company=site.company, now=NOW)
    found = Finding.objects.filter(unit=unit["id"], cause="minerals_exhausted", state="open")
    for days_ago, expected in ((9, False), (2, True)):
        body = {"remineralised_ph": "6.1", "taken_at": (NOW - timedelta(days=days_ago)).isoformat()}
        with django_capture_on_commit_callbacks(execute=True):
            answer = as_owner.post(f"/api/v1/units/{unit['id']}/readings/", body, format="json")
        assert answer.status_code == 201, answer.content
        assert found.exists() is expected
    row = next(
        row
        for row in as_owner.get(f"/api/v1/forecasts/?unit={unit['id']}").json()["results"]
        if row["stage"] == "remineralisation"
    )
    assert row["state"] == "exhausted"
    assert "pH behind the cartridge of 6.1, below the least of 6.5" in row["installer_sentence"]
