"""From segments and readings to the distribution of throughput left, for sediment, carbon and resin alike.

First pass: every past and present segment gives a log-likelihood of g on the common grid. The fleet's parameters are
learned from the past ones (`pooling.learn`), every place gets its posterior, and the present cartridge its prior.
Second pass: the present cartridge's own readings on a fine grid around where the answer lies.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from . import pooling
from . import vocabulary as words
from .columns import Columns, Segments, segment_keys, segment_of
from .conditions import Conditions
from .habits import Habit, Visits, removal_log_likelihood
from .stage_models import Seen, StageModel
from .tables import Bools, Fleet, Floats, Indexes

MOST_READINGS: Final = 40
"""Readings of one segment that are looked at: the newest half of them, the rest spread over its time."""

FULL_WEIGHT_READINGS: Final = 6.0
"""Readings of one cartridge err together (curve, load), so beyond this number their weight grows only as a root."""

CHUNK: Final = 1500
FINE: Final = 61
NEVER: Final = 1e9


@dataclass(frozen=True)
class StageInput:
    """What one stage brings: columns, segments, model, labels and readings.

    `label` is the capacity by label of the first cartridge of every segment (load units), `lag_ratio` that of the
    second over it, `limit` the share or value at which a single or last cartridge is exhausted, per segment;
    `ended_by_cap` marks segments whose cartridge left at its age limit, which says nothing of wear. `seen` are the
    readings with their segment.
    """

    stage: int
    columns: Columns
    segments: Segments
    model: StageModel
    label: Floats
    lag_ratio: Floats
    limit: Floats
    ended_by_cap: Bools
    seen: Seen
    seen_segment: Indexes
    seen_day: Floats
    covariate: Floats


@dataclass(frozen=True)
class Left:
    """Load left until exhaustion of the first and the last cartridge of every column that stands, as weighted points.

    `load` has shape (columns, points) in load units, `weight` sums to 1 by row; `used_share` the median share used.
    `column` says which column a row is of.
    """

    column: Indexes
    lead_load: Floats
    lag_load: Floats
    weight: Floats
    lead_used: Floats
    lag_used: Floats
    readings: Indexes
    newest_day: Floats
    past_lives: Indexes
    hyper: pooling.Hyper


def locate_readings(segments: Segments, column: Indexes, day: Floats, occasion: np.ndarray) -> tuple[Indexes, Floats]:
    """Segment of every reading of a column, -1 when none.

    A reading as found belongs to what stood before the work of that visit, one as left to what stands after it; dates
    are often no finer than a day.
    """
    shift = np.select([occasion == words.OCCASIONS.index("as_found"), occasion == words.OCCASIONS.index("as_left")],
                      [-0.75, 0.75], 0.0)  # fmt: skip
    keys = segment_keys(segments)
    shifted = np.minimum(day + shift, np.max(segments.end, initial=-np.inf))
    found = segment_of(keys, segments, column, shifted)
    plain = segment_of(keys, segments, column, day)
    # A reading as found on the first day of the first segment, or as left on the last day, has no other place to go.
    return np.where(found >= 0, found, np.where(shift >= 0, plain, -1)), day


def thin(segment: Indexes, day: Floats, most: int = MOST_READINGS) -> Indexes:
    """Rows to keep so that no segment has more than `most` readings: the newest half, and a spread of the others."""
    order = np.lexsort((day, segment))
    sorted_segment = segment[order]
    size = np.bincount(segment, minlength=int(segment.max()) + 1 if len(segment) else 1)
    first = np.concatenate([[0], np.cumsum(size)[:-1]])
    rank_from_end = size[sorted_segment] - 1 - (np.arange(len(order)) - first[sorted_segment])
    half = most // 2
    older = np.maximum(size[sorted_segment] - half, 1)
    stride = np.maximum(np.ceil(older / half), 1).astype(np.int64)
    keep = (rank_from_end < half) | ((rank_from_end - half) % stride == 0)
    return order[keep]


def _advance(stage: StageInput, conditions: Conditions, rows: Indexes, grid: Floats) -> tuple[Floats, Floats]:
    """Left at the start of the given segments (whole columns, in order), in the first bed and in both.

    Returns two arrays (segments, shapes, grid).
    """
    segments, model = stage.segments, stage.model
    unit = stage.columns.unit[segments.column[rows]]
    load = conditions.at(stage.stage, unit, segments.end[rows]) - conditions.at(stage.stage, unit, segments.start[rows])
    throughput = (load / stage.label[rows])[:, None, None] * np.exp(-grid)[None, None, :]
    shape = (len(rows), model.shapes, len(grid))
    lead_start, both_start = np.ones(shape), np.ones(shape)
    placements = np.unique(np.concatenate([segments.lead[rows], segments.lag[rows]]))
    placements = placements[placements >= 0]
    left = np.ones((len(placements), *shape[1:]))
    touched = np.zeros(len(placements), dtype=bool)

    def local(placement: Indexes) -> Indexes:
        return np.clip(np.searchsorted(placements, placement), 0, len(placements) - 1)

    def begin(placement: Indexes) -> Floats:
        here = local(placement)
        source = segments.continued_from[placement]
        fresh = ~touched[here] & (source >= 0)
        known = np.isin(source, placements)
        move = fresh & known
        left[here[move]] = left[local(source[move])]
        touched[here] = True
        return left[here]

    rank = segments.rank[rows]
    for step in range(int(rank.max(initial=-1)) + 1):
        now = np.flatnonzero(rank == step)
        lead = segments.lead[rows[now]]
        lag = segments.lag[rows[now]]
        two = lag >= 0
        lead_start[now] = begin(lead)
        both_start[now] = lead_start[now]
        if two.any():
            ratio = stage.lag_ratio[rows[now[two]]][:, None, None]
            both_start[now[two]] += begin(lag[two]) * ratio
        lead_end = model.left_after(lead_start[now], throughput[now])
        left[local(lead)] = lead_end
        if two.any():
            both_end = model.left_after(both_start[now[two]], throughput[now[two]])
            left[local(lag[two])] = np.maximum(both_end - lead_end[two], 0.0) / ratio
    return lead_start, both_start


@dataclass(frozen=True)
class _Pass:
    """First pass over all segments: readings' log-likelihood, and delays between exhaustion and removal (days)."""

    readings: Floats
    lead_delay: Floats
    lag_delay: Floats
    lead_visits: Floats
    lag_visits: Floats


