"""A line whose slope, intercept and temperature coefficient are known is found again."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.forecasting.wear.trends import TrendInput, _noise_scale, _usual_scale, fit_trend, slope_log_likelihood

USE = np.linspace(0.0, 1.0, 25)


def trend_input(slope=0.3, start=1.2, theta=0.5, power=1.0, sign=-1.0, noise=0.02, off=0.0, **more):
    rng = np.random.default_rng(4)
    z = rng.normal(0.0, 0.2, len(USE))
    value = start + theta * z + sign * slope * USE**power + noise * rng.normal(size=len(USE)) + off
    trend_columns = {
        "segment": np.zeros(len(USE), dtype=np.int64), "day": 40.0 * np.arange(len(USE)), "value": value,
        "noise": np.full(len(USE), noise), "use": USE, "z": z, "shared_noise": 0.01, "centre": np.array([1.0]),
        "width": np.array([0.5]), "z_spread": 1.0, "sign": sign, "usual_slope": 0.2,
    }  # fmt: skip
    return TrendInput(**{**trend_columns, **more})


def best(trend):
    return -trend.c1[0] / (2.0 * trend.c2[0])


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize("power", [0.7, 1.0, 1.5])
def test_the_likeliest_slope_is_the_true_one(sign, power):
    trend = fit_trend(trend_input(sign=sign, power=power), power)
    assert best(trend) == pytest.approx(0.3, abs=0.03)
    grid = np.linspace(0.0, 0.6, 61)
    likelihood = slope_log_likelihood(trend, grid)[0]
    assert grid[np.argmax(likelihood)] == pytest.approx(best(trend), abs=0.01)
    # a quadratic: one standard error away the logarithm has fallen by a half
    error = 1.0 / np.sqrt(trend.c2[0])
    two = slope_log_likelihood(trend, np.array([best(trend), best(trend) + error]))[0]
    assert two[0] - two[1] == pytest.approx(0.5, abs=1e-6)
    # 25 readings of 2 % over a whole unit of use: 0.02/sqrt(25 x var(use)) = 0.013, more for what is fitted beside it
    assert 0.010 < error < 0.025
    assert trend.intercept[0] + trend.intercept_by_slope[0] * 0.3 == pytest.approx(1.2, abs=0.02)
    # for a given slope: 0.02/sqrt(25)
    assert trend.intercept_spread[0] == pytest.approx(0.004, rel=0.1)


def test_one_wild_reading_hardly_counts():
    off = np.zeros(len(USE))
    off[20] = 1.0
    assert best(fit_trend(trend_input(off=off), 1.0)) == pytest.approx(0.3, abs=0.05)


def test_missing_values_do_not_count():
    off = np.zeros(len(USE))
    off[[3, 9]] = np.nan
    gaps = trend_input(off=off)
    keep = np.isfinite(gaps.value)
    rows = {name: getattr(gaps, name)[keep] for name in ("segment", "day", "value", "noise", "use", "z")}
    assert best(fit_trend(gaps, 1.0)) == pytest.approx(best(fit_trend(replace(gaps, **rows), 1.0)))


def test_readings_of_one_month_share_part_of_their_error():
    """Ten readings of one month tell less than ten of ten months, and one alone as much either way."""
    apart = fit_trend(trend_input(shared_noise=0.05), 1.0)
    together = fit_trend(trend_input(shared_noise=0.05, day=np.linspace(0.0, 29.0, len(USE))), 1.0)
    assert together.c2[0] < 0.2 * apart.c2[0]
    alone = fit_trend(trend_input(shared_noise=0.0, day=np.linspace(0.0, 29.0, len(USE))), 1.0)
    assert alone.c2[0] == pytest.approx(fit_trend(trend_input(shared_noise=0.0), 1.0).c2[0])


def test_a_segment_without_readings_keeps_its_prior():
    data = trend_input(centre=np.array([1.0, 2.5]), width=np.array([0.5, 0.25]))
    trend = fit_trend(data, 1.0)
    assert (trend.c1[1], trend.c2[1]) == (0.0, 0.0)
    assert trend.intercept[1] == 2.5
    assert trend.intercept_spread[1] == pytest.approx(0.25)


def test_noise_that_is_larger_than_assumed_is_found_in_a_fleet():
    rng = np.random.default_rng(6)
    fleet = 12
    segment = np.repeat(np.arange(fleet), len(USE))
    use = np.tile(USE, fleet)
    value = 1.0 - 0.2 * use + 0.06 * rng.normal(size=len(use))
    data = replace(
        trend_input(), segment=segment, day=np.tile(40.0 * np.arange(len(USE)), fleet), value=value,
        noise=np.full(len(use), 0.03), use=use, z=np.zeros(len(use)), centre=np.ones(fleet), width=np.full(fleet, 0.5),
    )  # fmt: skip
    trend = fit_trend(data, 1.0)
    assert trend.noise_scale == pytest.approx(2.0, rel=0.15)
    assert np.abs(-trend.c1 / (2 * trend.c2) - 0.2).mean() < 0.05
    fitted = fit_trend(trend_input(noise_scale=1.7), 1.0)
    assert fitted.noise_scale == 1.7
    # one segment alone is too little to say
    assert fit_trend(trend_input(noise=0.01), 1.0).noise_scale == 1.0


@pytest.mark.parametrize(("readings", "is_heard"), [(29, False), (30, True)])
def test_a_fleet_says_how_large_noise_is_from_thirty_readings_on(readings, is_heard):
    """Each residual is 0.6745 of what is assumed or twice of it, of segments of ten: seven of ten are free."""
    residual = np.full(readings, 2.0 * 0.6745)
    segment = np.arange(readings) // 10
    size = np.full(3, 10.0)
    assert _usual_scale(residual, segment, size) == pytest.approx(2.0 / np.sqrt(0.7) if is_heard else 1.0)


@pytest.mark.parametrize(("size", "is_heard"), [(5.0, False), (6.0, True)])
def test_a_segment_of_fewer_than_six_readings_does_not_say_how_large_noise_is(size, is_heard):
    residual, segment = np.full(60, 0.6745), np.zeros(60, dtype=np.int64)
    free = (size - 3.0) / size
    assert _usual_scale(residual, segment, np.array([size])) == pytest.approx(free**-0.5 if is_heard else 1.0)


def test_the_noise_of_a_segment_is_that_of_its_fleet_and_of_fifteen_more_readings():
    """Eleven readings at twice what is assumed, a fleet at one: root((15 + 44) / (15 + 8)). What lies further out than
    three times the usual counts as if it lay there, and no noise is a third of what is assumed or thrice it."""
    segment = np.zeros(11, dtype=np.int64)

    def scale(residual, usual=1.0, number=11.0):
        return _noise_scale(np.full(11, residual), segment, np.array([number]), usual)[0]

    assert scale(2.0) == pytest.approx(np.sqrt(59.0 / 23.0))
    assert scale(9.0) == scale(3.0) == pytest.approx(np.sqrt((15.0 + 99.0) / 23.0))
    assert scale(0.0, usual=0.1) == 0.3
    assert scale(30.0, usual=10.0) == 3.0
    # of two readings nothing is left when a line has been laid through them
    assert scale(2.0, number=2.0) == pytest.approx(np.sqrt(59.0 / 15.0))


def test_a_slope_without_readings_of_its_own_is_likely_where_it_usually_lies():
    """Twenty equal segments without a slope: the line starts from the usual one and lets readings move it."""
    flat = trend_input(slope=0.0, noise=0.02)
    assert best(fit_trend(flat, 1.0)) == pytest.approx(0.0, abs=0.03)
    # one reading says nothing of a slope beside an intercept that is not known
    rows = {name: getattr(flat, name)[:1] for name in ("segment", "day", "value", "noise", "use", "z")}
    alone = fit_trend(replace(flat, **rows, width=np.array([1e3])), 1.0)
    assert alone.c2[0] == pytest.approx(0.0, abs=1e-3)


def test_intercept_and_slope_are_those_of_weighted_least_squares():
    """By the normal equations of the three coefficients with their priors, for the weights that the noise gives; a
    shared error of readings far apart adds nothing, and no residual lies far out."""
    noise = np.where(np.arange(len(USE)) % 2, 0.02, 0.05)
    data = trend_input(slope=0.25, start=1.1, theta=0.3, noise=1e-9, shared_noise=0.0, noise_scale=1.0)
    data = replace(data, noise=noise)
    trend = fit_trend(data, 1.0)
    # without residuals Student's t weighs each reading by 5/4
    scale = float(np.sqrt(15.0 / (15.0 + len(USE) - 3.0)))
    weight = 1.25 / (noise * scale) ** 2
    basis = np.stack([np.ones(len(USE)), data.z], axis=1)
    prior = np.diag([1.0 / 0.5**2, 1.0])
    inverse = np.linalg.inv(basis.T @ (weight[:, None] * basis) + prior)
    for slope in (0.0, 0.25, 0.6):
        off = data.value - 1.0 + slope * data.use
        pull = basis.T @ (weight * off)
        minus_two_log = off @ (weight * off) - pull @ inverse @ pull
        at_zero = (data.value - 1.0) @ (weight * (data.value - 1.0))
        pull_at_zero = basis.T @ (weight * (data.value - 1.0))
        at_zero -= pull_at_zero @ inverse @ pull_at_zero
        assert slope_log_likelihood(trend, np.array([slope]))[0, 0] == pytest.approx(
            -0.5 * (minus_two_log - at_zero), rel=1e-5, abs=1e-6
        )
        assert trend.intercept[0] + trend.intercept_by_slope[0] * slope == pytest.approx(
            1.0 + (inverse @ pull)[0], rel=1e-5
        )
    assert trend.intercept_spread[0] == pytest.approx(np.sqrt(inverse[0, 0]), rel=1e-5)
