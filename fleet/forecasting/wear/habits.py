"""What a removal, or the lack of one, says about when a cartridge was exhausted.

A cartridge removed as exhausted was exhausted before, but not long before if installers came and left it in place:
whoever stands before a unit mostly changes what is exhausted. Both habits, how late and how attentive, belong to the
company and are learned from its fleet.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.levels import sum_by
from fleet.forecasting.inputs.tables import Codes, Fleet, Floats, Indexes

MISREPORTED: Final = 1.0 / 30.0
"""Share of cartridges called good that were not; common practice, no source."""

USUALLY_WRONG: Final = 0.1
"""Share of cartridges called exhausted that were not, where no reading shows it; common practice, no source. Some
people write it of every cartridge that they take out."""

USUALLY_WRONG_WEIGHT: Final = 10.0
"""That share counts as much as so many removals with a reading. Common practice, no source."""

LAST_READING_DAYS: Final = 30.0
"""A reading taken so long before a removal shows how the cartridge was when it left. Common practice, no source."""

USUAL_PLACEMENT_DAYS: Final = 300.0
"""A cartridge that is wrongly called exhausted left on any day of a stay of about this length. Common practice,
no source."""

ROUNDING_DAYS: Final = 7.0
"""People call a cartridge exhausted that has a few days left."""

UNNOTICED_DAYS: Final = 10.0
"""A cartridge removed for another reason may have been exhausted for a few days."""

USUAL_VISIT_GAP_DAYS: Final = 100.0
REGULARITY: Final = 2.5
"""Visits come at rather regular gaps: when one is due, its chance per day is so many times one over the gap."""


@dataclass(frozen=True)
class Habit:
    """Mean days from exhaustion to removal if nobody came by, the chance that a visit changes an exhausted cartridge,
    and the share of those called exhausted that were not."""

    lateness_days: float
    notice: float
    wrong: float = USUALLY_WRONG


@dataclass(frozen=True)
class Visits:
    """Days on which an installer stood before each unit, in one array sorted by unit and day, and their usual gap."""

    key: Floats
    gap_days: Floats

    def between(self, unit: Indexes, after: Floats, before: Floats) -> Indexes:
        """Number of visits to a unit after one day and before another; arrays broadcast."""
        base = unit.astype(np.float64) * _SPAN
        high = np.searchsorted(self.key, base + np.clip(before, _FIRST, _LAST) - _FIRST, side="left")
        low = np.searchsorted(self.key, base + np.clip(after, _FIRST, _LAST) - _FIRST, side="right")
        return np.maximum(high - low, 0)

    def last_before(self, unit: Indexes, day: Floats) -> Floats:
        """Day of the last visit to a unit before a day, minus infinity when there was none."""
        if not len(self.key):
            return np.full(len(unit), -np.inf)
        base = unit.astype(np.float64) * _SPAN
        insertion = np.searchsorted(self.key, base + np.clip(day, _FIRST, _LAST) - _FIRST, side="left") - 1
        key = self.key[np.maximum(insertion, 0)]
        return np.where((insertion >= 0) & (key >= base), key - base + _FIRST, -np.inf)


_FIRST, _LAST, _SPAN = -50_000.0, 150_000.0, 1_000_000.0


def find_visits(fleet: Fleet) -> Visits:
    """Visits from installers' readings and from changes of cartridges; what lies within a day counts once."""
    readings, placements = fleet.readings, fleet.placements
    read = (readings.source == words.SOURCES.index("installer")) & (readings.day <= fleet.as_of_day)
    owner = fleet.positions.unit_index[placements.position_index]
    is_removed = placements.removed_day <= fleet.as_of_day
    placed = placements.placed_day <= fleet.as_of_day
    unit = np.concatenate([readings.unit_index[read], owner[placed], owner[is_removed]])
    day = np.concatenate([readings.day[read], placements.placed_day[placed], placements.removed_day[is_removed]])
    key = np.sort(unit * _SPAN + np.clip(day, _FIRST, _LAST) - _FIRST)
    keep = np.ones(len(key), dtype=bool)
    keep[1:] = np.diff(key) > 1.0
    key = key[keep]
    count = len(fleet.units)
    of_unit = np.floor(key / _SPAN).astype(np.int64)
    number = np.bincount(of_unit, minlength=count)
    within = np.diff(key)[of_unit[1:] == of_unit[:-1]]
    total = sum_by(of_unit[1:][of_unit[1:] == of_unit[:-1]], within, count)
    # The usual gap counts as two more gaps of a unit.
    gap = (total + 2.0 * USUAL_VISIT_GAP_DAYS) / (np.maximum(number - 1, 0) + 2.0)
    return Visits(key, np.clip(gap, 10.0, 500.0))


def share_wrongly_exhausted(probability_past: Floats, reason: Indexes | Codes) -> float:
    """Share of cartridges called exhausted that were not, as their last readings show.

    Parameters
    ----------
    probability_past
        Probability that the cartridge was past its limit, by a reading shortly before its removal; one a removal.
    reason
        Why it left, index into `vocabulary.REMOVAL_REASONS`.
    """
    called = probability_past[reason == words.EXHAUSTED]
    wrong = float((1.0 - called).sum())
    return (wrong + USUALLY_WRONG * USUALLY_WRONG_WEIGHT) / (len(called) + USUALLY_WRONG_WEIGHT)


def removal_log_likelihood(
    delay_days: Floats, visits_since: Floats | Indexes, reason: Indexes | Codes, gap_days: Floats, habit: Habit
) -> Floats:
    """Log-likelihood of how a cartridge's time in a position ended.

    Parameters
    ----------
    delay_days
        Days from exhaustion to the end of the segment (negative: not exhausted by then), shape (rows, shapes, grid).
    visits_since
        Visits between exhaustion and the end, the last one not counted; same shape.
    reason
        Why the cartridge left at the end, index into `vocabulary.REMOVAL_REASONS`; -1 when it is still installed on the
        forecast's day, 0 when it stayed for another segment. Only 'exhausted' and 'early' say anything: of every other
        cartridge nobody looked, and one that nobody looked at may be exhausted for long.
    gap_days
        Usual gap between visits to the unit, per row.
    habit
        The company's habits.
    """
    out = np.zeros(delay_days.shape, dtype=delay_days.dtype)
    pace = -1.0 / habit.lateness_days
    passing = np.log1p(-habit.notice)
    exhausted = np.flatnonzero(reason == words.EXHAUSTED)
    found_good = np.flatnonzero(reason == words.EARLY)
    kind = delay_days.dtype
    if len(exhausted):
        delay = delay_days[exhausted]
        rate = habit.notice * REGULARITY / gap_days[exhausted] + 1.0 / habit.lateness_days
        log_kept = (
            pace * np.maximum(delay, 0.0) + np.minimum(delay, 0.0) / ROUNDING_DAYS + passing * visits_since[exhausted]
        )
        density = (1.0 - habit.wrong) * rate[:, None, None] * np.exp(log_kept)
        out[exhausted] = np.log(density + habit.wrong / USUAL_PLACEMENT_DAYS).astype(kind)
    if len(found_good):
        late = np.exp(-np.maximum(delay_days[found_good], 0.0) / UNNOTICED_DAYS)
        out[found_good] = np.log((1.0 - MISREPORTED) * late + MISREPORTED).astype(kind)
    return out
