"""The door of this room: a whole fleet in, one distribution of the exhaustion date per position out."""

from typing import Any

import numpy as np

from fleet.engineering.limits import Limits
from fleet.forecasting.answer.results import Forecasts, first_to_fail
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.exclusions import Exclusions
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.inputs.tables import Fleet, Floats, Indexes
from fleet.forecasting.wear.conditions import Conditions, build_conditions
from fleet.forecasting.wear.dates import FURTHEST_DAYS, dates_from_load, earliest
from fleet.forecasting.wear.habits import find_visits
from fleet.forecasting.wear.learned import Learned, Pool
from fleet.forecasting.wear.membranes import membranes_left
from fleet.forecasting.wear.nominal import cap_day_of_positions, current_placements, label_over_load
from fleet.forecasting.wear.pooling import Hyper
from fleet.forecasting.wear.present import load_left
from fleet.forecasting.wear.stage_inputs import carbon_input, resin_input, sediment_input

_MIDDLE = len(GRID_LEVELS) // 2
_DRIVER_OF_STAGE = np.array(
    [words.PRESSURE, words.BREAKTHROUGH, words.MEMBRANE_TREND, words.BREAKTHROUGH], dtype=np.int8
)
_UNIT_OF_STAGE = np.array([1, 2, 3, 4], dtype=np.int8)


def forecast(fleet: Fleet, *, limits: Limits[Any] | None = None, learned: Learned | None = None) -> Forecasts:
    """Forecast when every standing cartridge of a fleet will be exhausted.

    Parameters
    ----------
    fleet
        What was known on `fleet.as_of_day` (see `tables` and `build.build_fleet`). Readings later than that day are
        excluded and listed.
    limits
        Limits of exhaustion, of all units alike or one value for each; of the house when None. What the table of units
        says tightens them.
    learned
        What the whole fleet taught in an earlier run (`Forecasts.learned`): then only the units given are read, and a
        few units can be forecast again as if all were there. None: this fleet teaches itself.

    Returns
    -------
    One row per position, in the order of `fleet.positions`; aggregated for every unit and site.
    """
    of_units = limits_of_fleet(fleet, limits)
    now = fleet.as_of_day
    count = len(fleet.positions)
    screened = screen(fleet)
    readings = screened.readings
    lessons = learned or Learned()
    hypers: dict[str, Hyper] = {}
    conditions = build_conditions(fleet, readings, Pool(lessons.means))
    visits = find_visits(fleet)
    current_placement = current_placements(fleet)
    some = current_placement >= 0
    grid = np.full((count, len(GRID_LEVELS)), np.nan)
    remaining = np.full(count, np.nan)
    used_readings = np.zeros(count, dtype=np.int64)
    newest = np.full(count, np.nan)
    past_lives = np.zeros(count, dtype=np.int64)
    priors = np.zeros(count, dtype=np.int8)

    def note(position: Indexes, rows: np.ndarray, read: Indexes, day: Floats, lives: Indexes, taught: int) -> None:
        used_readings[position] = read[rows]
        newest[position] = now - day[rows]
        past_lives[position] = lives[rows]
        priors[position] = np.where(lives[rows] > 0, 2, 1 if taught else 0)

    for name, make in (("sediment", sediment_input), ("carbon", carbon_input), ("resin", resin_input)):
        stage = make(fleet, readings, conditions, of_units)
        if not len(stage.segments):
            continue
        stage_forecast = load_left(stage, conditions, fleet, visits, hyper=lessons.hypers.get(name))
        hypers[name] = stage_forecast.hyper
        unit = stage.columns.unit[stage_forecast.column]
        for position, load, used in (
            (stage.columns.lead_position[stage_forecast.column], stage_forecast.lead_load, stage_forecast.lead_used),
            (stage.columns.lag_position[stage_forecast.column], stage_forecast.lag_load, stage_forecast.lag_used),
        ):
            rows = np.flatnonzero((position >= 0) & (current_placement[position] >= 0))
            at = position[rows]
            grid[at] = dates_from_load(conditions, stage.stage, unit[rows], load[rows], now)
            middle = np.maximum(load[rows, _MIDDLE], 0.0)
            remaining[at] = middle / np.maximum(middle + np.maximum(used[rows], 0.0), 1e-9)
            note(
                at,
                rows,
                stage_forecast.readings,
                stage_forecast.newest_day,
                stage_forecast.past_lives,
                stage_forecast.hyper.places,
            )
    if (fleet.positions.stage == words.MEMBRANE).any() and len(fleet.placements):
        both = lessons.hypers.get("membrane_flow"), lessons.hypers.get("membrane_salt")
        membranes = membranes_left(
            fleet, readings, conditions, visits, of_units, hypers=(both[0], both[1]) if both[0] and both[1] else None
        )
        hypers["membrane_flow"], hypers["membrane_salt"] = membranes.flow_hyper, membranes.salt_hyper
        rows = np.flatnonzero(current_placement[membranes.position] >= 0)
        at = membranes.position[rows]
        unit = membranes.unit[rows]
        by_flow, by_salt = (
            dates_from_load(conditions, words.MEMBRANE, unit, load[rows], now)
            for load in (membranes.flow_load, membranes.salt_load)
        )
        grid[at] = earliest(by_flow, by_salt)
        middle = np.maximum(grid[at][:, _MIDDLE] - now, 0.0)
        remaining[at] = middle / np.maximum(middle + membranes.used[rows], 1e-9)
        note(at, rows, membranes.readings, membranes.newest_day, membranes.past_lives, membranes.flow_hyper.places)

    # Records that contradict each other (two cartridges in one place) leave a position without segments: by its label.
    bare = some & np.isnan(grid[:, 0])
    if bare.any():
        grid[bare] = np.nan_to_num(label_over_load(fleet, limits=of_units)[bare], nan=now + FURTHEST_DAYS)
    cap = cap_day_of_positions(fleet, current_placement, of_units)
    idle = some & conditions.is_idle[fleet.positions.unit_index]
    grid[idle] = now + 10 * FURTHEST_DAYS
    capped = np.where(some, (grid >= cap[:, None]).mean(axis=1), np.nan)
    grid = np.minimum(grid, np.maximum(cap, now)[:, None])
    dateless = idle & ~np.isfinite(cap)
    grid[dateless | ~some] = np.nan
    grid = np.minimum(grid, now + FURTHEST_DAYS)
    exhausted = some & (grid[:, _MIDDLE] <= now)
    state = np.select(
        [~some, dateless, exhausted], [words.EMPTY, words.NO_CONSUMPTION, words.EXHAUSTED_NOW], words.INSTALLED
    )
    driver = np.where(capped > 0.5, words.MAXIMUM_SERVICE_TIME, _DRIVER_OF_STAGE[fleet.positions.stage])
    driver = np.where(np.isnan(grid[:, 0]), words.NO_DRIVER, driver).astype(np.int8)
    reasons = np.full(count, "", dtype=object)
    reasons[~some] = "No cartridge is installed in this position."
    reasons[dateless] = "No water is drawn, so there is no date."
    unit_of = fleet.positions.unit_index
    return Forecasts(
        as_of_day=now,
        grid_day=grid,
        placement_index=current_placement,
        state=state.astype(np.int8),
        no_date_reason=tuple(reasons.tolist()),
        remaining_share=np.clip(remaining, 0.0, 1.0),
        daily_load=_daily_load(fleet, conditions),
        daily_load_unit=_UNIT_OF_STAGE[fleet.positions.stage],
        driver=driver,
        probability_maximum_service_time=capped,
        readings_used=used_readings,
        readings_excluded=_excluded(fleet, screened.exclusions, current_placement),
        newest_reading_age_days=newest,
        past_lives=past_lives,
        priors=priors,
        exclusions=screened.exclusions,
        learned=Learned({**lessons.hypers, **hypers}, {**lessons.means, **conditions.pool.means}),
        units=first_to_fail(grid, driver, unit_of, len(fleet.units)),
        sites=first_to_fail(grid, driver, fleet.units.site_index[unit_of], len(fleet.sites)),
    )


