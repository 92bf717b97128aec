"""Stock: what runs out when, and what lies where; one item with its half year, counted, moved and scrapped."""

from typing import Any, Final

from django.http import HttpResponse

from accounts.language import gettext
from fleet.api.catalogue import CatalogueItemViewSet
from scheduling.api.installers import InstallerViewSet
from scheduling.api.parts import StockLevelViewSet
from scheduling.api.stock_movements import StockMovementViewSet
from scheduling.api.stock_outlook import StockOutlookViewSet
from scheduling.models import StockMovement
from scheduling.pages.office.base import OfficeForms, OfficePage
from scheduling.pages.office.filled import filled_in, named_row, whole_number
from scheduling.pages.office.plots import stock_plot

#: Positions of an item on one page.
_POSITIONS: Final = 100


class StockPage(OfficePage):
    """Every item with what is free of it and when it runs out."""

    template_name = "scheduling/office/stock.html"
    rights = {"get": ("stock_outlook", "list")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        listed = self.listed(StockOutlookViewSet, "search")
        free = {row["item"]: row for row in self.every_row(StockLevelViewSet, "list_by_item")}
        for row in listed["rows"]:
            row["free"] = free.get(row["id"])
        listed["rows"].sort(key=lambda row: (row["runs_out_on"] is None, str(row["runs_out_on"]), row["item_code"]))
        return self.show(status=status, list=listed, **context)


class ItemPage(OfficeForms):
    """One item."""

    template_name = "scheduling/office/item.html"
    rights = {"get": ("stock_outlook", "retrieve"), "post": ("stock_level", "create")}
    actions = {
        "count": ("stock_level", "create"),
        "move": ("stock_movement", "create"),
        "void": ("stock_movement", "void"),
    }

    def page(self, *, status: int = 200, pk: int, **context: Any) -> HttpResponse:
        item = self.found(CatalogueItemViewSet, "retrieve", pk=pk)
        outlook = self.found(StockOutlookViewSet, "retrieve", pk=pk, query={"with_positions": "false"})
        wanted_at = self.paged(StockOutlookViewSet, "list_wanted_at", pk=pk, page_size=_POSITIONS)
        installers = self.rows(InstallerViewSet)
        vans = {person["id"]: person["name"] for person in installers}
        levels = self.rows(StockLevelViewSet, item=pk)
        for level in levels:
            level["place"] = (
                gettext("van of {name}").format(name=vans.get(level["installer"], ""))
                if level["installer"]
                else gettext("the store")
            )
            level["counted"] = self.local(level["counted_at"])
        movements = self.rows(StockMovementViewSet, item=pk, page_size=25)
        for movement in movements:
            movement["at"] = self.local(movement["happened_at"])
            movement["kind_words"] = gettext(str(dict(StockMovement.Kind.choices).get(movement["kind"], "")))
            movement["from_words"] = _place(movement["from_place"], movement["from_installer"], vans)
            movement["to_words"] = _place(movement["to_place"], movement["to_installer"], vans)
            movement["may_void"] = movement["kind"] in ("count", "transfer", "return", "supplier_return", "scrap")
        return self.show(
            status=status,
            item=item,
            outlook=outlook,
            wanted_at=wanted_at,
            plot=stock_plot(outlook["weeks"]),
            levels=levels,
            movements=movements,
            installers=[person for person in installers if person["is_active"]],
            **{"filled": {}, **context},
        )

    def do_count(self, form: Any, pk: int) -> HttpResponse:
        """Note what was counted in the store or in a van."""
        body: dict[str, Any] = {"item": pk, "quantity": whole_number(form.get("quantity", ""))}
        if form.get("installer"):
            body["installer"] = whole_number(form["installer"])
        if form.get("shelf", "").strip():
            body["shelf"] = form["shelf"].strip()
        answer = self.ask(StockLevelViewSet, "create", data=body)
        return self.then(answer, f"/stock/{pk}/", gettext("The count is noted."), pk=pk)

    def do_move(self, form: Any, pk: int) -> HttpResponse:
        """Move pieces between the store and the vans, or out of the company."""
        body: dict[str, Any] = {
            "item": pk,
            "kind": form.get("kind", ""),
            "pieces": whole_number(form.get("pieces", "")),
            **filled_in(form, "lot", "reason"),
        }
        for name in ("from_installer", "to_installer"):
            if form.get(name):
                body[name] = whole_number(form[name])
        answer = self.ask(StockMovementViewSet, "create", data=body)
        return self.then(answer, f"/stock/{pk}/", gettext("The movement is booked."), pk=pk)

    def do_void(self, form: Any, pk: int) -> HttpResponse:
        """Take a movement back."""
        body = {"reason": form.get("reason", "")}
        answer = self.ask(StockMovementViewSet, "void", pk=named_row(form, "movement"), data=body)
        return self.then(answer, f"/stock/{pk}/", gettext("The movement is taken back."), pk=pk)


def _place(place: str, installer: int | None, vans: dict[int, str]) -> str:
    if place == StockMovement.Place.VAN:
        return gettext("van of {name}").format(name=vans.get(installer or 0, ""))
    return gettext("the store") if place == StockMovement.Place.STORE else gettext("outside")
