"""A delimited text file as headers and rows of cells, whatever program wrote it: as a whole, or piece by piece."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, Self, TextIO

from accounts.errors import InvalidInput

MOST_BYTES: Final = 20_000_000
"""Larger files are refused where a file is read as a whole: twenty megabytes hold years of readings of a fleet."""

MOST_COLUMNS: Final = 200
"""A log has a few dozen columns; a line with more cells than this is no row of one, and is told once, not by cell."""

MOST_ROWS: Final = 200_000
"""Rows of a file that is read as a whole: ten years of hourly readings of two units."""

MOST_BYTES_IN_PIECES: Final = 200_000_000
"""Bytes of a file that is read piece by piece."""

MOST_ROWS_IN_PIECES: Final = 2_000_000
"""Its rows: ten years of hourly readings of twenty units."""

MOST_CELL: Final = 10_000
"""Characters of a cell; the longest note is shorter."""

# Titles, empty lines and a header stand beside the rows.
_SPARE_LINES: Final = 1_000
_LONGEST_LINE: Final = MOST_COLUMNS * MOST_CELL
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

    @cached_property
    def filled(self) -> frozenset[int]:
        """Places of the columns that hold anything."""
        return frozenset(index for _, cells in self.rows for index, cell in enumerate(cells) if cell)

    def is_too_wide(self, cells: Sequence[str]) -> bool:
        """Whether a row holds anything beyond the headers."""
        return len(cells) > len(self.headers) and any(cells[len(self.headers) :])

    def only(self, places: Iterable[int]) -> Self:
        """Some of the rows, under the same headers."""
        return replace(self, rows=tuple(self.rows[place] for place in places))


Pieces = Callable[[], Iterable[bytes]]
"""Gives the bytes of a file from its beginning, in pieces of any length, each time it is asked."""


@dataclass(frozen=True)
class TextShape:
    """What a first reading of a file tells of it: how to read it, its headers, how many rows it has."""

    encoding: str
    separator: str
    headers: tuple[str, ...]
    header_line: int
    rows: int
    filled: frozenset[int]

    def table(self, rows: Iterable[tuple[int, tuple[str, ...]]]) -> TextTable:
        """Some rows of the file under its headers."""
        return TextTable(self.headers, tuple(rows), self.header_line, decimal_comma=self.separator == ";")


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
        raise _too_many(len(lines), MOST_ROWS)
    separator = _separator(_first_line(lines))
    rows = _tidy_rows(io.StringIO(text, newline=""), separator)
    header_line, headers = next(rows, (0, ()))
    return TextTable(headers, tuple(rows), header_line, decimal_comma=separator == ";")


def read_shape(pieces: Pieces) -> TextShape:
    """Read a file once from end to end, keeping nothing of it but what `TextShape` tells.

    Raises
    ------
    InvalidInput
        As `read_table` does of a file that is read as a whole.
    """
    encoding = _encoding(pieces)
    with _text(pieces, encoding) as text:
        separator = _separator(_first_line(_lines(text)))
    count, filled = 0, set[int]()
    with _text(pieces, encoding) as text:
        rows = _tidy_rows(_lines(text), separator)
        header_line, headers = next(rows, (0, ()))
        for _, cells in rows:
            count += 1
            if count > MOST_ROWS_IN_PIECES:
                raise _too_many(count, MOST_ROWS_IN_PIECES)
            if len(filled) < MOST_COLUMNS:
                filled.update(index for index, cell in enumerate(cells) if cell)
    return TextShape(encoding, separator, headers, header_line, count, frozenset(filled))


def read_pieces(pieces: Pieces, shape: TextShape) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The rows of a file of this shape one after the other, each with the line on which it starts."""
    with _text(pieces, shape.encoding) as text:
        rows = _tidy_rows(_lines(text), shape.separator)
        next(rows, None)
        yield from rows


class _Stream(io.RawIOBase):
    """Pieces of bytes as something to read from."""

    def __init__(self, pieces: Iterable[bytes]) -> None:
        self._pieces = iter(pieces)
        self._rest = memoryview(b"")

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "bytearray | memoryview") -> int:  # type: ignore[override]
        while not self._rest:
            piece = next(self._pieces, None)
            if piece is None:
                return 0
            self._rest = memoryview(piece)
        length = min(len(buffer), len(self._rest))
        buffer[:length] = self._rest[:length]
        self._rest = self._rest[length:]
        return length


def _text(pieces: Pieces, encoding: str) -> TextIO:
    return io.TextIOWrapper(io.BufferedReader(_Stream(pieces()), 1 << 16), encoding=encoding, newline="")


def _lines(text: TextIO) -> Iterator[str]:
    """The lines of a text, none of them longer than a row can be."""
    number = 0
    while line := text.readline(_LONGEST_LINE):
        number += 1
        if len(line) == _LONGEST_LINE:
            raise InvalidInput(
                "line_too_long",
                f"Line {number} has more than {_LONGEST_LINE} characters; check the line ends and the quotes.",
            )
        yield line


def _encoding(pieces: Pieces) -> str:
    """Which encoding the bytes are in; as `decode` tells it of a whole file."""
    first = next((piece for piece in pieces() if piece), b"")
    if first.startswith((b"\xff\xfe", b"\xfe\xff")):
        if _can_be_read(pieces, "utf-16"):
            return "utf-16"
        raise InvalidInput("not_text", "The file is not readable text; save it as CSV in UTF-8.")
    if any(b"\x00" in piece for piece in pieces()):
        raise InvalidInput("not_text", "The file is not text but binary data; save it as CSV in UTF-8.")
    for encoding in ("utf-8-sig", "cp1252"):
        if _can_be_read(pieces, encoding):
            return encoding
    raise InvalidInput("not_text", "The file is neither UTF-8 nor Windows-1252; save it as CSV in UTF-8.")


def _can_be_read(pieces: Pieces, encoding: str) -> bool:
    with suppress(UnicodeDecodeError), _text(pieces, encoding) as text:
        while text.read(1 << 16):
            pass
        return True
    return False


def _tidy_rows(lines: Iterable[str], separator: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The rows that hold anything, the header first, each with the line on which it starts.

    Raises
    ------
    InvalidInput
        At the first line that cannot be one of a log.
    """
    reader = csv.reader(lines, delimiter=separator, strict=True, skipinitialspace=True)
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
                yield starts_at, tidy
            starts_at = reader.line_num + 1
    except csv.Error as error:
        raise InvalidInput(
            "broken_quotes",
            f"Line {starts_at} cannot be read ({error}); a quoted cell must close with a quote before the next "
            "separator.",
        ) from None


def _too_many(lines: int, most: int) -> InvalidInput:
    return InvalidInput("too_many_rows", f"The file has {lines} lines; at most {most} rows are read at once: split it.")


def _first_line(lines: Iterable[str]) -> str:
    first = next((line for line in lines if line.strip(" ;,\t\r\n")), "")
    if not first:
        raise InvalidInput("empty_file", "The file is empty; its first line must name the columns.")
    return first


def _separator(line: str) -> str:
    """The separator seen outside quotes; units in brackets hold none of them."""
    outside = "".join(part for index, part in enumerate(line.split('"')) if index % 2 == 0)
    counts = {separator: outside.count(separator) for separator in _SEPARATORS}
    best = max(_SEPARATORS, key=lambda separator: counts[separator])
    return best if counts[best] else ","
