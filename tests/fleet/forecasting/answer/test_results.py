"""Stored distributions: probabilities by a date, and the first position to fail."""

import numpy as np
import pytest
from scipy.stats import norm

from fleet.forecasting import GRID_LEVELS, first_to_fail, probability_by


def test_probability_by_agrees_with_the_distribution_it_was_stored_from():
    grid = 100.0 + 20.0 * norm.ppf(GRID_LEVELS)[None, :]
    for day in (75.0, 95.0, 100.0, 120.0):
        assert probability_by(grid, day)[0] == pytest.approx(norm.cdf(day, 100.0, 20.0), abs=0.004)


def test_a_jump_holds_its_probability_on_one_date():
    grid = np.minimum(100.0 + 20.0 * norm.ppf(GRID_LEVELS), 110.0)[None, :]
    assert probability_by(grid, 109.9)[0] == pytest.approx(norm.cdf(0.5), abs=0.03)
    assert probability_by(grid, 110.0)[0] == 1.0


def test_no_date_has_no_probability():
    assert np.isnan(probability_by(np.full((1, len(GRID_LEVELS)), np.nan), 50.0)[0])


def test_first_to_fail_lies_between_full_dependence_and_independence():
    z = norm.ppf(GRID_LEVELS)
    grid = np.stack([100.0 + 20.0 * z, 100.0 + 20.0 * z, np.full(len(z), np.nan)])
    group = first_to_fail(grid, np.array([1, 2, 0], dtype=np.int8), np.array([0, 0, 1]), 2)
    median = group.quantile_day[0, 3]
    independent = norm.ppf(1 - np.sqrt(0.5), 100.0, 20.0)
    assert independent < median < 100.0
    assert group.first_position_index.tolist() == [0, -1]
    assert np.isnan(group.quantile_day[1]).all()
