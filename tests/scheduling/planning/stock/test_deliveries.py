"""Arrivals and order-by days, against a walk over the calendar."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.stock.deliveries import expected_arrival, order_by

DAYS = st.dates(date(2026, 1, 1), date(2027, 12, 31))
CLOSED = st.frozensets(st.integers(0, 6), max_size=6)
LEAD_TIMES = st.integers(0, 60)


@given(DAYS, LEAD_TIMES, CLOSED, CLOSED)
def test_the_order_by_day_is_the_last_from_which_a_walk_over_the_calendar_arrives(
    needed_by: date, lead_time: int, closed: frozenset[int], office: frozenset[int]
) -> None:
    """Day by day: the order waits for an open day, then the lead time runs, then the delivery waits for an open day."""

    def walk(day: date) -> date:
        while day.weekday() in closed:
            day += timedelta(days=1)
        for _ in range(lead_time):
            day += timedelta(days=1)
        while day.weekday() in closed:
            day += timedelta(days=1)
        return day

    in_time = [
        day
        for back in range(1, lead_time + 30)
        if (day := needed_by - timedelta(days=back)).weekday() not in office and walk(day) < needed_by
    ]
    latest = order_by(needed_by, lead_time, closed, office_closed=office)
    assert latest == max(in_time)
    assert expected_arrival(latest, lead_time, closed) == walk(latest) < needed_by


@given(DAYS, LEAD_TIMES, CLOSED)
def test_who_orders_later_never_has_it_sooner(day: date, lead_time: int, closed: frozenset[int]) -> None:
    assert expected_arrival(day, lead_time, closed) <= expected_arrival(day + timedelta(days=1), lead_time, closed)


@pytest.mark.parametrize(
    ("needed", "days", "expected"),
    [
        (date(2026, 3, 12), 7, date(2026, 3, 4)),
        (date(2026, 3, 9), 7, date(2026, 2, 27)),
        (date(2026, 3, 2), 0, date(2026, 2, 27)),
        (date(2026, 3, 9), 4, date(2026, 3, 2)),
    ],
    ids=["Thursday", "Monday: the Sunday before is no working day", "Monday, at once", "no delivery on a Saturday"],
)
def test_an_order_reaches_the_shelf_the_day_before(needed: date, days: int, expected: date) -> None:
    assert order_by(needed, days) == expected


@pytest.mark.parametrize(
    ("lead_time", "closed", "field"),
    [(-1, (), "lead_time_days"), (731, (), "lead_time_days"), (3, range(7), "closed_weekdays"), (3, (7,), "closed_")],
)
def test_wrong_values_are_named(lead_time: int, closed: tuple[int, ...], field: str) -> None:
    for work in (expected_arrival, order_by):
        with pytest.raises(PlanningError, match=field):
            work(date(2026, 3, 2), lead_time, closed)
