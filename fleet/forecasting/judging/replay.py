"""History played again: what would have been forecast with what was known on earlier days, against what happened.

What happened is known only as well as people looked. A cartridge that was removed as exhausted, or that a reading
proves to be exhausted, became so between the last sign that it was good and that day; the middle of the two counts as
the day. One removed for another reason, or still standing, lasted at least so long.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fleet.engineering.limits import Limits
from fleet.forecasting.answer.forecast import forecast
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.inputs.tables import Bools, Codes, Fleet, Floats, Indexes
from fleet.forecasting.judging.scoring import is_degenerate
from fleet.forecasting.judging.straight_line import straight_line
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.habits import find_visits
from fleet.forecasting.wear.nominal import fixed_interval, label_over_load, maximum_service_days, nominal_lives
from fleet.forecasting.wear.stage_inputs import carbon_input, resin_input, sediment_input
from fleet.forecasting.wear.stages import StageInput

METHODS: Final = ("learned", "fixed interval", "label over load", "straight line")

PROVEN: Final = 1.25
"""A reading proves exhaustion when it stands so far above the limit that noise does not explain it."""


@dataclass(frozen=True)
class Outcomes:
    """What became of every placement: `low` and `high` enclose the day of exhaustion; `high` is infinite when it was
    not seen. `by_age` marks those that reached their maximum service time; `good` is the last day on which each was
    seen to be good, whatever its age."""

    low: Floats
    high: Floats
    by_age: Bools
    good: Floats

    @property
    def day(self) -> Floats:
        """The day that counts: the middle of an observed interval, the last day seen alive otherwise."""
        return np.where(
            np.isfinite(self.high), 0.5 * (self.low + np.where(np.isfinite(self.high), self.high, 0.0)), self.low
        )

    @property
    def is_observed(self) -> Bools:
        """Whether exhaustion was seen."""
        return np.isfinite(self.high)


@dataclass(frozen=True)
class Replay:
    """Forecasts of all cuts and methods beside what happened, one row for each position and cut.

    `grid_day` maps a method to its quantiles at `GRID_LEVELS`; `true_day` and `is_observed` say what happened (a day on
    which it was still good when not observed), `low_day` and `high_day` enclose it where it was observed; `is_open`
    maps a method to the rows whose interval is not degenerate.
    """

    cut_day: Floats
    stage: Codes
    role: Codes
    readings: Indexes
    nominal_life_days: Floats
    true_day: Floats
    low_day: Floats
    high_day: Floats
    is_observed: Bools
    true_driver: Codes
    driver: Codes
    grid_day: Mapping[str, Floats]
    is_open: Mapping[str, Bools]

    def __len__(self) -> int:
        return len(self.cut_day)


def monthly_cuts(fleet: Fleet, *, first_after_days: float = 180.0, last_before_days: float = 90.0) -> list[float]:
    """Days a month apart, from half a year after the first placement to three months before the fleet's day."""
    if not len(fleet.placements):
        return []
    first = float(np.quantile(fleet.placements.placed_day, 0.02)) + first_after_days
    return np.arange(first, fleet.as_of_day - last_before_days + 1e-6, 30.4375).tolist()


