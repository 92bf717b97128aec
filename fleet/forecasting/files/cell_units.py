"""Units that stand in the cells of a column instead of its header, or beside it."""

import re
from typing import Final

from fleet.forecasting.files.guide import FileColumn
from fleet.forecasting.files.quantities import fits_unit

_PLAIN: Final = re.compile(r"[0-9.]*")
_WITH_UNIT: Final = re.compile(r"^((?:[~≈<>≤≥]|ca\.?|about)?\s*[+−-]?[\d.,'’ \u00a0]*\d)\s*([a-zA-Zµμ°%].*)$")


def unit_of_cells(cells: list[str], column: FileColumn, header_unit: str) -> tuple[list[str], str]:
    """The cells without a unit that stands in them, and the unit of the column.

    Taken off is one unit alone, that of the header if it has one. Where the cells have several, or some have none and
    the header neither, they are left as they are: what one of them means cannot be said for all.

    >>> from fleet.forecasting.files.guide import GUIDE
    >>> line_pressure = next(each for each in GUIDE["readings.csv"] if each.field == "line_pressure_kpa")
    >>> unit_of_cells(["3.5 bar", "", "4bar"], line_pressure, "")
    (['3.5', '', '4'], 'bar')
    >>> unit_of_cells(["3.5 bar", "60 psi"], line_pressure, "")
    (['3.5 bar', '60 psi'], '')
    """
    if all(map(_PLAIN.fullmatch, cells)):
        return cells, header_unit
    match_of_cell = {cell: match for cell in set(cells) if (match := _WITH_UNIT.match(cell))}
    units = {match[2].strip() for match in match_of_cell.values()}
    if len({unit.casefold() for unit in units}) != 1:
        return cells, header_unit
    unit = min(units)
    is_same = unit.casefold() == header_unit.strip().casefold()
    if header_unit and not is_same:
        return cells, header_unit
    if not header_unit and (any(cell and cell not in match_of_cell for cell in cells) or not fits_unit(column, unit)):
        return cells, header_unit
    return [match_of_cell[cell][1].strip() if cell in match_of_cell else cell for cell in cells], header_unit or unit
