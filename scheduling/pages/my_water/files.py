"""What there is to take away: readings of a unit as CSV, its page as PDF, and everything kept of a client."""

from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase

from accounts.pages.page import Page, RefusedError
from scheduling.api.client_data import ClientDataViewSet
from scheduling.pages.my_water.documents import readings_csv, water_pdf
from scheduling.pages.my_water.unit_facts import unit_facts


class ReadingsFile(Page):
    """The readings of a unit as CSV."""

    rights = {"get": ("reading", "list")}

    def get(self, request: HttpRequest, unit: int) -> HttpResponse:
        """The file."""
        facts = unit_facts(self, unit)
        return _file(readings_csv(facts.readings), "text/csv; charset=utf-8", f"{facts.unit['code']}-readings.csv")


class WaterFile(Page):
    """The page of a unit as PDF."""

    rights = {"get": ("unit", "status")}

    def get(self, request: HttpRequest, unit: int) -> HttpResponse:
        """The file."""
        facts = unit_facts(self, unit)
        return _file(water_pdf(facts), "application/pdf", f"{facts.unit['code']}-water.pdf")


class ArchivePage(Page):
    """What the archive holds, and the way to it; whoever signed in long ago shows first who they are.

    The file alone would leave the browser on the page that asks for the password.
    """

    template_name = "scheduling/my_water/archive.html"
    rights = {"get": ("client_data", "retrieve")}

    def get(self, request: HttpRequest) -> HttpResponse:
        """The page."""
        _client_of(self)
        self.want_recent_proof()
        return self.show()


class ArchiveFile(Page):
    """Everything that is kept of the client who asks, as one archive."""

    rights = {"get": ("client_data", "retrieve")}

    def get(self, request: HttpRequest) -> HttpResponseBase:
        """The file."""
        answer = self.ask(ClientDataViewSet, "retrieve", pk=_client_of(self))
        if not answer.is_good:
            raise RefusedError(answer)
        return answer.response


def _client_of(page: Page) -> int:
    """The client that the member of the page belongs to; whoever belongs to none has no archive of their own."""
    client: int | None = page.by.client_id
    if client is None:
        raise Http404
    return client


def _file(content: str | bytes, kind: str, name: str) -> HttpResponse:
    safe = "".join(letter if letter.isalnum() or letter in "-." else "_" for letter in name if letter.isascii())
    return HttpResponse(
        content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{safe or "file"}"'}
    )
