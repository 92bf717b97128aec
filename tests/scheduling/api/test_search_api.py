"""Search: what an office is told over the telephone finds the rows, and nothing of anybody else."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from accounts.models import Company
from tests import factories


@pytest.fixture
def rows(company: Company) -> dict[str, Any]:
    client = factories.ClientFactory(
        company=company, name="Hillside Aquaria", phone="555 0100", email="post@hill.example"
    )
    site = factories.SiteFactory(company=company, client=client, code="H1", name="Harbour tanks", address="3 Quay Lane")
    unit = factories.UnitFactory(company=company, site=site, code="H1-7", name="Reef")
    position = factories.PositionFactory(unit=unit, stage="carbon")
    item = factories.CatalogueItemFactory(company=company, code="CAR-20", name="Carbon block", kind="carbon")
    placement = factories.PlacementFactory(position=position, item=item, serial_or_lot="LOT-4711")
    visit = factories.VisitFactory(site=site)
    supplier = factories.SupplierFactory(company=company, name="Filter trade")
    order = factories.PurchaseOrderFactory(company=company, supplier=supplier, number=314)
    return {
        "client": client,
        "site": site,
        "unit": unit,
        "cartridge": placement,
        "item": item,
        "visit": visit,
        "order": order,
    }


def _found(api: APIClient, text: str) -> dict[str, list[int]]:
    answer = api.get("/api/v1/search/", {"search": text})
    assert answer.status_code == 200, answer.content
    return {kind["kind"]: [row["id"] for row in kind["found"]] for kind in answer.json()["by_kind"]}


@pytest.mark.parametrize(
    ("text", "kinds"),
    [
        ("555 0100", {"client"}),
        ("post@hill", {"client"}),
        ("hillside", {"client", "site", "unit", "visit"}),
        ("quay", {"site", "visit"}),
        ("LANE harbour", {"site", "visit"}),
        ("h1-7", {"unit", "cartridge"}),
        ("lot-4711", {"cartridge"}),
        ("car-20", {"cartridge", "item"}),
        ("314", {"order"}),
        ("filter trade", {"order"}),
        ("hillside 4711", set()),
        ("nothing of the kind", set()),
    ],
)
def test_words_find_the_rows(rows: dict[str, Any], as_office: APIClient, text: str, kinds: set[str]) -> None:
    assert _found(as_office, text) == {kind: [rows[kind].pk] for kind in rows if kind in kinds}


def test_every_row_that_is_found_stands_at_its_address(rows: dict[str, Any], as_office: APIClient) -> None:
    for text in ("hillside", "car-20", "314"):
        for kind in as_office.get("/api/v1/search/", {"search": text}).json()["by_kind"]:
            for row in kind["found"]:
                answer = as_office.get(row["path"])
                assert answer.status_code == 200
                assert answer.json()["id"] == row["id"]
                assert row["title"]


def test_the_lists_find_the_same(rows: dict[str, Any], as_office: APIClient) -> None:
    lists = {
        "client": "clients",
        "site": "sites",
        "unit": "units",
        "cartridge": "placements",
        "item": "catalogue-items",
        "visit": "visits",
        "order": "purchase-orders",
    }
    for text in ("hillside", "h1-7", "car-20", "314", "quay"):
        found = _found(as_office, text)
        for kind, path in lists.items():
            listed = as_office.get(f"/api/v1/{path}/", {"search": text})
            assert listed.status_code == 200, listed.content
            assert [row["id"] for row in listed.json()["results"]] == found.get(kind, []), (text, kind)


def test_nothing_of_another_company_is_found(rows: dict[str, Any], as_rival: APIClient) -> None:
    for text in ("hillside", "quay", "h1-7", "car-20", "314", "555"):
        assert _found(as_rival, text) == {}


def test_an_installer_does_not_find_orders_and_a_client_cannot_search_everything(
    rows: dict[str, Any], as_installer: APIClient, as_client: APIClient
) -> None:
    assert "order" not in _found(as_installer, "314")
    assert as_client.get("/api/v1/search/", {"search": "quay"}).status_code == 403


def test_what_cannot_be_looked_for_is_refused(as_office: APIClient) -> None:
    for parameters in ({}, {"search": "  "}, {"search": "a\x00b"}, {"search": " ".join("abcdefghijk")}, {"find": "x"}):
        answer = as_office.get("/api/v1/search/", parameters)
        assert answer.status_code == 400, (parameters, answer.content)
        assert answer.json()["errors"][0]["parameter"] in ("search", "find")


def test_signs_of_the_database_are_only_signs(rows: dict[str, Any], as_office: APIClient) -> None:
    for text in ("%", "_", "\\", "'; --", '"h1', "\U0001f4a7"):
        assert _found(as_office, text) == {}, text


def test_ten_of_a_kind_are_shown_and_all_are_counted(company: Company, as_office: APIClient) -> None:
    for number in range(12):
        factories.ClientFactory(company=company, name=f"Meadow {number}")
    with CaptureQueriesContext(connection) as few:
        (kind,) = as_office.get("/api/v1/search/", {"search": "meadow"}).json()["by_kind"]
    assert (kind["count"], len(kind["found"])) == (12, 10)
    for number in range(12, 40):
        factories.ClientFactory(company=company, name=f"Meadow {number}")
    with CaptureQueriesContext(connection) as many:
        as_office.get("/api/v1/search/", {"search": "meadow"})
    assert len(many) == len(few)
