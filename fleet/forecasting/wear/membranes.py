"""Membranes: the trend of normalised flow and of normalised salt passage, each to its limit.

Both trends are lines on a logarithmic scale (see `trends`) against use: days, weighted by volume, raised to a power;
sudden lasting steps are taken out before (see `steps`), and the level after the last one is how far it is to the limit.
g is the logarithm of use until the usual change over three years: of flow, until the limit of the house is reached; of
salt passage, until a usual gain. How long it takes to the limit of the unit follows from that.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.engineering.limits import HOUSE, Limits
from fleet.engineering.usual import (
    LABEL_PRESSURE_KPA,
    LABEL_RECOVERY,
    LABEL_REJECTION,
    LABEL_TDS_MG_PER_L,
    LABEL_TEMPERATURE_DEGC,
)
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.columns import Columns, Segments, build_columns, build_segments, locate_readings
from fleet.forecasting.inputs.physics import (
    feed_brine_factor,
    inverse_temperature_per_kelvin,
    net_driving_pressure_kpa,
    water_u_kelvin,
)
from fleet.forecasting.inputs.tables import Fleet, Floats, Indexes, Readings
from fleet.forecasting.wear import pooling
from fleet.forecasting.wear.conditions import SALT_U_EXCESS_KELVIN, Conditions
from fleet.forecasting.wear.dates import weighted_quantiles
from fleet.forecasting.wear.habits import Habit, Visits, removal_log_likelihood
from fleet.forecasting.wear.learned import Pool
from fleet.forecasting.wear.nominal import median_by_group
from fleet.forecasting.wear.pooling import HyperPrior
from fleet.forecasting.wear.stage_inputs import duty_over_usual, places_of
from fleet.forecasting.wear.steps import MOST_STEPS, find_steps, without_steps
from fleet.forecasting.wear.trends import Trend, TrendInput, fit_trend, slope_log_likelihood

NOMINAL_DAYS: Final = 1095.0
USUAL_FLOW_LOSS: Final = -np.log(HOUSE.membrane_flow_fraction)
"""Loss of the logarithm of flow over three years of use: what is usual lasts until the limit of the house."""
USUAL_SALT_GAIN: Final = 0.5
"""Gain of the logarithm of salt passage over three years of use to which g counts: twice that of a sound membrane."""

SALT_LIMIT_SPREAD: Final = 0.1
"""A label names rejection in whole percent, and no two ways of normalising agree to better than a tenth of the salt
passage; so many readings make a level certain, but not how far it is from the limit."""

_USUAL_POWER: Final = 1.0

POWERS: Final = np.array([0.7, 1.0, 1.5])
"""Shapes of a trend: use raised to this power; above 1 the loss speeds up."""

RUN_IN_DAYS: Final = 30.0

DUTY: Final = (-0.3,)
DUTY_SPREAD: Final = (0.3,)
"""Power with which the days of use that a membrane lasts go with the share of its rated flow that it makes: -1 where
only litres count, as where dirt clogs it, 0 where only days do, as where it ages. Settled on seeds that are not
reported."""

FLOW_PRIOR: Final = HyperPrior(0.29, 0.35, 0.7, 0.35, (0.6, 3.0, 1.0), DUTY, DUTY_SPREAD)
"""In the middle a membrane loses 4 % of its flow a year, as `usual.SOUND_FLOW_LOSS_PER_YEAR` has it: four years to the
limit. How far places lie apart is what fleets made by others have taught, on seeds that are not reported."""

SALT_PRIOR: Final = HyperPrior(0.7, 0.5, 0.7, 0.35, (0.6, 3.0, 1.0), DUTY, DUTY_SPREAD)
"""In the middle the salt passage rises by 8 % a year, as `usual.SOUND_SALT_GAIN_PER_YEAR` has it."""

_NODES: Final = np.array([-1.2247, 0.0, 1.2247])
_NODE_WEIGHTS: Final = np.array([0.25, 0.5, 0.25])


@dataclass(frozen=True)
class MembraneLeft:
    """Quantiles (at `results.GRID_LEVELS`) of the use left until the limits of flow and of salt passage, and of that of
    a fresh membrane in the same place.

    One row for every membrane that stands; use in days.
    """

    position: Indexes
    unit: Indexes
    flow_load: Floats
    salt_load: Floats
    fresh_flow_load: Floats
    fresh_salt_load: Floats
    used: Floats
    readings: Indexes
    newest_day: Floats
    past_lives: Indexes
    flow_hyper: pooling.Hyper
    salt_hyper: pooling.Hyper


def membranes_left(
    fleet: Fleet,
    readings: Readings,
    conditions: Conditions,
    visits: Visits,
    limits: Limits[Floats],
    *,
    hypers: tuple[pooling.Hyper, pooling.Hyper] | None = None,
) -> MembraneLeft:
    """Trends of every membrane, pooled over unit and fleet.

    Parameters
    ----------
    readings
        The screened ones, in order of unit and time.
    hypers
        What a fleet has taught before, for flow and salt passage; learned from this fleet when None.
    """
    columns = build_columns(fleet, words.MEMBRANE)
    segments = build_segments(fleet, columns)
    lives = _Lives(fleet, conditions, visits, columns, segments)
    flow_input, salt_input, reading_segment, reading_day = _trend_inputs(fleet, readings, conditions, columns, segments)
    lives.add_readings(reading_segment)
    loss = -np.log(limits.membrane_flow_fraction[columns.unit[segments.column]])[:, None]
    flow = _flow_curves(flow_input, loss, conditions.pool)
    salt = _salt_curves(salt_input, _salt_limit(columns, segments, salt_input.centre, limits), conditions.pool)
    of_flow, of_salt = _weigh(lives, flow, salt, hypers)
    current, used = lives.current, lives.lived[lives.current]
    newest = np.full(len(segments), -np.inf)
    np.maximum.at(newest, reading_segment, reading_day)
    return MembraneLeft(
        position=columns.lead_position[segments.column[current]],
        unit=columns.unit[segments.column[current]],
        flow_load=_quantiles(flow.until[current] - used[:, None, None], of_flow.weight),
        salt_load=_quantiles(salt.until[current] - used[:, None, None, None], of_salt.weight),
        fresh_flow_load=_quantiles(flow.next_until[current], of_flow.fresh_weight),
        fresh_salt_load=_quantiles(salt.next_until[current], of_salt.fresh_weight),
        used=used,
        readings=np.bincount(reading_segment, minlength=len(segments))[current],
        newest_day=np.where(np.isfinite(newest), newest, np.nan)[current],
        past_lives=np.bincount(segments.column[lives.past], minlength=len(columns))[segments.column[current]],
        flow_hyper=of_flow.hyper,
        salt_hyper=of_salt.hyper,
    )


@dataclass(frozen=True)
class _Curves:
    """One trend of every segment, by its shape and slope (of `POWERS` and `pooling.GRID`): how well each agrees with
    the readings, and the use until it reaches the limit. Of salt passage, for three points of its intercept.

    `next_until` is without the steps of the one that stands: for the next one in its place, which passes what that
    place passes.
    """

    log_likelihood: Floats
    until: Floats
    next_until: Floats

    @property
    def ends(self) -> tuple[Floats, Floats]:
        """Log likelihood and use until the limit, at the middle of the intercepts."""
        return self.log_likelihood, self.until if self.until.ndim == 3 else self.until[..., 1]


@dataclass(frozen=True)
class _Weights:
    """What one trend has taught, and the weight of its shapes and slopes for every membrane that stands and for a
    fresh one in its place."""

    hyper: pooling.Hyper
    weight: Floats
    fresh_weight: Floats


def _with_noise(readings: TrendInput, name: str, pool: Pool) -> TrendInput:
    """The readings with the noise of the fleet, found by a first fit where it was not learned before."""
    scale = pool.held_means.get(name)
    if scale is None:
        scale = fit_trend(without_steps(readings, find_steps(readings)), _USUAL_POWER).noise_scale
    return replace(readings, noise_scale=pool.number(name, scale))


def _flow_curves(readings: TrendInput, loss: Floats, pool: Pool) -> _Curves:
    """Trends of the flow; of the logarithm of flow, `loss` may be lost, shape (segments, 1)."""
    readings = _with_noise(readings, "flow_noise_scale", pool)
    steps = find_steps(readings)
    readings = without_steps(readings, steps)
    shape = (len(loss), len(POWERS), len(pooling.GRID))
    likelihood, until, next_until = (np.zeros(shape, dtype=np.float32) for _ in range(3))
    for index, power in enumerate(POWERS):
        trend = fit_trend(readings, power)
        usual_loss = np.broadcast_to(USUAL_FLOW_LOSS * np.exp(-power * pooling.GRID), (len(loss), len(pooling.GRID)))
        likelihood[:, index] = slope_log_likelihood(trend, usual_loss)
        # A stricter limit is reached sooner at the same pace.
        next_until[:, index] = crossing = _until_flow_limit(loss, power)
        for number in range(MOST_STEPS):
            lost = -steps.size[:, : number + 1].sum(axis=1)[:, None]
            crossing = steps.first_crossing(_until_flow_limit(loss - lost, power), number, crossing, NOMINAL_DAYS)
        until[:, index] = crossing
    return _Curves(likelihood, until, next_until)


def _salt_curves(readings: TrendInput, limit: Floats, pool: Pool) -> _Curves:
    """Trends of the salt passage; `limit` is how far its logarithm may rise from its centre, shape (segments,)."""
    readings = _with_noise(readings, "salt_noise_scale", pool)
    steps = find_steps(readings)
    readings = without_steps(readings, steps)
    shape = (len(limit), len(POWERS), len(pooling.GRID))
    likelihood = np.zeros(shape, dtype=np.float32)
    until, next_until = (np.zeros((*shape, len(_NODES)), dtype=np.float32) for _ in range(2))
    for index, power in enumerate(POWERS):
        gain = USUAL_SALT_GAIN * np.exp(-power * pooling.GRID)
        trend = fit_trend(readings, power)
        likelihood[:, index] = slope_log_likelihood(trend, gain)
        next_until[:, index] = crossing = _until_salt_limit(trend, gain, limit, np.zeros(len(limit)), power)
        for number in range(MOST_STEPS):
            risen = steps.size[:, : number + 1].sum(axis=1)
            after = _until_salt_limit(trend, gain, limit - risen, steps.doubt, power)
            crossing = steps.first_crossing(after, number, crossing, NOMINAL_DAYS)
        until[:, index] = crossing
    return _Curves(likelihood, until, next_until)


def _weigh(
    lives: "_Lives", flow: _Curves, salt: _Curves, hypers: tuple[pooling.Hyper, pooling.Hyper] | None
) -> tuple[_Weights, _Weights]:
    """Weights of both trends. Which of them ended a life is judged by the other one: at first by what is common, then
    by what was learned."""
    is_taught = hypers is not None
    if hypers is None:
        by_salt, by_flow = (
            lives.ended_by(*salt.ends, SALT_PRIOR.start()),
            lives.ended_by(*flow.ends, FLOW_PRIOR.start()),
        )
        hypers = lives.learn(*flow.ends, FLOW_PRIOR, by_salt), lives.learn(*salt.ends, SALT_PRIOR, by_flow)
    flow_hyper, salt_hyper = hypers
    by_salt, by_flow = lives.ended_by(*salt.ends, salt_hyper), lives.ended_by(*flow.ends, flow_hyper)
    return (
        _Weights(*lives.weigh(*flow.ends, flow_hyper, by_salt, is_taught=is_taught)),
        _Weights(*lives.weigh(*salt.ends, salt_hyper, by_flow, is_taught=is_taught)),
    )


def _quantiles(use: Floats, weight: Floats) -> Floats:
    """Quantiles of a use over all shapes and slopes by their weight, and over the points of the intercept, if any."""
    if use.ndim > weight.ndim:
        weight = weight[..., None] * _NODE_WEIGHTS
    flat = (len(use), math.prod(use.shape[1:]))
    return weighted_quantiles(use.reshape(flat), weight.reshape(flat), GRID_LEVELS)


class _Lives:
    """The lives of all membranes: how much they were used, how they ended, and what that teaches."""

    def __init__(
        self, fleet: Fleet, conditions: Conditions, visits: Visits, columns: Columns, segments: Segments
    ) -> None:
        self.visits, self.columns, self.segments = visits, columns, segments
        self.places = places_of(fleet, columns, duty_over_usual(fleet, conditions)[columns.unit])
        self.unit = columns.unit[segments.column]
        start = conditions.at(words.MEMBRANE, self.unit, segments.start)
        self.lived = np.maximum(conditions.at(words.MEMBRANE, self.unit, segments.end) - start, 0.0)
        self.rate = np.maximum(self.lived / np.maximum(segments.end - segments.start, 1.0), 0.05)
        self.reason = np.where(segments.is_current, -1, segments.lead_reason)
        self.current = np.flatnonzero(segments.is_current)
        self.informative = self.reason != 0

    def add_readings(self, segment: Indexes) -> None:
        """Note which lives have readings."""
        self.informative |= np.bincount(segment, minlength=len(self.segments)) > 0
        self.past = np.flatnonzero(~self.segments.is_current & self.informative)

    def ended_by(self, like: Floats, until: Floats, hyper: pooling.Hyper) -> tuple[Floats, Floats]:
        """How probable it is that one trend ended each life that was removed as exhausted, and that it had not.

        Density per day of the removal by this trend, and probability that it was still within its limit, both
        averaged over what the fleet and the readings say of the trend; 0 and 1 for lives that ended otherwise.
        """
        by_this, not_yet = np.zeros(len(self.segments)), np.ones(len(self.segments))
        exhausted = np.flatnonzero(self.reason == words.EXHAUSTED)
        if len(exhausted):
            fleet = np.log(pooling.fleet_density(hyper) + 1e-14) + np.log(hyper.shape_weights)[:, None]
            log_weight = like[exhausted] + fleet
            weight = np.exp(log_weight - log_weight.max(axis=(1, 2), keepdims=True))
            weight /= weight.sum(axis=(1, 2), keepdims=True)
            for reason, out in ((words.EXHAUSTED, by_this), (words.EARLY, not_yet)):
                ended = np.exp(self._removal(until, hyper.habit, exhausted, np.full(len(exhausted), reason)))
                out[exhausted] = (weight * ended).sum(axis=(1, 2))
        return by_this, not_yet

    def _removal(self, until: Floats, habit: Habit, lives: Indexes, reason: Indexes) -> Floats:
        lived = self.lived[lives].astype(np.float32)[:, None, None]
        delay = (lived - until[lives]) / self.rate[lives].astype(np.float32)[:, None, None]
        end = self.segments.end[lives][:, None, None]
        unit = self.unit[lives]
        visits_between = self.visits.between(unit[:, None, None], end - np.clip(delay, 0.0, 3650.0), end - 2.0)
        return removal_log_likelihood(delay, visits_between, reason, self.visits.gap_days[unit], habit)

    def endings(self, until: Floats, habit: Habit, lives: Indexes, other: tuple[Floats, Floats]) -> Floats:
        """Log-likelihood of how these lives ended, for one of the two trends, given what the other one did."""
        out = self._removal(until, habit, lives, self.reason[lives])
        exhausted = np.flatnonzero(self.reason[lives] == words.EXHAUSTED)
        if len(exhausted):
            # Removed as exhausted: by this trend before the other one, or by the other one before this.
            by_other, not_other = (values[lives[exhausted]][:, None, None] for values in other)
            not_this = self._removal(until, habit, lives[exhausted], np.full(len(exhausted), words.EARLY))
            out[exhausted] = np.log(np.exp(out[exhausted]) * not_other + np.exp(not_this) * by_other + 1e-30)
        return out

    def learn(self, like: Floats, until: Floats, prior: HyperPrior, other: tuple[Floats, Floats]) -> pooling.Hyper:
        """Fleet parameters of one trend."""
        return pooling.learn(
            lambda habit, which: like[which] + self.endings(until, habit, which, other),
            self.segments.column,
            self.places,
            prior,
            is_informative=self.informative,
            shows_end=np.zeros(len(self.segments), dtype=bool),
        )

    def weigh(
        self, like: Floats, until: Floats, hyper: pooling.Hyper, other: tuple[Floats, Floats], *, is_taught: bool
    ) -> tuple[pooling.Hyper, Floats, Floats]:
        """Weights (standing, shapes, grid) of one trend for the membranes that stand, and for the next in their places.

        With `is_taught` the parameters hold what groups of places have in common; otherwise it is learned here.
        """
        column, mix = self.segments.column, pooling.kernel(hyper.cartridge_spread)

        def summed(which: Indexes) -> tuple[Floats, Floats]:
            lives = like[which] + self.endings(until, hyper.habit, which, other)
            return lives, pooling.sum_by_place(pooling.spread_lives(lives, mix), column[which], len(self.columns))

        _, past = summed(self.past)
        present, of_current = summed(self.current)
        if is_taught:
            centre, variance = hyper.expected(self.places)
        else:
            shown = pooling.centred_likelihood(hyper, past + of_current, self.places)
            hyper, centre, variance = pooling.teach_shared(hyper, shown, self.places)
        posterior = pooling.place_posteriors(hyper, past, centre, variance)
        fresh = pooling.next_life(posterior, hyper)[column[self.current]] + 1e-14
        log_weight = np.log(fresh) + present
        weight = np.exp(log_weight - log_weight.max(axis=(1, 2), keepdims=True))
        weight /= weight.sum(axis=(1, 2), keepdims=True)
        return hyper, weight, fresh / fresh.sum(axis=(1, 2), keepdims=True)


def _until_flow_limit(loss: Floats, power: float) -> Floats:
    """Use until so much of the logarithm of flow is lost, for every slope, shape (segments, grid).

    Parameters
    ----------
    loss
        What may be lost, shape (segments, 1); 0 or less when it is lost already.
    """
    return NOMINAL_DAYS * np.exp(pooling.GRID) * (np.maximum(loss, 0.0) / USUAL_FLOW_LOSS) ** (1.0 / power)


def _until_salt_limit(trend: Trend, gain: Floats, limit: Floats, doubt: Floats, power: float) -> Floats:
    """Use until the limit for every slope and three points of the intercept, shape (segments, grid, points).

    Parameters
    ----------
    doubt
        Standard error of the level, shape (segments,), beside that of the trend and of the limit.
    """
    intercept = trend.intercept[:, None] + trend.intercept_by_slope[:, None] * gain
    spread = _NODES * np.sqrt(trend.intercept_spread**2 + SALT_LIMIT_SPREAD**2 + doubt**2)[:, None, None]
    room = np.maximum(limit[:, None, None] - intercept[..., None] - spread, 0.0)
    return np.asarray(NOMINAL_DAYS * (room / gain[:, None]) ** (1.0 / power))


def _salt_limit(columns: Columns, segments: Segments, centre: Floats, limits: Limits[Floats]) -> Floats:
    """Logarithm of the salt passage at which the membrane no longer serves; above that of a new one in any case."""
    needed = limits.minimum_rejection_fraction[columns.unit[segments.column]]
    return np.maximum(np.log(1.0 - np.clip(needed, 0.0, 0.999)), centre + 0.15)


@dataclass(frozen=True)
class _Rating:
    """What the item of every segment promises; NaN where it does not say."""

    water_u: Floats
    log_permeability: Floats
    ndp_kpa: Floats
    log_passage: Floats


def _ratings(fleet: Fleet, segments: Segments) -> _Rating:
    count, items = len(segments), fleet.items
    nothing = np.full(count, np.nan)
    if not len(items) or not count:
        return _Rating(nothing, nothing, np.full(count, 390.0), np.full(count, np.log(0.04)))
    item = np.maximum(fleet.placements.item_index[segments.lead], 0)
    has_item = fleet.placements.item_index[segments.lead] >= 0
    pressure = np.nan_to_num(items.rated_pressure_kpa[item], nan=LABEL_PRESSURE_KPA)
    tds = np.nan_to_num(items.rated_tds_mg_per_l[item], nan=LABEL_TDS_MG_PER_L)
    temperature = np.nan_to_num(items.rated_temperature_degc[item], nan=LABEL_TEMPERATURE_DEGC)
    recovery = np.nan_to_num(items.rated_recovery_fraction[item], nan=LABEL_RECOVERY)
    ndp = np.maximum(net_driving_pressure_kpa(pressure, 0.0, tds, recovery, temperature), 50.0)
    factor = water_u_kelvin(temperature) * inverse_temperature_per_kelvin(temperature)
    rejection = np.clip(np.nan_to_num(items.rejection_fraction[item], nan=LABEL_REJECTION), 0.5, 0.995)
    return _Rating(
        water_u=np.where(has_item, items.water_u_kelvin[item], np.nan),
        log_permeability=np.where(has_item, np.log(items.rated_flow_l_per_day[item] / ndp) - factor, np.nan),
        ndp_kpa=np.where(has_item, ndp, 390.0),
        log_passage=np.log(1.0 - np.where(has_item, rejection, 0.96)),
    )


def _trend_inputs(
    fleet: Fleet, readings: Readings, conditions: Conditions, columns: Columns, segments: Segments
) -> tuple[TrendInput, TrendInput, Indexes, Floats]:
    """Normalised flow and salt passage of every reading, with segment and day of the readings that bear on either."""
    column_of_unit = np.full(len(fleet.units), -1, dtype=np.int64)
    column_of_unit[columns.unit[::-1]] = np.arange(len(columns))[::-1]
    column = column_of_unit[readings.unit_index]
    bears = np.isfinite(readings.permeate_flow_l_per_day) | np.isfinite(readings.permeate_tds_mg_per_l)
    rows = np.flatnonzero((column >= 0) & bears)
    segment = locate_readings(segments, column[rows], readings.day[rows], readings.occasion[rows])
    rows, segment = rows[segment >= 0], segment[segment >= 0]
    unit, day = readings.unit_index[rows], readings.day[rows]
    step = conditions.timeline.step_of(day)
    temperature = readings.temperature_degc[rows]
    t_noise = np.where(np.isfinite(temperature), 0.02, 0.06)
    temperature = np.where(np.isfinite(temperature), temperature, conditions.temperature_degc[unit, step])
    inlet, inlet_noise = _inlet_pressure(fleet, readings, rows)
    recovery = conditions.recovery[unit, step]
    feed = readings.feed_tds_mg_per_l[rows]
    feed = np.where(np.isfinite(feed), feed, conditions.feed_tds_mg_per_l[unit, step])
    average = feed * feed_brine_factor(recovery)
    back, back_noise = _back_pressure(fleet, readings, rows, inlet)
    ndp = np.maximum(net_driving_pressure_kpa(inlet, back, feed, recovery, temperature), 25.0)
    inverse = inverse_temperature_per_kelvin(temperature)
    rating = _ratings(fleet, segments)
    u = water_u_kelvin(temperature, rating.water_u[segment])
    start = conditions.at(words.MEMBRANE, columns.unit[segments.column], segments.start)
    use = np.maximum(conditions.at(words.MEMBRANE, unit, day) - start[segment], 0.0) / NOMINAL_DAYS
    # Compaction takes 5 to 10 % off the flow in the first weeks: what is read then says little of the run-in value.
    age = day - segments.start[segment]
    young = np.where(age < 0.5 * RUN_IN_DAYS, 0.3, np.where(age < RUN_IN_DAYS, 0.08, 0.0))
    permeate = readings.permeate_tds_mg_per_l[rows]
    step_mg = fleet.units.tds_resolution_mg_per_l[unit]
    with np.errstate(divide="ignore", invalid="ignore"):
        flow = np.log(readings.permeate_flow_l_per_day[rows]) - np.log(ndp) - u * inverse
        salt = np.log(np.maximum(permeate, 0.3 * step_mg)) - np.log(average)
        salt += np.log(ndp / rating.ndp_kpa[segment]) - SALT_U_EXCESS_KELVIN * inverse
    flow_noise = np.sqrt(0.06**2 + inlet_noise**2 + back_noise**2 + t_noise**2 + young**2)
    rounding = 0.3 * step_mg / np.maximum(permeate, step_mg)
    salt_noise = np.sqrt(0.10**2 + inlet_noise**2 + back_noise**2 + (2 * t_noise) ** 2 + rounding**2)
    is_known = np.isfinite(rating.log_permeability)
    flow_input = TrendInput(
        segment, day, flow, flow_noise, use, inverse * 1000.0,
        shared_noise=0.02,
        # A membrane in service gives a tenth less than its label after running in; tolerance of labels +-15 to 20 %.
        centre=np.where(is_known, rating.log_permeability - 0.1, 0.0),
        width=np.where(is_known, 0.25, 5.0),
        z_spread=0.35,
        sign=-1.0,
        usual_slope=0.2,
    )  # fmt: skip
    salt_input = TrendInput(
        segment, day, salt, salt_noise, use, inverse * 1000.0,
        shared_noise=0.05,
        centre=rating.log_passage,
        width=np.full(len(segments), 0.35),
        z_spread=1.2,
        sign=1.0,
        usual_slope=0.2,
    )  # fmt: skip
    either = np.isfinite(flow) | np.isfinite(salt)
    return flow_input, salt_input, segment[either], day[either]


USUAL_TANK_KPA: Final = 140.0
"""Pressure of a tank that is being filled, between precharge and shut-off at two thirds of the line.

