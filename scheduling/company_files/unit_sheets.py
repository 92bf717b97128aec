"""Units with their trains, the places in them, and the cartridges that stood there."""

import difflib
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from typing import Any, Final

from django.db import transaction

from accounts.day_alone import local_day, not_after
from accounts.errors import DomainError
from fleet.api.positions import PositionSerializer
from fleet.api.units import NewUnitSerializer, UnitSerializer
from fleet.engineering.formulas.targets import target_for
from fleet.engineering.kinds import FLOW
from fleet.engineering.units import convert_number
from fleet.forecasting.files.headers import tidy
from fleet.forecasting.files.settling import settled_reason
from fleet.forecasting.files.words import CLOGGED, SYNONYMS
from fleet.models import CatalogueItem, Placement, Position, Site, Stage, Unit
from fleet.services.units import units
from fleet.services.units.history import SAME_DAY, enter_placement
from scheduling.company_files.cells import number_of_place, word_of
from scheduling.company_files.columns import Column, columns_of
from scheduling.company_files.outcome import Outcome, RowResult
from scheduling.company_files.record_sheets import is_room, names_of_clients, nearest_client, note_beside
from scheduling.company_files.rows import Bringing, Records, Row, RowRefusedError, find_named, store_record
from scheduling.company_files.sheet import Sheet
from scheduling.company_files.written import number_and_unit

_PAIRED: Final = (Stage.CARBON, Stage.RESIN)
SLOTS: Final = tuple(
    (stage.value, role) for stage in Stage for role in (("single", "lead", "lag") if stage in _PAIRED else ("single",))
)
"""Places of a train that a sheet with one row a unit has columns for, as stage and role."""

_STAGE: Final = Column("stage", "word", words=tuple(Stage.values))
_FORMS_OF_CHANGE: Final = (
    *("{0}", "{0} changed", "{0} changed on", "last {0}", "last {0} change", "{0} replaced", "{0} last changed"),
    "{0} date",
)
"""Headers of the day of a change in a sheet with one row a unit, by what was changed."""
_WHY_BEFORE: Final = "why_before"
"""Beside the values of a change: why what was changed left."""
_ROLE: Final = Column("role", "word", words=tuple(Position.Role.values))


def slot_name(stage: str, role: str) -> str:
    """How columns call a place: 'carbon_lead', 'membrane'."""
    return stage if role == "single" else f"{stage}_{role}"


_SPOKEN: Final[Mapping[str, tuple[str, ...]]] = {
    "resin": ("di", "di resin"),
    "post_carbon": ("post filter", "taste filter"),
    "remineralisation": ("remineralization", "mineral", "calcite"),
    "uv": ("uv lamp",),
}
"""Stage to what else people head its columns."""


_NUMBERS: Final = {"lead": "1", "lag": "2"}
"""How people call the places of a pair who do not say lead and lag; one whose second is empty is no pair."""


def _spoken_places(stage: str, role: str) -> list[str]:
    """How people head a place."""
    place, written = slot_name(stage, role).replace("_", " "), stage.replace("_", " ")
    spoken = [place, *(place.replace(written, other) for other in _SPOKEN.get(stage, ()))]
    return spoken + [name.replace(role, _NUMBERS[role]) for name in spoken if role in _NUMBERS]


def train_of(cell: str) -> list[dict[str, str]]:
    """Positions of a cell such as 'sediment, carbon, membrane, resin lead, resin lag'.

    Raises
    ------
    ValueError
        Naming the part that is no place.
    """
    positions = []
    whole = tidy(cell)
    whole = SYNONYMS["kind"].get(whole, whole)
    for part in [whole] if whole in units.TEMPLATES else re.split(r"[,;>|+/]|->", cell):
        place = " ".join(part.split())
        if not place:
            continue
        if place.lower() in units.TEMPLATES:
            positions += [{"stage": stage, "role": role} for stage, role in units.TEMPLATES[place.lower()]]
            continue
        stage, _, role = place.rpartition(" ")
        try:
            positions.append({"stage": word_of(_STAGE, stage), "role": word_of(_ROLE, role)})
        except ValueError:
            positions.append({"stage": word_of(_STAGE, place), "role": "single"})
    return positions


