"""Cells as people write them become what the API takes: numbers with decimal commas, days of either order, words."""

import difflib
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np

from accounts.day_alone import day_alone
from fleet.forecasting.files.days import UNIX_EPOCH, written_day
from fleet.forecasting.files.headers import tidy
from fleet.forecasting.files.numbers import Numbers, read_numbers
from fleet.forecasting.files.words import FLAGS, SYNONYMS
from fleet.intake.tables import TextTable
from scheduling.company_files.columns import Column, Headed, without_size
from scheduling.company_files.lots import lots_of
from scheduling.company_files.price_breaks import price_breaks_of
from scheduling.company_files.written import (
    day_order,
    home_unit,
    in_days,
    number_and_unit,
    per_week,
    with_century,
    without_comma_groups,
    without_money,
)

_NOT_KNOWN: Final = frozenset(
    (
        *("", "-", "--", "n/a", "na", "nan", "none", "null", "nil", "?", "unknown", "not known"),
        *("k.a.", "k. a.", "unbekannt", "fehlt"),
    )
)
_UNITS_OF_HEADERS: Final = {"micron": "um", "microns": "um", "gpd": "US gpd"}
"""Headers that are units themselves, or end with one: 'GPD', 'Membrane GPD'."""
DECIMAL_COMMA: Final = re.compile(r"^[+-]?\d+,\d+$")
_GROUPED_BY_POINTS: Final = re.compile(r"^[+-]?\d{1,3}(\.\d{3})+(,\d+)?$")
_YEAR: Final = re.compile(r"^(19|20)\d\d$")
_MONTH_ALONE: Final = re.compile(r"^[a-zä]{3,9}\.? (19|20)\d\d$", re.IGNORECASE)
_NUMBER: Final = re.compile(r"^\d+(\.\d+)?$")
_SERIAL_DAYS: Final = (36_526.0, 60_000.0)
_HAS_HOUR: Final = re.compile(r"\d[T ,]+\d{1,2}[:.]\d{2}(?![.\d])")
_INCH: Final = re.compile(r"(?<=\d)\s*(?:\"|”|″|''|in)$")
_NUMBER_BEHIND: Final = re.compile(r"\s*#?\s*([12])(?=$|\s+(?:last\s+)?(?:changed|replaced|date)\b)", re.IGNORECASE)
_CLOSE_WORDS: Final = 0.75
_OFFSET: Final = re.compile(r"\d(Z|[+-]\d{2}:?\d{2})$", re.IGNORECASE)
_HOUR: Final = re.compile(r"^(\d{1,2})(?:[:.h](\d{2}))?(?::\d{2})?\s*(?:([ap])?\.?m?\.?|uhr)$", re.IGNORECASE)
_DAY_NAMES: Final = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_GERMAN_DAY_NAMES: Final = ("montag", "dienstag", "mittwoch", "donnerstag", "freitag", "samstag", "sonntag")


@dataclass(frozen=True)
class Habits:
    """How a file writes: whether a comma can be a decimal sign, whether a day stands before its month, which zone,
    whether points group thousands, whether commas do and gallons are those of the United States; and what people must
    be told of it."""

    decimal_comma: bool
    day_first: bool
    zone: ZoneInfo
    points_group: bool = False
    is_us: bool = False
    remark: str = ""


@dataclass
class CellColumn:
    """The values of a column, None where nothing is known; by row, why a cell was not read, and how one was."""

    values: list[Any] = field(default_factory=list)
    trouble: dict[int, str] = field(default_factory=dict)
    notes: dict[int, str] = field(default_factory=dict)


def habits_of(
    columns: Sequence[tuple[Column, Sequence[str]]], table: TextTable, *, is_us: bool, zone: ZoneInfo
) -> Habits:
    """How a file writes, by its own cells where they tell, else by where the company is at home."""
    days = [cell for column, cells in columns if column.kind in ("day", "moment", "day_or_moment") for cell in cells]
    day_first, remark = day_order(map(with_century, days), is_us=is_us)
    return Habits(table.decimal_comma, day_first, zone, points_group=points_group_in(table), is_us=is_us, remark=remark)


def points_group_in(table: TextTable) -> bool:
    """Whether a file writes decimals behind a comma, so that a point between its digits groups thousands."""
    return table.decimal_comma and any(DECIMAL_COMMA.match(cell) for _, cells in table.rows for cell in cells)


def without_grouping(cell: str) -> str:
    """A number without the points that group its thousands: '1.300' of a file that writes '4,20'.

    >>> without_grouping("1.300"), without_grouping("1.3"), without_grouping("12.345,6")
    ('1300', '1.3', '12345,6')
    """
    return cell.replace(".", "") if _GROUPED_BY_POINTS.match(cell) else cell


