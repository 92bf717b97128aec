"""What a forecast answers: distributions of the exhaustion date, with the evidence they stand on."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.forecasting.distribution import GRID_LEVELS, SHOWN, cumulative_at, probability_by
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.exclusions import Exclusions
from fleet.forecasting.inputs.tables import Bools, Codes, Floats, Indexes
from fleet.forecasting.wear.learned import Learned

FRESH_LEVELS: Final = (0.1, 0.5, 0.9)
"""Levels at which the life of a fresh cartridge is told."""


@dataclass(frozen=True)
class GroupForecasts:
    """First position to fail of every unit, or of every site: one row a group, in the order of the fleet's table.

    `first_position_index` is the position most likely to be the first, -1 where no position has a date.
    """

    quantile_day: Floats
    grid_day: Floats
    first_position_index: Indexes
    driver: Codes

    def probability_exhausted_by(self, day: ArrayLike) -> Floats:
        """Probability that at least one position of the group is exhausted by a day (scalar or one per group)."""
        return probability_by(self.grid_day, day)


@dataclass(frozen=True)
class Forecasts:
    """One row per position, in the order of the fleet's positions.

    Attributes
    ----------
    as_of_day
        Day on which the forecast was made; no date lies before it.
    grid_day
        Quantiles of the exhaustion date at `GRID_LEVELS`, days since 1970-01-01, shape (positions, levels). NaN: no
        date.
    placement_index
        The cartridge that stands there, -1 when none.
    state
        Index into `vocabulary.STATES`: installed, empty, exhausted (a reading or the maximum service time shows that it
        is already exhausted), no_consumption (no water is drawn, so wear gives no date).
    no_date_reason
        A sentence where there is no date, else empty.
    remaining_share
        Median share of the cartridge's own life that is left, 0 to 1.
    fresh_life_days
        Life of a fresh cartridge at this position from now on, at `FRESH_LEVELS`, with all others of its stage fresh
        too; its maximum service time counts. Shape (positions, 3), NaN where nothing is installed.
    daily_load
        Expected load on the cartridge now, in `vocabulary.LOAD_UNITS[daily_load_unit]`.
    driver
        Limiting driver, index into `vocabulary.DRIVERS`.
    probability_maximum_service_time
        Probability that the maximum service time comes before wear.
    readings_used, readings_excluded
        Readings since the cartridge was placed that bear on this position, and those with a value left out.
    newest_reading_age_days
        Age of the newest used reading, NaN when there is none.
    past_lives
        Earlier cartridges of the same stage at this unit that taught the forecast.
    priors
        Index into `vocabulary.PRIORS`.
    exclusions
        Every reading value that was left out, with its reason.
    learned
        What this fleet taught, to forecast a few of its units again without reading all the others.
    """

    as_of_day: float
    grid_day: Floats
    placement_index: Indexes
    state: Codes
    no_date_reason: tuple[str, ...]
    remaining_share: Floats
    fresh_life_days: Floats
    daily_load: Floats
    daily_load_unit: Codes
    driver: Codes
    probability_maximum_service_time: Floats
    readings_used: Indexes
    readings_excluded: Indexes
    newest_reading_age_days: Floats
    past_lives: Indexes
    priors: Codes
    exclusions: Exclusions
    learned: Learned
    units: GroupForecasts
    sites: GroupForecasts

    def __len__(self) -> int:
        return len(self.grid_day)

    @property
    def quantile_day(self) -> Floats:
        """Quantiles at `LEVELS`, shape (positions, 7)."""
        return self.grid_day[:, SHOWN]

    def probability_exhausted_by(self, day: ArrayLike) -> Floats:
        """Probability that each position is exhausted by a day (scalar or one per position); NaN where no date."""
        return probability_by(self.grid_day, day)


def first_to_fail(
    grid_day: Floats, driver: Codes, group_index: Indexes, group_count: int, is_counted: Bools | None = None
) -> GroupForecasts:
    """Distribution of the earliest exhaustion in each group of positions.

    The positions of a group share demand and feed, so their dates rise and fall together; how much is not known. The
    survival of the group is taken as the geometric mean of the two extremes: independence (product) and full dependence
    (smallest survival).

    Parameters
    ----------
    grid_day, driver
        Of the positions, as in `Forecasts`.
    group_index
        Group of every position, 0 to `group_count` - 1.
    is_counted
        Which positions count; a lead position does not fail the unit while its lag holds, but it asks for a visit, so
        by default all count.
    """
    levels = GRID_LEVELS
    dated = ~np.isnan(grid_day[:, 0])
    if is_counted is not None:
        dated &= is_counted
    out = np.full((group_count, len(levels)), np.nan)
    first = np.full(group_count, -1, dtype=np.int64)
    rows = np.flatnonzero(dated)
    if len(rows):
        order = rows[np.lexsort((grid_day[rows, len(levels) // 2], group_index[rows]))]
        groups, starts = np.unique(group_index[order], return_index=True)
        first[groups] = order[starts]
        lowest = np.full(group_count, np.inf)
        highest = np.full(group_count, np.inf)
        np.minimum.at(lowest, group_index[rows], grid_day[rows, 0])
        np.minimum.at(highest, group_index[rows], grid_day[rows, -1])
        steps = 81
        share = np.linspace(0.0, 1.0, steps)
        days = lowest[groups, None] + share * (highest[groups] - lowest[groups])[:, None]
        place = np.searchsorted(groups, group_index[order])
        log_survival = np.log(np.maximum(1.0 - cumulative_at(grid_day[order], days[place]), 1e-12))
        together = np.add.reduceat(log_survival, starts, axis=0)
        smallest = np.minimum.reduceat(log_survival, starts, axis=0)
        cumulative = np.maximum.accumulate(1.0 - np.exp(0.5 * (together + smallest)), axis=1)
        at = np.stack([(cumulative < level).sum(axis=1) for level in levels], axis=1)
        at = np.minimum(at, steps - 1)
        before = np.maximum(at - 1, 0)
        reached, day = (np.take_along_axis(table, before, axis=1) for table in (cumulative, days))
        rise = np.take_along_axis(cumulative, at, axis=1) - reached
        part = np.where(rise > 0, (levels - reached) / np.where(rise > 0, rise, 1.0), 1.0)
        part = np.clip(part, 0.0, 1.0)
        out[groups] = day + part * (np.take_along_axis(days, at, axis=1) - day)
    return GroupForecasts(
        quantile_day=out[:, SHOWN],
        grid_day=out,
        first_position_index=first,
        driver=np.append(driver, words.NO_DRIVER)[first].astype(np.int8),
    )
