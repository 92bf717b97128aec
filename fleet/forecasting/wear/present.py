"""How much load the cartridges that stand can still take: fleet, place and their own readings together."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.matching import match
from fleet.forecasting.inputs.tables import Bools, Fleet, Floats, Indexes
from fleet.forecasting.wear import pooling, shared
from fleet.forecasting.wear.conditions import Conditions
from fleet.forecasting.wear.dates import weighted_quantiles
from fleet.forecasting.wear.evidence import BLOCK, CHUNK, Evidence, gather
from fleet.forecasting.wear.habits import LAST_READING_DAYS, Habit, Visits, learn_words, share_wrongly_exhausted
from fleet.forecasting.wear.nominal import FIXED_INTERVAL_DAYS
from fleet.forecasting.wear.opinions import MOST_OF_UNREAD_CALENDAR, MOST_OF_UNREAD_LABEL, pooled, rule, share
from fleet.forecasting.wear.stages import StageInput, reading_log_likelihood

FINE: Final = 49
"""Points of the fine grid around where the answer lies."""

_LAG_NODES: Final = np.array([-1.2247, 0.0, 1.2247])
_LAG_WEIGHTS: Final = np.array([0.25, 0.5, 0.25])
"""A lag is another cartridge than its lead: three points whose variance is 3/4."""


@dataclass(frozen=True)
class StageForecast:
    """Load left until exhaustion of the first and the last cartridge of every column that stands.

    `lead_load`, `lag_load` are quantiles at `results.GRID_LEVELS` in the stage's load unit, below zero when already
    past; `fresh_lead_load`, `fresh_lag_load` those of the load that the whole column takes when all of it is fresh;
    `lead_used`, `lag_used` the load since first installation.
    """

    column: Indexes
    lead_load: Floats
    lag_load: Floats
    fresh_lead_load: Floats
    fresh_lag_load: Floats
    lead_used: Floats
    lag_used: Floats
    readings: Indexes
    newest_day: Floats
    past_lives: Indexes
    hyper: pooling.Hyper


def load_left(
    stage: StageInput, conditions: Conditions, fleet: Fleet, visits: Visits, *, hyper: pooling.Hyper | None = None
) -> StageForecast:
    """Load left until exhaustion of every column that stands on the forecast's day.

    Parameters
    ----------
    hyper
        What a fleet has taught before; learned from this fleet when None.
    """
    segments = stage.segments
    prior = replace(stage.model.prior, habit=_habit(stage, hyper))
    evidence = gather(stage, conditions, visits, prior.start())
    has_reading = np.bincount(stage.reading_segment, minlength=len(segments)) > 0
    informative = has_reading | (evidence.lead_reason != 0) | (evidence.lag_reason != 0)
    past = np.flatnonzero(~segments.is_current & informative)
    current = np.flatnonzero(segments.is_current & (segments.lead >= 0))
    count = len(stage.columns)
    is_taught = hyper is not None
    if hyper is None:
        hyper = _learn(stage, evidence, prior, informative)
    hyper, places = _weigh_places(stage, evidence, hyper, past, current, is_taught=is_taught)
    column = segments.column[current]
    loads = _loads(stage, conditions, evidence, fleet.as_of_day, hyper, places, current)
    newest = np.full(len(segments), -np.inf)
    np.maximum.at(newest, stage.reading_segment, stage.reading_day)
    unit = stage.columns.unit[column]
    since = conditions.at(stage.stage, unit, np.full(len(column), fleet.as_of_day))
    placed = fleet.placements.first_installed_day
    lead_used = since - conditions.at(stage.stage, unit, placed[segments.lead[current]])
    readings = np.bincount(stage.reading_segment, minlength=len(segments))[current]
    if stage.stage == words.SEDIMENT:
        loads = _with_rules(stage, conditions, hyper, loads, current, lead_used, readings)
    return StageForecast(
        column=column,
        lead_load=loads.lead,
        lag_load=loads.lag,
        fresh_lead_load=loads.fresh_lead,
        fresh_lag_load=loads.fresh_lag,
        lead_used=lead_used,
        lag_used=since - conditions.at(stage.stage, unit, placed[np.maximum(segments.lag[current], 0)]),
        readings=readings,
        newest_day=np.where(np.isfinite(newest), newest, np.nan)[current],
        past_lives=np.bincount(segments.column[past], minlength=count)[column],
        hyper=hyper,
    )


@dataclass(frozen=True)
class _Places:
    """What past lives and the rest of the fleet say of the place of every column: the summed log likelihood of its past
    lives, shape (columns, shapes, grid), and centre and variance of what its like teach."""

    summed: Floats
    centre: Floats
    variance: Floats


@dataclass(frozen=True)
class _Loads:
    """Quantiles of the load left of every column that stands, and of fresh cartridges in its place."""

    lead: Floats
    lag: Floats
    fresh_lead: Floats
    fresh_lag: Floats


def _learn(stage: StageInput, evidence: Evidence, prior: pooling.HyperPrior, is_informative: Bools) -> pooling.Hyper:
    """What this fleet teaches. A life whose readings reach to its end shows more than its length."""
    segments = stage.segments
    at_end = stage.reading_day >= segments.end[stage.reading_segment] - 3.0
    shows_end = np.bincount(stage.reading_segment[at_end], minlength=len(segments)) > 0
    shows_end &= (segments.lead_reason > 0) | (segments.lag_reason > 0)
    return pooling.learn(
        evidence.lives, segments.column, stage.places, prior, is_informative=is_informative, shows_end=shows_end
    )


def _weigh_places(
    stage: StageInput, evidence: Evidence, hyper: pooling.Hyper, past: Indexes, current: Indexes, *, is_taught: bool
) -> tuple[pooling.Hyper, _Places]:
    """What is known of every place, and what was learned with what places share; a fleet that was taught before
    leans on that."""
    column, count = stage.segments.column, len(stage.columns)
    summed = np.zeros((count, stage.model.shapes, len(pooling.GRID)), dtype=np.float32)
    shown = np.zeros((count, len(shared.CENTRED)))
    for first in range(0, count, CHUNK):
        here = slice(first, min(first + CHUNK, count))
        summed[here] = _summed(evidence, hyper, column, past, first, here.stop)
        if not is_taught:
            present_likelihood = _summed(evidence, hyper, column, current, first, here.stop)
            shown[here] = pooling.centred_likelihood(hyper, summed[here] + present_likelihood, stage.places.take(here))
    if is_taught:
        return hyper, _Places(summed, *hyper.expected(stage.places))
    hyper, centre, variance = pooling.teach_shared(hyper, shown, stage.places)
    return hyper, _Places(summed, centre, variance)


def _loads(
    stage: StageInput,
    conditions: Conditions,
    evidence: Evidence,
    as_of_day: float,
    hyper: pooling.Hyper,
    places: _Places,
    current: Indexes,
) -> _Loads:
    """Load left of the segments that stand, and of fresh cartridges in their places."""
    column, count = stage.segments.column[current], len(stage.columns)
    loads = _Loads(*(np.zeros((len(current), len(GRID_LEVELS))) for _ in range(4)))
    for first in range(0, count, CHUNK):
        own_columns = (column >= first) & (column < first + CHUNK)
        if not own_columns.any():
            continue
        here = slice(first, min(first + CHUNK, count))
        posterior = pooling.place_posteriors(hyper, places.summed[here], places.centre[here], places.variance[here])
        next_life = np.log(pooling.next_life(posterior, hyper) + 1e-14)
        paired = evidence.has_lag[current]
        for rows in (np.flatnonzero(own_columns & ~paired), np.flatnonzero(own_columns & paired)):
            if not len(rows):
                continue
            next_here = next_life[column[rows] - first]
            loads.fresh_lead[rows], loads.fresh_lag[rows] = _fresh(stage, current[rows], next_here)
            before = next_here + evidence.endings(hyper.habit, current[rows])
            loads.lead[rows], loads.lag[rows] = _present(
                stage, conditions, evidence, as_of_day, current[rows], before, hyper.cartridge_spread
            )
    return loads


def _with_rules(
    stage: StageInput,
    conditions: Conditions,
    hyper: pooling.Hyper,
    loads: _Loads,
    current: Indexes,
    used: Floats,
    readings: Indexes,
) -> _Loads:
    """The loads left of single cartridges, with what label and usual interval say of those that no reading shows."""
    rows = np.flatnonzero(readings == 0)
    unit = stage.columns.unit[stage.segments.column[current[rows]]]
    by_label = stage.label[current[rows]] * np.exp(hyper.mean)
    by_calendar = conditions.mean_load(stage.stage)[unit] * FIXED_INTERVAL_DAYS[stage.stage]
    out = replace(loads, lead=loads.lead.copy(), fresh_lead=loads.fresh_lead.copy())
    for left, passed in ((out.lead, used[rows]), (out.fresh_lead, np.zeros(len(rows)))):
        left[rows] = pooled(
            left[rows],
            (share(MOST_OF_UNREAD_LABEL, hyper), rule(by_label, passed)),
            (share(MOST_OF_UNREAD_CALENDAR, hyper), rule(by_calendar, passed)),
        )
    return out


def _habit(stage: StageInput, hyper: pooling.Hyper | None = None) -> Habit:
    """The usual habit, with what the last reading before each removal shows of the words of this fleet, or showed of
    the one that was learned from before: evidence is gathered in the same way then."""
    segments, prior = stage.segments, stage.model.prior
    if hyper is not None:
        return replace(prior.habit, wrong=hyper.habit.wrong, words=hyper.habit.words)
    past, segment = _last_readings(stage)
    reason = segments.lead_reason
    if prior.is_end_seen:
        return replace(prior.habit, wrong=share_wrongly_exhausted(past, reason[segment]))
    gone = ~segments.is_current
    return replace(prior.habit, words=learn_words(past, reason[segment], reason[gone], stage.is_read_at_end[gone]))


def _last_readings(stage: StageInput) -> tuple[Floats, Indexes]:
    """Probability that a cartridge was past its limit by the last reading before its removal, and its segment."""
    segments, segment = stage.segments, stage.reading_segment
    past = stage.model.probability_past(stage.readings, stage.limit[segment])
    near = segments.end[segment] - stage.reading_day <= LAST_READING_DAYS
    rows = np.flatnonzero(near & np.isfinite(past) & ~segments.is_current[segment])
    rows = rows[np.lexsort((stage.reading_day[rows], segment[rows]))]
    is_last = np.ones(len(rows), dtype=bool)
    is_last[:-1] = segment[rows][1:] != segment[rows][:-1]
    rows = rows[is_last]
    return past[rows], segment[rows]


def _summed(evidence: Evidence, hyper: pooling.Hyper, column: Indexes, rows: Indexes, first: int, stop: int) -> Floats:
    """Log-likelihood of the place's part from these lives, for the places from `first` to `stop`."""
    rows = rows[(column[rows] >= first) & (column[rows] < stop)]
    spread = pooling.spread_lives(evidence.lives(hyper.habit, rows), pooling.kernel(hyper.cartridge_spread))
    return pooling.sum_by_place(spread, column[rows] - first, stop - first)


