"""Numbers as people write them in cells, and those that could be two."""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.forecasting.inputs.tables import Floats

_ABOUT: Final = re.compile(r"^(?:~|≈|about|approx\.?|ca\.?|c\.)\s*", re.IGNORECASE)
_BELOW: Final = re.compile(r"^(?:<=?|≤|below|under|less than)\s*", re.IGNORECASE)
_ABOVE: Final = re.compile(r"^(?:>=?|≥|above|over|more than)\s*", re.IGNORECASE)
_GROUPED: Final = re.compile(r"^[+-]?\d{1,3}(?:[ \u00a0\u2009\u202f'’]\d{3})+(?:[.,]\d+)?$")
_THOUSANDS_COMMA: Final = re.compile(r"^[+-]?\d{1,3}(?:,\d{3})+\.\d+$|^[+-]?\d{1,3}(?:,\d{3}){2,}$")
_THOUSANDS_POINT: Final = re.compile(r"^[+-]?\d{1,3}(?:\.\d{3})+,\d+$|^[+-]?\d{1,3}(?:\.\d{3}){2,}$")
_DECIMAL_COMMA: Final = re.compile(r"^[+-]?(?:\d*,(?:\d{1,2}|\d{4,})|\d{4,},\d+|0+,\d+)$")
_THREE_AFTER_COMMA: Final = re.compile(r"^[+-]?[1-9]\d{0,2},\d{3}$")
_PLAIN: Final = re.compile(r"^[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?$")

BELOW_SHARE: Final = 0.5
"""What is taken of a bound that a value lies below: half, common practice where few values are so (from memory)."""


@dataclass(frozen=True)
class Numbers:
    """Values of a column, NaN where there is none; by row, why a cell was not read, and which cells tell a bound."""

    values: Floats
    trouble: dict[int, str]
    below: dict[int, str]


def read_numbers(cells: list[str], *, has_decimal_commas: bool, may_be_below: bool) -> Numbers:
    """Read a column of numbers.

    Parameters
    ----------
    cells
        As written; empty where nothing is known.
    has_decimal_commas
        Whether a comma before three digits is a decimal sign, because no comma separates cells. Else it is one when
        the column has others that can only be decimal signs.
    may_be_below
        Whether '<1' is a value of such a column: half of the bound is taken.
    """
    try:
        values = np.array([cell or "nan" for cell in cells], dtype=np.float64)
    except ValueError:
        values = np.full(len(cells), np.nan)
    else:
        if not np.any(np.isinf(values)):
            return Numbers(values, {}, {})
    bare = {cell: _BELOW.sub("", _ABOUT.sub("", cell)) for cell in set(cells)}
    is_decimal = has_decimal_commas or (
        any(_DECIMAL_COMMA.match(each) for each in bare.values())
        and not any(_THOUSANDS_COMMA.match(each) for each in bare.values())
    )
    has_thousands = any(_THOUSANDS_COMMA.match(each) for each in bare.values())
    read_of = {cell: _read(each, is_decimal, has_thousands) for cell, each in bare.items()}
    trouble, below = {}, {}
    for row, cell in enumerate(cells):
        if not cell or cell.lower() == "nan":
            values[row] = np.nan
            continue
        read = read_of[cell]
        if isinstance(read, str):
            values[row], trouble[row] = np.nan, read
        elif not _BELOW.match(cell):
            values[row] = read
        elif may_be_below and read > 0.0:
            values[row], below[row] = read * BELOW_SHARE, f"{cell!r} says only that it was less; half of it is taken"
        else:
            values[row], trouble[row] = np.nan, f"{cell[:40]!r} says only that it was less; write a number"
    return Numbers(values, trouble, below)


def _read(text: str, is_decimal: bool, has_thousands: bool) -> float | str:
    """The number, or why there is none."""
    number = text.replace("−", "-")
    if _PLAIN.match(number):
        value = float(number)
        return value if np.isfinite(value) else f"{text[:40]!r} is no finite number"
    if _GROUPED.match(number):
        return float(re.sub(r"[ \u00a0\u2009\u202f'’]", "", number).replace(",", "."))
    if _THOUSANDS_COMMA.match(number):
        return float(number.replace(",", ""))
    if _THOUSANDS_POINT.match(number):
        return float(number.replace(".", "").replace(",", "."))
    if _THREE_AFTER_COMMA.match(number) and not is_decimal:
        if has_thousands:
            return float(number.replace(",", ""))
        whole, point = number.replace(",", ""), number.replace(",", ".")
        return f"{text!r} may be {whole} or {point}; write it without a comma or with a point"
    if _DECIMAL_COMMA.match(number) or (_THREE_AFTER_COMMA.match(number) and is_decimal):
        return float(number.replace(",", "."))
    if _ABOVE.match(number):
        return f"{text[:40]!r} says only that it was more; write a number, or leave it out"
    if re.fullmatch(r"[+-]?(inf|infinity)", number, re.IGNORECASE):
        return f"{text[:40]!r} is no finite number"
    return f"{text[:40]!r} is not a number; use digits and a point, and leave out what was not read"
