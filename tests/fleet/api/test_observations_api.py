"""Observations over the API: by everybody who may send a reading, of the units they may see."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Client, Company, Membership
from fleet.models import Reading, Unit
from tests import factories
from tests.cast import ApiFor


@pytest.fixture
def unit(company: Company, first_client: Client) -> Unit:
    return factories.UnitFactory(company=company, site__client=first_client, code="RX-7")


def test_a_client_reports_what_they_see_at_their_own_unit(
    unit: Unit, company: Company, first_client: Client, api_for: ApiFor
) -> None:
    client = api_for(factories.MembershipFactory(company=company, role=Membership.Role.CLIENT, client=first_client))
    created = client.post(f"/api/v1/units/{unit.pk}/readings/", {"observations": {"water_on_floor": True}})
    assert created.status_code == 201, created.content
    assert (created.json()["source"], created.json()["observations"]) == ("client", {"water_on_floor": True})
    listed = client.get(f"/api/v1/readings/?unit={unit.pk}").json()["results"]
    assert [row["observations"] for row in listed] == [{"water_on_floor": True}]
    other = factories.UnitFactory(company=company)
    body: dict[str, Any] = {"unit": other.pk, "observations": {"water_on_floor": True}}
    assert client.post("/api/v1/readings/", body).status_code == 400
    assert Reading.objects.count() == 1


def test_an_unknown_code_is_refused_and_the_right_ones_are_named(unit: Unit, as_installer: APIClient) -> None:
    refused = as_installer.post("/api/v1/readings/", {"unit": unit.pk, "observations": {"noise": True}})
    assert (refused.status_code, refused.json()["code"]) == (400, "unknown_observation")
    fault = refused.json()["errors"][0]
    assert fault["pointer"] == "/observations"
    assert "'unusual_noise'" in fault["detail"]
