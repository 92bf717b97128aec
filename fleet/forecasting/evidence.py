"""What every segment, past and present, says about the capacity of its cartridges: readings, and how it ended."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from . import pooling
from . import vocabulary as words
from .conditions import Conditions
from .habits import Habit, Visits, removal_log_likelihood
from .levels import crowd
from .tables import Floats, Indexes
from .wear import StageInput, reading_log_likelihood, starting_left

MOST_READINGS: Final = 40
"""Readings of one segment that are looked at: the newest half of them, the rest spread over its time."""

WINDOW_DAYS: Final = 20.0
WINDOW_SHARE: Final = 0.35
"""Readings of one window share part of their error (curve, load, meter): the second one adds little."""

FULL_WEIGHT_READINGS: Final = 10.0
"""Readings of one cartridge err together, so beyond this number their weight grows only as a root."""

CHUNK: Final = 1500
"""Columns that are worked on at once; bounds the memory."""

BLOCK: Final = 4000
_NEVER: Final = 1e9


@dataclass(frozen=True)
class Evidence:
    """Log-likelihoods on the common grid of g, shape (segments, shapes, grid), and what is needed to see them anew.

    `kept` are the rows of `stage.seen` that count, in order of segment; `kept_segment` and `kept_weight` theirs.
    `lead_delay`, `lag_delay` are days from exhaustion to the end of the segment (negative: not yet), and the visits in
    between; the reasons are those of removal, -1 for what still stands.
    """

    readings: Floats
    lead_delay: Floats
    lag_delay: Floats
    lead_visits: Floats
    lag_visits: Floats
    lead_reason: Indexes
    lag_reason: Indexes
    gap_days: Floats
    has_lag: np.ndarray
    kept: Indexes
    kept_segment: Indexes
    kept_weight: Floats

    def endings(self, habit: Habit, rows: Indexes) -> Floats:
        """Log-likelihood of how these segments ended, for first and second bed."""
        out = removal_log_likelihood(
            self.lead_delay[rows].astype(np.float64), self.lead_visits[rows], self.lead_reason[rows], self.gap_days[rows], habit
        )
        paired = np.flatnonzero(self.has_lag[rows])
        if len(paired):
            which = rows[paired]
            out[paired] += removal_log_likelihood(
                self.lag_delay[which].astype(np.float64), self.lag_visits[which], self.lag_reason[which], self.gap_days[which], habit
            )
        return out

    def lives(self, habit: Habit, rows: Indexes) -> Floats:
        """Log-likelihood of these segments from readings and endings together."""
        return self.readings[rows] + self.endings(habit, rows)


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


def gather(stage: StageInput, conditions: Conditions, visits: Visits) -> Evidence:
    """Evidence of all segments of a stage on the common grid."""
    segments, model, grid = stage.segments, stage.model, pooling.GRID
    count = len(segments)
    kept = thin(stage.seen_segment, stage.seen_day) if len(stage.seen_segment) else stage.seen_segment
    kept = kept[np.argsort(stage.seen_segment[kept], kind="stable")]
    kept_segment = stage.seen_segment[kept]
    shape = (count, model.shapes, len(grid))
    has_lag = segments.lag >= 0
    lag_shape = shape if has_lag.any() else (0, model.shapes, len(grid))
    stands = segments.is_current
    out = Evidence(
        readings=np.zeros(shape, dtype=np.float32),
        lead_delay=np.zeros(shape, dtype=np.float32),
        lag_delay=np.zeros(lag_shape, dtype=np.float32),
        lead_visits=np.zeros(shape, dtype=np.int8),
        lag_visits=np.zeros(lag_shape, dtype=np.int8),
        lead_reason=np.where(stands, -1, np.where(stage.ended_by_cap, words.EARLY, segments.lead_reason)),
        lag_reason=np.where(stands, -1, np.where(stage.ended_by_cap, words.EARLY, segments.lag_reason)),
        gap_days=visits.gap_days[stage.columns.unit[segments.column]],
        has_lag=has_lag,
        kept=kept,
        kept_segment=kept_segment,
        kept_weight=reading_weights(kept_segment, stage.seen_day[kept], count),
    )
    for first in range(0, len(stage.columns), CHUNK):
        rows = np.flatnonzero((segments.column >= first) & (segments.column < first + CHUNK))
        if not len(rows):
            continue
        lead_start, both_start = starting_left(stage, conditions, rows, grid)
        _delays(stage, conditions, visits, rows, lead_start, both_start, out)
        low, high = np.searchsorted(kept_segment, [rows[0], rows[-1] + 1])
        for begin in range(low, high, BLOCK):
            part = slice(begin, min(begin + BLOCK, high))
            segment = kept_segment[part]
            at = segment - rows[0]
            likelihood = reading_log_likelihood(
                stage, conditions, kept[part], segment, lead_start[at], both_start[at], grid
            )
            likelihood *= out.kept_weight[part][:, None, None]
            groups, starts = np.unique(segment, return_index=True)
            out.readings[groups] += np.add.reduceat(likelihood, starts, axis=0)
    return out


def _delays(
    stage: StageInput,
    conditions: Conditions,
    visits: Visits,
    rows: Indexes,
    lead_start: Floats,
    both_start: Floats,
    out: Evidence,
) -> None:
    """Fill in the delays of these segments and the visits in them."""
    segments, grid = stage.segments, pooling.GRID
    unit = stage.columns.unit[segments.column[rows]]
    days = np.maximum(segments.end[rows] - segments.start[rows], 1.0)
    load = conditions.at(stage.stage, unit, segments.end[rows])
    load = load - conditions.at(stage.stage, unit, segments.start[rows])
    rate = np.maximum(load / days, 1e-9)
    capacity = stage.label[rows][:, None, None] * np.exp(grid)
    has_lag = out.has_lag[rows]
    end = segments.end[rows][:, None, None]
    for is_lag in (False, True) if len(out.lag_delay) else (False,):
        # From the start of the segment, not from its end: a spent bed has nothing left to be measured by.
        left, is_lead = (both_start, np.zeros_like(has_lag)) if is_lag else (lead_start, has_lag)
        until = stage.model.until_exhausted(left, stage.limit[rows], is_lead) * capacity
        delay = np.clip((load[:, None, None] - until) / rate[:, None, None], -_NEVER, _NEVER)
        seen = visits.between(unit[:, None, None], end - np.maximum(delay, 0.0), end - 2.0)
        (out.lag_delay if is_lag else out.lead_delay)[rows] = delay
        (out.lag_visits if is_lag else out.lead_visits)[rows] = np.minimum(seen, 100)


def reading_weights(segment: Indexes, day: Floats, count: int) -> Floats:
    """Weight of each reading against its company: those near in time share an error, and all share the curve."""
    together = crowd(segment, day, WINDOW_DAYS)
    alone = 1.0 / (1.0 + WINDOW_SHARE * (together - 1.0))
    effective = np.bincount(segment, alone, minlength=count)
    return alone * np.minimum(1.0, np.sqrt(FULL_WEIGHT_READINGS / np.maximum(effective, 1.0)))[segment]
