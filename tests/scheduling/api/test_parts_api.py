"""Parts lists and stock over the API."""

from datetime import timedelta

import pytest
from rest_framework.test import APIClient

from accounts.models import Membership
from scheduling.models import Installer, StockLevel, Visit
from tests import factories
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, TODAY, Town

STOCK = "/api/v1/stock-levels/"


def test_lists_by_visit_round_and_period(as_installer: APIClient, town: Town, ada: Installer) -> None:
    plan = run_night(town, sites=3)
    for scope, count in (("visit", 3), ("round", plan.rounds.count()), ("period", 2)):
        lists = as_installer.get(f"/api/v1/parts-lists/?scope={scope}&plan={plan.pk}").json()
        assert lists["count"] == count, scope
        assert sum(line["quantity"] for one in lists["results"] for line in one["lines"]) == (
            6 if scope == "period" else 3
        )
    line = lists["results"][0]["lines"][0]
    assert (line["item_code"], line["short"], line["packs_to_order"]) == ("carbon-1", 3, 1)
    assert line["order_by"] < line["needed_by"]
    assert sum(row["quantity"] for row in line["taken_by"]) == 3


def test_a_count_sent_again_takes_the_place_of_the_one_before(as_office: APIClient, town: Town) -> None:
    item = town.item("carbon")
    first = as_office.post(STOCK, {"item": item.pk, "quantity": 7})
    assert first.status_code == 201, first.content
    second = as_office.post(STOCK, {"item": item.pk, "quantity": 5})
    assert second.json()["id"] == first.json()["id"]
    assert as_office.patch(f"{STOCK}{first.json()['id']}/", {"quantity": 4}).json()["quantity"] == 4
    assert StockLevel.objects.get().quantity == 4
    assert as_office.get(f"{STOCK}?installer__isnull=true").json()["count"] == 1
    assert as_office.delete(f"{STOCK}{first.json()['id']}/").status_code == 204


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"quantity": -1}, "/quantity"),
        ({"quantity": 10**9}, "/quantity"),
        ({"quantity": 1.5}, "/quantity"),
        ({"quantity": None}, "/quantity"),
        ({"item": "carbon-one"}, "/item"),
        ({"installer": 999_999}, "/installer"),
        ({"counted_at": "2030-01-01T00:00:00Z"}, "/counted_at"),
        ({"counted_at": "yesterday"}, "/counted_at"),
    ],
)
def test_a_fault_names_its_field(as_office: APIClient, town: Town, change: dict[str, object], pointer: str) -> None:
    refused = as_office.post(STOCK, {"item": town.item("carbon").pk, "quantity": 1, **change}, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert not StockLevel.objects.exists()


def test_another_companys_van_is_not_there(as_office: APIClient, town: Town, rival: Membership) -> None:
    foreign_installer = Town(rival.company).installer("Rolf")
    refused = as_office.post(STOCK, {"item": town.item("carbon").pk, "quantity": 1, "installer": foreign_installer.pk})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "/installer"


def test_by_item_stands_what_is_reserved_free_and_on_order(as_office: APIClient, town: Town, ada: Installer) -> None:
    item = town.item("carbon")
    run_night(town, sites=3)
    town.stock(item, 4)
    town.stock(item, 1, ada)
    line = factories.PurchaseOrderLineFactory(
        order__company=town.company, order__state="placed", order__placed_on=TODAY, item=item, packs=2, pack_size=3
    )
    row = {"on_hand": 5, "store": 4, "vans": 1, "expired": 0, "reserved": 0, "free": 5, "on_order": line.outstanding}
    assert as_office.get(f"{STOCK}by-item/").json()["results"] == [
        {"item": item.pk, "item_code": "carbon-1", "item_name": item.name, **row}
    ]
    visits = Visit.objects.order_by("pk")[:2]
    for number, visit in enumerate(visits):
        Visit.objects.filter(pk=visit.pk).update(
            state="confirmed", installer=ada, appointment_at=NOW + timedelta(days=1, hours=number)
        )
    (found,) = as_office.get(f"{STOCK}by-item/").json()["results"]
    assert (found["on_hand"], found["reserved"], found["free"]) == (5, 2, 3)


def test_pieces_that_are_only_on_order_are_reserved_for_nobody(
    as_office: APIClient, town: Town, ada: Installer
) -> None:
    item = town.item("carbon")
    run_night(town, sites=1)
    town.stock(item, 0)
    factories.PurchaseOrderLineFactory(
        order__company=town.company, order__state="placed", order__placed_on=TODAY, item=item, expected_on=TODAY
    )
    Visit.objects.update(state="confirmed", installer=ada, appointment_at=NOW + timedelta(days=3))
    (found,) = as_office.get(f"{STOCK}by-item/").json()["results"]
    assert (found["on_hand"], found["reserved"], found["free"]) == (0, 0, 0)
    assert found["on_order"] > 0


def test_lots_are_counted_and_stand_with_what_is_expired(as_office: APIClient, town: Town) -> None:
    lots = [
        {"lot": "R2", "expires_on": "2027-01-31", "quantity": 1},
        {"lot": "R1", "expires_on": "2026-01-31", "quantity": 2},
        {"lot": "R3", "quantity": 1},
    ]
    counted = as_office.post(STOCK, {"item": town.item("resin").code, "quantity": 5, "lots": lots}, format="json")
    assert counted.status_code == 201, counted.content
    assert counted.json()["lots"] == [lots[1], lots[0], {**lots[2], "expires_on": None}]
    assert counted.json()["expired"] == 2
    (row,) = as_office.get(f"{STOCK}by-item/").json()["results"]
    assert (row["on_hand"], row["expired"], row["free"]) == (3, 2, 3)
    address = f"{STOCK}{counted.json()['id']}/"
    for change, pointer in (
        ({"quantity": 2, "lots": lots}, "/lots"),
        ({"lots": [{"quantity": 1}]}, "/lots/0"),
        ({"lots": [{"lot": "R1", "quantity": 0}]}, "/lots/0/quantity"),
        ({"lots": [{"lot": "R1", "expires_on": "31/01/2027", "quantity": 1}]}, "/lots/0/expires_on"),
    ):
        refused = as_office.patch(address, change, format="json")
        assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, pointer)
    assert as_office.patch(address, {"quantity": 1}, format="json").json()["lots"] == [{**lots[2], "expires_on": None}]
