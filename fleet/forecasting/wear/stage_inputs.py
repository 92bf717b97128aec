"""What each stage brings to the wear model: labels, limits and the readings that bear on it."""

from typing import Final

import numpy as np

from fleet.engineering.limits import Limits
from fleet.engineering.stages import Finishing
from fleet.engineering.usual import CLEAN_FILTER_KPA
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.columns import (
    Columns,
    Segments,
    build_columns,
    build_segments,
    day_borne_on,
    locate_readings,
    might_show_either,
)
from fleet.forecasting.inputs.matching import match
from fleet.forecasting.inputs.physics import (
    inverse_temperature_per_kelvin,
    normalised_differential_kpa,
    resin_capacity_meq,
)
from fleet.forecasting.inputs.tables import Bools, Fleet, Floats, Indexes, Readings
from fleet.forecasting.wear.conditions import WATER_U_KELVIN, Conditions, label_flow
from fleet.forecasting.wear.learned import Pool
from fleet.forecasting.wear.nominal import (
    DEFAULT_CHLORINE_CAPACITY_G,
    DEFAULT_RATED_VOLUME_L,
    DEFAULT_RESIN_EQ,
    current_items,
    current_placements,
    maximum_service_days,
    median_by_group,
)
from fleet.forecasting.wear.pooling import Places
from fleet.forecasting.wear.prefilter_differentials import Differentials, prefilter_differentials
from fleet.forecasting.wear.stage_models import CARBON, RESIN, SEDIMENT, StageReadings
from fleet.forecasting.wear.stage_models import FINISHING as FINISHING_MODELS
from fleet.forecasting.wear.stages import StageInput

PAIR_DAYS: Final = 9.0
FEW_PAIRS: Final = 30.0
USUAL_LINE_KPA: Final = 400.0
USUAL_DIFFERENTIAL_NOISE_KPA: Final = 9.0
"""Spread of the differential of two gauges; this and the two before it: common practice, no source."""

LEAST_CLEAN_KPA: Final = 4.0
MOST_CLEAN_KPA: Final = 35.0
"""Differentials of a filter that can be clean; one that starts above them is not, whatever the date of its change says.
Common practice, no source."""

HARDLY_USED: Final = 0.08
HARDLY_USED_DAYS: Final = 60.0
"""Share of its label up to which a filter counts as clean, and for how long at most where little is drawn. Longer than
`usual.FIRST_WEEKS_DAYS`, which has to do where no load is known. Common practice, no source."""

UNKNOWN_SHARE: Final = 0.29
"""Spread of a share of which nothing is known: it lies anywhere between 0 and 1 (1 over the root of 12)."""

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
    at = current_items(fleet, current_placements(fleet)[columns.lead_position])
    item = np.append(fleet.items.item_id.astype(str), "").astype(object)[at]
    stacked = np.stack(covariates, axis=1) if covariates else np.zeros((len(columns), 0))
    names = fleet.positions.position_id[columns.lead_position]
    return Places(stacked, {"supply": supply, "item": item}, names)


def _labels(
    fleet: Fleet, placements: tuple[Indexes, Indexes], label: Floats, default: float, columns: Columns, pool: Pool
) -> tuple[Floats, Floats]:
    """Label capacity of the items of leads and lags; items without one take the median of those that have one."""
    stated = label[np.isfinite(label)]
    name = f"usual_label_{words.STAGES[columns.stage]}"
    usual = pool.number(name, float(np.median(stated)) if len(stated) else default)
    lead, lag = (_label(fleet, placement, label, usual) for placement in placements)
    return lead, lag


def _label(fleet: Fleet, placement: Indexes, label: Floats, usual: float) -> Floats:
    if not len(fleet.items):
        return np.full(len(placement), usual)
    item = np.where(placement >= 0, fleet.placements.item_index[placement], -1)
    out = np.where(item >= 0, label[item], np.nan)
    return np.where(np.isfinite(out), out, usual)


def _usual(pool: Pool, name: str, values: Floats) -> Floats:
    """Logarithms less their usual value in the fleet, no further from it than a factor of twenty."""
    logs = np.log(np.maximum(values, 1e-9))
    middle = pool.number(name, float(np.median(logs)) if len(logs) else 0.0)
    return np.clip(logs - middle, -3.0, 3.0)


def duty_over_usual(fleet: Fleet, conditions: Conditions) -> Floats:
    """Logarithm of the share of its rated flow that the membrane of every unit makes, less what is usual in the fleet;
    0 where no rated flow is known."""
    duty = np.log(np.maximum(conditions.product_l_per_day.mean(axis=1), 1e-3) / label_flow(fleet))
    is_known = np.isfinite(duty)
    middle = conditions.pool.number("log_duty", float(np.median(duty[is_known])) if is_known.any() else 0.0)
    return np.where(is_known, np.clip(duty - middle, -2.5, 2.5), 0.0)


