"""Purchase orders over the API, as the office uses them, and as nobody should."""

import json
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from accounts.models import AuditEntry
from scheduling.models import Delivery, Installer, PurchaseOrder, StockLevel
from tests import factories
from tests.cast import ApiFor
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town

ORDERS = "/api/v1/purchase-orders/"


@pytest.fixture(autouse=True)
def monday() -> Iterator[None]:
    """Everything happens on the Monday of the town."""
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def supplied(town: Town) -> Town:
    """A town with six carbons wanted and one there, and a supplier for them."""
    item = town.item("carbon")
    item.supplier = factories.SupplierFactory(company=town.company, name="Brine and Sons")
    item.save()
    town.installer("Ada")
    run_night(town, sites=6)
    town.stock(item, 1)
    return town


def _draft(api: APIClient) -> dict[str, Any]:
    answer = api.post(f"{ORDERS}draft/", {})
    assert answer.status_code == 200, answer.content
    drafted: dict[str, Any] = answer.json()
    return drafted


def test_a_line_names_what_was_bought_before_and_does_the_same(as_office: APIClient, supplied: Town) -> None:
    """Installed, delivered or on hand once; in use still; of the format of what is ordered."""
    wanted = supplied.item("carbon")
    type(wanted).objects.filter(pk=wanted.pk).update(cartridge_size="10_inch")

    def item(code: str, **values: Any) -> Any:
        facts = {"cartridge_size": "10_inch", "price": "9.00", **values}
        return factories.CatalogueItemFactory(company=supplied.company, kind="carbon", code=code, **facts)

    supplied.stock(item("CB-STOCK"), 2)
    delivered = factories.PurchaseOrderLineFactory(
        order__company=supplied.company, item=item("CB-ORDERED", price="8.00")
    )
    type(delivered).objects.filter(pk=delivered.pk).update(received=1)
    factories.PlacementFactory(
        position=supplied.position(supplied.unit(supplied.site()), "carbon"), item=item("CB-FITTED", price="7.00"),
        placed_at=NOW - timedelta(days=900), removed_at=NOW - timedelta(days=600), removal="routine",
    )  # fmt: skip
    item("CB-NEVER")
    supplied.stock(item("CB-GONE", is_active=False), 2)
    supplied.stock(item("CB-WIDE", cartridge_size="10_inch_wide"), 2)
    lines = {line["item_code"]: line for order in _draft(as_office)["orders"] for line in order["lines"]}
    assert lines["carbon-1"]["substitutes"] == ["CB-FITTED", "CB-ORDERED", "CB-STOCK"]


def test_a_clerks_way_from_the_list_to_the_shelf(as_office: APIClient, supplied: Town) -> None:
    drafted = _draft(as_office)
    (order,) = drafted["orders"]
    assert (order["state"], order["value"], order["currency"]) == ("draft", "192.00", "EUR")
    line = order["lines"][0]
    assert (line["item_code"], line["packs"], line["quantity"], line["cost"]) == ("carbon-1", 2, 8, "192.00")
    assert sum(row["pieces"] for row in line["wanted_for"]) == 5
    address = f"{ORDERS}{order['id']}/"

    changed = as_office.patch(
        address, {"lines": [{"item": line["item"], "packs": 3}], "note": "To the yard"}, format="json"
    )
    assert changed.status_code == 200, changed.content
    assert (changed.json()["lines"][0]["packs"], changed.json()["lines"][0]["suggested_packs"]) == (3, 2)

    placed = as_office.post(f"{address}place/", {"supplier_reference": "X-1"})
    assert placed.status_code == 200, placed.content
    assert (placed.json()["state"], placed.json()["expected_on"]) == ("placed", "2026-03-09")
    assert _draft(as_office)["orders"] == []

    first_delivery = {"reference": "N-1", "pieces": [{"line": line["id"], "quantity": 4, "lot": "L1"}]}
    for _ in range(2):
        received = as_office.post(f"{address}receive/", first_delivery, format="json")
        assert received.status_code == 200, received.content
    assert (received.json()["state"], received.json()["lines"][0]["outstanding"]) == ("partly_received", 8)
    assert [delivery["reference"] for delivery in received.json()["deliveries"]] == ["N-1"]
    assert StockLevel.objects.get().quantity == 5
    last_delivery = {"reference": "N-2", "pieces": [{"line": line["id"], "quantity": 8}]}
    last_answer = as_office.post(f"{address}receive/", last_delivery, format="json")
    assert (last_answer.json()["state"], last_answer.json()["expected_on"]) == ("received", None)
    line_after = as_office.get(f"/api/v1/parts-lists/{drafted['parts_list']}/").json()["lines"][0]
    assert line_after["packs_to_order"] == 0
    assert as_office.get(f"{ORDERS}?state=received&lines__item={line['item']}").json()["count"] == 1


