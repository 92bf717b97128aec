"""What each stage brings to the wear model: labels, limits and the readings that bear on it."""

from dataclasses import replace
from typing import Final

import numpy as np

from fleet.engineering.limits import Limits
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.columns import Columns, Segments, build_columns, build_segments, locate_readings
from fleet.forecasting.inputs.physics import inverse_temperature_per_kelvin, normalised_drop_kpa, resin_capacity_meq
from fleet.forecasting.inputs.tables import Fleet, Floats, Indexes, Readings
from fleet.forecasting.wear.conditions import WATER_U_KELVIN, Conditions
from fleet.forecasting.wear.learned import Pool
from fleet.forecasting.wear.nominal import (
    DEFAULT_CHLORINE_CAPACITY_G,
    DEFAULT_RATED_VOLUME_L,
    DEFAULT_RESIN_EQ,
    cap_days,
    current_placements,
    median_by_group,
)
from fleet.forecasting.wear.pooling import Places
from fleet.forecasting.wear.stage_models import CARBON, RESIN, SEDIMENT, StageReadings
from fleet.forecasting.wear.stages import StageInput

PAIR_DAYS: Final = 9.0
FEW_PAIRS: Final = 30.0
USUAL_LINE_KPA: Final = 400.0
USUAL_CLEAN_DROP_KPA: Final = 14.0

WHOLE: Final = 0.95
"""Share of what enters at which a bed holds nothing back: the end of its curve, whatever is allowed behind it."""


def places_of(fleet: Fleet, columns: Columns, *covariates: Floats) -> Places:
    """The columns as places: covariates, and the groups that share part of their wear, supply and item.

    Sites without a named supply are a group of their own units.
    """
    site = fleet.units.site_index[columns.unit]
    supply_names = np.array([f"supply {word}" if word else "" for word in fleet.sites.supply.tolist()], dtype=object)
    own = np.array([f"site {name}" for name in fleet.sites.site_id.tolist()], dtype=object)
    supply = (
        np.where(supply_names == "", own, supply_names)[site]
        if len(fleet.sites)
        else np.zeros(len(columns), dtype=object)
    )
    current_placement = current_placements(fleet)[columns.lead_position]
    at = (
        np.where(current_placement >= 0, fleet.placements.item_index[current_placement], -1)
        if len(fleet.placements)
        else current_placement
    )
    item = np.append(fleet.items.item_id.astype(str), "").astype(object)[at]
    stacked = np.stack(covariates, axis=1) if covariates else np.zeros((len(columns), 0))
    return Places(stacked, {"supply": supply, "item": item})


def _labels(fleet: Fleet, placement: Indexes, label: Floats, default: float) -> Floats:
    """Label capacity of the item of every placement; items without one take the median of those that have one."""
    stated = label[np.isfinite(label)]
    usual = float(np.median(stated)) if len(stated) else default
    if not len(fleet.items):
        return np.full(len(placement), usual)
    item = np.where(placement >= 0, fleet.placements.item_index[placement], -1)
    out = np.where(item >= 0, label[item], np.nan)
    return np.where(np.isfinite(out), out, usual)


def _rows_of_stage(
    fleet: Fleet, readings: Readings, columns: Columns, segments: Segments, bears: np.ndarray
) -> tuple[Indexes, Indexes]:
    """Readings that bear on the first column of the stage at their unit, with their segment."""
    column_of_unit = np.full(len(fleet.units), -1, dtype=np.int64)
    column_of_unit[columns.unit[::-1]] = np.arange(len(columns))[::-1]
    column = column_of_unit[readings.unit_index]
    rows = np.flatnonzero((column >= 0) & bears)
    segment = locate_readings(segments, column[rows], readings.day[rows], readings.occasion[rows])
    ok = segment >= 0
    return rows[ok], segment[ok]


