"""Cells of a delimited file with the line each row stands in, however a spreadsheet wrote it."""

import csv
import io
from dataclasses import dataclass
from pathlib import Path
from typing import Final

_DELIMITERS: Final = (",", ";", "\t")
_MOST_CELL: Final = 10_000_000


class UnusableFilesError(ValueError):
    """The directory as a whole cannot be used; the message says why and what would be right."""


@dataclass(frozen=True)
class Cells:
    """What stands in a file.

    Attributes
    ----------
    headers
        The first row that is not blank.
    rows
        The others that are not blank, each as wide as the headers.
    lines
        Line of the file in which each row ends, counted from 1.
    too_wide
        Places (in `rows`) that had more cells than there are headers, with their number of cells.
    has_decimal_commas
        Whether a comma can be a decimal sign, because it does not separate cells.
    """

    headers: list[str]
    rows: list[list[str]]
    lines: list[int]
    too_wide: dict[int, int]
    has_decimal_commas: bool


def read_cells(path: Path) -> Cells:
    """Read a file whose cells are separated by commas, semicolons or tabs, in UTF-8, UTF-16 or a Western code page.

    Raises
    ------
    UnusableFilesError
        When it cannot be read or holds nothing.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise UnusableFilesError(f"{path.name} cannot be read ({error.strerror}).") from None
    text = _decoded(raw).replace("\x00", "")
    first = next((line for line in text.splitlines() if line.strip()), "")
    if not first:
        raise UnusableFilesError(f"{path.name} is empty; its first line must name the columns.")
    delimiter = max(_DELIMITERS, key=first.count)
    csv.field_size_limit(_MOST_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    rows: list[list[str]] = []
    lines: list[int] = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                rows.append(row)
                lines.append(reader.line_num)
    except csv.Error as error:
        raise UnusableFilesError(f"{path.name} cannot be read as CSV, line {reader.line_num}: {error}.") from None
    headers, body = rows[0], rows[1:]
    while headers and not headers[-1].strip():
        headers.pop()
    width = len(headers)
    too_wide = {}
    for place, row in enumerate(body):
        if len(row) == width:
            continue
        if any(cell.strip() for cell in row[width:]):
            too_wide[place] = len(row)
        body[place] = (row + [""] * width)[:width]
    return Cells(headers, body, lines[1:], too_wide, delimiter != ",")


def _decoded(raw: bytes) -> str:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", "replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        # What a spreadsheet on an older Western system writes; every byte means something in it.
        return raw.decode("latin-1")
