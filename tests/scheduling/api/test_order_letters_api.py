"""Orders that leave by e-mail: once, with their documents, and never silently lost."""

import csv
import io
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from pypdf import PdfReader
from rest_framework.test import APIClient

from scheduling.models import Message, MessageDocument, PurchaseOrder
from scheduling.services.people.messages import send_messages
from tests import factories
from tests.scheduling.town import NOW, Town

ORDERS, MESSAGES = "/api/v1/purchase-orders/", "/api/v1/messages/"


@pytest.fixture(autouse=True)
def monday() -> Iterator[None]:
    """Everything happens on the Monday of the town."""
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def order(town: Town) -> PurchaseOrder:
    """Two packs of carbons, drafted."""
    supplier = factories.SupplierFactory(
        company=town.company,
        name="Brine and Sons",
        email="orders@brine.example",
        customer_number="K-1207",
        ship_to="Gate 2\n1 Sluice Lane",
    )
    drafted: PurchaseOrder = factories.PurchaseOrderFactory(supplier=supplier, number=17, note="Ring twice.")
    factories.PurchaseOrderLineFactory(
        order=drafted, item=town.item("carbon"), packs=2, pack_size=4, supplier_part_number="B-17"
    )
    return drafted


def _send(api: APIClient, order: PurchaseOrder, **body: Any) -> Any:
    return api.post(f"{ORDERS}{order.pk}/send/", body, format="json")


def _not_sent(api: APIClient) -> dict[str, Any]:
    kinds = {kind["kind"]: kind for kind in api.get("/api/v1/attention/").json()["by_kind"]}
    found: dict[str, Any] = kinds["orders_not_sent"]
    return found


def test_an_order_leaves_once_with_pdf_and_csv(as_office: APIClient, order: PurchaseOrder) -> None:
    answer = _send(as_office, order)
    assert answer.status_code == 200, answer.content
    assert (answer.json()["state"], answer.json()["placed_on"]) == ("placed", "2026-03-02")
    assert send_messages(now=NOW)["sent"] == 1
    (letter,) = mail.outbox
    assert letter.to == ["orders@brine.example"]
    assert letter.subject == "Purchase order 17 from " + order.company.name
    for said in ("order-17.pdf", "K-1207", "Gate 2\n1 Sluice Lane", "Ring twice."):
        assert said in letter.body
    (pdf_name, pdf, pdf_type), (csv_name, table, _) = letter.attachments
    assert (pdf_name, pdf_type, csv_name) == ("order-17.pdf", "application/pdf", "order-17.csv")
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
    for printed in ("Purchase order 17", "Brine and Sons", "K-1207", "Gate 2 1 Sluice Lane", "B-17", "192.00"):
        assert printed in text
    assert "not placed" not in text
    text_of_table = table.decode() if isinstance(table, bytes) else table
    (row,) = csv.DictReader(io.StringIO(text_of_table))
    assert (row["supplier part number"], row["pieces"], row["cost"]) == ("B-17", "8", "192.00")
    shown = as_office.get(f"{MESSAGES}?order={order.pk}").json()["results"]
    assert [(m["audience"], m["kind"], m["state"], m["supplier_name"]) for m in shown] == [
        ("supplier", "order", "sent", "Brine and Sons")
    ]
    again = _send(as_office, order)
    assert (again.status_code, again.json()["code"]) == (409, "order_has_left")
    assert Message.objects.count() == 1
    assert as_office.get(f"{ORDERS}{order.pk}/pdf/").content == bytes(MessageDocument.objects.first().content)


def test_a_supplier_without_an_address_is_told_of_before_anything_is_placed(
    as_office: APIClient, order: PurchaseOrder
) -> None:
    type(order.supplier).objects.update(email="")
    refused = _send(as_office, order)
    assert (refused.status_code, refused.json()["code"]) == (409, "supplier_has_no_email")
    assert "Brine and Sons has no e-mail address." in refused.json()["detail"]
    order.refresh_from_db()
    assert (order.state, Message.objects.count()) == ("draft", 0)


