"""The order as CSV and as a page of text."""

import csv
import io
from datetime import date
from decimal import Decimal

import pytest

from accounts.models import Company
from scheduling.exports.order_documents import order_csv, order_text
from scheduling.models import PurchaseOrder
from tests import factories


@pytest.fixture
def order(company: Company) -> PurchaseOrder:
    supplier = factories.SupplierFactory(company=company, name="Brine and Sons")
    purchase_order: PurchaseOrder = factories.PurchaseOrderFactory(
        company=company,
        supplier=supplier,
        number=17,
        state="placed",
        placed_on=date(2026, 3, 2),
        supplier_reference="X-1",
        note="To the gate\nin the yard, please.",
    )
    for code, name, packs, price in (
        ("CBL-10", "carbon block, 10 inch", 2, "11.80"),
        (
            "PUMP-24",
            'booster pump, 24 V, "quiet", with transformer and pressure switch, for wall and floor',
            1,
            "92.00",
        ),
        ("=1+1", "=HYPERLINK(1)", 3, "0.45"),
    ):
        item = factories.CatalogueItemFactory(
            company=company, supplier=supplier, code=code, name=name, pack_size=6, price=Decimal(price)
        )
        factories.PurchaseOrderLineFactory(
            order=purchase_order,
            item=item,
            packs=packs,
            supplier_part_number=f"B-{packs}",
            expected_on=date(2026, 3, 9),
        )
    return purchase_order


def test_a_program_reads_every_line_of_the_csv(order: PurchaseOrder) -> None:
    rows = list(csv.DictReader(io.StringIO(order_csv(order))))
    assert [row["our code"] for row in rows] == ["'=1+1", "CBL-10", "PUMP-24"]
    carbon = rows[1]
    assert (carbon["packs"], carbon["pieces in a pack"], carbon["pieces"]) == ("2", "6", "12")
    assert (carbon["price of a piece"], carbon["cost"], carbon["currency"]) == ("11.80", "141.60", "EUR")
    assert (carbon["order"], carbon["supplier part number"], carbon["expected on"]) == ("17", "B-2", "2026-03-09")
    assert "quiet" in rows[2]["name"]


def test_no_cell_of_the_csv_is_a_formula(order: PurchaseOrder) -> None:
    for row in csv.reader(io.StringIO(order_csv(order))):
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in row)


def test_the_page_says_who_orders_what_for_how_much(order: PurchaseOrder) -> None:
    page = order_text(order)
    lines = page.splitlines()
    assert lines[0] == "Purchase order 17"
    assert lines[2:6] == [
        "From:  North Water",
        "To:    Brine and Sons",
        "Date:  Monday 2 March 2026",
        "Your reference: X-1",
    ]
    carbon = next(line for line in lines if "CBL" in line or "carbon" in line)
    assert carbon.split() == ["2", "B-2", "carbon", "block,", "10", "inch", "2", "6", "12", "11.80", "141.60"]
    # 8.10 + 141.60 + 552.00
    assert next(line for line in lines if "Sum" in line).split() == ["Sum", "701.70"]
    assert "Expected: Monday 9 March 2026" in lines
    assert lines[-1] == "To the gate in the yard, please."
    assert max(map(len, lines)) <= 100


def test_a_draft_and_a_cancelled_order_say_so(order: PurchaseOrder) -> None:
    order.state, order.placed_on = "draft", None
    assert "Draft of Monday 2 March 2026, not placed" in order_text(order)
    order.state = "cancelled"
    assert "CANCELLED" in order_text(order)


def test_an_order_without_lines_is_still_a_page(company: Company) -> None:
    empty = factories.PurchaseOrderFactory(company=company)
    assert len(order_csv(empty).splitlines()) == 1
    assert "Sum" in order_text(empty)
