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
from fleet.forecasting import Forecasts, build_fleet, forecast
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.answer.reasons import explain_exhaustion
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.inputs.tables import Fleet
from fleet.forecasting.inputs.vocabulary import EXHAUSTED_NOW
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
    """A differential pressure over the sediment filter, with this pressure behind it."""
    return lambda differential: {
        "line_pressure_kpa": outlet_kpa + differential,
        "prefilter_outlet_pressure_kpa": outlet_kpa,
    }


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


BEDS = [edge for edge in EDGES if edge.position[0] in ("carbon", "resin")]
WEEKS = [NOW - 22.0, NOW - 15.0, NOW - 8.0, NOW - 1.0]


def read(edge: Edge, values: list[float], days: list[float], **marks: Any) -> tuple[Fleet, Gauges]:
    """A unit whose deciding gauge was read at these values, beside one like it that nobody read."""
    fleet_columns = columns(units=2, kind=edge.kind)
    by_day = [edge.reading(value) for value in values]
    quantities = {name: [one[name] for one in by_day] for name in by_day[0]}
    fleet_columns["readings"] = readings(days, **quantities, **marks)
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return fleet, Gauges(fleet, screen(fleet).exclusions, limits_of_fleet(fleet, None))


def shown_exhausted(
    edge: Edge, values: list[float], days: list[float], placed: float = NOW - 120.0, **marks: Any
) -> bool:
    fleet, gauges = read(edge, values, days, **marks)
    shown = gauges.show_exhausted(np.full(len(fleet.positions), placed), NOW)
    assert not shown[row_of(fleet, *edge.position, unit="u1")]
    return bool(shown[row_of(fleet, *edge.position)])


def median_of(answer: Forecasts, row: int) -> float:
    return float(answer.grid_day[row, answer.grid_day.shape[1] // 2])


@pytest.mark.parametrize("edge", BEDS, ids=str)
def test_the_date_of_a_forecast_is_today_where_the_gauge_stays_just_past_a_limit(edge: Edge) -> None:
    at = edge.at(HOUSE)
    fleet, _ = read(edge, [0.0, 0.0, at + HAIR, at + HAIR], WEEKS)
    answer = forecast(fleet)
    row = row_of(fleet, *edge.position)
    assert answer.state[row] == EXHAUSTED_NOW
    assert median_of(answer, row) == NOW
    assert answer.remaining_share[row] == 0.0


@pytest.mark.parametrize("edge", BEDS, ids=str)
def test_a_gauge_that_stays_just_before_a_limit_never_says_exhausted(edge: Edge) -> None:
    """The curve of a lead is steep: it may hold it for exhausted by now, but not as something that was seen."""
    fleet, gauges = read(edge, [0.0, 0.0, edge.at(HOUSE) - HAIR, edge.at(HOUSE) - HAIR], WEEKS)
    answer = forecast(fleet)
    row = row_of(fleet, *edge.position)
    if edge.position[1] == "lag":
        assert answer.state[row] != EXHAUSTED_NOW
        assert median_of(answer, row) > NOW + 1.0
    else:
        assert explain_exhaustion(fleet, answer, gauges, row, limits_of_fleet(fleet, None)).code == "load"


@pytest.mark.parametrize("edge", BEDS, ids=str)
def test_two_readings_in_a_row_are_needed_and_they_must_be_the_newest(edge: Edge) -> None:
    past, before = edge.at(HOUSE) + HAIR, edge.at(HOUSE) - HAIR
    assert shown_exhausted(edge, [before, before, past, past], WEEKS)
    assert not shown_exhausted(edge, [past, past, past, before], WEEKS)
    assert not shown_exhausted(edge, [past, past, before, past], WEEKS)
    assert not shown_exhausted(edge, [past], WEEKS[-1:])


@pytest.mark.parametrize("edge", BEDS, ids=str)
def test_only_readings_of_what_stands_there_count(edge: Edge) -> None:
    past = [edge.at(HOUSE) + HAIR] * 2
    last = WEEKS[-2:]
    assert shown_exhausted(edge, past, last, placed=last[0])
    assert not shown_exhausted(edge, past, last, placed=last[0] + HAIR)
    assert not shown_exhausted(edge, past, last, placed=np.nan)
    assert not shown_exhausted(edge, past, last, placed=last[0] - 0.5, occasion=["as_found", "as_found"])
    assert shown_exhausted(edge, past, last, placed=last[0] - 1.5, occasion=["as_found", "as_found"])
    assert not shown_exhausted(edge, past, [NOW - 8.0, NOW - 0.5], occasion=["as_left", "as_left"])
    assert shown_exhausted(edge, past, [NOW - 8.0, NOW - 1.5], occasion=["as_left", "as_left"])
    assert not shown_exhausted(edge, past, [NOW - 8.0, NOW + 0.5])
