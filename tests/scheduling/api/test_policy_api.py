"""The company's policy over the API."""

import pytest
from rest_framework.test import APIClient

from accounts.models import AuditEntry, Company
from scheduling.api.policy import PolicySerializer
from scheduling.models import CompanyPolicy
from scheduling.services.policy import merge_policy

pytestmark = pytest.mark.interface

ADDRESS = "/api/v1/policy/"


def test_every_setting_is_shown_with_its_default(as_office: APIClient, company: Company) -> None:
    body = as_office.get(ADDRESS).json()
    expected = merge_policy(settings={}, currency="EUR").to_mapping()
    assert body == {**expected, "departures": []}
    assert not CompanyPolicy.objects.exists()


def test_every_setting_can_be_sent() -> None:
    settings = set(merge_policy(settings={}, currency="EUR").to_mapping())
    assert set(PolicySerializer().fields) == settings | {"departures"}


def test_the_owner_changes_a_price_and_goes_back(as_owner: APIClient, company: Company) -> None:
    changed = as_owner.patch(ADDRESS, {"visit_cost": 20, "late_cost_per_day": {"resin": {"reef": 9}}}, format="json")
    assert changed.status_code == 200, changed.content
    body = changed.json()
    assert body["visit_cost"] == 20
    assert body["late_cost_per_day"]["resin"] == {
        "reef": 9.0,
        "planted": 2.0,
        "drinking": 1.0,
        "coffee": 2.0,
        "laboratory": 15.0,
        "hydroponics": 2.0,
        "fish": 4.0,
        "other": 4.0,
    }
    assert body["departures"] == ["late_cost_per_day", "visit_cost"]
    back = as_owner.patch(ADDRESS, {"visit_cost": None}, format="json").json()
    assert (back["visit_cost"], back["departures"]) == (12.0, ["late_cost_per_day"])
    assert list(AuditEntry.objects.filter(action="change policy").values_list("subject_kind", flat=True)) == [
        "companypolicy",
        "companypolicy",
    ]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"visit_cost": -1}, "/visit_cost"),
        ({"visit_cost": "a lot"}, "/visit_cost"),
        ({"target_risk": 1.2}, "/target_risk"),
        ({"horizon_days": 0}, "/horizon_days"),
        ({"horizon_days": 2.5}, "/horizon_days"),
        ({"horizon_days": 10**30}, "/horizon_days"),
        ({"late_cost_per_day": {"magnet": {"reef": 1}}}, "/late_cost_per_day"),
        ({"late_cost_per_day": {"resin": {"pool": 1}}}, "/late_cost_per_day/resin"),
        ({"late_cost_per_day": {"resin": 3}}, "/late_cost_per_day/resin"),
        ({"task_minutes": {"replace": -5}}, "/task_minutes/replace"),
        ({"lunch_latest_start_s": 0}, "/lunch_latest_start_s"),
        ({"sanitise_every_days": 1}, "/sanitise_every_days"),
        ({"lead_late_share": 2}, "/lead_late_share"),
        ({"plans_with_van_stock": "perhaps"}, "/plans_with_van_stock"),
        ({"undone_cost_per_day": {"dance": 1}}, "/undone_cost_per_day/dance"),
        ({"undone_cost_per_day": {"repair": -1}}, "/undone_cost_per_day/repair"),
        ({"task_skills": {"dance": ["shoes"]}}, "/task_skills/dance"),
        ({"task_skills": {"repair": "electrical"}}, "/task_skills/repair"),
        ({"currency": "USD"}, "/currency"),
        ({"visit_price": 3}, "/visit_price"),
    ],
)
def test_a_setting_that_cannot_be_right_is_refused_and_nothing_changes(
    as_owner: APIClient, change: dict[str, object], pointer: str
) -> None:
    before = as_owner.get(ADDRESS).json()
    refused = as_owner.patch(ADDRESS, change, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert as_owner.get(ADDRESS).json() == before


@pytest.mark.parametrize("number", ["1e999", "NaN", "-Infinity"])
@pytest.mark.parametrize("body", ['{"visit_cost": %s}', '{"horizon_days": %s}', '{"task_minutes": {"replace": %s}}'])
def test_numbers_without_end_are_refused(as_owner: APIClient, body: str, number: str) -> None:
    assert as_owner.patch(ADDRESS, body % number, content_type="application/json").status_code == 400


def test_a_stale_change_is_refused(as_owner: APIClient) -> None:
    old = as_owner.get(ADDRESS).headers["ETag"]
    assert as_owner.patch(ADDRESS, {"visit_cost": 20}, format="json", headers={"If-Match": old}).status_code == 200
    assert as_owner.patch(ADDRESS, {"visit_cost": 30}, format="json", headers={"If-Match": old}).status_code == 412


def test_each_company_has_its_own(as_owner: APIClient, as_rival: APIClient) -> None:
    as_owner.patch(ADDRESS, {"visit_cost": 20}, format="json")
    assert as_rival.get(ADDRESS).json()["visit_cost"] == 12.0