def _update_unit(bringing: Bringing, unit: Unit, facts: Mapping[str, Any]) -> Unit:
    return units.update_unit(unit=unit, by=bringing.by, now=bringing.now, **facts)


def _create_unit(bringing: Bringing, facts: Mapping[str, Any]) -> Unit:
    own = {name: value for name, value in facts.items() if name not in ("positions", "template")}
    train = [units.NewPosition(**position) for position in facts.get("positions", ())]
    return units.create_unit(positions=train, by=bringing.by, now=bringing.now, **own)


UNIT_RECORDS: Final = Records(
    NewUnitSerializer,
    UnitSerializer,
    lambda bringing, values: find_named(Unit.objects.of_company(bringing.company), str(values.get("code", ""))),
    _create_unit,
    _update_unit,
    kept=frozenset(("positions",)),
)


def _store_unit(row: Row, bringing: Bringing) -> Outcome:
    stages = {slot_name(*slot): row.values.pop(f"{slot_name(*slot)}_changed", None) for slot in SLOTS}
    items = {slot_name(*slot): row.values.pop(f"{slot_name(*slot)}_item", None) for slot in SLOTS}
    _settle_numbers(row, stages, items, bringing)
    cell = row.values.pop("train", None)
    rated_flow = row.values.pop("rated_flow", None)
    if isinstance(rated_flow, str):
        row.say(
            "rated_flow", f"'{rated_flow[:40]}' has no unit: head the column [gpd] or [L/day]; this value is not used"
        )
        rated_flow = None
    note_beside(row, "serial_number", "serial number")
    client, address = row.values.pop("client", None), row.values.pop("address", None)
    if row.values.get("site") and client:
        site = find_named(Site.objects.of_company(bringing.company), str(row.values["site"]))
        if site is not None and site.client.name.casefold() != str(client).casefold():
            sentence = (
                f"'{row.values['site']}' is a site of {site.client.name}, not of {str(client)[:60]}; correct one."
            )
            raise RowRefusedError([("site", sentence)])
    if client:
        client = _as_known(str(client), row, bringing)
    why_not_known = ""
    if not row.values.get("site") and client:
        code, why_not_known = _site_of(str(client), str(address or ""), bringing)
        row.values |= {"site": code} if code else {}
    if not row.values.get("code") and row.values.get("site"):
        row.values["code"] = f"{row.values['site']}-1"
    present = UNIT_RECORDS.find(bringing, row.values)
    if not row.values.get("site") and present is None:
        if not row.values.get("code"):
            raise RowRefusedError([("code", "Name the unit by a code, or its site")])
        if why_not_known:
            row.values["client"] = client
        row.say("site", f"{why_not_known or 'not known'}; no visit is proposed to it until its site is completed")
    if present is None and "use" not in row.values:
        row.values["use"] = Unit.Use.OTHER.value
        row.say("use", "not known, taken as 'other'; limits and targets follow from it, so put it right")
    if present is None:
        _assume_kind(row, stages, items, cell)
        try:
            row.values["positions"] = train_of(cell) if cell else _train_by_columns(row, stages, items)
        except ValueError as error:
            raise RowRefusedError([("train", str(error))]) from None
        if "commissioned_on" not in row.values:
            row.values["commissioned_on"] = _first_day(row, stages, bringing)
            row.say("commissioned_on", f"not known, taken as {row.values['commissioned_on']}")
    elif cell and not _has_train(present, cell):
        row.say("train", "another train than the unit has; places are added and changed on the page 'positions'")
    with transaction.atomic():
        outcome = store_record(UNIT_RECORDS, row, bringing)
        unit = UNIT_RECORDS.find(bringing, row.values)
        if present is None and "product_tds_target" not in row.values:
            row.say(
                "product_tds_target",
                f"not given, taken as {unit.product_tds_target_mg_per_l:.3g} mg/L, usual for its use",
            )
        if present is None and "weekly_demand" not in row.values:
            row.say(
                "weekly_demand",
                f"not known, taken as {unit.weekly_demand_l:g} L, usual of its use; put it right where you know it",
            )
        rated_flow = rated_flow or _flow_named(items["membrane"], bringing)
        if rated_flow is not None and (not items["membrane"] or item_called(str(items["membrane"]), bringing) is None):
            items["membrane"] = _membrane_of(rated_flow, bringing)
        changes = [_enter_change(row, unit, slot, stages, items, bringing) for slot in SLOTS]
    return Outcome.CHANGED if outcome == Outcome.LEFT and any(changes) else outcome


