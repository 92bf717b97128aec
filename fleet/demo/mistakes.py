"""The mistakes people make in logs, made on purpose in a few lines so that one can see what becomes of them."""

from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

import numpy as np

if TYPE_CHECKING:
    from fleet.demo.log_files import LogFile, LogRow

REFUSED, FLAGGED, REPEATED = "refused", "flagged", "repeated"

KINDS: Final[dict[str, str]] = {
    "pressure of 600 psi": REFUSED,
    "decimal point slipped in a pressure": REFUSED,
    "letters in a number": REFUSED,
    "unit that does not exist": REFUSED,
    "no unit named": REFUSED,
    "date in the future": REFUSED,
    "date that does not exist": REFUSED,
    "date that reads two ways": REFUSED,
    "flow below zero": REFUSED,
    "temperature in the other scale": REFUSED,
    "no temperature for a meter that needs it": REFUSED,
    "nothing measured": REFUSED,
    "pH without its point": REFUSED,
    "feed and permeate transposed": FLAGGED,
    "row pasted twice": REPEATED,
}
"""What goes wrong -> what intake does with such a row: refuse it, keep it with a flag, or store it once."""

_PLAN: Final = (
    ("installer-runa.csv", "pressure of 600 psi"),
    ("installer-runa.csv", "letters in a number"),
    ("installer-runa.csv", "unit that does not exist"),
    ("installer-runa.csv", "date in the future"),
    ("installer-runa.csv", "row pasted twice"),
    ("installer-pelle.csv", "decimal point slipped in a pressure"),
    ("installer-pelle.csv", "feed and permeate transposed"),
    ("installer-pelle.csv", "date that reads two ways"),
    ("installer-pelle.csv", "flow below zero"),
    ("installer-tilda.csv", "temperature in the other scale"),
    ("installer-tilda.csv", "date that does not exist"),
    ("installer-tilda.csv", "no unit named"),
    ("installer-tilda.csv", "nothing measured"),
    ("installer-tilda.csv", "no temperature for a meter that needs it"),
    ("client-s04.csv", "row pasted twice"),
    ("client-s04.csv", "letters in a number"),
    ("client-s23.csv", "feed and permeate transposed"),
    ("client-s31.csv", "date in the future"),
    ("office-phone-notes.csv", "unit that does not exist"),
    ("office-phone-notes.csv", "letters in a number"),
    ("meters-a.csv", "row pasted twice"),
    ("meters-b.csv", "date in the future"),
    ("feed-water-runa.csv", "pH without its point"),
    ("feed-water-pelle.csv", "letters in a number"),
    ("feed-water-tilda.csv", "row pasted twice"),
)


def make(files: "Sequence[LogFile]", *, as_of: date, zone: ZoneInfo, random: np.random.Generator) -> None:
    """Spoil a line or two of the logs; each spoilt row says in `mistake` what was done to it."""
    by_name = {file.name: file for file in files}
    for name, kind in _PLAN:
        file = by_name.get(name)
        if file is None:
            continue
        able = [index for index, row in enumerate(file.rows) if _can(row, kind)]
        # The newest lines matter most to a forecast, and a told story must not hang on a spoilt one.
        able = able[len(able) // 3 : -3] or able
        if not able:
            continue
        index = able[int(random.integers(0, len(able)))]
        if kind == "row pasted twice":
            file.rows.insert(index + 1, _copy(file.rows[index], kind))
            continue
        row = file.rows[index]
        _SPOIL[kind](row, as_of)
        row.mistake = kind


def _can(row: "LogRow", kind: str) -> bool:
    if row.mistake or row.cells.get("note"):
        return False
    needed = {
        "pressure of 600 psi": ("inlet pressure",),
        "decimal point slipped in a pressure": ("inlet pressure",),
        "feed and permeate transposed": ("feed TDS", "permeate TDS"),
        "flow below zero": ("permeate flow",),
        "temperature in the other scale": ("temperature",),
        "no temperature for a meter that needs it": ("temperature", "feed TDS"),
        "letters in a number": (_first_number(row),),
    }.get(kind, ())
    return all(_column(row, name) for name in needed)


def _column(row: "LogRow", name: str) -> str:
    """The header of a quantity that this row fills, or nothing."""
    return next((head for head, cell in row.cells.items() if cell and head.split(" [")[0] == name and name), "")


def _first_number(row: "LogRow") -> str:
    return next((head.split(" [")[0] for head, cell in row.cells.items() if "TDS" in head and cell), "")


def _copy(row: "LogRow", kind: str) -> "LogRow":
    return type(row)(dict(row.cells), row.at, kind)


def _put(name: str, change: Callable[[str], str]) -> "Callable[[LogRow, date], None]":
    def spoil(row: "LogRow", as_of: date) -> None:
        head = _column(row, name)
        row.cells[head] = change(row.cells[head])

    return spoil


def _letters(row: "LogRow", as_of: date) -> None:
    head = _column(row, _first_number(row))
    row.cells[head] = f"ca. {row.cells[head]}"


def _no_such_unit(row: "LogRow", as_of: date) -> None:
    site, number = row.cells["unit"].split("-")
    row.cells["unit"] = f"{site}-{int(number) + 7}"


def _future(row: "LogRow", as_of: date) -> None:
    ahead = as_of + timedelta(days=40 + row.at.day)
    text = row.cells["taken at"]
    if text[2] == ".":
        row.cells["taken at"] = f"{ahead:%d.%m.%Y}{text[10:]}"
    else:
        row.cells["taken at"] = f"{ahead:%Y-%m-%d}{text[10:]}"


def _transpose(row: "LogRow", as_of: date) -> None:
    feed, permeate = _column(row, "feed TDS"), _column(row, "permeate TDS")
    row.cells[feed], row.cells[permeate] = row.cells[permeate], row.cells[feed]


def _nothing(row: "LogRow", as_of: date) -> None:
    for head in list(row.cells):
        if "[" in head or head in {"feed pH", "minutes since start"}:
            row.cells[head] = ""
    row.cells["note"] = "looked fine"


def _day_month(row: "LogRow", as_of: date) -> None:
    row.cells["taken at"] = f"{row.at:%d/%m/%Y %H:%M}"


def _no_such_date(row: "LogRow", as_of: date) -> None:
    row.cells["taken at"] = f"{row.at:%Y}-02-30 {row.at:%H:%M}"


def _no_unit(row: "LogRow", as_of: date) -> None:
    row.cells["unit"] = ""


_SPOIL: "Final[dict[str, Callable[[LogRow, date], None]]]" = {
    "pressure of 600 psi": _put("inlet pressure", lambda cell: "600"),
    "decimal point slipped in a pressure": _put("inlet pressure", lambda cell: cell.replace(".", "")),
    "letters in a number": _letters,
    "unit that does not exist": _no_such_unit,
    "no unit named": _no_unit,
    "date in the future": _future,
    "date that does not exist": _no_such_date,
    "date that reads two ways": _day_month,
    "flow below zero": _put("permeate flow", lambda cell: f"-{cell}"),
    "temperature in the other scale": _put("temperature", lambda cell: f"{float(cell) * 1.8 + 32:.1f}"),
    "no temperature for a meter that needs it": _put("temperature", lambda cell: ""),
    "nothing measured": _nothing,
    "pH without its point": _put("pH", lambda cell: cell.replace(".", "")),
    "feed and permeate transposed": _transpose,
}
