"""The column of one or two beds against integration of its equation and against published lead-lag figures."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from fleet.forecasting.wear import beds


@pytest.mark.parametrize("n", [6.0, 10.0, 25.0])
def test_remaining_after_solves_the_column_equation(n):
    end = solve_ivp(lambda x, r: -(1 - np.exp(-n * r)), (0.0, 1.7), [1.0], rtol=1e-9, atol=1e-12, dense_output=True)
    for x in (0.2, 0.8, 1.1, 1.7):
        remaining = beds.remaining_after(np.array(1.0), np.array(x), np.array(n))
        assert remaining == pytest.approx(end.sol(x)[0], rel=1e-5)


def test_throughput_until_is_the_inverse_of_remaining_after():
    n, remaining = np.array(12.0), np.array(0.8)
    target = beds.remaining_after(remaining, np.array(0.75), n)
    assert beds.throughput_until(remaining, target, n) == pytest.approx(0.75)
    assert beds.throughput_until(target, remaining, n) < 0


# Engineering reference 9.5: throughput of a single bed to 1 %, and of the first lead to 95 %, in capacities.
@pytest.mark.parametrize(("n", "single", "first"), [(8, 0.426, 1.368), (10, 0.540, 1.294), (20, 0.770, 1.147)])
def test_throughput_agrees_with_the_published_lead_lag_table(n, single, first):
    transfer_units = np.array(float(n))
    one_percent = beds.remaining_at_fraction(np.array(0.01), transfer_units)
    assert beds.throughput_until(np.array(1.0), one_percent, transfer_units) == pytest.approx(single, abs=0.001)
    lead = beds.remaining_at_fraction(np.array(0.95), transfer_units)
    assert beds.throughput_until(np.array(1.0), lead, transfer_units) == pytest.approx(first, abs=0.001)


@pytest.mark.parametrize(("n", "steady"), [(8, 0.994), (10, 0.995), (20, 0.997)])
def test_rotation_settles_at_the_published_throughput_per_cartridge(n, steady):
    # Engineering reference 9.5, third column: lead run to 95 %, lag becomes lead, fresh lag behind it.
    transfer_units, lead = np.array(float(n)), np.array(1.0)
    exhausted_at = beds.remaining_at_fraction(np.array(0.95), transfer_units)
    for _ in range(6):
        x = beds.throughput_until(lead, exhausted_at, transfer_units)
        both = beds.remaining_after(lead + 1.0, x, transfer_units)
        lead = both - exhausted_at
    assert x == pytest.approx(steady, abs=0.001)


def test_an_exhausted_bed_stays_finite():
    remaining = beds.remaining_after(np.array(1.0), np.array(1e6), np.array(20.0))
    assert 0.0 <= remaining < 1e-6


def test_no_bed_is_followed_past_999_thousandths_of_its_feed_nor_below_a_millionth():
    n = np.array(10.0)
    most, least = beds.remaining_at_fraction(np.array([0.999, 1e-6]), n)
    assert beds.remaining_at_fraction(np.array([1.0, 1.5]), n) == pytest.approx([most] * 2)
    assert beds.remaining_at_fraction(np.array([0.0, 1e-9]), n) == pytest.approx([least] * 2)
    assert beds.remaining_at_fraction(np.array([0.998, 1e-5]), n) == pytest.approx(-np.log([0.998, 1e-5]) / 10.0)
