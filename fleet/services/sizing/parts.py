"""Which parts of a company's catalogue fit its units in service."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Any, Final

from accounts.models import Company
from fleet.engineering.formats import differences_of_format
from fleet.engineering.formulas.mass_balance import waste_ratio
from fleet.engineering.sizing.carbons import carbons_for_supply
from fleet.engineering.sizing.unit_parts import UnitCondition, fitting_part
from fleet.engineering.sizing.words import unit_parts as words
from fleet.models import CatalogueItem, FeedWaterSample, Placement, Position, Stage, Unit
from fleet.services.formats import format_of, format_or_else
from fleet.services.sizing.gauges import read_in_a_year
from fleet.services.sizing.sizing import item_of, rating_of

NEWEST: Final = 12
"""So many of the newest readings tell its pressure, which a pump or a regulator changes for good (common practice, no
source)."""

_READ: Final = ("inlet_pressure_kpa", "temperature_degc", "feed_tds_mg_per_l")


@dataclass(frozen=True, slots=True)
class FittingPart:
    """What fits a unit: id of the item, None where there is none; then what to look for, empty where it is unknown."""

    item: int | None = None
    missing_part: str = ""


def fitting_parts(
    *, company: Company, wanted: Mapping[int, Collection[str]], now: datetime
) -> dict[int, dict[str, FittingPart]]:
    """Choose the parts that units want, by what is installed in them and what was read of them.

    Parameters
    ----------
    company
        Whose catalogue and units.
    wanted
        Unit id to names of `PURPOSES`.
    now
        Readings of the year before it count.

    Returns
    -------
    dict
        Unit id to purpose to the part.
    """
    wanted = {unit_id: purposes for unit_id, purposes in wanted.items() if purposes}
    if not wanted:
        return {}
    rows = list(CatalogueItem.objects.of_company(company).filter(is_active=True).exclude(purpose="").order_by("code"))
    catalogue, keys = [item_of(row) for row in rows], {row.code: row.pk for row in rows}
    units = Unit.objects.of_company(company).filter(pk__in=list(wanted)).order_by("pk")
    conditions = unit_conditions(company=company, units=list(units), now=now)
    parts: dict[int, dict[str, FittingPart]] = {}
    for unit_id, condition in conditions.items():
        parts[unit_id] = {}
        for purpose in sorted(wanted[unit_id]):
            choice = fitting_part(purpose, condition, catalogue, unit_system=company.unit_system)
            key = keys[choice.item.code] if choice.item is not None else None
            parts[unit_id][purpose] = FittingPart(key, choice.missing_part)
    return parts


def suiting_carbons(
    *, company: Company, installed: Sequence[tuple[Unit, Position, CatalogueItem]]
) -> dict[int, FittingPart]:
    """Choose the carbon for positions whose cartridge does not suit the supply of the site.

    Parameters
    ----------
    company
        Whose catalogue.
    installed
        Units with their site at hand, their positions, and what is or was last installed in each.

    Returns
    -------
    dict
        Position id to the cheapest carbon that suits and fits there; positions whose cartridge suits are left out.
    """
    unsuited = [
        (position, item)
        for unit, position, item in installed
        if position.stage == Stage.CARBON
        and unit.site.chloraminated
        and not carbons_for_supply([item_of(item)], is_chloraminated=True)
    ]
    if not unsuited:
        return {}
    rows = CatalogueItem.objects.of_company(company).filter(kind=Stage.CARBON, is_active=True).order_by("price", "code")
    by_code = {row.code: row for row in rows}
    suiting = [by_code[item.code] for item in carbons_for_supply(list(map(item_of, rows)), is_chloraminated=True)]
    parts = {}
    for position, item in unsuited:
        taken = format_or_else(format_of(position), format_of(item))
        row = next((row for row in suiting if not differences_of_format(taken, format_of(row))), None)
        parts[position.pk] = FittingPart(row.pk) if row is not None else FittingPart(None, words.no_catalytic_carbon())
    return parts


def unit_conditions(*, company: Company, units: Sequence[Unit], now: datetime) -> dict[int, UnitCondition]:
    """What units have and usually work at: the middle of what was read, else what an analysis of the supply says."""
    ids = [unit.pk for unit in units]
    read = _usual(company, ids, now)
    water = _of_supply(units)
    membranes = defaultdict(list)
    installed = Placement.objects.of_company(company).filter(
        position__unit__in=ids, position__stage=Stage.MEMBRANE, removed_at__isnull=True
    )
    for placement in installed.select_related("item", "position").order_by("position__order", "pk"):
        membranes[placement.position.unit_id].append(placement.item)
    conditions = {}
    for unit in units:
        own, items = {**water.get(unit.site_id, {}), **read.get(unit.pk, {})}, membranes.get(unit.pk, [])
        conditions[unit.pk] = UnitCondition(
            waste_ratio=float(waste_ratio(unit.design_recovery_fraction)),
            rating=rating_of(items[0]) if items else None,
            membranes=max(len(items), 1),
            inlet_pressure_kpa=own.get("inlet_pressure_kpa"),
            temperature_degc=own.get("temperature_degc"),
            feed_tds_mg_per_l=own.get("feed_tds_mg_per_l"),
            restrictor_flow_l_per_day=unit.restrictor_flow_l_per_day,
            restrictor_pressure_kpa=unit.restrictor_pressure_kpa,
        )
    return conditions


def _usual(company: Company, units: Sequence[int], now: datetime) -> dict[int, dict[str, float]]:
    values = read_in_a_year(company=company, units=units, names=_READ, now=now)
    return {
        unit: {name: median(read[-NEWEST:] if name == "inlet_pressure_kpa" else read) for name, read in own.items()}
        for unit, own in values.items()
    }


def _of_supply(units: Sequence[Unit]) -> dict[int, dict[str, float]]:
    """Newest temperature and TDS of the supplies of sites."""
    names = {"temperature_degc": "temperature_degc", "tds_mg_per_l": "feed_tds_mg_per_l"}
    water: dict[int, dict[str, Any]] = defaultdict(dict)
    rows = FeedWaterSample.objects.current().filter(site__in={unit.site_id for unit in units})
    for row in rows.order_by("taken_at", "pk").values("site_id", *names):
        water[row["site_id"]].update({names[name]: row[name] for name in names if row[name] is not None})
    return water
