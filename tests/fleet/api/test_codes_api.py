"""Codes and names in the place of ids, in bodies and in filters."""

from typing import Any

from rest_framework.test import APIClient

from accounts.models import Company
from tests import factories


def fault_of(response: Any) -> dict[str, Any]:
    assert response.status_code == 400, response.content
    (fault,) = response.json()["errors"]
    return dict(fault)


def test_a_site_is_sent_with_the_name_of_its_client(as_owner: APIClient, company: Company) -> None:
    client = factories.ClientFactory(company=company, name="Harbour Cafe")
    body = {"client": "harbour cafe", "code": "S1", "name": "Bar", "latitude": 53.5, "longitude": 10.0}
    made = as_owner.post("/api/v1/sites/", body, "json")
    assert made.status_code == 201, made.content
    assert made.json()["client"] == client.pk
    assert fault_of(as_owner.post("/api/v1/sites/", {**body, "client": "Harbour Caffe", "code": "S2"}, "json")) == {
        "pointer": "/client",
        "detail": "There is no client 'Harbour Caffe', or none you may see. Did you mean 'Harbour Cafe'?",
    }


def test_a_code_of_digits_wins_over_an_id_as_text_and_a_number_is_an_id(as_owner: APIClient, company: Company) -> None:
    first, second = factories.ClientFactory(company=company), factories.ClientFactory(company=company)
    first.name = str(second.pk)
    first.save()
    body = {"code": "S1", "name": "Bar", "latitude": 53.5, "longitude": 10.0}
    by_text = as_owner.post("/api/v1/sites/", {**body, "client": str(second.pk)}, "json")
    by_number = as_owner.post("/api/v1/sites/", {**body, "client": second.pk, "code": "S2"}, "json")
    assert (by_text.json()["client"], by_number.json()["client"]) == (first.pk, second.pk)
    assert as_owner.post("/api/v1/sites/", {**body, "client": str(first.pk), "code": "S3"}, "json").status_code == 201


def test_lists_are_filtered_by_code(as_owner: APIClient, company: Company) -> None:
    unit, other = factories.UnitFactory(company=company, code="S02-1"), factories.UnitFactory(company=company)
    for each in (unit, other):
        factories.ReadingFactory(unit=each)
    listed = as_owner.get("/api/v1/readings/", {"unit": "s02-1"}).json()["results"]
    assert {row["unit"] for row in listed} == {unit.pk}
    assert as_owner.get("/api/v1/units/", {"site": unit.site.code}).json()["results"][0]["id"] == unit.pk
    assert fault_of(as_owner.get("/api/v1/readings/", {"unit": "S02-l"})) == {
        "parameter": "unit",
        "detail": "unit: There is no unit 'S02-l', or none you may see. Did you mean 'S02-1'?",
    }
    assert fault_of(as_owner.get("/api/v1/readings/", {"batch": "first"}))["detail"] == (
        "batch: No text names the intake batch; give its id, a number."
    )


def test_another_companys_code_is_not_there(as_owner: APIClient, company: Company) -> None:
    factories.UnitFactory(company=factories.CompanyFactory(), code="THEIRS-1")
    refused = as_owner.get("/api/v1/readings/", {"unit": "THEIRS-1"})
    assert fault_of(refused)["detail"] == "unit: There is no unit 'THEIRS-1', or none you may see."


def test_a_client_finds_the_own_unit_alone_by_code(as_client: APIClient, company: Company) -> None:
    factories.UnitFactory(company=company, code="NEIGHBOUR-1")
    assert as_client.get("/api/v1/readings/", {"unit": "NEIGHBOUR-1"}).status_code == 400
