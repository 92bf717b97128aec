"""The tables of a directory, an archive or one file: CSV however it is separated, and every page of a workbook."""

import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, Final
from xml.etree.ElementTree import ParseError

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from accounts.csv_rows import as_meant
from accounts.errors import InvalidInput
from fleet.intake.tables import MOST_BYTES, MOST_CELL, MOST_COLUMNS, MOST_ROWS, TextTable, decode, read_table
from scheduling.company_files.cells import DECIMAL_COMMA, without_grouping

MOST_FILES: Final = 100
MOST_CELLS: Final = 5_000_000
"""Of a workbook, over all its pages: what is packed small can be very wide and very long."""
MOST_UNPACKED_BYTES: Final = 200_000_000
"""A workbook is packed; one that unpacks to more than this is no sheet of a company."""
MOST_TAGS: Final = 6_000_000
"""Marks of XML in all workbooks that are read at once: a few hundred kilobytes can unpack to minutes of reading."""
_TITLE_LINES: Final = 8
_PIECE: Final = 1_000_000
_FEWEST_COLUMNS: Final = 3
EXPLAINS: Final = "#"
"""A row whose first cell begins with this explains the columns to people and is never read."""

_TABLES: Final = (".csv", ".txt", ".tsv")
_WORKBOOKS: Final = (".xlsx",)


@dataclass(frozen=True)
class Page:
    """One table: where it stands, as people are told, the name that says what it holds, and what is told of it."""

    origin: str
    name: str
    table: TextTable
    remarks: tuple[str, ...] = ()

    def with_headers(self, headers: tuple[str, ...]) -> "Page":
        """The same under other headers."""
        return replace(self, table=replace(self.table, headers=headers))

    def as_meant(self) -> "Page":
        """The same without the apostrophes that keep spreadsheets from taking a text for a formula."""
        rows = tuple((line, tuple(map(as_meant, cells))) for line, cells in self.table.rows)
        return replace(self, table=replace(self.table, rows=rows))

    def without_explanations(self) -> "Page":
        """The same without the rows that explain the columns to people."""
        rows = tuple((line, cells) for line, cells in self.table.rows if not (cells and cells[0].startswith(EXPLAINS)))
        return replace(self, table=replace(self.table, rows=rows))


def files_of_directory(directory: Path) -> dict[str, bytes]:
    """Contents of the files of a directory that can hold tables, by name.

    Raises
    ------
    InvalidInput
        When there is no such directory, or nothing in it to read.
    """
    if not directory.is_dir():
        raise InvalidInput("no_directory", f"{directory} is no directory; give the one that holds the files.")
    paths = [
        path
        for path in sorted(directory.iterdir())
        if path.suffix.lower() in (*_TABLES, *_WORKBOOKS) and path.is_file()
    ]
    if not paths:
        raise InvalidInput("nothing_to_read", f"{directory} holds no .csv and no .xlsx file.")
    too_large = next((path for path in paths if path.stat().st_size > MOST_BYTES), None)
    if too_large is not None:
        raise InvalidInput("file_too_large", f"{too_large.name} is larger than {MOST_BYTES} bytes; split it.")
    return {path.name: path.read_bytes() for path in paths}


def files_of_upload(name: str, content: bytes) -> dict[str, bytes]:
    """The files of an upload: one file by itself, or those of a ZIP archive.

    Raises
    ------
    InvalidInput
        When it is no file that can be read, or unpacks to more than is read at once.
    """
    suffix = Path(name).suffix.lower()
    if suffix != ".zip":
        if suffix not in (*_TABLES, *_WORKBOOKS):
            raise InvalidInput(
                "unknown_kind_of_file",
                f"'{name[:80]}' is none of .csv, .txt, .tsv, .xlsx and .zip; save the table as one of them.",
                pointer="/file",
            )
        return {name: content}
    try:
        archive = zipfile.ZipFile(io.BytesIO(content))
        members = [
            entry
            for entry in archive.infolist()
            if not entry.is_dir() and Path(entry.filename).suffix.lower() in (*_TABLES, *_WORKBOOKS)
        ]
        if len(members) > MOST_FILES or sum(entry.file_size for entry in members) > MOST_BYTES:
            raise InvalidInput(
                "file_too_large",
                f"The archive unpacks to {len(members)} files; at most {MOST_FILES} with {MOST_BYTES} bytes in all are "
                "read at once.",
                pointer="/file",
            )
        files = {Path(entry.filename).name: archive.read(entry) for entry in members}
    except (zipfile.BadZipFile, RuntimeError, NotImplementedError, OSError, EOFError, ValueError):
        # Broken, locked by a password, or packed in a way that is not read here.
        raise InvalidInput("not_an_archive", f"'{name[:80]}' cannot be unpacked.", pointer="/file") from None
    if not files:
        raise InvalidInput("nothing_to_read", f"'{name[:80]}' holds no .csv and no .xlsx file.", pointer="/file")
    return files


