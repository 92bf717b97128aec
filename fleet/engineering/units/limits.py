"""What a quantity can be, and what is unusual: the first is refused, the second kept and flagged."""

from typing import Any, Final

import numpy as np

from accounts.language import gettext
from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.kinds import Kind
from fleet.engineering.units.quantities import find_kind
from fleet.engineering.units.showing import to_unit

# 150 psi converted to kPa may land a rounding error beyond 150 psi; that is not outside.
_SLACK: Final = 1e-9


def outside_limits(values: FloatArray, kind: Kind | str) -> BoolArray:
    """Return a boolean array, true where a canonical value cannot be true (NaN is not outside).

    Examples
    --------
    >>> outside_limits(np.array([10.0, -1.0, np.nan]), "flow")
    array([False,  True, False])
    """
    quantity_kind = find_kind(kind)
    column = np.asarray(values, dtype=np.float64)
    return np.asarray(_below(column, quantity_kind) | _above(column, quantity_kind))


def is_unusual(values: FloatArray, kind: Kind | str) -> BoolArray:
    """Return a boolean array, true where `plausibility` has something to say of a canonical value (NaN is usual).

    Examples
    --------
    >>> is_unusual(np.array([655.0, 400.0, np.nan]), "line_pressure_kpa")
    array([ True, False, False])
    """
    quantity_kind = find_kind(kind)
    column = np.asarray(values, dtype=np.float64)
    return np.asarray(_unusual(column, quantity_kind))


def plausibility(value: float, kind: Kind | str) -> str:
    """Return a sentence when a canonical value is possible but unusual, otherwise an empty string.

    Examples
    --------
    >>> plausibility(655.0, "line_pressure_kpa")
    '655 kPa is unusual here: between 138 and 552 kPa is common. It is kept; check the gauge and the unit.'
    >>> plausibility(400.0, "line_pressure_kpa")
    ''
    """
    quantity_kind = find_kind(kind)
    if not _unusual(value, quantity_kind):
        return ""
    words = gettext(
        "{value:.6g} {unit} is unusual here: between {low:.3g} and {high:.3g} {unit} is common. It is kept; check the "
        "gauge and the unit."
    )
    low, high = quantity_kind.usual_low, quantity_kind.usual_high
    return words.format(value=value, unit=quantity_kind.canonical_unit, low=low, high=high)


def outside_sentence(value: float, kind: Kind, shown: str) -> str:
    """Return the sentence that refuses a canonical value, with the value as it was given, or an empty string.

    Parameters
    ----------
    value : float
        In the canonical unit.
    kind : Kind
        What it is.
    shown : str
        The digits and unit that were sent, to be repeated to the sender.

    Returns
    -------
    str
        Empty when the value can be true.

    Raises
    ------
    EngineeringError
        Never for a value of the kind.

    Examples
    --------
    >>> outside_sentence(-1.0, find_kind("flow"), "-1 L/day")
    '-1 L/day is not possible: this cannot be below 0 L/day.'
    """
    if not (_below(value, kind) or _above(value, kind)):
        return ""
    unit = f" {kind.canonical_unit}" if kind.canonical_unit not in ("pH", "fraction") else ""
    if value < kind.low and not np.isfinite(kind.high):
        return f"{shown} is not possible: this cannot be below {kind.low:g}{unit}."
    limits = f"{_plain(kind.low, 6)} to {_plain(kind.high, 6)}{unit}"
    other = kind.display_units["us"]
    if other not in (kind.canonical_unit, "%"):
        low, high = to_unit(kind.low, other, kind), to_unit(kind.high, other, kind)
        limits += f" ({_plain(low, 4)} to {_plain(high, 4)} {other})"
    return f"{shown} is outside what this can be, {limits}; check the digits and the unit."


def _plain(value: float, digits: int) -> str:
    """The number to that many significant digits, never with an exponent: nobody reads a meter in powers of ten."""
    return str(np.format_float_positional(float(value), precision=digits, fractional=False, trim="-"))


def _below(value: Any, kind: Kind) -> Any:
    return value < kind.low - _SLACK * max(1.0, abs(kind.low))


def _above(value: Any, kind: Kind) -> Any:
    return value > kind.high + _SLACK * max(1.0, abs(kind.high))


def _unusual(value: Any, kind: Kind) -> Any:
    return (value < kind.usual_low) | (value > kind.usual_high)
