"""One line for what is wrong in the same way in many rows."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from fleet.forecasting.inputs.build import Fault

MOST_SINGLE: Final = 3
"""Rows that are listed one by one, and that a line for more of them names."""


def gather(faults: Sequence[Fault]) -> list[Fault]:
    """The faults with one for all rows of a table whose value was left out for the very same reason.

    It stands where the first of them does, and says how many there are and which come first. Rows that were left out
    as a whole stay one by one, as each of them is to be put right.

    >>> gather([Fault("readings", row, "source", "unknown_word", "who", False) for row in range(5)])[0].message
    'who (5 rows: lines 2, 3, 4 and on)'
    """
    rows_of: dict[tuple[str, str, str, str], list[int]] = {}
    for fault in faults:
        if not fault.row_dropped and fault.row >= 0:
            rows_of.setdefault(_same(fault), []).append(fault.row)
    out = []
    for fault in faults:
        rows = [] if fault.row_dropped or fault.row < 0 else rows_of[_same(fault)]
        if len(rows) <= MOST_SINGLE:
            out.append(fault)
        elif fault.row == rows[0]:
            lines = ", ".join(str(row + 2) for row in rows[:MOST_SINGLE])
            out.append(replace(fault, message=f"{fault.message} ({len(rows)} rows: lines {lines} and on)"))
    return out


def _same(fault: Fault) -> tuple[str, str, str, str]:
    return fault.table, fault.field, fault.code, fault.message
