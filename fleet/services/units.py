"""Units come to be with their whole train: positions in order, and the cartridges that stand in them from the start."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db import transaction

from accounts.errors import Fault, InvalidInput
from accounts.models import Membership
from accounts.services import record
from fleet.models import CatalogueItem, Placement, Position, Site, Stage, Unit

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
    *, site: Site, positions: Sequence[NewPosition], by: Membership | None, now: datetime, **facts: Any
) -> Unit:
    """Create a unit with its train, in the order given from the feed, and the cartridges that stand in it.

    Parameters
    ----------
    site
        Where it stands; its company owns the unit.
    positions
        The train. A cartridge without `placed_at` stands there since the unit was commissioned.
    facts
        The fields of `Unit`: code, use, kind, product_tds_target_mg_per_l, weekly_demand_l, commissioned_on ...

    Raises
    ------
    InvalidInput
        When the train cannot be: a stage out of order, a lead without a lag, resin in a plain RO, an item of another
        stage.
    """
    kind = facts.get("kind", "")
    check_train(positions, kind=str(kind))
    with transaction.atomic():
        unit = Unit.objects.create(company=site.company, site=site, **facts)
        made = Position.objects.bulk_create(
            [
                Position(unit=unit, order=order, stage=given.stage, role=given.role)
                for order, given in enumerate(positions, start=1)
            ]
        )
        start = min(now, datetime.combine(unit.commissioned_on, time(12), tzinfo=ZoneInfo(site.time_zone)))
        placements = []
        for position, given in zip(made, positions, strict=True):
            if given.item is not None:
                at = given.placed_at or start
                placements.append(
                    Placement(
                        position=position,
                        item=given.item,
                        serial_or_lot=given.serial_or_lot,
                        placed_at=at,
                        first_installed_at=at,
                    )
                )
        Placement.objects.bulk_create(placements)
        if by is not None:
            record(by=by, action="create unit", subject=unit, now=now, details={"positions": len(made)})
    return unit


def check_train(positions: Sequence[NewPosition], *, kind: str, pointer: str = "/positions") -> None:
    """Refuse a train that no unit can have, with one fault for each position at fault.

    Raises
    ------
    InvalidInput
        Naming every position at fault.
    """
    faults: list[Fault] = []
    if not positions:
        faults.append(Fault(pointer, "A unit has at least one position; name its train from the feed on."))
    if len(positions) > MOST_POSITIONS:
        faults.append(Fault(pointer, f"A unit has at most {MOST_POSITIONS} positions, not {len(positions)}."))
    furthest = -1
    for place, given in enumerate(positions):
        here = f"{pointer}/{place}"
        if given.stage not in _ORDER:
            faults.append(Fault(f"{here}/stage", f"'{given.stage[:40]}' is not one of {', '.join(_ORDER)}."))
            continue
        if _ORDER[given.stage] < furthest:
            faults.append(
                Fault(
                    f"{here}/stage",
                    f"A {Stage(given.stage).label} cannot stand behind a later stage; the order from the feed is "
                    f"{', '.join(_ORDER)}.",
                )
            )
        furthest = max(furthest, _ORDER[given.stage])
        if given.stage == Stage.RESIN and kind == Unit.Kind.RO:
            faults.append(Fault(f"{here}/stage", "A plain RO unit has no resin; its kind would be 'ro_di'."))
        if given.item is not None and given.item.kind != given.stage:
            faults.append(
                Fault(f"{here}/item", f"{given.item.code} is '{given.item.get_kind_display()}', not {given.stage}.")
            )
    faults += _role_faults(positions, pointer)
    if faults:
        raise InvalidInput("impossible_train", "The train of positions cannot be.", faults=faults)


def _role_faults(positions: Sequence[NewPosition], pointer: str) -> list[Fault]:
    faults: list[Fault] = []
    for stage in _ORDER:
        roles = [(place, given.role) for place, given in enumerate(positions) if given.stage == stage]
        counts = Counter(role for _, role in roles)
        if stage != Stage.SEDIMENT:
            faults += [
                Fault(f"{pointer}/{place}/role", f"There is more than one '{role}' of {stage}; use lead and lag.")
                for place, role in roles
                if counts[role] > 1
            ]
        if counts[Position.Role.LEAD] != counts[Position.Role.LAG]:
            faults.append(Fault(pointer, f"Lead and lag of {stage} come in pairs; one of them is missing."))
        elif counts[Position.Role.LEAD] and counts[Position.Role.SINGLE] and stage != Stage.SEDIMENT:
            faults.append(
                Fault(pointer, f"{stage.capitalize()} has lead and lag and a single; name them lead and lag.")
            )
        leads = [place for place, role in roles if role == Position.Role.LEAD]
        lags = [place for place, role in roles if role == Position.Role.LAG]
        if leads and lags and min(lags) < max(leads):
            faults.append(Fault(f"{pointer}/{min(lags)}/role", f"The lag of {stage} stands behind its lead."))
    return faults
