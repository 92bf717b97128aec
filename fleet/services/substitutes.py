"""Whether one cartridge of the catalogue can do the work of another in its place."""

from dataclasses import fields

from fleet.engineering.formats import CartridgeFormat
from fleet.engineering.usual import LABEL_FLOW_TOLERANCE
from fleet.models import CatalogueItem

Kind = CatalogueItem.Kind
CARTRIDGES = frozenset({Kind.SEDIMENT, Kind.CARBON, Kind.MEMBRANE, Kind.RESIN, Kind.POST_CARBON, Kind.REMINERALISATION})
"""Kinds of items that one can stand in for another of. A lamp fits the unit it was made for; no label says which."""


def can_replace(wanted: CatalogueItem, other: CatalogueItem, place: CartridgeFormat) -> bool:
    """Return whether another cartridge does in a place what the wanted one does there.

    It must state every attribute of the format that the place asks for: what is not stated is no promise. A filter is
    as fine, a carbon catalytic where that is wanted; a membrane is of the same material, holds back as much and gives
    as much water at its label as labels are true, so that restrictor and waste ratio stay right.

    Parameters
    ----------
    wanted, other
        Items of the catalogue.
    place
        The format taken there; of an item alone its own.
    """
    if other.pk == wanted.pk or other.kind != wanted.kind or wanted.kind not in CARTRIDGES:
        return False
    if any(
        (asked := getattr(place, each.name)) and getattr(other, each.name) != asked for each in fields(CartridgeFormat)
    ):
        return False
    if wanted.kind == Kind.SEDIMENT:
        return _as_fine(wanted.micron_rating_um, other.micron_rating_um)
    if wanted.kind == Kind.CARBON:
        catalytic = CatalogueItem.Carbon.CATALYTIC
        return wanted.carbon_kind != catalytic or other.carbon_kind == catalytic
    return wanted.kind != Kind.MEMBRANE or _same_membrane(wanted, other)


def _as_fine(wanted: float | None, other: float | None) -> bool:
    return wanted is None or (other is not None and other <= wanted)


def _same_membrane(wanted: CatalogueItem, other: CatalogueItem) -> bool:
    if other.membrane_material != wanted.membrane_material:
        return False
    if (other.rejection_fraction or 0.0) < (wanted.rejection_fraction or 0.0):
        return False
    flows = [
        row.rated_flow_l_per_day / row.rated_pressure_kpa
        for row in (wanted, other)
        if row.rated_flow_l_per_day and row.rated_pressure_kpa
    ]
    return len(flows) == 2 and abs(flows[1] / flows[0] - 1.0) <= LABEL_FLOW_TOLERANCE