def resin_input(fleet: Fleet, readings: Readings, conditions: Conditions, limits: Limits[Floats]) -> StageInput:
    """Resin: equivalents taken up, outlet of the lead and product against permeate."""
    columns = build_columns(fleet, words.RESIN)
    segments = build_segments(fleet, columns)
    bears = np.isfinite(readings.interstage_tds_mg_per_l) | np.isfinite(readings.product_tds_mg_per_l)
    rows, segment = _rows_of_stage(fleet, readings, columns, segments, bears)
    unit = readings.unit_index[rows]
    step = conditions.timeline.step_of(readings.day[rows])
    level = conditions.permeate_tds_mg_per_l[unit, step]
    here = readings.permeate_tds_mg_per_l[rows]
    entering = np.maximum(np.where(np.isfinite(here), here, level), 0.3)
    outlet_readings = StageReadings(
        between=readings.interstage_tds_mg_per_l[rows],
        after=readings.product_tds_mg_per_l[rows],
        entering=entering,
        resolution=fleet.units.tds_resolution_mg_per_l[unit],
    )
    # Without a lag there is nothing between two beds.
    between = np.where(segments.lag[segment] >= 0, outlet_readings.between, np.nan)
    outlet_readings = StageReadings(between, outlet_readings.after, entering, outlet_readings.resolution)
    items = fleet.items
    label = resin_capacity_meq(items.resin_volume_l, items.resin_capacity_eq_per_l)
    lead = _labels(fleet, segments.lead, label, 1000.0 * DEFAULT_RESIN_EQ)
    lag = _labels(fleet, segments.lag, label, 1000.0 * DEFAULT_RESIN_EQ)
    owner = columns.unit[segments.column]
    allowed = limits.product_tds_mg_per_l[owner]
    at_end = conditions.permeate_tds_mg_per_l[owner, conditions.timeline.step_of(segments.end)]
    return StageInput(
        stage=words.RESIN,
        columns=columns,
        segments=segments,
        model=RESIN,
        label=lead,
        lag_ratio=lag / lead,
        limit=np.minimum(allowed / np.maximum(at_end, 0.3), WHOLE),
        lead_limit=limits.lead_resin_fraction[owner],
        ended_by_cap=np.zeros(len(segments), dtype=bool),
        readings=outlet_readings,
        reading_segment=segment,
        reading_day=readings.day[rows],
        places=places_of(fleet, columns),
    )


def carbon_input(fleet: Fleet, readings: Readings, conditions: Conditions, limits: Limits[Floats]) -> StageInput:
    """Carbon: chlorine taken up, chlorine after the first and after the last bed."""
    columns = build_columns(fleet, words.CARBON)
    segments = build_segments(fleet, columns)
    free, total = readings.carbon_outlet_free_chlorine_mg_per_l, readings.carbon_outlet_total_chlorine_mg_per_l
    chloraminated = fleet.units.is_chloraminated[readings.unit_index] == words.YES
    after = np.where(np.isfinite(total), total, np.where(chloraminated, np.nan, free))
    bears = np.isfinite(after) | np.isfinite(readings.interstage_chlorine_mg_per_l)
    rows, segment = _rows_of_stage(fleet, readings, columns, segments, bears)
    unit = readings.unit_index[rows]
    step = conditions.timeline.step_of(readings.day[rows])
    level = conditions.chlorine_mg_per_l[unit, step]
    here = np.fmax(readings.feed_total_chlorine_mg_per_l[rows], readings.feed_free_chlorine_mg_per_l[rows])
    entering = np.maximum(np.where(np.isfinite(here), np.sqrt(np.maximum(here, 0.05) * level), level), 0.05)
    two = segments.lag[segment] >= 0
    outlet_readings = StageReadings(
        between=np.where(two, readings.interstage_chlorine_mg_per_l[rows], np.nan),
        after=after[rows],
        entering=entering,
        resolution=np.full(len(rows), 0.05),
    )
    label = 1000.0 * fleet.items.chlorine_capacity_g
    lead = _labels(fleet, segments.lead, label, 1000.0 * DEFAULT_CHLORINE_CAPACITY_G)
    lag = _labels(fleet, segments.lag, label, 1000.0 * DEFAULT_CHLORINE_CAPACITY_G)
    owner = columns.unit[segments.column]
    at_end = conditions.chlorine_mg_per_l[owner, conditions.timeline.step_of(segments.end)]
    ended = np.zeros(len(segments), dtype=bool)
    if len(segments):
        placements = fleet.placements
        cap = cap_days(fleet, placements.item_index[segments.lead], placements.position_index[segments.lead], limits)
        ended = segments.end - fleet.placements.first_installed_day[segments.lead] >= cap - 10.0
    return StageInput(
        stage=words.CARBON,
        columns=columns,
        segments=segments,
        model=CARBON,
        label=lead,
        lag_ratio=lag / lead,
        limit=np.minimum(limits.chlorine_mg_per_l[owner] / np.maximum(at_end, 0.05), WHOLE),
        lead_limit=limits.lead_carbon_fraction[owner],
        ended_by_cap=ended,
        readings=outlet_readings,
        reading_segment=segment,
        reading_day=readings.day[rows],
        places=places_of(fleet, columns),
    )


def _drop_noise(pool: Pool, segment: Indexes, day: Floats, differential_kpa: Floats) -> float:
    """Spread of one pressure drop (kPa), from how far apart two readings of a filter within a week lie; half of all
    pairs decide, so that slips do not. The usual one while there are few pairs."""
    order = np.lexsort((day, segment))
    near = (np.diff(segment[order]) == 0) & (np.diff(day[order]) < PAIR_DAYS)
    apart = np.abs(np.diff(differential_kpa[order]))[near]
    measured_noise = float(np.median(apart)) / (0.6745 * np.sqrt(2.0)) if len(apart) else SEDIMENT.noise_kpa
    share = len(apart) / (len(apart) + FEW_PAIRS)
    noise = np.exp(share * np.log(max(measured_noise, 1.0)) + (1.0 - share) * np.log(SEDIMENT.noise_kpa))
    return pool.number("drop_noise", float(noise))


