"""What a fleet teaches about a place, and a place about the cartridge that stands there now.

The logarithm of a cartridge's capacity over its label is g = a + b: `a` belongs to the place and is shared by all
lives there, `b` to the cartridge. Every life gives a likelihood on a common grid of g, for each of a few curve
shapes; the shape belongs to the place too. Means and spreads of a and b, the weights of the shapes and the habit of
lateness in changing exhausted cartridges are found by maximum marginal likelihood over the fleet (empirical Bayes)
under weak priors.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from fleet.forecasting.inputs.tables import Floats, Ids, Indexes
from fleet.forecasting.wear.habits import Habit
from fleet.forecasting.wear.shared import CENTRED, Shared, teach

GRID: Final = np.linspace(-3.6, 2.4, 76)
"""Grid of g, the logarithm of capacity over label: from a fortieth of the label to eleven times it."""

STEP: Final = float(GRID[1] - GRID[0])

FEWEST_ENDS: Final = 20
"""Lives with a reading at their end that are needed before habits are learned."""

MOST_PLACES: Final = 900
"""Places that teach the fleet's parameters; more would only cost time."""

NOTICES: Final = (0.0, 0.4, 0.75, 0.93)
LATENESSES: Final = (20.0, 60.0, 200.0, 1000.0)
"""Habits that are tried: how often the end is noticed, and how many days later a cartridge goes where it is not."""

SPREADS: Final = (0.06, 0.10, 0.15, 0.21, 0.28, 0.36, 0.46, 0.6, 0.8, 1.1)
"""Spreads of g that are tried, between places and, the middle ones, between cartridges."""


@dataclass(frozen=True)
class Places:
    """What is known of places beforehand: covariates of g, shape (places, covariates), and the groups that they share
    part of it with, by kind of group: a name for every place, empty when it has none; `names` of the places themselves,
    by which they are known again."""

    covariates: Floats
    groups: dict[str, Ids] = field(default_factory=dict)
    names: Ids | None = None

    def __len__(self) -> int:
        return len(self.covariates)

    def take(self, rows: Indexes | slice) -> "Places":
        """Only these places."""
        names = None if self.names is None else self.names[rows]
        return Places(self.covariates[rows], {kind: group[rows] for kind, group in self.groups.items()}, names)


@dataclass(frozen=True)
class Hyper:
    """Parameters of one stage that the fleet has taught.

    `mean`, `place_spread`, `cartridge_spread` of g; `slopes` of g on the covariates of a place; `habit`, how soon
    exhausted cartridges are removed; `shape_weights` of the curve shapes; `places` that taught it (0: nothing but the
    priors); `mean_spread`, how little the mean is known; `common`, what groups of places share, by kind.
    """

    mean: float
    place_spread: float
    cartridge_spread: float
    slopes: tuple[float, ...]
    habit: Habit
    shape_weights: Floats
    places: int = 0
    mean_spread: float = 0.0
    common: dict[str, Shared] = field(default_factory=dict)

    def centre(self, places: Places) -> Floats:
        """Expected place's part of g, from the covariates alone."""
        return self.mean + places.covariates @ np.array(self.slopes)

    def expected(self, places: Places) -> tuple[Floats, Floats]:
        """Mean and variance of the place's part of g, with what was taught of the groups."""
        centre = self.centre(places)
        variance = np.full(len(places), self.place_spread**2 + self.mean_spread**2)
        for kind, shared in self.common.items():
            mean, doubt = shared.offset(places.groups[kind], places.names)
            centre = centre + mean
            variance = variance - shared.spread**2 + doubt
        return centre, np.maximum(variance, 0.0)


USUAL_HABIT: Final = Habit(200.0, 0.75)


@dataclass(frozen=True)
class HyperPrior:
    """Weak priors of `Hyper`: normal for mean and slopes, log-normal for the spreads: their median, and `spread_doubt`,
    the spread of their logarithm. `is_end_seen`: whether who changes a cartridge sees that it is exhausted; where not,
    the words of removals are weighed (`habits.Words`), and the mean is less sure."""

    mean: float
    mean_spread: float
    place_spread: float
    cartridge_spread: float
    shape_weights: tuple[float, ...]
    slopes: tuple[float, ...] = ()
    slope_spreads: tuple[float, ...] = ()
    habit: Habit = USUAL_HABIT
    spread_doubt: float = 0.6
    is_end_seen: bool = True

    def start(self) -> Hyper:
        """What is assumed of a fleet that has taught nothing."""
        weights = np.array(self.shape_weights)
        return Hyper(
            self.mean, self.place_spread, self.cartridge_spread, self.slopes, self.habit, weights / weights.sum()
        )


UNSEEN_DOUBT: Final = 2.0
"""So many times less is the mean known where it was learned from the words of people who could not see the end: they
err alike. No source: settled on seeds 3 to 5 of the strangers' fleets."""

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


