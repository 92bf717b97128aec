"""Closed forms against numerical solutions: resin columns, rotation, recovery, tank, averages, censored lives.

Each numerical route is written from the differential equation or the definition, not from the closed form.
"""

import numpy as np
import pytest
from scipy import integrate, stats

from fleet.engineering.formulas import expected_flow, lead_lag, mass_balance, resin, tank, trends
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
        used = resin.capacity_used_fraction(transfer_units, column.outlet(cartridges), cartridges)
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


def test_the_first_cycle_is_not_one_to_forecast_from() -> None:
    n = np.array([8.0, 10.0, 20.0, 40.0])
    first, steady = lead_lag.first_throughput_capacities(n), lead_lag.steady_throughput_capacities(n)
    assert np.all(first / steady > 1.05)
    assert np.all(np.diff(first / steady) < 0.0), "the sharper the front, the less the first cycle gains"


def test_transfer_units_come_back_from_two_points_of_a_curve() -> None:
    n = 12.0
    x = np.array([0.8, 1.05])
    c = resin.outlet_fraction(n, x)
    found = resin.transfer_units_from_readings(
        outlet_fraction_1=c[0], throughput_1_capacities=x[0], outlet_fraction_2=c[1], throughput_2_capacities=x[1]
    )
    assert found == pytest.approx(n, rel=0.01)


@pytest.mark.parametrize("seed", range(5))
def test_recovery_against_a_fixed_point_iteration(seed: int) -> None:
    """Guess a recovery, compute the flow it allows, take the recovery that flow gives, and again."""
    rng = np.random.default_rng(seed)
    rating = expected_flow.MembraneRating(rng.uniform(100, 600), rng.uniform(345, 450), 25.0, 250.0, 0.15, 0.97)
    site = {
        "pressure_kpa": rng.uniform(250, 600),
        "temperature_degc": rng.uniform(4, 32),
        "tds_mg_per_l": rng.uniform(50, 900),
    }
    drain = rng.uniform(200, 2000)
    recovery = 0.2
    for _ in range(200):
        flow = expected_flow.expected_permeate_flow_l_per_day(rating, recovery_fraction=recovery, **site)
        recovery = 0.5 * (recovery + flow / (flow + drain))
    ours = expected_flow.expected_recovery_fraction(rating, concentrate_flow_l_per_day=drain, **site)
    assert ours == pytest.approx(recovery, rel=1e-9)


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


@pytest.mark.parametrize(("exhausted", "early"), [([620.0, 700.0], [800.0]), ([], [800.0, 900.0]), ([500.0], [300.0])])
def test_lives_cut_short_against_sampling(exhausted: list[float], early: list[float]) -> None:
    """Weigh a million draws of the prior by the likelihood of what was seen: no formula of the posterior is used."""
    rng = np.random.default_rng(20)
    prior, spread, noise = 900.0, 0.5, 0.25
    draws = np.log(prior) + spread * rng.standard_normal(1_000_000)
    weight = np.zeros_like(draws)
    for life in exhausted:
        weight += stats.norm.logpdf(np.log(life), draws, noise)
    for life in early:
        weight += stats.norm.logsf(np.log(life), draws, noise)
    weight = np.exp(weight - weight.max())
    order = np.argsort(draws)
    shares = np.cumsum(weight[order]) / weight.sum()
    median = np.exp(draws[order][np.searchsorted(shares, 0.5)])
    centre = np.average(draws, weights=weight)
    sd = np.sqrt(np.average((draws - centre) ** 2, weights=weight))
    ours = trends.posterior_capacity(
        prior, observed_lives=exhausted, censored_lives=early, prior_log_sd=spread, observation_log_sd=noise
    )
    assert ours[0] == pytest.approx(median, rel=0.005)
    assert ours[1] == pytest.approx(sd, rel=0.01)


def test_a_life_cut_short_never_lowers_what_is_expected() -> None:
    for early in (1.0, 100.0, 660.0, 2000.0, 50_000.0):
        plain, _ = trends.posterior_capacity(900.0, observed_lives=[620.0, 700.0])
        told, _ = trends.posterior_capacity(900.0, observed_lives=[620.0, 700.0], censored_lives=[early])
        wrong, _ = trends.posterior_capacity(900.0, observed_lives=[620.0, 700.0, early])
        assert told > plain * (1.0 - 1e-6)
        assert told > wrong * (1.0 - 1e-6)


def test_the_robust_slope_is_that_of_scipy() -> None:
    rng = np.random.default_rng(3)
    days = np.sort(rng.uniform(0, 400, 40))
    flow = 200.0 - 0.1 * days + rng.standard_t(2, 40)
    assert trends.theil_sen_slope(days, flow) == pytest.approx(stats.theilslopes(flow, days).slope, rel=1e-12)
