"""When will each cartridge be exhausted, and how sure is that? Pure, vectorised over a whole fleet.

>>> from fleet.forecasting import build_fleet, forecast
>>> fleet, faults = build_fleet(
...     as_of_day=20_000.0,
...     units={"unit_id": ["u1"], "site_id": ["s1"], "weekly_demand_l": [140.0], "kind": ["ro_di"]},
...     positions={"position_id": ["u1-r"], "unit_id": ["u1"], "order": [4], "stage": ["resin"], "role": ["single"]},
...     placements={"position_id": ["u1-r"], "placed_day": [19_900.0]},
... )
>>> faults
[]
>>> answer = forecast(fleet)
>>> bool((answer.quantile_day[0] >= 20_000.0).all())
True
"""

from fleet.forecasting.answer.explain import sentence_for_client, sentence_for_installer
from fleet.forecasting.answer.forecast import forecast
from fleet.forecasting.answer.results import Forecasts, GroupForecasts, first_to_fail
from fleet.forecasting.distribution import GRID_LEVELS, LEVELS, probability_by
from fleet.forecasting.inputs.build import Columns, Fault, build_fleet
from fleet.forecasting.inputs.exclusions import Exclusions
from fleet.forecasting.inputs.tables import FeedWater, Fleet, Items, Placements, Positions, Readings, Sites, Units
from fleet.forecasting.wear.learned import Learned

__all__ = [
    "GRID_LEVELS",
    "LEVELS",
    "Columns",
    "Exclusions",
    "Fault",
    "FeedWater",
    "Fleet",
    "Forecasts",
    "GroupForecasts",
    "Items",
    "Learned",
    "Placements",
    "Positions",
    "Readings",
    "Sites",
    "Units",
    "build_fleet",
    "first_to_fail",
    "forecast",
    "probability_by",
    "sentence_for_client",
    "sentence_for_installer",
]
