"""Columns of the fleet files as the tables want them: headers found in the guide, units converted, cells read."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np

from fleet.engineering.errors import EngineeringError
from fleet.forecasting.files.cell_units import unit_of_cells
from fleet.forecasting.files.cells import Cells, UnusableFilesError
from fleet.forecasting.files.days import is_day_first, written_day
from fleet.forecasting.files.guide import FileColumn
from fleet.forecasting.files.headers import Meaning, find_columns, tidy
from fleet.forecasting.files.numbers import read_numbers
from fleet.forecasting.files.quantities import NO_QUANTITY, stored
from fleet.forecasting.files.words import FLAGS, UNCLEAR_WORDS, word_of_guide
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.build import Fault
from fleet.forecasting.inputs.tables import Floats

BELOW_BOUND: Final = "below_bound"
"""Code of a value that the file only bounds; it was used."""

_NOT_KNOWN: Final = frozenset(("", "-", "--", "n/a", "na", "nan", "none", "null", "nil", "?"))
_MEASURED: Final = ("readings", "feed_water")


def read_columns(
    cells: Cells, guide: Sequence[FileColumn], table: str, file_name: str, faults: list[Fault]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Columns by field, and the unit that the header of each gave.

    A column that cannot be read is reported and left out.

    Raises
    ------
    UnusableFilesError
        When a column that every row needs is not there.
    """
    columns = list(zip(*cells.rows, strict=True)) if cells.rows else [()] * len(cells.headers)
    filled = [_filled(values) for values in columns]
    meanings = find_columns(file_name, cells.headers, filled)
    time_columns = (
        values
        for meaning, values in zip(meanings, filled, strict=True)
        if meaning.column is not None and meaning.column.kind == "time"
    )
    # One file is written by one habit.
    day_first = is_day_first(cell for values in time_columns for cell in values)
    out: dict[str, Any] = {}
    units: dict[str, str] = {}
    for header, meaning, raw, values in zip(cells.headers, meanings, columns, filled, strict=True):

        def skip(code: str, why: str, header: str = header) -> None:
            faults.append(Fault(table, -1, header.strip(), code, why, False))

        column = meaning.column
        if column is None:
            if meaning.why_not:
                skip("unknown", meaning.why_not)
            continue
        if column.field in out:
            skip("duplicate", f"an earlier column is the {column.header!r}; this one is not read")
            continue
        if column.kind == "flag":
            # 'None' in a column of pumps is no pump.
            values = [
                cell.strip() if cell.strip().lower() in FLAGS else value
                for cell, value in zip(raw, values, strict=True)
            ]
        if column.kind not in NO_QUANTITY:
            values, unit = unit_of_cells(values, column, meaning.unit)
            meaning = replace(meaning, unit=unit)
        try:
            out[column.field] = _column(column, meaning, values, cells.has_decimal_commas, day_first, table, faults)
        except EngineeringError as error:
            skip("unknown", f"{str(error).rstrip('.')}; the column is not read")
            continue
        units[column.field] = meaning.unit
    for column in guide:
        if column.needed and column.field not in out:
            raise UnusableFilesError(_no_column(file_name, column, cells.headers, meanings))
    return out, units


def _filled(cells: Sequence[str]) -> list[str]:
    """Cells without blanks around them; empty where they say that nothing is known."""
    return ["" if (text := cell.strip()).lower() in _NOT_KNOWN else text for cell in cells]


def _no_column(file_name: str, column: FileColumn, headers: Sequence[str], meanings: Sequence[Meaning]) -> str:
    shown = ", ".join(repr(header.strip()) for header in headers)
    unclear = [
        f" {header.strip()!r}: {meaning.why_not}."
        for header, meaning in zip(headers, meanings, strict=True)
        if meaning.is_unclear
    ]
    return (
        f"{file_name} has no column {column.header!r} that can be read, and every row needs it; it has {shown}."
        f"{''.join(unclear)}"
    )


def _column(
    column: FileColumn,
    meaning: Meaning,
    cells: list[str],
    has_decimal_commas: bool,
    day_first: bool | None,
    table: str,
    faults: list[Fault],
) -> Any:
    if column.kind == "text":
        return [cell or None for cell in cells]
    if column.kind == "word":
        return _words(column, cells, table, faults)
    if column.kind == "flag":
        return [FLAGS.get(cell.lower(), cell) or None for cell in cells]
    if column.kind == "time":
        return _times(cells, column, day_first, table, faults)
    values = _numbers(cells, column, has_decimal_commas, table, faults)
    return values if column.kind == "number" else stored(values, column, meaning.name, meaning.unit)


def _words(column: FileColumn, cells: list[str], table: str, faults: list[Fault]) -> list[str | None]:
    unclear = UNCLEAR_WORDS.get(column.field, {})
    tidy_of = {cell: tidy(cell) for cell in set(cells)}
    word_of: dict[str, str | None] = {}
    for cell, written in tidy_of.items():
        word = words.REMOVAL_REASONS[words.UNKNOWN] if written in unclear else written
        word_of[cell] = word_of_guide(column.field, word) or None
    if not unclear.keys().isdisjoint(tidy_of.values()):
        for row, cell in enumerate(cells):
            if tidy_of[cell] in unclear:
                why = f"{cell!r} {unclear[tidy_of[cell]]}"
                faults.append(Fault(table, row, column.field, "unknown_word", why, False))
    return [word_of[cell] for cell in cells]


def _numbers(cells: list[str], column: FileColumn, has_decimal_commas: bool, table: str, faults: list[Fault]) -> Floats:
    read = read_numbers(
        cells, has_decimal_commas=has_decimal_commas, may_be_below=table in _MEASURED and column.kind == "quantity"
    )
    for row, why in read.trouble.items():
        faults.append(Fault(table, row, column.field, "not_a_number", why, False))
    for row, why in read.below.items():
        faults.append(Fault(table, row, column.field, BELOW_BOUND, why, False))
    return read.values


def _times(cells: list[str], column: FileColumn, day_first: bool | None, table: str, faults: list[Fault]) -> Floats:
    """Days since 1970 of times; a plain number is taken as such days."""
    out = np.full(len(cells), np.nan)
    day_of_cell: dict[str, float] = {"": float("nan")}
    trouble: dict[str, str] = {}
    for row, cell in enumerate(cells):
        if cell not in day_of_cell:
            try:
                day_of_cell[cell] = written_day(cell, day_first)
            except ValueError as error:
                day_of_cell[cell], trouble[cell] = float("nan"), str(error)
        out[row] = day_of_cell[cell]
        if cell in trouble:
            faults.append(Fault(table, row, column.field, "not_a_number", trouble[cell], column.needed))
    return out
