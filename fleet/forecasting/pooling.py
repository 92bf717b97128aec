"""What a fleet teaches about a place, and a place about the cartridge that stands there now.

The logarithm of a cartridge's capacity over its label is g = a + b: `a` belongs to the place and is shared by all
lives there, `b` to the cartridge. Every life gives a likelihood on a common grid of g, for each of a few curve
shapes; the shape belongs to the place too. Means and spreads of a and b, the weights of the shapes and the habit of
lateness in changing exhausted cartridges are found by maximum marginal likelihood over the fleet (empirical Bayes)
under weak priors.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from .habits import Habit
from .tables import Floats, Indexes

GRID: Final = np.linspace(-3.6, 2.4, 76)
"""Grid of g, the logarithm of capacity over label: from a fortieth of the label to eleven times it."""

STEP: Final = float(GRID[1] - GRID[0])

FEWEST_ENDS: Final = 20
"""Lives with a reading at their end that are needed before habits are learned."""

MOST_PLACES: Final = 900
"""Places that teach the fleet's parameters; more would only cost time."""


@dataclass(frozen=True)
class Hyper:
    """Parameters of one stage that the fleet has taught.

    `mean`, `place_spread`, `cartridge_spread` of g; `slope` of g on a covariate of the place; `habit`, how soon
    delay between exhaustion and removal of cartridges removed as exhausted; `shape_weights` of the curve shapes;
    `places` that taught it (0: nothing but the priors).
    """

    mean: float
    place_spread: float
    cartridge_spread: float
    slope: float
    habit: Habit
    shape_weights: Floats
    places: int = 0


USUAL_HABIT: Final = Habit(200.0, 0.75)


@dataclass(frozen=True)
class HyperPrior:
    """Weak priors of `Hyper`: normal for the mean and slope, log-normal for the spreads (median, spread of the log)."""

    mean: float
    mean_spread: float
    place_spread: float
    cartridge_spread: float
    shape_weights: tuple[float, ...]
    slope: float = 0.0
    slope_spread: float = 0.3
    habit: Habit = USUAL_HABIT

    def start(self) -> Hyper:
        """What is assumed of a fleet that has taught nothing."""
        weights = np.array(self.shape_weights)
        return Hyper(
            self.mean, self.place_spread, self.cartridge_spread, self.slope, self.habit, weights / weights.sum()
        )


ODD_SHARE: Final = 0.03
ODD_SPREAD: Final = 1.2
"""A few cartridges are unlike their place: badly seated, channelled, of another batch. Common practice, no source."""


def kernel(spread: float) -> Floats:
    """Matrix that spreads a likelihood of g over a (and a density of a over g): rows sum to 1, shape (grid, grid).

    Normal, with a few odd cartridges far out, so that readings can prove what nobody expected.
    """
    off = GRID[:, None] - GRID[None, :]
    usual = np.exp(-0.5 * (off / max(spread, 0.6 * STEP)) ** 2)
    odd = np.exp(-0.5 * (off / ODD_SPREAD) ** 2)
    usual /= usual.sum(axis=1, keepdims=True)
    odd /= odd.sum(axis=1, keepdims=True)
    return (1.0 - ODD_SHARE) * usual + ODD_SHARE * odd


def place_density(hyper: Hyper, covariate: Floats) -> Floats:
    """Prior density of a on the grid for every place, shape (places, grid); sums to 1."""
    centre = hyper.mean + hyper.slope * covariate
    width = max(hyper.place_spread, 0.5 * STEP)
    weights = np.exp(-0.5 * ((GRID[None, :] - centre[:, None]) / width) ** 2) + 1e-12
    return weights / weights.sum(axis=1, keepdims=True)


def fleet_density(hyper: Hyper) -> Floats:
    """Density of g on the grid for a cartridge of which only its fleet is known, shape (grid,)."""
    return place_density(hyper, np.zeros(1))[0] @ kernel(hyper.cartridge_spread)


def spread_lives(log_likelihood: Floats, mix: Floats) -> Floats:
    """Log-likelihood of a from those of g, life by life: log of the integral over the cartridge's own part.

    Parameters
    ----------
    log_likelihood
        Shape (lives, shapes, grid).
    mix
        From `kernel`.
    """
    top = log_likelihood.max(axis=2, keepdims=True)
    return np.log(np.exp(log_likelihood - top) @ mix.T + 1e-30) + top


def sum_by_place(values: Floats, place: Indexes, count: int) -> Floats:
    """Sum over the lives of every place, shape (count, shapes, grid)."""
    out = np.zeros((count, *values.shape[1:]))
    if len(place):
        order = np.argsort(place, kind="stable")
        places, starts = np.unique(place[order], return_index=True)
        out[places] = np.add.reduceat(values[order], starts, axis=0)
    return out