def _fresh(stage: StageInput, segment: Indexes, log_density: Floats) -> tuple[Floats, Floats]:
    """Quantiles of the load until exhaustion of first and last cartridge of these columns, if all of each were fresh.

    `log_density` is that of (shape, g) for the next cartridge, shape (rows, shapes, grid).
    """
    cells = (len(segment), log_density.shape[1] * log_density.shape[2])
    weight = np.exp(log_density - log_density.max(axis=(1, 2), keepdims=True)).reshape(cells)
    weight /= weight.sum(axis=1, keepdims=True)
    capacity = stage.label[segment][:, None, None] * np.exp(pooling.GRID)
    has_lag = stage.segments.lag[segment] >= 0
    full = np.ones(log_density.shape)

    def quantiles(remaining: Floats, limit: Floats) -> Floats:
        load = np.maximum(stage.model.until_exhausted(remaining, limit), 0.0) * capacity
        return weighted_quantiles(load.reshape(cells), weight, GRID_LEVELS)

    first = quantiles(full, np.where(has_lag, stage.lead_limit[segment], stage.limit[segment]))
    if not has_lag.any():
        return first, first
    both = full + np.where(has_lag, stage.lag_ratio[segment], 0.0)[:, None, None]
    return first, quantiles(both, stage.limit[segment])


