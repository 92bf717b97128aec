"""What a fleet teaches, from lives whose truth is known; densities that must sum to one."""

import numpy as np
import pytest

from fleet.forecasting.wear import pooling
from fleet.forecasting.wear.habits import Habit
from fleet.forecasting.wear.pooling import GRID, HyperPrior, Places

PRIOR = HyperPrior(0.0, 0.5, 0.3, 0.2, (1.0, 1.0))
LIVES, PLACES = 6, 60


def lives(mean=-0.7, place_spread=0.35, cartridge_spread=0.15, shape=0, noise=0.05, slope=0.0, seed=2):
    """Likelihoods of lives with two shapes, of which one is the true one, and what was said of their places."""
    rng = np.random.default_rng(seed)
    covariate = rng.normal(size=PLACES)
    of_place = mean + slope * covariate + place_spread * rng.normal(size=PLACES)
    place = np.repeat(np.arange(PLACES), LIVES)
    g = of_place[place] + cartridge_spread * rng.normal(size=len(place))
    observed = g + noise * rng.normal(size=len(place))
    likelihood = np.full((len(place), 2, len(GRID)), -12.0)
    likelihood[:, shape] = np.maximum(-0.5 * ((GRID - observed[:, None]) / noise) ** 2, -12.0)
    return likelihood, place, covariate[:, None]


def learned(prior=PRIOR, covariates=None, informative=None, **world):
    likelihood, place, covariates_of_places = lives(**world)
    some = np.ones(len(place), dtype=bool) if informative is None else informative
    place_facts = Places(covariates_of_places if covariates else np.zeros((PLACES, 0)))
    return pooling.learn(
        lambda habit, which: likelihood[which], place, place_facts, prior, is_informative=some,
        shows_end=np.zeros(len(place), dtype=bool),
    )  # fmt: skip


def test_mean_and_spreads_are_found():
    hyper = learned()
    assert hyper.mean == pytest.approx(-0.7, abs=0.12)
    assert 0.28 <= hyper.place_spread <= 0.46
    assert 0.10 <= hyper.cartridge_spread <= 0.21
    assert hyper.places == PLACES
    # sixty places whose spread is 0.35 let the mean be known to 0.35/sqrt(60) = 0.045
    assert hyper.mean_spread == pytest.approx(0.045, rel=0.5)
    other = learned(place_spread=0.12, cartridge_spread=0.45)
    assert other.place_spread < 0.25 < 0.35 <= other.cartridge_spread


@pytest.mark.parametrize("shape", [0, 1])
def test_the_shape_of_the_curve_is_found(shape):
    weights = learned(shape=shape).shape_weights
    assert weights.sum() == pytest.approx(1.0)
    # four lives' worth of prior stay with the other
    assert weights[shape] == pytest.approx((PLACES + 2.0) / (PLACES + 4.0), abs=0.01)


def test_a_covariate_is_found_and_without_one_nothing_is_said():
    prior = HyperPrior(0.0, 0.5, 0.3, 0.2, (1.0, 1.0), (0.0,), (0.4,))
    assert learned(prior, covariates=True, slope=0.4).slopes[0] == pytest.approx(0.4, abs=0.12)
    assert learned(prior, covariates=True, slope=-0.4).slopes[0] == pytest.approx(-0.4, abs=0.12)


def test_two_places_teach_nothing():
    some = np.zeros(PLACES * LIVES, dtype=bool)
    some[: 2 * LIVES] = True
    hyper = learned(informative=some)
    assert (hyper.mean, hyper.place_spread, hyper.places) == (PRIOR.mean, PRIOR.place_spread, 0)
    some[: 3 * LIVES] = True
    assert learned(informative=some).places == 3