def outcomes(fleet: Fleet, *, limits: Limits[Any] | None = None) -> Outcomes:
    """What became of every placement, from the whole record (see `Outcomes`)."""
    of_units = limits_of_fleet(fleet, limits)
    # Of a reading that was corrected, the correction tells what happened.
    fleet = fleet.known_at(fleet.as_of_day)
    placements = fleet.placements
    count = len(placements)
    is_removed = np.isfinite(placements.removed_day) & (placements.removed_day <= fleet.as_of_day)
    last = np.where(is_removed, placements.removed_day, fleet.as_of_day)
    low, high = placements.placed_day.copy(), np.full(count, np.inf)
    is_exhausted = is_removed & (placements.reason == words.EXHAUSTED)
    high[is_exhausted] = placements.removed_day[is_exhausted]
    low[~is_exhausted] = last[~is_exhausted]
    if count:
        readings = screen(fleet).readings
        conditions = build_conditions(fleet, readings)
        for stage in (
            sediment_input(fleet, readings, conditions, of_units),
            carbon_input(fleet, readings, conditions, of_units),
            resin_input(fleet, readings, conditions, of_units),
        ):
            for placement, day, over in _signs(stage):
                proven = over > PROVEN
                np.minimum.at(high, placement[proven], day[proven])
        for stage in (
            sediment_input(fleet, readings, conditions, of_units),
            carbon_input(fleet, readings, conditions, of_units),
            resin_input(fleet, readings, conditions, of_units),
        ):
            for placement, day, over in _signs(stage):
                good = (over < 0.9) & (day < high[placement])
                np.maximum.at(low, placement[good], day[good])
        _visited(fleet, is_exhausted, low, high)
    by_age = np.zeros(count, dtype=bool)
    last_good = low.copy()
    if count:
        last_day = placements.first_installed_day
        last_day = last_day + maximum_service_days(fleet, placements.item_index, placements.position_index, of_units)
        by_age = np.isfinite(last_day) & (last >= last_day - 1.0) & (high >= last_day - 1.0)
        low[by_age], high[by_age] = last_day[by_age], last_day[by_age]
    high = np.where(np.isfinite(high), np.maximum(high, low), high)
    return Outcomes(low, high, by_age, np.minimum(last_good, high))


def _visited(fleet: Fleet, is_exhausted: Bools, low: Floats, high: Floats) -> None:
    """A visit that left a cartridge in place is a sign that it was good."""
    visits = find_visits(fleet)
    rows = np.flatnonzero(is_exhausted)
    unit = fleet.positions.unit_index[fleet.placements.position_index[rows]]
    before = visits.last_before(unit, high[rows] - 2.0)
    low[rows] = np.where(before > low[rows], before, low[rows])


def _signs(stage: StageInput) -> list[tuple[Indexes, Floats, Floats]]:
    """Placement, day, and value over limit of every reading that bears on the first or the last cartridge."""
    segment = stage.reading_segment
    lead, lag = stage.segments.lead[segment], stage.segments.lag[segment]
    day, readings = stage.reading_day, stage.readings
    if stage.stage == words.SEDIMENT:
        single = stage.columns.in_series[stage.segments.column[segment]] == 1
        over = np.where(single, readings.between / readings.resolution, np.nan)
        return [(lead, day, over)]
    allowed = stage.limit[segment] * readings.entering
    # A value within the meter's step of the limit proves nothing.
    margin = np.where(np.abs(readings.after - allowed) > 0.6 * readings.resolution, 1.0, np.nan)
    last = np.where(lag >= 0, lag, lead)
    first = readings.between / np.maximum(readings.entering, 1e-9)
    share = stage.lead_limit[segment]
    first = np.where(first >= share, 10.0, first / share)
    paired = lag >= 0
    return [(last, day, readings.after / allowed * margin), (lead[paired], day[paired], first[paired])]