def _label_and_load(
    columns: Columns, segments: Segments, label: Floats, conditions: Conditions
) -> tuple[Floats, Floats]:
    """Logarithm of the label of the newest cartridge of every column, and of the load that its unit puts on it a day.

    A label may mean little, and what ages by the day passes more where more is drawn: capacity then goes with a power
    of label and load, which the fleet teaches.
    """
    stage, pool = columns.stage, conditions.pool
    daily = conditions.mean_load(stage)
    newest = np.full(len(columns), float(np.median(label)) if len(label) else 1.0)
    newest[segments.column] = label
    name = words.STAGES[stage]
    return _usual(pool, f"log_label_{name}", newest), _usual(pool, f"log_load_{name}", daily[columns.unit])


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
    lead, lag = _labels(
        fleet, (segments.lead, segments.lag), label, 1000.0 * DEFAULT_RESIN_EQ, columns, conditions.pool
    )
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
        ended_by_age=np.zeros(len(segments), dtype=bool),
        readings=outlet_readings,
        reading_segment=segment,
        reading_day=readings.day[rows],
        places=places_of(fleet, columns, *_label_and_load(columns, segments, lead, conditions)),
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
    lead, lag = _labels(
        fleet, (segments.lead, segments.lag), label, 1000.0 * DEFAULT_CHLORINE_CAPACITY_G, columns, conditions.pool
    )
    owner = columns.unit[segments.column]
    at_end = conditions.chlorine_mg_per_l[owner, conditions.timeline.step_of(segments.end)]
    return StageInput(
        stage=words.CARBON,
        columns=columns,
        segments=segments,
        model=CARBON,
        label=lead,
        lag_ratio=lag / lead,
        limit=np.minimum(limits.chlorine_mg_per_l[owner] / np.maximum(at_end, 0.05), WHOLE),
        lead_limit=limits.lead_carbon_fraction[owner],
        ended_by_age=_ended_by_age(fleet, segments, limits),
        readings=outlet_readings,
        reading_segment=segment,
        reading_day=readings.day[rows],
        places=places_of(fleet, columns, *_label_and_load(columns, segments, lead, conditions)),
    )


def _ended_by_age(fleet: Fleet, segments: Segments, limits: Limits[Floats]) -> Bools:
    """Which segments ended when their first cartridge reached its maximum service time, or nearly."""
    if not len(segments):
        return np.zeros(0, dtype=bool)
    placements = fleet.placements
    service_days = maximum_service_days(
        fleet, placements.item_index[segments.lead], placements.position_index[segments.lead], limits
    )
    return np.asarray(segments.end - placements.first_installed_day[segments.lead] >= service_days - 10.0)


def signs_read(readings: Readings, finishing: Finishing) -> Floats:
    """Of every reading 1 where it shows what stands in a stage exhausted, 0 where it shows it sound, NaN where it does
    not say; the surest sign that was read decides."""
    shown = np.full(len(readings), np.nan)
    for sign in reversed(finishing.signs):
        value = getattr(readings, sign.quantity)
        value = value - getattr(readings, sign.over) if sign.over else value
        shown = np.where(np.isfinite(value), value < sign.least, shown)
    return shown


def finishing_input(
    fleet: Fleet, readings: Readings, conditions: Conditions, limits: Limits[Floats], stage: int
) -> StageInput:
    """A stage that finishes the water, by its record: litres or hours against a label, and what its signs show."""
    finishing = words.FINISHING_STAGES[stage]
    columns = build_columns(fleet, stage)
    segments = build_segments(fleet, columns)
    shown = signs_read(readings, finishing)
    rows, segment = _rows_of_stage(fleet, readings, columns, segments, np.isfinite(shown))
    label = getattr(fleet.items, finishing.label)
    # A label of another stage says nothing here.
    label = np.where(fleet.items.stage == stage, label, np.nan)
    lead, lag = _labels(fleet, (segments.lead, segments.lag), label, finishing.usual_label, columns, conditions.pool)
    nothing = np.full(len(rows), np.nan)
    return StageInput(
        stage=stage,
        columns=columns,
        segments=segments,
        model=FINISHING_MODELS[finishing.load],
        label=lead,
        lag_ratio=lag / lead,
        limit=np.ones(len(segments)),
        lead_limit=np.ones(len(segments)),
        ended_by_age=_ended_by_age(fleet, segments, limits),
        readings=StageReadings(between=nothing, after=shown[rows], entering=nothing, resolution=nothing),
        reading_segment=segment,
        reading_day=readings.day[rows],
        places=places_of(fleet, columns, *_label_and_load(columns, segments, lead, conditions)),
    )


