"""Replace or rotate: what the forecasts of a unit call for."""

from __future__ import annotations

import datetime

from scheduling.planning.needs.dates import first_day_on_condition
from scheduling.planning.needs.facts import ForecastFacts, PositionFacts, Role
from scheduling.planning.needs.need import NeedKind, median_days
from scheduling.planning.needs.tasks import Source, TaskList, key_at_unit
from scheduling.planning.needs.work import MEMBRANE_SEALS
from scheduling.planning.words import needs as words


def add_from_forecasts(tasks: TaskList, today: datetime.date) -> None:
    """Replace what will be exhausted within the weeks weighed; a lead that is exhausted before its lag is rotated."""
    for position in tasks.unit.positions:
        if position.role == Role.SINGLE:
            _replace_when_due(tasks, position, today)
    for lead, lag in tasks.unit.pairs:
        if lag is None or lag.item is None:
            _replace_when_due(tasks, lead, today)
            if lag is not None:
                _replace_when_due(tasks, lag, today)
        else:
            _pair(tasks, lead, lag, today)


def _pair(tasks: TaskList, lead: PositionFacts, lag: PositionFacts, today: datetime.date) -> None:
    ahead, behind = lead.forecast, lag.forecast
    # an exhausted lag moved to lead polishes nothing, and of a lead without a date nobody knows when to rotate it
    if ahead is None or (behind is not None and behind.is_exhausted):
        _replace_when_due(tasks, lead, today)
        _replace_when_due(tasks, lag, today)
        return
    ages_out_first = (
        behind is not None
        and behind.is_maximum_service_time
        and median_days(behind.quantile_days) <= median_days(ahead.quantile_days)
    )
    if tasks.is_within_weeks(ahead):
        tasks.rotate(
            lead,
            lag,
            Source.FORECAST,
            # the rotation would come too late for a lag that reaches its maximum service time first: it goes by itself
            lag_forecast=None if ages_out_first else behind,
            reason=ahead.sentence,
            may_be_urgent=True,
        )
    if ages_out_first:
        _replace_when_due(tasks, lag, today)


def _replace_when_due(tasks: TaskList, position: PositionFacts, today: datetime.date) -> None:
    forecast = position.forecast
    if forecast is not None:
        if position.stage == "membrane":
            _replace_on_condition(tasks, position, forecast, today)
        elif tasks.is_within_weeks(forecast):
            is_urgent = tasks.is_urgent(forecast, tasks.late_cost(position))
            tasks.replace(position, Source.FORECAST, is_urgent=is_urgent, reason=forecast.sentence)
    elif position.cartridge is None:
        tasks.add(
            NeedKind.INSPECT,
            key_at_unit(NeedKind.INSPECT, tasks.unit),
            Source.CALENDAR,
            label=words.UNIT,
            reason=words.no_cartridge_recorded(position.name),
            # what nobody ever wrote down is written down by whoever comes next, and no reason to go
            **({"late_cost_per_day": 0.0} if position.item is None else {}),
        )


def _replace_on_condition(
    tasks: TaskList, membrane: PositionFacts, forecast: ForecastFacts, today: datetime.date
) -> None:
    """Replace a membrane no sooner than it is as likely exhausted as the company wants it to be.

    Salt that leaks past it is none of its own: new seals come first, and the membrane where they did not help.
    """
    if not forecast.is_maximum_service_time and _seals_come_first(tasks):
        return
    first_day = first_day_on_condition(forecast.quantile_days, tasks.policy.rules.membrane_probability)
    if first_day > 7 * tasks.policy.planning.bundling_weeks:
        return
    tasks.replace(
        membrane,
        Source.FORECAST,
        is_urgent=tasks.is_urgent(forecast, tasks.late_cost(membrane)),
        reason=forecast.sentence,
        not_before=today + datetime.timedelta(days=first_day) if first_day > 0 else None,
    )


def _seals_come_first(tasks: TaskList) -> bool:
    """Whether a finding asks for new seals of the membrane, which it has not had yet."""
    works = ((finding.work, finding.cause) for finding in tasks.unit.findings)
    return any(
        work is not None
        and work.part == MEMBRANE_SEALS
        and key_at_unit(work.kind, tasks.unit, cause) not in tasks.unit.done
        for work, cause in works
    )
