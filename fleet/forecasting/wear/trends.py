"""Lines on a logarithmic scale against use, with an intercept and a temperature coefficient of their own.

For a given slope the other two are Gaussian, so the likelihood of the slope is a quadratic and costs nothing on a grid.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.forecasting.inputs.levels import crowd, sum_by
from fleet.forecasting.inputs.tables import Floats, Indexes

WINDOW_DAYS: Final = 30.0
"""Readings of one window share part of their error: a gauge, a season, a week of standstill."""


@dataclass(frozen=True)
class TrendInput:
    """Readings of a trend, one row each, and priors of its coefficients, one row a segment.

    `value` = b + theta `z` + `sign` s `use`^power, with `noise` the standard deviation of a reading and
    `shared_noise` that of what the readings of one window have in common. The intercept b is normal about `centre`
    with `width`, theta about 0 with `z_spread`; `usual_slope` is where a first fit of s starts from. `noise_scale` is
    how much larger the noise of this fleet was found to be before, None to find it from these readings.
    """

    segment: Indexes
    day: Floats
    value: Floats
    noise: Floats
    use: Floats
    z: Floats
    shared_noise: float
    centre: Floats
    width: Floats
    z_spread: float
    sign: float
    usual_slope: float
    noise_scale: float | None = None


@dataclass(frozen=True)
class Trend:
    """Sums of a trend by segment: log-likelihood of the slope is -(c1 s + c2 s^2)/2; intercept at slope s is b0 + b1
    s."""

    c1: Floats
    c2: Floats
    noise_scale: float
    intercept: Floats
    intercept_by_slope: Floats
    intercept_spread: Floats


def fit_trend(data: TrendInput, power: float) -> Trend:
    """Sums of the regression, robust by reweighting (Student's t, 4 degrees); rows that are not finite do not count."""
    ok = np.isfinite(data.value) & np.isfinite(data.noise)
    segment, noise, z = data.segment[ok], data.noise[ok], data.z[ok]
    count = len(data.centre)
    centre, width, z_spread = data.centre, data.width, data.z_spread
    value = data.value[ok] - centre[segment]
    x = -data.sign * data.use[ok] ** power  # the residual is value + s x
    shared = (crowd(segment, data.day[ok], WINDOW_DAYS) - 1.0) * data.shared_noise**2
    size = np.bincount(segment, minlength=count).astype(np.float64)
    weight = 1.0 / (noise**2 + shared)
    slope_spread = 1.5 * data.usual_slope
    usual_scale = 1.0
    terms = (np.ones_like(z), z, -x)
    for _ in range(5):
        precision = np.zeros((count, 3, 3))
        pull = np.zeros((count, 3))
        for i in range(3):
            pull[:, i] = sum_by(segment, weight * terms[i] * value, count)
            for j in range(i, 3):
                precision[:, i, j] = precision[:, j, i] = sum_by(segment, weight * terms[i] * terms[j], count)
        precision[:, 0, 0] += 1.0 / width**2
        precision[:, 1, 1] += 1.0 / z_spread**2
        precision[:, 2, 2] += 1.0 / slope_spread**2
        pull[:, 2] += data.usual_slope / slope_spread**2
        fit = np.linalg.solve(precision, pull[..., None])[..., 0]
        residual = (value - sum(fit[segment, i] * terms[i] for i in range(3))) / noise
        usual_scale = _usual_scale(residual, segment, size) if data.noise_scale is None else data.noise_scale
        scale = _noise_scale(residual, segment, size, usual_scale)[segment]
        weight = 5.0 / (4.0 + (residual / scale) ** 2) / ((noise * scale) ** 2 + shared)

    def total(values: Floats) -> Floats:
        return sum_by(segment, weight * values, count)

    a00, a01, a11 = total(np.ones_like(z)) + 1.0 / width**2, total(z), total(z * z) + 1.0 / z_spread**2
    h0, h1 = total(value), total(z * value)
    k0, k1 = total(x), total(z * x)
    determinant = a00 * a11 - a01**2
    i00, i01, i11 = a11 / determinant, -a01 / determinant, a00 / determinant
    cross = h0 * (i00 * k0 + i01 * k1) + h1 * (i01 * k0 + i11 * k1)
    square = k0 * (i00 * k0 + i01 * k1) + k1 * (i01 * k0 + i11 * k1)
    return Trend(
        noise_scale=usual_scale,
        c1=2.0 * (total(x * value) - cross),
        c2=total(x * x) - square,
        intercept=centre + i00 * h0 + i01 * h1,
        intercept_by_slope=i00 * k0 + i01 * k1,
        intercept_spread=np.sqrt(i00),
    )


def _usual_scale(residual: Floats, segment: Indexes, size: Floats) -> float:
    """How much larger or smaller noise is in this fleet than assumed: robust, from segments that leave residuals."""
    enough = size[segment] >= 6
    if enough.sum() < 30:
        return 1.0
    free = (size - 3.0)[segment][enough] / size[segment][enough]
    return float(np.median(np.abs(residual[enough]) / np.sqrt(free))) / 0.6745


def _noise_scale(residual: Floats, segment: Indexes, size: Floats, usual: float) -> Floats:
    """The same for every segment: the fleet's scale is the prior, worth 15 readings; its own residuals move it."""
    square = sum_by(segment, np.minimum(residual**2, (3.0 * usual) ** 2), len(size))
    return np.clip(np.sqrt((15.0 * usual**2 + square) / (15.0 + np.maximum(size - 3.0, 0.0))), 0.3, 3.0)


def slope_log_likelihood(trend: Trend, slope: Floats) -> Floats:
    """Log-likelihood of slopes, shape (segments, slopes), up to a constant."""
    return -0.5 * (trend.c1[:, None] * slope + trend.c2[:, None] * slope**2)