def _reading_weights(segment: Indexes, count: int) -> Floats:
    size = np.bincount(segment, minlength=count).astype(np.float64)
    return np.minimum(1.0, np.sqrt(FULL_WEIGHT_READINGS / np.maximum(size, 1.0)))[segment]


def _first_pass(stage: StageInput, conditions: Conditions, visits: Visits, kept: Indexes) -> _Pass:
    segments, model, grid = stage.segments, stage.model, pooling.GRID
    count = len(segments)
    shape = (count, model.shapes, len(grid))
    one_kind = (1, model.shapes, len(grid))
    any_lag = bool((segments.lag >= 0).any())
    lag_shape = shape if any_lag else one_kind
    out = _Pass(
        readings=np.zeros(shape, dtype=np.float32),
        lead_delay=np.zeros(shape, dtype=np.float32),
        lag_delay=np.zeros(lag_shape, dtype=np.float32),
        lead_visits=np.zeros(shape, dtype=np.int8),
        lag_visits=np.zeros(lag_shape, dtype=np.int8),
    )
    kept = kept[np.argsort(stage.seen_segment[kept], kind="stable")]
    kept_segment = stage.seen_segment[kept]
    weights = _reading_weights(kept_segment, count)
    for first in range(0, len(stage.columns), CHUNK):
        rows = np.flatnonzero((segments.column >= first) & (segments.column < first + CHUNK))
        if not len(rows):
            continue
        lead_start, both_start = _advance(stage, conditions, rows, grid)
        unit = stage.columns.unit[segments.column[rows]]
        days = np.maximum(segments.end[rows] - segments.start[rows], 1.0)
        end_load = conditions.at(stage.stage, unit, segments.end[rows])
        start_load = conditions.at(stage.stage, unit, segments.start[rows])
        rate = np.maximum((end_load - start_load) / days, 1e-9)
        capacity = stage.label[rows][:, None, None] * np.exp(grid)
        has_lag = segments.lag[rows] >= 0
        for is_lag in (False, True) if any_lag else (False,):
            # From the start of the segment, not from its end: a spent bed has nothing left to be measured by.
            left_start, is_lead = (both_start, np.zeros_like(has_lag)) if is_lag else (lead_start, has_lag)
            until = model.until_exhausted(left_start, stage.limit[rows], is_lead) * capacity
            over = (end_load - start_load)[:, None, None] - until
            delay = np.clip(over / rate[:, None, None], -NEVER, NEVER)
            end = segments.end[rows][:, None, None]
            seen = visits.between(unit[:, None, None], end - np.maximum(delay, 0.0), end - 2.0)
            (out.lag_delay if is_lag else out.lead_delay)[rows] = delay
            (out.lag_visits if is_lag else out.lead_visits)[rows] = np.minimum(seen, 100)
        low, high = np.searchsorted(kept_segment, [rows[0], rows[-1] + 1])
        for begin in range(low, high, 4000):
            part = slice(begin, min(begin + 4000, high))
            reading = kept[part]
            segment = kept_segment[part]
            at = segment - rows[0]
            likelihood = _likelihood(stage, conditions, reading, segment, lead_start[at], both_start[at], grid)
            likelihood *= weights[part][:, None, None]
            groups, starts = np.unique(segment, return_index=True)
            out.readings[groups] += np.add.reduceat(likelihood, starts, axis=0)
    return out


