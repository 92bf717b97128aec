"""Needs as plain rows of the few columns that stock asks of them: a company has thousands, and pages read all of them.

A row of the table as an object costs ten times as much as its columns, before anything is done with it.
"""

from collections.abc import Iterator
from datetime import date
from typing import Any, Final, NamedTuple

from django.db.models import QuerySet, TextField
from django.db.models.functions import Cast

from scheduling.models import Need
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS
from scheduling.services.needs.facts import days_from


class NeedRow(NamedTuple):
    """A need: what it is, what it takes, what waiting costs, and where its forecast puts its date.

    Attributes
    ----------
    curve, grid
        `Need.cost_curve` and `Forecast.date_grid` as they are stored: long lists, of which a few numbers are asked.
    """

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
    curve: str
    finding_id: int | None
    forecast_as_of: date | None = None
    grid: str | None = None

    @property
    def is_open(self) -> bool:
        """Whether it is still to be done."""
        return self.state == Need.State.OPEN

    def quantile_days(self, today: date) -> tuple[float, ...]:
        """The distribution of its forecast, in days from today; empty where it has none, or was read without."""
        if self.forecast_as_of is None or self.grid is None:
            return ()
        last = len(DISTRIBUTION_LEVELS)
        tenths = [int(number) for number in _inside(self.grid).rsplit(",", last)[-last:] if number]
        return days_from(self.forecast_as_of, tenths, today) if tenths else ()


def _inside(numbers: str) -> str:
    """What stands between the brackets of a list of numbers."""
    return numbers[1:-1] if numbers.startswith("[") else ""


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
_AS_TEXT: Final = frozenset({"cost_curve", "forecast__date_grid"})


def need_columns(path: str = "", *, with_forecasts: bool = False) -> list[str | Cast]:
    """The columns of a `NeedRow`, in its order, as seen along a path such as 'need__'."""
    names = (*_COLUMNS, *(_OF_FORECAST if with_forecasts else ()))
    return [Cast(f"{path}{name}", TextField()) if name in _AS_TEXT else f"{path}{name}" for name in names]


def read_needs(needs: "QuerySet[Need]", *, with_forecasts: bool = False) -> Iterator[NeedRow]:
    """Needs as rows, in the order of their ids."""
    rows: Any = needs.order_by("pk").values_list(*need_columns(with_forecasts=with_forecasts))
    return (NeedRow(*row) for row in rows)
