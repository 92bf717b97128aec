"""Rows of comma-separated values, for programs and spreadsheets."""

import csv
import io
from collections.abc import Iterable, Sequence
from typing import Any, Final

MEDIA_TYPE: Final = "text/csv"


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """Rows under a header; no text is taken for a formula by a spreadsheet."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(header)
    writer.writerows([_as_text(cell) for cell in row] for row in rows)
    return stream.getvalue()


def _as_text(cell: Any) -> Any:
    """A cell that no spreadsheet takes for a formula; a number of money may begin with a minus."""
    if isinstance(cell, Amount) or not isinstance(cell, str):
        return cell
    return f"'{cell}" if cell[:1] in {"=", "+", "-", "@", "\t", "\r"} else cell


class Amount(str):
    """A number written out, such as '-12.50'."""

    __slots__ = ()
