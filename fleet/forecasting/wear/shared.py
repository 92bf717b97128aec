"""What places share beyond their fleet: the water of one supply, the make of one item.

The place's part of g is split further: a = centre of the fleet + u + rest, where u is common to all places of a group.
How much of the spread is common is found by maximum marginal likelihood. What a group's places say of u is kept as a
normal message for each place, so that a place can hear what the others say without hearing itself (expectation
propagation with one step, which is exact when the messages are normal).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from fleet.forecasting.inputs.tables import Floats, Ids, Indexes

CENTRED: Final = np.linspace(-2.4, 2.4, 61)
"""Grid of a less the centre that is expected of its place."""

_OFFSETS: Final = np.linspace(-1.6, 1.6, 33)
_SHARES: Final = (0.0, 0.12, 0.24, 0.36, 0.48, 0.6, 0.72)

FEWEST_PLACES: Final = 4
"""A group of fewer places teaches nothing: too little is left when a place does not hear itself."""

FEWEST_GROUPS: Final = 3

DIGITS: Final = 6
"""Decimals of what a place heard: enough for a tenth of an hour in a life of years."""

DOUBT: Final = 1.0
"""What is common must better the log-likelihood by so much before it is believed: one more parameter (Akaike)."""


@dataclass(frozen=True)
class Shared:
    """One kind of group: `spread` of u over the groups, and for each taught group the mean of u times its precision,
    and the precision. `heard` has mean and variance of u for each place that was there, by its group and name: what
    the others said, for it must not hear itself when it is forecast again."""

    spread: float = 0.0
    taught: Mapping[str, tuple[float, float]] | None = None
    heard: Mapping[str, tuple[float, float]] | None = None

    def offset(self, group: Ids, place: Ids | None = None) -> tuple[Floats, Floats]:
        """Mean and variance of u for the group of every place; a place that is known by its name has what it heard."""
        taught = self.taught or {}
        names, at = np.unique(group.astype(str), return_inverse=True)
        lessons = np.array([taught.get(name, (0.0, 0.0)) for name in names.tolist()]).reshape(len(names), 2)[at]
        precision = np.where(lessons[:, 1] > 0, lessons[:, 1], 1.0)
        mean = lessons[:, 0] / precision
        variance = np.where(lessons[:, 1] > 0, 1.0 / precision, self.spread**2)
        heard = self.heard or {}
        if place is not None and heard:
            for row, key in enumerate(_keys(group, place)):
                mean[row], variance[row] = heard.get(key, (mean[row], variance[row]))
        return mean, variance

    def with_heard(self, group: Ids, place: Ids, mean: Floats, variance: Floats) -> "Shared":
        """The same, with what every place of a taught group heard."""
        taught = self.taught or {}
        heard = {
            key: (round(float(u), DIGITS), round(float(doubt), DIGITS))
            for key, name, u, doubt in zip(_keys(group, place), group.tolist(), mean, variance, strict=True)
            if str(name) in taught
        }
        return replace(self, heard=heard)


def _keys(group: Ids, place: Ids) -> list[str]:
    """A place that joins another group, with another item, is a stranger there."""
    return [f"{own} {name}" for own, name in zip(group.tolist(), place.tolist(), strict=True)]


def teach(shown: Floats, group: Ids, variance: Floats) -> tuple[Shared, Floats, Floats]:
    """How much places of a group have in common, and what each hears from the others.

    Parameters
    ----------
    shown
        Likelihood of a on `CENTRED` for every place, any scale; flat where a place showed nothing.
    group
        Name of the group of every place, empty when it has none.
    variance
        Variance of a about its centre for every place, with what is common to the group.

    Returns
    -------
    shared, mean, variance
        The kind of group as it was found, and mean and variance of u for every place from the other places of its
        group.
    """
    count = len(shown)
    nothing = np.zeros(count)
    names, at = _groups(group, shown)
    if len(names) < FEWEST_GROUPS:
        return Shared(), nothing, nothing.copy()
    rows = np.flatnonzero(at >= 0)
    scaled = shown[rows] / shown[rows].max(axis=1, keepdims=True)
    usual = float(np.median(variance))
    best, best_value, message = 0.0, -np.inf, np.zeros((0, 0))
    for share in _SHARES:
        unshared_spread = np.sqrt((1.0 - share) * usual)
        mixing = np.exp(-0.5 * ((CENTRED[None, :] - _OFFSETS[:, None]) / max(unshared_spread, 0.08)) ** 2)
        mixing /= mixing.sum(axis=1, keepdims=True)
        log_message = np.log(scaled @ mixing.T + 1e-12)
        together = np.zeros((len(names), len(_OFFSETS)))
        np.add.at(together, at[rows], log_message)
        width = max(np.sqrt(share * usual), 1e-6)
        prior = np.exp(-0.5 * (_OFFSETS / width) ** 2)
        prior /= prior.sum()
        top = together.max(axis=1, keepdims=True)
        value = float((np.log(np.exp(together - top) @ prior) + top[:, 0]).sum())
        value -= DOUBT if share else 0.0
        if value > best_value:
            best, best_value, message = share, value, log_message
    if best == 0.0:
        return Shared(), nothing, nothing.copy()
    spread = float(np.sqrt(best * usual))
    # Moments of each message under the prior of u; less the prior, that is what the place says.
    tilted = np.exp(message - message.max(axis=1, keepdims=True)) * np.exp(-0.5 * (_OFFSETS / spread) ** 2)
    tilted /= tilted.sum(axis=1, keepdims=True)
    mean = tilted @ _OFFSETS
    square = np.maximum(tilted @ _OFFSETS**2 - mean**2, 1e-4)
    precision = np.maximum(1.0 / square - 1.0 / spread**2, 0.0)
    pull = np.where(precision > 0, mean / square, 0.0)
    total, total_pull = np.full(len(names), 1.0 / spread**2), np.zeros(len(names))
    np.add.at(total, at[rows], precision)
    np.add.at(total_pull, at[rows], pull)
    offsets, doubt = nothing, np.full(count, spread**2)
    others = total[at[rows]] - precision
    offsets[rows] = (total_pull[at[rows]] - pull) / others
    doubt[rows] = 1.0 / others
    taught = {str(name): (float(p), float(w)) for name, p, w in zip(names, total_pull, total, strict=True)}
    return Shared(spread, taught), offsets, doubt


def _groups(group: Ids, shown: Floats) -> tuple[Ids, Indexes]:
    """Groups with enough places that showed something, the group of every place (-1: none)."""
    text = group.astype(str)
    names, at = np.unique(text, return_inverse=True)
    telling = shown.max(axis=1) > 1.02 * shown.min(axis=1)
    size = np.bincount(at[telling], minlength=len(names))
    good = (size >= FEWEST_PLACES) & (names != "")
    number = np.where(good, np.cumsum(good) - 1, -1)
    return names[good], number[at].astype(np.int64)
