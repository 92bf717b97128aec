"""What every segment, past and present, says about the capacity of its cartridges: readings, and how it ended."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.levels import crowd
from fleet.forecasting.inputs.matching import match
from fleet.forecasting.inputs.tables import Bools, Floats, Indexes
from fleet.forecasting.wear import pooling
from fleet.forecasting.wear.conditions import Conditions
from fleet.forecasting.wear.habits import Habit, Visits, removal_log_likelihood
from fleet.forecasting.wear.stages import StageInput, reading_log_likelihood

MOST_READINGS: Final = 30
"""Readings of one segment that are looked at: the newest half of them, the rest spread over its time."""

WINDOW_DAYS: Final = 20.0
WINDOW_SHARE: Final = 0.35
"""Readings of one window share part of their error (curve, load, meter): the second one adds little."""

FULL_WEIGHT_READINGS: Final = 10.0
"""Readings of one cartridge err together, so beyond this number their weight grows only as a root."""

CHUNK: Final = 1500
"""Columns that are worked on at once; bounds the memory."""

BLOCK: Final = 4000
_NEVER: Final = 60_000.0
"""Longest delay that is told apart, days: what half precision can hold."""


@dataclass(frozen=True)
class Evidence:
    """Log-likelihoods on the common grid of g, shape (segments, shapes, grid), and what is needed to see them anew.

    `kept_readings` are the rows of `stage.readings` that count, in order of segment; `kept_segment` and `kept_weight`
    are theirs.
    `lead_start`, `both_start` hold, for each segment that stands, what was left at its start, by shape and g.
    `lead_delay`, `lag_delay` are days from exhaustion to the end of the segment (negative: not yet), and the visits in
    between; the reasons are those of removal, -1 for what still stands. `is_read_at_end` marks segments with a reading
    shortly before their end.
    """

    readings: Floats
    lead_delay: Floats
    lag_delay: Floats
    lead_visits: Floats
    lag_visits: Floats
    lead_reason: Indexes
    lag_reason: Indexes
    gap_days: Floats
    is_read_at_end: Bools
    has_lag: np.ndarray
    kept_readings: Indexes
    kept_segment: Indexes
    kept_weight: Floats
    lead_start: dict[int, Floats]
    both_start: dict[int, Floats]

    def endings(self, habit: Habit, rows: Indexes) -> Floats:
        """Log-likelihood of how these segments ended, for first and second bed."""
        out = removal_log_likelihood(
            self.lead_delay[rows].astype(np.float64),
            self.lead_visits[rows],
            self.lead_reason[rows],
            self.gap_days[rows],
            habit,
            self.is_read_at_end[rows],
        )
        paired = np.flatnonzero(self.has_lag[rows])
        if len(paired):
            paired_rows = rows[paired]
            out[paired] += removal_log_likelihood(
                self.lag_delay[paired_rows].astype(np.float64),
                self.lag_visits[paired_rows],
                self.lag_reason[paired_rows],
                self.gap_days[paired_rows],
                habit,
                self.is_read_at_end[paired_rows],
            )
        return out

    def lives(self, habit: Habit, rows: Indexes) -> Floats:
        """Log-likelihood of these segments from readings and endings together."""
        return self.readings[rows] + self.endings(habit, rows)


def thin(segment: Indexes, day: Floats, most: int = MOST_READINGS) -> Indexes:
    """Rows to keep so that no segment has more than `most` readings: the newest half, and a spread of the others."""
    order = np.lexsort((day, segment))
    sorted_segment = segment[order]
    size = np.bincount(segment)
    first = np.concatenate([[0], np.cumsum(size)[:-1]])
    rank_from_end = size[sorted_segment] - 1 - (np.arange(len(order)) - first[sorted_segment])
    half = most // 2
    stride = np.maximum(np.ceil((size[sorted_segment] - half) / half), 1).astype(np.int64)
    return order[np.maximum(rank_from_end - half, 0) % stride == 0]


def gather(stage: StageInput, conditions: Conditions, visits: Visits, hyper: pooling.Hyper) -> Evidence:
    """Evidence of all segments of a stage on the common grid.

    Segments are walked through in order of time, because a rotated cartridge brings what it took up as a lag, and that
    depends on the capacity of the lead before it: another cartridge, whose own evidence says what it was.

    Parameters
    ----------
    hyper
        The fleet's parameters as far as they are known, to weigh the evidence of each lead.
    """
    segments, model, grid = stage.segments, stage.model, pooling.GRID
    count = len(segments)
    kept_readings = thin(stage.reading_segment, stage.reading_day)
    by_segment = kept_readings[np.argsort(stage.reading_segment[kept_readings], kind="stable")]
    kept_segment = stage.reading_segment[by_segment]
    shape = (count, model.shapes, len(grid))
    has_lag = segments.lag >= 0
    lag_shape = shape if has_lag.any() else (0, model.shapes, len(grid))
    stands = segments.is_current
    shared = model.shared_error(stage.readings.take(by_segment))
    # Changed at its greatest age: it would have gone whatever its state, like one that was rotated.
    by_age = stage.ended_by_age & (segments.lead_reason != words.EARLY)
    out = Evidence(
        readings=np.zeros(shape, dtype=np.float32),
        lead_delay=np.zeros(shape, dtype=np.float16),
        lag_delay=np.zeros(lag_shape, dtype=np.float16),
        lead_visits=np.zeros(shape, dtype=np.int8),
        lag_visits=np.zeros(lag_shape, dtype=np.int8),
        lead_reason=np.where(stands, -1, np.where(by_age, words.ROTATED, segments.lead_reason)),
        lag_reason=np.where(stands, -1, np.where(by_age, words.ROTATED, segments.lag_reason)),
        gap_days=visits.gap_days[stage.columns.unit[segments.column]],
        is_read_at_end=stage.is_read_at_end,
        has_lag=has_lag,
        kept_readings=by_segment,
        kept_segment=kept_segment,
        kept_weight=reading_weights(kept_segment, stage.reading_day[by_segment], *shared, count),
        lead_start={},
        both_start={},
    )
    for first in range(0, len(stage.columns), CHUNK):
        rows = np.flatnonzero((segments.column >= first) & (segments.column < first + CHUNK))
        if len(rows):
            _Walk(stage, conditions, visits, hyper, out, rows, first).run()
    return out


class _Walk:
    """Walks a chunk of columns through its segments, rank by rank."""

    def __init__(
        self,
        stage: StageInput,
        conditions: Conditions,
        visits: Visits,
        hyper: pooling.Hyper,
        out: Evidence,
        rows: Indexes,
        first: int,
    ) -> None:
        self.stage, self.conditions, self.visits, self.hyper, self.out, self.rows = (
            stage, conditions, visits, hyper, out, rows,
        )  # fmt: skip
        self.first = first
        segments, model = stage.segments, stage.model
        placements = np.unique(np.concatenate([segments.lead[rows], segments.lag[rows]]))
        self.placements = placements[placements >= 0]
        cells = (model.shapes, len(pooling.GRID))
        self.remaining = np.ones((len(self.placements), *cells), dtype=np.float32)
        """What is left of a cartridge that has been a lead, by its own g."""
        self.was_lead = np.zeros(len(self.placements), dtype=bool)
        self.load_as_lag = np.zeros((len(self.placements), model.shapes))
        """Load that a cartridge took up as a lag."""
        self.met = np.zeros(len(self.placements), dtype=bool)
        expected = hyper.expected(stage.places.take(slice(first, first + CHUNK)))
        # Log-density of the place's part, updated as its lives go by.
        self.place = np.log(pooling.place_density(*expected) + 1e-14)[:, None, :].repeat(model.shapes, axis=1)
        self.mix = pooling.kernel(hyper.cartridge_spread)
        self.any_lag = bool(out.has_lag[rows].any())

    def local(self, placement: Indexes) -> Indexes:
        return np.clip(np.searchsorted(self.placements, placement), 0, len(self.placements) - 1)

    def begin(self, placement: Indexes, label: Floats) -> Floats:
        """Capacity left of cartridges at the start of a segment, as a share of `label` times e^g, by shape and g."""
        here = self.local(placement)
        source = self.stage.segments.continued_from[placement]
        move = ~self.met[here] & np.isin(source, self.placements)
        origin = self.local(source[move])
        self.remaining[here[move]] = self.remaining[origin]
        self.was_lead[here[move]] = self.was_lead[origin]
        self.load_as_lag[here[move]] = self.load_as_lag[origin]
        self.met[here] = True
        share = (self.load_as_lag[here] / label[:, None])[:, :, None] * np.exp(-pooling.GRID)
        fresh = np.maximum(1.0 - share, 1e-6).astype(np.float32)
        return np.where(self.was_lead[here][:, None, None], self.remaining[here], fresh)

    def run(self) -> None:
        stage, out = self.stage, self.out
        segments, model = stage.segments, stage.model
        rank = segments.rank[self.rows]
        for step in np.unique(rank):
            now = self.rows[rank == step]
            paired = out.has_lag[now]
            label = stage.label[now]
            lead_start = self.begin(segments.lead[now], label)
            both_start = lead_start.copy()
            if paired.any():
                two = now[paired]
                ratio = stage.lag_ratio[two][:, None, None].astype(np.float32)
                both_start[paired] += ratio * self.begin(segments.lag[two], stage.label[two] * stage.lag_ratio[two])
            self.read(now, lead_start, both_start)
            load = self.delays(now, lead_start, both_start)
            for row, segment in enumerate(now):
                if segments.is_current[segment]:
                    out.lead_start[int(segment)] = lead_start[row]
                    out.both_start[int(segment)] = both_start[row]
            going = ~segments.is_current[now]
            if not going.any():
                continue
            now, lead_start, both_start, load = now[going], lead_start[going], both_start[going], load[going]
            paired = paired[going]
            throughput = ((load / stage.label[now])[:, None, None] * np.exp(-pooling.GRID)).astype(np.float32)
            lead_end = model.remaining_after(lead_start, throughput)
            here = self.local(segments.lead[now])
            self.remaining[here], self.was_lead[here] = lead_end, True
            if self.any_lag:
                self.teach(now, lead_start, both_start, lead_end, throughput, paired)

    def read(self, now: Indexes, lead_start: Floats, both_start: Floats) -> None:
        """Readings of these segments."""
        out = self.out
        lead, both = self.stage.model.state(lead_start), self.stage.model.state(both_start)
        owner, reading_rows = match(out.kept_segment, now)
        for block in range(0, len(owner), BLOCK):
            own, index = owner[block : block + BLOCK], reading_rows[block : block + BLOCK]
            likelihood = reading_log_likelihood(
                self.stage, self.conditions, out.kept_readings[index], now[own], lead[own], both[own], pooling.GRID
            )
            likelihood *= out.kept_weight[index][:, None, None].astype(np.float32)
            groups, starts = np.unique(own, return_index=True)
            out.readings[now[groups]] += np.add.reduceat(likelihood, starts, axis=0)

    def delays(self, now: Indexes, lead_start: Floats, both_start: Floats) -> Floats:
        """Delays of these segments and the visits in them; returns the load that passed."""
        stage, out, conditions = self.stage, self.out, self.conditions
        segments = stage.segments
        unit = stage.columns.unit[segments.column[now]]
        days = np.maximum(segments.end[now] - segments.start[now], 1e-9)
        load = conditions.at(stage.stage, unit, segments.end[now])
        load = np.maximum(load - conditions.at(stage.stage, unit, segments.start[now]), 0.0)
        rate = np.maximum(load / days, 1e-9)
        capacity = stage.label[now][:, None, None] * np.exp(pooling.GRID)
        has_lag = out.has_lag[now]
        end = segments.end[now][:, None, None]
        for is_lag in (False, True) if self.any_lag else (False,):
            # From the start of the segment, not from its end: an exhausted bed has nothing left to be measured by.
            remaining, is_lead = (both_start, np.zeros_like(has_lag)) if is_lag else (lead_start, has_lag)
            limit = np.where(is_lead, stage.lead_limit[now], stage.limit[now])
            until = stage.model.until_exhausted(remaining, limit) * capacity
            delay = np.clip((load[:, None, None] - until) / rate[:, None, None], -_NEVER, _NEVER)
            visits_between = self.visits.between(unit[:, None, None], end - np.maximum(delay, 0.0), end - 2.0)
            (out.lag_delay if is_lag else out.lead_delay)[now] = delay
            (out.lag_visits if is_lag else out.lead_visits)[now] = np.minimum(visits_between, np.iinfo(np.int8).max)
        return load

    def teach(
        self,
        now: Indexes,
        lead_start: Floats,
        both_start: Floats,
        lead_end: Floats,
        throughput: Floats,
        paired: np.ndarray,
    ) -> None:
        """What the lag took up, by the lead's own evidence; and what the life says of the place."""
        stage, segments = self.stage, self.stage.segments
        lives = self.out.lives(self.hyper.habit, now)
        column = segments.column[now] - self.first
        if paired.any():
            two = now[paired]
            place = self.place[column[paired]]
            density = np.exp(place - place.max(axis=2, keepdims=True)) @ self.mix
            own = np.log(density + 1e-14) + lives[paired]
            weight = np.exp(own - own.max(axis=2, keepdims=True))
            weight /= weight.sum(axis=2, keepdims=True)
            both_end = stage.model.remaining_after(both_start[paired], throughput[paired])
            lag_taken = (both_start[paired] - both_end) - (lead_start[paired] - lead_end[paired])
            capacity = stage.label[two][:, None, None] * np.exp(pooling.GRID)
            self.load_as_lag[self.local(segments.lag[two])] += np.sum(
                weight * np.maximum(lag_taken, 0.0) * capacity, axis=2
            )
        self.place[column] += pooling.spread_lives(lives, self.mix)


def reading_weights(segment: Indexes, day: Floats, shared: Floats, level: Floats, count: int) -> Floats:
    """Weight of each reading against its company: those near in time share an error, all share the curve and the
    meter.

    Parameters
    ----------
    segment, day
        Of every reading.
    shared
        Square of the error that the readings of a meter share over that of each alone: n readings then say no more than
        (1 + shared) n / (1 + shared n) of them.
    level
        At what level each was read; those of one level in one segment share that error.
    count
        Number of segments.
    """
    together = crowd(segment, day, WINDOW_DAYS)
    alone = 1.0 / (1.0 + WINDOW_SHARE * (together - 1.0))
    effective = np.bincount(segment, alone, minlength=count)
    weight = alone * np.sqrt(FULL_WEIGHT_READINGS / np.maximum(effective, FULL_WEIGHT_READINGS))[segment]
    _, group = np.unique(np.stack([segment, level]), axis=1, return_inverse=True)
    company = np.bincount(group, weight)[group] if len(group) else weight
    return weight * (1.0 + shared) / (1.0 + shared * np.maximum(company, 1.0))
