"""Each installer's day in order, with arrival times; what was left out, and why; what each van must carry."""

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from accounts.language import gettext
from fleet.models import CatalogueItem
from scheduling.demo import words
from scheduling.demo.screen import Screen
from scheduling.models import Need, PartsLine, PartsList, Plan, Round, Stop, UnservedVisit, VisitTask
from scheduling.services.needs.costs import exhausted_by


def show_rounds(screen: Screen, plan: Plan) -> None:
    """Print the rounds of a plan, stop by stop, and the visits it leaves out."""
    rounds = list(Round.objects.filter(plan=plan).select_related("installer").order_by("day", "installer__name"))
    stops = _stops(rounds)
    served = sum(len(served_stops) for served_stops in stops.values())
    screen.heading(words.rounds_from(plan.first_day, served, len(rounds)))
    for round_ in rounds:
        zone = ZoneInfo(round_.installer.time_zone)
        screen.subheading(
            words.round_of(
                round_.day,
                round_.installer.name,
                round_.installer.van,
                _clock(round_.leaves_at, zone),
                _clock(round_.returns_at, zone),
                round_.driving_km,
                round_.driving_minutes,
            )
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
    text = words.stop_at(
        _clock(stop.arrives_at, zone),
        _clock(stop.starts_at, zone) if stop.starts_at > stop.arrives_at else "",
        _clock(stop.leaves_at, zone),
        f"{site.code} {site.name}, {site.address}",
        is_confirmed=stop.visit.appointment_at is not None,
    )
    screen.line(text, indent=2)
    tasks = VisitTask.objects.filter(visit=stop.visit).select_related(
        "need__unit",
        "need__position",
        "need__item",
        "need__finding",
        "need__forecast__placement",
        "need__lag_forecast__placement",
    )
    day = stop.starts_at.astimezone(zone).date()
    lines = []
    for task in tasks.order_by("order"):
        why = why_replaced(task.need, day)
        lines.append(words.task_of(task.need) + (f" ({why})" if why else ""))
    for line in dict.fromkeys(lines):
        screen.line(f"- {line}", indent=9)
    if site.access_notes:
        screen.line(f"- {words.getting_in(site.access_notes)}", indent=9)


def why_replaced(need: Need, day: date) -> str:
    """How likely a cartridge is exhausted by the day it is replaced, or that its age ends; empty of other work."""
    if need.finding is not None and need.position is not None:
        return words.seen_exhausted()
    forecast = need.forecast
    chance = exhausted_by(need, today=need.curve_first_day or day, day=day)
    if chance is None or forecast is None:
        return ""
    if forecast.driver == forecast.Driver.MAXIMUM_SERVICE_TIME and forecast.p50 is not None:
        if forecast.p50 <= forecast.as_of:
            return words.service_time_is_over()
        return words.maximum_service_time(forecast.p50, is_past=forecast.p50 <= day)
    return words.likely_exhausted(chance)


def _show_left_out(screen: Screen, plan: Plan) -> None:
    unserved_visits = (
        UnservedVisit.objects.filter(plan=plan).select_related("visit__site").order_by("visit__site__code")
    )
    if not unserved_visits:
        return
    screen.subheading(words.left_out(len(unserved_visits)))
    for unserved in unserved_visits:
        screen.line(f"{unserved.visit.site.code}: {unserved.sentence}", indent=2)


def show_van_loads(screen: Screen, plan: Plan) -> None:
    """Print what every van must carry each day: what is on board, what to load, and what the store has not got."""
    screen.heading(gettext(words.VAN_LOADS))
    lists = PartsList.objects.filter(round__plan=plan, scope=PartsList.Scope.ROUND).select_related("round__installer")
    for parts in lists.order_by("first_day", "round__installer__name"):
        installer = parts.round.installer if parts.round else None
        name, van = (installer.name, installer.van) if installer else ("", "")
        screen.subheading(words.van_on(parts.first_day, name, van))
        load: list[str] = []
        aboard: list[str] = []
        missing: list[str] = []
        for line in sorted(PartsLine.objects.filter(parts_list=parts).select_related("item"), key=_kind_then_code):
            absent = line.short - line.from_store
            for pieces, articles in ((line.from_store, load), (line.quantity - line.short, aboard), (absent, missing)):
                if pieces > 0:
                    articles.append(f"{pieces} {line.item.code}")
        screen.line(words.load_from_store(load), indent=2)
        screen.line(words.on_board(aboard), indent=2)
        if missing:
            screen.line(words.not_in_store(missing), indent=2)


def _kind_then_code(line: PartsLine) -> tuple[int, str]:
    return (list(CatalogueItem.Kind.values).index(line.item.kind), line.item.code)


def _clock(at: datetime, zone: ZoneInfo) -> str:
    return f"{at.astimezone(zone):%H:%M}"
