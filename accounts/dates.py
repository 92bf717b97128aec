"""Days as people say and write them, in the language spoken now. Knows no Django."""

from datetime import date
from typing import Final

from accounts.language import gettext, gettext_noop

_WEEKDAYS: Final = (
    (gettext_noop("Monday"), gettext_noop("Mon")),
    (gettext_noop("Tuesday"), gettext_noop("Tue")),
    (gettext_noop("Wednesday"), gettext_noop("Wed")),
    (gettext_noop("Thursday"), gettext_noop("Thu")),
    (gettext_noop("Friday"), gettext_noop("Fri")),
    (gettext_noop("Saturday"), gettext_noop("Sat")),
    (gettext_noop("Sunday"), gettext_noop("Sun")),
)
_MONTHS: Final = (
    (gettext_noop("January"), gettext_noop("Jan")),
    (gettext_noop("February"), gettext_noop("Feb")),
    (gettext_noop("March"), gettext_noop("Mar")),
    (gettext_noop("April"), gettext_noop("Apr")),
    (gettext_noop("May"), gettext_noop("May")),
    (gettext_noop("June"), gettext_noop("Jun")),
    (gettext_noop("July"), gettext_noop("Jul")),
    (gettext_noop("August"), gettext_noop("Aug")),
    (gettext_noop("September"), gettext_noop("Sep")),
    (gettext_noop("October"), gettext_noop("Oct")),
    (gettext_noop("November"), gettext_noop("Nov")),
    (gettext_noop("December"), gettext_noop("Dec")),
)


def weekday_name(weekday: int) -> str:
    """Name of a weekday, 0 Monday to 6 Sunday.

    >>> weekday_name(0)
    'Monday'
    """
    return gettext(_WEEKDAYS[weekday][0])


def long_day(day: date, *, year: bool = False) -> str:
    """A day in full, with or without its year.

    >>> long_day(date(2026, 11, 5)), long_day(date(2026, 11, 5), year=True)
    ('Thursday 5 November', 'Thursday 5 November 2026')
    """
    return _written(day, 0, year)


def short_day(day: date, *, year: bool = False) -> str:
    """A day in short, with or without its year.

    >>> short_day(date(2027, 1, 19)), short_day(date(2027, 1, 19), year=True)
    ('Tue 19 Jan', 'Tue 19 Jan 2027')
    """
    return _written(day, 1, year)


def calendar_day(day: date) -> str:
    """A day with its year and without its weekday, for what is long past or far ahead.

    >>> calendar_day(date(2027, 1, 5))
    '5 Jan 2027'
    """
    month = gettext(_MONTHS[day.month - 1][1])
    return gettext("{day} {month} {year}").format(day=day.day, month=month, year=day.year)


def _written(day: date, form: int, year: bool) -> str:
    words = gettext("{weekday} {day} {month} {year}") if year else gettext("{weekday} {day} {month}")
    weekday, month = _WEEKDAYS[day.weekday()][form], _MONTHS[day.month - 1][form]
    return words.format(weekday=gettext(weekday), day=day.day, month=gettext(month), year=day.year)
