"""Weighted quantiles, loads to dates and back, and the earlier of two dates."""

import numpy as np
import pytest
from scipy.stats import norm

from fleet.forecasting import GRID_LEVELS, build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.dates import LEVEL_MASS, dates_from_load, demand_spread, earliest, weighted_quantiles
from tests.fleet.forecasting.fleets import NOW, columns


@pytest.fixture
def conditions():
    fleet, _ = build_fleet(**columns(units=2))
    return build_conditions(fleet, screen(fleet).readings)


def test_weighted_quantiles_agree_with_the_normal_distribution():
    points = np.linspace(-5, 5, 400)[None, :]
    weights = norm.pdf(points) / norm.pdf(points).sum()
    quantiles = weighted_quantiles(points, weights, np.array([0.1, 0.5, 0.9]))[0]
    assert quantiles == pytest.approx(norm.ppf([0.1, 0.5, 0.9]), abs=0.01)


@pytest.mark.parametrize("rows", [1, 3])
def test_weighted_quantiles_by_hand(rows):
    """Points 0, 10 and 30 of weights 0.2, 0.5 and 0.3 stand at the middles of their weights: at the levels 0.1, 0.45
    and 0.85. Between them it is linear, beyond them flat; in whatever order they come, and row by row."""
    values = np.tile([30.0, 0.0, 10.0], (rows, 1)) + 100.0 * np.arange(rows)[:, None]
    levels = np.array([0.05, 0.1, 0.275, 0.45, 0.55, 0.85, 0.99])
    quantiles = weighted_quantiles(values, np.tile([0.3, 0.2, 0.5], (rows, 1)), levels)
    for row in range(rows):
        assert quantiles[row] - 100.0 * row == pytest.approx([0.0, 0.0, 5.0, 10.0, 15.0, 30.0, 30.0])


def test_points_without_weight_change_no_quantile():
    values, weights = np.array([[-7.0, -5.0, 0.0, 10.0, 80.0, 90.0]]), np.array([[0.0, 0.0, 0.4, 0.6, 0.0, 0.0]])
    inside = weighted_quantiles(values, weights, np.array([0.3, 0.5]))
    assert inside == pytest.approx(weighted_quantiles(values[:, 2:4], weights[:, 2:4], np.array([0.3, 0.5])))
    assert np.isfinite(weighted_quantiles(values, weights, GRID_LEVELS)).all()


def test_day_when_is_the_inverse_of_the_running_load(conditions):
    unit = np.array([0, 1])
    days = np.array([[NOW - 40.0, NOW + 3.3], [NOW + 200.0, NOW + 3000.0]])
    load = conditions.at(words.RESIN, unit[:, None], days)
    assert conditions.day_when(words.RESIN, unit, load) == pytest.approx(days, abs=0.01)


