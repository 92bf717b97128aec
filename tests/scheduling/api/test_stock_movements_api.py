"""The ledger of stock over the API."""

from datetime import timedelta
from typing import Any

import pytest
from rest_framework.test import APIClient

from accounts.models import AuditEntry, Membership
from scheduling.models import Installer, StockLevel, StockMovement
from scheduling.services.stock.ledger import differing_totals
from tests.scheduling.town import NOW, Town

MOVEMENTS = "/api/v1/stock-movements/"
LEVELS = "/api/v1/stock-levels/"


def _pieces(town: Town) -> dict[int | None, int]:
    assert differing_totals(town.company) == {}
    return dict(StockLevel.objects.values_list("installer", "quantity"))


def _move(api: APIClient, town: Town, kind: str, pieces: int, **more: Any) -> Any:
    body = {"item": "carbon-1", "kind": kind, "pieces": pieces, "reason": "for Tuesday", **more}
    return api.post(MOVEMENTS, body, format="json")


def test_pieces_go_to_a_van_back_to_the_supplier_and_into_the_bin(
    as_office: APIClient, town: Town, ada: Installer
) -> None:
    town.stock(town.item("carbon"), 10)
    row = _move(as_office, town, "transfer", 4, to_installer=ada.pk)
    assert row.status_code == 201, row.content
    assert {name: row.json()[name] for name in ("from_place", "to_place", "to_installer", "taken", "put")} == {
        "from_place": "store",
        "to_place": "van",
        "to_installer": ada.pk,
        "taken": 4,
        "put": 4,
    }
    assert _pieces(town) == {None: 6, ada.pk: 4}
    for kind, more in (("supplier_return", {}), ("scrap", {"from_installer": ada.pk}), ("return", {})):
        assert _move(as_office, town, kind, 1, **more).status_code == 201
    assert _pieces(town) == {None: 6, ada.pk: 3}
    entry = AuditEntry.objects.filter(action="move stock").order_by("pk").first()
    assert entry.details == {
        "kind": "transfer",
        "item": "carbon-1",
        "pieces": 4,
        "from": "the store",
        "to": "the van of Ada",
        "reason": "for Tuesday",
    }


@pytest.mark.parametrize(
    ("kind", "change", "pointer"),
    [
        ("scrap", {"pieces": 3}, "/pieces"),
        ("scrap", {"pieces": 0}, "/pieces"),
        ("scrap", {"reason": ""}, "/reason"),
        ("scrap", {"to_installer": "Ada"}, "/to_installer"),
        ("return", {"from_installer": "Ada"}, "/from_installer"),
        ("transfer", {}, "/to_installer"),
        ("transfer", {"from_installer": "Ada"}, "/pieces"),
        ("count", {}, "/kind"),
        ("scrap", {"happened_at": "2031-01-01T00:00:00Z"}, "/happened_at"),
        ("scrap", {"happened_at": "2020-01-01T00:00:00Z"}, "/happened_at"),
    ],
)
def test_a_fault_names_its_field(
    as_office: APIClient, town: Town, ada: Installer, kind: str, change: dict[str, Any], pointer: str
) -> None:
    town.stock(town.item("carbon"), 2)
    before = StockMovement.objects.count()
    refused = _move(as_office, town, kind, **{"pieces": 1, **change})
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert StockMovement.objects.count() == before
    assert _pieces(town) == {None: 2}


def test_an_installer_counts_and_moves_the_own_van_only(as_installer: APIClient, town: Town, ada: Installer) -> None:
    ben = town.installer("Ben")
    item = town.item("carbon")
    town.stock(item, 10)
    assert _move(as_installer, town, "transfer", 2, to_installer=ada.pk).status_code == 201
    counted = as_installer.post(LEVELS, {"item": item.pk, "quantity": 3, "installer": ada.pk}, format="json")
    assert counted.status_code == 201, counted.content
    assert _pieces(town) == {None: 8, ada.pk: 3}
    for refused, pointer in (
        (_move(as_installer, town, "transfer", 1, to_installer=ben.pk), "/to_installer"),
        (_move(as_installer, town, "scrap", 1), "/from_installer"),
        (as_installer.post(LEVELS, {"item": item.pk, "quantity": 3, "installer": ben.pk}, format="json"), "/installer"),
        (as_installer.post(LEVELS, {"item": item.pk, "quantity": 3}, format="json"), "/installer"),
    ):
        assert refused.status_code == 400, refused.content
        assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert _pieces(town) == {None: 8, ada.pk: 3}


