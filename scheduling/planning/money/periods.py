"""Calendar periods that money is counted by: months of invoices, and the periods of flat prices."""

import calendar
from collections.abc import Iterator
from datetime import date, timedelta
from typing import Final

MONTHS: Final = {"month": 1, "year": 12}
"""Months in a period of a flat price."""


def month_after(first_day: date) -> date:
    """First day of the month after the one that begins on a day.

    >>> month_after(date(2026, 12, 1))
    datetime.date(2027, 1, 1)
    """
    return (first_day.replace(day=1) + timedelta(days=31)).replace(day=1)


def month_before(day: date) -> date:
    """First day of the month before the one that a day lies in.

    >>> month_before(date(2026, 1, 31)), month_before(date(2026, 3, 1))
    (datetime.date(2025, 12, 1), datetime.date(2026, 2, 1))
    """
    return (day.replace(day=1) - timedelta(days=1)).replace(day=1)


def plus_months(day: date, months: int) -> date:
    """The same day some months on; the last of a month that is too short for it.

    >>> plus_months(date(2026, 1, 31), 1), plus_months(date(2026, 3, 15), 12)
    (datetime.date(2026, 2, 28), datetime.date(2027, 3, 15))
    """
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    month += 1
    return date(year, month, min(day.day, calendar.monthrange(year, month)[1]))


def periods_beginning(starts_on: date, ends_on: date | None, per: str, first: date, before: date) -> Iterator[date]:
    """First days of the periods of a flat price, counted from its first day, that lie from a day until before another.

    >>> list(periods_beginning(date(2026, 1, 31), date(2026, 3, 30), "month", date(2026, 2, 1), date(2026, 4, 1)))
    [datetime.date(2026, 2, 28)]
    """
    step = MONTHS[per]
    number = max((first.year - starts_on.year) * 12 + first.month - starts_on.month - 1, 0) // step
    while (day := plus_months(starts_on, number * step)) < before:
        if day >= first and (ends_on is None or day <= ends_on):
            yield day
        number += 1
