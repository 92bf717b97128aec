"""Membranes: the trend of normalised flow and of normalised salt passage, each to its limit.

Both trends are lines on a logarithmic scale against use (days, weighted by volume) raised to a power, with an
intercept of the membrane's own and a temperature coefficient that the unit may correct. For a given slope the other
two are Gaussian, so the likelihood of the slope is a quadratic and costs nothing on a grid. g is the logarithm of use
until the limit over three years for flow; for salt passage it is the same for a usual gain.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from . import pooling
from . import vocabulary as words
from .columns import build_columns, build_segments, locate_readings
from .conditions import Conditions
from .dates import weighted_quantiles
from .habits import Habit, Visits, removal_log_likelihood
from .levels import crowd, sum_by
from .policy import Policy
from .pooling import HyperPrior
from .results import GRID_LEVELS
from .tables import Fleet, Floats, Indexes, Readings

NOMINAL_DAYS: Final = 1095.0
USUAL_SALT_GAIN: Final = 0.5
"""Gain of the logarithm of salt passage over three years of use; 5 to 15 % a year with ageing, more with faults."""

POWERS: Final = np.array([0.7, 1.0, 1.5])
RUN_IN_DAYS: Final = 30.0
WINDOW_DAYS: Final = 30.0
"""Readings of one window share part of their error: a gauge, a season, a week of standstill."""
U_BELOW_25, U_ABOVE_25 = 3020.0, 2640.0
SALT_U_EXCESS: Final = 1500.0

FLOW_SHARED: Final = 0.02
SALT_SHARED: Final = 0.05

FLOW_PRIOR: Final = HyperPrior(0.0, 0.6, 0.45, 0.2, (1.0, 3.0, 1.0))
SALT_PRIOR: Final = HyperPrior(0.0, 0.7, 0.55, 0.25, (1.0, 3.0, 1.0))


@dataclass(frozen=True)
class MembraneLeft:
    """Use left until the limit of flow and of salt passage, as weighted points, for every membrane that stands."""

    position: Indexes
    unit: Indexes
    flow_load: Floats
    salt_load: Floats
    used: Floats
    readings: Indexes
    newest_day: Floats
    past_lives: Indexes
    hyper: pooling.Hyper


@dataclass(frozen=True)
class Trend:
    """Sums of a trend by segment: log-likelihood of the slope is -(c1 s + c2 s^2)/2; intercept at slope s is b0 + b1
    s."""

    c1: Floats
    c2: Floats
    intercept: Floats
    intercept_by_slope: Floats
    intercept_spread: Floats


def osmotic_pressure_kpa(tds_mg_per_l: Floats, temperature_degc: Floats) -> Floats:
    """ASTM D4516 expression for NaCl (engineering reference 3)."""
    return 0.2654 * tds_mg_per_l * (temperature_degc + 273.15) / (1000.0 - tds_mg_per_l / 1000.0)


def membranes_left(
    fleet: Fleet, readings: Readings, conditions: Conditions, visits: Visits, policy: Policy
) -> MembraneLeft:
    """Trends of every membrane, pooled over unit and fleet."""
    columns = build_columns(fleet, words.MEMBRANE)
    segments = build_segments(fleet, columns)
    count = len(segments)
    column_of_unit = np.full(len(fleet.units), -1, dtype=np.int64)
    column_of_unit[columns.unit[::-1]] = np.arange(len(columns))[::-1]
    column = column_of_unit[readings.unit_index]
    rows = np.flatnonzero(column >= 0)
    segment = locate_readings(segments, column[rows], readings.day[rows], readings.occasion[rows])
    rows, segment = rows[segment >= 0], segment[segment >= 0]
    unit = readings.unit_index[rows]
    day = readings.day[rows]
    step = conditions.timeline.step_of(day)
    temperature = readings.temperature_degc[rows]
    measured_t = np.isfinite(temperature)
    temperature = np.where(measured_t, temperature, conditions.temperature_degc[unit, step])
    inlet, inlet_noise = _inlet_pressure(fleet, readings, rows)
    y = conditions.recovery[unit, step]
    average = np.log(1.0 / (1.0 - y)) / y
    feed = np.where(
        np.isfinite(readings.feed_tds_mg_per_l[rows]),
        readings.feed_tds_mg_per_l[rows],
        conditions.feed_tds_mg_per_l[unit, step],
    )
    back = np.where(
        readings.tank_valve[rows] == words.VALVE_STATES.index("open"),
        np.nan_to_num(readings.tank_pressure_kpa[rows]),
        0.0,
    )
    ndp = np.maximum(inlet - back - osmotic_pressure_kpa(feed * average, temperature), 25.0)
    inverse = 1.0 / 298.15 - 1.0 / (temperature + 273.15)
    item = np.where(segments.lead >= 0, fleet.placements.item_index[segments.lead], -1)
    own_u = np.full(count, np.nan)
    rejection = np.full(count, np.nan)
    permeability = np.full(count, np.nan)
    rated_ndp = np.full(count, 390.0)
    if len(fleet.items):
        known = item >= 0
        items = fleet.items
        own_u[known] = items.water_u_kelvin[item[known]]
        rejection[known] = items.rejection_fraction[item[known]]
        pressure = np.nan_to_num(items.rated_pressure_kpa[item], nan=414.0)
        tds = np.nan_to_num(items.rated_tds_mg_per_l[item], nan=250.0)
        rated_t = np.nan_to_num(items.rated_temperature_degc[item], nan=25.0)
        rated_ndp = np.where(known, np.maximum(pressure - osmotic_pressure_kpa(tds * 1.09, rated_t), 50.0), rated_ndp)
        u_rated = np.where(rated_t < 25, U_BELOW_25, U_ABOVE_25)
        tcf = np.exp(u_rated * (1 / 298.15 - 1 / (rated_t + 273.15)))
        permeability = np.where(known, np.log(items.rated_flow_l_per_day[item] / rated_ndp / tcf), np.nan)
    u = np.where(np.isfinite(own_u[segment]), own_u[segment], np.where(temperature < 25, U_BELOW_25, U_ABOVE_25))
    start = conditions.at(words.MEMBRANE, columns.unit[segments.column], segments.start)
    use = np.maximum(conditions.at(words.MEMBRANE, unit, day) - start[segment], 0.0) / NOMINAL_DAYS
    z = inverse * 1000.0
    t_noise = np.where(measured_t, 0.02, 0.06)
    young = day - segments.start[segment] < RUN_IN_DAYS
    with np.errstate(divide="ignore", invalid="ignore"):
        flow = np.log(readings.permeate_flow_l_per_day[rows]) - np.log(ndp) - u * inverse
        flow_noise = np.sqrt(0.06**2 + inlet_noise**2 + t_noise**2 + np.where(young, 0.08, 0.0) ** 2)
        permeate = readings.permeate_tds_mg_per_l[rows]
        resolution = fleet.units.tds_resolution_mg_per_l[unit]
        salt = np.log(np.maximum(permeate, 0.3 * resolution)) - np.log(feed * average)
        salt += np.log(ndp / rated_ndp[segment]) - SALT_U_EXCESS * inverse
        salt_noise = np.sqrt(
            0.10**2 + inlet_noise**2 + (2 * t_noise) ** 2 + (0.3 * resolution / np.maximum(permeate, resolution)) ** 2
        )
    flow_centre = np.where(np.isfinite(permeability), permeability - 0.1, 0.0)
    flow_width = np.where(np.isfinite(permeability), 0.25, 5.0)
    salt_centre = np.log(1.0 - np.clip(np.nan_to_num(rejection, nan=0.96), 0.5, 0.995))
    unit_of_segment = columns.unit[segments.column]
    needed = fleet.units.minimum_rejection_fraction[unit_of_segment]
    needed = np.where(np.isfinite(needed), needed, policy.minimum_rejection_fraction)
    salt_limit = np.log(1.0 - np.clip(needed, 0.0, 0.999))
    salt_limit = np.maximum(salt_limit, salt_centre + 0.15)

    flow_trend = [
        _trend(segment, day, count, flow, flow_noise, FLOW_SHARED, use**power, z, flow_centre, flow_width, 0.35, -1.0)
        for power in POWERS
    ]
    salt_trend = [
        _trend(
            segment,
            day,
            count,
            salt,
            salt_noise,
            SALT_SHARED,
            use**power,
            z,
            salt_centre,
            np.full(count, 0.35),
            1.2,
            1.0,
        )
        for power in POWERS
    ]
    grid = pooling.GRID
    loss = -np.log(policy.membrane_flow_share)
    end = conditions.at(words.MEMBRANE, unit_of_segment, segments.end)
    lived = np.maximum(end - start, 0.0)
    rate = np.maximum(lived / np.maximum(segments.end - segments.start, 1.0), 0.05)
    shape = (count, len(POWERS), len(grid))
    flow_like, salt_like = np.zeros(shape), np.zeros(shape)
    flow_until = np.broadcast_to(NOMINAL_DAYS * np.exp(grid), shape)
    salt_until = np.zeros((*shape, 3))
    salt_nodes = np.array([-1.22, 0.0, 1.22])
    for index, power in enumerate(POWERS):
        slope = loss * np.exp(-power * grid)
        flow_like[:, index] = _log_likelihood(flow_trend[index], slope)
        gain = USUAL_SALT_GAIN * np.exp(-power * grid)
        salt_like[:, index] = _log_likelihood(salt_trend[index], gain)
        trend = salt_trend[index]
        intercept = trend.intercept[:, None] + trend.intercept_by_slope[:, None] * gain
        for node, offset in enumerate(salt_nodes):
            room = np.maximum(salt_limit[:, None] - intercept - offset * trend.intercept_spread[:, None], 1e-3)
            salt_until[:, index, :, node] = NOMINAL_DAYS * (room / gain) ** (1.0 / power)
    salt_until = np.minimum(salt_until, 1e6)
    reason = segments.lead_reason

    reason = np.where(segments.is_current, -1, reason)

    def lives(like: Floats, until: Floats, habit: Habit, which: Indexes) -> Floats:
        delay = (lived[which, None, None] - until[which]) / rate[which, None, None]
        end = segments.end[which][:, None, None]
        seen = visits.between(unit_of_segment[which][:, None, None], end - np.clip(delay, 0.0, 3650.0), end - 2.0)
        gap = visits.gap_days[unit_of_segment[which]]
        ending = removal_log_likelihood(delay, seen, reason[which], gap, habit)
        # Removed as exhausted: by this trend or by the other one.
        other = removal_log_likelihood(
            delay, seen, np.full(len(which), words.EARLY, dtype=np.int8), gap, habit
        ) - np.log(1000.0)
        spent = (reason[which] == words.EXHAUSTED)[:, None, None]
        return like[which] + np.where(spent, np.logaddexp(ending, other) - np.log(2.0), ending)

    has_reading = np.bincount(segment, minlength=count) > 0
    informative = has_reading | (reason != 0)
    nothing = np.zeros(len(columns))
    current = np.flatnonzero(segments.is_current)
    past = np.flatnonzero(~segments.is_current & informative)
    middle = salt_until[..., 1]
    results = []
    for like, until, prior in ((flow_like, flow_until, FLOW_PRIOR), (salt_like, middle, SALT_PRIOR)):

        def of_lives(habit: Habit, which: Indexes, like: Floats = like, until: Floats = until) -> Floats:
            return lives(like, until, habit, which)

        hyper = pooling.learn(
            of_lives, segments.column, nothing, prior, is_informative=informative, shows_end=np.zeros(count, dtype=bool)
        )
        posterior = pooling.place_posteriors(
            hyper, of_lives(hyper.habit, past), segments.column[past], len(columns), nothing
        )
        log_weight = np.log(pooling.next_life(posterior, hyper)[segments.column[current]] + 1e-14) + of_lives(
            hyper.habit, current
        )
        log_weight -= log_weight.max(axis=(1, 2), keepdims=True)
        weight = np.exp(log_weight)
        results.append((hyper, weight / weight.sum(axis=(1, 2), keepdims=True)))
    used = lived[current]
    standing = len(current)
    flow_load = weighted_quantiles(
        (flow_until[current] - used[:, None, None]).reshape(standing, -1),
        results[0][1].reshape(standing, -1),
        GRID_LEVELS,
    )
    salt_weight = results[1][1][..., None] * np.array([0.25, 0.5, 0.25])
    salt_load = weighted_quantiles(
        (salt_until[current] - used[:, None, None, None]).reshape(standing, -1),
        salt_weight.reshape(standing, -1),
        GRID_LEVELS,
    )
    newest = np.full(count, -np.inf)
    bears = np.isfinite(flow) | np.isfinite(salt)
    np.maximum.at(newest, segment[bears], day[bears])
    return MembraneLeft(
        position=columns.lead_position[segments.column[current]],
        unit=unit_of_segment[current],
        flow_load=flow_load,
        salt_load=salt_load,
        used=used,
        readings=np.bincount(segment[bears], minlength=count)[current],
        newest_day=np.where(np.isfinite(newest), newest, np.nan)[current],
        past_lives=np.bincount(segments.column[past], minlength=len(columns))[segments.column[current]],
        hyper=results[0][0],
    )


def _inlet_pressure(fleet: Fleet, readings: Readings, rows: Indexes) -> tuple[Floats, Floats]:
    """Best guess of the membrane inlet pressure of every reading and the share by which it may err."""
    from .nominal import median_by_group

    unit = readings.unit_index[rows]
    count = len(fleet.units)
    inlet = readings.inlet_pressure_kpa[rows]
    pumped = fleet.units.has_booster_pump[unit] == words.YES
    outlet = np.where(pumped, np.nan, readings.prefilter_outlet_pressure_kpa[rows])
    line = np.where(pumped, np.nan, readings.line_pressure_kpa[rows] - 30.0)
    usual = median_by_group(
        np.where(np.isfinite(inlet), inlet, np.where(np.isfinite(outlet), outlet, line)), unit, count
    )
    guess = np.where(np.isfinite(usual[unit]), usual[unit], np.where(pumped, 550.0, 380.0))
    value = np.where(
        np.isfinite(inlet), inlet, np.where(np.isfinite(outlet), outlet, np.where(np.isfinite(line), line, guess))
    )
    noise = np.where(
        np.isfinite(inlet), 0.03, np.where(np.isfinite(outlet), 0.04, np.where(np.isfinite(line), 0.08, 0.13))
    )
    return value, noise


def _trend(
    segment: Indexes,
    day: Floats,
    count: int,
    value: Floats,
    noise: Floats,
    shared_noise: float,
    use: Floats,
    z: Floats,
    centre: Floats,
    width: Floats,
    z_spread: float,
    sign: float,
) -> Trend:
    """Sums of the regression value = b + theta z + sign * s * use, robust by reweighting (Student's t, 4 degrees)."""
    ok = np.isfinite(value) & np.isfinite(noise)
    segment, day, value, noise, use, z = segment[ok], day[ok], value[ok], noise[ok], use[ok], z[ok]
    together = crowd(segment, day, WINDOW_DAYS)
    value = value - centre[segment]
    x = -sign * use  # residual of value is value + s x
    size = np.bincount(segment, minlength=count).astype(np.float64)
    scale = np.ones(count)
    usual = 0.3
    weight = 1.0 / (noise**2 + (together - 1.0) * shared_noise**2)
    for _ in range(5):
        precision = np.zeros((count, 3, 3))
        pull = np.zeros((count, 3))
        terms = (np.ones_like(z), z, -x)
        for i in range(3):
            pull[:, i] = np.bincount(segment, weight * terms[i] * value, minlength=count)
            for j in range(i, 3):
                sums = np.bincount(segment, weight * terms[i] * terms[j], minlength=count)
                precision[:, i, j] = precision[:, j, i] = sums
        precision[:, 0, 0] += 1.0 / width**2
        precision[:, 1, 1] += 1.0 / z_spread**2
        precision[:, 2, 2] += 1.0 / usual**2
        pull[:, 2] += 0.2 / usual**2
        fit = np.linalg.solve(precision, pull[..., None])[..., 0]
        rest = (value - sum(fit[segment, i] * terms[i] for i in range(3))) / noise
        scale = _noise_scale(rest, segment, size)
        rest = rest / scale[segment]
        own = noise * scale[segment]
        weight = 5.0 / (4.0 + rest**2) / (own**2 + (together - 1.0) * shared_noise**2)

    def total(values: Floats) -> Floats:
        return sum_by(segment, weight * values, count)

    a00, a01, a11 = total(np.ones_like(z)) + 1.0 / width**2, total(z), total(z * z) + 1.0 / z_spread**2
    h0, h1 = total(value), total(z * value)
    k0, k1 = total(x), total(z * x)
    determinant = a00 * a11 - a01**2
    i00, i01, i11 = a11 / determinant, -a01 / determinant, a00 / determinant
    cross = h0 * (i00 * k0 + i01 * k1) + h1 * (i01 * k0 + i11 * k1)
    square = k0 * (i00 * k0 + i01 * k1) + k1 * (i01 * k0 + i11 * k1)
    return Trend(
        c1=2.0 * (total(x * value) - cross),
        c2=total(x * x) - square,
        intercept=centre + i00 * h0 + i01 * h1,
        intercept_by_slope=i00 * k0 + i01 * k1,
        intercept_spread=np.sqrt(i00),
    )


def _noise_scale(rest: Floats, segment: Indexes, size: Floats) -> Floats:
    """How much larger or smaller the noise of a segment's readings is than assumed, from the residuals.

    The fleet's own scale (robust, from segments with enough readings to leave residuals) is the prior, worth 15
    readings; a segment's own residuals move it.
    """
    free = np.maximum(size - 3.0, 0.0) / np.maximum(size, 1.0)
    enough = size[segment] >= 6
    usual = 1.0
    if enough.sum() >= 30:
        usual = float(np.median(np.abs(rest[enough]) / np.sqrt(free[segment][enough]))) / 0.6745
    clipped = np.minimum(rest**2, (3.0 * usual) ** 2)
    square = sum_by(segment, clipped, len(size))
    return np.clip(np.sqrt((15.0 * usual**2 + square) / (15.0 + np.maximum(size - 3.0, 0.0))), 0.3, 3.0)


def _log_likelihood(trend: Trend, slope: Floats) -> Floats:
    return -0.5 * (trend.c1[:, None] * slope + trend.c2[:, None] * slope**2)