def learn(
    likelihood: Callable[[Habit, Indexes], Floats],
    place: Indexes,
    covariate: Floats,
    prior: HyperPrior,
    *,
    is_informative: np.ndarray,
    shows_end: np.ndarray,
) -> Hyper:
    """Fleet parameters of one stage by maximum marginal likelihood.

    Parameters
    ----------
    likelihood
        Function of (habit, indexes of lives) giving their log-likelihoods, shape (lives, shapes, grid).
    place
        Place of every life.
    covariate
        Covariate of every place (0 where unknown).
    prior
        Weak priors.
    is_informative
        Which lives carry anything but a prior; places with none are not looked at.
    shows_end
        Which lives have a reading from the day of their removal, so that it can be seen how far past exhaustion they
        were. Only these teach the habits: from dates alone, a short delay and a large capacity look like their
        opposites.

    Returns
    -------
    The parameters; the priors' own values when nothing teaches.
    """
    start = prior.start()
    places = np.unique(place[is_informative])
    if len(places) < 3:
        return start
    if len(places) > MOST_PLACES:
        places = places[np.linspace(0, len(places) - 1, MOST_PLACES).astype(np.int64)]
    chosen = np.flatnonzero(np.isin(place, places) & is_informative)
    local = np.searchsorted(places, place[chosen])
    z = covariate[places]
    best = replace(start, places=len(places))
    habits = [Habit(days, notice) for notice in (0.0, 0.4, 0.75, 0.93) for days in (20.0, 60.0, 200.0, 1000.0)]
    spreads = np.array([0.06, 0.10, 0.15, 0.21, 0.28, 0.36, 0.46, 0.6, 0.8])

    def penalty(hyper: Hyper) -> float:
        """Log-density of the weak priors, up to a constant."""
        return -0.5 * float(
            ((hyper.mean - prior.mean) / prior.mean_spread) ** 2
            + (np.log(hyper.place_spread / prior.place_spread) / 0.6) ** 2
            + (np.log(hyper.cartridge_spread / prior.cartridge_spread) / 0.6) ** 2
            + ((hyper.slope - prior.slope) / prior.slope_spread) ** 2
            + (np.log(hyper.habit.lateness_days / prior.habit.lateness_days) / 1.5) ** 2
        )

    def climb(hyper: Hyper, summed: Floats) -> tuple[float, Hyper]:
        """Best mean, slope, place spread and shape weights for given lives."""
        top = summed.max(axis=(1, 2), keepdims=True)
        scaled = np.exp(summed - top)
        base = float(top.sum())

        def by_shape(trial: Hyper) -> Floats:
            if not np.any(z):
                return scaled @ place_density(trial, z[:1])[0]
            return np.einsum("pkg,pg->pk", scaled, place_density(trial, z))

        def value_of(trial: Hyper) -> float:
            total = by_shape(trial) @ trial.shape_weights
            return float(np.log(total + 1e-300).sum()) + base + penalty(trial)

        value = value_of(hyper)
        for _ in range(3):
            for name, choices in (
                ("mean", hyper.mean + np.array([-0.4, -0.2, -0.1, -0.05, 0.05, 0.1, 0.2, 0.4])),
                ("slope", hyper.slope + np.array([-0.2, -0.1, 0.1, 0.2]) if np.any(z) else np.zeros(0)),
                ("place_spread", spreads),
            ):
                for choice in choices.tolist():
                    trial = _with(hyper, name, choice)
                    trial_value = value_of(trial)
                    if trial_value > value:
                        value, hyper = trial_value, trial
            joint = by_shape(hyper) * hyper.shape_weights
            share = joint / (joint.sum(axis=1, keepdims=True) + 1e-300)
            weights = share.sum(axis=0) + 4.0 * np.array(prior.shape_weights) / sum(prior.shape_weights)
            hyper = replace(hyper, shape_weights=weights / weights.sum())
            value = value_of(hyper)
        return value, hyper

    best_value = -np.inf
    telling = shows_end[chosen]
    if telling.sum() >= FEWEST_ENDS:
        found = best
        for habit in habits:
            lives = likelihood(habit, chosen[telling])
            summed = sum_by_place(spread_lives(lives, kernel(best.cartridge_spread)), local[telling], len(places))
            value, hyper = climb(replace(best, habit=habit), summed)
            if value > best_value:
                best_value, found = value, hyper
        best = found
    best_value = -np.inf
    lives = likelihood(best.habit, chosen)
    for width in spreads[1:8]:
        summed = sum_by_place(spread_lives(lives, kernel(float(width))), local, len(places))
        value, hyper = climb(replace(best, cartridge_spread=float(width)), summed)
        if value > best_value:
            best_value, best = value, hyper
    return best


def _with(hyper: Hyper, name: str, value: float) -> Hyper:
    if name == "mean":
        return replace(hyper, mean=value)
    return replace(hyper, slope=value) if name == "slope" else replace(hyper, place_spread=value)


def place_posteriors(hyper: Hyper, lives: Floats, place: Indexes, count: int, covariate: Floats) -> Floats:
    """Posterior of (shape, a) of every place from its past lives, shape (count, shapes, grid), sum 1 by place."""
    mix = kernel(hyper.cartridge_spread)
    summed = sum_by_place(spread_lives(lives, mix), place, count)
    summed += np.log(place_density(hyper, covariate))[:, None, :] + np.log(hyper.shape_weights + 1e-12)[None, :, None]
    summed -= summed.max(axis=(1, 2), keepdims=True)
    density = np.exp(summed)
    return density / density.sum(axis=(1, 2), keepdims=True)


def next_life(posterior: Floats, hyper: Hyper) -> Floats:
    """Density of (shape, g) for the next cartridge at a place, from the posterior of the place."""
    return posterior @ kernel(hyper.cartridge_spread)
