"""Positions as columns, and their past as segments between two changes.

One or two positions of a stage in a row are one column: what leaves the first enters the second. A segment is a
stretch of time in which the same cartridges stood in a column. A rotated cartridge is the same cartridge in another
position.
"""

from dataclasses import dataclass

import numpy as np

from fleet.engineering.usual import SAME_VISIT_DAYS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.tables import Bools, Codes, Fleet, Floats, Indexes


@dataclass(frozen=True)
class Columns:
    """Columns of one stage: unit, first and second position (-1 when single), number of cartridges of the stage
    there."""

    stage: int
    unit: Indexes
    lead_position: Indexes
    lag_position: Indexes
    in_series: Indexes

    def __len__(self) -> int:
        return len(self.unit)


@dataclass(frozen=True)
class Segments:
    """Stretches of time between two changes in a column, in order of column and time.

    `lead`, `lag` are placements (-1: none); `lead_reason`, `lag_reason` say why each left at the end of the segment,
    0 when it stayed; `is_current` marks the one that lasts until the forecast's day; `continued_from` is the source
    of each placement, with links that the records left out filled in.
    """

    column: Indexes
    rank: Indexes
    start: Floats
    end: Floats
    lead: Indexes
    lag: Indexes
    lead_reason: Codes
    lag_reason: Codes
    is_current: Bools
    continued_from: Indexes

    def __len__(self) -> int:
        return len(self.column)


def build_columns(fleet: Fleet, stage: int) -> Columns:
    """Columns of one stage; sediment filters stand for themselves, carbon and resin in pairs in order of the train."""
    positions = fleet.positions
    rows = np.flatnonzero(positions.stage == stage)
    order = rows[np.lexsort((rows, positions.role[rows], positions.order[rows], positions.unit_index[rows]))]
    unit = positions.unit_index[order]
    in_series = np.bincount(unit, minlength=len(fleet.units))
    if stage in (words.SEDIMENT, words.MEMBRANE):
        single = np.full(len(order), -1, dtype=np.int64)
        return Columns(stage, unit, order, single, in_series[unit])
    first = np.ones(len(order), dtype=bool)
    first[1:] = unit[1:] != unit[:-1]
    start = np.maximum.accumulate(np.where(first, np.arange(len(order)), 0))
    within = np.arange(len(order)) - start
    lead_rows = np.flatnonzero(within % 2 == 0)
    follows = np.minimum(lead_rows + 1, max(len(order) - 1, 0))
    paired = (lead_rows + 1 < len(order)) & (unit[follows] == unit[lead_rows]) if len(order) else lead_rows > 0
    lag = np.where(paired, order[follows], -1) if len(order) else lead_rows
    return Columns(stage, unit[lead_rows], order[lead_rows], lag, in_series[unit[lead_rows]])


def build_segments(fleet: Fleet, columns: Columns) -> Segments:
    """Segments of every column until the forecast's day; stretches without a first cartridge are left out."""
    placements = fleet.placements
    column_of = np.full(len(fleet.positions), -1, dtype=np.int64)
    column_of[columns.lead_position] = np.arange(len(columns))
    paired = columns.lag_position >= 0
    column_of[columns.lag_position[paired]] = np.flatnonzero(paired)
    placement_rows = np.flatnonzero(
        (column_of[placements.position_index] >= 0) & (placements.placed_day <= fleet.as_of_day)
    )
    own_column = column_of[placements.position_index[placement_rows]]
    is_removed = placements.removed_day[placement_rows] <= fleet.as_of_day
    event_column = np.concatenate([own_column, own_column[is_removed]])
    event_day = np.concatenate(
        [placements.placed_day[placement_rows], placements.removed_day[placement_rows][is_removed]]
    )
    order = np.lexsort((event_day, event_column))
    event_column, event_day = event_column[order], event_day[order]
    keep = np.ones(len(order), dtype=bool)
    keep[1:] = (event_column[1:] != event_column[:-1]) | (event_day[1:] - event_day[:-1] > SAME_VISIT_DAYS)
    column, start = event_column[keep], event_day[keep]
    last = np.ones(len(column), dtype=bool)
    last[:-1] = column[1:] != column[:-1]
    end = np.full(len(column), fleet.as_of_day)
    end[:-1] = np.where(last[:-1], fleet.as_of_day, start[1:])
    middle = 0.5 * (start + end)
    lead = _occupant(fleet, columns.lead_position[column], middle)
    lag = _occupant(fleet, columns.lag_position[column], middle)
    lead_reason, lag_reason = _reason(fleet, lead, end, last), _reason(fleet, lag, end, last)
    continued = placements.continued_from.copy()
    follows = np.zeros(len(column), dtype=bool)
    follows[1:] = column[1:] == column[:-1]
    if len(column):
        # A cartridge older than its placing, or a lag that was rotated, tells of a link that the records left out.
        older = placements.first_installed_day[lead] < placements.placed_day[lead] - 1.0
        rotated = (np.roll(lag_reason, 1) == words.ROTATED) | (older & (np.roll(lag_reason, 1) != 0))
        new = follows & (lead >= 0) & (lead != np.roll(lead, 1)) & (np.roll(lag, 1) >= 0)
        rows = np.flatnonzero(new & rotated & (continued[lead] < 0))
        continued[lead[rows]] = lag[rows - 1]
    # A lag without a lead is the first bed of its column.
    alone = (lead < 0) & (lag >= 0)
    lead, lag = np.where(alone, lag, lead), np.where(alone, -1, lag)
    lead_reason = np.where(alone, lag_reason, lead_reason).astype(np.int8)
    lag_reason = np.where(alone, 0, lag_reason).astype(np.int8)
    ok = lead >= 0
    column, start, end, lead, lag, last = column[ok], start[ok], end[ok], lead[ok], lag[ok], last[ok]
    first = np.ones(len(column), dtype=bool)
    first[1:] = column[1:] != column[:-1]
    begin = np.maximum.accumulate(np.where(first, np.arange(len(column)), 0)) if len(column) else column
    return Segments(
        column=column,
        rank=np.arange(len(column)) - begin,
        start=start,
        end=end,
        lead=lead,
        lag=lag,
        lead_reason=lead_reason[ok],
        lag_reason=lag_reason[ok],
        is_current=last,
        continued_from=continued,
    )


