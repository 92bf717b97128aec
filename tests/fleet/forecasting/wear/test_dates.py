"""Weighted quantiles, loads to dates and back, and the earlier of two dates."""

import numpy as np
import pytest
from scipy.stats import norm

from fleet.forecasting import GRID_LEVELS, build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.dates import dates_from_load, demand_spread, earliest, weighted_quantiles
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
