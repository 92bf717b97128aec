"""What a person, a file or a machine sent: refused with a sentence, or brought to the stored unit."""

import re
from collections.abc import Mapping
from typing import Any

import numpy as np

from fleet.engineering.arrays import LARGEST, FloatArray
from fleet.engineering.errors import EngineeringError
from fleet.engineering.kinds import Kind
from fleet.engineering.units.limits import outside_sentence
from fleet.engineering.units.quantities import find_kind
from fleet.engineering.units.registry import STORED_TDS_FACTOR, TDS_FACTOR_HIGH, TDS_FACTOR_LOW
from fleet.engineering.units.spelling import accepted_forms, canonical_expression, expression_of, magnitude, shorten

_NUMBER = re.compile(
    r"^\s*([+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)(?![0-9.,])\s*(.*?)\s*$", re.DOTALL
)
_HEADER = re.compile(r"^\s*(.*?)\s*\[\s*([^\[\]]*?)\s*\]\s*$")


def parse_quantity(sent: object, kind: Kind | str, *, field: str, tds_factor: float = STORED_TDS_FACTOR) -> float:
    """Turn what a person or a machine sent for one quantity into the float the house stores.

    Parameters
    ----------
    sent : str, (value, unit) pair or {"value": ..., "unit": ...}
        ``"60 psi"``, ``("60", "psi")``, ``{"value": 60, "unit": "psi"}``.
    kind : Kind or str
        The kind, the name of a kind (``"pressure"``) or of a quantity (``"line_pressure_kpa"``).
    field : str
        Name to report in an error.
    tds_factor : float
        Factor of the meter that showed a TDS, mg/L per uS/cm (0.4 to 1.0). Used for TDS in ppm or mg/L only.

    Returns
    -------
    float
        The value in the canonical unit of the kind.

    Raises
    ------
    EngineeringError
        Naming the field: a bare number, an unknown or ambiguous unit, a value that is not finite or cannot be true.

    Examples
    --------
    >>> round(parse_quantity("60 psi", "line_pressure_kpa", field="line_pressure"), 6)
    413.685438
    >>> parse_quantity({"value": 140, "unit": "ppm"}, "tds", field="feed_tds", tds_factor=0.7)
    100.0
    >>> parse_quantity("60", "pressure", field="inlet_pressure")
    Traceback (most recent call last):
    ...
    fleet.engineering.errors.EngineeringError: inlet_pressure: A number alone does not say its unit; write ...
    """
    quantity_kind = find_kind(kind)
    value, unit = _split(sent, quantity_kind, field)
    return convert_number(value, unit, quantity_kind, field=field, tds_factor=tds_factor)


def convert_number(
    value: float | str, unit: str, kind: Kind | str, *, field: str, tds_factor: float = STORED_TDS_FACTOR
) -> float:
    """Convert one number in a named unit to the canonical unit, refusing what cannot be true.

    Parameters
    ----------
    value : float or str
        The number, or digits.
    unit : str
        Its unit; an empty string is accepted only where the kind allows a bare number.
    kind, field, tds_factor
        As in `parse_quantity`.

    Returns
    -------
    float
        Value in the canonical unit.

    Raises
    ------
    EngineeringError
        As `parse_quantity`.

    Examples
    --------
    >>> convert_number(10, "degC", "temperature", field="temperature")
    10.0
    """
    quantity_kind = find_kind(kind)
    number = _number(value, quantity_kind, field)
    converted = float(_convert(np.asarray(number), unit, quantity_kind, field, tds_factor))
    outside = outside_sentence(converted, quantity_kind, f"{number:.9g} {unit}".strip())
    if outside:
        raise EngineeringError(field, outside)
    return converted


def convert_column(
    values: FloatArray, unit: str, kind: Kind | str, *, field: str, tds_factor: float | FloatArray = STORED_TDS_FACTOR
) -> FloatArray:
    """Convert a whole column in one unit; ``NaN`` stays missing and limits are left to `outside_limits`.

    Parameters
    ----------
    values : ndarray
        Numbers in `unit`; NaN where the cell was empty.
    unit, kind, field
        As in `convert_number`.
    tds_factor : float or ndarray
        One factor, or one a row.

    Returns
    -------
    ndarray
        Values in the canonical unit.

    Raises
    ------
    EngineeringError
        If the unit cannot be used for this kind or a value is infinite.

    Examples
    --------
    >>> convert_column(np.array([50.0, np.nan, 60.0]), "psi", "pressure", field="inlet pressure").round(3)
    array([344.738,     nan, 413.685])
    """
    column = np.asarray(values, dtype=np.float64)
    if np.any(np.isinf(column)):
        raise EngineeringError(field, "An infinite value is not a measurement; give a finite number.")
    return _convert(column, unit, find_kind(kind), field, tds_factor)