def test_habits_are_learned_from_ends_that_were_seen():
    likelihood, place, _ = lives()

    def attentive(habit, which):
        # whatever the capacity, what was seen at the ends speaks for 60 days and three of four
        off = abs(np.log(habit.lateness_days / 60.0)) + 5.0 * abs(habit.notice - 0.75)
        return likelihood[which] - off

    def of(shows):
        return pooling.learn(
            attentive, place, Places(np.zeros((PLACES, 0))), PRIOR, is_informative=np.ones(len(place), dtype=bool),
            shows_end=shows,
        ).habit  # fmt: skip

    shows = np.zeros(len(place), dtype=bool)
    shows[: pooling.FEWEST_ENDS] = True
    assert of(shows) == Habit(60.0, 0.75)
    shows[0] = False
    assert of(shows) == PRIOR.habit


def test_densities_and_kernels_sum_to_one():
    density = pooling.place_density(np.array([-1.0, 0.5]), np.array([0.04, 0.0]))
    assert density.sum(axis=1) == pytest.approx([1.0, 1.0])
    mean = density @ GRID
    assert mean == pytest.approx([-1.0, 0.5], abs=0.01)
    assert np.sqrt(density[0] @ (GRID + 1.0) ** 2) == pytest.approx(0.2, rel=0.02)
    mix = pooling.kernel(0.3)
    assert mix.sum(axis=1) == pytest.approx(np.ones(len(GRID)))
    # three in a hundred are unlike their place, with a spread of 1.2: var = 0.97 x 0.09 + 0.03 x 1.2^2
    middle = len(GRID) // 2
    assert mix[middle] @ (GRID - GRID[middle]) ** 2 == pytest.approx(0.97 * 0.09 + 0.03 * 1.44, rel=0.05)
    alone = PRIOR.start()
    whole = pooling.fleet_density(alone)
    assert whole.sum() == pytest.approx(1.0)
    assert whole @ GRID**2 == pytest.approx(0.3**2 + 0.97 * 0.2**2 + 0.03 * 1.44, rel=0.06)


def test_what_a_place_was_seen_to_be_is_what_the_next_cartridge_is_expected_to_be():
    likelihood, place, _ = lives(place_spread=0.5)
    hyper = learned(place_spread=0.5)
    spread = pooling.spread_lives(likelihood, pooling.kernel(hyper.cartridge_spread))
    summed = pooling.sum_by_place(spread, place, PLACES + 1)
    centre, variance = hyper.expected(Places(np.zeros((PLACES + 1, 0))))
    posterior = pooling.place_posteriors(hyper, summed, centre, variance)
    assert posterior.sum(axis=(1, 2)) == pytest.approx(np.ones(PLACES + 1))
    ahead = pooling.next_life(posterior, hyper).sum(axis=1)
    expected = ahead @ GRID
    shown = np.array([(np.exp(likelihood[place == k, 0]) @ GRID / np.exp(likelihood[place == k, 0]).sum(axis=1)).mean()
                  for k in range(PLACES)])  # fmt: skip
    assert np.abs(expected[:PLACES] - shown).max() < 0.15
    # of a place without lives only the fleet is known, and less surely
    assert expected[PLACES] == pytest.approx(hyper.mean, abs=0.05)
    width = np.sqrt(ahead @ GRID**2 - expected**2)
    assert width[PLACES] > 1.8 * np.median(width[:PLACES])


def test_many_places_are_thinned_to_what_time_allows():
    rng = np.random.default_rng(8)
    count = 1000
    observed = -0.5 + 0.3 * rng.normal(size=count)
    likelihood = np.maximum(-0.5 * ((GRID - observed[:, None]) / 0.1) ** 2, -12.0)[:, None, :].repeat(2, axis=1)
    hyper = pooling.learn(
        lambda habit, which: likelihood[which], np.arange(count), Places(np.zeros((count, 0))), PRIOR,
        is_informative=np.ones(count, dtype=bool), shows_end=np.zeros(count, dtype=bool),
    )  # fmt: skip
    assert hyper.places == pooling.MOST_PLACES
    assert hyper.mean == pytest.approx(-0.5, abs=0.06)
