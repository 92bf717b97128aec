"""Everything that is known of one unit for its client, asked of the API once for the page, the CSV and the PDF."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from types import SimpleNamespace
from typing import Any, Final

from accounts.api.company import CompanyViewSet
from accounts.language import gettext, listed
from accounts.pages.page import Page
from fleet.api.placements import PlacementViewSet
from fleet.api.readings import ReadingViewSet
from fleet.api.sites import SiteViewSet
from fleet.api.units import UnitViewSet
from fleet.engineering.observations import OBSERVATIONS
from fleet.pages.days import day_of
from fleet.pages.plot import Plot, plot_of
from fleet.pages.train import Train, name_of, train_of
from scheduling.api.reading_photos import ReadingPhotoViewSet
from scheduling.api.service_records import ServiceRecordViewSet
from scheduling.api.visits import VisitViewSet
from scheduling.models import Visit
from scheduling.services.people import words
from scheduling.services.people.call_backs import AwaitedCall, awaited_calls

MOST_READINGS: Final = 500
_MOST_REPORTS: Final = 20
_MOST_SHOWN: Final = 5
_CLOSED: Final = ("done", "not_done", "cancelled")
# Bands of dates are drawn on one axis of two years; what lies beyond goes on to its edge.
_AXIS_DAYS: Final = 730
_AXIS_WIDTH: Final = 1000


@dataclass(frozen=True, slots=True)
class ExpectedChange:
    """When one cartridge is expected to be changed, and where the band lies on the axis, 0 to 1000.

    Attributes
    ----------
    first, middle, last
        By these days with a probability of 10 %, 50 % and 90 %; None where there is no date.
    is_one_day
        Whether the three are the same day: its maximum service time, or now.
    """

    name: str
    sentence: str
    first: date | None
    middle: date | None
    last: date | None
    is_now: bool
    is_one_day: bool
    left: float
    width: float
    mark: float


@dataclass(frozen=True, slots=True)
class WorkDone:
    """One report of work at the site, as its client reads it."""

    day: date | None
    lines: list[str]
    confirmed_by: str
    photos: Sequence[Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class Reported:
    """What somebody at the site saw, heard, smelled or tasted, and their pictures of it."""

    day: date | None
    words: str
    person: str
    photos: Sequence[Mapping[str, Any]]


@dataclass(frozen=True, slots=True)
class UnitFacts:
    """One unit for its client; mappings are answers of the API."""

    unit: Mapping[str, Any]
    site: Mapping[str, Any]
    company: Mapping[str, Any]
    status: Mapping[str, Any]
    readings: Sequence[Mapping[str, Any]]
    visits: Sequence[Mapping[str, Any]]
    changes: Sequence[ExpectedChange]
    work: Sequence[WorkDone]
    reported: Sequence[Reported]
    calls: Sequence[str]
    train: Train
    plot: Plot | None
    read_on: date | None
    read_by: str
    today: date

    @property
    def has_a_time(self) -> bool:
        """Whether a visit is offered, agreed or under way: then that says what comes next."""
        return any(visit["state"] in Visit.KNOWN_TO_CLIENT for visit in self.visits)

    @property
    def zone(self) -> str:
        """The clock of the site."""
        return str(self.site["time_zone"])


def unit_facts(page: Page, unit_id: int) -> UnitFacts:
    """Ask for everything of a unit; whoever may not see it gets the page that says that nothing is there."""
    unit = page.found(UnitViewSet, "retrieve", pk=unit_id)
    site = page.found(SiteViewSet, "retrieve", pk=unit["site"])
    zone = str(site["time_zone"])
    status = page.found(UnitViewSet, "status", pk=unit_id)
    readings = _readings(page, unit_id)
    today = day_of(page.now.isoformat(), zone) or page.now.date()
    calls = awaited_calls(company=page.by.company, site=unit["site"])
    newest = next((row for row in readings if str(row["taken_at"]) == str(status["read_at"])), None)
    return UnitFacts(
        unit=unit,
        site=site,
        company=page.found(CompanyViewSet, "retrieve"),
        status=status,
        readings=readings,
        visits=open_visits(page, unit["site"], zone, calls),
        changes=[_expected(position, today) for position in unit["positions"]],
        work=_work_done(page, unit, zone),
        reported=_reported(page, unit_id, readings, zone),
        calls=[call.sentence for call in calls if call.unit == unit_id],
        train=train_of(unit["positions"], time_zone=zone, for_client=True),
        plot=_plot(page, unit_id, readings, status, zone),
        read_on=day_of(status["read_at"], zone),
        read_by=str(newest["person"]) if newest is not None else "",
        today=today,
    )


def plot_of_unit(page: Page, unit: Mapping[str, Any]) -> Plot | None:
    """What is plotted of a unit, as `unit_facts` has it, asked for alone."""
    site = page.found(SiteViewSet, "retrieve", pk=unit["site"])
    status = page.found(UnitViewSet, "status", pk=unit["id"])
    return _plot(page, unit["id"], _readings(page, unit["id"]), status, str(site["time_zone"]))


def _readings(page: Page, unit: int) -> Sequence[Mapping[str, Any]]:
    asked = {"unit": unit, "current": "true", "page_size": MOST_READINGS}
    rows: Sequence[Mapping[str, Any]] = page.found(ReadingViewSet, "list", query=asked)["results"]
    return rows


def _plot(page: Page, unit: int, readings: Any, status: Mapping[str, Any], zone: str) -> Plot | None:
    placed = page.found(PlacementViewSet, "list", query={"position__unit": unit, "page_size": MOST_READINGS})
    return plot_of(readings, placements=placed["results"], status=status, time_zone=zone)


def open_visits(page: Page, site: int, zone: str, calls: Sequence[AwaitedCall]) -> list[dict[str, Any]]:
    """What comes next at a site: visits that are not over, each with its windows in words."""
    asked = {"site": site, "ordering": "-created_at", "page_size": _MOST_REPORTS}
    rows = page.found(VisitViewSet, "list", query=asked)["results"]
    return [as_it_stands(row, zone, calls) for row in reversed(rows) if row["state"] not in _CLOSED]


def as_it_stands(visit: Mapping[str, Any], zone: str, calls: Sequence[AwaitedCall]) -> dict[str, Any]:
    """A visit with the words of its windows, on the clock of its site, and of the call about it that is to come."""
    offers = [{name: str(offer[name]) for name in ("opens_at", "closes_at")} for offer in visit["offers"] or ()]
    texts = words.windows_text(offers, zone)
    return {
        **visit,
        "windows": [(offer["opens_at"], text) for offer, text in zip(offers, texts, strict=True)],
        # as every letter says them: to the next quarter of an hour
        "minutes": words.spoken_minutes(visit["minutes"]),
        "call": next((call.sentence for call in calls if call.visit == visit["id"]), ""),
    }


def _expected(position: Mapping[str, Any], today: date) -> ExpectedChange:
    forecast = position["forecast"] if position["installed"] is not None else None
    first, middle, last = (_day(forecast, name) for name in ("p10", "p50", "p90"))
    left = _on_axis(first or middle, today)
    return ExpectedChange(
        name=name_of(position["stage"], position["role"], for_client=True),
        sentence=forecast["client_sentence"] if forecast is not None else "",
        first=first,
        middle=middle,
        last=last,
        is_now=forecast is not None and forecast["state"] == "exhausted",
        is_one_day=first == middle == last,
        left=left,
        width=round(max(14.0, _on_axis(last or middle, today) - left), 1),
        mark=_on_axis(middle, today),
    )


def _day(forecast: Mapping[str, Any] | None, name: str) -> date | None:
    text = forecast[name] if forecast is not None else None
    return date.fromisoformat(str(text)) if text else None


def _on_axis(day: date | None, today: date) -> float:
    """Where a day lies on the axis from today to two years on."""
    if day is None:
        return 0.0
    return round(min(max((day - today).days, 0), _AXIS_DAYS) / _AXIS_DAYS * _AXIS_WIDTH, 1)


def axis_years(today: date) -> list[tuple[date, float]]:
    """The days that are written at the axis, with where they lie."""
    days = [today, today + timedelta(days=_AXIS_DAYS // 2), today + timedelta(days=_AXIS_DAYS)]
    return [(day, _on_axis(day, today)) for day in days]


def _work_done(page: Page, unit: Mapping[str, Any], zone: str) -> list[WorkDone]:
    asked = {"site": unit["site"], "page_size": _MOST_REPORTS}
    rows = page.found(ServiceRecordViewSet, "list", query=asked)["results"]
    places = {row["id"]: SimpleNamespace(stage=row["stage"]) for row in unit["positions"]}
    done = []
    for row in rows:
        work = [work for work in row["work"] if work.get("unit") == unit["id"]]
        spoken = [(unit["code"], work["action"], places.get(work.get("position"))) for work in work]
        if spoken or row["photos"]:
            lines = words.done_lines(spoken)  # type: ignore[arg-type]
            done.append(WorkDone(day_of(row["done_at"], zone), lines, row["confirmed_by"], row["photos"]))
    return done


def _reported(page: Page, unit: int, readings: Sequence[Mapping[str, Any]], zone: str) -> list[Reported]:
    """The newest readings in which something was seen, or that came with a picture."""
    asked = {"reading__unit": unit, "ordering": "-received_at", "page_size": _MOST_REPORTS}
    photos: dict[int, list[Any]] = {}
    for photo in page.found(ReadingPhotoViewSet, "list", query=asked)["results"]:
        photos.setdefault(photo["reading"], []).append(photo)
    reported = []
    for row in readings:
        seen = [each.to_client or each.meaning for each in OBSERVATIONS if (row["observations"] or {}).get(each.name)]
        if seen or row["id"] in photos:
            text = listed([gettext(each) for each in seen])
            reported.append(Reported(day_of(row["taken_at"], zone), text, row["person"], photos.get(row["id"], [])))
    return reported[:_MOST_SHOWN]
