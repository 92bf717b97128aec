"""An installer's day on one sheet: where to go, how to get in, what to do, what to expect, what to take care of."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Prefetch

from accounts.errors import NotFound
from accounts.language import gettext
from accounts.models import Membership
from fleet.engineering.diagnosis import TITLES
from fleet.engineering.limits import Limits
from fleet.engineering.positions import position_name
from fleet.engineering.units import QUANTITY_KINDS, to_display
from fleet.intake.names import public_name, spoken
from fleet.models import CatalogueItem, Finding, Placement, Position, Reading, Stage, Unit
from fleet.services.formats import format_of, format_or_else
from fleet.services.limits import limits_of_units
from fleet.services.readings.expected import expected_readings
from fleet.services.units.access import access_of
from scheduling.models import Installer, Need, PartsList, Plan, Round, Stop, Visit, VisitTask
from scheduling.services.attention import UNREAD
from scheduling.services.needs.costs import reason_without_money
from scheduling.services.rounds.cautions import cautions_at
from scheduling.services.stock.substitutes import Bought, bought_before
from scheduling.services.stock.visit_parts import parts_by_visit
from scheduling.services.words import rounds as words
from scheduling.services.words.tasks import task_text
from scheduling.services.words.why import sentence_of

Kind = Need.Kind


@dataclass(frozen=True, slots=True)
class DaySheet:
    """A round with everything its installer needs; `stops` and `load` are as the API answers them."""

    round: Round
    zone: str
    currency: str
    stops: list[dict[str, Any]]
    load: list[dict[str, Any]]


def round_of_today(*, by: Membership, now: datetime) -> Round:
    """The published round a member drives today, on the installer's own clock.

    Raises
    ------
    NotFound
        When the member is no installer, or no published round of today is theirs.
    """
    installer = Installer.objects.of_company(by.company).filter(membership=by).first()
    if installer is None:
        raise NotFound("no_round_today", "You drive no rounds; ask for the day sheet of a round by its id.")
    today = now.astimezone(ZoneInfo(installer.time_zone)).date()
    own_rounds = Round.objects.filter(installer=installer, day__gte=today, plan__state=Plan.State.PUBLISHED)
    next_round: Round | None = own_rounds.order_by("day", "-plan__published_at").first()
    if next_round is None or next_round.day != today:
        sentence = f"No round of yours is published for today, {today}"
        sentence += f"; the next one, on {next_round.day}, is round {next_round.pk}." if next_round is not None else "."
        raise NotFound("no_round_today", sentence)
    return next_round


def day_sheet(*, day: Round) -> DaySheet:
    """Put the sheet of a round together, as things stand now."""
    company = day.plan.company
    stops = list(
        Stop.objects.filter(round=day)
        .select_related("visit__site__client", "visit__locked_by")
        .prefetch_related(
            Prefetch(
                "visit__tasks",
                queryset=VisitTask.objects.select_related(
                    "need__unit", "need__position", "need__item", "need__forecast", "need__finding"
                ).order_by("order"),
            )
        )
        .order_by("order")
    )
    visits = [stop.visit for stop in stops]
    parts = parts_by_visit(company=company, visits=visits)
    items = {str(item.pk): item for item in CatalogueItem.objects.of_company(company)}
    access = access_of({visit.site_id: visit.site for visit in visits}.values())
    units = _units([visit.site_id for visit in visits])
    next_stop = next((stop.pk for stop in stops if stop.visit.state in Visit.LIVE), None)
    limits = limits_of_units(company, [unit.pk for of_site in units.values() for unit in of_site])
    bought, system = bought_before(company=company), company.unit_system
    return DaySheet(
        round=day,
        zone=day.installer.time_zone,
        currency=company.currency,
        stops=[
            {
                **_of_stop(stop),
                "is_next": stop.pk == next_stop,
                "hours": [words.hours(*span) for span in access[stop.visit.site_id].hours_on(day.day)],
                "tasks": [_of_task(task, bought, company.currency) for task in stop.visit.tasks.all()],
                "units": [
                    _of_unit(unit, limits[unit.pk], list(stop.visit.tasks.all()), system)
                    for unit in units.get(stop.visit.site_id, ())
                ],
                "parts": [
                    {"item": items[key].pk, "code": items[key].code, "name": items[key].name, "quantity": quantity}
                    for key, quantity in sorted(parts.get(stop.visit_id, {}).items(), key=lambda p: items[p[0]].code)
                ],
                "cautions": cautions_at(list(stop.visit.tasks.all()), units.get(stop.visit.site_id, ()), system),
            }
            for stop in stops
        ],
        load=_load(day),
    )


def _units(sites: Sequence[int]) -> dict[int, list[Unit]]:
    """The units in service at some sites, with what a sheet says of them at hand."""
    installed = Placement.objects.filter(removed_at=None).select_related("item")
    live = Finding.objects.filter(state__in=Finding.LIVE).order_by("-confidence", "pk")
    rows = (
        Unit.objects.filter(site__in=sites, retired_on=None)
        .select_related("site")
        .prefetch_related(
            Prefetch(
                "positions",
                queryset=Position.objects.order_by("order", "pk").prefetch_related(
                    Prefetch("placements", queryset=installed, to_attr="installed_placements")
                ),
            ),
            Prefetch("findings", queryset=live, to_attr="live"),
        )
    )
    table: dict[int, list[Unit]] = {}
    for unit in rows.order_by("code"):
        table.setdefault(unit.site_id, []).append(unit)
    return table


def _of_stop(stop: Stop) -> dict[str, Any]:
    visit, site = stop.visit, stop.visit.site
    return {
        "order": stop.order,
        "stop": stop.pk,
        "visit": visit.pk,
        "state": visit.state,
        "is_urgent": visit.is_urgent,
        "appointment_at": visit.appointment_at,
        "is_locked": visit.locked_start is not None,
        "lock_reason": visit.lock_reason,
        "why": sentence_of(stop),
        "arrives_at": stop.arrives_at,
        "starts_at": stop.starts_at,
        "leaves_at": stop.leaves_at,
        "driving_minutes": stop.driving_minutes,
        "driving_km": stop.driving_km,
        "site": site.pk,
        "site_code": site.code,
        "site_name": site.name,
        "address": site.address,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "time_zone": site.time_zone,
        "access_notes": site.access_notes,
        "client_name": site.client.name,
        "phone": site.client.phone,
        "email": site.client.email,
    }


def _substitutes(need: Need, bought: Bought) -> list[str]:
    if need.item is None or need.position is None or need.state != Need.State.OPEN:
        return []
    return bought.on_hand_for(need.item, format_or_else(format_of(need.position), format_of(need.item)))


def _of_task(task: VisitTask, bought: Bought, currency: str) -> dict[str, Any]:
    need = task.need
    return {
        "order": task.order,
        "need": need.pk,
        "state": need.state,
        "unit": need.unit_id,
        "unit_code": need.unit.code,
        "position": need.position_id,
        "kind": need.kind,
        "what": task_text(need),
        "item": need.item_id,
        "item_code": need.item.code if need.item is not None else None,
        "substitutes": _substitutes(need, bought),
        "minutes": need.minutes,
        "source": need.source,
        "reason": need.reason,
        "why": _why(need, currency),
    }


def _why(need: Need, currency: str) -> str:
    """What somebody at the unit can check: what was seen, read or said, without what waiting would cost the company."""
    if need.finding is not None:
        return _title(need.finding)
    if need.forecast is not None:
        return need.forecast.installer_sentence
    return reason_without_money(need, currency)


def _title(finding: Finding) -> str:
    return gettext(TITLES.get(finding.rule, finding.cause.replace("_", " ")))


def _of_unit(unit: Unit, limits: Limits[float], tasks: Sequence[VisitTask], system: str) -> dict[str, Any]:
    last = Reading.objects.current().filter(unit=unit).order_by("-taken_at", "-pk").first()
    fitted = {task.need.position_id: task.need.item for task in tasks if task.need.item is not None}
    stages = {position.pk: position for position in unit.positions.all()}
    membrane = next((item for pk, item in fitted.items() if pk in stages and stages[pk].stage == Stage.MEMBRANE), None)
    if membrane is None:
        membrane_positions = (p for p in unit.positions.all() if p.stage == Stage.MEMBRANE)
        membrane = next((p.installed_placements[0].item for p in membrane_positions if p.installed_placements), None)  # type: ignore[attr-defined]
    return {
        "unit": unit.pk,
        "code": unit.code,
        "name": unit.name,
        "use": gettext(str(unit.get_use_display())),
        "train": [_of_position(position) for position in unit.positions.all()],
        "read_at": last.taken_at if last is not None else None,
        "last_readings": _readings(last, system),
        "expected_readings": [
            {
                "quantity": public_name(one.quantity),
                "spoken": gettext(spoken(one.quantity)),
                "value": _shown(one.value, one.quantity, system),
                "low": _shown(one.low, one.quantity, system),
                "high": _shown(one.high, one.quantity, system),
                "if_not": one.if_not,
            }
            for one in expected_readings(unit=unit, limits=limits, membrane=membrane, last=last, unit_system=system)
        ],
        "findings": [
            {
                "finding": finding.pk,
                "title": _title(finding),
                "sentence": finding.installer_sentence,
                "make_sure": finding.confirming_check,
                "do": finding.action,
                "take_care": finding.caution,
                "a_reading_settles_it": finding.cause in UNREAD,
            }
            for finding in unit.live  # type: ignore[attr-defined]
        ],
    }


def _of_position(position: Position) -> dict[str, Any]:
    placement = next(iter(position.installed_placements), None)  # type: ignore[attr-defined]
    return {
        "position": position.pk,
        "order": position.order,
        "place": gettext(position_name(position.stage, position.role)),
        "item_code": placement.item.code if placement is not None else None,
        "serial_or_lot": placement.serial_or_lot if placement is not None else "",
        "placed_at": placement.placed_at if placement is not None else None,
    }


def _readings(reading: Reading | None, system: str) -> list[dict[str, Any]]:
    if reading is None:
        return []
    return [
        {
            "quantity": public_name(name),
            "spoken": gettext(spoken(name)),
            "value": _shown(getattr(reading, name), name, system),
        }
        for name in Reading.QUANTITIES
        if getattr(reading, name) is not None
    ]


def _shown(value: float | None, name: str, system: str) -> dict[str, Any] | None:
    """A value with its unit, at three digits: nobody reads a gauge closer."""
    if value is None:
        return None
    kind = QUANTITY_KINDS.get(name)
    number, unit = to_display(value, kind, system) if kind is not None else (value, "")
    return {"value": float(f"{number:.3g}"), "unit": unit}


def _load(day: Round) -> list[dict[str, Any]]:
    """What the van takes along, as its parts list says; empty before one is written."""
    parts_list = PartsList.objects.filter(round=day, scope=PartsList.Scope.ROUND).first()
    if parts_list is None:
        return []
    return [
        {
            "item": line.item_id,
            "code": line.item.code,
            "name": line.item.name,
            "quantity": line.quantity,
            "aboard": line.in_stock,
            "reserved_elsewhere": line.reserved_elsewhere,
            "to_load": line.from_store,
            "missing": max(line.short - line.from_store, 0),
        }
        for line in parts_list.lines.select_related("item").order_by("item__code")
    ]
