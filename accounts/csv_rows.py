"""Rows of comma-separated values, for programs and spreadsheets."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

MEDIA_TYPE: Final = "text/csv"

# With one of these a spreadsheet begins a formula.
_BEGINS_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
_NUMBER: Final = re.compile(r"[+-]?\d+(\.\d+)?")


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Rows under a header; no text is taken for a formula by a spreadsheet."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([harmless(cell) for cell in row] for row in rows)
    return stream.getvalue()


def harmless(cell: Any) -> Any:
    """A cell that no spreadsheet takes for a formula: an apostrophe stands before a text that begins like one.

    >>> harmless("=1+1"), harmless("+49 30 5550100"), harmless("-12.50"), harmless(-3)
    ("'=1+1", "'+49 30 5550100", '-12.50', -3)
    """
    if isinstance(cell, str) and cell.startswith(_BEGINS_FORMULA) and not _NUMBER.fullmatch(cell):
        return f"'{cell}"
    return cell


def as_meant(cell: str) -> str:
    """A cell without the apostrophe that `harmless` set before it.

    >>> as_meant("'=1+1"), as_meant("'tHooft"), as_meant("=1+1")
    ('=1+1', "'tHooft", '=1+1')
    """
    return cell[1:] if cell.startswith("'") and harmless(cell[1:]) == cell else cell