def _settle_numbers(row: Row, stages: dict[str, Any], items: dict[str, Any], bringing: Bringing) -> None:
    """Of 'DI 1' and 'DI 2' the first is the only one where nothing is said of the second, and the unit has no pair."""
    for stage in _PAIRED:
        lead, lag, single = (slot_name(stage, role) for role in ("lead", "lag", "single"))
        header = row.headers.get(f"{lead}_changed") or row.headers.get(f"{lead}_item") or ""
        if number_of_place(header) is None or stages[lag] or items[lag] or stages[single] or items[single]:
            continue
        unit = find_named(Unit.objects.of_company(bringing.company), str(row.values.get("code", "")))
        if unit is None or not unit.positions.filter(stage=stage, role="lead").exists():
            stages[single], stages[lead] = stages[lead], None
            items[single], items[lead] = items[lead], None
            row.headers.setdefault(f"{single}_changed", header)


def _as_known(client: str, row: Row, bringing: Bringing) -> str:
    """A client's name as it is kept, where it differs by no more than signs and blanks."""
    names = names_of_clients(bringing)
    kept = [name for name in names if tidy(name) == tidy(client)]
    if len(kept) != 1 or kept[0].casefold() == client.casefold():
        return client
    row.say("client", f"'{client[:60]}' is taken as '{kept[0]}'")
    return kept[0]


def _site_of(client: str, address: str, bringing: Bringing) -> tuple[str, str]:
    """Code of the client's only site, or of the one at the address; else why that is not known."""
    own = Site.objects.of_company(bringing.company).filter(client__name__iexact=client, is_known=True)
    there = own.filter(address__iexact=address[:250])
    if address and (there.exists() or not is_room(address)):
        own = there
    codes = list(own.order_by("code").values_list("code", flat=True)[:2])
    if len(codes) == 1:
        return str(codes[0]), ""
    near = nearest_client(client, names_of_clients(bringing))
    if near is not None:
        sentence = (
            f"There is no client '{client[:60]}'; did you mean '{near}'? If it is another one, add it to 'clients'."
        )
        raise RowRefusedError([("client", sentence)])
    at = f" at '{address[:60]}'" if address else ""
    return "", f"'{client[:60]}' has {'no site' + at if not codes else 'several sites; name the one by its code'}"


def _train_by_columns(row: Row, stages: Mapping[str, Any], items: Mapping[str, Any]) -> list[dict[str, str]]:
    """The usual train of the kind, with the places that columns say something of: a lead or a lag makes a pair."""
    named = {slot for slot in SLOTS if stages[slot_name(*slot)] or items[slot_name(*slot)]}
    usual = {place["stage"] for place in train_of(str(row.values.get("kind") or "ro"))}
    train = []
    for stage in dict.fromkeys(stage for stage, _ in SLOTS):
        if {(stage, "lead"), (stage, "lag")} & named:
            train += [{"stage": stage, "role": "lead"}, {"stage": stage, "role": "lag"}]
        elif (stage, "single") in named or stage in usual:
            train.append({"stage": stage, "role": "single"})
    if not named:
        row.say("train", "not known, taken as the usual one of its kind")
    return train


