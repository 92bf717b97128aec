"""Digits in somebody's unit become numbers in the stored unit: column by column, with the meter's own habits undone."""

from collections.abc import Callable, Iterable, Sequence
from typing import Final

import numpy as np

from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.conductivity import iso7888_f25
from fleet.engineering.units import (
    QUANTITY_KINDS,
    STORED_TDS_FACTOR,
    Kind,
    convert_column,
    convert_number,
    outside_limits,
)
from fleet.intake import words
from fleet.intake.directory import Meter, Place
from fleet.intake.names import spoken
from fleet.intake.rows import Row

MeterOf = Callable[[Row, str], Meter | None]

# Below 5 uS/cm neither the natural-water table nor the linear rule holds (engineering reference, section 2.2).
_PURE_WATER_MG_PER_L: Final = 5.0 * STORED_TDS_FACTOR
# A display of 0 means below half a digit (section 2.5), whatever the temperature.
_SHOWN_AS_ZERO_MG_PER_L: Final = 0.5


def no_meter(row: Row, column: str) -> Meter | None:
    """For logs that name no instrument."""
    return None


def meter_for(place: Place, named_meter: Meter | None, column: str) -> Meter | None:
    """The instrument that showed a value: the one the row names if it measures this, else one fitted to the unit."""
    if named_meter is not None and (not named_meter.measures or column in named_meter.measures):
        return named_meter
    return next((meter for meter in place.meters if column in meter.measures), None)


def convert_rows(rows: Sequence[Row], columns: Iterable[str], meter_of: MeterOf = no_meter) -> None:
    """Fill `numbers` of every row from `sent`; what cannot be converted or cannot be true becomes a fault of its row.

    Parameters
    ----------
    rows
        Rows whose `sent` holds plain digits and a unit.
    columns
        Stored columns to convert. The temperature goes first, since a meter without compensation needs it.
    meter_of
        Tells which instrument showed a value; its factor rebases TDS to the house scale, and where it does not
        compensate temperature the reading is brought to 25 degC by the natural-water table of ISO 7888.
    """
    for column in sorted(columns, key=lambda name: name != "temperature_degc"):
        kind = QUANTITY_KINDS[column]
        by_unit: dict[str, list[Row]] = {}
        for row in rows:
            if column in row.sent:
                by_unit.setdefault(row.sent[column].unit, []).append(row)
        for unit, members in by_unit.items():
            _convert_group(members, column, unit, kind, meter_of)


def _convert_group(rows: list[Row], column: str, unit: str, kind: Kind, meter_of: MeterOf) -> None:
    numbers = np.array([_float(row.sent[column].digits) for row in rows], dtype=np.float64)
    factors = np.full(len(rows), STORED_TDS_FACTOR)
    compensation = np.ones(len(rows))
    if kind.name == "tds":
        for place, row in enumerate(rows):
            meter = meter_of(row, column) if column not in row.on_stored_scale else None
            if meter is not None:
                factors[place] = meter.tds_factor
                compensation[place] = _compensation(row, column, meter)
    try:
        values = convert_column(
            np.where(np.isfinite(numbers), numbers, np.nan), unit, kind, field=column, tds_factor=factors
        )
    except EngineeringError as error:
        for row in rows:
            row.refuse(column, "unusable_unit", error.sentence)
        return
    values = values * compensation
    outside = outside_limits(values, kind) | ~np.isfinite(numbers)
    for place, row in enumerate(rows):
        if outside[place]:
            row.refuse(column, "impossible_value", _why_not(row, column, unit, kind, float(factors[place])))
            continue
        row.numbers[column] = float(values[place])
        if factors[place] != STORED_TDS_FACTOR:
            row.notes.setdefault(column, {})["tds_factor"] = float(factors[place])
        if compensation[place] != 1.0:
            row.notes.setdefault(column, {})["brought_to_25_degc_by"] = float(f"{compensation[place]:.9g}")
            if _SHOWN_AS_ZERO_MG_PER_L <= values[place] < _PURE_WATER_MG_PER_L:
                row.flag(column, "pure_water_compensation", words.pure_water_compensation(column))


def _compensation(row: Row, column: str, meter: Meter) -> float:
    """Factor to 25 degC for a meter that does not compensate; 1 for one that does, NaN-free by refusing the row."""
    if meter.compensates_temperature:
        return 1.0
    temperature = row.numbers.get("temperature_degc")
    if temperature is None:
        if "temperature_degc" not in row.sent:
            row.refuse(
                column,
                "temperature_missing",
                f"'{meter.name}' does not compensate temperature, so the {spoken(column)} needs the water temperature "
                "in the same row.",
            )
        return 1.0
    try:
        return float(iso7888_f25(temperature))
    except EngineeringError as error:
        row.refuse(column, "temperature_outside_table", f"'{meter.name}' does not compensate. {error.sentence}")
        return 1.0


def _float(digits: str) -> float:
    try:
        return float(digits)
    except (ValueError, OverflowError):
        return float("nan")


def _why_not(row: Row, column: str, unit: str, kind: Kind, factor: float) -> str:
    try:
        convert_number(row.sent[column].digits, unit, kind, field=column, tds_factor=factor)
    except EngineeringError as error:
        return error.sentence
    return f"{row.sent[column]} at 25 degC is outside what this can be; check the digits, the unit and the meter."
