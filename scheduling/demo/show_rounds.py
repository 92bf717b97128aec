"""Each installer's day in order, with arrival times; what was left out, and why; what each van must carry."""

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fleet.forecasting.distribution import percent_text
from fleet.models import CatalogueItem
from scheduling.demo.screen import Screen, day_in_words
from scheduling.models import Need, PartsLine, PartsList, Plan, Round, Stop, UnservedVisit, VisitTask
from scheduling.services.needs.costs import exhausted_by


def show_rounds(screen: Screen, plan: Plan) -> None:
    """Print the rounds of a plan, stop by stop, and the visits it leaves out."""
    rounds = list(Round.objects.filter(plan=plan).select_related("installer").order_by("day", "installer__name"))
    stops = _stops(rounds)
    served = sum(len(served_stops) for served_stops in stops.values())
    screen.heading(f"Rounds from {day_in_words(plan.first_day, year=True)}: {served} visits in {len(rounds)} rounds")
    for round_ in rounds:
        zone = ZoneInfo(round_.installer.time_zone)
        screen.subheading(
            f"{day_in_words(round_.day)}, {round_.installer.name}, {round_.installer.van}: "
            f"leaves {_clock(round_.leaves_at, zone)}, back {_clock(round_.returns_at, zone)}, "
            f"{round_.driving_km:.0f} km, {round_.driving_minutes:.0f} min driving"
        )
        for stop in stops.get(round_.pk, ()):
            _show_stop(screen, stop, zone)
    _show_left_out(screen, plan)


def _stops(rounds: Sequence[Round]) -> dict[int, list[Stop]]:
    stops_by_round: dict[int, list[Stop]] = {}
    rows = Stop.objects.filter(round__in=[round_.pk for round_ in rounds]).select_related("visit__site__client")
    for stop in rows.order_by("round_id", "order"):
        stops_by_round.setdefault(stop.round_id, []).append(stop)
    return stops_by_round


def _show_stop(screen: Screen, stop: Stop, zone: ZoneInfo) -> None:
    site = stop.visit.site
    waits = ", waits until " + _clock(stop.starts_at, zone) if stop.starts_at > stop.arrives_at else ""
    confirmed = " (confirmed)" if stop.visit.appointment_at else ""
    screen.line(
        f"{_clock(stop.arrives_at, zone)}{waits} to {_clock(stop.leaves_at, zone)}  "
        f"{site.code} {site.name}, {site.address}{confirmed}",
        indent=2,
    )
    tasks = VisitTask.objects.filter(visit=stop.visit).select_related(
        "need__unit",
        "need__position",
        "need__item",
        "need__finding",
        "need__forecast__placement",
        "need__lag_forecast__placement",
    )
    day = stop.starts_at.astimezone(zone).date()
    words = (task_in_words(task) + why_changed(task.need, day) for task in tasks.order_by("order"))
    for text in dict.fromkeys(words):
        screen.line(f"- {text}", indent=9)
    if site.access_notes:
        screen.line(f"- getting in: {site.access_notes}", indent=9)


def task_in_words(task: VisitTask) -> str:
    """'S02-1: replace sediment filter, with SED-5'."""
    need = task.need
    kinds = need.Kind
    action = {
        kinds.REPLACE: f"replace {need.label or need.position or 'cartridge'}",
        kinds.ROTATE: f"rotate {need.position.stage if need.position else 'cartridges'}: {need.get_kind_display()}",
        kinds.REPAIR: f"repair {need.label or 'unit'}",
    }.get(kinds(need.kind), need.get_kind_display())
    item = f", with {need.item.code}" if need.item is not None else ""
    return f"{need.unit.code}: {action}{item}"


def why_changed(need: Need, day: date) -> str:
    """How likely a cartridge is exhausted by the day it is changed, or that its age ends; empty of other work."""
    if need.finding is not None and need.position is not None:
        return " (seen exhausted)"
    forecast = need.forecast
    chance = exhausted_by(need, today=need.curve_first_day or day, day=day)
    if chance is None or forecast is None:
        return ""
    if forecast.driver == forecast.Driver.MAXIMUM_SERVICE_TIME and forecast.p50 is not None:
        reached = "was" if forecast.p50 <= day else "is"
        return f" (its maximum service time {reached} reached on {day_in_words(forecast.p50)})"
    return f" ({percent_text(chance)} likely exhausted by then)"


def _show_left_out(screen: Screen, plan: Plan) -> None:
    unserved_visits = (
        UnservedVisit.objects.filter(plan=plan).select_related("visit__site").order_by("visit__site__code")
    )
    if not unserved_visits:
        return
    screen.subheading(f"Not in these days, {len(unserved_visits)} visits")
    for unserved in unserved_visits:
        screen.line(f"{unserved.visit.site.code}: {unserved.sentence}", indent=2)


def show_van_loads(screen: Screen, plan: Plan) -> None:
    """Print what every van must carry each day: what is on board, what to load, and what the store has not got."""
    screen.heading("Each van's load")
    lists = PartsList.objects.filter(round__plan=plan, scope=PartsList.Scope.ROUND).select_related("round__installer")
    for parts in lists.order_by("first_day", "round__installer__name"):
        installer = parts.round.installer if parts.round else None
        van_words = f"{installer.name}, {installer.van}" if installer else ""
        screen.subheading(f"{day_in_words(parts.first_day)}, {van_words}")
        load: list[str] = []
        aboard: list[str] = []
        missing: list[str] = []
        for line in sorted(PartsLine.objects.filter(parts_list=parts).select_related("item"), key=_kind_then_code):
            absent = line.short - line.from_store
            for pieces, articles in ((line.from_store, load), (line.quantity - line.short, aboard), (absent, missing)):
                if pieces > 0:
                    articles.append(f"{pieces} {line.item.code}")
        screen.line(f"load from the store: {', '.join(load) or 'nothing'}", indent=2)
        screen.line(f"on board already: {', '.join(aboard) or 'nothing'}", indent=2)
        if missing:
            screen.line(f"not in the store, see the orders: {', '.join(missing)}", indent=2)


def _kind_then_code(line: PartsLine) -> tuple[int, str]:
    return (list(CatalogueItem.Kind.values).index(line.item.kind), line.item.code)


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%H:%M}"