def _assume_kind(row: Row, stages: Mapping[str, Any], items: Mapping[str, Any], train: str | None) -> None:
    """Whether a new unit has resin, where no sheet tells, as it follows from the rest; and that it is assumed."""
    if "kind" not in row.values and not train:
        of_resin = [name for name in stages if name.startswith(Stage.RESIN)]
        has_column = any(f"{name}_changed" in row.headers or f"{name}_item" in row.headers for name in of_resin)
        has_resin = any(stages[name] or items[name] for name in of_resin)
        has_resin |= not has_column and target_for(str(row.values["use"])).needs_resin
        row.values["kind"] = (Unit.Kind.RO_DI if has_resin else Unit.Kind.RO).value
        row.say("kind", f"not known, taken as {'RO with resin' if has_resin else 'RO without resin'}")
    elif "kind" not in row.values:
        with suppress(ValueError):
            has_resin = any(place["stage"] == Stage.RESIN for place in train_of(str(train)))
            row.values["kind"] = (Unit.Kind.RO_DI if has_resin else Unit.Kind.RO).value


_SAME_FLOW: Final = 0.05
"""Labels round gallons to litres; common practice, no source."""


def _flow_named(cell: Any, bringing: Bringing) -> dict[str, Any] | None:
    """A rated flow that stands where a membrane is named: '75 GPD'; None for anything else."""
    number, unit = number_and_unit(str(cell or ""))
    if unit.lower() not in ("gpd", "us gpd", "l/day", "l/d", "l/tag"):
        return None
    return {"value": number, "unit": "US gpd" if unit.lower().endswith("gpd") else "L/day"}


def _membrane_of(rated_flow: Any, bringing: Bringing) -> str | None:
    """Code of the only membrane of the catalogue that makes as much as the unit does by its label."""
    wanted = convert_number(str(rated_flow["value"]), rated_flow["unit"], "flow", field="rated flow")
    membranes = CatalogueItem.objects.of_company(bringing.company).filter(kind=Stage.MEMBRANE, is_active=True)
    codes = [
        item.code
        for item in membranes
        if item.rated_flow_l_per_day and abs(item.rated_flow_l_per_day / wanted - 1.0) < _SAME_FLOW
    ]
    return codes[0] if len(codes) == 1 else None


def _first_day(row: Row, stages: Mapping[str, Any], bringing: Bringing) -> str:
    """The first day on which anything is said of a unit, else today."""
    days = [local_day(at, bringing.zone) for at in stages.values() if at]
    listed = bringing.first_days.get(str(row.values.get("code", "")).casefold())
    days += [listed] if listed is not None else []
    return min(days, default=bringing.now.astimezone(bringing.zone).date()).isoformat()


def _has_train(unit: Unit, cell: str) -> bool:
    try:
        written = [(place["stage"], place["role"]) for place in train_of(cell)]
    except ValueError:
        return False
    return written == list(unit.positions.order_by("order").values_list("stage", "role"))


def _enter_change(
    row: Row,
    unit: Unit,
    slot: tuple[str, str],
    stages: Mapping[str, Any],
    items: Mapping[str, Any],
    bringing: Bringing,
) -> bool:
    """Enter the last change of one place, where the sheet tells it; whether something came of it."""
    name = slot_name(*slot)
    if not stages[name]:
        return False
    column = f"{name}_changed"
    position = unit.positions.filter(stage=slot[0], role=slot[1]).order_by("order").first()
    if position is None:
        row.say(column, f"{unit.code} has no {name.replace('_', ' ')}; this value is not stored")
        return False
    item = _item_of(items[name], position, bringing)
    if item is None:
        row.say(
            column,
            f"which cartridge was fitted is not known: name it in '{name.replace('_', ' ')} item', or have one item of "
            "this stage in the catalogue; this value is not stored",
        )
        return False
    try:
        _, outcome = enter_placement(
            position=position,
            item=item,
            placed_at=not_after(stages[name], bringing.now, bringing.zone),
            by=bringing.by,
            now=bringing.now,
        )
    except DomainError as error:
        row.say(column, f"{(error.faults[0].sentence if error.faults else error.sentence).rstrip('.')}; not stored")
        return False
    return outcome != "left"


