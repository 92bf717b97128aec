"""A delimited text file as headers and rows of cells, whatever program wrote it."""

import csv
import io
from dataclasses import dataclass
from typing import Final

from accounts.errors import InvalidInput

MOST_BYTES: Final = 20_000_000
"""Larger files are refused: twenty megabytes hold years of readings of a large fleet."""

MOST_COLUMNS: Final = 200
"""A log has a few dozen columns; a line with more cells than this is no row of one, and is told once, not by cell."""

MOST_ROWS: Final = 200_000
"""Ten years of hourly readings of two units; more come in several files."""

MOST_CELL: Final = 10_000
"""Characters of a cell; the longest note is shorter."""

# Titles, empty lines and a header stand beside the rows.
_SPARE_LINES: Final = 1_000
_SEPARATORS: Final = (";", "\t", ",")


@dataclass(frozen=True)
class TextTable:
    """A header and its rows; `rows` pairs the line on which a row starts with its cells, blank rows left out.

    `decimal_comma` tells that the file separates its cells by semicolons, so that a comma is a decimal mark.
    """

    headers: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    header_line: int
    decimal_comma: bool


def decode(content: bytes) -> str:
    """Text of a file: UTF-8 with or without byte order mark, UTF-16 with one, else Windows-1252.

    Raises
    ------
    InvalidInput
        When the content is empty, too large, or no text.
    """
    if len(content) > MOST_BYTES:
        raise InvalidInput(
            "file_too_large", f"The file has {len(content)} bytes; at most {MOST_BYTES} are read at once."
        )
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return content.decode("utf-16")
        except UnicodeDecodeError:
            raise InvalidInput("not_text", "The file is not readable text; save it as CSV in UTF-8.") from None
    if b"\x00" in content:
        raise InvalidInput("not_text", "The file is not text but binary data; save it as CSV in UTF-8.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        # Every byte but five has a meaning in Windows-1252, the usual encoding of spreadsheets that do not write UTF-8.
        try:
            return content.decode("cp1252")
        except UnicodeDecodeError:
            raise InvalidInput(
                "not_text", "The file is neither UTF-8 nor Windows-1252; save it as CSV in UTF-8."
            ) from None


def read_table(content: bytes) -> TextTable:
    """Read a file separated by semicolons, tabs or commas; which one is told by its first line.

    Raises
    ------
    InvalidInput
        When there is no header and row to read, there are too many rows, a line has too many cells or one that is too
        long, or the quotes do not close. Too many lines are told before any is read.
    """
    text = decode(content)
    lines = text.splitlines()
    if len(lines) > MOST_ROWS + _SPARE_LINES:
        raise InvalidInput(
            "too_many_rows", f"The file has {len(lines)} lines; at most {MOST_ROWS} rows are read at once: split it."
        )
    first = next((line for line in lines if line.strip(" ;,\t\r\n")), "")
    if not first:
        raise InvalidInput("empty_file", "The file is empty; its first line must name the columns.")
    separator = _separator(first)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True, skipinitialspace=True)
    headers: tuple[str, ...] = ()
    header_line = 0
    rows: list[tuple[int, tuple[str, ...]]] = []
    starts_at = 1
    try:
        for cells in reader:
            tidy = tuple(cell.strip() for cell in cells)
            too_long = next((cell for cell in tidy if len(cell) > MOST_CELL), None)
            if too_long is not None:
                raise InvalidInput(
                    "cell_too_long",
                    f"Line {starts_at} has a cell of {len(too_long)} characters; at most {MOST_CELL} are read. Check "
                    "the quotes and the separator.",
                )
            if any(tidy[MOST_COLUMNS:]):
                raise InvalidInput(
                    "too_many_columns",
                    f"Line {starts_at} has {len(tidy)} cells; at most {MOST_COLUMNS} are read. Check the separator and "
                    "the line ends.",
                )
            if any(tidy):
                if headers:
                    rows.append((starts_at, tidy))
                else:
                    headers, header_line = tidy, starts_at
            starts_at = reader.line_num + 1
    except csv.Error as error:
        raise InvalidInput(
            "broken_quotes",
            f"Line {starts_at} cannot be read ({error}); a quoted cell must close with a quote before the next "
            "separator.",
        ) from None
    return TextTable(headers, tuple(rows), header_line, decimal_comma=separator == ";")


def _separator(line: str) -> str:
    """The separator seen outside quotes; units in brackets hold none of them."""
    outside = "".join(part for index, part in enumerate(line.split('"')) if index % 2 == 0)
    counts = {separator: outside.count(separator) for separator in _SEPARATORS}
    best = max(_SEPARATORS, key=lambda separator: counts[separator])
    return best if counts[best] else ","