def test_an_installer_reads_nothing_of_the_vans_of_others(
    as_installer: APIClient, as_office: APIClient, town: Town, ada: Installer
) -> None:
    ben, item = town.installer("Ben"), town.item("carbon")
    for van in (None, ada, ben):
        town.stock(item, 1, van)
    seen = as_installer.get(MOVEMENTS).json()["results"]
    assert {row["to_installer"] for row in seen} == {None, ada.pk}
    assert as_office.get(MOVEMENTS).json()["count"] == 3


def test_a_kind_that_nobody_enters_is_answered_with_those_that_are(as_office: APIClient, town: Town) -> None:
    town.stock(town.item("carbon"), 2)
    refused = _move(as_office, town, "found", pieces=1)
    (fault,) = refused.json()["errors"]
    assert fault["pointer"] == "/kind"
    assert fault["detail"] == "'found' cannot be taken here; send one of: transfer, return, supplier_return, scrap."


def test_the_list_is_narrowed_by_item_van_kind_and_time(as_office: APIClient, town: Town, ada: Installer) -> None:
    town.stock(town.item("carbon"), 10)
    town.stock(town.item("resin"), 10)
    _move(as_office, town, "transfer", 4, to_installer=ada.pk)
    _move(as_office, town, "transfer", 1, from_installer=ada.pk)
    later = (NOW + timedelta(minutes=1)).isoformat().replace("+00:00", "Z")
    at = NOW.isoformat().replace("+00:00", "Z")
    for query, count in (
        ("item=carbon-1", 3),
        ("kind=opening", 2),
        ("installer=Ada", 2),
        (f"installer={ada.pk}&kind=transfer", 2),
        (f"from={at}", 4),
        (f"from={later}", 0),
        (f"before={at}", 0),
        (f"before={later}", 4),
    ):
        assert as_office.get(f"{MOVEMENTS}?{query}").json()["count"] == count, query
    assert as_office.get(f"{MOVEMENTS}?installer=Nobody").status_code == 400


def test_a_wrong_transfer_and_a_wrong_count_are_taken_back(as_office: APIClient, town: Town, ada: Installer) -> None:
    item = town.item("carbon")
    town.stock(item, 10)
    moved = _move(as_office, town, "transfer", 4, to_installer=ada.pk).json()
    as_office.post(LEVELS, {"item": item.pk, "quantity": 60}, format="json")
    assert _pieces(town) == {None: 60, ada.pk: 4}
    counted = as_office.get(f"{MOVEMENTS}?kind=count").json()["results"][0]
    reversal = as_office.post(f"{MOVEMENTS}{counted['id']}/void/", {"reason": "6, not 60"}, format="json")
    assert reversal.status_code == 200, reversal.content
    assert (reversal.json()["reversal_of"], reversal.json()["taken"]) == (counted["id"], 54)
    assert as_office.get(f"{MOVEMENTS}{counted['id']}/").json()["reversed_by"] == reversal.json()["id"]
    assert _pieces(town) == {None: 6, ada.pk: 4}
    assert as_office.post(f"{MOVEMENTS}{moved['id']}/void/", {"reason": "another van"}).status_code == 200
    assert _pieces(town) == {None: 10}
    again = as_office.post(f"{MOVEMENTS}{moved['id']}/void/", {"reason": "another van"})
    assert (again.status_code, again.json()["code"]) == (409, "already_void")
    assert AuditEntry.objects.filter(action="void stock movement").count() == 2


def test_a_count_that_is_older_than_the_last_is_refused(as_office: APIClient, town: Town) -> None:
    town.stock(town.item("carbon"), 10)
    at = (NOW - timedelta(days=1)).isoformat()
    refused = as_office.post(LEVELS, {"item": "carbon-1", "quantity": 6, "counted_at": at}, format="json")
    assert (refused.status_code, refused.json()["code"]) == (409, "counted_since")
    assert refused.json()["errors"][0]["pointer"] == "/counted_at"
    assert _pieces(town) == {None: 10}


def test_another_companys_movement_is_not_there(as_office: APIClient, town: Town, rival: Membership) -> None:
    foreign = Town(rival.company)
    foreign.stock(foreign.item("carbon"), 3)
    row = StockMovement.objects.get()
    assert as_office.get(f"{MOVEMENTS}{row.pk}/").status_code == 404
    assert as_office.post(f"{MOVEMENTS}{row.pk}/void/", {"reason": "mine"}).status_code == 404
    assert as_office.get(MOVEMENTS).json()["count"] == 0