def _item_of(code: Any, position: Position, bringing: Bringing) -> CatalogueItem | None:
    """The item that is named, else what stands there, else the only one of the stage in use."""
    rows = CatalogueItem.objects.of_company(bringing.company)
    if code:
        named: CatalogueItem | None = find_named(rows, str(code))
        return named
    installed = Placement.objects.filter(position=position, removed_at__isnull=True).select_related("item").first()
    if installed is not None:
        return installed.item
    of_stage = list(rows.filter(kind=position.stage, is_active=True)[:2])
    if len(of_stage) == 1:
        return of_stage[0]
    listed = bringing.last_items.get((position.unit.code.casefold(), position.stage))
    return item_called(listed[1], bringing) if listed is not None else None


def item_called(code: str, bringing: Bringing) -> CatalogueItem | None:
    """The item of a code, be it written with other signs or none between its parts; None for none or several."""
    rows = CatalogueItem.objects.of_company(bringing.company)
    named: CatalogueItem | None = find_named(rows, code)
    if named is not None:
        return named
    letters = tidy(code).replace("_", "")
    alike = [item for item in rows if letters and tidy(item.code).replace("_", "") == letters]
    return alike[0] if len(alike) == 1 else None


UNITS: Final = Sheet(
    "units",
    "the units; a sheet with one column a stage and the day of its last change is understood as well",
    (
        *columns_of(
            UnitSerializer,
            also={
                "site": "site code, site no, where",
                "code": "unit, unit code, unit no, unit id",
                "name": "unit name, room",
                "use": "used for, purpose",
                "kind": "type, unit type",
                "commissioned_on": "commissioned, since, fitted on, start, date installed, installed, installed on, "
                "in service since",
                "retired_on": "retired",
                "tank": "storage, storage tank",
                "weekly_demand": "weekly use, water use, litres a week",
                "product_tds_target": "tds target, tds limit, target tds, product tds, product tds max, "
                "max product tds",
                "has_booster_pump": "booster pump, pump, booster",
                "has_float_valve": "float valve",
                "has_automatic_shutoff_valve": "automatic shut-off, shut-off valve, aso",
                "has_check_valve": "check valve",
                "has_pressure_gauge": "pressure gauge, gauge",
                "restrictor_flow": "flow restrictor",
                "design_recovery_fraction": "recovery, design recovery",
                "has_drinking_outlet": "drinking tap, drinking outlet",
                "notes": "note, remarks, comment",
            },
            examples={
                "site": "S01",
                "code": "S01-1",
                "use": "coffee",
                "kind": "ro",
                "commissioned_on": "2024-05-17",
                "weekly_demand": "300",
            },
        ),
        Column("client", "text", "whose it is, where no site is named", also="customer, client name, customer name"),
        Column("serial_number", "text", "of the unit; kept in the notes", also="serial, serial no, s n"),
        Column(
            "rated_flow",
            "quantity",
            "what its membrane makes by the label: which of the catalogue it has, where no item is named",
            also="gpd, capacity, rated capacity, membrane gpd",
            quantity=FLOW,
        ),
        Column("address", "text", "of its site, where no site is named", also="street, location"),
        Column(
            "train",
            "text",
            "its places from the feed on",
            also="stages, positions, cartridges",
            example="sediment, carbon, membrane",
        ),
        *(
            Column(
                f"{slot_name(*slot)}_changed",
                "day_or_moment",
                "when it was changed last",
                also=", ".join(form.format(place) for place in _spoken_places(*slot) for form in _FORMS_OF_CHANGE),
                bare=slot_name(*slot).replace("_", " "),
                otherwise=f"{slot_name(*slot)}_item",
            )
            for slot in SLOTS
        ),
        *(
            Column(
                f"{slot_name(*slot)}_item",
                "text",
                "code of the cartridge that was fitted; of a membrane, what it makes by its label does",
                also=", ".join(
                    f"{place} {what}" for place in _spoken_places(*slot) for what in ("type", "size", "model")
                ),
            )
            for slot in SLOTS
        ),
    ),
    _store_unit,
    named_by=("code", "site"),
    is_named=True,
    also=("unit", "systems", "machines"),
    needs=(("code", "site", "client"),),
)


