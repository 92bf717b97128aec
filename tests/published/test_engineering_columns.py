"""Closed forms against numerical solutions: resin columns, rotation, tank, averages.

Each numerical route is written from the differential equation or the definition, not from the closed form.
"""

import numpy as np
import pytest
from scipy import integrate

from fleet.engineering.formulas import lead_lag, mass_balance, resin, tank
from fleet.engineering.formulas.normalisation import OperatingPoint, net_driving_pressure_kpa

CELLS = 800
STEPS = 1600


class Column:
    """Cartridges in series by the rate law dc/dz = -N c (1 - q), dq/dx = N c (1 - q), explicit in throughput x."""

    def __init__(self, transfer_units: float, cartridges: int) -> None:
        self.n = transfer_units
        self.used = np.zeros((cartridges, CELLS))
        self.throughput = 0.0

    def step(self) -> None:
        passed = np.exp(-self.n * np.concatenate([[0.0], np.cumsum(1.0 - self.used.ravel())]) / CELLS)
        taken = (passed[:-1] - passed[1:]) * CELLS / STEPS
        self.used += taken.reshape(self.used.shape)
        self.throughput += 1.0 / STEPS

    def outlet(self, after: int) -> float:
        return float(np.exp(-self.n * (1.0 - self.used[:after]).sum() / CELLS))

    def feed(self, capacities: float) -> "Column":
        while self.throughput < capacities - 0.5 / STEPS:
            self.step()
        return self

    def rotate(self) -> None:
        self.used = np.vstack([self.used[1:], np.zeros((1, CELLS))])
        self.throughput = 0.0


@pytest.mark.parametrize("transfer_units", [8.0, 15.0, 30.0])
@pytest.mark.parametrize("cartridges", [1, 2])
def test_breakthrough_curve(transfer_units: float, cartridges: int) -> None:
    column = Column(transfer_units, cartridges)
    for share in (0.4, 0.7, 0.9, 1.0, 1.1):
        column.feed(share * cartridges)
        ours = resin.outlet_fraction(transfer_units, share * cartridges, float(cartridges))
        assert ours == pytest.approx(column.outlet(cartridges), rel=0.03, abs=2e-5)
        # The unused capacity upstream of a point follows from the outlet there alone.
        used = 1.0 - resin.remaining_capacities_at(transfer_units, column.outlet(cartridges)) / cartridges
        assert used == pytest.approx(column.used.mean(), abs=0.003)


@pytest.mark.parametrize("transfer_units", [5.0, 10.0, 40.0])
@pytest.mark.parametrize("remaining", [0.3, 1.0, 2.0])
def test_the_curve_is_mass_exact(transfer_units: float, remaining: float) -> None:
    """What the bed holds back in all is what it can hold: the integral of 1 - c over throughput is A."""
    held, _ = integrate.quad(
        lambda x: 1.0 - resin.outlet_fraction(transfer_units, x, remaining),
        0.0,
        remaining + 60.0 / transfer_units,
        limit=400,
        points=[remaining],
    )
    assert held == pytest.approx(remaining, rel=1e-6)


@pytest.mark.parametrize("transfer_units", [8.0, 10.0, 20.0])
def test_rotation_against_the_column(transfer_units: float) -> None:
    column = Column(transfer_units, 2)
    left = 1.0
    for cycle in range(4):
        ours = lead_lag.rotation(transfer_units, left)
        while column.outlet(1) < 0.95:
            column.step()
        assert ours.throughput_capacities == pytest.approx(column.throughput, abs=0.004), cycle
        assert ours.product_fraction == pytest.approx(column.outlet(2), rel=0.05, abs=1e-6), cycle
        assert ours.carried_capacities == pytest.approx(1.0 - column.used[1].mean(), abs=0.003), cycle
        left = ours.carried_capacities
        column.rotate()
    steady = lead_lag.steady_throughput_capacities(transfer_units)
    assert ours.throughput_capacities == pytest.approx(steady, abs=0.002)


@pytest.mark.parametrize(("precharge", "shutoff", "driving"), [(48.0, 276.0, 379.0), (35.0, 200.0, 210.0)])
def test_filling_a_tank_against_the_integral(precharge: float, shutoff: float, driving: float) -> None:
    """dt = dV/Q with Q ~ driving - P and V of Boyle's law, integrated over pressure."""
    atmosphere = 101.325
    time, _ = integrate.quad(
        lambda p: (precharge + atmosphere) / (p + atmosphere) ** 2 / (driving - p), precharge, shutoff, limit=200
    )
    volume = 1.0 - (precharge + atmosphere) / (shutoff + atmosphere)
    ours = tank.tank_fill_time_multiple(
        precharge_pressure_kpa=precharge, shutoff_pressure_kpa=shutoff, net_driving_pressure_at_zero_kpa=driving
    )
    assert ours == pytest.approx(time / (volume / driving), rel=1e-8)


@pytest.mark.parametrize("recovery", [1e-9, 1e-6, 1e-3, 0.15, 0.5, 0.9])
def test_the_log_mean_is_the_mean_along_the_membrane(recovery: float) -> None:
    mean, _ = integrate.quad(lambda y: 1.0 / (1.0 - y), 0.0, recovery)
    assert mass_balance.feed_brine_factor(recovery) == pytest.approx(mean / recovery, rel=1e-9)


def test_driving_pressure_by_hand() -> None:
    """60 psi, 300/10 mg/L, recovery 0.2, 20 degC, no drop: 413.69 - 26.06 + 0.78 kPa, every term worked by hand."""
    brine = 300.0 * 1.11571776
    outside = 0.2654 * brine * 293.15 / (1000.0 - brine / 1000.0)
    inside = 0.2654 * 10.0 * 293.15 / (1000.0 - 0.01)
    point = OperatingPoint(413.6854, 300.0, 10.0, 0.2, 20.0)
    assert net_driving_pressure_kpa(point) == pytest.approx(413.6854 - outside + inside, rel=1e-9)