def replay(
    fleet: Fleet,
    cut_days: Sequence[float],
    *,
    limits: Limits[Any] | None = None,
    progress: Callable[[float], object] | None = None,
) -> Replay:
    """Forecast at every cut with what was known then, by all methods, and set it beside what happened.

    Parameters
    ----------
    fleet
        The whole record.
    cut_days
        Days on which to forecast, in days since 1970-01-01; see `monthly_cuts`.
    progress
        Called with the share done.
    """
    of_units = limits_of_fleet(fleet, limits)
    happened = outcomes(fleet, limits=of_units)
    parts: list[dict[str, np.ndarray]] = []
    placement_known = np.arange(len(fleet.placements))
    for number, cut in enumerate(cut_days):
        known_fleet = fleet.known_at(cut)
        known_placements = placement_known[fleet.placements.placed_day <= cut]
        answer = forecast(known_fleet, limits=of_units)
        grids = dict(
            zip(
                METHODS,
                (
                    answer.grid_day,
                    fixed_interval(known_fleet, limits=of_units),
                    label_over_load(known_fleet, limits=of_units),
                    straight_line(known_fleet, limits=of_units),
                ),
                strict=True,
            )
        )
        current_placement = answer.placement_index
        dated = (current_placement >= 0) & np.all([np.isfinite(grid).all(axis=1) for grid in grids.values()], axis=0)
        placement = (
            known_placements[np.maximum(current_placement, 0)]
            if len(known_placements)
            else np.zeros(len(current_placement), dtype=np.int64)
        )
        day = np.maximum(happened.day[placement], cut) if len(known_placements) else np.zeros(len(current_placement))
        # A life that ended unseen at the cut itself says nothing.
        dated &= happened.is_observed[placement] | (day > cut + 1.0) if len(known_placements) else False
        rows = np.flatnonzero(dated)
        positions = fleet.positions
        last_day = fleet.placements.first_installed_day[placement] + maximum_service_days(
            fleet, fleet.placements.item_index[placement], np.arange(len(positions)), of_units
        )
        part = {
            "cut_day": np.full(len(rows), cut),
            "stage": positions.stage[rows],
            "role": positions.role[rows],
            "readings": answer.readings_used[rows],
            "nominal_life_days": _nominal(known_fleet, rows, of_units),
            "true_day": day[rows],
            "low_day": np.maximum(happened.good[placement[rows]], cut),
            "high_day": np.maximum(happened.high[placement[rows]], cut),
            "is_observed": happened.is_observed[placement[rows]],
            "true_driver": np.where(happened.by_age[placement[rows]], words.MAXIMUM_SERVICE_TIME, 0).astype(np.int8),
            "driver": answer.driver[rows],
        }
        for method, grid in grids.items():
            part[f"grid {method}"] = grid[rows]
            part[f"open {method}"] = ~is_degenerate(grid[rows], cut, last_day[rows])
        parts.append(part)
        if progress is not None:
            progress((number + 1) / len(cut_days))
    return _joined(parts)


def _nominal(fleet: Fleet, rows: Indexes, limits: Limits[Floats]) -> Floats:
    """Life by the label over the measured load, within a month and three years, the yardstick of relative scores."""
    lives = nominal_lives(fleet).life_days
    item = np.where(rows >= 0, -1, -1)
    service_days = maximum_service_days(fleet, item, rows, limits)
    return np.clip(np.minimum(np.nan_to_num(lives[rows], nan=365.0), service_days), 30.0, 1095.0)


def _joined(parts: list[dict[str, np.ndarray]]) -> Replay:
    empty: dict[str, np.ndarray] = {
        "cut_day": np.zeros(0), "stage": np.zeros(0, np.int8), "role": np.zeros(0, np.int8),
        "readings": np.zeros(0, np.int64), "nominal_life_days": np.zeros(0), "true_day": np.zeros(0),
        "low_day": np.zeros(0), "high_day": np.zeros(0),
        "is_observed": np.zeros(0, bool), "true_driver": np.zeros(0, np.int8), "driver": np.zeros(0, np.int8),
        **{f"grid {method}": np.zeros((0, len(GRID_LEVELS))) for method in METHODS},
        **{f"open {method}": np.zeros(0, bool) for method in METHODS},
    }  # fmt: skip
    joined = {name: np.concatenate([part[name] for part in parts] or [blank]) for name, blank in empty.items()}
    return Replay(
        **{name: joined[name] for name in empty if not name.startswith(("grid ", "open "))},
        grid_day={method: joined[f"grid {method}"] for method in METHODS},
        is_open={method: joined[f"open {method}"] for method in METHODS},
    )
