"""What places of one group have in common, from likelihoods whose truth is known."""

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import multivariate_normal

from fleet.forecasting.wear.shared import CENTRED, FEWEST_PLACES, Shared, teach


def likelihoods(of_group, of_place, noise, rng):
    observed = of_group + of_place + noise * rng.normal(size=len(of_group))
    return np.exp(-0.5 * ((CENTRED[None, :] - observed[:, None]) / noise) ** 2)


@pytest.fixture
def water():
    """40 supplies of 8 places: 0.4 of the spread is the supply's, 0.3 the place's, 0.2 is not seen well."""
    rng = np.random.default_rng(1)
    group = np.repeat([f"supply {number}" for number in range(40)], 8).astype(object)
    common = np.repeat(0.4 * rng.normal(size=40), 8)
    shown = likelihoods(common, 0.3 * rng.normal(size=320), 0.2, rng)
    return group, common, shown


def test_what_a_supply_has_in_common_is_found(water):
    group, common, shown = water
    shared, offsets, doubt = teach(shown, group, np.full(320, 0.25))
    assert 0.3 < shared.spread < 0.5
    assert np.corrcoef(offsets, common)[0, 1] > 0.85
    off = (offsets - common) / np.sqrt(doubt)
    assert 0.6 < (np.abs(off) < 1.28).mean() < 0.9


def test_places_that_share_nothing_are_told_nothing():
    rng = np.random.default_rng(2)
    group = np.repeat([f"supply {number}" for number in range(40)], 8).astype(object)
    shown = likelihoods(np.zeros(320), 0.5 * rng.normal(size=320), 0.2, rng)
    shared, offsets, doubt = teach(shown, group, np.full(320, 0.25))
    assert shared == Shared()
    assert not offsets.any()
    assert not doubt.any()


def test_a_place_does_not_hear_itself(water):
    group, _, shown = water
    _, offsets, _ = teach(shown, group, np.full(320, 0.25))
    odd = shown.copy()
    odd[0] = np.exp(-0.5 * ((CENTRED - 2.0) / 0.2) ** 2)
    _, told_by_odd, _ = teach(odd, group, np.full(320, 0.25))
    assert told_by_odd[0] == pytest.approx(offsets[0], abs=0.05)
    assert told_by_odd[1] > offsets[1] + 0.05


def test_small_groups_and_places_without_one_are_left_alone(water):
    group, _, shown = water
    group = group.copy()
    group[: 8 - FEWEST_PLACES + 1] = ""
    shared, offsets, doubt = teach(shown, group, np.full(320, 0.25))
    assert not offsets[:8].any()
    assert doubt[:8] == pytest.approx(shared.spread**2)
    mean, variance = shared.offset(np.array(["supply 3", "elsewhere"], dtype=object))
    assert variance[0] < variance[1] == pytest.approx(shared.spread**2)
    assert mean[1] == 0.0


def test_how_sure_a_supply_is_follows_from_the_number_of_its_other_places(water):
    """Normal throughout: u has the precision 1 / s^2 of its prior, and each of seven other places adds that of what it
    shows, whose variance is the part of the spread that is not shared and the noise of 0.2."""
    group, _, shown = water
    shared, _, doubt = teach(shown, group, np.full(320, 0.25))
    of_place = 0.25 - shared.spread**2 + 0.2**2
    # of the most extreme supplies, at the end of the grid, it is a little less
    assert np.median(doubt) == pytest.approx(1.0 / (1.0 / shared.spread**2 + 7.0 / of_place), rel=0.001)
    mean, variance = shared.offset(group[:1])
    # whoever is new to the supply hears all eight
    assert variance == pytest.approx(1.0 / (1.0 / shared.spread**2 + 8.0 / of_place), rel=0.02)
    assert abs(mean[0]) < 3.0 * 0.4


def test_a_taught_group_tells_its_mean_and_variance_and_another_the_spread():
    """A pull of 6 at a precision of 20 is a mean of 0.3 and a variance of a twentieth."""
    mean, variance = Shared(0.4, {"north": (6.0, 20.0)}).offset(np.array(["north", "south", "north"], dtype=object))
    assert mean == pytest.approx([0.3, 0.0, 0.3])
    assert variance == pytest.approx([0.05, 0.16, 0.05])


def test_a_group_that_taught_little_is_still_heard():
    """A pull of 0.3 at a precision of a half: 0.6, with a variance of 2."""
    mean, variance = Shared(2.0, {"north": (0.3, 0.5)}).offset(np.array(["north"], dtype=object))
    assert (mean[0], variance[0]) == pytest.approx((0.6, 2.0))


def normal_messages(count, each, places, spread, rest, rng):
    """Likelihoods of the places of groups, each known to a tenth, and the variance of a place's part."""
    group = np.repeat([f"g{number}" for number in range(count)], each).astype(object)
    common = np.repeat(spread * rng.normal(size=count), each)
    return group, likelihoods(common, rest * rng.normal(size=count * each), 0.1, rng)


@pytest.mark.parametrize(("each", "is_heard"), [(3, False), (4, True)])
def test_a_group_of_three_places_teaches_nothing_and_one_of_four_does(each, is_heard):
    group, shown = normal_messages(30, each, None, 0.5, 0.1, np.random.default_rng(7))
    shared, offsets, _ = teach(shown, group, np.full(len(group), 0.26))
    assert (shared.spread > 0.0) is is_heard
    assert bool(offsets.any()) is is_heard