Common practice, no source.
"""


def _back_pressure(fleet: Fleet, readings: Readings, rows: Indexes, inlet: Floats) -> tuple[Floats, Floats]:
    """Pressure behind the membrane at every reading, and the share of the driving pressure by which it may err.

    A closed tank valve, or an open container, leaves none. A pressure that was read counts; a tank of which none was
    read pushes back as it usually does at this unit, or as tanks do.
    """
    unit = readings.unit_index[rows]
    read = readings.tank_pressure_kpa[rows]
    is_closed = readings.tank_valve[rows] == words.VALVE_STATES.index("closed")
    is_pressurised = (fleet.units.has_pressure_tank[unit] == words.YES) | np.isfinite(read)
    usual = median_by_group(np.where(is_closed, np.nan, read), unit, len(fleet.units))[unit]
    usual = np.where(np.isfinite(usual), usual, np.where(is_pressurised, np.minimum(USUAL_TANK_KPA, 0.4 * inlet), 0.0))
    back = np.where(is_closed, 0.0, np.where(np.isfinite(read), read, usual))
    is_guess = is_pressurised & ~is_closed & ~np.isfinite(read)
    return np.minimum(back, 0.9 * inlet), np.where(is_guess, 0.5 * back / np.maximum(inlet - back, 25.0), 0.0)


def _inlet_pressure(fleet: Fleet, readings: Readings, rows: Indexes) -> tuple[Floats, Floats]:
    """Best guess of the membrane inlet pressure of every reading and the share by which it may err."""
    unit = readings.unit_index[rows]
    inlet = readings.inlet_pressure_kpa[rows]
    pumped = fleet.units.has_booster_pump[unit] == words.YES
    outlet = np.where(pumped, np.nan, readings.prefilter_outlet_pressure_kpa[rows])
    line = np.where(pumped, np.nan, readings.line_pressure_kpa[rows] - 30.0)
    best = np.where(np.isfinite(inlet), inlet, np.where(np.isfinite(outlet), outlet, line))
    usual = median_by_group(best, unit, len(fleet.units))[unit]
    guess = np.where(np.isfinite(usual), usual, np.where(pumped, 550.0, 380.0))
    noise = np.select([np.isfinite(inlet), np.isfinite(outlet), np.isfinite(line)], [0.03, 0.04, 0.08], 0.13)
    return np.where(np.isfinite(best), best, guess), noise
