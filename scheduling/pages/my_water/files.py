"""Everything of a unit to take away: readings as CSV, the whole page as PDF."""

from django.http import HttpRequest, HttpResponse

from accounts.pages.page import Page
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


def _file(content: str | bytes, kind: str, name: str) -> HttpResponse:
    safe = "".join(letter if letter.isalnum() or letter in "-." else "_" for letter in name if letter.isascii())
    return HttpResponse(
        content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{safe or "file"}"'}
    )
