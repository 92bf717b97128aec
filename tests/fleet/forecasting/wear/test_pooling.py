"""What a fleet teaches, from lives whose truth is known; densities that must sum to one."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from fleet.forecasting.wear import pooling
from fleet.forecasting.wear.habits import Habit
from fleet.forecasting.wear.pooling import GRID, STEP, HyperPrior, Places
from fleet.forecasting.wear.shared import CENTRED, Shared, teach
from fleet.forecasting.wear.stage_models import SEDIMENT

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


def test_a_few_filters_that_went_alike_hardly_teach_that_all_are_alike():
    """Six places of filters known to a factor of 1.35 leave the spreads near what was known before; sixty do not."""
    prior = replace(PRIOR, place_spread=0.45, cartridge_spread=0.35, spread_doubt=SEDIMENT.prior.spread_doubt)
    alike = {"place_spread": 0.02, "cartridge_spread": 0.02, "noise": 0.3}
    few = np.zeros(PLACES * LIVES, dtype=bool)
    few[: 6 * LIVES : LIVES] = True
    hyper = learned(prior, informative=few, **alike)
    assert 0.35 <= hyper.place_spread <= 0.46
    assert 0.35 <= hyper.cartridge_spread <= 0.36
    many = learned(prior, **alike)
    assert max(many.place_spread, many.cartridge_spread) < 0.2


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


def even_lives(place_spread, cartridge_spread, noise=0.03, lives_each=6):
    """Likelihoods of lives whose places, and whose cartridges at each place, lie at the even quantiles of normals."""
    of_place = norm.ppf((np.arange(PLACES) + 0.5) / PLACES)
    own = norm.ppf((np.arange(lives_each) + 0.5) / lives_each)
    own /= own.std()
    place = np.repeat(np.arange(PLACES), lives_each)
    g = -0.7 + place_spread * (of_place / of_place.std())[place] + cartridge_spread * np.tile(own, PLACES)
    likelihood = np.maximum(-0.5 * ((GRID - g[:, None]) / noise) ** 2, -30.0)[:, None, :].repeat(2, axis=1)
    return likelihood, place


def taught_by(likelihood, place, prior=PRIOR):
    return pooling.learn(
        lambda habit, which: likelihood[which], place, Places(np.zeros((PLACES, 0))), prior,
        is_informative=np.ones(len(place), dtype=bool), shows_end=np.zeros(len(place), dtype=bool),
    )  # fmt: skip


@pytest.mark.parametrize("spread", [0.15, 0.21, 0.28, 0.36, 0.46, 0.6, 0.8])
def test_a_spread_between_places_is_found_to_a_seventh(spread):
    """Without a prior of its own: places at even quantiles, cartridges a tenth apart."""
    weak = replace(PRIOR, place_spread=spread)
    assert taught_by(*even_lives(spread, 0.1), weak).place_spread == pytest.approx(spread, rel=0.14)


@pytest.mark.parametrize("spread", [0.10, 0.15, 0.21, 0.28, 0.36, 0.46, 0.6])
def test_a_spread_between_cartridges_is_found_to_a_fifth(spread):
    """Three in a hundred are thought odd, so the others lie a little closer together."""
    weak = replace(PRIOR, cartridge_spread=spread)
    assert taught_by(*even_lives(0.3, spread), weak).cartridge_spread == pytest.approx(spread, rel=0.2)


def test_cartridges_of_one_place_are_never_thought_all_but_equal_nor_wholly_unlike():
    """A tenth at least and six tenths at most, whatever a fleet shows."""
    assert taught_by(*even_lives(0.3, 0.02)).cartridge_spread == 0.10
    assert taught_by(*even_lives(0.3, 0.95)).cartridge_spread == 0.6


@pytest.mark.parametrize("days", [20.0, 60.0, 200.0, 1000.0])
@pytest.mark.parametrize("notice", [0.0, 0.4, 0.75, 0.93])
def test_companies_from_the_most_attentive_to_the_least_are_told_apart(days, notice):
    """From three weeks to three years late, and from who never looks to who hardly misses one."""
    likelihood, place, _ = lives()

    def speaks(habit, which):
        off = abs(np.log(habit.lateness_days / days)) + 5.0 * abs(habit.notice - notice)
        return likelihood[which] - 20.0 * off

    habit = pooling.learn(
        speaks, place, Places(np.zeros((PLACES, 0))), PRIOR, is_informative=np.ones(len(place), dtype=bool),
        shows_end=np.arange(len(place)) < 20,
    ).habit  # fmt: skip
    assert (habit.lateness_days, habit.notice) == (days, notice)


@pytest.mark.parametrize(("ends", "is_heard"), [(19, False), (20, True)])
def test_habits_need_twenty_ends(ends, is_heard):
    likelihood, place, _ = lives()
    habit = pooling.learn(
        lambda habit, which: likelihood[which] - 20.0 * abs(np.log(habit.lateness_days / 20.0)), place,
        Places(np.zeros((PLACES, 0))), PRIOR, is_informative=np.ones(len(place), dtype=bool),
        shows_end=np.arange(len(place)) < ends,
    ).habit  # fmt: skip
    assert (habit.lateness_days == 20.0) is is_heard


@pytest.mark.parametrize(("count", "taught"), [(5, 5), (900, 900), (901, 900), (2000, 900)])
def test_all_places_teach_up_to_nine_hundred_spread_from_the_first_to_the_last(count, taught):
    """Only what carries anything is asked for."""
    likelihood = np.zeros((2 * count, 2, len(GRID)))
    informative = np.tile([True, False], count)
    asked_for = set()

    def likelihood_of(habit, which):
        asked_for.update(which.tolist())
        return likelihood[which]

    hyper = pooling.learn(
        likelihood_of, np.repeat(np.arange(count), 2), Places(np.zeros((count, 0))), PRIOR, is_informative=informative,
        shows_end=np.zeros(2 * count, dtype=bool),
    )  # fmt: skip
    assert hyper.places == taught == len(asked_for)
    assert (min(asked_for), max(asked_for)) == (0, 2 * (count - 1))
    assert informative[list(asked_for)].all()


def test_a_place_and_a_cartridge_without_a_spread_lie_within_about_a_step_of_the_grid():
    """Wide enough that what lies between two points is on both, and no wider."""
    density = pooling.place_density(GRID[30:31], np.array([0.0]))[0]
    assert 0.7 < density[30] < 0.9
    between = pooling.place_density(GRID[30:31] + 0.5 * STEP, np.array([0.0]))[0]
    assert between[[30, 31]] == pytest.approx([0.5, 0.5], abs=0.02)
    mixed = pooling.kernel(0.0)[38]
    assert 0.6 < mixed[38] < 0.7
    assert mixed[[36, 37, 39, 40]].sum() > 0.28


def test_a_mean_is_never_known_less_surely_than_before_anything_was_learned():
    flat = np.zeros((PLACES, 2, len(GRID)))
    hyper = taught_by(flat, np.arange(PLACES))
    assert 0.3 < hyper.mean_spread <= PRIOR.mean_spread
    assert hyper.mean == pytest.approx(PRIOR.mean, abs=0.051)


def test_what_is_expected_of_a_place_is_its_groups_part_and_what_stays_unshared():
    """The variance of the place, less the part that is common, and how little the common part is known; and how little
    the mean is."""
    hyper = replace(
        PRIOR.start(), mean=-0.2, place_spread=0.5, mean_spread=0.1, common={"supply": Shared(0.3, {"a": (2.0, 20.0)})}
    )
    places = Places(np.zeros((2, 0)), {"supply": np.array(["a", "b"], dtype=object)})
    centre, variance = hyper.expected(places)
    assert centre == pytest.approx([-0.2 + 2.0 / 20.0, -0.2])
    assert variance == pytest.approx([0.25 - 0.09 + 1.0 / 20.0 + 0.01, 0.25 + 0.01])
    # however much is common, no variance is below nothing
    odd = replace(hyper, place_spread=0.1, mean_spread=0.0)
    assert odd.expected(places)[1][0] == 0.0


def test_a_place_is_told_what_its_group_has_in_common_and_keeps_the_rest_of_its_spread():
    """As `shared.teach` has it of one kind of group, for places about their centre."""
    rng = np.random.default_rng(12)
    names = np.repeat([f"s{number}" for number in range(12)], 6).astype(object)
    observed = np.repeat(0.5 * rng.normal(size=12), 6) + 0.15 * rng.normal(size=72)
    shown = np.exp(-0.5 * ((CENTRED[None, :] - observed[:, None]) / 0.1) ** 2)
    hyper = replace(PRIOR.start(), mean=-0.4, place_spread=0.5, mean_spread=0.2)
    places = Places(np.zeros((72, 0)), {"supply": names})
    taught, centre, variance = pooling.teach_shared(hyper, shown, places)
    shared, offsets, doubt = teach(shown, names, np.full(72, 0.25))
    assert taught.common["supply"] == shared
    assert shared.spread > 0.3
    assert centre == pytest.approx(-0.4 + offsets)
    assert variance == pytest.approx(0.25 - shared.spread**2 + doubt + 0.04)
    # a second kind that has the same members is told what is left
    both, _, less = pooling.teach_shared(hyper, shown, Places(np.zeros((72, 0)), {"supply": names, "item": names}))
    assert both.common["item"].spread < 0.6 * shared.spread
    assert (less >= 0.04).all()


@pytest.mark.parametrize(("true", "thought"), [(0.01, 0.06), (0.10, 0.10), (1.1, 1.1), (1.5, 1.1)])
def test_places_are_never_thought_all_but_equal_nor_wholly_unlike(true, thought):
    """Six hundredths at least and eleven tenths at most, whatever a fleet shows; cartridges lie a tenth apart."""
    likelihood, place = even_lives(true, 0.1, lives_each=12)
    assert taught_by(likelihood, place, replace(PRIOR, place_spread=min(thought, 0.8))).place_spread == thought