def _present(
    stage: StageInput,
    conditions: Conditions,
    evidence: Evidence,
    now: float,
    segment: Indexes,
    log_prior: Floats,
    cartridge_spread: float,
) -> tuple[Floats, Floats]:
    """Quantiles of the load left of some present segments, all paired or all single."""
    coarse = log_prior + evidence.readings[segment]
    fine = _fine_grid(coarse)
    log_weight = _interpolate(log_prior, fine)
    lead_left = _interpolate(np.stack([evidence.lead_start[int(row)] for row in segment]), fine)
    both_left = _interpolate(np.stack([evidence.both_start[int(row)] for row in segment]), fine)
    has_lag: Bools = evidence.has_lag[segment]
    if has_lag.any():
        # The lag's own part of the capacity is not that of the lead: a further, coarse dimension.
        stage = stage.with_repeated_shapes(len(_LAG_NODES))
        ratio = stage.lag_ratio[segment][:, None, None]
        more = ratio * (np.exp(cartridge_spread * _LAG_NODES / np.sqrt(0.75)) - 1.0)
        both_left = np.concatenate([np.maximum(both_left + more[..., n : n + 1], lead_left) for n in range(3)], axis=1)
        lead_left = np.concatenate([lead_left] * len(_LAG_NODES), axis=1)
        log_weight = np.concatenate([log_weight + np.log(share) for share in _LAG_WEIGHTS], axis=1)
    model = stage.model
    lead, both = model.state(lead_left.astype(np.float32)), model.state(both_left.astype(np.float32))
    owner, reading_rows = match(evidence.kept_segment, segment)
    for block in range(0, len(owner), BLOCK):
        own, index = owner[block : block + BLOCK], reading_rows[block : block + BLOCK]
        likelihood = reading_log_likelihood(
            stage, conditions, evidence.kept_readings[index], segment[own], lead[own], both[own], fine[own]
        )
        likelihood *= evidence.kept_weight[index][:, None, None]
        groups, starts = np.unique(own, return_index=True)
        log_weight[groups] += np.add.reduceat(likelihood, starts, axis=0)
    unit = stage.columns.unit[stage.segments.column[segment]]
    load = conditions.at(stage.stage, unit, np.full(len(unit), now))
    load = np.maximum(load - conditions.at(stage.stage, unit, stage.segments.start[segment]), 0.0)
    scale = stage.label[segment][:, None, None] * np.exp(fine)[:, None, :]
    throughput = load[:, None, None] / scale
    limit, of_lead = stage.limit[segment], np.where(has_lag, stage.lead_limit[segment], stage.limit[segment])
    shape = (len(segment), model.shapes * FINE)
    weight = np.exp(log_weight - log_weight.max(axis=(1, 2), keepdims=True)).reshape(shape)
    weight /= weight.sum(axis=1, keepdims=True)
    first = (model.until_exhausted(lead_left, of_lead) - throughput) * scale
    lead_load = weighted_quantiles(np.broadcast_to(first, log_weight.shape).reshape(shape), weight, GRID_LEVELS)
    if not has_lag.any():
        return lead_load, lead_load
    last = (model.until_exhausted(both_left, limit) - throughput) * scale
    return lead_load, weighted_quantiles(last.reshape(shape), weight, GRID_LEVELS)


def _fine_grid(log_density: Floats) -> Floats:
    """Points of g around all but a thousandth of the mass of a density on the common grid, shape (rows, points)."""
    density = np.exp(log_density - log_density.max(axis=(1, 2), keepdims=True)).sum(axis=1)
    mass = np.cumsum(density, axis=1)
    mass /= mass[:, -1:]
    low = pooling.GRID[np.argmax(mass > 1e-3, axis=1)] - 2 * pooling.STEP
    high = pooling.GRID[np.argmax(mass >= 1 - 1e-3, axis=1)] + 2 * pooling.STEP
    return low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, FINE)


def _interpolate(values: Floats, fine: Floats) -> Floats:
    """Values on the common grid at other points of it: (rows, shapes, grid) at (rows, points)."""
    place = np.clip((fine - pooling.GRID[0]) / pooling.STEP, 0.0, len(pooling.GRID) - 1.000001)
    low = place.astype(np.int64)
    share = (place - low)[:, None, :]
    index = np.broadcast_to(low[:, None, :], (len(values), values.shape[1], fine.shape[1]))
    below = np.take_along_axis(values, index, axis=2)
    above = np.take_along_axis(values, index + 1, axis=2)
    return below + (above - below) * share
