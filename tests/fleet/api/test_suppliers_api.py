"""Suppliers over the API, and which items come from them."""

from decimal import Decimal

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.models import Supplier
from tests import factories

pytestmark = pytest.mark.interface

SUPPLIERS = "/api/v1/suppliers/"


def test_the_office_writes_a_supplier_down_and_says_what_comes_from_it(as_office: APIClient, company: Company) -> None:
    created = as_office.post(
        SUPPLIERS,
        {"name": "Brine and Sons", "lead_time_days": 10, "closed_weekdays": [6, 5, 4], "minimum_order_value": 50},
    )
    assert created.status_code == 201, created.content
    assert created.json()["closed_weekdays"] == [4, 5, 6]
    item = factories.CatalogueItemFactory(company=company, lead_time_days=None)
    assert item.days_to_store == 7
    changed_item = as_office.patch(
        f"/api/v1/catalogue-items/{item.pk}/", {"supplier": created.json()["id"], "supplier_part_number": "B-17"}
    )
    assert changed_item.status_code == 200, changed_item.content
    item.refresh_from_db()
    assert (item.days_to_store, item.supplier_part_number) == (10, "B-17")
    item.lead_time_days = 3
    assert item.days_to_store == 3
    assert Supplier.objects.get().minimum_order_value == Decimal("50.00")
    assert as_office.get(f"/api/v1/catalogue-items/?supplier={created.json()['id']}").json()["count"] == 1


def test_a_supplier_that_items_come_from_is_kept(as_office: APIClient, company: Company) -> None:
    supplier = factories.SupplierFactory(company=company)
    factories.CatalogueItemFactory(company=company, supplier=supplier)
    refused = as_office.delete(f"{SUPPLIERS}{supplier.pk}/")
    assert refused.status_code == 409
    assert refused.json()["code"] == "in_use"
    assert as_office.patch(f"{SUPPLIERS}{supplier.pk}/", {"is_active": False}).status_code == 200


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"name": ""}, "/name"),
        ({"lead_time_days": -1}, "/lead_time_days"),
        ({"lead_time_days": 731}, "/lead_time_days"),
        ({"lead_time_days": 2.5}, "/lead_time_days"),
        ({"closed_weekdays": [7]}, "/closed_weekdays/0"),
        ({"closed_weekdays": [0, 1, 2, 3, 4, 5, 6]}, "/closed_weekdays"),
        ({"closed_weekdays": "Sunday"}, "/closed_weekdays"),
        ({"minimum_order_value": -1}, "/minimum_order_value"),
        ({"minimum_order_value": "NaN"}, "/minimum_order_value"),
        ({"currency": "USD"}, "/currency"),
        ({"email": "orders at brine"}, "/email"),
        ({"lead_time_sd_days": -1}, "/lead_time_sd_days"),
        ({"lead_time_sd_days": 181}, "/lead_time_sd_days"),
        ({"order_weekdays": [7]}, "/order_weekdays/0"),
        ({"order_weekdays": [5, 6]}, "/order_weekdays"),
        ({"order_weekdays": [4], "closed_weekdays": [4, 5]}, "/order_weekdays"),
    ],
)
def test_a_fault_names_its_field(as_office: APIClient, change: dict[str, object], pointer: str) -> None:
    refused = as_office.post(SUPPLIERS, {"name": "Brine and Sons", **change}, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    assert not Supplier.objects.exists()


def test_two_suppliers_have_two_names(as_office: APIClient, company: Company) -> None:
    factories.SupplierFactory(company=company, name="Brine and Sons")
    refused = as_office.post(SUPPLIERS, {"name": "Brine and Sons"})
    assert refused.status_code == 409
    assert refused.json()["errors"][0]["pointer"] == "/name"


def test_an_item_comes_from_a_supplier_of_the_own_company(as_office: APIClient, company: Company) -> None:
    item = factories.CatalogueItemFactory(company=company)
    foreign_supplier = factories.SupplierFactory()
    refused = as_office.patch(f"/api/v1/catalogue-items/{item.pk}/", {"supplier": foreign_supplier.pk})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == "/supplier"


def test_where_and_when_orders_go_is_kept_of_a_supplier(as_office: APIClient) -> None:
    facts = {
        "name": "Brine and Sons",
        "email": "orders@brine.example",
        "customer_number": "K-1207",
        "ship_to": "Gate 2\n1 Sluice Lane",
        "lead_time_sd_days": 1.5,
        "order_weekdays": [3, 1, 3],
    }
    created = as_office.post(SUPPLIERS, facts, format="json")
    assert created.status_code == 201, created.content
    assert created.json().items() >= {**facts, "order_weekdays": [1, 3]}.items()
    refused = as_office.patch(f"{SUPPLIERS}{created.json()['id']}/", {"closed_weekdays": [1, 3]}, format="json")
    assert refused.status_code == 400
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["/closed_weekdays"]


def test_a_larger_order_has_a_lower_price(as_office: APIClient, company: Company) -> None:
    item = factories.CatalogueItemFactory(company=company, price=Decimal("4.20"))
    breaks = [{"from_packs": 10, "price": "3.90"}, {"from_packs": 50, "price": "3.50"}]
    changed = as_office.patch(f"/api/v1/catalogue-items/{item.pk}/", {"price_breaks": breaks}, format="json")
    assert changed.status_code == 200, changed.content
    assert changed.json()["price_breaks"] == breaks
    item.refresh_from_db()
    prices = [item.price_of(packs) for packs in (1, 9, 10, 49, 50, 5000)]
    assert prices == [Decimal(price) for price in ("4.20", "4.20", "3.90", "3.90", "3.50", "3.50")]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"price_breaks": [{"from_packs": 1, "price": "3.90"}]}, "/price_breaks/0/from_packs"),
        ({"price_breaks": [{"from_packs": 5, "price": "-1"}]}, "/price_breaks/0/price"),
        ({"price_breaks": [{"from_packs": 5}]}, "/price_breaks/0/price"),
        ({"price_breaks": [{"from_packs": 5, "price": "4.20"}]}, "/price_breaks"),
        ({"price_breaks": [{"from_packs": 5, "price": "3"}, {"from_packs": 9, "price": "3"}]}, "/price_breaks"),
        ({"price_breaks": [{"from_packs": 9, "price": "3"}, {"from_packs": 5, "price": "2"}]}, "/price_breaks"),
        ({"price_breaks": [{"from_packs": 5, "price": "3"}, {"from_packs": 5, "price": "2"}]}, "/price_breaks"),
        ({"price_breaks": "10: 3.90"}, "/price_breaks"),
        ({"price": "3.10"}, "/price"),
    ],
)
def test_a_price_break_that_cannot_be_names_its_field(
    as_office: APIClient, company: Company, change: dict[str, object], pointer: str
) -> None:
    stored = [{"from_packs": 100, "price": "3.10"}]
    item = factories.CatalogueItemFactory(company=company, price=Decimal("4.20"), price_breaks=stored)
    refused = as_office.patch(f"/api/v1/catalogue-items/{item.pk}/", change, format="json")
    assert refused.status_code == 400, refused.content
    assert [fault["pointer"] for fault in refused.json()["errors"]] == [pointer]
    item.refresh_from_db()
    assert (item.price, item.price_breaks) == (Decimal("4.20"), stored)