def known_of(cell: str) -> str:
    """A cell; empty where it says that nothing is known.

    >>> known_of(" 4,2 "), known_of("k.A.")
    ('4,2', '')
    """
    return "" if cell.strip().lower() in _NOT_KNOWN else cell.strip()


def read_cells(headed: Headed, cells: Sequence[str], habits: Habits) -> CellColumn:
    """Read a column."""
    column = headed.column
    # 'none' can be a word of its own: no tank, no tax.
    tidied = [cell.strip() if tidy(cell) in column.words else known_of(cell) for cell in cells]
    if column.kind in ("number", "whole", "quantity"):
        return _numbers(headed, tidied, habits)
    out = CellColumn()
    for row, cell in enumerate(tidied):
        value: Any = None
        if cell:
            try:
                value = read_cell(column, cell, habits)
            except ValueError as error:
                value = _word_among(column, cell) or _first_of_month(column, cell, habits)
                if value is None:
                    out.trouble[row] = str(error)
                else:
                    out.notes[row] = f"'{cell[:40]}' is taken as '{value}'"
        out.values.append(value)
    return out


def read_cell(column: Column, cell: str, habits: Habits) -> Any:
    """What the API takes for one cell that is not empty.

    Raises
    ------
    ValueError
        Says what was wrong and what would be right.
    """
    match column.kind:
        case "word":
            return word_of(column, cell)
        case "yes_no":
            if cell.lower() not in FLAGS:
                raise ValueError(f"'{cell[:40]}' is neither yes nor no")
            return FLAGS[cell.lower()] == "yes"
        case "day":
            return day_of(cell, habits).isoformat()
        case "moment":
            return moment_of(cell, habits).isoformat()
        case "day_or_moment":
            return moment_of(cell, habits)
        case "hour":
            return hour_of(cell)
        case "weekdays":
            return weekdays_of(cell)
        case "price_breaks":
            return price_breaks_of(cell)
        case "lots":
            return lots_of(cell)
        case "list":
            return [part.strip() for part in re.split(r"[;,|]", cell) if part.strip()]
        case _:
            return cell


def moment_of(cell: str, habits: Habits) -> datetime:
    """The moment of a day and hour as written; a day alone as `accounts.day_alone` keeps it.

    Raises
    ------
    ValueError
        For what is no day.
    """
    if not has_hour(cell):
        return day_alone(day_of(cell, habits), habits.zone)
    at = UNIX_EPOCH + timedelta(days=_day(cell, habits))
    if _OFFSET.search(cell.strip()):
        return _whole_second(at)
    return _whole_second(at.replace(tzinfo=habits.zone).astimezone(UTC))


def local_moment_of(cell: str, habits: Habits) -> str:
    """A day and hour as the interface takes it, in the hour as it was written: an hour may come twice a year.

    Raises
    ------
    ValueError
        For what is no day.
    """
    at = _whole_second(UNIX_EPOCH + timedelta(days=_day(cell, habits)))
    return at.isoformat() if _OFFSET.search(cell.strip()) else at.replace(tzinfo=None).isoformat()


def day_of(cell: str, habits: Habits) -> date:
    """The day as written.

    Raises
    ------
    ValueError
        For what is no day.
    """
    return (UNIX_EPOCH + timedelta(days=_day(cell, habits))).date()


def _day(cell: str, habits: Habits) -> float:
    """Days since 1970 of a cell; a plain number is a day only as spreadsheets count them, never a year."""
    cell = with_century(cell)
    if _YEAR.match(cell):
        raise ValueError(f"'{cell}' is a year and no day; write the day, such as {cell}-06-30")
    if _NUMBER.match(cell) and not _SERIAL_DAYS[0] <= float(cell) <= _SERIAL_DAYS[1]:
        raise ValueError(f"'{cell[:40]}' is no day; write 2026-03-01")
    return written_day(cell, habits.day_first)


def has_hour(cell: str) -> bool:
    """Whether a cell tells the hour beside the day."""
    return _HAS_HOUR.search(cell) is not None


def _whole_second(at: datetime) -> datetime:
    # Days as floating numbers are exact to some microseconds.
    return (at + timedelta(microseconds=500_000)).replace(microsecond=0)


def word_of(column: Column, cell: str) -> str:
    """The word of a closed list that a cell means.

    Raises
    ------
    ValueError
        Naming the words that would be right.
    """
    # A nominal size is written with the sign of the inch.
    written = tidy(_INCH.sub(" inch", place_without_number(cell) if column.field == "stage" else cell))
    for form in (written, written.removesuffix("s")):
        if form in column.words:
            return form
        for other in _SAME_WORDS.get(column.field, (column.field,)):
            meant = SYNONYMS.get(other, {}).get(form)
            if meant in column.words:
                return str(meant)
    shown = ", ".join(f"'{word.replace('_', ' ')}'" for word in column.words)
    raise ValueError(f"'{cell[:40]}' is not one of {shown}{_nearest_word(column, written)}")