def _daily_load(fleet: Fleet, conditions: Conditions) -> Floats:
    """Mean load per day over the coming four weeks; for membranes the permeate volume."""
    out = np.zeros(len(fleet.positions))
    now = fleet.as_of_day
    for stage in range(len(words.STAGES)):
        rows = np.flatnonzero(fleet.positions.stage == stage)
        unit = fleet.positions.unit_index[rows]
        if stage == words.MEMBRANE:
            step = conditions.timeline.step_of(np.full(len(rows), now))
            out[rows] = conditions.product_l_per_day[unit, step]
        else:
            ahead = conditions.at(stage, unit, np.full(len(rows), now + 28.0))
            out[rows] = (ahead - conditions.at(stage, unit, np.full(len(rows), now))) / 28.0
    return out


def _excluded(fleet: Fleet, exclusions: Exclusions, current_placement: Indexes) -> Indexes:
    """Readings with a value left out that would bear on a position, since its cartridge was placed."""
    out = np.zeros(len(fleet.positions), dtype=np.int64)
    if not len(exclusions):
        return out
    placed = (
        np.where(current_placement >= 0, fleet.placements.placed_day[current_placement], np.inf)
        if len(fleet.placements)
        else None
    )
    if placed is None:
        return out
    day = fleet.readings.day[exclusions.reading_index]
    unit = fleet.readings.unit_index[exclusions.reading_index]
    for stage, names in enumerate(words.STAGE_QUANTITIES):
        is_used = np.isin(exclusions.quantity, [-1, *(words.QUANTITY_INDEX[name] for name in names)])
        rows = np.flatnonzero(fleet.positions.stage == stage)
        order = np.argsort(fleet.positions.unit_index[rows], kind="stable")
        rows = rows[order]
        owner = fleet.positions.unit_index[rows]
        first = np.searchsorted(owner, unit[is_used], side="left")
        last = np.searchsorted(owner, unit[is_used], side="right")
        number = last - first
        exclusion = np.repeat(np.arange(len(number)), number)
        at = rows[np.repeat(first, number) + np.arange(len(exclusion)) - np.repeat(np.cumsum(number) - number, number)]
        since = day[is_used][exclusion] >= placed[at]
        pairs = np.unique(np.stack([at[since], exclusions.reading_index[is_used][exclusion][since]]), axis=1)
        out += np.bincount(pairs[0], minlength=len(out))
    return out
