"""What a removal, or the lack of one, says about when a cartridge was exhausted.

A cartridge removed as exhausted was exhausted before, but not long before if installers came and left it in place:
whoever stands before a unit mostly changes what is exhausted. Both habits, how late and how attentive, belong to the
company and are learned from its fleet.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy.special import expit

from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.levels import sum_by
from fleet.forecasting.inputs.tables import Bools, Codes, Fleet, Floats, Indexes

MISREPORTED: Final = 1.0 / 30.0
"""Share of cartridges called good that were not; common practice, no source."""

USUALLY_WRONG: Final = 0.1
"""Share of cartridges called exhausted that were not, where no reading shows it; common practice, no source. Some
people write it of every cartridge that they take out."""

USUALLY_WRONG_WEIGHT: Final = 10.0
"""That share counts as much as so many removals with a reading. Common practice, no source."""

ROUGHLY_RIGHT: Final = 0.5
"""Where nobody sees the end without a gauge, half as many again of the exhausted ones are called so as of all, and half
as many of the good ones, until readings show it. Common practice, no source."""

ROUGHLY_RIGHT_WEIGHT: Final = 8.0
"""Either share counts as much as so many removals with a reading. Common practice, no source."""

READ_WEIGHT: Final = 10.0
"""What all removals show of how often the word is written counts as so many more of those with a reading, and of those
without one. Common practice, no source."""

UNSAID_WEIGHT: Final = 0.5
"""Weight of a removal that is not called exhausted: whoever writes nothing, writes nothing time and again, so such
removals say less together than each by itself. No source: settled on seeds 3 to 5 of the strangers' fleets."""

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
class Words:
    """How far a company's word 'exhausted' goes by the state of the cartridge: the share of the exhausted ones and of
    the good ones that are called so at removal, where a reading was taken shortly before; and how often the word is
    written where none was, over how often where one was."""

    exhausted_called: float
    good_called: float
    unread: float = 1.0

    @property
    def is_right(self) -> float:
        """How far the word hangs on the state: 1 when it is always right, 0 when it is written of both alike."""
        return max(self.exhausted_called - self.good_called, 0.0)


@dataclass(frozen=True)
class Habit:
    """Mean days from exhaustion to removal if nobody came by, the chance that a visit changes an exhausted cartridge,
    and the share of those called exhausted that were not; or, where the end is not seen without a gauge, the habit of
    words."""

    lateness_days: float
    notice: float
    wrong: float = USUALLY_WRONG
    words: Words | None = None


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


def learn_words(
    probability_past: Floats, reason: Indexes | Codes, all_reasons: Indexes | Codes, is_read: Bools
) -> Words:
    """How far the word 'exhausted' goes by the state of the cartridge, as last readings show.

    The state is known by its probability alone, so the two shares are found by expectation and maximisation. What is
    assumed of them beforehand is neutral: it lets as many be exhausted as the readings do.

    Parameters
    ----------
    probability_past
        Probability that the cartridge was past its limit, by a reading shortly before its removal; one a removal.
    reason
        Why it left, index into `vocabulary.REMOVAL_REASONS`.
    all_reasons, is_read
        The same of all removals, and which of them had a reading shortly before.
    """
    is_telling = np.isin(all_reasons, TELLING)
    counts = [
        (float((is_telling & where & (all_reasons == words.EXHAUSTED)).sum()), float((is_telling & where).sum()))
        for where in (is_read, ~is_read)
    ]
    usual = (counts[0][0] + counts[1][0] + 1.0) / (counts[0][1] + counts[1][1] + 5.0)
    read, unread = ((called + READ_WEIGHT * usual) / (count + READ_WEIGHT) for called, count in counts)
    with_reading = np.isin(reason, TELLING)
    past, called = probability_past[with_reading], reason[with_reading] == words.EXHAUSTED
    start = min((1.0 + ROUGHLY_RIGHT) * read, 0.95), (1.0 - ROUGHLY_RIGHT) * read
    of_past, of_good = start
    for _ in range(30):
        if_past = past * np.where(called, of_past, 1.0 - of_past)
        if_good = (1.0 - past) * np.where(called, of_good, 1.0 - of_good)
        was_past = if_past / np.maximum(if_past + if_good, 1e-12)
        of_past, of_good = (
            float((share[called].sum() + ROUGHLY_RIGHT_WEIGHT * first) / (share.sum() + ROUGHLY_RIGHT_WEIGHT))
            for share, first in ((was_past, start[0]), (1.0 - was_past, start[1]))
        )
    # A word is never a sign of the opposite.
    return Words(max(of_past, of_good), of_good, min(unread / read, 1.0))


TELLING: Final = (words.EXHAUSTED, words.EARLY, words.ROUTINE, words.UNKNOWN)
"""Reasons of removals at which the word 'exhausted' might have been written."""


def removal_log_likelihood(
    delay_days: Floats,
    visits_since: Floats | Indexes,
    reason: Indexes | Codes,
    gap_days: Floats,
    habit: Habit,
    is_read: Bools | None = None,
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
        cartridge nobody looked, and one that nobody looked at may be exhausted for long. Where words are weighed
        (`Habit.words`), 'routine' and 'unknown' say that the word 'exhausted' was not written: a little.
    gap_days
        Usual gap between visits to the unit, per row.
    habit
        The company's habits.
    is_read
        Which had a reading shortly before the end; None: all. Bears on words alone.
    """
    out = np.zeros(delay_days.shape, dtype=delay_days.dtype)
    if habit.words is not None:
        unsaid = np.flatnonzero((reason == words.ROUTINE) | (reason == words.UNKNOWN))
        called = _called_exhausted(delay_days[unsaid], habit.words, None if is_read is None else is_read[unsaid])
        out[unsaid] = UNSAID_WEIGHT * np.log1p(-called)
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
        density = rate[:, None, None] * np.exp(log_kept)
        if habit.words is None:
            density = (1.0 - habit.wrong) * density + habit.wrong / USUAL_PLACEMENT_DAYS
        else:
            # It went because it was exhausted, or on any day, and was called so by habit.
            by_habit = _called_exhausted(delay, habit.words, None if is_read is None else is_read[exhausted])
            is_right = habit.words.is_right
            density = is_right * density + (1.0 - is_right) * by_habit / USUAL_PLACEMENT_DAYS
        out[exhausted] = np.log(density).astype(kind)
    if len(found_good):
        late = np.exp(-np.maximum(delay_days[found_good], 0.0) / UNNOTICED_DAYS)
        out[found_good] = np.log((1.0 - MISREPORTED) * late + MISREPORTED).astype(kind)
    return out


def _called_exhausted(delay_days: Floats, habit: Words, is_read: Bools | None) -> Floats:
    """Probability that cartridges which leave so many days after their exhaustion are called exhausted, by habit."""
    past = expit(2.0 * delay_days.astype(np.float32) / ROUNDING_DAYS)
    called = habit.good_called + (habit.exhausted_called - habit.good_called) * past
    if is_read is None:
        return np.asarray(called)
    return np.asarray(called * np.where(is_read, 1.0, habit.unread).astype(np.float32)[:, None, None])
