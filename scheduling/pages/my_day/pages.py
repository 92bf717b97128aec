"""An installer's day on a phone: the round, the stops, and what to load. All of it opens again without a signal."""

from typing import Any, ClassVar, Final
from zoneinfo import ZoneInfo

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page

from accounts.http.pagination import LARGEST_PAGE
from accounts.language import gettext
from accounts.models import Membership
from accounts.pages.page import Page
from fleet.api.catalogue import CatalogueItemViewSet
from fleet.api.instruments import InstrumentViewSet
from fleet.api.placements import PlacementViewSet
from fleet.api.positions import PositionViewSet
from fleet.api.readings import ReadingViewSet
from fleet.engineering.diagnosis import RULES
from fleet.engineering.observations import OBSERVATION_MEANINGS
from fleet.models import Stage
from scheduling.api.installers import InstallerViewSet
from scheduling.api.plans import RoundViewSet
from scheduling.api.stops import StopViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.models import Plan, Visit
from scheduling.pages.my_day.stop import StopFacts, clock, shown_stop, shown_visit

_LAST_READINGS: Final = 100
"""Among so many of a site's newest readings the last value of each gauge is looked for."""

_DAYS_AHEAD: Final = 5
_LEAK: Final = next(rule for rule in RULES if rule.pattern == "water_on_floor")


class _PhonePage(Page):
    """A page that is kept on the phone: it names its person, and the moment that it tells of."""

    rights: ClassVar = {"get": ("round", "my_day")}
    script: ClassVar[str] = ""

    def own_installer(self) -> int | None:
        """The installer that this member is; None for whoever drives no rounds."""
        rows = self.found(InstallerViewSet, "list", query={"membership": self.by.pk})["results"]
        return rows[0]["id"] if rows else None

    def sheet_of(self, round_id: int) -> dict[str, Any]:
        """The day sheet of a round; installers open their own alone."""
        sheet: dict[str, Any] = self.found(RoundViewSet, "day_sheet", pk=round_id)
        if self.by.role == Membership.Role.INSTALLER and sheet["installer"] != self.own_installer():
            raise Http404
        return sheet

    def show_kept(self, **context: Any) -> HttpResponse:
        """Show the page with what its scripts must know."""
        zone = ZoneInfo(context.pop("zone", "") or self.by.company.time_zone)
        return self.show(
            person=self.by.pk,
            clock_zone=zone.key,
            made_clock=f"{self.now.astimezone(zone):%H:%M}",
            worker=reverse("my-day-worker"),
            script=reverse(f"my-day-script-{self.script}"),
            day_address=reverse("my-day"),
            **context,
        )


@method_decorator(gzip_page, name="dispatch")
class MyDayPage(_PhonePage):
    """The round of today; where there is none, which is next."""

    template_name = "scheduling/day/day.html"
    script = "day"

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show today."""
        answer = self.ask(RoundViewSet, "my_day")
        if answer.is_good:
            return self.show_kept(**self.day_of(answer.data))
        remark = answer.sentence
        if answer.data.get("code") == "no_round_today":
            # The interface names a round by its id; here the next ones stand below.
            is_driving = self.own_installer() is not None
            remark = (
                gettext("No round of yours is published for today.") if is_driving else gettext("You drive no rounds.")
            )
        return self.show_kept(remark=remark, ahead=self.rounds_ahead())

    def rounds_ahead(self) -> list[dict[str, Any]]:
        """The next days that this member drives."""
        installer = self.own_installer()
        if installer is None:
            return []
        query = {
            "installer": installer,
            "plan__state": Plan.State.PUBLISHED.value,
            "day__gte": self.now.date().isoformat(),
            "ordering": "day",
            "page_size": _DAYS_AHEAD,
        }
        rows: list[dict[str, Any]] = self.found(RoundViewSet, "list", query=query)["results"]
        return rows

    def day_of(self, sheet: dict[str, Any]) -> dict[str, Any]:
        """A round as the page shows it."""
        zone = ZoneInfo(sheet["time_zone"])
        load = self.found(RoundViewSet, "van_load", pk=sheet["round"])
        return {
            "zone": sheet["time_zone"],
            "sheet": sheet,
            "leaves": clock(sheet["leaves_at"], zone),
            "returns": clock(sheet["returns_at"], zone),
            "lunch": clock(sheet["lunch_at"], zone),
            "stops": [shown_stop(stop) for stop in sheet["stops"]],
            "load": load,
            "aboard": [line for line in sheet["load"] if line["aboard"]],
            "missing": [line for line in sheet["load"] if line["missing"]],
            "may_load": sheet["plan_state"] == Plan.State.PUBLISHED.value,
        }


class RoundDayPage(MyDayPage):
    """A round of another day."""

    def get(self, request: HttpRequest, round: int) -> HttpResponse:  # type: ignore[override]
        """Show that day."""
        return self.show_kept(**self.day_of(self.sheet_of(round)), is_other_day=True)


@method_decorator(gzip_page, name="dispatch")
class StopPage(_PhonePage):
    """One stop: getting in, what to do, what to read, and the report."""

    template_name = "scheduling/day/stop.html"
    script = "stop"

    def get(self, request: HttpRequest, stop: int) -> HttpResponse:
        """Show the stop."""
        sheet = self.sheet_of(self.found(StopViewSet, "retrieve", pk=stop)["round"])
        row = next(row for row in sheet["stops"] if row["stop"] == stop)
        visits = self.found(VisitViewSet, "list", query={"site": row["site"], "ordering": "-created_at"})
        facts = StopFacts(
            stop=row,
            unit_system=self.by.company.unit_system,
            positions=self.all_of(PositionViewSet, unit__site=row["site"]),
            placements=self.all_of(PlacementViewSet, position__unit__site=row["site"], removed_at__isnull="true"),
            items=[item for item in self.all_of(CatalogueItemViewSet, ordering="code") if item["kind"] in Stage.values],
            meters=self.all_of(InstrumentViewSet),
            readings=self.all_of(ReadingViewSet, site=row["site"], current="true", page_size=_LAST_READINGS),
        )
        return self.show_kept(
            zone=sheet["time_zone"],
            stop=shown_stop(row),
            leak={"action": gettext(_LEAK.action), "cautions": [gettext(text) for text in _LEAK.cautions]},
            round_address=reverse("my-day")
            if sheet["day"] == self._today(sheet)
            else reverse("my-day-round", kwargs={"round": sheet["round"]}),
            tasks=facts.tasks(),
            units=facts.units(),
            facts=facts.for_scripts(),
            next_visits=[
                shown_visit(visit, row["time_zone"])
                for visit in visits["results"]
                if visit["state"] in Visit.AHEAD and visit["id"] != row["visit"]
            ],
            obstacles=Visit.Obstacle.choices,
            observations=OBSERVATION_MEANINGS.items(),
        )

    def all_of(self, viewset: Any, **query: Any) -> list[dict[str, Any]]:
        """The first page of a list, as long as a page can be."""
        rows: list[dict[str, Any]] = self.found(viewset, "list", query={"page_size": LARGEST_PAGE, **query})["results"]
        return rows

    def _today(self, sheet: dict[str, Any]) -> str:
        return self.now.astimezone(ZoneInfo(sheet["time_zone"])).date().isoformat()
