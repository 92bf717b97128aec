"""Orders: what is late and whom it hits, what to order and why, and what becomes of an order."""

from collections.abc import Mapping
from typing import Any, Final

from django.http import HttpResponse

from accounts.language import gettext, gettext_noop
from scheduling.api.orders import PurchaseOrderViewSet
from scheduling.pages.office.base import OfficeForms
from scheduling.pages.office.filled import filled_in, whole_number

_STATES: Final = {
    "draft": gettext_noop("draft"),
    "placed": gettext_noop("placed"),
    "partly_received": gettext_noop("partly received"),
    "received": gettext_noop("received"),
    "cancelled": gettext_noop("cancelled"),
}


class OrdersPage(OfficeForms):
    """The orders, the newest first, and above them what is late."""

    template_name = "scheduling/office/orders.html"
    rights = {"get": ("purchase_order", "list"), "post": ("purchase_order", "draft")}
    actions = {"draft": ("purchase_order", "draft")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        listed = self.listed(PurchaseOrderViewSet, "search", "state", page_size=25)
        for order in listed["rows"]:
            order["state_words"] = _words(order["state"])
        late = self.every_row(PurchaseOrderViewSet, "list_late")
        states = [(state, _words(state)) for state in _STATES]
        return self.show(status=status, list=listed, late=late, states=states, **{"filled": {}, **context})

    def do_draft(self, form: Any) -> HttpResponse:
        """Draft what is short, supplier by supplier."""
        body: dict[str, Any] = {"only_now": form.get("only_now") == "on"}
        answer = self.ask(PurchaseOrderViewSet, "draft", data=body)
        if not answer.is_good:
            return self.refused(answer)
        left = [row["sentence"] for row in answer.data["without_supplier"]]
        said = gettext("The drafts are up to date.") if answer.data["orders"] else gettext("Nothing has to be ordered.")
        return self.went("/orders/?state=draft", " ".join([said, *left]))


class OrderPage(OfficeForms):
    """One order."""

    template_name = "scheduling/office/order.html"
    rights = {"get": ("purchase_order", "retrieve"), "post": ("purchase_order", "update")}
    actions = {
        "change": ("purchase_order", "update"),
        "place": ("purchase_order", "place"),
        "send": ("purchase_order", "send"),
        "expect": ("purchase_order", "expect"),
        "receive": ("purchase_order", "receive"),
        "void_delivery": ("purchase_order", "void_delivery"),
        "cancel": ("purchase_order", "cancel"),
    }

    def page(self, *, status: int = 200, pk: int, **context: Any) -> HttpResponse:
        order = self.found(PurchaseOrderViewSet, "retrieve", pk=pk)
        late = [row for row in self.every_row(PurchaseOrderViewSet, "list_late") if row["order"] == pk]
        codes = {line["id"]: line["item_code"] for line in order["lines"]}
        for delivery in order["deliveries"]:
            for piece in delivery["pieces"]:
                piece["item_code"] = codes.get(piece["line"], "")
        return self.show(
            status=status,
            order=order,
            state_words=_words(order["state"]),
            late=late,
            is_open=order["state"] in ("placed", "partly_received"),
            today=self.today,
            **{"filled": {}, **context},
        )

    def do_change(self, form: Any, pk: int) -> HttpResponse:
        """Change the packs of a draft; a line without packs goes."""
        lines = []
        for item, packs, price in zip(form.getlist("item"), form.getlist("packs"), form.getlist("price"), strict=False):
            if packs.strip() not in ("", "0"):
                lines.append({"item": whole_number(item), "packs": whole_number(packs), "price": price.strip() or None})
        body = {"lines": lines, "note": form.get("note", "")}
        answer = self.ask(PurchaseOrderViewSet, "partial_update", pk=pk, data=body)
        return self.then(answer, f"/orders/{pk}/", gettext("Kept."), pk=pk)

    def do_place(self, form: Any, pk: int) -> HttpResponse:
        """Note that the order went out."""
        body = {
            **filled_in(form, "placed_on", "expected_on", "supplier_reference"),
            "below_minimum_order_value": form.get("below_minimum_order_value") == "on",
        }
        return self._move("place", body, gettext("The order is placed."), pk)

    def do_send(self, form: Any, pk: int) -> HttpResponse:
        """Send the order by e-mail; with that it is placed."""
        body = {
            **filled_in(form, "expected_on"),
            "below_minimum_order_value": form.get("below_minimum_order_value") == "on",
        }
        return self._move("send", body, gettext("The order goes out by e-mail."), pk)

    def do_expect(self, form: Any, pk: int) -> HttpResponse:
        """Note another day for what is still to come."""
        return self._move("expect", filled_in(form, "expected_on"), gettext("The new day is noted."), pk)

    def do_receive(self, form: Any, pk: int) -> HttpResponse:
        """Book what came."""
        pieces = []
        names = ("line", "quantity", "lot", "expires_on")
        for line, quantity, lot, expires_on in zip(*(form.getlist(name) for name in names), strict=False):
            if quantity.strip() not in ("", "0"):
                piece = {"line": whole_number(line), "quantity": whole_number(quantity), "lot": lot.strip()}
                pieces.append({**piece, "expires_on": expires_on} if expires_on else piece)
        body = {**filled_in(form, "reference", "received_on", "note"), "pieces": pieces}
        return self._move("receive", body, gettext("The delivery is booked; the stock has it."), pk)

    def do_void_delivery(self, form: Any, pk: int) -> HttpResponse:
        """Take back a delivery that was booked wrongly."""
        body = {"delivery": whole_number(form.get("delivery", "")), "reason": form.get("reason", "")}
        return self._move("void_delivery", body, gettext("The delivery is taken back."), pk)

    def do_cancel(self, form: Any, pk: int) -> HttpResponse:
        """Cancel what has not come."""
        return self._move("cancel", filled_in(form, "note"), gettext("The order is cancelled."), pk)

    def _move(self, action: str, body: Mapping[str, Any], said: str, pk: int) -> HttpResponse:
        answer = self.ask(PurchaseOrderViewSet, action, pk=pk, data=dict(body))
        return self.then(answer, f"/orders/{pk}/", said, pk=pk)


def _words(state: str) -> str:
    return gettext(_STATES.get(state, state))
