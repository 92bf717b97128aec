"""What counts as exhausted at a unit: the tightest of the house's limits and of all that was stated for it.

This is the one place where the limits of a unit are made; forecasts, findings, status, needs and words read them.
"""

from collections.abc import Collection, Mapping
from dataclasses import fields
from functools import cache
from typing import Final

from accounts.models import Company
from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.limits import Limits, tightest
from fleet.models import ExhaustionLimits, Position, Stage, Unit
from fleet.services.many_units import ids_to_name, of_units

_COLUMNS: Final = tuple(field.name for field in fields(Limits) if field.name in ExhaustionLimits.RANGES)

_LEAST_TDS: Final = ExhaustionLimits.RANGES["product_tds_mg_per_l"][0]
"""A use that asks for none at all asks for what a meter can still tell from none."""


def limits_of_units(company: Company, unit_ids: Collection[int]) -> dict[int, Limits[float]]:
    """Unit id -> its limits, for those units of a company; three queries however many they are."""
    stated = _stated(company)
    of_company = stated.get("", {})
    named, asked = ids_to_name(company, unit_ids), set(unit_ids)
    resin = of_units(Position.objects.of_company(company).filter(stage=Stage.RESIN), named, "unit_id")
    with_resin = set(resin.values_list("unit_id", flat=True))
    units = of_units(Unit.objects.of_company(company), named, "pk")

    @cache
    def limits(use: str, target: float, has_resin: bool) -> Limits[float]:
        sources = (of_company, stated.get(use, {}), {"product_tds_mg_per_l": max(target, _LEAST_TDS)})
        return tightest(sources, has_resin=has_resin)

    return {
        pk: limits(use, target, pk in with_resin)
        for pk, use, target in units.values_list("pk", "use", "product_tds_target_mg_per_l")
        if pk in asked
    }


def limits_of_uses(company: Company, uses: Mapping[str, float | None]) -> dict[str, Limits[float]]:
    """Use -> the limits that a unit of it will have before there is one.

    `uses` gives the highest TDS that was asked for, mg/L; None where it is what the use usually asks for.
    """
    stated = _stated(company)
    return {
        use: tightest(
            (
                stated.get("", {}),
                stated.get(use, {}),
                {"product_tds_mg_per_l": TARGETS[use].product_tds_high_mg_per_l if target is None else target},
            )
        )
        for use, target in uses.items()
    }


def limits_of(unit: Unit) -> Limits[float]:
    """The limits of one unit."""
    return limits_of_units(unit.company, [unit.pk])[unit.pk]


def _stated(company: Company) -> dict[str, dict[str, float | None]]:
    """Use, or '' for every use -> what the company states."""
    rows = ExhaustionLimits.objects.of_company(company).values_list("use", *_COLUMNS)
    return {use: dict(zip(_COLUMNS, values, strict=True)) for use, *values in rows}