def sediment_input(fleet: Fleet, readings: Readings, conditions: Conditions, limits: Limits[Floats]) -> StageInput:
    """Sediment: feed volume, pressure drop at reference temperature and flow."""
    columns = build_columns(fleet, words.SEDIMENT)
    segments = build_segments(fleet, columns)
    differential_kpa = readings.line_pressure_kpa - readings.prefilter_outlet_pressure_kpa
    rows, segment = _rows_of_stage(fleet, readings, columns, segments, np.isfinite(differential_kpa))
    unit = readings.unit_index[rows]
    day = readings.day[rows]
    count = len(fleet.units)
    step = conditions.timeline.step_of(day)
    temperature = readings.temperature_degc[rows]
    temperature = np.where(np.isfinite(temperature), temperature, conditions.temperature_degc[unit, step])
    flow = readings.permeate_flow_l_per_day + readings.concentrate_flow_l_per_day
    usual_flow = median_by_group(flow, readings.unit_index, count)
    ratio = flow[rows] / usual_flow[unit]
    # Where no flow was read: warm water raises the permeate's share of it, hardly the rest.
    usual_temperature = conditions.temperature_degc.mean(axis=1)[unit]
    warmer = inverse_temperature_per_kelvin(temperature) - inverse_temperature_per_kelvin(usual_temperature)
    warmth = np.exp(WATER_U_KELVIN * warmer)
    expected = 1.0 + conditions.recovery[unit, step] * (warmth - 1.0)
    ratio = np.where(np.isfinite(ratio), np.clip(ratio, 0.4, 2.0), expected)
    normal = normalised_drop_kpa(differential_kpa[rows], ratio, temperature)
    items = fleet.items
    label = _labels(fleet, segments.lead, items.rated_volume_l, DEFAULT_RATED_VOLUME_L)
    owner = columns.unit[segments.column]
    used = conditions.at(words.SEDIMENT, unit, day)
    used = (used - conditions.at(words.SEDIMENT, unit, segments.start[segment])) / label[segment]
    fresh = (used < 0.08) & (day - segments.start[segment] < 60.0)
    clean = conditions.pool.mean(
        "clean_drop",
        unit[fresh],
        normal[fresh],
        np.zeros(count, dtype=np.int64),
        count,
        default=USUAL_CLEAN_DROP_KPA,
        noise=9.0,
        spread=6.0,
    )
    clean = np.maximum(clean, 4.0)
    line = median_by_group(readings.line_pressure_kpa, readings.unit_index, count)
    line = np.where(np.isfinite(line), line, USUAL_LINE_KPA)
    outlet = line - clean
    in_series = columns.in_series[segments.column] > 1
    by_segment = limits.prefilter_limit_kpa(outlet)[owner]
    by_segment = by_segment * np.where(in_series, limits.prefilter_series_fraction[owner], 1.0)
    turbidity = np.log(np.maximum(fleet.feed_water.turbidity_ntu, 0.03))
    is_measured = np.isfinite(turbidity)
    sites = len(fleet.sites)
    by_site = conditions.pool.mean(
        "log_turbidity",
        fleet.feed_water.site_index[is_measured],
        turbidity[is_measured],
        np.unique(fleet.sites.supply.astype(str), return_inverse=True)[1].astype(np.int64),
        sites,
        default=np.log(0.5),
        noise=0.4,
        spread=0.5,
    )
    covariate = np.zeros(len(columns), dtype=np.float64)
    if sites:
        covariate[:] = (by_site - conditions.pool.means["log_turbidity"])[fleet.units.site_index[columns.unit]]
    # Filters also age by the day (growth, settling), so a slow one passes fewer litres before it is clogged: capacity
    # grows with the flow, by a power that the fleet teaches.
    feed = np.log(np.maximum(conditions.feed_l_per_day.mean(axis=1), 1.0))[columns.unit]
    usual_feed = conditions.pool.number("log_feed_per_day", float(np.median(feed)) if len(feed) else 0.0)
    rate = np.clip(feed - usual_feed, -2.0, 2.0)
    is_second = (fleet.positions.role[columns.lead_position] == words.LAG).astype(np.float64)
    return StageInput(
        stage=words.SEDIMENT,
        columns=columns,
        segments=segments,
        model=replace(SEDIMENT, noise_kpa=_drop_noise(conditions.pool, segment, day, normal)),
        label=label,
        lag_ratio=np.ones(len(segments)),
        limit=np.ones(len(segments)),
        lead_limit=np.ones(len(segments)),
        ended_by_cap=np.zeros(len(segments), dtype=bool),
        readings=StageReadings(
            between=normal, after=np.full(len(rows), np.nan), entering=clean[unit], resolution=by_segment[segment]
        ),
        reading_segment=segment,
        reading_day=day,
        places=places_of(fleet, columns, covariate, is_second, rate),
    )
