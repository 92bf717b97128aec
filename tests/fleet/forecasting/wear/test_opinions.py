"""Rules that have a say in a forecast, against the normal distribution of scipy."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.wear import opinions
from fleet.forecasting.wear.opinions import HALF_SAY, OPINION_SPREAD, pooled, rule, share
from fleet.forecasting.wear.stage_models import SEDIMENT
from tests.fleet.forecasting.fleets import NOW, columns, readings

MIDDLE = len(GRID_LEVELS) // 2
QUANTILES = norm.ppf(GRID_LEVELS)[None]


def test_a_rule_leaves_its_middle_less_what_has_passed():
    left = rule(np.array([1000.0, 50.0]), np.array([300.0, 80.0]))
    assert left[:, MIDDLE] == pytest.approx([700.0, -30.0])
    assert np.log((left[0, -7] + 300.0) / 1000.0) == pytest.approx(OPINION_SPREAD * norm.ppf(GRID_LEVELS[-7]))


def test_what_agrees_with_the_forecast_leaves_it_as_it_was():
    np.testing.assert_allclose(pooled(QUANTILES, (0.3, QUANTILES)), QUANTILES, atol=0.02)


def test_probabilities_are_pooled_by_share():
    """Of two normal distributions three apart: the quantiles of their mixture, from its distribution function."""
    answer = pooled(QUANTILES, (0.25, QUANTILES + 3.0))[0]
    for level in (0.1, 0.5, 0.7, 0.9):
        expected = brentq(lambda x, p=level: 0.75 * norm.cdf(x) + 0.25 * norm.cdf(x - 3.0) - p, -9.0, 9.0)
        assert np.interp(level, GRID_LEVELS, answer) == pytest.approx(expected, abs=0.05)


def test_what_is_surely_past_stays_past_in_the_middle():
    """A rule with a quarter of the say, by which it lasts for long yet."""
    past, later = np.zeros((1, len(GRID_LEVELS))), np.full((1, len(GRID_LEVELS)), 900.0)
    answer = pooled(past, (0.25, later))[0]
    assert answer[MIDDLE] == 0.0
    assert np.interp(0.9, GRID_LEVELS, answer) == pytest.approx(900.0)


def test_a_fleet_that_knows_what_is_usual_in_it_hears_the_rules_less():
    untaught = SEDIMENT.prior.start()
    assert share(0.4, untaught) == 0.4
    at_half = replace(untaught, places=50, mean_spread=HALF_SAY)
    assert share(0.4, at_half) == pytest.approx(0.2)
    assert share(0.4, replace(at_half, mean_spread=HALF_SAY / 3.0)) == pytest.approx(0.04)


def test_a_membrane_is_pooled_with_three_years(monkeypatch):
    """The longer the years of the rule, the later the date, by no more than its share of the say."""

    def median_days(years):
        interval = np.array([years * 365.0 if name == "membrane" else 180.0 for name in words.STAGES])
        monkeypatch.setattr("fleet.forecasting.answer.forecast.FIXED_INTERVAL_DAYS", interval)
        fleet, faults = build_fleet(**columns(units=1, placed=NOW - 200.0, weekly_demand_l=70.0))
        assert faults == []
        answer = forecast(fleet)
        row = int(np.flatnonzero(fleet.positions.stage == words.MEMBRANE)[0])
        return answer.grid_day[row, MIDDLE] - NOW, answer.fresh_life_days[row]

    soon, fresh_soon = median_days(1.0)
    usual, fresh_usual = median_days(3.0)
    late, fresh_late = median_days(9.0)
    assert soon < usual - 20.0 < late - 40.0
    assert np.all(fresh_soon <= fresh_usual)
    assert np.all(fresh_usual <= fresh_late)
    assert opinions.MOST_OF_MEMBRANE_CALENDAR < 0.5


@pytest.mark.parametrize("permeate", [9.0, 90.0])
def test_what_was_read_of_a_membrane_outweighs_the_rule(monkeypatch, permeate):
    """Good or past its limit: whoever read it knows more of it than a calendar does."""

    def dates(years):
        interval = np.array([years * 365.0 if name == "membrane" else 180.0 for name in words.STAGES])
        monkeypatch.setattr("fleet.forecasting.answer.forecast.FIXED_INTERVAL_DAYS", interval)
        read = readings(NOW - np.array([90.0, 30.0, 2.0]), feed_tds_mg_per_l=300.0, permeate_tds_mg_per_l=permeate)
        fleet, faults = build_fleet(**columns(placed=NOW - 200.0), readings=read)
        assert faults == []
        row = int(np.flatnonzero(fleet.positions.stage == words.MEMBRANE)[0])
        return forecast(fleet).grid_day[row] - NOW

    usual = dates(3.0)
    np.testing.assert_array_equal(dates(0.3), usual)
    assert (usual[-1] <= 0.0) == (permeate == 90.0)
