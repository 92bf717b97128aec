"""Suppliers over the API, and which items come from them."""

from decimal import Decimal

import pytest
from rest_framework.test import APIClient

from accounts.models import Company
from fleet.models import Supplier
from tests import factories

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
    assert (item.days_to_store, item.closed_weekdays, item.supplier_part_number) == (10, frozenset({4, 5, 6}), "B-17")
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
