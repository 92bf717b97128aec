"""Sudden lasting steps of a trend: a seal that leaks, a membrane that dried, a leak that was repaired.

One odd reading is an error; readings that agree with each other and stay where they are tell of a new level. A step is
looked for in the running median of three, which a single odd reading cannot move, and counts where it is sudden and too
large for the noise beside a straight line. What stays behind is a trend without steps, and how large each step was.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.forecasting.inputs.levels import sum_by
from fleet.forecasting.inputs.tables import Bools, Floats, Indexes
from fleet.forecasting.wear.trends import TrendInput

MOST_STEPS: Final = 2
"""Steps that are sought in one life. More would follow every wave of the readings; common practice, no source."""

SURE: Final = 4.0
"""Standard errors that a step must have; there are some twenty places in a life where noise could look like one."""

SUDDEN_SHARE: Final = 0.5
"""Share of a step that lies between two readings that follow each other; the rest is noise or slope."""

WITNESSES: Final = 3.0
"""Readings of one side that count at most: what a side has in common (a gauge, a season) no number of readings takes
away. Common practice, no source."""


@dataclass(frozen=True)
class Steps:
    """Steps of every segment in order of time, shape (segments, `MOST_STEPS`); infinite use where there is none.

    `use` is that of the first reading after a step, `size` how much the value rose there, `doubt` the standard error of
    the last level of each segment, shape (segments,), 0 without a step.
    """

    use: Floats
    size: Floats
    doubt: Floats

    def first_crossing(self, until: Floats, number: int, before: Floats, unit: float) -> Floats:
        """Use at which a limit is reached for good, with one more step than was heard of before.

        Parameters
        ----------
        until
            Use at which the line after step `number` reaches the limit, shape (segments, ...).
        number
            Which step, 0 upwards.
        before
            The same for all earlier lines. A level within the limit after a step outweighs what was before it; one
            past the limit counts from the step on, or from when an earlier line had reached it.
        unit
            What one of `use` is in the unit of `until` and `before`.
        """
        at = unit * self.use[:, number].reshape(-1, *[1] * (until.ndim - 1))
        reached = np.where(until > at, until, np.minimum(at, before))
        return np.where(np.isfinite(at), reached, before)


def find_steps(data: TrendInput) -> Steps:
    """Steps of every segment, whatever the order of its readings."""
    count = len(data.centre)
    use, size = np.full((count, MOST_STEPS), np.inf), np.zeros((count, MOST_STEPS))
    doubt = np.zeros(count)
    ok = np.flatnonzero(np.isfinite(data.value) & np.isfinite(data.noise))
    if not len(ok):
        return Steps(use, size, doubt)
    ok = ok[np.lexsort((data.day[ok], data.segment[ok]))]
    rows = replace(data, **{name: getattr(data, name)[ok] for name in ("segment", "day", "value", "noise", "use", "z")})
    noise = rows.noise * _noise_scale(rows)[rows.segment]
    value = rows.value.copy()
    for number in range(MOST_STEPS):
        row, step, error = _largest_step(rows, value, noise)
        if not len(row):
            break
        at = rows.segment[row]
        use[at, number], size[at, number] = rows.use[row], step
        doubt[at] = np.hypot(doubt[at], error)
        own = np.full(count, len(value))
        own[at] = row
        by_segment = np.zeros(count)
        by_segment[at] = step
        value -= np.where(np.arange(len(value)) >= own[rows.segment], by_segment[rows.segment], 0.0)
    order = np.argsort(use, axis=1, kind="stable")
    return Steps(np.take_along_axis(use, order, axis=1), np.take_along_axis(size, order, axis=1), doubt)


def without_steps(data: TrendInput, steps: Steps) -> TrendInput:
    """The same readings as if every step had not been."""
    after = data.use[:, None] >= steps.use[data.segment]
    return replace(data, value=data.value - np.where(after, steps.size[data.segment], 0.0).sum(axis=1))


def _largest_step(rows: TrendInput, value: Floats, noise: Floats) -> tuple[Indexes, Floats, Floats]:
    """First row after the largest sure step of every segment that has one, its size and its standard error."""
    segment, count = rows.segment, len(rows.centre)
    smooth = _running_median(segment, value) - rows.centre[segment]
    weight = 1.0 / noise**2
    x = rows.sign * rows.use
    # The line beside the step: intercept and slope, with priors wide enough for any membrane.
    slope_spread = 1.5 * rows.usual_slope
    off = smooth - rows.usual_slope * x
    a00 = sum_by(segment, weight, count) + 1.0 / rows.width**2
    a01, a11 = sum_by(segment, weight * x, count), sum_by(segment, weight * x * x, count) + 1.0 / slope_spread**2
    b0, b1 = sum_by(segment, weight * off, count), sum_by(segment, weight * x * off, count)
    determinant = a00 * a11 - a01**2
    number_after, number = _from_here_on(segment, np.ones(len(off)), count), np.bincount(segment, minlength=count)
    s0, s1 = _from_here_on(segment, weight, count), _from_here_on(segment, weight * x, count)
    y = _from_here_on(segment, weight * off, count)
    inverse = tuple((part / determinant)[segment] for part in (a11, -a01, a00))
    of_step0, of_step1 = inverse[0] * s0 + inverse[1] * s1, inverse[1] * s0 + inverse[2] * s1
    information = np.maximum(s0 - s0 * of_step0 - s1 * of_step1, 1e-12)
    step = (y - of_step0 * b0[segment] - of_step1 * b1[segment]) / information
    number_before = number[segment] - number_after
    few = np.minimum(number_before, WITNESSES), np.minimum(number_after, WITNESSES)
    error = noise * np.sqrt(1.0 / np.maximum(few[0], 1.0) + 1.0 / np.maximum(few[1], 1.0))
    error = np.maximum(error, 1.0 / np.sqrt(information))
    sudden = np.zeros(len(off))
    sudden[1:] = smooth[1:] - smooth[:-1]
    usable = _has_enough(segment, rows.day)
    usable &= (np.abs(step) >= SURE * error) & (sudden * np.sign(step) >= SUDDEN_SHARE * np.abs(step))
    # of all rows of a segment the one that explains most
    gain = np.where(usable, step**2 * information, -1.0)
    best = np.lexsort((gain, segment))
    last = np.append(segment[best][1:] != segment[best][:-1], True)
    row = best[last]
    row = row[usable[row]]
    return row, step[row], error[row]


def _has_enough(segment: Indexes, day: Floats) -> Bools:
    """Whether readings of two days stand on either side of every row: before it, and from it on."""
    last_of = np.zeros(int(segment.max()) + 1)
    np.maximum.at(last_of, segment, day)
    first_of = np.full(len(last_of), np.inf)
    np.minimum.at(first_of, segment, day)
    is_first = np.append(True, segment[1:] != segment[:-1])
    day_before = np.where(is_first, -np.inf, np.roll(day, 1))
    return (last_of[segment] - day >= 0.5) & (day_before - first_of[segment] >= 0.5)


def _from_here_on(segment: Indexes, value: Floats, count: int) -> Floats:
    """Sum of the values of the same segment from each row to the last."""
    total = np.cumsum(value)
    until_end = np.cumsum(sum_by(segment, value, count))[segment]
    return until_end - total + value


def _running_median(segment: Indexes, value: Floats) -> Floats:
    """Median of each value with those next to it; of the two next ones at the end of a segment."""
    rows = len(value)
    first = np.append(True, segment[1:] != segment[:-1])
    last = np.append(first[1:], True)
    middle = np.arange(rows) + first.astype(np.int64) - last
    start, end = np.maximum.accumulate(np.where(first, np.arange(rows), 0)), np.flatnonzero(last)[np.cumsum(first) - 1]
    around = np.stack([value[np.clip(middle + shift, start, end)] for shift in (-1, 0, 1)])
    return np.median(around, axis=0)


def _noise_scale(rows: TrendInput) -> Floats:
    """How much larger the noise of every segment is than assumed: by readings that follow each other, at least 1.

    The fleet's usual scale counts as six pairs; a median hardly hears of a step.
    """
    segment, count = rows.segment, len(rows.centre)
    same = np.flatnonzero(segment[1:] == segment[:-1])
    if not len(same):
        return np.ones(count)
    pair_noise = np.hypot(rows.noise[same], rows.noise[same + 1])
    off = np.abs(rows.value[same + 1] - rows.value[same]) / pair_noise / 0.6745
    order = np.lexsort((off, segment[same]))
    number = np.bincount(segment[same], minlength=count)
    begin = np.cumsum(number) - number
    at = np.minimum(begin + number // 2, len(order) - 1)
    own = np.where(number > 0, off[order][at], 0.0)
    usual = float(np.median(off)) if rows.noise_scale is None else rows.noise_scale
    return np.maximum(np.sqrt((6.0 * usual**2 + number * own**2) / (6.0 + number)), 1.0)
