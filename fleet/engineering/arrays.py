"""Small helpers every formula shares: numbers or arrays in, the same out, and range guards that raise.

Missing is ``NaN`` and goes through a formula as ``NaN``; it never becomes zero. An infinite value, or a value
outside the valid range of a formula, raises. Nothing is clipped.
"""

import math
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.errors import EngineeringError

FloatArray: TypeAlias = NDArray[np.float64]
BoolArray: TypeAlias = NDArray[np.bool_]
IntArray: TypeAlias = NDArray[np.int64]
Numbers: TypeAlias = float | FloatArray
# Far beyond anything measured; the products and powers of such numbers would overflow on the way.
LARGEST: Final = 1e30
# A float when every argument was a scalar, an array otherwise: the same promise numpy's ufuncs make, typed as they are.
Result: TypeAlias = Any


def as_numbers(value: Numbers, field: str) -> FloatArray:
    """Return `value` as a float array (zero-dimensional for a scalar); refuse text, booleans and infinities.

    Raises
    ------
    EngineeringError
        If the value is not numeric, or holds an infinity or a number beyond 1e30 either way.

    Examples
    --------
    >>> as_numbers(3, "flow").shape
    ()
    """
    return _with_ends(value, field)[0]


def _with_ends(value: Numbers, field: str) -> tuple[FloatArray, float, float]:
    """Return `value` as an array, with its smallest and largest number: two passes tell all that a range asks."""
    array = np.asarray(value)
    if array.dtype.kind not in "fiu":
        raise EngineeringError(field, f"A number is needed here, not {value!r}.")
    floats: FloatArray = array.astype(np.float64, copy=False)
    if floats.size == 0:
        return floats, math.nan, math.nan
    lowest, highest = float(np.fmin.reduce(floats, axis=None)), float(np.fmax.reduce(floats, axis=None))
    if lowest < -LARGEST or highest > LARGEST:
        if np.any(np.isinf(floats)):
            raise EngineeringError(field, "An infinite value is not a measurement; give a finite number.")
        raise EngineeringError(field, f"A number beyond {LARGEST:g} is not a measurement; check its power of ten.")
    return floats, lowest, highest


def in_range(
    value: Numbers,
    field: str,
    low: float = -np.inf,
    high: float = np.inf,
    *,
    unit: str = "",
    open_low: bool = False,
    open_high: bool = False,
    why: str = "",
) -> FloatArray:
    """Return `value` as an array after checking it against a range; ``NaN`` (missing) passes.

    Parameters
    ----------
    value : float or ndarray
        The value to check.
    field : str
        Name to report.
    low, high : float
        Limits, included unless `open_low` or `open_high` says otherwise.
    unit : str
        Unit, for the sentence only.
    open_low, open_high : bool
        Whether the limit itself is refused too.
    why : str
        A closing sentence with the reason.

    Returns
    -------
    ndarray
        The value as an array.

    Raises
    ------
    EngineeringError
        If any value lies outside.

    Examples
    --------
    >>> float(in_range(12.0, "temperature_degc", 1, 45, unit="degC"))
    12.0
    >>> in_range(60.0, "temperature_degc", 1, 45, unit="degC")
    Traceback (most recent call last):
    ...
    fleet.engineering.errors.EngineeringError: temperature_degc: 60 degC is outside 1 to 45 degC.
    """
    array, lowest, highest = _with_ends(value, field)
    if lowest < low or highest > high or (open_low and lowest == low) or (open_high and highest == high):
        below = array <= low if open_low else array < low
        above = array >= high if open_high else array > high
        outside = below | above
        worst = float(array[outside][0]) if array.ndim else float(array)
        raise EngineeringError(field, _range_sentence(worst, low, high, unit, open_low, open_high, why))
    return array


def _range_sentence(value: float, low: float, high: float, unit: str, open_low: bool, open_high: bool, why: str) -> str:
    suffix = f" {unit}" if unit else ""
    if np.isfinite(low) and np.isfinite(high):
        text = f"{value:.6g}{suffix} is outside {low:g} to {high:g}{suffix}"
        ends = [f"{limit:g}" for limit, is_open in ((low, open_low), (high, open_high)) if is_open]
        text += f" ({' and '.join(ends)} not included)." if ends else "."
    elif np.isfinite(low):
        text = f"{value:.6g}{suffix} must be {'above' if open_low else 'at least'} {low:g}{suffix}."
    else:
        text = f"{value:.6g}{suffix} must be {'below' if open_high else 'at most'} {high:g}{suffix}."
    return f"{text} {why}" if why else text


def tidy(value: Any) -> Result:
    """Give back a plain float for a zero-dimensional result, the array otherwise.

    Examples
    --------
    >>> tidy(np.asarray(2.0))
    2.0
    """
    array = np.asarray(value, dtype=np.float64)
    return float(array) if array.ndim == 0 else array
