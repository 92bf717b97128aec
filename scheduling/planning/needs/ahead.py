"""When the passing of time alone changes what a unit calls for."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

from scheduling.planning.company_rules import ServicePolicy
from scheduling.planning.needs.facts import ForecastFacts, UnitFacts
from scheduling.planning.needs.from_calendar import sanitising_due, unread_from
from scheduling.planning.needs.need import day_of_probability


def next_change(unit: UnitFacts, *, policy: ServicePolicy, today: datetime.date) -> datetime.date | None:
    """The first day after today on which a unit of which nothing new is known calls for work that it does not call for
    today, or for work that is urgent then; None: no such day is in sight.

    How dear each day is, and which weeks suit a visit, moves on little by little and is no such change.

    Parameters
    ----------
    unit
        What is known of it, counted from today.
    policy
        Prices, risks, times and intervals.
    today
        The day its facts are counted from.
    """
    return min((day for day in _days(unit, policy, today) if day > today), default=None)


def _days(unit: UnitFacts, policy: ServicePolicy, today: datetime.date) -> Iterator[datetime.date]:
    weeks = datetime.timedelta(days=7 * policy.planning.bundling_weeks)
    for position in unit.positions:
        forecast = position.forecast
        if forecast is not None and forecast.quantile_days:
            for ahead in _days_of_forecast(forecast, policy):
                if 0 < ahead < _FARTHEST_DAYS:
                    yield today + datetime.timedelta(days=ahead)
    if unit.has_pressurised_tank:
        yield sanitising_due(unit, policy.rules) - weeks
    yield unread_from(unit, policy.rules, today)
    if unit.seen_on is not None:
        yield unit.seen_on + datetime.timedelta(days=policy.rules.unread_after_days)


#: Farther ahead nothing is promised: a distribution may reach past the last day that a calendar has.
_FARTHEST_DAYS = 3650


def _days_of_forecast(forecast: ForecastFacts, policy: ServicePolicy) -> tuple[int, ...]:
    """Days from today on which its work is first weighed, and on which it first is urgent."""
    probability = policy.planning.urgent_probability
    return (
        math.ceil(forecast.early_day - 7 * policy.planning.bundling_weeks),
        math.ceil(day_of_probability(forecast.quantile_days, probability)),
    )
