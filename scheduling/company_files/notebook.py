"""A notebook of readings, one row a value ('what' and 'value'), as the table that the logs are: one row a look."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from fleet.forecasting.files.headers import tidy
from fleet.intake.tables import TextTable
from scheduling.company_files.pages import Page

_WHAT: Final = frozenset(("what", "quantity", "measurement", "parameter", "reading", "measured", "test", "messgroesse"))
_VALUE: Final = frozenset(("value", "result", "wert", "messwert", "ergebnis"))
_UNIT: Final = frozenset(("unit of measure", "units", "uom", "einheit"))
_SHARED: Final = frozenset(
    (
        *("unit", "unit_code", "unit_no", "unit_id", "anlage", "site", "site_code"),
        *("when", "date", "day", "taken_at", "time", "hour", "datum", "uhrzeit"),
    )
)
"""What the values of one look at a unit have in common."""


def in_columns(page: Page) -> Page:
    """A page with one row a value as one with a column for each quantity; any other page as it is.

    A row keeps the line of the first of its values, and what stands beside them there; a second value of the same
    thing at the same look begins a row of its own.

    Examples
    --------
    Rows `7 May, U1, tap tds, 255 ppm` and `7 May, U1, psi, 51` under `when, unit, what, value` make one row under
    `when, unit, tap tds, psi`.
    """
    names = [tidy(header) for header in page.table.headers]
    what, value = _only(names, _WHAT), _only(names, _VALUE)
    if what is None or value is None or not _SHARED.intersection(names):
        return page
    measure = _only(names, frozenset(map(tidy, _UNIT)))
    kept = [place for place in range(len(names)) if place not in (what, value, measure)]
    shared = [place for place in kept if names[place] in _SHARED]
    quantities = list(dict.fromkeys(name for _, cells in page.table.rows if (name := _cell(cells, what))))
    at = {tidy(name): place for place, name in reversed(list(enumerate(quantities)))}
    rows: list[tuple[int, list[str], list[str]]] = []
    open_rows: dict[tuple[str, ...], int] = {}
    for line, cells in page.table.rows:
        key = tuple(_cell(cells, place).casefold() for place in shared)
        name = _cell(cells, what)
        written = " ".join(
            part for part in (_cell(cells, value), "" if measure is None else _cell(cells, measure)) if part
        )
        number = open_rows.get(key)
        if number is None or (name and rows[number][2][at[tidy(name)]]):
            number = open_rows[key] = len(rows)
            rows.append((line, [_cell(cells, place) for place in kept], [""] * len(quantities)))
        if name:
            rows[number][2][at[tidy(name)]] = written
    # Two spellings of one quantity stand in the column of the first.
    used = sorted(set(at.values()))
    table = TextTable(
        (*(page.table.headers[place] for place in kept), *(quantities[place] for place in used)),
        tuple((line, (*beside, *(values[place] for place in used))) for line, beside, values in rows),
        page.table.header_line,
        page.table.decimal_comma,
    )
    remark = f"Read as a notebook, one row a value: {len(page.table.rows)} values make {len(rows)} readings."
    return replace(page, table=table, remarks=(*page.remarks, remark))


def _only(names: Sequence[str], meant: frozenset[str]) -> int | None:
    places = [place for place, name in enumerate(names) if name in meant]
    return places[0] if len(places) == 1 else None


def _cell(cells: Sequence[str], place: int) -> str:
    return cells[place].strip() if place < len(cells) else ""
