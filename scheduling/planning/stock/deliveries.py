"""When what is ordered arrives, and by when it must be ordered, with a supplier's lead time and closed days."""

from __future__ import annotations

import datetime
from collections.abc import Collection

from fleet.engineering.lead_times import LONGEST_LEAD_TIME_DAYS, WEEKEND
from scheduling.planning.errors import PlanningError


def expected_arrival(
    ordered_on: datetime.date,
    lead_time_days: int,
    closed: Collection[int] = WEEKEND,
    *,
    no_orders: Collection[int] = frozenset(),
) -> datetime.date:
    """The day an order is on the shelf.

    An order that goes out on a day on which none is taken is read on the next on which one is; a delivery that would
    fall on a closed day comes on the next open one.

    Parameters
    ----------
    ordered_on
        Day the order goes out.
    lead_time_days
        Calendar days from reading the order to the shelf, 0 to 730.
    closed
        Weekdays on which the supplier neither reads orders nor delivers, 0 Monday to 6 Sunday; not all seven.
    no_orders
        Weekdays on which it takes no orders, beside the closed ones; together not all seven.

    Raises
    ------
    PlanningError
        When the lead time or the closed weekdays cannot be right.

    Examples
    --------
    >>> expected_arrival(datetime.date(2026, 11, 28), 5)  # a Saturday: read on Monday, five days on is a Saturday
    datetime.date(2026, 12, 7)
    """
    _check(lead_time_days, closed)
    not_read = {*closed, *no_orders}
    _check(lead_time_days, not_read)
    read_on = _open_from(ordered_on, not_read)
    return _open_from(read_on + datetime.timedelta(days=lead_time_days), closed)


def order_by(
    needed_by: datetime.date,
    lead_time_days: int,
    closed: Collection[int] = WEEKEND,
    *,
    no_orders: Collection[int] = frozenset(),
    office_closed: Collection[int] = WEEKEND,
) -> datetime.date:
    """Last day on which an order still reaches the shelf the day before it is needed.

    The van is loaded before the installer leaves, so what arrives on the day itself is too late.

    Parameters
    ----------
    needed_by
        Day the pieces are used.
    lead_time_days, closed, no_orders
        As in :func:`expected_arrival`.
    office_closed
        Weekdays on which nobody of the company sends orders; not all seven.

    Raises
    ------
    PlanningError
        As :func:`expected_arrival`.

    Examples
    --------
    >>> order_by(datetime.date(2026, 12, 1), 7)  # a Tuesday; Monday minus seven days is a Monday
    datetime.date(2026, 11, 23)
    >>> order_by(datetime.date(2026, 12, 1), 8)  # would be a Sunday
    datetime.date(2026, 11, 20)
    """
    _check(lead_time_days, closed)
    _check(lead_time_days, office_closed)
    day = needed_by - datetime.timedelta(days=lead_time_days)
    while (
        day.weekday() in office_closed
        or expected_arrival(day, lead_time_days, closed, no_orders=no_orders) >= needed_by
    ):
        day -= datetime.timedelta(days=1)
    return day


def first_order_day(today: datetime.date, *, office_closed: Collection[int] = WEEKEND) -> datetime.date:
    """The first day from today on which somebody of the company sends orders.

    Examples
    --------
    >>> first_order_day(datetime.date(2026, 11, 28))  # a Saturday
    datetime.date(2026, 11, 30)
    """
    _check(0, office_closed)
    return _open_from(today, office_closed)


def _open_from(day: datetime.date, closed: Collection[int]) -> datetime.date:
    while day.weekday() in closed:
        day += datetime.timedelta(days=1)
    return day


def _check(lead_time_days: int, closed: Collection[int]) -> None:
    if not 0 <= lead_time_days <= LONGEST_LEAD_TIME_DAYS:
        raise PlanningError(
            "lead_time_days", f"must be between 0 and {LONGEST_LEAD_TIME_DAYS}, not {lead_time_days!r}."
        )
    if not all(day in range(7) for day in closed) or len(set(closed)) == 7:
        raise PlanningError("closed_weekdays", f"must be weekdays 0 to 6, and not all seven, not {sorted(closed)!r}.")
