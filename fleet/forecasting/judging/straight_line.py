"""The third baseline: a straight line through the last readings, up to the limit."""

from typing import Any, Final

import numpy as np
from scipy.special import ndtri

from fleet.engineering.limits import Limits
from fleet.engineering.usual import CAPACITY_LOG_SD
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.levels import sum_by
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.inputs.tables import Fleet, Floats, Indexes, Readings
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.nominal import current_placements, label_over_load, last_service_day_of_positions
from fleet.forecasting.wear.stage_inputs import carbon_input, resin_input, sediment_input
from fleet.forecasting.wear.stages import StageInput

LAST_READINGS: Final = 6


def straight_line(fleet: Fleet, *, limits: Limits[Any] | None = None) -> Floats:
    """Dates at `GRID_LEVELS` from a line through the last readings of each standing cartridge, shape (positions,
    levels).

    Differential pressure for sediment, chlorine or TDS after the bed for carbon and resin, permeate flow over the
    cartridge's first for membranes; least squares over at most six readings, extrapolated to the limit. Where there
    are fewer than two days of readings, or the line does not rise towards the limit, label capacity over mean load is
    used instead.

    """
    of_units = limits_of_fleet(fleet, limits)
    readings = screen(fleet).readings
    conditions = build_conditions(fleet, readings)
    out = label_over_load(fleet, limits=of_units)
    current_placement = current_placements(fleet)
    last_day = last_service_day_of_positions(fleet, current_placement, of_units)
    now = fleet.as_of_day
    for position, day, value, limit in (
        *_sediment(sediment_input(fleet, readings, conditions, of_units)),
        *_beds(carbon_input(fleet, readings, conditions, of_units)),
        *_beds(resin_input(fleet, readings, conditions, of_units)),
        _membranes(fleet, readings, current_placement, of_units),
    ):
        reached = _extrapolate(position, day, value, limit, len(fleet.positions), now)
        rows = np.flatnonzero(np.isfinite(reached) & (current_placement >= 0))
        ahead = np.maximum(reached[rows] - now, 0.0)
        dates = now + ahead[:, None] * np.exp(CAPACITY_LOG_SD * ndtri(GRID_LEVELS))
        out[rows] = np.minimum(np.minimum(dates, np.maximum(last_day[rows], now)[:, None]), now + 3652.0)
    return out


_Series = tuple[Indexes, Floats, Floats, Floats]
"""Position, day, value and limit of readings of standing cartridges."""


def _present(stage: StageInput) -> tuple[Indexes, Indexes]:
    """Readings of the segments that stand, and their columns."""
    rows = np.flatnonzero(stage.segments.is_current[stage.reading_segment])
    return rows, stage.segments.column[stage.reading_segment[rows]]


def _sediment(stage: StageInput) -> list[_Series]:
    rows, column = _present(stage)
    return [
        (
            stage.columns.lead_position[column],
            stage.reading_day[rows],
            stage.readings.between[rows],
            stage.readings.resolution[rows],
        )
    ]


def _beds(stage: StageInput) -> list[_Series]:
    rows, column = _present(stage)
    paired = stage.columns.lag_position[column] >= 0
    day, entering = stage.reading_day[rows], stage.readings.entering[rows]
    allowed = stage.limit[stage.reading_segment[rows]] * entering
    last = np.where(paired, stage.columns.lag_position[column], stage.columns.lead_position[column])
    return [
        (last, day, stage.readings.after[rows], allowed),
        (
            stage.columns.lead_position[column][paired],
            day[paired],
            stage.readings.between[rows][paired],
            (stage.lead_limit[stage.reading_segment[rows]] * entering)[paired],
        ),
    ]


def _membranes(fleet: Fleet, readings: Readings, current_placement: Indexes, limits: Limits[Floats]) -> _Series:
    rows = np.flatnonzero((fleet.positions.stage == words.MEMBRANE) & (current_placement >= 0))
    position_of_unit = np.full(len(fleet.units), -1, dtype=np.int64)
    position_of_unit[fleet.positions.unit_index[rows]] = rows
    position = position_of_unit[readings.unit_index]
    placed = np.full(len(fleet.positions) + 1, np.inf)
    placed[rows] = fleet.placements.placed_day[current_placement[rows]]
    ok = (position >= 0) & (readings.day >= placed[position]) & np.isfinite(readings.permeate_flow_l_per_day)
    position, day, flow = position[ok], readings.day[ok], readings.permeate_flow_l_per_day[ok]
    first = np.full(len(fleet.positions), np.nan)
    first[position[::-1]] = flow[::-1]
    with np.errstate(divide="ignore", invalid="ignore"):
        loss = 1.0 - flow / first[position]
    return position, day, loss, 1.0 - limits.membrane_flow_fraction[readings.unit_index[ok]]


def _extrapolate(position: Indexes, day: Floats, value: Floats, limit: Floats, count: int, now: float) -> Floats:
    """Day on which the line through the last readings of each position reaches the limit; NaN where it cannot be
    said."""
    ok = np.isfinite(value)
    order = np.lexsort((day[ok], position[ok]))
    position, day, value, limit = position[ok][order], day[ok][order], value[ok][order], limit[ok][order]
    size = np.bincount(position, minlength=count)
    end = np.cumsum(size)
    keep = end[position] - np.arange(len(position)) <= LAST_READINGS
    position, day, value, limit = position[keep], day[keep] - now, value[keep], limit[keep]
    number = np.maximum(np.bincount(position, minlength=count), 1)
    mean_day, mean_value = sum_by(position, day, count) / number, sum_by(position, value, count) / number
    off = day - mean_day[position]
    square = sum_by(position, off**2, count)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = sum_by(position, off * value, count) / square
        reached = now + mean_day + (sum_by(position, limit, count) / number - mean_value) / slope
    return np.where((square > 1.0) & (slope > 0), reached, np.nan)
