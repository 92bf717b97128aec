"""Units come to be with their whole train: positions in order, and the cartridges that stand in them from the start."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Client, Membership
from accounts.services import record
from accounts.services.companies import lock_company
from accounts.services.retiring import refuse_retired
from fleet.engineering.formulas.targets import target_for
from fleet.engineering.usual import WEEKLY_DEMAND_L
from fleet.intake.names import public_name
from fleet.models import CatalogueItem, Placement, Position, Reading, Site, Stage, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.formats import ATTRIBUTES, format_fault, refuse_format_of_installed
from fleet.services.units.moments import check_moment, faults_of_dates, refuse_later_commissioning
from fleet.services.units.passing_on import carry_over, move_unit, refuse_time_alone
from fleet.services.units.sites_not_known import leave_behind, place_not_known

MOST_POSITIONS: Final = 20
_ORDER: Final = {stage: place for place, stage in enumerate(Stage.values)}


@dataclass(frozen=True)
class NewPosition:
    """A place in the train of a new unit; `item` stands in it from the start, or nothing does."""

    stage: str
    role: str = Position.Role.SINGLE
    item: CatalogueItem | None = None
    serial_or_lot: str = ""
    placed_at: datetime | None = None
    cartridge_size: str = ""
    connection: str = ""
    flow_direction: str = ""


TEMPLATES: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "ro": (("sediment", "single"), ("carbon", "single"), ("membrane", "single")),
    "ro_two_carbon": (("sediment", "single"), ("carbon", "lead"), ("carbon", "lag"), ("membrane", "single")),
    "ro_di": (("sediment", "single"), ("carbon", "single"), ("membrane", "single"), ("resin", "single")),
    "ro_di_two_resin": (
        ("sediment", "single"),
        ("carbon", "single"),
        ("membrane", "single"),
        ("resin", "lead"),
        ("resin", "lag"),
    ),
    "ro_di_two_carbon_two_resin": (
        ("sediment", "single"),
        ("carbon", "lead"),
        ("carbon", "lag"),
        ("membrane", "single"),
        ("resin", "lead"),
        ("resin", "lag"),
    ),
}
"""Common trains from the feed on, as (stage, role)."""


def train_of(template: str) -> list[NewPosition]:
    """The positions of a common train, without cartridges.

    Raises
    ------
    InvalidInput
        For an unknown template.
    """
    if template not in TEMPLATES:
        raise InvalidInput(
            "unknown_template", f"There is no train '{template[:40]}'; there are: {', '.join(TEMPLATES)}.",
            pointer="/template",
        )  # fmt: skip
    return [NewPosition(stage, role) for stage, role in TEMPLATES[template]]


def create_unit(
    *,
    site: Site | None,
    positions: Sequence[NewPosition],
    by: Membership | None,
    now: datetime,
    client: Client | None = None,
    **facts: Any,
) -> Unit:
    """Create a unit with its train, in the order given from the feed, and the cartridges that stand in it.

    Parameters
    ----------
    site
        Where it stands; its company owns the unit. None: nobody knows yet, see `sites_not_known`; `by` names the
        company then.
    positions
        The train. A cartridge without `placed_at` stands there since the unit was commissioned.
    client
        Whose it is, where no site says so; None, without a site: that is not known either.
    facts
        The fields of `Unit`: code, use, kind, product_tds_target_mg_per_l, weekly_demand_l, commissioned_on ...
        Without a target or a weekly demand it is the usual one of the use, and named in `assumed`.

    Raises
    ------
    InvalidInput
        When the train cannot be: a stage out of order, a lead without a lag, resin in a plain RO, an item of another
        stage or format; when it ends before it begins, or a cartridge was placed before that or in the future; when
        the site is not the client's.
    """
    with transaction.atomic():
        if site is None:
            assert by is not None  # whose company it is
            site = place_not_known(company=by.company, client=client, unit=str(facts["code"]), by=by, now=now)
        elif client is not None and client.pk != site.client_id:
            sentence = f"{site.code} is a site of {site.client.name}, not of {client.name}; send one of the two alone."
            raise InvalidInput("site_of_another_client", sentence, pointer="/client")
        return _create_at(site, positions, by, now, facts)


def _create_at(
    site: Site, positions: Sequence[NewPosition], by: Membership | None, now: datetime, facts: Mapping[str, Any]
) -> Unit:
    kind = facts.get("kind", "")
    refuse_retired(site, pointer="/site")
    faults = _train_faults(positions, str(kind), "/positions")
    faults += faults_of_dates(facts["commissioned_on"], facts.get("retired_on"))
    faults += _placing_faults(positions, facts["commissioned_on"], site, now)
    if faults:
        raise InvalidInput("unit_not_valid", faults[0].sentence, faults=faults)
    usual = {name: value for name, value in _usual_of(str(facts["use"])).items() if facts.get(name) is None}
    unit = Unit.objects.create(
        company=site.company, site=site, **(dict(facts) | usual), assumed=sorted(map(public_name, usual))
    )
    carry_over(unit)
    created = Position.objects.bulk_create(
        [
            Position(
                unit=unit,
                order=order,
                stage=new_position.stage,
                role=new_position.role,
                **{name: getattr(new_position, name) for name in ATTRIBUTES},
            )
            for order, new_position in enumerate(positions, start=1)
        ]
    )
    start = min(now, datetime.combine(unit.commissioned_on, time(12), tzinfo=ZoneInfo(site.time_zone)))
    placements = []
    for position, new_position in zip(created, positions, strict=True):
        if new_position.item is not None:
            at = new_position.placed_at or start
            placements.append(
                Placement(
                    position=position,
                    item=new_position.item,
                    serial_or_lot=new_position.serial_or_lot,
                    placed_at=at,
                    first_installed_at=at,
                    entered_by=by,
                    entered_at=now,
                )
            )
    Placement.objects.bulk_create(placements)
    announce(unit.company_id, units=[unit.pk], kind=Kind.UNIT, now=now)
    if by is not None:
        record(by=by, action="create unit", subject=unit, now=now, details={"positions": len(created)})
    return unit


def _usual_of(use: str) -> dict[str, float]:
    """What is taken of a unit of this use where nobody told."""
    return {
        "product_tds_target_mg_per_l": target_for(use).product_tds_high_mg_per_l,
        "weekly_demand_l": WEEKLY_DEMAND_L[use],
    }


def check_train(positions: Sequence[NewPosition], *, kind: str, pointer: str = "/positions") -> None:
    """Refuse a train that no unit can have, with one fault for each position at fault.

    Raises
    ------
    InvalidInput
        Naming every position at fault.
    """
    faults = _train_faults(positions, kind, pointer)
    if faults:
        raise InvalidInput("impossible_train", "The positions of the unit are not a valid sequence.", faults=faults)


def _placing_faults(positions: Sequence[NewPosition], commissioned_on: date, site: Site, now: datetime) -> list[Fault]:
    """Cartridges that cannot have been placed when they are said to have been."""
    unit = Unit(site=site, code="the unit", commissioned_on=commissioned_on)
    faults: list[Fault] = []
    for place, new_position in enumerate(positions):
        if new_position.placed_at is not None:
            try:
                check_moment(unit, new_position.placed_at, now, f"/positions/{place}/placed_at")
            except InvalidInput as error:
                faults += error.faults
    return faults


def _train_faults(positions: Sequence[NewPosition], kind: str, pointer: str) -> list[Fault]:
    faults: list[Fault] = []
    if not positions:
        faults.append(Fault(pointer, "A unit has at least one position; name its train from the feed on."))
    if len(positions) > MOST_POSITIONS:
        faults.append(Fault(pointer, f"A unit has at most {MOST_POSITIONS} positions, not {len(positions)}."))
    furthest = -1
    for place, new_position in enumerate(positions):
        here = f"{pointer}/{place}"
        if new_position.stage not in _ORDER:
            faults.append(Fault(f"{here}/stage", f"'{new_position.stage[:40]}' is not one of {', '.join(_ORDER)}."))
            continue
        if _ORDER[new_position.stage] < furthest:
            faults.append(
                Fault(
                    f"{here}/stage",
                    f"A {Stage(new_position.stage).label} cannot come after a later stage; the order from the feed "
                    f"is {', '.join(_ORDER)}.",
                )
            )
        furthest = max(furthest, _ORDER[new_position.stage])
        if new_position.stage == Stage.RESIN and kind == Unit.Kind.RO:
            faults.append(Fault(f"{here}/stage", "A plain RO unit has no resin; its kind would be 'ro_di'."))
        if new_position.item is not None and new_position.item.kind != new_position.stage:
            faults.append(
                Fault(
                    f"{here}/item",
                    f"{new_position.item.code} is '{new_position.item.get_kind_display()}', not {new_position.stage}.",
                )
            )
        elif new_position.item is not None and (fault := _format_fault(new_position, f"{here}/item")) is not None:
            faults.append(fault)
    return faults + _role_faults(positions, pointer)


def _format_fault(new_position: NewPosition, pointer: str) -> Fault | None:
    item = new_position.item
    assert item is not None
    place = Position(unit=Unit(company_id=item.company_id), stage=new_position.stage, role=new_position.role)
    for name in ATTRIBUTES:
        setattr(place, name, getattr(new_position, name))
    return format_fault(place, item, pointer)


def _role_faults(positions: Sequence[NewPosition], pointer: str) -> list[Fault]:
    faults: list[Fault] = []
    for stage in _ORDER:
        roles = [
            (place, new_position.role) for place, new_position in enumerate(positions) if new_position.stage == stage
        ]
        counts = Counter(role for _, role in roles)
        if stage != Stage.SEDIMENT:
            faults += [
                Fault(f"{pointer}/{place}/role", f"There is more than one '{role}' of {stage}; use lead and lag.")
                for place, role in roles
                if counts[role] > 1
            ]
        if counts[Position.Role.LEAD] != counts[Position.Role.LAG]:
            faults.append(Fault(pointer, f"Lead and lag of {stage} come in pairs; add the missing one."))
        elif counts[Position.Role.LEAD] and counts[Position.Role.SINGLE] and stage != Stage.SEDIMENT:
            faults.append(
                Fault(pointer, f"{stage.capitalize()} has lead and lag and a single; name them lead and lag.")
            )
        leads = [place for place, role in roles if role == Position.Role.LEAD]
        lags = [place for place, role in roles if role == Position.Role.LAG]
        if leads and lags and min(lags) < max(leads):
            faults.append(Fault(f"{pointer}/{min(lags)}/role", f"The lag of {stage} must come after its lead."))
    return faults


def update_unit(*, unit: Unit, by: Membership | None, now: datetime, **facts: Any) -> Unit:
    """Change the facts of a unit, not its train.

    At a site of another client it passes on, from `client_since` or now; see `fleet.models.ownership`.

    Raises
    ------
    InvalidInput
        When the unit would be retired before it was commissioned, or be a plain RO with resin positions.
    Conflict
        When it would be commissioned after its first reading or cartridge.
    """
    sent = sorted(facts)
    site, since = facts.pop("site", unit.site), facts.pop("client_since", None)
    left: Site | None = None
    with transaction.atomic():
        if site.pk != unit.site_id:
            refuse_retired(site, pointer="/site")
            left = unit.site
            move_unit(unit=unit, site=site, since=since, by=by, now=now)
        elif since != unit.client_since:
            refuse_time_alone(since)
        was_commissioned_on = unit.commissioned_on
        for name, value in facts.items():
            setattr(unit, name, value)
        unit.assumed = [name for name in unit.assumed if name not in map(public_name, facts)]
        for name, value in _usual_of(unit.use).items():
            if public_name(name) in unit.assumed:
                setattr(unit, name, value)
        faults = faults_of_dates(unit.commissioned_on, unit.retired_on)
        if faults:
            raise InvalidInput("dates_not_valid", faults[0].sentence, faults=faults)
        if unit.commissioned_on > was_commissioned_on:
            refuse_later_commissioning(unit)
        if unit.retired_on is None:
            unit.retired_at, unit.retired_by, unit.retired_reason = None, None, ""
        elif unit.retired_at is None:
            unit.retired_at, unit.retired_by = now, by
        has_resin = Position.objects.filter(unit=unit, stage=Stage.RESIN).exists()
        if unit.kind == Unit.Kind.RO and has_resin:
            raise InvalidInput(
                "impossible_train", "The unit has resin positions, so its kind is 'ro_di'.", pointer="/kind"
            )
        unit.save()
        if left is not None:
            leave_behind(site=left, by=by, now=now)
        announce(unit.company_id, units=[unit.pk], kind=Kind.UNIT, now=now)
        if by is not None:
            record(by=by, action="update unit", subject=unit, now=now, details={"fields": sent})
    return unit


def delete_unit(*, unit: Unit, by: Membership | None, now: datetime) -> None:
    """Delete a unit that was created by mistake.

    Raises
    ------
    Conflict
        When it has readings or a cartridge was fitted: what was measured and done is kept, the unit is retired.
    """
    with transaction.atomic():
        retire = f"Retire {unit.code} instead of deleting it: POST to its address followed by retire/, with a reason."
        if Reading.objects.filter(unit=unit).exists():
            raise Conflict("unit_has_readings", f"{unit.code} has readings, and what was measured is kept. {retire}")
        if Placement.with_voided.filter(position__unit=unit).exists():
            sentence = f"It is written down which cartridges were fitted in {unit.code}, and that is kept. {retire}"
            raise Conflict("unit_has_history", sentence)
        # Whoever makes needs or forecasts of this unit at this moment has stored them before it goes, or finds it gone.
        lock_company(unit.company_id)
        list(Position.objects.filter(unit=unit).order_by("pk").select_for_update(no_key=True).values_list("pk"))
        announce(unit.company_id, units=[unit.pk], kind=Kind.UNIT, now=now)
        if by is not None:
            record(by=by, action="delete unit", subject=unit, now=now, details={"code": unit.code})
        unit.delete()


def add_position(
    *, unit: Unit, order: int, stage: str, role: str, by: Membership | None, now: datetime, **formats: str
) -> Position:
    """Add a place to the train of a unit; `formats` are the attributes of the cartridges it takes.

    Raises
    ------
    InvalidInput
        When the place is taken or the train could not be.
    """
    with transaction.atomic():
        Unit.objects.select_for_update(no_key=True).get(pk=unit.pk)
        position = Position(unit=unit, order=order, stage=stage, role=role, **formats)
        _check_with(unit, position)
        position.save()
        announce(unit.company_id, units=[unit.pk], kind=Kind.TRAIN, now=now)
        if by is not None:
            record(by=by, action="create position", subject=position, now=now, details={"unit": unit.pk})
    return position


def change_position(*, position: Position, by: Membership | None, now: datetime, **facts: Any) -> Position:
    """Move or rename a place in the train; its stage can change only while nothing ever stood there.

    Raises
    ------
    InvalidInput
        When the train could not be, or a cartridge of another format is installed there.
    Conflict
        When cartridges of another stage have stood there.
    """
    with transaction.atomic():
        Unit.objects.select_for_update(no_key=True).get(pk=position.unit_id)
        if facts.get("stage", position.stage) != position.stage and position.placements.exists():
            raise Conflict(
                "position_has_history",
                "Cartridges have been installed there, so its stage cannot change; add another position.",
                pointer="/stage",
            )
        for name, value in facts.items():
            setattr(position, name, value)
        _check_with(position.unit, position)
        refuse_format_of_installed(position)
        position.save()
        announce(position.unit.company_id, units=[position.unit.pk], kind=Kind.TRAIN, now=now)
        if by is not None:
            record(by=by, action="update position", subject=position, now=now, details={"fields": sorted(facts)})
    return position


def delete_position(*, position: Position, by: Membership | None, now: datetime) -> None:
    """Delete a place in the train in which nothing ever stood.

    Raises
    ------
    Conflict
        When a cartridge stands or stood there.
    """
    with transaction.atomic():
        if Placement.with_voided.filter(position=position).exists():
            raise Conflict(
                "position_has_history",
                "Cartridges have been installed there and their record is kept, so the position cannot be deleted.",
            )
        lock_company(position.unit.company_id)
        announce(position.unit.company_id, units=[position.unit.pk], kind=Kind.TRAIN, now=now)
        if by is not None:
            record(by=by, action="delete position", subject=position, now=now, details={"unit": position.unit_id})
        position.delete()


def _check_with(unit: Unit, position: Position) -> None:
    others = list(Position.objects.filter(unit=unit).exclude(pk=position.pk))
    if any(other.order == position.order for other in others):
        raise InvalidInput(
            "place_is_taken", f"Place {position.order} of {unit.code} is taken; choose a free one.", pointer="/order"
        )
    train = sorted([*others, position], key=lambda place: place.order)
    try:
        check_train([NewPosition(place.stage, place.role) for place in train], kind=unit.kind, pointer="")
    except InvalidInput as error:
        place = train.index(position)
        own_faults = [fault for fault in error.faults if fault.pointer.startswith(f"/{place}/")] or list(error.faults)
        # The caller sent one position, not the train.
        faults = [Fault(fault.pointer.removeprefix(f"/{place}"), fault.sentence) for fault in own_faults]
        raise InvalidInput(error.code, error.sentence, faults=faults) from None
