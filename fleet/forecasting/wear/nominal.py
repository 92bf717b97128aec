"""Baselines that any forecast has to beat: fixed intervals, label capacity over mean load, and a straight line.

They know nothing about places, past lives or breakthrough; they are what a careful spreadsheet would do.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from scipy.special import ndtri

from fleet.engineering.limits import USUAL_SERVICE_TIME_DAYS, Limits
from fleet.engineering.limits import maximum_service_time_days as service_time_by_label
from fleet.engineering.stages import FINISHING, HOURS_PER_DAY
from fleet.engineering.usual import (
    CAPACITY_LOG_SD,
    FEED_CHLORINE_MG_PER_L,
    REJECTION_IN_SERVICE,
    RESIN_CAPACITY_EQ_PER_L,
    RESIN_VOLUME_L,
)
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.physics import feed_volume_l, recovery_fraction, resin_capacity_meq, resin_load_meq_per_l
from fleet.forecasting.inputs.tables import Codes, Fleet, Floats, Indexes

FIXED_INTERVAL_DAYS: Final = np.array([USUAL_SERVICE_TIME_DAYS[stage] for stage in words.STAGES])
"""By stage."""

_OLDEST: Final = np.array(
    [FINISHING[stage].maximum_service_time_days if stage in FINISHING else np.inf for stage in words.STAGES]
)
"""By stage: the age at which it is replaced where neither label nor limits say."""

DEFAULT_RATED_VOLUME_L: Final = 20_000.0
DEFAULT_CHLORINE_CAPACITY_G: Final = 50.0
DEFAULT_RESIN_EQ: Final = RESIN_VOLUME_L * RESIN_CAPACITY_EQ_PER_L
DEFAULT_RECOVERY: Final = 0.22
DEFAULT_FEED_TDS_MG_PER_L: Final = 250.0
DEFAULT_L_PER_DAY: Final = 15.0


@dataclass(frozen=True)
class NominalLives:
    """One row per position: the cartridge that stands, its load as measured, and its life by the label.

    `capacity` and `daily_load` are in `vocabulary.LOAD_UNITS[load_unit]` times days and as such.
    """

    placement_index: Indexes
    daily_load: Floats
    load_unit: Codes
    capacity: Floats

    @property
    def life_days(self) -> Floats:
        """Label capacity over mean load; NaN where nothing is drawn or nothing stands."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.daily_load > 0, self.capacity / self.daily_load, np.nan)


def current_placements(fleet: Fleet) -> Indexes:
    """Placement that stands in every position on the forecast's day; the newest where two claim to, -1 where none."""
    placements = fleet.placements
    out = np.full(len(fleet.positions), -1, dtype=np.int64)
    stands = (placements.placed_day <= fleet.as_of_day) & ~(placements.removed_day <= fleet.as_of_day)
    rows = np.flatnonzero(stands)
    rows = rows[np.argsort(placements.placed_day[rows], kind="stable")]
    out[placements.position_index[rows]] = rows
    return out


def current_items(fleet: Fleet, current_placement: Indexes) -> Indexes:
    """Item that stands in every position, by `current_placements`; -1 where none does, or it is not known."""
    if not len(fleet.placements):
        return current_placement
    return np.where(current_placement >= 0, fleet.placements.item_index[current_placement], -1)


def median_by_group(values: Floats, group: Indexes, count: int) -> Floats:
    """Median of the finite values of each group, NaN for a group without any."""
    finite = np.isfinite(values)
    values, group = values[finite], group[finite]
    order = np.lexsort((values, group))
    values, group = values[order], group[order]
    size = np.bincount(group, minlength=count)
    start = np.concatenate([[0], np.cumsum(size)[:-1]])
    out = np.full(count, np.nan)
    some = size > 0
    low = start + (size - 1) // 2
    high = start + size // 2
    out[some] = 0.5 * (values[low[some]] + values[high[some]])
    return out


def _first_known(*choices: Floats | float) -> Floats:
    out = np.asarray(choices[0], dtype=np.float64).copy()
    for choice in choices[1:]:
        out = np.where(np.isfinite(out), out, choice)
    return out


