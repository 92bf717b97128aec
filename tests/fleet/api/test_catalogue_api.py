"""The catalogue: an accessory says what it is for, a cartridge does not."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.engineering.diagnosis import CAUSES
from fleet.engineering.purposes import PURPOSES
from tests import factories

PATH = "/api/v1/catalogue-items/"
RESTRICTOR = {
    "code": "R900", "name": "orifice in a tube", "kind": "accessory", "purpose": "flow_restrictor", "price": "4.60",
    "rated_flow": "900 mL/min", "rated_pressure": "60 psi",
}  # fmt: skip


def fault(answer: Any) -> tuple[str, str]:
    assert answer.status_code == 400, answer.content
    (only,) = answer.json()["errors"]
    return only["pointer"], only["detail"]


def test_an_accessory_says_what_it_is_for(company: Company, as_office: APIClient) -> None:
    answer = as_office.post(PATH, RESTRICTOR)
    assert answer.status_code == 201, answer.content
    assert answer.json()["purpose"] == "flow_restrictor"
    assert answer.json()["rated_flow"]["value"] == pytest.approx(1296.0)
    factories.CatalogueItemFactory(company=company, kind="accessory", purpose="softener")
    results = as_office.get(f"{PATH}?purpose=flow_restrictor").json()["results"]
    assert [item["code"] for item in results] == ["R900"]


def test_an_unknown_purpose_is_refused_with_all_that_there_are(as_office: APIClient) -> None:
    pointer, sentence = fault(as_office.post(PATH, {**RESTRICTOR, "purpose": "turbo"}))
    assert pointer == "/purpose"
    assert all(name in sentence for name in PURPOSES)


@pytest.mark.parametrize("kind", ["sediment", "carbon"])
def test_a_cartridge_has_no_purpose_beside_its_kind(as_office: APIClient, kind: str) -> None:
    pointer, sentence = fault(as_office.post(PATH, {**RESTRICTOR, "kind": kind}))
    assert pointer == "/purpose"
    assert f"A {kind} cartridge" in sentence
    assert "needs no purpose" in sentence


def test_a_change_of_kind_alone_cannot_leave_a_purpose_behind(company: Company, as_office: APIClient) -> None:
    item = factories.CatalogueItemFactory(company=company, kind="accessory", purpose="check_valve")
    path = f"{PATH}{item.pk}/"
    etag = as_office.get(path)["ETag"]
    pointer, _ = fault(as_office.patch(path, {"kind": "sediment"}, headers={"If-Match": etag}))
    assert pointer == "/purpose"


def test_a_small_part_can_be_asked_for_by_any_cause(company: Company, as_owner: APIClient) -> None:
    item = factories.CatalogueItemFactory(company=company, kind="small_part")
    cause = max(CAUSES, key=len)
    answer = as_owner.post("/api/v1/parts-rules/", {"item": item.pk, "work": cause, "per": "unit"})
    assert (answer.status_code, answer.json().get("work")) == (201, cause)