@pytest.mark.parametrize(("groups", "is_heard"), [(2, False), (3, True)])
def test_two_groups_teach_nothing_and_three_do(groups, is_heard):
    group = np.repeat([f"g{number}" for number in range(groups)], 12).astype(object)
    common = np.repeat(np.array([-0.7, 0.7, 0.1])[:groups], 12)
    shown = likelihoods(common, 0.1 * np.random.default_rng(8).normal(size=len(group)), 0.1, np.random.default_rng(9))
    shared, _, _ = teach(shown, group, np.full(len(group), 0.26))
    assert (shared.spread > 0.0) is is_heard


def test_places_that_showed_nothing_do_not_make_a_group():
    """Of four places two are flat to within a fiftieth: the group is left alone."""
    group, shown = normal_messages(30, 4, None, 0.5, 0.1, np.random.default_rng(7))
    shown[::4] = 1.0 + 0.019 * np.linspace(0.0, 1.0, shown.shape[1])
    assert teach(shown, group, np.full(len(group), 0.26))[0] == Shared()
    shown[::4] = 1.0 + 0.021 * np.linspace(0.0, 1.0, shown.shape[1])
    assert teach(shown, group, np.full(len(group), 0.26))[0].spread > 0.0


def normal_gain(observed, share, total, noise):
    """By how much the log-likelihood of normal groups is better if this share of the variance is common to them."""
    size = observed.shape[1]
    of_place = np.eye(size) * ((1.0 - share) * total + noise**2)
    together = multivariate_normal(cov=of_place + share * total).logpdf(observed).sum()
    return together - multivariate_normal(cov=np.eye(size) * (total + noise**2)).logpdf(observed).sum()


@pytest.mark.parametrize(("gain", "is_heard"), [(0.8, False), (1.25, True)])
def test_what_is_common_must_better_the_likelihood_by_one(gain, is_heard):
    """One more parameter is worth one (Akaike). Six groups of four places whose means lie so far apart that the best
    of the shares betters the likelihood of the closed form by so much."""
    total, noise = 0.25, 0.2
    within = np.array([-0.45, -0.15, 0.15, 0.45])
    apart = np.array([-1.5, -0.9, -0.3, 0.3, 0.9, 1.5])
    shares = np.arange(0.12, 0.73, 0.12)

    def best(scale):
        return max(normal_gain(scale * apart[:, None] + within, share, total, noise) for share in shares)

    scale = brentq(lambda scale: best(scale) - gain, 0.2, 0.8)
    observed = (scale * apart[:, None] + within).ravel()
    shown = np.exp(-0.5 * ((CENTRED[None, :] - observed[:, None]) / noise) ** 2)
    group = np.repeat([f"g{number}" for number in range(6)], 4).astype(object)
    shared, offsets, _ = teach(shown, group, np.full(24, total))
    assert (shared.spread > 0.0) is is_heard
    assert bool(offsets.any()) is is_heard


def test_the_share_that_is_common_is_the_likeliest_of_those_tried():
    """By the closed form of normal groups, for groups from close to far apart; up to 72 %, in steps of 12."""
    noise, within = 0.15, np.array([-0.3, -0.1, 0.1, 0.3])
    shares = np.arange(0.0, 0.73, 0.12)
    chosen = set()
    for scale in (0.1, 0.16, 0.2, 0.25, 0.3, 0.35, 0.42, 0.5, 0.6, 0.75, 1.0):
        # total variance as small as the places allow, so that a large share of it can be common
        apart = scale * np.linspace(-1.0, 1.0, 12)
        total = float(np.var(apart) + np.var(within))
        observed = apart[:, None] + within
        gains = np.array([normal_gain(observed, share, total, noise) - (share > 0.0) for share in shares])
        shown = np.exp(-0.5 * ((CENTRED[None, :] - observed.reshape(-1, 1)) / noise) ** 2)
        group = np.repeat([f"g{number}" for number in range(12)], 4).astype(object)
        shared, _, _ = teach(shown, group, np.full(48, total))
        assert shared.spread**2 / total == pytest.approx(shares[np.argmax(gains)], abs=1e-9)
        chosen.add(round(shared.spread**2 / total, 2))
    assert len(chosen) >= 4


def test_a_place_that_is_torn_between_two_answers_says_nothing_to_its_group(water):
    """Wider than what is expected of its supply, so that it says less than nothing; and that counts as nothing."""
    group, _, shown = water
    torn, flat = shown.copy(), shown.copy()
    torn[0] = np.exp(-0.5 * ((CENTRED - 1.5) / 0.1) ** 2) + 0.2 * np.exp(-0.5 * ((CENTRED + 1.5) / 0.1) ** 2)
    flat[0] = 1.0
    variance = np.full(320, 0.25)
    shared, by_torn, _ = teach(torn, group, variance)
    _, by_flat, _ = teach(flat, group, variance)
    assert shared.spread > 0.0
    assert by_torn[1:8] == pytest.approx(by_flat[1:8], abs=1e-3)


def test_what_is_common_lies_on_both_sides_alike():
    """Turned about the middle, everything that is told turns with it."""
    assert pytest.approx(-CENTRED[::-1]) == CENTRED
    group, shown = normal_messages(30, 4, None, 0.5, 0.1, np.random.default_rng(7))
    shared, offsets, doubt = teach(shown, group, np.full(len(group), 0.26))
    turned, turned_offsets, turned_doubt = teach(shown[:, ::-1], group, np.full(len(group), 0.26))
    assert turned.spread == shared.spread
    assert turned_offsets == pytest.approx(-offsets, abs=1e-9)
    assert turned_doubt == pytest.approx(doubt)
