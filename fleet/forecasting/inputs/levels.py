"""Levels through time for many units at once: a yearly swing, and a level that follows the readings and remembers."""

from dataclasses import dataclass

import numpy as np

from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.forecasting.inputs.tables import Floats, Indexes


@dataclass(frozen=True)
class Timeline:
    """Equal steps of time from `start` on; `count` of them. Index of a day by `step_of`."""

    start: float
    step_days: float
    count: int

    @property
    def edges(self) -> Floats:
        """Edges of the steps, `count` + 1 days."""
        return self.start + self.step_days * np.arange(self.count + 1, dtype=np.float64)

    @property
    def middles(self) -> Floats:
        """Middle day of every step."""
        return self.start + self.step_days * (np.arange(self.count, dtype=np.float64) + 0.5)

    def step_of(self, day: Floats) -> Indexes:
        """Step that holds a day; days outside go to the nearest step."""
        return np.clip(((day - self.start) / self.step_days).astype(np.int64), 0, self.count - 1)


def sum_by(group: Indexes, value: Floats, count: int) -> Floats:
    """Sum of the values of every group, floats even when there is none."""
    return np.bincount(group, value, minlength=count).astype(np.float64)


def crowd(group: Indexes, day: Floats, window_days: float) -> Floats:
    """How many readings of the same group fall in the same window of time as each reading, itself included."""
    if not len(group):
        return np.zeros(0)
    window = np.floor(day / window_days).astype(np.int64)
    window -= window.min()
    _, group_index, size = np.unique(group * (int(window.max()) + 1) + window, return_inverse=True, return_counts=True)
    return size[group_index].astype(np.float64)


def swing_terms(day: Floats) -> Floats:
    """Constant, cosine and sine of the year, shape (..., 3)."""
    angle = 2.0 * np.pi * np.asarray(day) / DAYS_PER_YEAR
    return np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=-1)


def fit_swing(
    group: Indexes,
    day: Floats,
    value: Floats,
    count: int,
    default: Floats,
    spread: Floats,
    noise: float,
    firmness: float = 0.25,
    is_held: bool = False,
) -> tuple[Floats, Floats]:
    """Yearly swing of every group, pulled towards that of all groups.

    A ridge regression per group, whose prior mean is the regression over all groups and whose prior spread is given:
    groups with few readings take the common swing, groups with many their own.

    Parameters
    ----------
    group, day, value
        The readings (finite values only).
    count
        Number of groups.
    default
        Coefficients (constant, cosine, sine) when there is no reading at all.
    spread
        Standard deviation of each coefficient between groups.
    noise
        Standard deviation of one reading.
    firmness
        How firmly the common swing is held to the default: 0.25 when it is a guess.
    is_held
        Whether the common swing is the default whatever is read here: it was learned before, from more groups.

    Returns
    -------
    Coefficients, shape (count, 3), and those of the common swing.
    """
    if not len(value):
        return np.broadcast_to(default, (count, 3)).copy(), np.asarray(default, dtype=np.float64)
    terms = swing_terms(day)
    common_precision = np.diag((firmness / spread) ** 2)
    # The readings of a group are not independent witnesses of the common swing: weigh every group as a handful at most.
    size = np.bincount(group, minlength=count)
    weight = np.minimum(1.0, 12.0 / np.maximum(size[group], 1)) / (noise**2 + spread[0] ** 2)
    normal_matrix = common_precision + np.einsum("n,ni,nj->ij", weight, terms, terms)
    right = common_precision @ default + np.einsum("n,ni,n->i", weight, terms, value)
    common = np.asarray(default, dtype=np.float64) if is_held else np.linalg.solve(normal_matrix, right)
    precision = np.zeros((count, 3, 3))
    pull = np.zeros((count, 3))
    off = value - terms @ common
    for i in range(3):
        pull[:, i] = sum_by(group, terms[:, i] * off, count) / noise**2
        for j in range(i, 3):
            sums = sum_by(group, terms[:, i] * terms[:, j], count) / noise**2
            precision[:, i, j] = precision[:, j, i] = sums
    precision += np.diag(1.0 / spread**2)
    return common + np.linalg.solve(precision, pull[..., None])[..., 0], common