def pages_of(files: Mapping[str, bytes], troubles: dict[str, str]) -> list[Page]:
    """The tables of some files; a file that cannot be read is told of in `troubles`, by its name."""
    pages: list[Page] = []
    size = _Unpacked()
    for name, content in files.items():
        try:
            if Path(name).suffix.lower() in _WORKBOOKS:
                pages += _pages_of_workbook(name, content, size)
            else:
                table, remarks = _table_below_titles(content)
                pages.append(Page(name, Path(name).stem, table, remarks))
        except InvalidInput as error:
            troubles[name] = error.sentence
    return [page.without_explanations().as_meant() for page in pages]


def _table_below_titles(content: bytes) -> tuple[TextTable, tuple[str, ...]]:
    """A table of a text file; titles that stand above its headers are told of and not read."""
    lines = decode(content).splitlines()
    first = [(number, line) for number, line in enumerate(lines[:_TITLE_LINES]) if line.strip(" ;,\t\r")]
    separator = max(";\t,", key=lambda each: sum(line.count(each) for _, line in first))
    filled = [sum(bool(cell.strip()) for cell in line.split(separator)) for _, line in first]
    above = _titles(filled)
    if not above:
        return read_table(content), ()
    # Empty lines keep the numbers of those that follow.
    start = first[above][0]
    text = "\n" * start + "\n".join(lines[start:])
    return read_table(text.encode()), tuple(_title_remark(number + 1, line) for number, line in first[:above])


def _titles(filled: Sequence[int]) -> int:
    """How many lines stand above the headers, by the number of filled cells of the first lines."""
    widest = max(filled, default=0)
    above = next((place for place, count in enumerate(filled) if 2 * count >= widest), 0)
    return above if widest >= _FEWEST_COLUMNS and all(count <= 2 for count in filled[:above]) else 0


def _title_remark(line: int, title: str) -> str:
    return f"Line {line} ('{title.strip(' ;,')[:40]}') stands above the headers and is not read."


@dataclass
class _Unpacked:
    """How much the workbooks of one upload unpack to, so far."""

    size: int = 0
    tags: int = 0

    def add(self, packed: zipfile.ZipFile) -> None:
        """Count one more before any of it is read as XML.

        Raises
        ------
        InvalidInput
            When it is too much, or defines words of its own (a DTD), which no spreadsheet program writes.
        """
        self.size += sum(entry.file_size for entry in packed.infolist())
        if self.size > MOST_UNPACKED_BYTES:
            raise InvalidInput(
                "file_too_large",
                f"The workbook unpacks to {self.size} bytes, with those before it; at most {MOST_UNPACKED_BYTES} are "
                "read.",
            )
        for entry in packed.infolist():
            with packed.open(entry) as part:
                end = b""
                while piece := part.read(_PIECE):
                    self.tags += piece.count(b"<")
                    if b"<!DOCTYPE" in end + piece and entry.filename.lower().endswith((".xml", ".rels")):
                        raise _no_workbook()
                    if self.tags > MOST_TAGS:
                        raise InvalidInput(
                            "too_many_cells",
                            f"The workbook has more than {MOST_TAGS} marks of cells and words, with those before it: "
                            "save its pages one by one.",
                        )
                    end = piece[-len(b"<!DOCTYPE") :]


def _no_workbook() -> InvalidInput:
    return InvalidInput("not_a_workbook", "The file is no workbook that can be read; save it again as .xlsx.")


