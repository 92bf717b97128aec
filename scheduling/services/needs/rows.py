"""Needs as plain rows of the few columns that stock asks of them: a company has thousands, and pages read all of them.

A row of the table as an object costs ten times as much as its columns, before anything is done with it.
"""

from collections.abc import Iterator
from datetime import date
from typing import Any, Final, NamedTuple

from django.db.models import QuerySet

from scheduling.models import Need
from scheduling.services.needs.facts import days_from


class NeedRow(NamedTuple):
    """A need: what it is, what it takes, what waiting costs, and where its forecast puts its date."""

    pk: int
    unit_id: int
    position_id: int | None
    stage: str | None
    kind: str
    cause: str
    item_id: int | None
    missing_part: str
    state: str
    is_urgent: bool
    best_day: date | None
    curve_first_day: date | None
    cost_curve: list[float | None]
    finding_id: int | None
    forecast_as_of: date | None = None
    date_grid: list[int] | None = None

    @property
    def is_open(self) -> bool:
        """Whether it is still to be done."""
        return self.state == Need.State.OPEN

    def quantile_days(self, today: date) -> tuple[float, ...]:
        """The distribution of its forecast, in days from today; empty where it has none, or was read without."""
        return days_from(self.forecast_as_of, self.date_grid, today) if self.forecast_as_of and self.date_grid else ()


_COLUMNS: Final = (
    "pk",
    "unit_id",
    "position_id",
    "position__stage",
    "kind",
    "cause",
    "item_id",
    "missing_part",
    "state",
    "is_urgent",
    "best_day",
    "curve_first_day",
    "cost_curve",
    "finding_id",
)
_OF_FORECAST: Final = ("forecast__as_of", "forecast__date_grid")


def need_columns(path: str = "", *, with_forecasts: bool = False) -> list[str]:
    """The columns of a `NeedRow`, in its order, as seen along a path such as 'need__'."""
    return [f"{path}{name}" for name in (*_COLUMNS, *(_OF_FORECAST if with_forecasts else ()))]


def read_needs(needs: "QuerySet[Need]", *, with_forecasts: bool = False) -> Iterator[NeedRow]:
    """Needs as rows, in the order of their ids."""
    rows: Any = needs.order_by("pk").values_list(*need_columns(with_forecasts=with_forecasts))
    return (NeedRow(*row) for row in rows)