def _differential_noise(pool: Pool, segment: Indexes, day: Floats, differential_kpa: Floats) -> float:
    """Spread of one differential (kPa), from how far apart two readings of a filter within a week lie; half of all
    pairs decide, so that slips do not. The usual one while there are few pairs."""
    order = np.lexsort((day, segment))
    near = (np.diff(segment[order]) == 0) & (np.diff(day[order]) < PAIR_DAYS)
    apart = np.abs(np.diff(differential_kpa[order]))[near]
    measured_noise = float(np.median(apart)) / (0.6745 * np.sqrt(2.0)) if len(apart) else USUAL_DIFFERENTIAL_NOISE_KPA
    share = len(apart) / (len(apart) + FEW_PAIRS)
    noise = np.exp(share * np.log(max(measured_noise, 1.0)) + (1.0 - share) * np.log(USUAL_DIFFERENTIAL_NOISE_KPA))
    return pool.number("differential_noise", float(noise))


def last_changes(fleet: Fleet, readings: Readings) -> Floats:
    """Day of the newest change of a sediment filter of the unit that every reading shows; NaN where none is known, and
    of a reading that might show the filter before or after a change."""
    placements = fleet.placements
    out = np.full(len(readings), np.nan)
    is_sediment = fleet.positions.stage[placements.position_index] == words.SEDIMENT
    if not np.any(is_sediment):
        return out
    owner = fleet.positions.unit_index[placements.position_index[is_sediment]]
    changed = placements.placed_day[is_sediment]
    order = np.lexsort((changed, owner))
    owner, changed = owner[order], changed[order]
    span = 1e6
    shown = readings.unit_index * span + day_borne_on(readings.day, readings.occasion)
    at = np.searchsorted(owner * span + changed, shown, side="right") - 1
    before, after = np.maximum(at, 0), np.minimum(at + 1, len(owner) - 1)
    is_known = (at >= 0) & (owner[before] == readings.unit_index)
    has_next = (at + 1 < len(owner)) & (owner[after] == readings.unit_index)
    # Before the first change that is known of a unit nothing is known to have stood.
    is_first = (before == 0) | (owner[before - 1] != owner[before])
    of_either = might_show_either(readings.day - changed[before], readings.occasion) & ~is_first
    of_either |= might_show_either(changed[after] - readings.day, readings.occasion) & has_next
    is_known &= ~of_either
    out[is_known] = changed[at[is_known]]
    return out


def _differentials_of_columns(
    readings: Readings, columns: Columns, segments: Segments, differentials: Differentials
) -> tuple[Indexes, Indexes, Indexes]:
    """Every differential at every column of its unit: row of the reading, segment, and row of the differential."""
    order = np.argsort(columns.unit, kind="stable")
    differential, of_unit = match(columns.unit[order], readings.unit_index[differentials.row])
    column, row = order[of_unit], differentials.row[differential]
    segment = locate_readings(segments, column, readings.day[row], readings.occasion[row])
    ok = segment >= 0
    return row[ok], segment[ok], differential[ok]


def sediment_input(fleet: Fleet, readings: Readings, conditions: Conditions, limits: Limits[Floats]) -> StageInput:
    """Sediment: feed volume, differential pressure at reference temperature and flow."""
    columns = build_columns(fleet, words.SEDIMENT)
    segments = build_segments(fleet, columns)
    differentials = prefilter_differentials(fleet, readings, last_changes(fleet, readings), conditions.pool)
    rows, segment, differential = _differentials_of_columns(readings, columns, segments, differentials)
    unit, day = readings.unit_index[rows], readings.day[rows]
    read = _brought_to_reference(fleet, readings, conditions, rows, differentials.differential_kpa[differential])
    is_whole = differentials.is_whole[differential]
    stated = fleet.items.rated_volume_l
    label, _ = _labels(fleet, (segments.lead, segments.lag), stated, DEFAULT_RATED_VOLUME_L, columns, conditions.pool)
    used = conditions.at(words.SEDIMENT, unit, day)
    used = (used - conditions.at(words.SEDIMENT, unit, segments.start[segment])) / label[segment]
    is_fresh = (
        is_whole & (used < HARDLY_USED) & (day - segments.start[segment] < HARDLY_USED_DAYS) & (read < MOST_CLEAN_KPA)
    )
    clean = _clean_differentials(conditions.pool, unit[is_fresh], read[is_fresh], len(fleet.units))
    # Of two filters in series one gauge shows what both take: each has a share of it, and nobody knows which.
    companions = columns.in_series[segments.column[segment]]
    rise = np.where(is_whole, read - clean[unit], read)
    normal = clean[unit] + np.where(companions > 1, rise / companions, rise)
    noise = _differential_noise(conditions.pool, segment[is_whole], day[is_whole], read[is_whole])
    spread = np.where(
        np.isfinite(differentials.spread_kpa[differential]), differentials.spread_kpa[differential], noise
    )
    spread = np.where(companions > 1, np.hypot(spread, UNKNOWN_SHARE * rise), spread)
    by_segment = _limits_of_segments(fleet, readings, columns, segments, limits, clean)
    of_label, of_load = _label_and_load(columns, segments, label, conditions)
    is_second = (fleet.positions.role[columns.lead_position] == words.LAG).astype(np.float64)
    return StageInput(
        stage=words.SEDIMENT,
        columns=columns,
        segments=segments,
        model=SEDIMENT,
        label=label,
        lag_ratio=np.ones(len(segments)),
        limit=np.ones(len(segments)),
        lead_limit=np.ones(len(segments)),
        ended_by_age=np.zeros(len(segments), dtype=bool),
        readings=StageReadings(between=normal, after=spread, entering=clean[unit], resolution=by_segment[segment]),
        reading_segment=segment,
        reading_day=day,
        places=places_of(fleet, columns, _turbidity(fleet, columns, conditions.pool), is_second, of_label, of_load),
    )