def _likelihood(
    stage: StageInput,
    conditions: Conditions,
    reading: Indexes,
    segment: Indexes,
    lead_start: Floats,
    both_start: Floats,
    grid: Floats,
) -> Floats:
    """Log-likelihood of readings given what was left at the start of their segments; `grid` (points,) or (rows,
    points)."""
    unit = stage.columns.unit[stage.segments.column[segment]]
    load = conditions.at(stage.stage, unit, stage.seen_day[reading])
    load = np.maximum(load - conditions.at(stage.stage, unit, stage.segments.start[segment]), 0.0)
    scale = np.exp(-grid)
    scale = scale[None, None, :] if grid.ndim == 1 else scale[:, None, :]
    throughput = (load / stage.label[segment])[:, None, None] * scale
    lead = stage.model.left_after(lead_start, throughput)
    has_lag = stage.segments.lag[segment] >= 0
    both = lead
    if has_lag.any():
        both = lead.copy()
        both[has_lag] = stage.model.left_after(both_start[has_lag], throughput[has_lag])
    return stage.model.log_likelihood(lead, both, stage.seen.take(reading), has_lag)


def load_left(stage: StageInput, conditions: Conditions, fleet: Fleet, visits: Visits, *, learn: bool = True) -> Left:
    """Distribution of the load left until exhaustion of every column that stands on the forecast's day."""
    segments, model = stage.segments, stage.model
    kept = thin(stage.seen_segment, stage.seen_day) if len(stage.seen_segment) else stage.seen_segment
    seen = _first_pass(stage, conditions, visits, kept)
    past = ~segments.is_current
    stands = segments.is_current
    lead_reason = np.where(stage.ended_by_cap, words.EARLY, segments.lead_reason)
    lead_reason = np.where(stands, -1, lead_reason)
    lag_reason = np.where(stage.ended_by_cap, words.EARLY, segments.lag_reason)
    lag_reason = np.where(stands, -1, lag_reason)
    has_reading = np.bincount(stage.seen_segment, minlength=len(segments)) > 0
    two = np.flatnonzero(segments.lag >= 0)

    def ends(habit: Habit, rows: Indexes) -> Floats:
        """Log-likelihood of how the segments ended, for lead and lag."""
        out = removal_log_likelihood(
            seen.lead_delay[rows].astype(np.float64), seen.lead_visits[rows], lead_reason[rows], habit
        )
        with_lag = np.flatnonzero(np.isin(rows, two))
        if len(with_lag):
            which = rows[with_lag]
            out[with_lag] += removal_log_likelihood(
                seen.lag_delay[which].astype(np.float64), seen.lag_visits[which], lag_reason[which], habit
            )
        return out

    def lives(habit: Habit, rows: Indexes) -> Floats:
        return seen.readings[rows] + ends(habit, rows)

    informative = has_reading | (lead_reason != 0) | (lag_reason != 0)
    hyper = model.prior.start()
    if learn:
        at_end = stage.seen_day >= segments.end[stage.seen_segment] - 3.0
        shows_end = np.bincount(stage.seen_segment[at_end], minlength=len(segments)) > 0
        shows_end &= (segments.lead_reason > 0) | (segments.lag_reason > 0)
        hyper = pooling.learn(
            lives,
            segments.column,
            stage.covariate,
            model.prior,
            is_informative=informative,
            shows_end=shows_end,
        )
    rows = np.flatnonzero(past & informative)
    count = len(stage.columns)
    current = np.flatnonzero(segments.is_current & (segments.lead >= 0))
    column = segments.column[current]
    points = model.shapes * FINE
    lead_load = np.zeros((len(current), points))
    lag_load = np.zeros((len(current), points))
    weight = np.zeros((len(current), points))
    now = fleet.as_of_day
    kept = kept[np.argsort(stage.seen_segment[kept], kind="stable")]
    kept_segment = stage.seen_segment[kept]
    weights_all = _reading_weights(kept_segment, len(segments))
    past_lives = np.bincount(segments.column[rows], minlength=count)
    for first in range(0, count, CHUNK):
        mine = np.flatnonzero((column >= first) & (column < first + CHUNK))
        if not len(mine):
            continue
        part = rows[(segments.column[rows] >= first) & (segments.column[rows] < first + CHUNK)]
        chunk_count = min(CHUNK, count - first)
        posterior = pooling.place_posteriors(
            hyper,
            lives(hyper.habit, part),
            segments.column[part] - first,
            chunk_count,
            stage.covariate[first : first + chunk_count],
        )
        prior = np.log(pooling.next_life(posterior, hyper) + 1e-14)[column[mine] - first]
        segment = current[mine]
        prior += ends(hyper.habit, segment)
        coarse = prior + seen.readings[segment]
        coarse = np.exp(coarse - coarse.max(axis=(1, 2), keepdims=True))
        by_grid = coarse.sum(axis=1)
        by_grid /= by_grid.sum(axis=1, keepdims=True)
        centre = by_grid @ pooling.GRID
        spread = np.sqrt(np.maximum(by_grid @ pooling.GRID**2 - centre**2, 0.0))
        low_mass = np.cumsum(by_grid, axis=1)
        low = pooling.GRID[np.argmax(low_mass > 1e-3, axis=1)] - 0.16
        high = pooling.GRID[np.argmax(low_mass >= 1 - 1e-3, axis=1)] + 0.16
        del spread, centre
        fine = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, FINE)
        all_rows = np.flatnonzero((segments.column >= first) & (segments.column < first + CHUNK))
        lead_start, both_start = _advance(stage, conditions, all_rows, pooling.GRID)
        at = np.searchsorted(all_rows, segment)
        lead_fine = _interpolate(lead_start[at], fine)
        both_fine = _interpolate(both_start[at], fine)
        log_weight = _interpolate(prior, fine)
        begin, end = np.searchsorted(kept_segment, segment), np.searchsorted(kept_segment, segment, side="right")
        owner = np.repeat(np.arange(len(segment)), end - begin)
        which = np.repeat(begin, end - begin) + (
            np.arange(len(owner)) - np.repeat(np.cumsum(end - begin) - (end - begin), end - begin)
        )
        for block in range(0, len(owner), 4000):
            own, index = owner[block : block + 4000], which[block : block + 4000]
            likelihood = _likelihood(
                stage, conditions, kept[index], segment[own], lead_fine[own], both_fine[own], fine[own]
            )
            likelihood *= weights_all[index][:, None, None]
            groups, starts = np.unique(own, return_index=True)
            log_weight[groups] += np.add.reduceat(likelihood, starts, axis=0)
        unit = stage.columns.unit[column[mine]]
        load = conditions.at(stage.stage, unit, np.full(len(unit), now))
        load = load - conditions.at(stage.stage, unit, segments.start[segment])
        scale = stage.label[segment][:, None, None] * np.exp(fine)[:, None, :]
        throughput = np.maximum(load, 0.0)[:, None, None] / scale
        has_lag = segments.lag[segment] >= 0
        limit = stage.limit[segment]
        lead_to_go = (model.until_exhausted(lead_fine, limit, has_lag) - throughput) * scale
        both_to_go = (model.until_exhausted(both_fine, limit, np.zeros_like(has_lag)) - throughput) * scale
        shape = (len(mine), points)
        lead_load[mine] = np.broadcast_to(lead_to_go, (len(mine), model.shapes, FINE)).reshape(shape)
        lag_load[mine] = np.broadcast_to(both_to_go, (len(mine), model.shapes, FINE)).reshape(shape)
        log_weight -= log_weight.max(axis=(1, 2), keepdims=True)
        density = np.exp(log_weight).reshape(shape)
        weight[mine] = density / density.sum(axis=1, keepdims=True)
    readings = np.bincount(stage.seen_segment, minlength=len(segments))[current]
    newest = np.full(len(segments), np.nan)
    if len(stage.seen_segment):
        latest = np.full(len(segments), -np.inf)
        np.maximum.at(latest, stage.seen_segment, stage.seen_day)
        newest = np.where(np.isfinite(latest), latest, np.nan)
    since = conditions.at(stage.stage, stage.columns.unit[column], np.full(len(column), now))
    placed = fleet.placements.first_installed_day
    used_lead = since - conditions.at(stage.stage, stage.columns.unit[column], placed[segments.lead[current]])
    lag_row = np.maximum(segments.lag[current], 0)
    used_lag = since - conditions.at(stage.stage, stage.columns.unit[column], placed[lag_row])
    return Left(
        column=column,
        lead_load=lead_load,
        lag_load=lag_load,
        weight=weight,
        lead_used=used_lead,
        lag_used=used_lag,
        readings=readings,
        newest_day=newest[current],
        past_lives=past_lives[column],
        hyper=hyper,
    )


def _interpolate(values: Floats, fine: Floats) -> Floats:
    """Values on the common grid at other points of it: (rows, shapes, grid) at (rows, points)."""
    place = np.clip((fine - pooling.GRID[0]) / pooling.STEP, 0.0, len(pooling.GRID) - 1.000001)
    low = place.astype(np.int64)
    share = (place - low)[:, None, :]
    index = np.broadcast_to(low[:, None, :], (len(values), values.shape[1], fine.shape[1]))
    below = np.take_along_axis(values, index, axis=2)
    above = np.take_along_axis(values, index + 1, axis=2)
    return below + (above - below) * share