def _find_position(bringing: Bringing, values: Mapping[str, Any]) -> Any:
    rows = Position.objects.of_company(bringing.company)
    return rows.filter(unit__code__iexact=str(values.get("unit", "")), order=values.get("order") or 0).first()


POSITION_RECORDS: Final = Records(
    PositionSerializer,
    PositionSerializer,
    _find_position,
    lambda bringing, facts: units.add_position(by=bringing.by, now=bringing.now, **{"role": "single", **facts}),
    lambda bringing, row, facts: units.change_position(
        position=row, by=bringing.by, now=bringing.now, **{k: v for k, v in facts.items() if k != "unit"}
    ),
)

POSITIONS: Final = Sheet(
    "positions",
    "the places in the trains, where a format is to be stated or a place added",
    columns_of(
        PositionSerializer,
        also={"unit": "unit code, unit no", "order": "place, place in train, no", "stage": "cartridge, filter"},
        examples={"unit": "S01-1", "order": "1", "stage": "sediment", "role": "single"},
    ),
    lambda row, bringing: store_record(POSITION_RECORDS, row, bringing),
    named_by=("unit",),
    needs=(("unit",), ("order",), ("stage",)),
)


def _store_placement(row: Row, bringing: Bringing) -> Outcome:
    values = row.values
    _settle_role(row, bringing)
    position = _place_of(values, bringing)
    code = str(values.get("item") or "")
    item = item_called(code, bringing) if code else _item_of(None, position, bringing)
    if item is None:
        codes = CatalogueItem.objects.of_company(bringing.company).values_list("code", flat=True)
        close = difflib.get_close_matches(code, list(codes), n=1)
        advice = f"; did you mean '{close[0]}'?" if close else "; bring it in first"
        raise RowRefusedError([("item", f"There is no item '{code[:60]}' in the catalogue{advice}")])
    if code and item.code.casefold() != code.casefold():
        row.say("item", f"'{code[:60]}' is taken as '{item.code}'")
    if values.get("removal"):
        values["removal"] = settled_reason(values["removal"], position.stage)
    if values.get("removal") and not values.get("removed_at"):
        reason = values.pop("removal")
        if "removed_at" in row.headers:
            row.say("removal", "without the day it left nobody can tell which cartridge this is said of; not stored")
        else:
            # A list with one day a row is one of changes: what was changed that day left for this reason.
            values[_WHY_BEFORE] = reason
    if not values.get("placed_at"):
        raise RowRefusedError([("placed_at", "Say when it was placed")])
    removed_at = values.get("removed_at")
    try:
        _, outcome = enter_placement(
            position=position,
            item=item,
            placed_at=not_after(values["placed_at"], bringing.now, bringing.zone),
            removed_at=not_after(removed_at, bringing.now, bringing.zone) if removed_at is not None else None,
            removal=values.get("removal") or "",
            serial_or_lot=str(values.get("serial_or_lot") or "")[:60],
            by=bringing.by,
            now=bringing.now,
        )
    except DomainError as error:
        faults = [(fault.pointer.strip("/"), fault.sentence) for fault in error.faults]
        raise RowRefusedError(faults or [("", error.sentence)]) from None
    return Outcome(outcome)


