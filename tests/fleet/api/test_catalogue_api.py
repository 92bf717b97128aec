"""The catalogue: an accessory says what it is for, a cartridge does not."""

from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.engineering.diagnosis import CAUSES
from fleet.engineering.purposes import PURPOSES
from fleet.services.forecasts.tables import item_columns
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


MEMBRANE = {"code": "M75", "name": "membrane", "kind": "membrane", "price": "30", "rated_flow": "284 L/day"}


def test_what_a_label_does_not_say_is_assumed_and_named(company: Company, as_office: APIClient) -> None:
    answer = as_office.post(PATH, {**MEMBRANE, "rated_tds": "500 mg/L"})
    assert answer.status_code == 201, answer.content
    item = answer.json()
    assert item["assumed"] == [
        "membrane_material", "rejection_fraction", "rated_pressure", "rated_temperature", "rated_recovery_fraction"
    ]  # fmt: skip
    assert (item["membrane_material"], item["rejection_fraction"], item["rated_recovery_fraction"]) == (
        "polyamide",
        0.96,
        0.15,
    )
    assert item["rated_tds"]["value"] == 500
    path = f"{PATH}{item['id']}/"
    put_right = as_office.patch(path, {"rejection_fraction": 0.96, "rated_pressure": "50 psi"}).json()
    assert put_right["assumed"] == ["membrane_material", "rated_temperature", "rated_recovery_fraction"]
    back = as_office.patch(path, {"rated_pressure": None})
    assert (back.status_code, back.json().get("assumed", [""])[1]) == (200, "rated_pressure"), back.content


def test_what_nobody_can_assume_is_asked_for(as_office: APIClient) -> None:
    no_flow = {name: value for name, value in MEMBRANE.items() if name != "rated_flow"}
    assert fault(as_office.post(PATH, no_flow))[0] == "/rated_flow"
    wide = as_office.post(PATH, {**MEMBRANE, "cartridge_size": "element_4040"})
    assert {each["pointer"] for each in wide.json()["errors"]} == {"/rated_pressure", "/rated_tds"}
    bed = {"code": "R", "name": "bed", "kind": "resin", "price": "20", "cartridge_size": "vessel"}
    assert fault(as_office.post(PATH, bed)) == ("/resin_volume", "A resin states its resin volume; it is on the label.")


def test_an_assumed_volume_follows_the_size(as_office: APIClient) -> None:
    made = as_office.post(PATH, {"code": "R", "name": "resin", "kind": "resin", "price": "20"}).json()
    assert (made["resin_volume"]["value"], made["assumed"]) == (0.6, ["resin_volume", "resin_capacity"])
    longer = as_office.patch(f"{PATH}{made['id']}/", {"cartridge_size": "20_inch"}).json()
    assert (longer["resin_volume"]["value"], longer["assumed"]) == (1.2, ["resin_volume", "resin_capacity"])


def test_a_forecast_takes_no_assumed_label_for_known(company: Company) -> None:
    factories.CatalogueItemFactory(company=company, kind="resin")
    factories.CatalogueItemFactory(company=company, kind="resin", assumed=["resin_capacity"])
    columns = item_columns(company)
    assert columns["resin_capacity_eq_per_l"][0] is not None
    assert columns["resin_capacity_eq_per_l"][1] is None
    assert None not in columns["resin_volume_l"]
