"""A changed policy before it is stored, and the policy against fixed intervals, over the API."""

import pytest
from rest_framework.test import APIClient

from scheduling.models import CompanyPolicy, Installer, Visit
from tests.scheduling.town import RO_DI_TRAIN, Town

MEASURES = {"visits", "parts", "days_at_risk", "visit_money", "parts_money", "bad_water_money", "money"}


@pytest.fixture
def _fleet(town: Town, ada: Installer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("scheduling.services.outlook._MOST_DRAWS", 8)
    for number in range(2):
        unit = town.unit(town.site(east_km=2.0 * number), train=RO_DI_TRAIN)
        for days, position in enumerate(unit.positions.exclude(stage="membrane"), start=1):
            town.forecast(position, 20 * days + 10 * number)


def _result(api: APIClient, answer) -> dict:  # type: ignore[no-untyped-def, type-arg]
    assert answer.status_code == 202, answer.content
    job = api.get(answer.headers["Location"]).json()
    assert job["state"] == "done", job
    return dict(job["result"])


@pytest.mark.usefixtures("_fleet")
@pytest.mark.django_db(transaction=True)
def test_a_change_is_shown_beside_the_present_and_nothing_is_stored(as_office: APIClient) -> None:
    body = {"late_cost_per_day": {stage: {"reef": 0.2} for stage in ("sediment", "carbon", "resin")}}
    result = _result(as_office, as_office.post("/api/v1/policy/preview/", body, format="json"))
    assert (result["sites"], result["units"], result["undated_positions"], result["days"]) == (2, 2, 2, 365)
    assert result["changes"] == ["late_cost_per_day"]
    for table in ("present", "changed", "difference"):
        assert set(result[table]) == MEASURES
        for row in result[table].values():
            assert row["p10"] <= row["p50"] <= row["p90"]
    # bad water that costs next to nothing is waited for
    assert result["changed"]["days_at_risk"]["mean"] > result["present"]["days_at_risk"]["mean"]
    assert result["difference"]["visits"]["mean"] <= 0.0
    difference = result["changed"]["money"]["mean"] - result["present"]["money"]["mean"]
    assert result["difference"]["money"]["mean"] == pytest.approx(difference, abs=0.03)
    assert not CompanyPolicy.objects.exists()
    assert not Visit.objects.exists()
    same = _result(as_office, as_office.post("/api/v1/policy/preview/", body, format="json"))
    assert same == result


@pytest.mark.usefixtures("_fleet")
@pytest.mark.django_db(transaction=True)
def test_no_change_makes_no_difference(as_owner: APIClient) -> None:
    result = _result(as_owner, as_owner.post("/api/v1/policy/preview/", {}, format="json"))
    assert all(value == 0.0 for row in result["difference"].values() for value in row.values())
    assert result["present"]["visits"]["p50"] > 0


@pytest.mark.usefixtures("_fleet")
@pytest.mark.django_db(transaction=True)
def test_the_frontier_shows_the_policy_at_several_prices_and_three_intervals(as_office: APIClient) -> None:
    result = _result(as_office, as_office.post("/api/v1/policy/frontier/", {}, format="json"))
    names = [point["name"] for point in result["points"]]
    assert names[-3:] == ["every 3 months", "every 6 months", "every 12 months"]
    assert len(names) == 8
    curve = result["points"][:5]
    assert [point["visits"] for point in curve] == sorted(point["visits"] for point in curve)
    fixed = {point["name"]: point for point in result["points"][-3:]}
    assert fixed["every 3 months"]["visits"] == pytest.approx(4.0, abs=0.3)
    assert fixed["every 12 months"]["days_at_risk"] > fixed["every 3 months"]["days_at_risk"]
    assert result["not_above_curve"] == [p["name"] for p in fixed.values() if p["is_above_curve"] is False]


def test_every_bad_setting_is_refused_by_field_and_starts_no_job(as_office: APIClient, ada: Installer) -> None:
    for body, pointer in (
        ({"visit_cost": -1}, "/visit_cost"),
        ({"visit_cost": "much"}, "/visit_cost"),
        ({"late_cost_per_day": {"carbon": {"pond": 3}}}, "/late_cost_per_day/carbon"),
        ({"currency": "USD"}, "/currency"),
        ({"price_of_sand": 3}, "/price_of_sand"),
        ({"counted_by": "neither"}, "/counted_by"),
        ({"seed": -1}, "/seed"),
        ({"unread_after_days": 3}, "/unread_after_days"),
    ):
        refused = as_office.post("/api/v1/policy/preview/", body, format="json")
        assert refused.status_code == 400, (body, refused.content)
        assert pointer in [fault["pointer"] for fault in refused.json()["errors"]], body
    refused = as_office.post("/api/v1/policy/frontier/", {"seed": "x"}, format="json")
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/seed"]
    assert as_office.get("/api/v1/jobs/").json()["results"] == []


def test_owner_and_office_alone_may_ask(as_installer: APIClient, as_client: APIClient) -> None:
    for api in (as_installer, as_client):
        for name in ("preview", "frontier"):
            assert api.post(f"/api/v1/policy/{name}/", {}).status_code == 403