def test_a_retry_with_the_same_key_drafts_and_places_once(as_office: APIClient, supplied: Town) -> None:
    order = _draft(as_office)["orders"][0]
    key = {"HTTP_IDEMPOTENCY_KEY": "once"}
    first = as_office.post(f"{ORDERS}{order['id']}/place/", {}, **key)
    second = as_office.post(f"{ORDERS}{order['id']}/place/", {}, **key)
    assert (first.status_code, second.status_code) == (200, 200)
    assert first.content == second.content
    assert AuditEntry.objects.filter(action="place order").count() == 1
    # without the key it is a second move, which is not legal
    assert as_office.post(f"{ORDERS}{order['id']}/place/", {}).status_code == 409


def test_a_stale_draft_is_not_overwritten(as_office: APIClient, supplied: Town) -> None:
    order = _draft(as_office)["orders"][0]
    address = f"{ORDERS}{order['id']}/"
    etag = as_office.get(address).headers["ETag"]
    assert as_office.patch(address, {"note": "first"}, HTTP_IF_MATCH=etag).status_code == 200
    assert as_office.patch(address, {"note": "second"}, HTTP_IF_MATCH=etag).status_code == 412
    assert as_office.post(f"{address}place/", {}, HTTP_IF_MATCH=etag).status_code == 412
    assert PurchaseOrder.objects.get().state == "draft"


def test_late_deliveries_are_listed_with_the_visits_they_endanger(as_office: APIClient, supplied: Town) -> None:
    order = _draft(as_office)["orders"][0]
    as_office.post(f"{ORDERS}{order['id']}/place/", {})
    (late,) = as_office.get(f"{ORDERS}late/").json()["results"]
    assert (late["number"], late["days_overdue"], late["outstanding"]) == (order["number"], 0, 8)
    assert sum(visit["pieces"] for visit in late["visits"]) == 5
    assert late["visits"][0]["site_code"] in late["sentence"]
    moved = as_office.post(f"{ORDERS}{order['id']}/expect/", {"expected_on": "2026-03-20"})
    assert moved.json()["expected_on"] == "2026-03-20"


def test_the_documents(as_office: APIClient, supplied: Town) -> None:
    order = _draft(as_office)["orders"][0]
    for name, media_type, text in (("csv", "text/csv", "carbon-1"), ("text", "text/plain", "Purchase order 1")):
        answer = as_office.get(f"{ORDERS}{order['id']}/{name}/", HTTP_ACCEPT=media_type)
        assert answer.status_code == 200
        assert answer.headers["Content-Type"] == f"{media_type}; charset=utf-8"
        assert text in answer.content.decode()
        absent = as_office.get(f"{ORDERS}987654/{name}/", HTTP_ACCEPT=media_type)
        assert (absent.status_code, json.loads(absent.content)["status"]) == (404, 404)


BY_HAND: list[tuple[dict[str, Any], str]] = [
    ({"supplier": None}, "/supplier"),
    ({"supplier": 987654}, "/supplier"),
    ({"supplier": "Brine"}, "/supplier"),
    ({"lines": None}, "/lines"),
    ({"lines": "x"}, "/lines"),
    ({"lines": [{"packs": 1}]}, "/lines/0/item"),
    ({"lines": [{"item": 987654, "packs": 1}]}, "/lines/0/item"),
    ({"packs": 0}, "/lines/0/packs"),
    ({"packs": -3}, "/lines/0/packs"),
    ({"packs": 1.5}, "/lines/0/packs"),
    ({"packs": 10_001}, "/lines/0/packs"),
    ({"packs": 2**70}, "/lines/0/packs"),
    ({"packs": "many"}, "/lines/0/packs"),
    ({"price": -1}, "/lines/0/price"),
    ({"price": "NaN"}, "/lines/0/price"),
    ({"price": "1e400"}, "/lines/0/price"),
    ({"price": 1.234}, "/lines/0/price"),
    ({"twice": True}, "/lines/1/item"),
    ({"note": "x" * 1001}, "/note"),
    ({"state": "placed"}, "/state"),
]


