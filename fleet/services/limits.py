"""What counts as exhausted at a unit: the tightest of the house's limits and of all that was stated for it.

This is the one place where the limits of a unit are made; forecasts, findings, status, needs and words read them.
"""

from collections.abc import Collection
from dataclasses import fields
from typing import Any, Final

from accounts.models import Company
from fleet.engineering.limits import Limits, tightest
from fleet.forecasting.policy import Policy
from fleet.models import ExhaustionLimits, Position, Stage, Unit

_COLUMNS: Final = tuple(field.name for field in fields(Limits) if field.name in ExhaustionLimits.RANGES)


def limits_of_units(company: Company, unit_ids: Collection[int]) -> dict[int, Limits[float]]:
    """Unit id -> its limits, for those units of a company; three queries however many they are."""
    stated = {
        use: dict(zip(_COLUMNS, values, strict=True))
        for use, *values in ExhaustionLimits.objects.of_company(company).values_list("use", *_COLUMNS)
    }
    of_company = stated.get("", {})
    resin = Position.objects.of_company(company).filter(stage=Stage.RESIN, unit_id__in=unit_ids)
    with_resin = set(resin.values_list("unit_id", flat=True))
    units = Unit.objects.of_company(company).filter(pk__in=unit_ids)
    return {
        pk: tightest(
            (of_company, stated.get(use, {}), {"product_tds_mg_per_l": target}),
            has_resin=pk in with_resin,
        )
        for pk, use, target in units.values_list("pk", "use", "product_tds_target_mg_per_l")
    }


def limits_of(unit: Unit) -> Limits[float]:
    """The limits of one unit."""
    return limits_of_units(unit.company, [unit.pk])[unit.pk]


_POLICY_FIELDS: Final = {
    "product_tds_mg_per_l": "product_tds_mg_per_l",
    "minimum_rejection_fraction": "minimum_rejection_fraction",
    "prefilter_drop_kpa": "sediment_drop_kpa",
    "chlorine_mg_per_l": "chlorine_mg_per_l",
    "lead_carbon_fraction": "lead_carbon_share",
    "carbon_cap_days": "carbon_cap_days",
    "membrane_flow_fraction": "membrane_flow_share",
    "lead_resin_fraction": "lead_resin_share",
}
_HIGHER_IS_STRICTER: Final = frozenset({"minimum_rejection_fraction", "membrane_flow_fraction"})


def read_limits(company: Company) -> Policy:
    """The limits that hold for every unit of a company."""
    row = ExhaustionLimits.objects.of_company(company).filter(use="").first()
    usual = Policy()
    changes = {}
    for column, name in _POLICY_FIELDS.items():
        value = getattr(row, column) if row is not None else None
        if value is not None:
            changes[name] = _stricter(column, value, getattr(usual, name))
    return Policy(**changes)


def tighten_units(company: Company, columns: dict[str, list[Any]]) -> None:
    """Give units the stricter of their own limits and of the company's for their use.

    Parameters
    ----------
    columns
        Columns of the units with `use` and `product_tds_target_mg_per_l`; `minimum_rejection_fraction` is added.
    """
    rows = {row.use: row for row in ExhaustionLimits.objects.of_company(company)}
    columns.setdefault("minimum_rejection_fraction", [None] * len(columns["use"]))
    for column in ExhaustionLimits.FOR_ANY_USE:
        name = "product_tds_target_mg_per_l" if column == "product_tds_mg_per_l" else column
        values = columns[name]
        for place, use in enumerate(columns["use"]):
            for row in (rows.get(""), rows.get(use)):
                limit = getattr(row, column, None)
                if limit is not None:
                    values[place] = limit if values[place] is None else _stricter(column, limit, values[place])


def _stricter(column: str, one: float, other: float) -> float:
    return max(one, other) if column in _HIGHER_IS_STRICTER else min(one, other)