def enter_reasons(rows: Iterable[tuple[Row, RowResult]], bringing: Bringing) -> None:
    """Why the cartridges left that a list of changes says were changed; known once all rows are, in any order."""
    for row, result in rows:
        reason = row.values.get(_WHY_BEFORE)
        if not reason or result.outcome == Outcome.REFUSED:
            continue
        position, changed_at = _place_of(row.values, bringing), row.values["placed_at"]
        before = (
            Placement.objects.filter(
                position=position,
                placed_at__lt=changed_at,
                removed_at__gte=changed_at - SAME_DAY,
                removed_at__lte=changed_at + SAME_DAY,
            )
            .select_related("item")
            .order_by("-placed_at")
            .first()
        )
        if before is None or before.removed_at is None:
            row.say("removal", "no earlier cartridge is known there of which it could be said; not stored")
        elif before.removal in (Placement.Removal.UNKNOWN, reason):
            _, outcome = enter_placement(
                position=position,
                item=before.item,
                placed_at=before.placed_at,
                removed_at=before.removed_at,
                removal=reason,
                by=bringing.by,
                now=bringing.now,
            )
            if outcome == "changed" and result.outcome == Outcome.LEFT:
                result.outcome = Outcome.CHANGED
        else:
            row.say("removal", f"the cartridge before is known to have left as '{before.removal}'; not changed")


def _settle_role(row: Row, bringing: Bringing) -> None:
    """The role that a number behind the stage tells, 'DI 2', where the unit has two of it."""
    number = number_of_place(row.as_written.get("stage", ""))
    if number is None or row.values.get("role") or row.values.get("order"):
        return
    role = next(role for role, written in _NUMBERS.items() if written == str(number))
    unit = find_named(Unit.objects.of_company(bringing.company), str(row.values.get("unit", "")))
    if unit is not None and unit.positions.filter(stage=row.values.get("stage"), role=role).exists():
        row.values["role"] = role
    elif number == 2 and unit is not None:
        stage = str(row.values.get("stage", "")).replace("_", " ")
        raise RowRefusedError([("stage", f"{unit.code} has no second {stage}; add the place on the page 'positions'")])


def _place_of(values: Mapping[str, Any], bringing: Bringing) -> Position:
    unit = find_named(Unit.objects.of_company(bringing.company), str(values.get("unit", "")))
    if unit is None:
        raise RowRefusedError([("unit", f"There is no unit '{str(values.get('unit', ''))[:60]}'")])
    places = Position.objects.filter(unit=unit).order_by("order")
    if values.get("order"):
        places = places.filter(order=values["order"])
    elif values.get("stage"):
        places = places.filter(stage=values["stage"])
        if values.get("role"):
            places = places.filter(role=values["role"])
    found_places = list(places)
    if len(found_places) != 1:
        shown = ", ".join(place.spoken_name for place in (found_places or Position.objects.filter(unit=unit)))
        raise RowRefusedError([("stage", f"Say which place of {unit.code} is meant: {shown}")])
    return found_places[0]


PLACEMENTS: Final = Sheet(
    "placements",
    "which cartridge stood where, from when until when; one row a change is enough",
    (
        Column("unit", "text", "the unit's code", also="unit code, unit no, unit id", example="S01-1"),
        Column(
            "stage",
            "word",
            "which stage",
            also="cartridge, filter, type, what, position",
            words=_STAGE.words,
            example="sediment",
        ),
        Column("role", "word", "where there are two", also="lead or lag", words=_ROLE.words),
        Column("order", "whole", "place in the train, where a stage stands there twice", also="place in train, no"),
        Column("item", "text", "the item's code", also="item code, item no, part, part no, model", example="SED-5"),
        Column(
            "placed_at",
            "day_or_moment",
            "when it was fitted",
            also="placed, in, put in, fitted, installed, placed on, fitted on, installed on, date in, changed, "
            "changed on, replaced, replaced on, date, day, date changed, date replaced",
            example="2026-03-02",
        ),
        Column(
            "removed_at",
            "day_or_moment",
            "when it left; empty: at the next change, or it still stands there",
            also="removed, out, taken out, removed on, date out",
        ),
        Column(
            "removal",
            "word",
            "why it left, where that is known; in a list with the day of each change alone, why the one before did",
            also="reason, removal reason, why",
            words=(*Placement.Removal.values, CLOGGED),
        ),
        Column("serial_or_lot", "text", "its serial or lot number", also="serial, lot, serial number"),
    ),
    _store_placement,
    named_by=("unit",),
    also=("changes", "cartridge changes", "history", "replacements"),
    needs=(("unit",), ("placed_at",)),
)