def place_without_number(place: str) -> str:
    """What people call a place of a train without its nominal size and its number.

    >>> place_without_number('10" sediment'), place_without_number("10in carbon"), place_without_number("DI 2")
    ('sediment', 'carbon', 'DI')
    >>> place_without_number("10 inch")
    '10 inch'
    """
    return _NUMBER_BEHIND.sub("", without_size(place))


def number_of_place(place: str) -> int | None:
    """The number behind the name of a place, of two in a row: 1 or 2; None where there is none.

    >>> number_of_place("DI 2"), number_of_place("DI #1 changed"), number_of_place("carbon")
    (2, 1, None)
    """
    match = _NUMBER_BEHIND.search(place.strip())
    return int(match[1]) if match else None


def _nearest_word(column: Column, written: str) -> str:
    """The nearest of the words that are known of a list, and what it stands for."""
    meant = {word: word for word in column.words}
    for other in _SAME_WORDS.get(column.field, (column.field,)):
        meant |= {word: meaning for word, meaning in SYNONYMS.get(other, {}).items() if meaning in column.words}
    # as near as another one, our own word comes first
    close = difflib.get_close_matches(written, column.words, n=1, cutoff=_CLOSE_WORDS)
    close = close or difflib.get_close_matches(written, list(meant), n=1, cutoff=_CLOSE_WORDS)
    if not close:
        return ""
    stands_for = f", which is '{meant[close[0]]}'" if meant[close[0]] != close[0] else ""
    return f"; did you mean '{close[0].replace('_', ' ')}'{stands_for}?"


def _first_of_month(column: Column, cell: str, habits: Habits) -> str | None:
    """The first day of a month that stands for a day: 'May 2022' of when a unit began; None for anything else."""
    if column.kind != "day" or not _MONTH_ALONE.match(cell):
        return None
    with suppress(ValueError):
        return day_of(f"1 {cell.replace('.', '')}", habits).isoformat()
    return None


def _word_among(column: Column, cell: str) -> str | None:
    """The one word of a closed list that a cell gives beside free words: 'clogged, brown'; None where there is none."""
    parts = [part for part in re.split(r"[,;/()]|\s[-–]\s", cell) if part.strip()]
    if column.kind != "word" or len(parts) < 2:
        return None
    meant = set()
    for part in parts:
        with suppress(ValueError):
            meant.add(word_of(column, part.strip()))
    return meant.pop() if len(meant) == 1 else None


_SAME_WORDS: Final = {"removal": ("reason",), "kind": ("kind", "stage", "item_kind")}
"""Columns whose words the fleet files know under another field."""


def hour_of(cell: str) -> str:
    """An hour of the day, such as '8', '08:30' or '5 pm', as HH:MM.

    >>> hour_of("8"), hour_of("08.30"), hour_of("5:15 pm"), hour_of("17 Uhr")
    ('08:00', '08:30', '17:15', '17:00')
    """
    match = _HOUR.match(cell.strip())
    if match is None:
        raise ValueError(f"'{cell[:40]}' is no hour of the day; write 08:30")
    hour, minute = int(match[1]), int(match[2] or 0)
    if match[3]:
        hour = hour % 12 + (12 if match[3].lower() == "p" else 0)
    if hour > 23 or minute > 59:
        raise ValueError(f"'{cell[:40]}' is no hour of the day; write 08:30")
    return f"{hour:02}:{minute:02}"


def weekdays_of(cell: str) -> list[int]:
    """Days of the week, 0 Monday to 6 Sunday, of 'Mon-Fri', 'Sat, Sun' or '0 1 2'.

    >>> weekdays_of("Mon-Wed, Sat"), weekdays_of("0 4")
    ([0, 1, 2, 5], [0, 4])
    """
    days: set[int] = set()
    for part in re.split(r"[,;/]|\s+(?![-–])(?<![-–]\s)", cell.strip()):
        if not part.strip():
            continue
        ends = [_weekday(end) for end in re.split(r"\s*[-–]\s*|\bto\b", part.strip())]
        if len(ends) > 2:
            raise ValueError(f"'{cell[:40]}' names no days of the week; write Mon-Fri or Sat, Sun")
        days |= set(range(ends[0], ends[-1] + 1)) if ends[0] <= ends[-1] else {*range(ends[0], 7), *range(ends[-1] + 1)}
    return sorted(days)


