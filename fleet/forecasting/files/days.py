"""Days and times as people write them in cells, and dates that could be two."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

import numpy as np

from fleet.engineering.constants import SECONDS_PER_DAY

UNIX_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_TIME: Final = r"(?:[T ,]+(?P<hour>\d{1,2})[:.](?P<minute>\d{2})(?::(?P<second>\d{2}))?\s*(?P<half>[ap]\.?m\.?)?)?$"
_YEAR_FIRST: Final = re.compile(r"^(?P<year>\d{4})[/.](?P<month>\d{1,2})[/.](?P<day>\d{1,2})" + _TIME, re.IGNORECASE)
_DOTTED: Final = re.compile(r"^(?P<day>\d{1,2})\.\s?(?P<month>\d{1,2})\.\s?(?P<year>\d{4})" + _TIME, re.IGNORECASE)
_NUMBERS: Final = re.compile(
    r"^(?P<first>\d{1,2})[/-](?P<second_one>\d{1,2})[/-](?P<year>\d{4})" + _TIME, re.IGNORECASE
)
_DAY_NAMED: Final = re.compile(
    r"^(?P<day>\d{1,2})(?:st|nd|rd|th|\.)?[ -](?P<name>[a-zä]{3,9})\.?,?[ -](?P<year>\d{4})" + _TIME, re.IGNORECASE
)
_MONTH_NAMED: Final = re.compile(
    r"^(?P<name>[a-zä]{3,9})\.? (?P<day>\d{1,2})(?:st|nd|rd|th)?,? (?P<year>\d{4})" + _TIME, re.IGNORECASE
)
_PLAIN_NUMBER: Final = re.compile(r"^\d{5}(\.\d+)?$")
_SPREADSHEET: Final = (36_526.0, 60_000.0)
_SPREADSHEET_EPOCH: Final = 25_569.0
_MONTH_NAMES: Final = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
_GERMAN_MONTH_NAMES: Final = (
    "januar", "februar", "märz", "april", "mai", "juni", "juli", "august", "september", "oktober", "november",
    "dezember",
)  # fmt: skip


def day_of(text: str) -> float:
    """Days since 1970-01-01 UTC of an ISO 8601 date or time; without an offset it is UTC.

    Raises
    ------
    ValueError
        When the text is neither that nor a number of days.

    >>> day_of("1970-01-02T12:00:00+00:00")
    1.5
    >>> day_of("20000.25")
    20000.25
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        number = float(text)
        if not np.isfinite(number):
            raise ValueError(f"{text!r} is not a time") from None
        return number
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return (moment - UNIX_EPOCH).total_seconds() / SECONDS_PER_DAY


def is_day_first(cells: Iterable[str]) -> bool | None:
    """Whether '3/4/2025' is the third of April, by the other dates of the same file; None when they do not tell.

    >>> is_day_first(["3/4/2025", "13/4/2025"]), is_day_first(["3/4/2025", "4/13/2025"]), is_day_first(["3/4/2025"])
    (True, False, None)
    >>> is_day_first(["3/13/2025", "3/5/2025"])
    False
    """
    pairs = {(int(match["first"]), int(match["second_one"])) for cell in cells if (match := _NUMBERS.match(cell))}
    day_first = any(first > 12 for first, _ in pairs)
    month_first = any(second > 12 for _, second in pairs)
    return day_first if day_first != month_first else None


@dataclass(frozen=True)
class DateOrders:
    """Distinct dates of a file with slashes or hyphens: those that can only be one order, and those that can be two."""

    day_first: tuple[str, ...]
    month_first: tuple[str, ...]
    unclear: tuple[str, ...]


def certain_orders(cells: Iterable[str]) -> DateOrders:
    """Sort the dates of a file by the orders in which they can be read.

    >>> certain_orders(["3/4/2025", "13/4/2025", "4/13/2025", "5/5/2025", "2025-04-03"])
    DateOrders(day_first=('13/4/2025',), month_first=('4/13/2025',), unclear=('3/4/2025',))
    """
    day_first, month_first, unclear = [], [], []
    for cell in dict.fromkeys(cells):
        match = _NUMBERS.match(cell)
        if match is None:
            continue
        first, second = int(match["first"]), int(match["second_one"])
        if first > 12:
            day_first.append(cell)
        elif second > 12:
            month_first.append(cell)
        elif first != second:
            unclear.append(cell)
    return DateOrders(tuple(day_first), tuple(month_first), tuple(unclear))


def written_day(text: str, day_first: bool | None) -> float:
    """Days since 1970-01-01 UTC of a date or time as people write it.

    A number of days that would be of the years 2070 to 2134 is a spreadsheet's, counted from 1899-12-30 (from memory).

    Raises
    ------
    ValueError
        Says what is wrong and what would be right.

    >>> written_day("2 March 2025", None) == written_day("2.3.2025", None) == written_day("2/3/2025", True)
    True
    """
    try:
        day = day_of(text)
    except ValueError:
        pass
    else:
        is_spreadsheet = _PLAIN_NUMBER.match(text) is not None and _SPREADSHEET[0] <= day <= _SPREADSHEET[1]
        return day - _SPREADSHEET_EPOCH if is_spreadsheet else day
    for pattern in (_YEAR_FIRST, _DOTTED, _NUMBERS, _DAY_NAMED, _MONTH_NAMED):
        match = pattern.match(text)
        if match is not None:
            return _moment(match, text, day_first)
    raise ValueError(f"{text[:40]!r} is not a time; write 2026-03-01 or 2026-03-01T09:30+01:00")


def _moment(match: re.Match[str], text: str, day_first: bool | None) -> float:
    parts = match.groupdict()
    year = int(parts["year"])
    if "name" in parts:
        month, day = _month(parts["name"], text), int(parts["day"])
    elif "first" in parts:
        first, second = int(parts["first"]), int(parts["second_one"])
        if first != second and first <= 12 and second <= 12 and day_first is None:
            raise ValueError(
                f"{text[:40]!r} may be {year}-{second:02}-{first:02} or {year}-{first:02}-{second:02}; write the one "
                "that is meant"
            )
        is_day = first > 12 or (second <= 12 and bool(day_first))
        day, month = (first, second) if is_day else (second, first)
    else:
        month, day = int(parts["month"]), int(parts["day"])
    hour = int(parts["hour"] or 0)
    half = (parts["half"] or "").lower().replace(".", "")
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0)
    try:
        moment = datetime(year, month, day, hour, int(parts["minute"] or 0), int(parts["second"] or 0), tzinfo=UTC)
    except ValueError:
        raise ValueError(f"{text[:40]!r} is no day of the calendar; write 2026-03-01") from None
    return (moment - UNIX_EPOCH).total_seconds() / SECONDS_PER_DAY


def _month(name: str, text: str) -> int:
    for names in (_MONTH_NAMES, _GERMAN_MONTH_NAMES):
        for number, month in enumerate(names, start=1):
            if len(name) >= 3 and month.startswith(name.lower()):
                return number
    raise ValueError(f"{text[:40]!r} names no month; write 2026-03-01")
