"""The door of this room: a whole fleet in, one distribution of the exhaustion date per position out."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

import numpy as np

from accounts.language import gettext_noop
from fleet.engineering.limits import Limits
from fleet.forecasting.answer.gauges import Gauges
from fleet.forecasting.answer.results import FRESH_LEVELS, Forecasts, first_to_fail
from fleet.forecasting.distribution import GRID_LEVELS, places_of
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.exclusions import Exclusions
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.matching import match
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.inputs.tables import Fleet, Floats, Indexes, Readings
from fleet.forecasting.wear.conditions import Conditions, build_conditions
from fleet.forecasting.wear.dates import FURTHEST_DAYS, dates_from_load, earliest
from fleet.forecasting.wear.habits import find_visits
from fleet.forecasting.wear.learned import Learned, Pool
from fleet.forecasting.wear.membranes import MembraneLeft, membranes_left
from fleet.forecasting.wear.nominal import (
    FIXED_INTERVAL_DAYS,
    current_items,
    current_placements,
    label_over_load,
    last_service_day_of_positions,
    maximum_service_days,
)
from fleet.forecasting.wear.opinions import MOST_OF_MEMBRANE_CALENDAR, pooled, rule, share
from fleet.forecasting.wear.pooling import Hyper
from fleet.forecasting.wear.present import StageForecast, load_left
from fleet.forecasting.wear.stage_inputs import carbon_input, finishing_input, resin_input, sediment_input
from fleet.forecasting.wear.stages import StageInput

_MIDDLE = len(GRID_LEVELS) // 2
_INPUTS: Final[Mapping[str, Callable[[Fleet, Readings, Conditions, Limits[Floats]], StageInput]]] = {
    "sediment": sediment_input,
    "carbon": carbon_input,
    "resin": resin_input,
    **{words.STAGES[stage]: partial(finishing_input, stage=stage) for stage in words.FINISHING_STAGES},
}
"""Stages that wear along columns, by the name of what they teach."""


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
    screened = screen(fleet)
    readings = screened.readings
    lessons = learned or Learned()
    hypers: dict[str, Hyper] = {}
    conditions = build_conditions(fleet, readings, Pool(lessons.means))
    visits = find_visits(fleet)
    rows = _Rows(fleet, conditions)
    for name, make in _INPUTS.items():
        if not (fleet.positions.stage == words.STAGES.index(name)).any():
            continue
        stage = make(fleet, readings, conditions, of_units)
        if len(stage.segments):
            stage_forecast = load_left(stage, conditions, fleet, visits, hyper=lessons.hypers.get(name))
            hypers[name] = stage_forecast.hyper
            rows.add_stage(stage, stage_forecast)
    if (fleet.positions.stage == words.MEMBRANE).any() and len(fleet.placements):
        both = lessons.hypers.get("membrane_flow"), lessons.hypers.get("membrane_salt")
        membranes = membranes_left(
            fleet, readings, conditions, visits, of_units, hypers=(both[0], both[1]) if both[0] and both[1] else None
        )
        hypers["membrane_flow"], hypers["membrane_salt"] = membranes.flow_hyper, membranes.salt_hyper
        rows.add_membranes(membranes)
    rows.fill_by_label(of_units)
    rows.believe(Gauges(fleet, screened.exclusions, of_units))
    dates = _dates_within_service_time(fleet, conditions, rows, of_units)
    unit_of = fleet.positions.unit_index
    return Forecasts(
        as_of_day=fleet.as_of_day,
        grid_day=dates.grid,
        placement_index=rows.current_placement,
        state=dates.state,
        no_date_reason=dates.no_date_reason,
        remaining_share=np.clip(rows.remaining, 0.0, 1.0),
        fresh_life_days=rows.fresh_life_days(of_units),
        daily_load=_daily_load(fleet, conditions),
        daily_load_unit=words.UNIT_OF_LOAD[fleet.positions.stage],
        driver=dates.driver,
        probability_maximum_service_time=dates.probability_maximum_service_time,
        readings_used=rows.readings,
        readings_excluded=_excluded(fleet, screened.exclusions, rows.current_placement),
        newest_reading_age_days=rows.newest_age_days,
        past_lives=rows.past_lives,
        priors=rows.priors,
        exclusions=screened.exclusions,
        learned=Learned({**lessons.hypers, **hypers}, {**lessons.means, **conditions.pool.means}),
        units=first_to_fail(dates.grid, dates.driver, unit_of, len(fleet.units)),
        sites=first_to_fail(dates.grid, dates.driver, fleet.units.site_index[unit_of], len(fleet.sites)),
    )


class _Rows:
    """What the wear models say of every position: days of exhaustion on the grid, and what they rest on."""

    def __init__(self, fleet: Fleet, conditions: Conditions) -> None:
        count = len(fleet.positions)
        self._fleet, self._conditions = fleet, conditions
        self.current_placement = current_placements(fleet)
        self.is_occupied = self.current_placement >= 0
        self.grid = np.full((count, len(GRID_LEVELS)), np.nan)
        self.fresh = np.full((count, len(GRID_LEVELS)), np.nan)
        self.remaining = np.full(count, np.nan)
        self.readings = np.zeros(count, dtype=np.int64)
        self.newest_age_days = np.full(count, np.nan)
        self.past_lives = np.zeros(count, dtype=np.int64)
        self.priors = np.zeros(count, dtype=np.int8)

    def add_stage(self, stage: StageInput, outcome: StageForecast) -> None:
        """Leads and lags of a stage that wears along columns."""
        unit = stage.columns.unit[outcome.column]
        for position, load, fresh, used in (
            (
                stage.columns.lead_position[outcome.column],
                outcome.lead_load,
                outcome.fresh_lead_load,
                outcome.lead_used,
            ),
            (stage.columns.lag_position[outcome.column], outcome.lag_load, outcome.fresh_lag_load, outcome.lag_used),
        ):
            rows = np.flatnonzero((position >= 0) & (self.current_placement[position] >= 0))
            at = position[rows]
            self.grid[at] = dates_from_load(
                self._conditions, stage.stage, unit[rows], load[rows], self._fleet.as_of_day
            )
            self.fresh[at] = dates_from_load(
                self._conditions, stage.stage, unit[rows], fresh[rows], self._fleet.as_of_day
            )
            middle = np.maximum(load[rows, _MIDDLE], 0.0)
            self.remaining[at] = middle / np.maximum(middle + np.maximum(used[rows], 0.0), 1e-9)
            self._rest_on(at, rows, outcome, outcome.hyper)

    def add_membranes(self, outcome: MembraneLeft) -> None:
        """Membranes: exhausted by flow or by salt, whichever comes first."""
        now = self._fleet.as_of_day
        rows = np.flatnonzero(self.current_placement[outcome.position] >= 0)
        at, unit = outcome.position[rows], outcome.unit[rows]
        by_flow, by_salt = (
            dates_from_load(self._conditions, words.MEMBRANE, unit, load[rows], now)
            for load in (outcome.flow_load, outcome.salt_load)
        )
        middle = np.full(len(rows), float(FIXED_INTERVAL_DAYS[words.MEMBRANE]))
        by_calendar, fresh_by_calendar = (
            dates_from_load(self._conditions, words.MEMBRANE, unit, rule(middle, used), now)
            for used in (outcome.used[rows], np.zeros(len(rows)))
        )
        of_rule = share(MOST_OF_MEMBRANE_CALENDAR, outcome.flow_hyper)
        by_wear = earliest(by_flow, by_salt)
        # what was read of a membrane outweighs any rule: one past its limit is no younger by the calendar
        is_unread = outcome.readings[rows] == 0
        self.grid[at] = np.where(is_unread[:, None], pooled(by_wear, (of_rule, by_calendar)), by_wear)
        by_flow, by_salt = (
            dates_from_load(self._conditions, words.MEMBRANE, unit, load[rows], now)
            for load in (outcome.fresh_flow_load, outcome.fresh_salt_load)
        )
        self.fresh[at] = pooled(earliest(by_flow, by_salt), (of_rule, fresh_by_calendar))
        middle = np.maximum(self.grid[at][:, _MIDDLE] - now, 0.0)
        self.remaining[at] = middle / np.maximum(middle + outcome.used[rows], 1e-9)
        self._rest_on(at, rows, outcome, outcome.flow_hyper)

    def _rest_on(self, at: Indexes, rows: Indexes, outcome: StageForecast | MembraneLeft, hyper: Hyper) -> None:
        lives = outcome.past_lives[rows]
        self.readings[at] = outcome.readings[rows]
        self.newest_age_days[at] = self._fleet.as_of_day - outcome.newest_day[rows]
        self.past_lives[at] = lives
        self.priors[at] = np.where(lives > 0, 2, 1 if hyper.places else 0)

    def fresh_life_days(self, limits: Limits[Floats]) -> Floats:
        """Days from today to exhaustion if all of the stage were fresh today, at `FRESH_LEVELS`."""
        fleet, item = self._fleet, current_items(self._fleet, self.current_placement)
        service_days = maximum_service_days(fleet, item, np.arange(len(fleet.positions)), limits)
        days = np.minimum(self.fresh - fleet.as_of_day, np.where(np.isnan(service_days), np.inf, service_days)[:, None])
        return np.asarray(days[:, places_of(FRESH_LEVELS)])

    def fill_by_label(self, limits: Limits[Floats]) -> None:
        """Records that contradict each other (two cartridges in one place) leave a position without segments: by its
        label."""
        bare = self.is_occupied & np.isnan(self.grid[:, 0])
        if bare.any():
            by_label = label_over_load(self._fleet, limits=limits)[bare]
            self.grid[bare] = np.nan_to_num(by_label, nan=self._fleet.as_of_day + FURTHEST_DAYS)

    def believe(self, gauges: Gauges) -> None:
        """Exhausted by now, at even odds at least, where the gauge has said so twice, whatever the curve makes of it.

        A finding and the status of the unit are told by the same gauge. How sure it is stays with the curve: the later
        half of the distribution is left as it was.
        """
        placed_day = np.full(len(self.grid), np.nan)
        placed_day[self.is_occupied] = self._fleet.placements.placed_day[self.current_placement[self.is_occupied]]
        shown = gauges.show_exhausted(placed_day, self._fleet.as_of_day)
        earlier = self.grid[:, : _MIDDLE + 1]
        earlier[shown] = np.minimum(earlier[shown], self._fleet.as_of_day)
        self.remaining[shown] = 0.0


@dataclass(frozen=True)
class _Dates:
    """Days of exhaustion as they are answered, one row a position, and what makes each."""

    grid: Floats
    state: np.ndarray
    driver: np.ndarray
    probability_maximum_service_time: Floats
    no_date_reason: tuple[str, ...]


def _dates_within_service_time(fleet: Fleet, conditions: Conditions, rows: _Rows, limits: Limits[Floats]) -> _Dates:
    """Dates of the wear models where an age limit, or a unit that draws no water, has the last word."""
    now, occupied = fleet.as_of_day, rows.is_occupied
    last_day = last_service_day_of_positions(fleet, rows.current_placement, limits)
    idle = occupied & conditions.is_idle[fleet.positions.unit_index]
    grid = np.where(idle[:, None], now + 10 * FURTHEST_DAYS, rows.grid)
    at_service_time = np.where(occupied, (grid >= last_day[:, None]).mean(axis=1), np.nan)
    grid = np.minimum(grid, np.maximum(last_day, now)[:, None])
    dateless = idle & ~np.isfinite(last_day)
    grid[dateless | ~occupied] = np.nan
    grid = np.minimum(grid, now + FURTHEST_DAYS)
    exhausted = occupied & (grid[:, _MIDDLE] <= now)
    state = np.select(
        [~occupied, dateless, exhausted], [words.EMPTY, words.NO_CONSUMPTION, words.EXHAUSTED_NOW], words.INSTALLED
    )
    driver = np.where(at_service_time > 0.5, words.MAXIMUM_SERVICE_TIME, words.DRIVER_OF_STAGE[fleet.positions.stage])
    driver = np.where(np.isnan(grid[:, 0]), words.NO_DRIVER, driver)
    reasons = np.full(len(grid), "", dtype=object)
    reasons[~occupied] = gettext_noop("No cartridge is installed in this position.")
    reasons[dateless] = gettext_noop("No water is drawn, so there is no date.")
    return _Dates(grid, state.astype(np.int8), driver.astype(np.int8), at_service_time, tuple(reasons.tolist()))


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
        exclusion, row = match(fleet.positions.unit_index[rows], unit[is_used])
        at = rows[row]
        since = day[is_used][exclusion] >= placed[at]
        pairs = np.unique(np.stack([at[since], exclusions.reading_index[is_used][exclusion][since]]), axis=1)
        out += np.bincount(pairs[0], minlength=len(out))
    return out