def _brought_to_reference(
    fleet: Fleet, readings: Readings, conditions: Conditions, rows: Indexes, differential_kpa: Floats
) -> Floats:
    """Differential pressures as they would be at the usual flow and in the usual water of their unit.

    A limit is meant for what a gauge shows there: at 25 degC a filter in cold water would look clean until it had half
    as much again.
    """
    unit, step = readings.unit_index[rows], conditions.timeline.step_of(readings.day[rows])
    temperature = readings.temperature_degc[rows]
    temperature = np.where(np.isfinite(temperature), temperature, conditions.temperature_degc[unit, step])
    flow = readings.permeate_flow_l_per_day + readings.concentrate_flow_l_per_day
    ratio = flow[rows] / median_by_group(flow, readings.unit_index, len(fleet.units))[unit]
    # Where no flow was read: warm water raises the permeate's share of it, hardly the rest.
    usual_temperature = conditions.temperature_degc.mean(axis=1)[unit]
    warmer = inverse_temperature_per_kelvin(temperature) - inverse_temperature_per_kelvin(usual_temperature)
    expected = 1.0 + conditions.recovery[unit, step] * (np.exp(WATER_U_KELVIN * warmer) - 1.0)
    ratio = np.where(np.isfinite(ratio), np.clip(ratio, 0.4, 2.0), expected)
    return normalised_differential_kpa(
        differential_kpa,
        flow_over_reference=ratio,
        temperature_degc=temperature,
        reference_temperature_degc=usual_temperature,
    )


def _clean_differentials(pool: Pool, unit: Indexes, fresh_kpa: Floats, count: int) -> Floats:
    """Differential pressure of a clean filter at every unit, from what fresh ones took there and elsewhere."""
    clean = pool.mean(
        "clean_differential",
        unit,
        fresh_kpa,
        np.full(count, "", dtype=object),
        default=CLEAN_FILTER_KPA,
        noise=9.0,
        spread=6.0,
    )
    return np.clip(clean, LEAST_CLEAN_KPA, MOST_CLEAN_KPA)


def _limits_of_segments(
    fleet: Fleet, readings: Readings, columns: Columns, segments: Segments, limits: Limits[Floats], clean: Floats
) -> Floats:
    """Differential pressure past which the filters of each segment are exhausted, behind the usual line of their
    unit."""
    line = median_by_group(readings.line_pressure_kpa, readings.unit_index, len(fleet.units))
    line = np.where(np.isfinite(line), line, USUAL_LINE_KPA)
    owner = columns.unit[segments.column]
    in_series = columns.in_series[segments.column] > 1
    return limits.prefilter_limit_kpa(line - clean)[owner] * np.where(
        in_series, limits.prefilter_series_fraction[owner], 1.0
    )


def _turbidity(fleet: Fleet, columns: Columns, pool: Pool) -> Floats:
    """Logarithm of the turbidity of the feed at every column, less its mean over all sites."""
    turbidity = np.log(np.maximum(fleet.feed_water.turbidity_ntu, 0.03))
    is_measured = np.isfinite(turbidity)
    sites = len(fleet.sites)
    by_site = pool.mean(
        "log_turbidity",
        fleet.feed_water.site_index[is_measured],
        turbidity[is_measured],
        fleet.sites.supply,
        default=np.log(0.5),
        noise=0.4,
        spread=0.5,
    )
    if not sites:
        return np.zeros(len(columns), dtype=np.float64)
    return (by_site - pool.means["log_turbidity"])[fleet.units.site_index[columns.unit]]
