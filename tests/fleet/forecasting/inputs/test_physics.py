"""The formulas as the forecast calls them: the published value inside their range, that of the edge outside it."""

import numpy as np
import pytest

from fleet.engineering.formulas import mass_balance
from fleet.forecasting.inputs import physics

ODD = np.array([np.nan, -1e12, -1.0, 0.0, 1e-300, 0.2, 40.0, 1e5, 1e12])
TWO = [physics.recovery_fraction, physics.feed_volume_l, physics.osmotic_pressure_kpa]


def test_recovery_waste_and_feed_are_those_of_the_formulas():
    permeate, concentrate = np.array([100.0, 0.2, np.nan]), np.array([300.0, 0.8, 1.0])
    np.testing.assert_array_equal(
        physics.recovery_fraction(permeate, concentrate), mass_balance.recovery_fraction(permeate, concentrate)
    )
    recovery = np.array([0.05, 0.2, np.nan, 0.9])
    np.testing.assert_array_equal(physics.waste_ratio(recovery), mass_balance.waste_ratio(recovery))
    np.testing.assert_allclose(physics.recovery_at_waste_ratio(physics.waste_ratio(recovery)), recovery, rtol=1e-12)
    np.testing.assert_allclose(physics.feed_volume_l(12.0 * recovery, recovery), [12.0, 12.0, np.nan, 12.0])


@pytest.mark.parametrize("formula", TWO, ids=lambda f: f.__name__)
def test_an_odd_number_is_held_to_the_range_and_stops_nothing(formula):
    first, second = (values.ravel() for values in np.meshgrid(ODD, ODD))
    result = formula(first, second)
    known = np.isfinite(first) & np.isfinite(second)
    assert np.isfinite(result[known]).all()
    assert (result[known] >= 0).all()
    assert np.isnan(result[~known]).all()


@pytest.mark.parametrize("formula", [physics.recovery_at_waste_ratio, physics.waste_ratio], ids=lambda f: f.__name__)
def test_an_odd_ratio_or_recovery_is_held_to_the_range(formula):
    result = formula(ODD)
    assert np.isnan(result[0])
    assert np.isfinite(result[1:]).all()
    assert (result[1:] >= 0).all()
