"""Columns of quantities: which units they take, and their values in the stored unit."""

import re
from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray
from fleet.engineering.errors import EngineeringError
from fleet.engineering.quantities import READING_QUANTITIES, RUNNING_TIME, names_of
from fleet.engineering.units import QUANTITY_KINDS, convert_column
from fleet.forecasting.files.guide import FileColumn
from fleet.forecasting.inputs.tables import Floats

_PER_WEEK: Final = re.compile(r"\s*(/|per)\s*(week|wk|w)$", re.IGNORECASE)
_DAYS_PER_WEEK: Final = 7.0
NO_QUANTITY: Final = frozenset(("text", "time", "word", "flag", "number"))
"""Kinds of columns that have no unit."""

_WITHOUT_UNIT: Final = (
    "maximum_service_time_days",
    "rated_burning_hours",
    "rated_recovery_fraction",
    *names_of(quantity for quantity in (*READING_QUANTITIES, RUNNING_TIME) if quantity.kind.bare_number_ok),
)


def stored(values: Floats, column: FileColumn, name: str, unit: str) -> Floats:
    """Values of a column in the stored unit.

    Parameters
    ----------
    values
        As written, NaN where nothing is known.
    column, name, unit
        The column, and what its header said.

    Raises
    ------
    EngineeringError
        When the unit is missing, unknown or of another dimension.
    """
    kind = column.field if column.field in QUANTITY_KINDS else column.kind
    if column.kind == "quantity" and column.field not in QUANTITY_KINDS:
        kind = "fraction"
    if not unit:
        is_stored_name = name == column.field and name != column.header.replace(" ", "_")
        if is_stored_name or kind in ("ph", "fraction") or column.field in _WITHOUT_UNIT:
            return values
        raise EngineeringError(column.header, f"the header must say the unit in brackets, or be {column.field!r}")
    numbers: FloatArray = np.asarray(values, dtype=np.float64)
    if column.field != "weekly_demand_l":
        return convert_column(numbers, unit, kind, field=column.header)
    return _weekly_demand(numbers, column, name, unit)


def _weekly_demand(values: FloatArray, column: FileColumn, name: str, unit: str) -> Floats:
    """A demand a week, or a flow: 'L/day' as well as 'L/week'."""
    volume = _PER_WEEK.sub("", unit)
    if volume != unit or "week" in name:
        try:
            return convert_column(values, volume, "volume", field=column.header)
        except EngineeringError:
            if volume != unit:
                raise
    if name.startswith("daily"):
        unit = unit if "/" in unit else f"{unit}/day"
    if "/" not in unit and unit.lower() not in ("gpd", "us gpd", "lpm"):
        raise EngineeringError(column.header, f"the header must say in which time: '{column.header} [{unit}/week]'")
    return convert_column(values, unit, "flow", field=column.header) * _DAYS_PER_WEEK


def fits_unit(column: FileColumn, unit: str) -> bool:
    """Whether a column is one of quantities that can be in the unit."""
    if column.kind in NO_QUANTITY or not unit:
        return False
    try:
        stored(np.zeros(1), column, column.header, unit)
    except EngineeringError:
        return False
    return True