def _pages_of_workbook(name: str, content: bytes, size: _Unpacked) -> list[Page]:
    if len(content) > MOST_BYTES:
        raise InvalidInput("file_too_large", f"The file has {len(content)} bytes; at most {MOST_BYTES} are read.")
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            size.add(packed)
        return list(_pages_of_sheets(name, load_workbook(io.BytesIO(content), read_only=True, data_only=True)))
    except (
        InvalidFileException, zipfile.BadZipFile, zlib.error, ParseError, LookupError, ValueError, OSError, EOFError,
        TypeError, AttributeError, RuntimeError, NotImplementedError,
    ):  # fmt: skip
        # Broken, locked by a password, or not what it says that it is: the library fails in many ways, row by row.
        raise _no_workbook() from None


def _pages_of_sheets(name: str, book: Any) -> Iterator[Page]:
    only_one = len(book.worksheets) == 1
    cell_count = 0
    for sheet in book.worksheets:
        # What a page says of its own size need not be so, and what lies beyond it would be left out in silence.
        sheet.reset_dimensions()
        table_rows: list[tuple[int, tuple[str, ...]]] = []
        typed: list[list[bool]] = []
        for line, cells in enumerate(sheet.iter_rows(values_only=True, max_col=MOST_COLUMNS), start=1):
            if line > MOST_ROWS:
                # Rows that are left out in between are made up by the library, a million for a single cell.
                raise InvalidInput(
                    "too_many_rows",
                    f"The page '{sheet.title}' goes on below row {MOST_ROWS}: delete what stands there, and save it.",
                )
            if cells.count(None) == len(cells):
                continue
            written = tuple(_written(cell) for cell in cells)
            if not any(written):
                continue
            table_rows.append((line, written))
            typed.append([isinstance(cell, str) for cell in cells])
            cell_count += len(written)
            if cell_count > MOST_CELLS:
                raise InvalidInput(
                    "too_many_cells", f"The workbook has more than {MOST_CELLS} cells: save its pages one by one."
                )
            if any(len(cell) > MOST_CELL for cell in written):
                raise InvalidInput(
                    "cell_too_long",
                    f"Row {line} of the page '{sheet.title}' has a cell of more than {MOST_CELL} characters.",
                )
        if table_rows:
            table_rows = _without_grouping(table_rows, typed)
            above = _titles([sum(map(bool, cells)) for _, cells in table_rows[:_TITLE_LINES]])
            (header_line, headers), rows = table_rows[above], table_rows[above + 1 :]
            remarks = tuple(_title_remark(line, next(filter(None, cells))) for line, cells in table_rows[:above])
            known_as = (
                Path(name).stem
                if only_one and re.fullmatch(r"(?i)(sheet|tabelle|table)\s*\d*", sheet.title)
                else sheet.title
            )
            table = TextTable(headers, tuple(rows), header_line, False)
            yield Page(f"{name}, page '{sheet.title}'", known_as, table, remarks)


def _without_grouping(
    rows: list[tuple[int, tuple[str, ...]]], typed: Sequence[Sequence[bool]]
) -> list[tuple[int, tuple[str, ...]]]:
    """Rows whose cells that were typed as text lost the points that group thousands, where other such cells have a
    decimal comma: '1.200' beside '17,5'. Of numbers the workbook itself says what they are."""
    texts = [
        cell
        for (_, cells), are in zip(rows, typed, strict=True)
        for cell, is_text in zip(cells, are, strict=True)
        if is_text
    ]
    if not any(DECIMAL_COMMA.match(cell) for cell in texts):
        return rows
    return [
        (line, tuple(without_grouping(cell) if is_text else cell for cell, is_text in zip(cells, are, strict=True)))
        for (line, cells), are in zip(rows, typed, strict=True)
    ]


def _written(cell: Any) -> str:
    """A cell of a workbook as it would be written in a text file with points for decimals."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return f"{cell:%Y-%m-%d}" if cell.time() == time() else f"{cell:%Y-%m-%d %H:%M:%S}"
    if isinstance(cell, date):
        return f"{cell:%Y-%m-%d}"
    if isinstance(cell, time):
        return f"{cell:%H:%M}"
    if isinstance(cell, float):
        return f"{cell:.15g}"
    return str(cell).strip()