def _occupant(fleet: Fleet, position: Indexes, day: Floats) -> Indexes:
    """Placement that stands in a position on a day, -1 when none (or when there is no such position)."""
    placements = fleet.placements
    out = np.full(len(position), -1, dtype=np.int64)
    if not len(placements) or not len(position):
        return out
    order = np.lexsort((placements.placed_day, placements.position_index))
    span = 1e6
    key = placements.position_index[order] * span + placements.placed_day[order] - _EPOCH
    insertion = np.searchsorted(key, position * span + day - _EPOCH, side="right") - 1
    candidate = order[np.maximum(insertion, 0)]
    ok = (insertion >= 0) & (position >= 0) & (placements.position_index[candidate] == position)
    ok &= ~(placements.removed_day[candidate] <= day)
    out[ok] = candidate[ok]
    return out


_EPOCH = -200_000.0


def _reason(fleet: Fleet, placement: Indexes, end: Floats, is_last: Bools) -> Codes:
    """Reason for which a placement left at the end of a segment, 0 when it did not leave there."""
    if not len(fleet.placements):
        return np.zeros(len(placement), dtype=np.int8)
    removed = fleet.placements.removed_day[placement]
    leaves = (placement >= 0) & (np.abs(removed - end) <= SAME_VISIT_DAYS) & (removed <= fleet.as_of_day)
    del is_last
    return np.where(leaves, fleet.placements.reason[placement], 0).astype(np.int8)


def segment_of(keys: Floats, segments: Segments, column: Indexes, day: Floats) -> Indexes:
    """Segment of a column that holds a day, -1 when none.

    `keys` come from `segment_keys`.
    """
    segment = np.searchsorted(keys, column * 1e6 + day - _EPOCH, side="right") - 1
    segment = np.maximum(segment, 0)
    if not len(segments):
        return np.full(len(column), -1, dtype=np.int64)
    ok = (segments.column[segment] == column) & (day >= segments.start[segment]) & (day <= segments.end[segment])
    return np.where(ok, segment, -1)


def segment_keys(segments: Segments) -> Floats:
    """Sort keys of the segments for `segment_of`."""
    return segments.column * 1e6 + segments.start - _EPOCH


def locate_readings(segments: Segments, column: Indexes, day: Floats, occasion: Codes) -> Indexes:
    """Segment of every reading of a column, -1 when none.

    A reading bears on the cartridges of its :func:`day_borne_on`, and one that :func:`might_show_either` on none.
    """
    keys = segment_keys(segments)
    shifted = day_borne_on(day, occasion)
    segment = segment_of(keys, segments, column, np.minimum(shifted, np.max(segments.end, initial=-np.inf)))
    if not len(segments):
        return segment
    # A reading as left on the last day has no other place to go.
    segment = np.where((segment < 0) & (shifted > day), segment_of(keys, segments, column, day), segment)
    at = np.maximum(segment, 0)
    of_either = (might_show_either(day - segments.start[at], occasion) & (segments.rank[at] > 0)) | (
        might_show_either(segments.end[at] - day, occasion) & ~segments.is_current[at]
    )
    return np.where(of_either, -1, segment)


def day_borne_on(day: Floats, occasion: Codes) -> Floats:
    """The day whose cartridges a reading shows: before the work of its visit as found, after it as left.

    Dates are often no finer than a day, so either is told from work within `SAME_VISIT_DAYS` of it.
    """
    as_found, as_left = (occasion == words.OCCASIONS.index(name) for name in ("as_found", "as_left"))
    return day + np.select([as_found, as_left], [-SAME_VISIT_DAYS, SAME_VISIT_DAYS], 0.0)


def might_show_either(days_from_change: Floats, occasion: Codes) -> Bools:
    """Whether a reading so many days from a change, on either side, might show the cartridge before or after it.

    One as found or as left says which of the two it is.
    """
    says_which = np.isin(occasion, [words.OCCASIONS.index(name) for name in ("as_found", "as_left")])
    return (np.abs(days_from_change) < SAME_VISIT_DAYS) & ~says_which