def place_density(centre: Floats, variance: Floats) -> Floats:
    """Prior density of a on the grid for every place, shape (places, grid); sums to 1."""
    width = np.maximum(np.sqrt(variance), 0.5 * STEP)
    weights = np.exp(-0.5 * ((GRID[None, :] - centre[:, None]) / width[:, None]) ** 2) + 1e-12
    return weights / weights.sum(axis=1, keepdims=True)


def fleet_density(hyper: Hyper) -> Floats:
    """Density of g on the grid for a cartridge of which only its fleet is known, shape (grid,)."""
    here = place_density(np.array([hyper.mean]), np.array([hyper.place_spread**2]))[0]
    return here @ kernel(hyper.cartridge_spread)


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
    # Single precision is finer than any of these likelihoods, and this is where most of the time goes.
    scaled = np.exp((log_likelihood - top).astype(np.float32))
    return np.log(scaled @ mix.T.astype(np.float32) + np.float32(1e-30)) + top


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
    place_facts: Places,
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
    place_facts
        Covariates of every place (0 where unknown).
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
    places = places[np.linspace(0, len(places) - 1, min(len(places), MOST_PLACES)).astype(np.int64)]
    chosen = np.flatnonzero(np.isin(place, places) & is_informative)
    local = np.searchsorted(places, place[chosen])
    climb = _Climb(prior, place_facts.take(places))
    best = replace(start, places=len(places))

    def reach(trial: Hyper, lives: Floats, at: Indexes) -> tuple[float, Hyper]:
        """What a climb reaches from parameters, with the lives they let expect."""
        summed = sum_by_place(spread_lives(lives, kernel(trial.cartridge_spread)), at, len(places))
        return climb.from_start(trial, summed)

    telling = shows_end[chosen]
    if telling.sum() >= FEWEST_ENDS:
        habits = (replace(prior.habit, lateness_days=days, notice=notice) for notice in NOTICES for days in LATENESSES)
        reached = [
            reach(replace(best, habit=habit), likelihood(habit, chosen[telling]), local[telling]) for habit in habits
        ]
        best = max(reached, key=lambda pair: pair[0])[1]
    best_value = -np.inf
    lives = likelihood(best.habit, chosen)
    for width in SPREADS[1:8]:
        # each climb goes on from the best before it
        value, hyper = reach(replace(best, cartridge_spread=width), lives, local)
        if value > best_value:
            best_value, best = value, hyper
    return best


class _Climb:
    """From given parameters of a stage uphill to better ones, step by step in each of them.

    Parameters
    ----------
    prior
        Weak priors.
    places
        Covariates of the places that teach.
    """

    def __init__(self, prior: HyperPrior, places: Places) -> None:
        self.prior, self.places = prior, places
        self.varied = [number for number in range(places.covariates.shape[1]) if np.any(places.covariates[:, number])]

    def from_start(self, hyper: Hyper, summed: Floats) -> tuple[float, Hyper]:
        """Best mean, slopes, place spread and shape weights for given lives, with their log-likelihood.

        Parameters
        ----------
        hyper
            Where the climb begins; its habit and its spread of cartridges stay.
        summed
            Log-likelihood of the lives of every place, shape (places, shapes, grid).
        """
        lives = _PlaceLives(self, summed)
        value = lives.value_of(hyper)
        for _ in range(4):
            trials = [replace(hyper, mean=hyper.mean + step) for step in _both_ways(0.4, 0.2, 0.1, 0.05)]
            value, hyper = lives.best_of(trials, value, hyper)
            for number in self.varied:
                trials = [_with_slope(hyper, number, step) for step in _both_ways(0.3, 0.1)]
                value, hyper = lives.best_of(trials, value, hyper)
            value, hyper = lives.best_of([replace(hyper, place_spread=width) for width in SPREADS], value, hyper)
            joint = lives.by_shape(hyper) * hyper.shape_weights
            share = joint / (joint.sum(axis=1, keepdims=True) + 1e-300)
            weights = share.sum(axis=0) + 4.0 * np.array(self.prior.shape_weights) / sum(self.prior.shape_weights)
            hyper = replace(hyper, shape_weights=weights / weights.sum())
            value = lives.value_of(hyper)
        # Few places leave the mean unsure: by how fast the likelihood falls on both sides of it.
        sides = sum(lives.value_of(replace(hyper, mean=hyper.mean + step)) for step in _both_ways(0.1))
        fall = max(2.0 * value - sides, 1e-9)
        doubt = (1.0 if self.prior.is_end_seen else UNSEEN_DOUBT) * 0.1 / np.sqrt(fall)
        return value, replace(hyper, mean_spread=min(doubt, self.prior.mean_spread))

    def penalty(self, hyper: Hyper) -> float:
        """Log-density of the weak priors, up to a constant."""
        prior = self.prior
        return -0.5 * float(
            ((hyper.mean - prior.mean) / prior.mean_spread) ** 2
            + (np.log(hyper.place_spread / prior.place_spread) / prior.spread_doubt) ** 2
            + (np.log(hyper.cartridge_spread / prior.cartridge_spread) / prior.spread_doubt) ** 2
            + sum(
                ((slope - usual) / spread) ** 2
                for slope, usual, spread in zip(hyper.slopes, prior.slopes, prior.slope_spreads, strict=True)
            )
            + (np.log(hyper.habit.lateness_days / prior.habit.lateness_days) / 1.5) ** 2
        )


