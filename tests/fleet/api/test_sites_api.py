"""Sites over the API: one whose location is unknown is stored, listed to be completed, and completed."""

from typing import Any

from rest_framework.test import APIClient

from accounts.models import Company
from tests import factories

SITES = "/api/v1/sites/"


def _fault(response: Any) -> tuple[str, str]:
    assert response.status_code == 400, response.content
    (fault,) = response.json()["errors"]
    return fault["pointer"], fault["detail"]


def test_a_site_without_coordinates_is_stored_listed_and_completed(as_owner: APIClient, company: Company) -> None:
    client = factories.ClientFactory(company=company)
    factories.SiteFactory(company=company)
    made = as_owner.post(SITES, {"client": client.pk, "code": "S1", "name": "Bar"}, "json")
    assert made.status_code == 201, made.content
    site = made.json()
    assert (site["latitude"], site["longitude"], site["is_located"]) == (None, None, False)
    assert [row["code"] for row in as_owner.get(SITES, {"is_located": "false"}).json()["results"]] == ["S1"]
    assert as_owner.get(SITES, {"is_located": "true"}).json()["results"][0]["is_located"] is True
    at = f"{SITES}{site['id']}/"
    half = as_owner.patch(at, {"latitude": 53.5}, "json")
    assert _fault(half) == (
        "/longitude",
        "Give latitude and longitude both, or neither while the location is unknown.",
    )
    completed = as_owner.patch(at, {"latitude": 53.5, "longitude": 10.0}, "json").json()
    assert completed["is_located"] is True
    assert as_owner.get(SITES, {"is_located": "false"}).json()["results"] == []


def test_a_site_that_rounds_rest_on_keeps_its_location(as_owner: APIClient, company: Company) -> None:
    site = factories.SiteFactory(company=company)
    at = f"{SITES}{site.pk}/"
    assert _fault(as_owner.patch(at, {"longitude": None}, "json"))[0] == "/longitude"
    refused = as_owner.patch(at, {"latitude": None, "longitude": None}, "json")
    assert refused.status_code == 400
    assert {fault["pointer"] for fault in refused.json()["errors"]} == {"/latitude", "/longitude"}
    site.refresh_from_db()
    assert site.is_located
