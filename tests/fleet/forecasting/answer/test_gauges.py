"""A gauge on both sides of every limit: just before it a cartridge serves, just past it it is exhausted.

The pairs are made from the fields of `Limits`; each field is moved as well, and the verdict must move with it. A field
that no pair tries fails the last test.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import pytest

from fleet.engineering.limits import HOUSE, Limits
from fleet.forecasting import build_fleet
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from tests.fleet.forecasting.fleets import NOW, columns, readings, row_of

HAIR = 1e-6


@dataclass(frozen=True)
class Edge:
    """A limit, the position it decides on, and a reading with the deciding gauge at a value.

    `at` is where the gauge stands at the limit; above it the cartridge is exhausted.
    """

    limit: str
    position: tuple[str, str]
    reading: Callable[[float], dict[str, float]]
    at: Callable[[Limits[float]], float]
    kind: str = "pair"

    def __str__(self) -> str:
        return self.limit


def filter_before(outlet_kpa: float) -> Callable[[float], dict[str, float]]:
    """A drop over the sediment filter, with this pressure behind it."""
    return lambda drop: {"line_pressure_kpa": outlet_kpa + drop, "prefilter_outlet_pressure_kpa": outlet_kpa}


SEDIMENT = ("sediment", "single")
EDGES = [
    Edge("product_tds_mg_per_l", ("resin", "lag"),
         lambda x: {"permeate_tds_mg_per_l": 20.0, "product_tds_mg_per_l": x}, lambda s: s.product_tds_mg_per_l),
    Edge("lead_resin_fraction", ("resin", "lead"),
         lambda x: {"permeate_tds_mg_per_l": 20.0, "interstage_tds_mg_per_l": x},
         lambda s: 20.0 * s.lead_resin_fraction),
    Edge("chlorine_mg_per_l", ("carbon", "lag"),
         lambda x: {"feed_total_chlorine_mg_per_l": 2.0, "carbon_outlet_total_chlorine_mg_per_l": x},
         lambda s: s.chlorine_mg_per_l),
    Edge("chlorine_mg_per_l", ("carbon", "lag"),
         lambda x: {"feed_free_chlorine_mg_per_l": 2.0, "carbon_outlet_free_chlorine_mg_per_l": x},
         lambda s: s.chlorine_mg_per_l),
    Edge("lead_carbon_fraction", ("carbon", "lead"),
         lambda x: {"feed_total_chlorine_mg_per_l": 2.0, "interstage_chlorine_mg_per_l": x},
         lambda s: 2.0 * s.lead_carbon_fraction),
    Edge("minimum_rejection_fraction", ("membrane", "single"),
         lambda x: {"feed_tds_mg_per_l": 250.0, "permeate_tds_mg_per_l": x},
         lambda s: 250.0 * (1.0 - s.minimum_rejection_fraction)),
    Edge("prefilter_outlet_fraction", SEDIMENT, filter_before(300.0), lambda s: 300.0 * s.prefilter_outlet_fraction),
    Edge("prefilter_differential_pressure_kpa", SEDIMENT, filter_before(600.0),
         lambda s: s.prefilter_differential_pressure_kpa),
    Edge("prefilter_least_kpa", SEDIMENT, filter_before(120.0), lambda s: s.prefilter_least_kpa),
    Edge("prefilter_margin_kpa", SEDIMENT, filter_before(385.0), lambda s: 385.0 - s.prefilter_margin_kpa),
    # 46 kPa over the filter: past its limit only where the margin is asked for
    Edge("prefilter_margin_from_kpa", SEDIMENT,
         lambda x: {"line_pressure_kpa": x + 46.0, "prefilter_outlet_pressure_kpa": x},
         lambda s: s.prefilter_margin_from_kpa),
    Edge("prefilter_series_fraction", SEDIMENT, filter_before(300.0),
         lambda s: 2.0 * s.prefilter_series_fraction * 45.0, kind="two sediments"),
]  # fmt: skip

NO_GAUGE = {
    "membrane_flow_fraction",  # flow is normalised first: a trend of the membrane, no single gauge
    "carbon_maximum_service_time_days",  # an age
}


def is_past(edge: Edge, value: float, limits: Limits[float]) -> bool:
    """The verdict on one reading of the deciding gauge."""
    fleet_columns = columns(kind="ro_di" if edge.kind == "two sediments" else edge.kind)
    if edge.kind == "two sediments":
        add_sediment(fleet_columns)
    fleet_columns["readings"] = readings([NOW - 1.0], **edge.reading(value))
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    gauges = Gauges(fleet, screen(fleet).exclusions, limits_of_fleet(fleet, limits))
    shown = gauges.readings_between(row_of(fleet, *edge.position), NOW - 100.0, NOW)
    assert shown.value.shape == (1,)
    return bool(shown.is_past[0])


def add_sediment(fleet_columns: dict[str, Any]) -> None:
    """A second sediment filter behind the first."""
    for name, value in {
        "position_id": "u0/sediment/second", "unit_id": "u0", "stage": "sediment", "role": "single", "order": 1,
    }.items():  # fmt: skip
        fleet_columns["positions"][name].append(value)
    fleet_columns["positions"]["order"] = [0, 2, 3, 4, 1]


def hold(edge: Edge, limits: Limits[float]) -> None:
    """Exhausted on one side of the place of the limit, and not on the other."""
    at = edge.at(limits)
    hair = HAIR * max(abs(at), 1.0)
    assert is_past(edge, at + hair, limits), f"just above {at}"
    assert not is_past(edge, at - hair, limits), f"just below {at}"


@pytest.mark.parametrize("edge", EDGES, ids=str)
def test_a_cartridge_serves_just_before_its_limit_and_is_exhausted_just_past_it(edge: Edge) -> None:
    hold(edge, HOUSE)


@pytest.mark.parametrize("edge", EDGES, ids=str)
@pytest.mark.parametrize("factor", [0.99, 1.01])
def test_the_verdict_moves_with_the_limit(edge: Edge, factor: float) -> None:
    moved = replace(HOUSE, **{edge.limit: factor * getattr(HOUSE, edge.limit)})
    assert not np.isclose(edge.at(moved), edge.at(HOUSE), rtol=1e-4)
    hold(edge, moved)


def test_every_limit_that_a_gauge_shows_is_tried() -> None:
    assert {each.name for each in fields(Limits)} - {edge.limit for edge in EDGES} == NO_GAUGE
