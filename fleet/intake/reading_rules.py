"""What one reading says by itself: contradictions are refused, doubts are flagged and kept."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from fleet.engineering.arrays import BoolArray
from fleet.engineering.quantities import SETTLING_MINUTES
from fleet.engineering.units import QUANTITY_KINDS, is_unusual, plausibility
from fleet.intake import words
from fleet.intake.directory import Place
from fleet.intake.observations import FIELD as OBSERVATIONS
from fleet.intake.rows import Row

_CHLORINE_PAIRS: Final = (
    ("feed_free_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
    ("carbon_outlet_free_chlorine_mg_per_l", "carbon_outlet_total_chlorine_mg_per_l"),
)
_ROUNDING: Final = 1e-6
# Two gauges of a home unit agree within about this share and these kPa (common practice, no source).
_GAUGE_SHARE: Final = 0.1
_GAUGE_KPA: Final = 20.0
_NO_VALUES: Final = frozenset({"minutes_since_start"})
_MISSING: Final = np.float64("nan")


Columns = Mapping[str, Any]
"""Stored column -> its values row by row, NaN where a row has none; columns that no row has are left out."""


def check_reading(row: Row, place: Place, quantities: Sequence[str]) -> None:
    """Refuse a row without a value or with a contradiction no meter can show; flag what is possible but doubtful."""
    if not row.numbers.keys() - _NO_VALUES and OBSERVATIONS not in row.fields and not row.faults:
        row.refuse("row", "no_value", "The row holds no reading; give at least one gauge, meter or observation.")
    for free, total in _CHLORINE_PAIRS:
        refuse_free_above_total(row, free, total)
    if row.faults:
        return
    _flag_contradictions(row, place)
    for column in quantities:
        if column in row.numbers:
            doubt = plausibility(row.numbers[column], QUANTITY_KINDS[column])
            if doubt:
                row.flag(column, "unusual", words.unusual(column, doubt))


def refuse_free_above_total(row: Row, free: str, total: str) -> None:
    """Free chlorine is a part of total chlorine, so it cannot be more."""
    if _is_free_above_total(_column(_single(row), free), _column(_single(row), total)):
        row.refuse(
            free,
            "free_chlorine_above_total",
            f"The free chlorine, {row.sent[free]}, is above the total, {row.sent[total]}; total includes free, so the "
            "two may be exchanged or a test went wrong.",
        )


def is_beyond_doubt(
    numbers: Columns,
    *,
    states: Sequence[str],
    has_booster_pump: BoolArray,
    has_observations: BoolArray,
    quantities: Sequence[str],
) -> BoolArray:
    """Which rows `check_reading` would neither refuse nor flag, told of whole columns.

    Parameters
    ----------
    states
        `state` of each row, empty where none is told.
    has_booster_pump, has_observations
        Of the unit of each row; whether the row tells what a person saw.
    quantities
        As for `check_reading`.
    """
    has_value = has_observations.copy()
    doubtful = np.zeros(len(states), dtype=bool)
    for column, values in numbers.items():
        if column not in _NO_VALUES:
            has_value |= ~np.isnan(values)
        if column in quantities:
            doubtful |= is_unusual(values, QUANTITY_KINDS[column])
    for free, total in _CHLORINE_PAIRS:
        if free in numbers and total in numbers:
            doubtful |= _is_free_above_total(numbers[free], numbers[total])
    for found in _contradictions(numbers, np.array(states, dtype=object), has_booster_pump).values():
        doubtful = doubtful | found
    return has_value & ~doubtful


def _is_free_above_total(free: Any, total: Any) -> Any:
    return free > total * (1 + _ROUNDING)


def _contradictions(numbers: Columns, state: Any, has_booster_pump: Any) -> dict[str, Any]:
    """Code of a contradiction -> in which rows it is; what is missing (NaN) contradicts nothing."""
    minutes, flow = _column(numbers, "minutes_since_start"), _column(numbers, "permeate_flow_l_per_day")
    line, outlet = _column(numbers, "line_pressure_kpa"), _column(numbers, "prefilter_outlet_pressure_kpa")
    inlet = _column(numbers, "inlet_pressure_kpa")
    feed, concentrate = _column(numbers, "feed_tds_mg_per_l"), _column(numbers, "concentrate_tds_mg_per_l")
    before = np.where(np.isnan(outlet), line, outlet)
    return {
        "first_minutes": minutes < SETTLING_MINUTES,
        "static_with_flow": (state == "static") & (np.abs(flow) > 0),
        "flowing_without_flow": (state == "flowing") & (flow == 0),
        "outlet_above_line": outlet > line + np.maximum(_GAUGE_KPA, _GAUGE_SHARE * line),
        "inlet_above_line": (inlet > before + np.maximum(_GAUGE_KPA, _GAUGE_SHARE * before))
        & np.logical_not(has_booster_pump),
        "concentrate_below_feed": concentrate < 0.95 * feed,
    }


def _column(numbers: Columns, name: str) -> Any:
    return numbers.get(name, _MISSING)


def _single(row: Row) -> Columns:
    """The numbers of a row as columns of that row alone."""
    return {name: np.float64(value) for name, value in row.numbers.items()}


def _flag_contradictions(row: Row, place: Place) -> None:
    sent = row.sent
    found = _contradictions(_single(row), row.fields.get("state"), place.has_booster_pump)
    if found["first_minutes"]:
        settling = words.read_before_settled(row.numbers["minutes_since_start"], SETTLING_MINUTES)
        row.flag("minutes_since_start", "first_minutes", settling)
    if found["static_with_flow"]:
        row.flag("state", "static_with_flow", words.static_with_flow())
    if found["flowing_without_flow"]:
        row.flag("permeate_flow_l_per_day", "flowing_without_flow", words.flowing_without_flow())
    if found["outlet_above_line"]:
        above = words.outlet_above_line(sent["prefilter_outlet_pressure_kpa"], sent["line_pressure_kpa"])
        row.flag("prefilter_outlet_pressure_kpa", "outlet_above_line", above)
    if found["inlet_above_line"]:
        row.flag("inlet_pressure_kpa", "inlet_above_line", words.inlet_above_line(sent["inlet_pressure_kpa"]))
    if found["concentrate_below_feed"]:
        below = words.concentrate_below_feed(sent["concentrate_tds_mg_per_l"], sent["feed_tds_mg_per_l"])
        row.flag("concentrate_tds_mg_per_l", "concentrate_below_feed", below)
