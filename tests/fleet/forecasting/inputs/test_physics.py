"""The formulas as the forecast calls them: the published value inside their range, that of the edge outside it."""

import numpy as np
import pytest

from fleet.engineering.formulas import mass_balance, normalisation, resin, sediment, temperature_correction
from fleet.forecasting.inputs import physics

ODD = np.array([np.nan, -1e12, -1.0, 0.0, 1e-300, 0.2, 40.0, 1e5, 1e12])
TWO = [physics.recovery_fraction, physics.feed_volume_l]


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
    both_known = np.isfinite(first) & np.isfinite(second)
    assert np.isfinite(result[both_known]).all()
    assert (result[both_known] >= 0).all()
    assert np.isnan(result[~both_known]).all()


@pytest.mark.parametrize("formula", [physics.recovery_at_waste_ratio, physics.waste_ratio], ids=lambda f: f.__name__)
def test_an_odd_ratio_or_recovery_is_held_to_the_range(formula):
    result = formula(ODD)
    assert np.isnan(result[0])
    assert np.isfinite(result[1:]).all()
    assert (result[1:] >= 0).all()


def test_net_driving_pressure_and_feed_brine_factor_are_those_of_the_formulas():
    inlet, back, feed = np.array([400.0, 250.0]), np.array([0.0, 140.0]), np.array([300.0, 900.0])
    recovery, temperature = np.array([0.2, 0.35]), np.array([8.0, 25.0])
    point = normalisation.OperatingPoint(inlet, feed, 0.0, recovery, temperature, permeate_pressure_kpa=back)
    np.testing.assert_array_equal(
        physics.net_driving_pressure_kpa(inlet, back, feed, recovery, temperature),
        normalisation.signed_net_driving_pressure_kpa(point),
    )
    np.testing.assert_array_equal(physics.feed_brine_factor(recovery), mass_balance.feed_brine_factor(recovery))


def test_a_brine_beyond_the_range_of_osmotic_pressure_is_held_to_it():
    """Feed of 40 g/L at 80 % recovery would be 80 g/L on the mean, above what the formula covers."""
    pressure = physics.net_driving_pressure_kpa(*(np.array([value]) for value in (6000.0, 0.0, 40_000.0, 0.8, 25.0)))
    at_edge = physics.net_driving_pressure_kpa(*(np.array([value]) for value in (6000.0, 0.0, 49_999.0, 0.0, 25.0)))
    assert pressure == pytest.approx(at_edge)
    assert np.isfinite(physics.net_driving_pressure_kpa(ODD[1:], ODD[1:], ODD[1:], ODD[1:], ODD[1:])).all()


def test_a_differential_is_normalised_by_the_formula_and_may_lie_below_zero():
    differential, ratio, temperature = np.array([12.0, 40.0]), np.array([0.8, 1.5]), np.array([6.0, 25.0])
    at = {"temperature_degc": temperature, "reference_temperature_degc": np.array([9.0, 14.0])}
    by_formula = sediment.normalised_differential_pressure(differential, flow=ratio, reference_flow=1.0, **at)
    for sign in (1.0, -1.0):
        normalised = physics.normalised_differential_kpa(sign * differential, flow_over_reference=ratio, **at)
        np.testing.assert_allclose(normalised, sign * by_formula, rtol=1e-14)


def test_temperature_counts_as_in_the_flow_of_a_membrane():
    """exp(U times the term) is the factor of the published formula, with the label's coefficient and without one."""
    temperature, stated = np.array([4.0, 12.0, 25.0, 31.0]), np.array([2700.0, np.nan, np.nan, np.nan])
    u = physics.water_u_kelvin(temperature, stated)
    np.testing.assert_array_equal(u, [2700.0, 3020.0, 2640.0, 2640.0])
    factor = np.exp(u * physics.inverse_temperature_per_kelvin(temperature))
    np.testing.assert_array_equal(factor, temperature_correction.water_tcf(temperature, u_kelvin=stated))
    at_edge = physics.inverse_temperature_per_kelvin(0.0)
    assert physics.inverse_temperature_per_kelvin(-40.0) == at_edge


def test_load_and_capacity_of_resin_are_those_of_the_formulas():
    tds, gas = np.array([10.0, 0.5, 200.0]), np.array([5.0, 20.0, 0.0])
    ions = resin.ionic_load_meq_per_l(tds)
    np.testing.assert_array_equal(
        physics.resin_load_meq_per_l(tds, gas), resin.governing_load_meq_per_l(ions, co2_mg_per_l=gas)
    )
    np.testing.assert_array_equal(physics.resin_load_meq_per_l(tds), ions)
    capacity = physics.resin_capacity_meq(np.array([1.2, np.nan]), np.array([0.457, 0.457]))
    np.testing.assert_allclose(capacity, [548.4, np.nan])
    # no resin holds 5 eq/L, which a table may say: it is taken as the most that the formula knows
    np.testing.assert_allclose(physics.resin_capacity_meq(np.array([1.0]), np.array([5.0])), 3000.0)