def _weekday(text: str) -> int:
    name = text.strip().lower()
    if name in tuple("0123456"):
        return int(name)
    for names in (_DAY_NAMES, _GERMAN_DAY_NAMES):
        for day, day_name in enumerate(names):
            if len(name) >= 2 and day_name.startswith(name.rstrip(".")):
                return day
    raise ValueError(f"'{text[:40]}' is no day of the week; write Mon, Tue, Wed, Thu, Fri, Sat or Sun")


def _numbers(headed: Headed, cells: list[str], habits: Habits) -> CellColumn:
    column = headed.column
    if column.quantity is not None:
        return _quantities(headed, cells, habits)
    if column.field.endswith("_days"):
        cells = [in_days(cell) for cell in cells]
    cells, grouped = _without_points_alone(column, cells, habits)
    of_percent = [headed.unit == "%" or cell.endswith("%") for cell in cells]
    numbers = plain_numbers([without_money(cell.rstrip("%")) for cell in cells], habits, may_be_below=False)
    out = CellColumn([], dict(numbers.trouble), grouped)
    for row, read in enumerate(numbers.values):
        value: float | int | None = float(read) if np.isfinite(read) else None
        if value is not None and column.field.endswith("_fraction"):
            if of_percent[row] or 1.0 < value <= 100.0:
                value /= 100.0
                if not of_percent[row]:
                    out.notes[row] = f"'{cells[row][:40]}' is taken as {value * 100:g} %"
        elif value is not None and column.kind == "whole":
            if value == round(value):
                value = int(value)
            else:
                value = None
                out.trouble[row] = f"'{cells[row][:40]}' is no whole number"
        out.values.append(value)
    return out


def _quantities(headed: Headed, cells: list[str], habits: Habits) -> CellColumn:
    """Numbers with the unit of their header, or their own: '75 gpd'."""
    quantity = headed.column.quantity
    assert quantity is not None
    cells, grouped = _without_points_alone(headed.column, cells, habits)
    split = [number_and_unit(cell) for cell in cells]
    of_header = headed.unit or _UNITS_OF_HEADERS.get(headed.header.strip().lower().rpartition(" ")[2], "")
    if not of_header and headed.header.strip() == headed.column.header:
        of_header = quantity.canonical_unit
    numbers = plain_numbers([number for number, _ in split], habits, may_be_below=False)
    out = CellColumn([], {}, grouped)
    for row, (read, (_, own)) in enumerate(zip(numbers.values, split, strict=True)):
        stated, factor = own or of_header, 1.0
        if headed.column.field == "weekly_demand":
            whose = "US " if stated.startswith("US ") else ""
            stated, factor = per_week(stated.removeprefix("US "))
            stated = whose + stated
        unit = home_unit(stated, is_us=habits.is_us)
        if not cells[row]:
            out.values.append(None)
        elif not unit and not quantity.bare_number_ok:
            # The interface says in which units it may come; decimals are written behind points there.
            out.values.append(f"{float(read):g}" if np.isfinite(read) else cells[row])
        elif np.isfinite(read):
            out.values.append({"value": float(read) * factor, "unit": unit})
            if factor != 1.0:
                out.notes[row] = f"'{cells[row][:40]}' a day is taken as {float(read) * factor:g} {unit} a week"
        else:
            out.values.append(None)
            out.trouble[row] = numbers.trouble.get(row, f"'{cells[row][:40]}' is not a number")
    return out


_POINTS_ALONE: Final = re.compile(r"^[1-9]\d{0,2}\.\d{3}$")


def _without_points_alone(column: Column, cells: list[str], habits: Habits) -> tuple[list[str], dict[int, str]]:
    """Numbers of a file that writes decimals behind commas, where every point of a column stands before three digits:
    it groups thousands. Coordinates have as many decimals as they like."""
    pointed = [cell for cell in cells if "." in cell]
    if (
        not habits.decimal_comma
        or habits.points_group
        or column.field.endswith(("latitude", "longitude"))
        or not all(map(_POINTS_ALONE.match, pointed))
    ):
        return cells, {}
    notes = {row: f"'{cell}' is taken as {cell.replace('.', '')}" for row, cell in enumerate(cells) if "." in cell}
    return [cell.replace(".", "") for cell in cells], notes


def plain_numbers(cells: list[str], habits: Habits, *, may_be_below: bool) -> Numbers:
    """Numbers of a column, with thousands grouped as the file or the company's country does."""
    if habits.points_group:
        cells = [without_grouping(cell) for cell in cells]
    if habits.is_us and not habits.decimal_comma:
        cells = without_comma_groups(cells)
    return read_numbers(cells, has_decimal_commas=habits.decimal_comma, may_be_below=may_be_below)
