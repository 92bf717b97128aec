"""Needs with what says when each is due, and no column more: a company has thousands, and they are read many times."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any, Final

from django.db.models import Model, Q, QuerySet

from fleet.models import Forecast, Placement
from scheduling.models import Need

#: What the planning room is told of a forecast (`facts.facts_of_forecasts`), beside its keys.
OF_FORECAST: Final = (
    "as_of",
    "state",
    "date_grid",
    "remaining_share",
    "fresh_life_p10_days",
    "fresh_life_p50_days",
    "fresh_life_p90_days",
    "driver",
    "evidence",
    "installer_sentence",
)

#: What it is told of a cartridge.
OF_PLACEMENT: Final = ("first_installed_on", "first_installed_at")

#: Probabilities, in percent, at which a forecast stores a date by itself.
_STORED: Final = (5, 10, 25, 50, 75, 90, 95)


def all_but(model: type[Model], read: Iterable[str], path: str = "") -> list[str]:
    """Fields for `defer`: all of a model but its keys, its foreign keys and those that are read."""
    kept = set(read)
    fields: list[Any] = list(model._meta.concrete_fields)
    return [
        f"{path}__{field.name}" if path else field.name
        for field in fields
        if not (field.primary_key or field.is_relation or field.name in kept)
    ]


def with_dates(needs: "QuerySet[Need]", *related: str) -> "QuerySet[Need]":
    """Needs with their forecasts, findings and cartridges at hand, as far as `costs.planning_need` reads them.

    Parameters
    ----------
    needs
        Which.
    related
        Names of more rows to have at hand.
    """
    unread: list[str] = []
    for path in ("forecast", "lag_forecast"):
        unread += all_but(Forecast, OF_FORECAST, path)
        unread += all_but(Placement, OF_PLACEMENT, f"{path}__placement")
    joined = ("finding", "forecast__placement", "lag_forecast__placement", *related)
    return needs.select_related(*joined).defer(*unread)


def may_be_exhausted(day: date, risk: float) -> Q:
    """Condition on the needs with a forecast that may be exhausted by a day with at least a probability.

    It leaves out those of which a date stored beside the distribution says otherwise, and no other: how probable it is,
    `costs.all_exhausted_by` says. What a finding has seen is kept, whatever its forecast says.

    Parameters
    ----------
    day
        The day.
    risk
        Probability, 0 to 1.
    """
    is_forecast = Q(forecast__isnull=False)
    level = max((percent for percent in _STORED if percent / 100.0 <= risk), default=None)
    if level is None:
        return is_forecast
    date_of_level = f"forecast__p{level:02d}"
    # a stored date is the day on which its moment lies, which may count as of the next
    is_soon = Q(**{f"{date_of_level}__lte": day + timedelta(days=2)}) | Q(**{f"{date_of_level}__isnull": True})
    return is_forecast & (is_soon | Q(finding__isnull=False))
