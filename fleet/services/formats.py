"""Whether a cartridge fits its place: a wrong format is refused, with the items that fit."""

from collections.abc import Iterable
from dataclasses import fields
from typing import Any

from accounts.errors import Fault, InvalidInput
from fleet.engineering.formats import WORDS, CartridgeFormat, differences_of_format
from fleet.engineering.positions import position_name
from fleet.models import CatalogueItem, Placement, Position

ATTRIBUTES = tuple(attribute.name for attribute in fields(CartridgeFormat))
_NAMED = 8
"""So many fitting items are named in a refusal."""


def format_of(row: CatalogueItem | Position) -> CartridgeFormat:
    """The format that an item has, or that is stated of a position."""
    return CartridgeFormat(row.cartridge_size, row.connection, row.flow_direction)


def format_taken(position: Position) -> CartridgeFormat:
    """The format that a position takes: as stated, else that of the cartridge that is or was last installed there."""
    stated = format_of(position)
    if all(getattr(stated, name) for name in ATTRIBUTES) or position.pk is None:
        return stated
    newest = Placement.objects.filter(position=position).select_related("item").order_by("-placed_at", "-pk").first()
    return stated if newest is None else format_or_else(stated, format_of(newest.item))


def fitting_items(position: Position) -> list[CatalogueItem]:
    """The items in use that can be installed in a position, cheapest first."""
    rows = CatalogueItem.objects.filter(company_id=position.unit.company_id, kind=position.stage, is_active=True)
    taken = format_taken(position)
    return [row for row in rows.order_by("price", "code") if not differences_of_format(taken, format_of(row))]


def format_fault(position: Position, item: CatalogueItem, pointer: str = "/item") -> Fault | None:
    """What is wrong about putting an item into a position, and what would fit; None where it fits."""
    taken, own = format_taken(position), format_of(item)
    differences = differences_of_format(taken, own)
    if not differences:
        return None
    wrong = "; ".join(f"{_name(name)} {_value_of(own, name)}, not {_value_of(taken, name)}" for name in differences)
    place = position_name(position.stage, position.role)
    items = fitting_items(position)
    codes = ", ".join(row.code for row in items[:_NAMED])
    is_stated = all(getattr(position, name) for name in differences)
    return Fault(
        pointer,
        f"{item.code} is of another format than the {place} takes: {wrong}. "
        + (f"What fits: {codes}{' and others' if len(items) > _NAMED else ''}." if items else "")
        + ("" if items else "Nothing in the catalogue fits; add an item of the format that is taken there.")
        + ("" if is_stated else " Where the housing was changed, state the format of the position first."),
    )


def refuse_wrong_format(position: Position, item: CatalogueItem) -> None:
    """Refuse an item of another format than a position takes.

    Raises
    ------
    InvalidInput
        Naming the attributes that differ and the items that fit.
    """
    fault = format_fault(position, item)
    if fault is not None:
        raise InvalidInput("wrong_format", fault.sentence, faults=[fault])


def refuse_format_of_installed(position: Position) -> None:
    """Refuse to state a format of a position that the cartridge installed there has not.

    Raises
    ------
    InvalidInput
        Pointing at each attribute.
    """
    present = Placement.objects.filter(position=position, removed_at__isnull=True).select_related("item").first()
    if present is None:
        return
    stated, own = format_of(position), format_of(present.item)
    faults = [
        Fault(
            f"/{name}",
            f"{present.item.code} is installed there, with {_name(name)} {_value_of(own, name)}, not "
            f"{_value_of(stated, name)}; remove it first, or put its label right.",
        )
        for name in differences_of_format(stated, own)
    ]
    if faults:
        raise InvalidInput("wrong_format", "Another format is installed there.", faults=faults)


def refuse_format_of_positions(item: CatalogueItem, changed: Iterable[str]) -> None:
    """Refuse a format of an item that is installed in positions which state another.

    Raises
    ------
    InvalidInput
        Pointing at each attribute, with the units.
    """
    names = set(changed) & set(ATTRIBUTES)
    if not names:
        return
    own = format_of(item)
    units: dict[str, set[str]] = {}
    rows = Placement.objects.filter(item=item, removed_at__isnull=True).select_related("position__unit")
    for placement in rows.order_by("pk"):
        for name in names.intersection(differences_of_format(format_of(placement.position), own)):
            units.setdefault(name, set()).add(placement.position.unit.code)
    faults = [
        Fault(
            f"/{name}",
            f"It is installed in {', '.join(sorted(codes)[:_NAMED])}, whose position states another {_name(name)}; put "
            "that right first.",
        )
        for name, codes in sorted(units.items())
    ]
    if faults:
        raise InvalidInput("wrong_format", "The item is installed where another format is stated.", faults=faults)


def format_or_else(stated: CartridgeFormat, other: CartridgeFormat) -> CartridgeFormat:
    """The format that is stated, and the other where it is not."""
    return CartridgeFormat(**{name: getattr(stated, name) or getattr(other, name) for name in ATTRIBUTES})


def _name(attribute: str) -> str:
    return attribute.replace("_", " ")


def _value_of(format_: CartridgeFormat, attribute: str) -> str:
    value: Any = getattr(format_, attribute)
    return f"'{value}' ({WORDS[attribute][value]})"
