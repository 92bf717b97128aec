"""Single cells: numbers, words, yes and no, moments. Each either understood or refused with a sentence."""

import re
from collections.abc import Mapping
from datetime import UTC, date, datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from accounts.day_alone import day_alone
from fleet.intake import words

_POINT_NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?")
_COMMA_NUMBER: Final = re.compile(r"[+-]?(?:\d+(?:,\d*)?|,\d+)")
_YES: Final = frozenset({"yes", "y", "true", "1", "x"})
_NO: Final = frozenset({"no", "n", "false", "0"})
_LOCAL: Final = re.compile(
    r"(\d{4})-(\d{1,2})-(\d{1,2})(?:[T ]+(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,]\d+)?)?)?\s*(Z|z|[+-]\d{2}:?\d{2})?"
)
_DAY_FIRST: Final = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[T ,]+(\d{1,2}):(\d{2})(?::(\d{2}))?)?")
_SLASHES: Final = re.compile(r"\d{1,4}/\d{1,2}/\d{1,4}\b.*")

MOMENT_FORMS: Final = (
    "'2026-03-04 14:05', '2026-03-04T14:05+01:00' or '04.03.2026 14:05', or, where no hour is known, '2026-03-04'"
)


class CellError(ValueError):
    """A cell that cannot be understood; the message is the sentence for the sender."""


def number_digits(text: str, *, decimal_comma: bool = False) -> str:
    """Return the digits of a number with a point for decimals.

    A comma is a decimal mark only in a file separated by semicolons.

    Raises
    ------
    CellError
        When the text is not one plain number.

    >>> number_digits(" 12,5 ", decimal_comma=True), number_digits("12.50"), number_digits("−3")
    ('12.5', '12.50', '-3')
    """
    tidy = text.strip().replace("−", "-").replace(" ", "")
    if _POINT_NUMBER.fullmatch(tidy):
        return tidy
    if _COMMA_NUMBER.fullmatch(tidy):
        if decimal_comma:
            return tidy.replace(",", ".")
        raise CellError(
            f"'{text}' is not a number here: write a point for decimals, or separate the columns by semicolons."
        )
    raise CellError(
        f"'{_short(text)}' is not a number; write digits with a point for decimals, or leave the cell empty."
    )


def word(text: str, words: Mapping[str, str]) -> str:
    """Find a word of a closed list, whatever its case; blanks and hyphens count as underscores.

    Parameters
    ----------
    words
        Accepted spelling in lower case with underscores -> stored word.

    Raises
    ------
    CellError
        Naming the words that would be right.

    >>> word("As found", {"as_found": "as_found"})
    'as_found'
    """
    tidy = re.sub(r"[\s\-]+", "_", text.strip().lower())
    if tidy in words:
        return words[tidy]
    shown = ", ".join(f"'{choice.replace('_', ' ')}'" for choice in dict.fromkeys(words.values()))
    raise CellError(f"'{_short(text)}' is not one of {shown}.")


def yes_or_no(text: str) -> bool:
    """Read yes or no.

    Raises
    ------
    CellError
        For anything else.

    >>> yes_or_no("Yes"), yes_or_no("0")
    (True, False)
    """
    tidy = text.strip().lower()
    if tidy in _YES:
        return True
    if tidy in _NO:
        return False
    raise CellError(f"'{_short(text)}' is neither yes nor no.")


def moment(text: str, zone: ZoneInfo) -> tuple[datetime, str]:
    """Read a date with a time, with its offset or in a time zone; or a day alone, as `accounts.day_alone` keeps it.

    Parameters
    ----------
    zone
        Zone of a time that carries no offset.

    Returns
    -------
    The moment in UTC, and a doubt: a sentence when the clock showed this time twice (end of summer time; the first is
    taken), else empty.

    Raises
    ------
    CellError
        For an unreadable or ambiguous date, and a time the clock never showed.

    >>> moment("2026-03-04 14:05", ZoneInfo("Europe/Berlin"))[0].isoformat()
    '2026-03-04T13:05:00+00:00'
    >>> moment("04.03.2026 14:05", ZoneInfo("UTC"))[0].isoformat()
    '2026-03-04T14:05:00+00:00'
    >>> moment("2026-03-04", ZoneInfo("Europe/Berlin"))[0].known_day.isoformat()
    '2026-03-04'
    """
    tidy = text.strip()
    iso = _LOCAL.fullmatch(tidy)
    day_first = _DAY_FIRST.fullmatch(tidy)
    if iso:
        year, month, day, hour, minute, second, offset = iso.groups()
    elif day_first:
        day, month, year, hour, minute, second = day_first.groups()
        offset = None
    elif _SLASHES.fullmatch(tidy):
        raise CellError(f"'{_short(text)}' can be read as day/month or month/day; write {MOMENT_FORMS}.")
    else:
        raise CellError(f"'{_short(text)}' is not a date and time; write {MOMENT_FORMS}.")
    if hour is None and offset:
        raise CellError(f"'{_short(text)}' has an offset and no time of day; write {MOMENT_FORMS}.")
    try:
        if hour is None:
            return day_alone(date(int(year), int(month), int(day)), zone), ""
        local = datetime(int(year), int(month), int(day), int(hour), int(minute), int(second or 0))  # noqa: DTZ001
    except ValueError:
        raise CellError(f"'{_short(text)}' is not a date and time that exists; write {MOMENT_FORMS}.") from None
    except OverflowError:
        raise CellError(f"'{_short(text)}' is outside the calendar; write {MOMENT_FORMS}.") from None
    try:
        if offset:
            return _with_offset(local, offset), ""
        return _in_zone(local, zone)
    except OverflowError:
        raise CellError(f"'{_short(text)}' is outside the calendar; write {MOMENT_FORMS}.") from None


def _with_offset(local: datetime, offset: str) -> datetime:
    if offset in "Zz":
        return local.replace(tzinfo=UTC)
    sign = -1 if offset[0] == "-" else 1
    hours, minutes = int(offset[1:3]), int(offset[-2:])
    if hours > 14 or minutes > 59:
        raise CellError(f"'{offset}' is no offset from UTC; it lies between -12:00 and +14:00.")
    return (local - sign * timedelta(hours=hours, minutes=minutes)).replace(tzinfo=UTC)


def _in_zone(local: datetime, zone: ZoneInfo) -> tuple[datetime, str]:
    first = local.replace(tzinfo=zone)
    moment_utc = first.astimezone(UTC)
    if moment_utc.astimezone(zone).replace(tzinfo=None) != local:
        raise CellError(
            f"{local:%Y-%m-%d %H:%M} does not exist in {zone.key}: the clocks were put forward; write the time with "
            "its offset, such as '+02:00'."
        )
    if local.replace(tzinfo=zone, fold=1).utcoffset() != first.utcoffset():
        return moment_utc, words.time_came_twice(f"{local:%Y-%m-%d %H:%M}", zone.key)
    return moment_utc, ""


def find_zone(name: str) -> ZoneInfo:
    """The time zone of a stored name; UTC when the name is not known to this machine."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return ZoneInfo("UTC")


def _short(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}..."
