"""Opening hours in one cell, both ways: 'Mon-Fri 08:00-17:00; Sat 09:00-12:00'."""

import re
from collections.abc import Iterable
from datetime import date, time
from typing import Any, Final

from scheduling.company_files.cells import hour_of, weekdays_of

_DAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_WINDOW: Final = re.compile(
    r"^(?P<days>[^\d]+?)\s*(?P<opens>\d[\d:.]*\s*(?:[ap]m)?)\s*(?:-|–|to)\s*(?P<closes>\d[\d:.]*\s*(?:[ap]m)?)$"
)
_EXCEPTION: Final = re.compile(
    r"^(?P<first>\d{4}-\d{2}-\d{2})(?:\s*/\s*(?P<last>\d{4}-\d{2}-\d{2}))?"
    r"(?:\s+(?P<opens>\d{1,2}:\d{2})-(?P<closes>\d{1,2}:\d{2}))?(?:\s+(?P<reason>.+))?$"
)


def windows_of(cell: str) -> list[dict[str, Any]]:
    """Access windows of a cell.

    Raises
    ------
    ValueError
        For what is no opening hours.

    >>> windows_of("Mon-Tue 8-12")
    [{'weekday': 0, 'opens': '08:00', 'closes': '12:00'}, {'weekday': 1, 'opens': '08:00', 'closes': '12:00'}]
    """
    windows = []
    for part in (part.strip() for part in cell.split(";")):
        if not part:
            continue
        match = _WINDOW.match(part)
        if match is None:
            raise ValueError(f"'{part[:40]}' is no opening hours; write 'Mon-Fri 08:00-17:00; Sat 09:00-12:00'")
        opens, closes = hour_of(match["opens"]), hour_of(match["closes"])
        windows += [{"weekday": day, "opens": opens, "closes": closes} for day in weekdays_of(match["days"])]
    return windows


def windows_in_cell(windows: Iterable[Any]) -> str:
    """The cell of stored access windows; days with the same hours that follow one another stand together."""
    spans: list[tuple[int, int, time, time]] = []
    for window in sorted(windows, key=lambda each: (each.opens, each.closes, each.weekday)):
        if spans and spans[-1][1] == window.weekday - 1 and spans[-1][2:] == (window.opens, window.closes):
            spans[-1] = (spans[-1][0], window.weekday, window.opens, window.closes)
        else:
            spans.append((window.weekday, window.weekday, window.opens, window.closes))
    return "; ".join(
        f"{_DAYS[first]}{f'-{_DAYS[last]}' if last > first else ''} {opens:%H:%M}-{closes:%H:%M}"
        for first, last, opens, closes in sorted(spans)
    )


def exceptions_of(cell: str) -> list[dict[str, Any]]:
    """Exceptions of a cell: '2026-12-24/2026-12-31 holidays; 2026-11-02 10:00-12:00'; without hours it is closed.

    Raises
    ------
    ValueError
        For what is none.
    """
    exceptions = []
    for part in (part.strip() for part in cell.split(";")):
        if not part:
            continue
        match = _EXCEPTION.match(part)
        if match is None:
            raise ValueError(
                f"'{part[:40]}' is no exception; write '2026-12-24/2026-12-31 holidays' where it is closed, or "
                "'2026-11-02 10:00-12:00'"
            )
        exceptions.append(
            {
                "first_day": match["first"],
                "last_day": match["last"] or match["first"],
                "opens": match["opens"],
                "closes": match["closes"],
                "reason": match["reason"] or "",
            }
        )
    return exceptions


def exceptions_in_cell(exceptions: Iterable[Any]) -> str:
    """The cell of stored exceptions."""

    def days(first: date, last: date) -> str:
        return f"{first:%Y-%m-%d}" + (f"/{last:%Y-%m-%d}" if last > first else "")

    parts = []
    for each in sorted(exceptions, key=lambda row: (row.first_day, row.pk)):
        hours = f" {each.opens:%H:%M}-{each.closes:%H:%M}" if each.opens is not None else ""
        reason = f" {' '.join(each.reason.replace(';', ',').split())}" if each.reason else ""
        parts.append(days(each.first_day, each.last_day) + hours + reason)
    return "; ".join(parts)