def test_load_left_of_a_steady_unit_lasts_load_over_rate(conditions):
    unit = np.array([0])
    rate = conditions.at(words.SEDIMENT, unit, np.array([NOW + 28.0])) - conditions.at(
        words.SEDIMENT, unit, np.array([NOW])
    )
    load = np.full((1, len(GRID_LEVELS)), 100.0 * rate[0] / 28.0)
    dates = dates_from_load(conditions, words.SEDIMENT, unit, load, NOW)
    assert dates[0, len(GRID_LEVELS) // 2] - NOW == pytest.approx(100.0, rel=0.01)
    # Future demand is not known, so the dates spread although the load left is known.
    assert dates[0, -5] - dates[0, 4] > 10.0


def test_nothing_left_is_now(conditions):
    dates = dates_from_load(conditions, words.RESIN, np.array([0]), np.full((1, len(GRID_LEVELS)), -5.0), NOW)
    assert (dates == NOW).all()


def test_the_earlier_of_two_independent_dates():
    z = norm.ppf(GRID_LEVELS)
    first = (100.0 + 10.0 * z)[None, :]
    quantiles = earliest(first, first)[0, len(GRID_LEVELS) // 2]
    # P(min <= d) = 1 - (1 - F)^2 = 1/2.
    assert quantiles == pytest.approx(norm.ppf(1 - np.sqrt(0.5), 100.0, 10.0), abs=0.5)
    late = (500.0 + 10.0 * z)[None, :]
    assert earliest(first, late)[0] == pytest.approx(first[0], abs=1.5)


def test_the_earlier_of_two_dates_by_brute_force():
    """A date that has passed with a probability of 30 % (a run of equal days), and one that lies all ahead: the
    chance that neither has come by a day is the product of the two chances."""
    z = norm.ppf(GRID_LEVELS)
    passed = np.maximum(NOW + 20.0 + 40.0 * z, NOW)[None, :]
    ahead = np.exp(3.0 + 0.5 * z)[None, :] + NOW
    rng = np.random.default_rng(3)
    level = rng.uniform(size=(2, 400_000))
    drawn = [np.interp(level[row], GRID_LEVELS, grid[0]) for row, grid in enumerate((passed, ahead))]
    expected = np.quantile(np.minimum(*drawn), GRID_LEVELS)
    for both in ((passed, ahead), (ahead, passed)):
        assert earliest(*both)[0] - NOW == pytest.approx(expected - NOW, abs=0.6)
    twice = earliest(np.vstack([passed, ahead]), np.vstack([passed, ahead]))
    assert twice[0] == pytest.approx(earliest(passed, passed)[0])
    assert twice[1] == pytest.approx(earliest(ahead, ahead)[0])


def test_what_has_surely_passed_has_passed_now():
    gone = np.full((1, len(GRID_LEVELS)), NOW)
    assert (earliest(gone, gone) == NOW).all()
    assert (earliest(gone, gone + 100.0) == NOW).all()


@pytest.mark.parametrize("stage", [words.SEDIMENT, words.RESIN])
def test_no_date_lies_further_ahead_than_ten_years_and_none_before_now(conditions, stage):
    unit = np.array([0])
    far = dates_from_load(conditions, stage, unit, np.full((1, len(GRID_LEVELS)), 1e9), NOW)[0]
    assert far[len(far) // 2 :] - NOW == pytest.approx(np.full(len(far) // 2 + 1, 3652.0))
    # six years of load: the late half of what demand may be is cut off at ten, the early half is not
    load = conditions.at(stage, unit, np.array([NOW + 6 * 365.25])) - conditions.at(stage, unit, np.array([NOW]))
    ahead = dates_from_load(conditions, stage, unit, np.tile(load, (1, len(GRID_LEVELS))), NOW)[0] - NOW
    assert ahead[len(ahead) // 2] == pytest.approx(6 * 365.25, rel=0.01)
    assert ahead[0] < 0.5 * ahead[len(ahead) // 2]
    assert ahead[-1] == 3652.0
    partly = np.linspace(-50.0, 50.0, len(GRID_LEVELS))[None, :]
    dates = dates_from_load(conditions, stage, unit, partly, NOW)[0]
    assert dates[len(dates) // 4] == NOW < dates[-1]


def test_a_date_spreads_as_demand_does(conditions):
    """A load that is known surely: the logarithm of the days is about normal with the spread of demand. Five points
    stand for it, so only mean and variance are held to, and that it is the same on both sides."""
    unit, days = np.array([0]), 300.0
    load = conditions.at(words.SEDIMENT, unit, np.array([NOW + days])) - conditions.at(
        words.SEDIMENT, unit, np.array([NOW])
    )
    ahead = dates_from_load(conditions, words.SEDIMENT, unit, np.tile(load, (1, len(GRID_LEVELS))), NOW)[0] - NOW
    off = np.log(ahead / days) / float(demand_spread(np.array(days)))
    assert LEVEL_MASS.sum() == pytest.approx(1.0)
    assert off == pytest.approx(-off[::-1], abs=0.13)
    assert LEVEL_MASS @ off**2 == pytest.approx(1.0, rel=0.03)


def test_demand_and_concentration_to_come_spread_the_date(conditions):
    """A load left of about 100 days, known to a fifth. Demand is known to
    sqrt(0.05^2 + 0.25^2 x 15/115 + (0.1 x 100/365)^2) = 0.1068 of itself, and what chlorine, or salt and carbon
    dioxide, come with it adds 0.12 in quadrature on carbon and resin: in all sqrt(0.2^2 + 0.1068^2) = 0.2267 and
    0.2565."""

    def spread(stage):
        unit = np.array([0])
        rate = (conditions.at(stage, unit, np.array([NOW + 28.0])) - conditions.at(stage, unit, np.array([NOW]))) / 28.0
        load = 100.0 * rate[0] * np.exp(0.2 * norm.ppf(GRID_LEVELS))[None, :]
        ahead = dates_from_load(conditions, stage, unit, load, NOW)[0] - NOW
        low, middle, high = np.interp([0.1, 0.5, 0.9], GRID_LEVELS, ahead)
        assert middle == pytest.approx(100.0, rel=0.02)
        return np.log(high / low) / (2 * 1.2816)

    assert demand_spread(np.array(100.0)) == pytest.approx(0.1068, abs=5e-5)
    assert [spread(stage) for stage in (words.SEDIMENT, words.MEMBRANE)] == pytest.approx([0.2267] * 2, rel=0.03)
    assert [spread(stage) for stage in (words.CARBON, words.RESIN)] == pytest.approx([0.2565] * 2, rel=0.03)


def test_what_may_never_happen_is_no_date_of_the_levels_before_it():
    quantiles = weighted_quantiles(np.array([[1.0, np.inf]]), np.array([[0.5, 0.5]]), np.array([0.1, 0.5, 0.9]))
    assert quantiles[0].tolist() == [1.0, 1.0, np.inf]


def test_half_a_day_left_is_half_a_day_and_nothing_left_is_now_where_nothing_is_drawn(conditions):
    unit, now = np.array([0]), np.array([NOW])
    day = conditions.at(words.MEMBRANE, unit, now + 14.0) - conditions.at(words.MEMBRANE, unit, now)
    half = np.full((1, len(GRID_LEVELS)), 0.5 * day[0] / 14.0)
    dates = dates_from_load(conditions, words.MEMBRANE, unit, half, NOW)[0]
    assert dates[len(dates) // 2] - NOW == pytest.approx(0.5, rel=0.02)
    fleet, _ = build_fleet(**columns(weekly_demand_l=0.0))
    idle = build_conditions(fleet, screen(fleet).readings)
    assert (dates_from_load(idle, words.SEDIMENT, unit, np.zeros((1, len(GRID_LEVELS))), NOW) == NOW).all()
