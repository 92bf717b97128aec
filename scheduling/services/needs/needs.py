"""Needs: found again as their units change, asked for by a person, dropped."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypedDict, Unpack
from uuid import uuid4

from django.db import transaction
from django.db.models import F, QuerySet

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.many_rows import update_rows
from accounts.models import Company, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from fleet.engineering.positions import position_name
from fleet.models import CatalogueItem, Position, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.formats import format_fault
from fleet.services.sizing.parts import FittingPart, fitting_parts
from scheduling.models import Need
from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.work import part_for
from scheduling.services.needs.costs import price_needs
from scheduling.services.needs.wanted import ChangeAhead, compute_needs
from scheduling.services.policy import read_policy

# What a refresh may change on an open need; everything else is the key's or the row's own.
_REFRESHED = (
    "source",
    "label",
    "item_id",
    "missing_part",
    "forecast_id",
    "lag_forecast_id",
    "finding_id",
    "cause",
    "minutes",
    "skills",
    "price",
    "late_cost_per_day",
    "exhausted_cost_per_day",
    "reading_way",
    "reads",
    "reading_of_id",
    "reading_saves",
    "reading_price",
    "is_urgent",
    "not_before",
    "due_on",
    "best_day",
    "curve_first_day",
    "cost_curve",
    "reason",
)
_REPRICED = ("best_day", "curve_first_day", "cost_curve")
# What another day alone changes of nearly every need.
_OF_THE_DAY = (*_REPRICED, "not_before", "reading_saves", "reason")


@dataclass(frozen=True, slots=True)
class NeedsRefreshed:
    """How many needs a refresh opened, changed, dropped and left as they were."""

    opened: int
    changed: int
    dropped: int
    unchanged: int


def refresh_needs(
    *,
    company: Company,
    now: datetime,
    units: Collection[int] | None = None,
    change_ahead: ChangeAhead | None = None,
) -> NeedsRefreshed:
    """Make the company's open needs what its units call for today.

    Opens what is new, updates what has changed, drops what is gone. Needs that a person asked for stay open and are
    priced again, unless their unit was retired. Looking twice changes nothing.

    Parameters
    ----------
    company, now
        Whose needs, and when.
    units
        Ids of the units about which something is new; those of the others stay as they are. None: all units.
    change_ahead
        Told of each of these units for which time alone will change what it calls for, and of the day.

    Returns
    -------
    NeedsRefreshed
        Counts, of the needs of these units alone.
    """
    today = company.day_at(now)
    with transaction.atomic():
        # one refresh of a company at a time: two would open the same needs twice
        lock_company(company.pk)
        policy = read_policy(company=company)
        found = compute_needs(company=company, policy=policy, today=today, units=units, change_ahead=change_ahead)
        needs_by_key = {need.key: need for need in found}
        price_needs(list(needs_by_key.values()), policy=policy, today=today)
        open_needs = Need.objects.of_company(company).filter(state=Need.State.OPEN)
        if units is not None:
            open_needs = open_needs.filter(unit__in=units)
        _follow_units(open_needs, now)
        # sorted here: the database would walk them by the index of days, from one end of the table to the other
        rows = {need.key: need for need in sorted(open_needs.order_by(), key=lambda need: need.pk)}
        at_retired = set(
            open_needs.filter(unit__in=Unit.objects.filter(Unit.is_retired_on(today))).values_list("key", flat=True)
        )
        asked_by_people = [
            need for need in rows.values() if need.source == Need.Source.PERSON and need.key not in at_retired
        ]
        stored = {
            key: need for key, need in rows.items() if need.source != Need.Source.PERSON or need.key in at_retired
        }

        differing = {key: _take_over(row, needs_by_key[key]) for key, row in stored.items() if key in needs_by_key}
        of_the_day = [stored[key] for key, names in differing.items() if names and names.issubset(_OF_THE_DAY)]
        otherwise = [stored[key] for key, names in differing.items() if not names.issubset(_OF_THE_DAY)]
        of_the_day += _reprice(asked_by_people, policy=policy, today=today)
        changed = of_the_day + otherwise
        dropped = [row for key, row in stored.items() if key not in needs_by_key]
        opened = [need for key, need in needs_by_key.items() if key not in rows]
        for need in opened:
            need.created_at = need.updated_at = now
        for row in changed:
            row.updated_at = now
        for row in dropped:
            row.state, row.closed_at, row.updated_at = Need.State.DROPPED, now, now
        Need.objects.bulk_create(opened)
        update_rows(of_the_day, [*_OF_THE_DAY, "updated_at"])
        update_rows(otherwise, [*_REFRESHED, "updated_at"])
        update_rows(dropped, ["state", "closed_at", "updated_at"])
    return NeedsRefreshed(len(opened), len(changed), len(dropped), len(rows) - len(changed) - len(dropped))


def _follow_units(open_needs: QuerySet[Need], now: datetime) -> None:
    """Let the work at a unit that stands at another site since be work of that site, whoever asked for it."""
    moved = list(open_needs.exclude(site=F("unit__site")).select_related("unit").order_by("pk"))
    for need in moved:
        need.site_id, need.updated_at = need.unit.site_id, now
    update_rows(moved, ["site_id", "updated_at"])


def _take_over(row: Need, recomputed: Need) -> set[str]:
    """Copy what was found onto the open row; answer what differed."""
    differing = {name for name in _REFRESHED if getattr(row, name) != getattr(recomputed, name)}
    for name in differing:
        setattr(row, name, getattr(recomputed, name))
    return differing


def _reprice(needs: Iterable[Need], *, policy: ServicePolicy, today: date) -> list[Need]:
    rows = list(needs)
    before = [tuple(getattr(row, name) for name in _REPRICED) for row in rows]
    reasons = [row.reason for row in rows]
    price_needs(rows, policy=policy, today=today)
    for row, reason in zip(rows, reasons, strict=True):
        row.reason = reason  # the person's own words stay as they were written
    return [row for row, old in zip(rows, before, strict=True) if tuple(getattr(row, n) for n in _REPRICED) != old]


class NeedDays(TypedDict, total=False):
    """Days of a need that a person says: the first on which it may be done, that on which it falls due, and the last
    on which it may be done."""

    not_before: date | None
    due_on: date | None
    deadline: date | None


def add_need(
    *,
    by: Membership,
    unit: Unit,
    kind: str,
    reason: str,
    now: datetime,
    position: Position | None = None,
    item: CatalogueItem | None = None,
    is_urgent: bool = False,
    **days: Unpack[NeedDays],
) -> Need:
    """Open a need that a person asks for; it stays open until it is done or a person drops it.

    A pump or restrictor that nobody names is the one of the catalogue that fits the unit.

    Raises
    ------
    InvalidInput
        When the position is another unit's, the item does not fit it, or the days contradict each other.
    """
    company = unit.company
    faults = []
    if position is not None and position.unit_id != unit.pk:
        faults.append(Fault("/position", "position belongs to another unit; name one of this unit."))
    if kind in {Need.Kind.REPLACE, Need.Kind.ROTATE} and position is None:
        faults.append(Fault("/position", f"position is required to {kind} a cartridge."))
    if kind == Need.Kind.ROTATE and position is not None and position.role != Position.Role.LEAD:
        faults.append(Fault("/position", "position must be the lead to rotate."))
    if item is not None and position is not None and not faults:
        fault = format_fault(position, item) if item.kind == position.stage else _other_stage(position, item)
        faults += [fault] if fault is not None else []
    not_before, deadline = days.get("not_before"), days.get("deadline")
    if not_before is not None and deadline is not None and deadline < not_before:
        faults.append(Fault("/deadline", f"deadline {deadline} lies before not_before {not_before}."))
    if faults:
        raise InvalidInput("need_not_valid", "The need is not valid.", faults=faults)
    part = part_for(kind, "") if item is None and position is None else ""
    choice = fitting_parts(company=company, wanted={unit.pk: [part] if part else []}, now=now)
    fitting = choice.get(unit.pk, {}).get(part, FittingPart())
    policy = read_policy(company=company)
    late = policy.undone_cost(kind)
    if position is not None:
        late = max(late, policy.planning.late_cost(position.stage, unit.use))
    need = Need(
        company=company,
        site=unit.site,
        unit=unit,
        position=position,
        kind=kind,
        source=Need.Source.PERSON,
        label=position_name(position.stage, position.role) if position is not None else "unit",
        key=f"person:{uuid4()}",
        item=item,
        missing_part=fitting.missing_part,
        minutes=round(policy.planning.minutes_for(kind)),
        skills=policy.skills_for(kind),
        late_cost_per_day=late,
        is_urgent=is_urgent,
        created_at=now,
        updated_at=now,
        **days,
    )
    if fitting.item is not None:
        need.item_id = fitting.item
    price_needs([need], policy=policy, today=company.day_at(now))
    need.reason = reason
    with transaction.atomic():
        need.save()
        announce(company.pk, units=[unit.pk], kind=Kind.NEED, now=now)
        record(by=by, action="add need", subject=need, details={"kind": kind, "unit": unit.code}, now=now)
    return need


def _other_stage(position: Position, item: CatalogueItem) -> Fault:
    place = position_name(position.stage, position.role)
    return Fault("/item", f"{item.code} is '{item.get_kind_display()}'; give one for the {place}.")


def drop_need(*, need: Need, by: Membership, note: str, now: datetime) -> Need:
    """Close a need that a person asked for and that nobody wants any more.

    Raises
    ------
    Conflict
        When it is closed already, or comes from readings or the calendar: those close by themselves, and a finding
        that is wrong is dismissed where it stands.
    """
    with transaction.atomic():
        row = Need.objects.select_for_update(no_key=True).get(pk=need.pk)
        if row.state != Need.State.OPEN:
            raise Conflict("need_is_closed", f"The need is {row.get_state_display()} already.")
        if row.source != Need.Source.PERSON:
            raise Conflict(
                "need_closes_by_itself",
                f"The need comes from a {row.get_source_display()} and closes by itself when that is gone; "
                "dismiss the finding, or record the work.",
            )
        row.state, row.closed_at, row.updated_at = Need.State.DROPPED, now, now
        row.save(update_fields=["state", "closed_at", "updated_at"])
        announce(row.company_id, units=[row.unit_id], kind=Kind.NEED, now=now)
        record(by=by, action="drop need", subject=row, details={"note": note}, now=now)
    return row