def parse_header(header: str, *, field: str = "header") -> tuple[str, str]:
    """Split a column header such as ``inlet pressure [psi]`` into its name and its unit.

    A header without brackets has an empty unit. Names come back in lower case with single underscores.

    Raises
    ------
    EngineeringError
        If the header is empty or its brackets do not close.

    Examples
    --------
    >>> parse_header("Inlet pressure [psi]")
    ('inlet_pressure', 'psi')
    >>> parse_header("feed pH")
    ('feed_ph', '')
    """
    match = _HEADER.match(header)
    name, unit = (match.group(1), match.group(2)) if match else (header, "")
    if "[" in name or "]" in name:
        raise EngineeringError(
            field, f"The header {header!r} should carry one unit in brackets, as 'inlet pressure [psi]'."
        )
    tidy_name = re.sub(r"[^a-z0-9]+", "_", name.strip().lower()).strip("_")
    if not tidy_name:
        raise EngineeringError(field, "A column header is empty; name the quantity, as 'inlet pressure [psi]'.")
    return tidy_name, unit


def _split(sent: object, kind: Kind, field: str) -> tuple[Any, str]:
    forms = accepted_forms(kind)
    if isinstance(sent, Mapping):
        extra = sorted(str(key) for key in set(sent) - {"value", "unit"})
        if extra or "value" not in sent:
            raise EngineeringError(field, f"Give an object with 'value' and 'unit', or text such as {forms}.")
        unit = sent.get("unit", "")
        return sent["value"], _unit_text(unit, kind, field)
    if isinstance(sent, list | tuple):
        if len(sent) != 2:
            raise EngineeringError(field, f"Give a value and a unit, for example {forms}.")
        return sent[0], _unit_text(sent[1], kind, field)
    if isinstance(sent, str):
        match = _NUMBER.match(sent.replace("−", "-"))
        if match is None:
            raise EngineeringError(
                field, f"{shorten(sent)} is not a number with a unit (use a point for decimals); write {forms}."
            )
        return match.group(1), match.group(2)
    return sent, ""


def _unit_text(unit: object, kind: Kind, field: str) -> str:
    if unit is None:
        return ""
    if not isinstance(unit, str):
        raise EngineeringError(field, f"The unit must be text; write {accepted_forms(kind)}.")
    return unit


def _number(value: object, kind: Kind, field: str) -> float:
    forms = accepted_forms(kind)
    if isinstance(value, bool) or not isinstance(value, int | float | str | np.integer | np.floating):
        raise EngineeringError(field, f"{shorten(value)} is not a number; write {forms}.")
    if isinstance(value, str) and not re.fullmatch(r"[+\-−]?[0-9.]+(?:[eE][+-]?[0-9]{1,3})?", value.strip()):
        raise EngineeringError(field, f"{shorten(value)} is not a number (use a point for decimals); write {forms}.")
    try:
        number = float(value.strip().replace("−", "-") if isinstance(value, str) else value)
    except (ValueError, OverflowError):
        raise EngineeringError(field, f"{shorten(value)} is not a usable number; write {forms}.") from None
    if not abs(number) <= LARGEST:
        raise EngineeringError(field, f"A measurement must be a finite number; write {forms}, or leave it out.")
    return number


def _convert(values: FloatArray, unit: str, kind: Kind, field: str, tds_factor: float | FloatArray) -> FloatArray:
    expression = expression_of(unit, kind, field)
    converted = magnitude(values, expression, canonical_expression(kind))
    if kind.name == "tds" and "us_per_cm" not in expression and "as nacl" not in unit.casefold():
        converted = converted * (STORED_TDS_FACTOR / _checked_factor(tds_factor))
    return converted


def _checked_factor(tds_factor: float | FloatArray) -> FloatArray:
    factor = np.asarray(tds_factor, dtype=np.float64)
    if not np.all((factor >= TDS_FACTOR_LOW) & (factor <= TDS_FACTOR_HIGH)):
        raise EngineeringError(
            "tds_factor",
            f"A TDS meter's factor lies between {TDS_FACTOR_LOW} and {TDS_FACTOR_HIGH} mg/L per uS/cm; "
            "0.5 and 0.7 are the common ones.",
        )
    return factor
