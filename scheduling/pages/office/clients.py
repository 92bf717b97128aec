"""Clients and their sites: the lists, and one of each with what hangs on it."""

from typing import Any

from django.http import HttpResponse

from accounts.api.clients import ClientViewSet
from accounts.dates import weekday_name
from accounts.language import gettext
from accounts.models import Client
from fleet.api.sites import SiteViewSet
from fleet.api.units import UnitViewSet
from scheduling.api.messages import MessageViewSet
from scheduling.api.service_records import ServiceRecordViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.models import Visit
from scheduling.pages.office.base import OfficeForms, OfficePage
from scheduling.pages.office.said import said_by_client
from scheduling.pages.office.week import state_words


class ClientsPage(OfficeForms):
    """The clients, page by page."""

    template_name = "scheduling/office/clients.html"
    rights = {"get": ("client", "update"), "post": ("client", "create")}
    actions = {"add": ("client", "create")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        return self.show(
            status=status, list=self.listed(ClientViewSet, "search", "retired"), **{"filled": {}, **context}
        )

    def do_add(self, form: Any) -> HttpResponse:
        """Add a client."""
        body = {name: form.get(name, "").strip() for name in ("name", "email", "phone", "notes")}
        answer = self.ask(ClientViewSet, "create", data=body)
        address = f"/clients/{answer.data['id']}/" if answer.is_good else ""
        return self.then(answer, address, gettext("The client is added. Add the site next."))


class ClientPage(OfficeForms):
    """One client: how to reach them, their sites and units, what they were told, what was done."""

    template_name = "scheduling/office/client.html"
    rights = {"get": ("client", "update"), "post": ("client", "update")}
    actions = {"change": ("client", "update"), "retire": ("client", "retire"), "add_site": ("site", "create")}

    def page(self, *, status: int = 200, pk: int, **context: Any) -> HttpResponse:
        client = self.found(ClientViewSet, "retrieve", pk=pk)
        messages = self.rows(MessageViewSet, client=pk, page_size=10, ordering="-created_at")
        for message in messages:
            message["at"] = self.local(message["created_at"])
        return self.show(
            status=status,
            client=client,
            sites=self.rows(SiteViewSet, client=pk),
            units=self.rows(UnitViewSet, site__client=pk),
            letters=messages,
            **{"filled": {}, **context},
        )

    def do_change(self, form: Any, pk: int) -> HttpResponse:
        """Change how a client is reached."""
        body = {name: form.get(name, "").strip() for name in ("name", "email", "phone", "notes")}
        answer = self.ask(ClientViewSet, "partial_update", pk=pk, data=body)
        return self.then(answer, f"/clients/{pk}/", gettext("Kept."), pk=pk)

    def do_retire(self, form: Any, pk: int) -> HttpResponse:
        """Take a client out of use."""
        answer = self.ask(ClientViewSet, "retire", pk=pk, data={"reason": form.get("reason", "")})
        return self.then(answer, f"/clients/{pk}/", gettext("The client is out of use."), pk=pk)

    def do_add_site(self, form: Any, pk: int) -> HttpResponse:
        """Add a site of the client."""
        body: dict[str, Any] = {"client": pk, **_site_facts(form, ("code", "name", "address", "access_notes"))}
        answer = self.ask(SiteViewSet, "create", data=body)
        address = f"/sites/{answer.data['id']}/" if answer.is_good else ""
        return self.then(answer, address, gettext("The site is added."), pk=pk)


class SitesPage(OfficePage):
    """The sites, page by page."""

    template_name = "scheduling/office/sites.html"
    rights = {"get": ("site", "update")}

    def page(self, *, status: int = 200, **context: Any) -> HttpResponse:
        listed = self.listed(SiteViewSet, "search", "is_located", "retired")
        clients = Client.objects.visible_to(self.by).filter(pk__in={row["client"] for row in listed["rows"]})
        names = dict(clients.values_list("pk", "name"))
        for row in listed["rows"]:
            row["client_name"] = names.get(row["client"], "")
        return self.show(status=status, list=listed, **context)


class SitePage(OfficeForms):
    """One site: where it is, how to get in, its units, its visits and what was done there."""

    template_name = "scheduling/office/site.html"
    rights = {"get": ("site", "update"), "post": ("site", "update")}
    actions = {"change": ("site", "update"), "retire": ("site", "retire")}

    def page(self, *, status: int = 200, pk: int, **context: Any) -> HttpResponse:
        site = self.found(SiteViewSet, "retrieve", pk=pk)
        for window in site["access_windows"]:
            window["day"] = weekday_name(window["weekday"])
        visits = self.rows(VisitViewSet, site=pk, page_size=20, ordering="-created_at")
        for visit in visits:
            visit["words"], visit["at"] = state_words(visit["state"]), self.local(visit["appointment_at"])
            visit["is_live"] = visit["state"] in Visit.LIVE
            visit["said"] = said_by_client(self, visit["id"]) if visit["is_live"] else []
        records = self.rows(ServiceRecordViewSet, site=pk, page_size=10)
        for record in records:
            record["at"] = self.local(record["done_at"])
        return self.show(
            status=status,
            site=site,
            client=self.found(ClientViewSet, "retrieve", pk=site["client"]) if site["client"] else None,
            units=self.rows(UnitViewSet, site=pk),
            visits=visits,
            records=records,
            **{"filled": {}, **context},
        )

    def do_change(self, form: Any, pk: int) -> HttpResponse:
        """Change where it is and how to get in."""
        body = _site_facts(form, ("name", "address", "access_notes", "supply"))
        answer = self.ask(SiteViewSet, "partial_update", pk=pk, data=body)
        return self.then(answer, f"/sites/{pk}/", gettext("Kept."), pk=pk)

    def do_retire(self, form: Any, pk: int) -> HttpResponse:
        """Take a site out of use."""
        answer = self.ask(SiteViewSet, "retire", pk=pk, data={"reason": form.get("reason", "")})
        return self.then(answer, f"/sites/{pk}/", gettext("The site is out of use."), pk=pk)


def _site_facts(form: Any, names: tuple[str, ...]) -> dict[str, Any]:
    """What was filled in of a site; degrees as numbers where they are some, which the interface checks."""
    body: dict[str, Any] = {name: form[name].strip() for name in names if name in form}
    for name in ("latitude", "longitude"):
        text = form.get(name, "").strip().replace(",", ".")
        if text:
            body[name] = _number(text)
    return body


def _number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
