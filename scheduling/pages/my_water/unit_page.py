"""The page of one unit, and the list of them for whoever has several."""

from datetime import date, timedelta
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils.cache import patch_cache_control
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page

from accounts.api.company import CompanyViewSet
from accounts.pages.page import Page
from accounts.pages.problems import problem_page
from fleet.api.sites import SiteViewSet
from fleet.api.units import UnitViewSet
from fleet.pages.days import day_of
from fleet.pages.plot import SCHEMES, kept_picture, picture
from scheduling.pages.my_water.unit_facts import UnitFacts, axis_years, plot_of_unit, unit_facts

_PICTURE_IS_GOOD_FOR = timedelta(days=365)
# The picture stands in an element of its own, where no other page can be: its styles may be in it.
_POLICY_OF_A_PICTURE = "default-src 'none'; style-src 'unsafe-inline'"
_NUMBERS_SHOWN = 8


class MyWaterPage(Page):
    """The units of a client; who has one is taken to it."""

    template_name = "scheduling/my_water/units.html"
    rights = {"get": ("unit", "list")}

    def get(self, request: HttpRequest) -> HttpResponse:
        """The list, or the one unit."""
        page = request.GET.get("page", "1")
        units = self.found(UnitViewSet, "list", query={"ordering": "code", "page": page, "retired_on__isnull": "true"})
        if units["count"] == 1 and len(units["results"]) == 1:
            return redirect("my-water-unit", unit=units["results"][0]["id"])
        sites = {row["id"]: row for row in self.found(SiteViewSet, "list", query={"page_size": 500})["results"]}
        rows = [{**row, "where": sites.get(row["site"], {}).get("name", "")} for row in units["results"]]
        company = self.found(CompanyViewSet, "retrieve")
        return self.show(list=units, rows=rows, page=int(page), company=company)


class UnitPage(Page):
    """One unit: is the water good, what happens next, what is left, what was read and done."""

    template_name = "scheduling/my_water/unit.html"
    rights = {"get": ("unit", "status")}

    def get(self, request: HttpRequest, unit: int) -> HttpResponse:
        """Everything of the unit on one page."""
        facts = unit_facts(self, unit)
        return self.show(facts=facts, axis=axis_years(facts.today), numbers=_numbers(facts))


class PlotPage(Page):
    """The readings of a unit as a picture; its address names what is in it."""

    rights = {"get": ("reading", "list")}

    @method_decorator(gzip_page)
    def get(self, request: HttpRequest, unit: int) -> HttpResponseBase:
        """The picture, for the browser to keep; under an older address nothing is there any more."""
        found = self.found(UnitViewSet, "retrieve", pk=unit)
        digest, scheme = request.GET.get("digest", ""), request.GET.get("scheme", SCHEMES[0])
        if scheme not in SCHEMES:
            return problem_page(request, HTTPStatus.NOT_FOUND)
        content = kept_picture(unit, digest, scheme)
        if content is None:
            plot = plot_of_unit(self, found)
            if plot is None or plot.digest != digest:
                return problem_page(request, HTTPStatus.NOT_FOUND)
            content = picture(plot, unit, scheme)
        response = HttpResponse(content, content_type="image/svg+xml")
        response.headers["Content-Security-Policy"] = _POLICY_OF_A_PICTURE
        patch_cache_control(response, private=True, immutable=True, max_age=int(_PICTURE_IS_GOOD_FOR.total_seconds()))
        return response


def _numbers(facts: UnitFacts) -> list[tuple[date | None, list[float | None]]]:
    """The newest readings of what is plotted, as rows of a table: the day and its values."""
    names = [curve.name for curve in facts.plot.curves] if facts.plot is not None else []
    rows = [row for row in facts.readings if any(row.get(name) is not None for name in names)]
    return [
        (day_of(row["taken_at"], facts.zone), [row[name]["value"] if row[name] else None for name in names])
        for row in rows[:_NUMBERS_SHOWN]
    ]