def test_what_cannot_be_placed_sends_nothing(as_office: APIClient, order: PurchaseOrder) -> None:
    type(order.supplier).objects.update(minimum_order_value=500)
    refused = _send(as_office, order)
    assert (refused.status_code, refused.json()["code"]) == (409, "below_minimum_order_value")
    assert not Message.objects.exists()
    assert _send(as_office, order, below_minimum_order_value=True).status_code == 200


def test_an_order_placed_by_hand_is_not_sent_on_top(as_office: APIClient, order: PurchaseOrder) -> None:
    assert as_office.post(f"{ORDERS}{order.pk}/place/", {}).status_code == 200
    refused = _send(as_office, order)
    assert (refused.status_code, refused.json()["code"]) == (409, "order_was_placed_by_hand")
    assert not Message.objects.exists()


def test_the_office_is_told_of_a_refused_mail_and_sends_it_again(
    as_office: APIClient, order: PurchaseOrder, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(self: EmailBackend, messages: Any) -> int:
        raise ConnectionRefusedError("mailbox unknown")

    _send(as_office, order)
    assert _not_sent(as_office)["count"] == 0
    at = NOW
    with monkeypatch.context() as patch:
        patch.setattr(EmailBackend, "send_messages", refuses)
        for attempt in range(6):
            send_messages(now=at)
            (matter,) = _not_sent(as_office)["matters"]
            assert "the e-mail to Brine and Sons (orders@brine.example) has not left" in matter["sentence"]
            assert "mailbox unknown" in matter["sentence"]
            assert ("It will be tried again." in matter["sentence"]) == (attempt < 5)
            at = Message.objects.get().next_attempt_at
    assert matter["settle"]["path"] == f"{ORDERS}{order.pk}/send/"
    calls = {kind["kind"]: kind["count"] for kind in as_office.get("/api/v1/attention/").json()["by_kind"]}["calls"]
    assert calls == 0, "it is told once"
    as_office.patch(f"/api/v1/suppliers/{order.supplier_id}/", {"email": "desk@brine.example"})
    assert _send(as_office, order).status_code == 200
    assert send_messages(now=at + timedelta(days=1))["sent"] == 1
    assert [(m.state, m.email) for m in Message.objects.order_by("pk")] == [
        ("replaced", "orders@brine.example"),
        ("sent", "desk@brine.example"),
    ]
    assert _not_sent(as_office)["count"] == 0
    assert PurchaseOrder.objects.get().state == "placed"


def test_what_is_written_to_the_terminal_is_not_sent(as_office: APIClient, order: PurchaseOrder, settings: Any) -> None:
    settings.EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
    _send(as_office, order)
    assert send_messages(now=NOW) == {"sent": 0, "put_off": 0, "to_call": 1, "to_read": 0, "expired": 0}
    message = Message.objects.get()
    assert (message.state, message.sent_at) == ("to_call", None)
    assert "No mail server is set up" in _not_sent(as_office)["matters"][0]["sentence"]


def test_a_cancelled_order_that_has_left_is_cancelled_by_mail_and_one_that_has_not_stays_here(
    as_office: APIClient, order: PurchaseOrder
) -> None:
    _send(as_office, order)
    send_messages(now=NOW)
    assert as_office.post(f"{ORDERS}{order.pk}/cancel/", {}).status_code == 200
    assert send_messages(now=NOW)["sent"] == 1
    assert mail.outbox[-1].subject.startswith("Please cancel purchase order 17")
    assert "our order 17 of Monday 2 March 2026" in mail.outbox[-1].body
    other = factories.PurchaseOrderFactory(supplier=order.supplier, number=18)
    factories.PurchaseOrderLineFactory(order=other)
    _send(as_office, other)
    assert as_office.post(f"{ORDERS}{other.pk}/cancel/", {}).status_code == 200
    assert send_messages(now=NOW)["sent"] == 0
    assert Message.objects.get(order=other).state == "replaced"
