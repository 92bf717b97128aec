"""Columns of the fleet files as the tables want them: headers found in the guide, units converted, cells read."""

import re
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any, Final

import numpy as np

from fleet.engineering.errors import EngineeringError
from fleet.engineering.quantities import READING_QUANTITIES, RUNNING_TIME, names_of
from fleet.engineering.units import QUANTITY_KINDS, convert_column, parse_header
from fleet.forecasting.files.cells import Cells, UnusableFilesError
from fleet.forecasting.files.guide import FileColumn
from fleet.forecasting.files.words import word_of_guide
from fleet.forecasting.inputs.build import Fault
from fleet.forecasting.inputs.tables import Floats

UNIX_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)

_PER_WEEK: Final = re.compile(r"\s*(/|per)\s*(week|wk|w)$", re.IGNORECASE)
_LOOSE_UNIT: Final = re.compile(r"^([^\[\]()%]+?)\s*(?:\(([^()]+)\)|(%))\s*$")
_NOT_KNOWN: Final = frozenset(("", "-", "--", "n/a", "na", "nan", "none", "null", "nil", "?"))
_FLAGS: Final = {
    **dict.fromkeys(("yes", "true", "1", "1.0", "y", "on"), "yes"),
    **dict.fromkeys(("no", "false", "0", "0.0", "n", "off"), "no"),
}


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
    out: dict[str, Any] = {}
    units: dict[str, str] = {}
    for header, values in zip(cells.headers, columns, strict=True):

        def skip(code: str, why: str, header: str = header) -> None:
            faults.append(Fault(table, -1, header.strip(), code, why, False))

        try:
            name, unit = parse_header(_in_brackets(header), field=header.strip() or "header")
        except EngineeringError as error:
            if any(cell.strip() for cell in values):
                skip("unknown", str(error))
            continue
        column = _find(guide, name)
        if column is None:
            skip("unknown", "there is no such column in the guide (--columns lists them); not read")
            continue
        if column.field in out:
            skip("duplicate", f"the column {column.header!r} appears twice; the second one is not read")
            continue
        stripped = ["" if cell.strip().lower() in _NOT_KNOWN else cell.strip() for cell in values]
        try:
            out[column.field] = _column(column, name, unit, stripped, cells.has_decimal_commas, table, faults)
        except EngineeringError as error:
            skip("unknown", f"{str(error).rstrip('.')}; the column is not read")
            continue
        units[column.field] = unit
    for column in guide:
        if column.needed and column.field not in out:
            file_headers = ", ".join(repr(header.strip()) for header in cells.headers)
            raise UnusableFilesError(
                f"{file_name} has no column {column.header!r} that can be read, and every row needs it; "
                f"it has {file_headers}."
            )
    return out, units


def _in_brackets(header: str) -> str:
    """The header with its unit in square brackets, when it stands in round ones or is a percent sign alone."""
    return _LOOSE_UNIT.sub(lambda match: f"{match[1]} [{match[2] or match[3]}]", header)


def _find(guide: Sequence[FileColumn], name: str) -> FileColumn | None:
    for column in guide:
        if name in (column.field, *(spelling.replace(" ", "_") for spelling in (column.header, *column.also))):
            return column
    return None


def _column(
    column: FileColumn,
    name: str,
    unit: str,
    cells: list[str],
    has_decimal_commas: bool,
    table: str,
    faults: list[Fault],
) -> Any:
    if column.kind == "text":
        return [cell or None for cell in cells]
    if column.kind == "word":
        tidy = (re.sub(r"[^a-z0-9]+", "_", cell.lower()).strip("_") for cell in cells)
        return [word_of_guide(column.field, word) or None for word in tidy]
    if column.kind == "flag":
        return [_FLAGS.get(cell.lower(), cell) or None for cell in cells]
    if column.kind == "time":
        return _times(cells, column, table, faults)
    if has_decimal_commas:
        cells = [cell.replace(",", ".") for cell in cells]
    values = _numbers(cells, column, table, faults)
    if column.kind == "number":
        return values
    kind = column.field if column.field in QUANTITY_KINDS else column.kind
    if column.kind == "quantity" and column.field not in QUANTITY_KINDS:
        kind = "fraction"
    if column.field == "weekly_demand_l":
        unit = _PER_WEEK.sub("", unit)
    if not unit:
        stored = name == column.field and name != column.header.replace(" ", "_")
        is_bare = kind in ("ph", "fraction") or column.field in _WITHOUT_UNIT
        if stored or is_bare:
            return values
        raise EngineeringError(column.header, f"the header must say the unit in brackets, or be {column.field!r}")
    return convert_column(np.asarray(values, dtype=np.float64), unit, kind, field=column.header)


_WITHOUT_UNIT: Final = (
    "maximum_service_time_days",
    "rated_recovery_fraction",
    *names_of(quantity for quantity in (*READING_QUANTITIES, RUNNING_TIME) if quantity.kind.bare_number_ok),
)


def _numbers(cells: list[str], column: FileColumn, table: str, faults: list[Fault]) -> Floats:
    try:
        out = np.array([cell or "nan" for cell in cells], dtype=np.float64)
    except ValueError:
        out = np.full(len(cells), np.nan)
        for row, cell in enumerate(cells):
            try:
                out[row] = float(cell or "nan")
            except ValueError:
                why = f"{cell[:40]!r} is not a number; use digits and a point, and leave out what was not read"
                faults.append(Fault(table, row, column.field, "not_a_number", why, False))
    for row in np.flatnonzero(np.isinf(out)).tolist():
        why = f"{cells[row][:40]!r} is no finite number"
        faults.append(Fault(table, row, column.field, "not_a_number", why, False))
    return np.where(np.isinf(out), np.nan, out)


def _times(cells: list[str], column: FileColumn, table: str, faults: list[Fault]) -> Floats:
    """Days since 1970 of ISO times; a plain number is taken as such days."""
    out = np.full(len(cells), np.nan)
    day_of_cell: dict[str, float] = {"": float("nan")}
    for row, cell in enumerate(cells):
        day = day_of_cell.get(cell)
        if day is None:
            try:
                day = day_of_cell[cell] = day_of(cell)
            except ValueError:
                day = float("nan")
                why = f"{cell[:40]!r} is not a time; write 2026-03-01 or 2026-03-01T09:30+01:00"
                faults.append(Fault(table, row, column.field, "not_a_number", why, column.needed))
        out[row] = day
    return out


def day_of(text: str) -> float:
    """Days since 1970-01-01 UTC of an ISO 8601 date or time; without an offset it is UTC.

    Raises
    ------
    ValueError
        When the text is neither that nor a number of days.

    >>> day_of("1970-01-02T12:00:00+00:00")
    1.5
    >>> day_of("20000.25")
    20000.25
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        number = float(text)
        if not np.isfinite(number):
            raise ValueError(f"{text!r} is not a time") from None
        return number
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return (moment - UNIX_EPOCH).total_seconds() / 86_400.0