def nominal_lives(fleet: Fleet) -> NominalLives:
    """Label capacity and mean measured load of every standing cartridge.

    Loads: feed volume for sediment, chlorine for carbon, days for a membrane (a label gives no capacity; three years),
    ionic equivalents by TDS alone for resin; of the stages that finish the water what their records say.
    """
    units, readings, positions, items = fleet.units, fleet.readings, fleet.positions, fleet.items
    count = len(units)
    of_unit = readings.unit_index

    def middle(values: Floats) -> Floats:
        return median_by_group(np.where(values > 0, values, np.nan), of_unit, count)

    sample_site = fleet.feed_water.site_index
    site_count = len(fleet.sites)
    report_tds = median_by_group(fleet.feed_water.tds_mg_per_l, sample_site, site_count)[units.site_index]
    free = median_by_group(fleet.feed_water.free_chlorine_mg_per_l, sample_site, site_count)[units.site_index]
    total = median_by_group(fleet.feed_water.total_chlorine_mg_per_l, sample_site, site_count)[units.site_index]
    permeate_flow, concentrate_flow = (
        middle(readings.permeate_flow_l_per_day),
        middle(readings.concentrate_flow_l_per_day),
    )
    recovery = _first_known(
        recovery_fraction(permeate_flow, concentrate_flow),
        units.recovery_fraction,
        recovery_fraction(permeate_flow, units.restrictor_flow_l_per_day),
        DEFAULT_RECOVERY,
    )
    demand = units.weekly_demand_l / 7.0
    stated = demand[demand > 0]
    usual = float(np.median(stated)) if len(stated) else DEFAULT_L_PER_DAY
    demand = np.where(np.isfinite(demand), demand, usual)
    feed_tds = _first_known(middle(readings.feed_tds_mg_per_l), report_tds, DEFAULT_FEED_TDS_MG_PER_L)
    permeate_tds = _first_known(middle(readings.permeate_tds_mg_per_l), feed_tds * (1 - REJECTION_IN_SERVICE))
    chlorine = _first_known(
        middle(np.fmax(readings.feed_total_chlorine_mg_per_l, readings.feed_free_chlorine_mg_per_l)),
        np.fmax(total, free),
        FEED_CHLORINE_MG_PER_L,
    )
    feed_volume = feed_volume_l(demand, recovery)

    current_placement = current_placements(fleet)
    item = current_items(fleet, current_placement)
    unit = positions.unit_index
    stage = positions.stage

    def attribute(values: Floats, default: float) -> Floats:
        if not len(items):
            return np.full(len(positions), default)
        return _first_known(np.where(item >= 0, values[item], np.nan), default)

    days = np.where(demand[unit] > 0, 1.0, 0.0)
    load = np.select(
        [stage == words.SEDIMENT, stage == words.CARBON, stage == words.MEMBRANE],
        [feed_volume[unit], feed_volume[unit] * chlorine[unit], days],
        demand[unit] * resin_load_meq_per_l(np.maximum(permeate_tds[unit], 0.5)),
    )
    capacity = np.select(
        [stage == words.SEDIMENT, stage == words.CARBON, stage == words.MEMBRANE],
        [
            attribute(items.rated_volume_l, DEFAULT_RATED_VOLUME_L),
            1000.0 * attribute(items.chlorine_capacity_g, DEFAULT_CHLORINE_CAPACITY_G),
            np.full(len(positions), FIXED_INTERVAL_DAYS[words.MEMBRANE]),
        ],
        attribute(resin_capacity_meq(items.resin_volume_l, items.resin_capacity_eq_per_l), 1000.0 * DEFAULT_RESIN_EQ),
    )
    for number, finishing in words.FINISHING_STAGES.items():
        here = stage == number
        load = np.where(here, demand[unit] if finishing.load == "product_l" else HOURS_PER_DAY, load)
        capacity = np.where(here, attribute(getattr(items, finishing.label), finishing.usual_label), capacity)
    unit_code = np.where(stage == words.MEMBRANE, 0, words.UNIT_OF_LOAD[stage]).astype(np.int8)
    return NominalLives(placement_index=current_placement, daily_load=load, load_unit=unit_code, capacity=capacity)


def maximum_service_days(fleet: Fleet, item_index: Indexes, position: Indexes, limits: Limits[Floats]) -> Floats:
    """Days from first installation after which an item leaves a position whatever it shows; inf where there is no such
    time."""
    positions = fleet.positions
    of_unit = limits.carbon_maximum_service_time_days[positions.unit_index[position]]
    stage = positions.stage[position]
    service_days = np.where(stage == words.CARBON, of_unit, _OLDEST[stage])
    label, hours = np.full(len(service_days), np.nan), np.full(len(service_days), np.nan)
    if len(fleet.items):
        label = np.where(item_index >= 0, fleet.items.maximum_service_time_days[item_index], np.nan)
        hours = np.where(item_index >= 0, fleet.items.rated_burning_hours[item_index], np.nan)
    oldest = np.asarray(service_time_by_label(label, service_days))
    for number in words.BY_THE_CLOCK:
        rated = np.where(np.isfinite(hours), hours, words.FINISHING_STAGES[number].usual_label) / HOURS_PER_DAY
        oldest = np.where(stage == number, np.minimum(oldest, rated), oldest)
    return oldest


def last_service_day_of_positions(fleet: Fleet, current_placement: Indexes, limits: Limits[Floats]) -> Floats:
    """Day of the maximum service time of every installed cartridge; inf where there is none."""
    if not len(fleet.placements):
        return np.full(len(fleet.positions), np.inf)
    item = current_items(fleet, current_placement)
    first = np.where(current_placement >= 0, fleet.placements.first_installed_day[current_placement], np.nan)
    last_day = first + maximum_service_days(fleet, item, np.arange(len(fleet.positions)), limits)
    return np.where(np.isnan(last_day), np.inf, last_day)


def _dates_from_lives(fleet: Fleet, median_life: Floats, spread: float, limits: Limits[Any] | None) -> Floats:
    """Log-normal lives from the day of placing, from today to the maximum service time, at `GRID_LEVELS`."""
    current_placement = current_placements(fleet)
    placed = np.full(len(fleet.positions), np.nan)
    some = current_placement >= 0
    placed[some] = fleet.placements.placed_day[current_placement[some]]
    life = median_life[:, None] * np.exp(spread * ndtri(GRID_LEVELS))[None, :]
    last_day = last_service_day_of_positions(fleet, current_placement, limits_of_fleet(fleet, limits))
    dates = np.minimum(placed[:, None] + life, last_day[:, None])
    return np.maximum(dates, fleet.as_of_day)


def fixed_interval(fleet: Fleet, *, limits: Limits[Any] | None = None) -> Floats:
    """Dates at `GRID_LEVELS` from a fixed interval by stage (`FIXED_INTERVAL_DAYS`), shape (positions, levels)."""
    return _dates_from_lives(fleet, FIXED_INTERVAL_DAYS[fleet.positions.stage], CAPACITY_LOG_SD, limits)


def label_over_load(fleet: Fleet, *, limits: Limits[Any] | None = None) -> Floats:
    """Dates at `GRID_LEVELS` from label capacity over mean measured load, shape (positions, levels)."""
    return _dates_from_lives(fleet, nominal_lives(fleet).life_days, CAPACITY_LOG_SD, limits)