def follow(
    group: Indexes,
    step: Indexes,
    value: Floats,
    prior: Floats,
    *,
    count: int,
    steps: int,
    prior_weight: float,
    memory_steps: float,
    weight: Floats | None = None,
) -> Floats:
    """Level of every group at every step: readings near in time, pulled towards a prior level.

    Two-sided exponential weights over `memory_steps`; a prior that counts as `prior_weight` readings fills the gaps, so
    that the level returns to the prior where nothing was read.

    Parameters
    ----------
    group, step, value
        The readings (finite values only) with the step they fall in.
    prior
        Level without readings, shape (count,) or (count, steps).
    weight
        Relative weight of each reading, 1 when None.

    Returns
    -------
    Levels, shape (count, steps).
    """
    prior = np.broadcast_to(prior[:, None] if prior.ndim == 1 else prior, (count, steps))
    flat = group * steps + step
    one = np.ones(len(value)) if weight is None else weight
    off = value - prior[group, step]
    sums = sum_by(flat, off * one, count * steps).reshape(count, steps)
    weights = sum_by(flat, one, count * steps).reshape(count, steps)
    keep = float(np.exp(-1.0 / memory_steps))
    total, total_weight = -sums, -weights
    for direction in (range(steps), range(steps - 1, -1, -1)):
        carried = np.zeros(count)
        carried_weight = np.zeros(count)
        for at in direction:
            carried = carried * keep + sums[:, at]
            carried_weight = carried_weight * keep + weights[:, at]
            total[:, at] += carried
            total_weight[:, at] += carried_weight
    return prior + total / (total_weight + prior_weight)


def shrunk_means(
    group: Indexes,
    value: Floats,
    parent: Indexes,
    count: int,
    *,
    default: float,
    noise: float,
    spread: float,
    held: Floats | None = None,
) -> tuple[Floats, Floats, float]:
    """Mean of every group, pulled towards that of its parent (a supply), which is pulled towards that of all.

    Parameters
    ----------
    group, value
        The readings (finite values only).
    parent
        Parent of every group, 0 upwards.
    default
        Mean when there is no reading at all.
    noise, spread
        Standard deviation of one reading, and of groups around their parent (parents around the whole: twice that).
    held
        Mean of every parent as it was learned before, from more groups; None: it is found here, and the default counts
        as a tenth of a parent.

    Returns
    -------
    Mean of every group, of every parent, and that of all.
    """
    parents = int(parent.max()) + 1 if len(parent) else 1
    size = np.bincount(group, minlength=count).astype(np.float64)
    sums = sum_by(group, value, count)
    mean = np.where(size > 0, sums / np.maximum(size, 1.0), 0.0)
    group_weight = np.where(size > 0, 1.0 / (noise**2 / np.maximum(size, 1.0) + spread**2), 0.0)
    parent_weight = sum_by(parent, group_weight, parents)
    parent_mean = sum_by(parent, group_weight * mean, parents) / np.maximum(parent_weight, 1e-12)
    some = parent_weight > 0
    top_weight = np.where(some, 1.0 / (1.0 / np.maximum(parent_weight, 1e-12) + (2 * spread) ** 2), 0.0)
    total = top_weight.sum()
    weak = 0.1 / (2 * spread) ** 2
    top = (np.sum(top_weight * parent_mean) + weak * default) / (total + weak)
    pull = 1.0 / (2 * spread) ** 2
    parent_level = (parent_weight * np.where(some, parent_mean, 0.0) + pull * top) / (parent_weight + pull)
    if held is not None:
        parent_level, top = held, default
    own = size / noise**2
    return (own * mean + parent_level[parent] / spread**2) / (own + 1.0 / spread**2), parent_level, float(top)
