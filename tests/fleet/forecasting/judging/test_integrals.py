"""Coverage of forecasts whose truth is known, seen through a record that stops and visits that are rare."""

import numpy as np
import pytest
from scipy.stats import norm

from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.judging.integrals import coverage, integral_bounds, integral_shares


def record(claimed_spread, true_spread=0.4, count=3000, seed=1):
    """Lives about 400 days, a window of 500 days in which each began at any time, a visit each 60 days."""
    rng = np.random.default_rng(seed)
    centre = np.log(400.0) + 0.5 * rng.normal(size=count)
    life = np.exp(centre + true_spread * rng.normal(size=count))
    grid = np.exp(centre[:, None] + claimed_spread * norm.ppf(GRID_LEVELS))
    observed_until = rng.uniform(0.0, 500.0, count)
    is_observed = life < observed_until
    low = np.where(is_observed, 60.0 * np.floor(life / 60.0), observed_until)
    return grid, low, 60.0 * np.ceil(life / 60.0), is_observed, life


def test_calibrated_forecasts_are_found_calibrated_though_most_ends_were_not_seen():
    grid, low, high, is_observed, life = record(0.4)
    shares = integral_shares(*integral_bounds(grid, low, high, is_observed))
    assert shares.sum() == pytest.approx(1.0)
    assert coverage(shares, 0.8) == pytest.approx(0.80, abs=0.05)
    assert coverage(shares, 0.5) == pytest.approx(0.50, abs=0.08)
    # Ends that were seen, alone, would have said otherwise: short lives are seen to end.
    below = (life < grid[:, np.argmin(np.abs(GRID_LEVELS - 0.1))])[is_observed].mean()
    assert below > 0.15


@pytest.mark.parametrize("claimed", [0.2, 0.8])
def test_intervals_too_narrow_or_too_wide_are_found_out(claimed):
    grid, low, high, is_observed, life = record(claimed)
    at = [int(np.argmin(np.abs(GRID_LEVELS - level))) for level in (0.1, 0.9)]
    true = ((life >= grid[:, at[0]]) & (life <= grid[:, at[1]])).mean()
    measured = coverage(integral_shares(*integral_bounds(grid, low, high, is_observed)), 0.8)
    assert abs(true - 0.8) > 0.15
    assert measured == pytest.approx(true, abs=0.06)


def test_nothing_known_says_nothing():
    assert np.isnan(coverage(integral_shares(np.zeros(0), np.zeros(0)), 0.8))