class _PlaceLives:
    """What the lives of every place say of trial parameters."""

    def __init__(self, climb: _Climb, summed: Floats) -> None:
        self.climb = climb
        top = summed.max(axis=(1, 2), keepdims=True)
        self.scaled = np.exp((summed - top).astype(np.float32))
        self.base = float(top.sum())

    def by_shape(self, trial: Hyper) -> Floats:
        """Likelihood of every place by shape of the curve, scaled."""
        places = self.climb.places
        square = np.full(len(places), trial.place_spread**2)
        if not self.climb.varied:
            return self.scaled @ place_density(np.array([trial.mean]), square[:1])[0].astype(np.float32)
        density = place_density(trial.centre(places), square).astype(np.float32)
        return np.asarray((self.scaled @ density[:, :, None])[:, :, 0])

    def value_of(self, trial: Hyper) -> float:
        """Log-likelihood of all places, with the weak priors."""
        total = self.by_shape(trial) @ trial.shape_weights
        return float(np.log(total + 1e-300).sum()) + self.base + self.climb.penalty(trial)

    def best_of(self, trials: Iterable[Hyper], value: float, hyper: Hyper) -> tuple[float, Hyper]:
        """The best of some trials, or what was had before where none is better."""
        for trial in trials:
            trial_value = self.value_of(trial)
            if trial_value > value:
                value, hyper = trial_value, trial
        return value, hyper


def _both_ways(*steps: float) -> list[float]:
    """Each step up and down."""
    return [way for step in steps for way in (step, -step)]


def _with_slope(hyper: Hyper, number: int, step: float) -> Hyper:
    slopes = list(hyper.slopes)
    slopes[number] += step
    return replace(hyper, slopes=tuple(slopes))


def centred_likelihood(hyper: Hyper, summed: Floats, places: Places) -> Floats:
    """Likelihood of a on `shared.CENTRED`, about what the covariates let expect, for every place; shapes are averaged
    over."""
    shaped = np.exp(summed - summed.max(axis=(1, 2), keepdims=True))
    flat = np.einsum("pkg,k->pg", shaped, hyper.shape_weights.astype(shaped.dtype))
    at = (hyper.centre(places)[:, None] + CENTRED - GRID[0]) / STEP
    at = np.clip(at, 0.0, len(GRID) - 1.000001)
    low = at.astype(np.int64)
    rows = np.arange(len(flat))[:, None]
    return np.asarray(flat[rows, low] + (flat[rows, low + 1] - flat[rows, low]) * (at - low) + 1e-9)


def teach_shared(hyper: Hyper, shown: Floats, places: Places) -> tuple[Hyper, Floats, Floats]:
    """What groups of places have in common, kind by kind; also mean and variance of every place's part of g, in which
    no place hears itself.

    Parameters
    ----------
    shown
        From `centred_likelihood`, of all lives.
    """
    variance = np.full(len(places), hyper.place_spread**2)
    centre = hyper.centre(places)
    kinds: dict[str, Shared] = {}
    for kind, names in places.groups.items():
        shared, offsets, doubt = teach(shown, names, variance)
        kinds[kind] = shared if places.names is None else shared.with_heard(names, places.names, offsets, doubt)
        centre = centre + offsets
        variance = np.maximum(variance - shared.spread**2 + doubt, 0.0)
        if offsets.any():
            shown = np.stack([np.interp(CENTRED + off, CENTRED, row) for off, row in zip(offsets, shown, strict=True)])
    return replace(hyper, common=kinds), centre, variance + hyper.mean_spread**2


def place_posteriors(hyper: Hyper, summed: Floats, centre: Floats, variance: Floats) -> Floats:
    """Posterior of (shape, a) of every place from its past lives, shape (places, shapes, grid), sum 1 by place.

    Parameters
    ----------
    summed
        Log-likelihood of all past lives of every place, from `sum_by_place`.
    centre, variance
        What is expected of a: from `Hyper.expected` or `teach_shared`.
    """
    density = np.log(place_density(centre, variance))
    summed = summed + density[:, None, :] + np.log(hyper.shape_weights + 1e-12)[None, :, None]
    summed -= summed.max(axis=(1, 2), keepdims=True)
    out = np.exp(summed)
    return out / out.sum(axis=(1, 2), keepdims=True)


def next_life(posterior: Floats, hyper: Hyper) -> Floats:
    """Density of (shape, g) for the next cartridge at a place, from the posterior of the place."""
    return posterior @ kernel(hyper.cartridge_spread)