@pytest.mark.parametrize(("change", "pointer"), BY_HAND, ids=str)
def test_an_order_by_hand_that_cannot_be_right_is_refused(
    as_office: APIClient, supplied: Town, change: dict[str, Any], pointer: str
) -> None:
    item = supplied.item("carbon")
    line = {"item": item.pk, "packs": 1, **{k: v for k, v in change.items() if k in ("packs", "price")}}
    body = {"supplier": item.supplier_id, "lines": [line] * (2 if "twice" in change else 1)}
    body |= {k: v for k, v in change.items() if k not in ("packs", "price", "twice")}
    refused = as_office.post(ORDERS, body, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert not PurchaseOrder.objects.exists()


def test_more_pieces_than_a_store_holds_are_refused(as_office: APIClient, supplied: Town) -> None:
    item = supplied.item("carbon")
    item.pack_size = 2_000_000_000
    item.save()
    body = {"supplier": item.supplier_id, "lines": [{"item": item.pk, "packs": 9_999}]}
    refused = as_office.post(ORDERS, body, format="json")
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "/lines/0/packs"


def test_an_absurd_pack_does_not_break_the_draft(as_office: APIClient, supplied: Town) -> None:
    item = supplied.item("carbon")
    item.pack_size = 2_000_000_000
    item.save()
    answer = as_office.post(f"{ORDERS}draft/", {})
    assert answer.status_code == 200
    order = answer.json()["orders"][0]
    assert order["lines"][0]["quantity"] == 2_000_000_000
    as_office.post(f"{ORDERS}{order['id']}/place/", {})
    delivery = {"reference": "N", "pieces": [{"line": order["lines"][0]["id"], "quantity": 1_000_000}]}
    refused = as_office.post(f"{ORDERS}{order['id']}/receive/", delivery, format="json")
    assert refused.status_code == 400
    assert "count it first" in refused.json()["detail"]
    assert not Delivery.objects.exists()


@pytest.mark.parametrize(
    ("move", "body", "pointer"),
    [
        ("place", {"placed_on": "2026-03-03"}, "/placed_on"),
        ("place", {"placed_on": "0001-01-01"}, "/placed_on"),
        ("place", {"placed_on": "soon"}, "/placed_on"),
        ("place", {"expected_on": "2026-03-01"}, "/expected_on"),
        ("place", {"expected_on": "9999-12-31"}, "/expected_on"),
        ("place", {"below_minimum_order_value": "perhaps"}, "/below_minimum_order_value"),
        ("place", {"supplier_reference": "x" * 81}, "/supplier_reference"),
        ("draft", {"parts_list": 987654}, "/parts_list"),
        ("draft", {"until": "2026-02-30"}, "/until"),
        ("draft", {"everything": True}, "/everything"),
        ("cancel", {"note": "x" * 1001}, "/note"),
    ],
)
def test_a_move_that_cannot_be_right_is_refused(
    as_office: APIClient, supplied: Town, move: str, body: dict[str, Any], pointer: str
) -> None:
    order = _draft(as_office)["orders"][0]
    address = f"{ORDERS}draft/" if move == "draft" else f"{ORDERS}{order['id']}/{move}/"
    refused = as_office.post(address, body, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert PurchaseOrder.objects.get().state == "draft"


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"reference": ""}, "/reference"),
        ({"reference": None}, "/reference"),
        ({"pieces": []}, "/pieces"),
        ({"pieces": {}}, "/pieces"),
        ({"pieces": [{"line": 987654, "quantity": 1}]}, "/pieces/0/line"),
        ({"pieces": [{"quantity": 1}]}, "/pieces/0/line"),
        ({"quantity": 0}, "/pieces/0/quantity"),
        ({"quantity": 9}, "/pieces/0/quantity"),
        ({"quantity": 2**70}, "/pieces/0/quantity"),
        ({"lot": "x" * 81}, "/pieces/0/lot"),
        ({"received_on": "2026-03-03"}, "/received_on"),
        ({"received_on": "2026-03-01"}, "/received_on"),
    ],
)
def test_a_delivery_that_cannot_be_right_is_refused(
    as_office: APIClient, supplied: Town, body: dict[str, Any], pointer: str
) -> None:
    order = _draft(as_office)["orders"][0]
    as_office.post(f"{ORDERS}{order['id']}/place/", {})
    piece = {"line": order["lines"][0]["id"], "quantity": 1}
    piece |= {k: v for k, v in body.items() if k in ("quantity", "lot")}
    sent = {"reference": "N", "pieces": [piece], **{k: v for k, v in body.items() if k not in ("quantity", "lot")}}
    refused = as_office.post(f"{ORDERS}{order['id']}/receive/", sent, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert StockLevel.objects.get().quantity == 1


def test_without_a_list_the_office_is_told_what_to_do(as_office: APIClient, town: Town) -> None:
    refused = as_office.post(f"{ORDERS}draft/", {})
    assert refused.status_code == 409
    assert "plan the rounds and write their parts lists first" in refused.json()["detail"]


def test_an_item_without_a_supplier_is_told(as_office: APIClient, supplied: Town) -> None:
    item = supplied.item("carbon")
    item.supplier = None
    item.save()
    drafted = _draft(as_office)
    assert drafted["orders"] == []
    (entry,) = drafted["without_supplier"]
    assert (entry["item_code"], entry["short"], entry["packs_to_order"]) == ("carbon-1", 5, 2)
    assert entry["sentence"] == (
        "carbon-1 cannot be put into an order: the catalogue names no supplier for it. Name one, and draft again."
    )


def test_another_companys_list_supplier_and_item_are_not_there(
    as_rival: APIClient, as_office: APIClient, supplied: Town
) -> None:
    drafted = _draft(as_office)
    order = drafted["orders"][0]
    assert as_rival.get(ORDERS).json()["count"] == 0
    assert as_rival.get(f"{ORDERS}{order['id']}/csv/").status_code == 404
    refused = as_rival.post(f"{ORDERS}draft/", {"parts_list": drafted["parts_list"]})
    assert refused.json()["errors"][0]["pointer"] == "/parts_list"
    own = factories.SupplierFactory(company=factories.CompanyFactory())
    body = {"supplier": own.pk, "lines": []}
    assert as_office.post(ORDERS, body, format="json").json()["errors"][0]["pointer"] == "/supplier"
    foreign_item = factories.CatalogueItemFactory()
    body = {"supplier": order["supplier"], "lines": [{"item": foreign_item.pk, "packs": 1}]}
    assert as_office.post(ORDERS, body, format="json").json()["errors"][0]["pointer"] == "/lines/0/item"


def test_an_installer_reads_the_store_and_the_own_van_and_no_orders(
    api_for: ApiFor, supplied: Town, as_client: APIClient
) -> None:
    ada, ben = Installer.objects.get(), supplied.installer("Ben")
    item = supplied.item("sediment")
    supplied.stock(item, 2, ada)
    other = supplied.stock(item, 3, ben)
    api = api_for(ada.membership)
    levels = api.get("/api/v1/stock-levels/").json()["results"]
    assert {row["installer"] for row in levels} == {None, ada.pk}
    assert api.get(f"/api/v1/stock-levels/{other.pk}/").status_code == 404
    for caller in (api, as_client):
        assert caller.get(ORDERS).status_code == 403
        assert caller.post(f"{ORDERS}draft/", {}).status_code == 403
        assert caller.get("/api/v1/suppliers/").status_code == 403
    assert as_client.get("/api/v1/stock-levels/").status_code == 403


def test_a_policy_of_a_higher_service_level_orders_more(
    as_owner: APIClient, as_office: APIClient, supplied: Town
) -> None:
    for east in range(8):
        supplied.forecast(supplied.position(supplied.unit(supplied.site(east_km=-east)), "membrane"), 66)
    plan = run_night(supplied)
    spare = []
    for level in (0.5, 0.99):
        assert as_owner.patch("/api/v1/policy/", {"parts_service_level": level}).status_code == 200
        as_office.post(f"/api/v1/plans/{plan.pk}/write-parts-lists/", {})
        last = (TODAY + timedelta(days=55)).isoformat()
        lists = as_office.get(f"/api/v1/parts-lists/?scope=period&last_day={last}").json()["results"]
        lines = {line["item_code"]: line for line in lists[0]["lines"]}
        spare.append(lines["membrane-1"]["quantity"] + lines["membrane-1"]["spare"])
    assert spare[0] < spare[1] <= 8
    refused = as_owner.patch("/api/v1/policy/", {"parts_service_level": 1.0})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "/parts_service_level"
