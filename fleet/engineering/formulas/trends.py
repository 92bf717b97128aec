"""Days left, which limit comes first, what earlier lives teach, and a slope one bad reading cannot turn."""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import log_ndtr

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError

PRIOR_LOG_SD: Final = 0.5
OBSERVATION_LOG_SD: Final = 0.25
_GRID_POINTS: Final = 20001
_GRID_SDS: Final = 10.0


def days_to_exhaustion(capacity: Numbers, used: Numbers, use_per_day: Numbers) -> Result:
    """Return the days until a capacity is used up at a steady daily use.

    Parameters
    ----------
    capacity, used : float or ndarray
        In one unit (litres, g, eq), 0 or more; the used may exceed the capacity.
    use_per_day : float or ndarray
        Above 0.

    Returns
    -------
    float or ndarray
        Days; negative when the capacity was passed already.

    Raises
    ------
    EngineeringError
        No consumption (there is no date), negative used volume.

    Examples
    --------
    >>> round(days_to_exhaustion(936.0, 400.0, 20.0), 6)
    26.8
    """
    total = in_range(capacity, "capacity", 0.0)
    used_up = in_range(used, "used", 0.0, why="A used volume cannot be negative; check the counter.")
    daily = in_range(use_per_day, "use_per_day", 0.0, open_low=True, why="Without consumption there is no date.")
    return tidy((total - used_up) / daily)


def days_to_change(
    *,
    age_days: Numbers,
    time_cap_days: Numbers | None = None,
    capacity_days: Numbers | None = None,
    pressure_days: Numbers | None = None,
    breakthrough_days: Numbers | None = None,
    membrane_trend_days: Numbers | None = None,
) -> tuple[Result, Result]:
    """Return the days until the first of several limits, and which limit it is.

    Parameters
    ----------
    age_days : float or ndarray
        Since first installation, 0 or more.
    time_cap_days : float or ndarray, optional
        Counted from installation, so that age is taken off; above 0.
    capacity_days, pressure_days, breakthrough_days, membrane_trend_days : float or ndarray, optional
        Days from now; NaN where unknown.

    Returns
    -------
    (float or ndarray, str or ndarray of str)
        Days, and ``"capacity"``, ``"pressure"``, ``"breakthrough"``, ``"membrane_trend"`` or ``"time_cap"``.

    Raises
    ------
    EngineeringError
        No limit known at all, out of range.

    Examples
    --------
    >>> days_to_change(age_days=60.0, time_cap_days=180.0, capacity_days=210.0, pressure_days=150.0)
    (120.0, 'time_cap')
    """
    age = in_range(age_days, "age_days", 0.0, unit="days")
    candidates: list[tuple[str, FloatArray]] = []
    stated = (
        ("capacity", capacity_days),
        ("pressure", pressure_days),
        ("breakthrough", breakthrough_days),
        ("membrane_trend", membrane_trend_days),
    )
    for name, days in stated:
        if days is not None:
            candidates.append((name, in_range(days, f"{name}_days")))
    if time_cap_days is not None:
        candidates.append(("time_cap", in_range(time_cap_days, "time_cap_days", 0.0, unit="days", open_low=True) - age))
    if not candidates:
        raise EngineeringError("time_cap_days", "Give at least one limit; without any there is no date.")
    stacked = np.stack(np.broadcast_arrays(*(days for _, days in candidates)))
    if np.any(np.all(np.isnan(stacked), axis=0)):
        raise EngineeringError("time_cap_days", "Every limit is missing; without any there is no date.")
    first = np.nanargmin(np.where(np.isnan(stacked), np.inf, stacked), axis=0)
    names = np.array([name for name, _ in candidates])[first]
    days = np.take_along_axis(stacked, np.expand_dims(first, 0), axis=0)[0]
    return tidy(days), str(names) if names.ndim == 0 else names


def posterior_capacity(
    prior_median: float,
    *,
    observed_lives: ArrayLike = (),
    censored_lives: ArrayLike = (),
    prior_log_sd: float = PRIOR_LOG_SD,
    observation_log_sd: float = OBSERVATION_LOG_SD,
) -> tuple[float, float]:
    """Return what earlier cartridges at a place teach about the capacity of the next.

    Parameters
    ----------
    prior_median : float
        Median expected before any life was seen, above 0.
    observed_lives : sequence of float
        Capacities of cartridges that were exhausted, above 0.
    censored_lives : sequence of float
        What cartridges had served when they were changed **before** exhaustion: their capacity was larger.
    prior_log_sd, observation_log_sd : float
        Standard deviations of the natural logarithm, above 0.

    Returns
    -------
    (float, float)
        Posterior median, and posterior standard deviation of the logarithm.

    Raises
    ------
    EngineeringError
        Out of range or missing.

    Notes
    -----
    ln capacity of a place ~ Normal(ln prior, s0^2), each life adds Normal(0, s^2). Exhausted lives update in closed
    form; a cartridge changed early contributes the probability that its life would have been longer (right-censored),
    by a grid. Taking early changes for failures would bias the capacity low.

    Examples
    --------
    >>> median, sd = posterior_capacity(900.0, observed_lives=[620.0, 700.0, 660.0])
    >>> round(median, 1), round(sd, 4)
    (675.2, 0.1387)
    """
    prior = _whole_number(prior_median, "prior_median")
    prior_sd = _whole_number(prior_log_sd, "prior_log_sd")
    noise = _whole_number(observation_log_sd, "observation_log_sd")
    exhausted = np.log(_lives(observed_lives, "observed_lives"))
    early = np.log(_lives(censored_lives, "censored_lives"))
    precision = 1.0 / prior_sd**2 + exhausted.size / noise**2
    mean = (np.log(prior) / prior_sd**2 + exhausted.sum() / noise**2) / precision
    sd = 1.0 / np.sqrt(precision)
    if not early.size:
        return float(np.exp(mean)), float(sd)
    # The posterior moves up with every censored life, at most to a few noise widths above the longest of them.
    top = max(mean, float(early.max()) + 2.0 * noise) + _GRID_SDS * sd
    grid = np.linspace(mean - _GRID_SDS * sd, top, _GRID_POINTS)
    log_density = -0.5 * ((grid - mean) / sd) ** 2
    log_density += log_ndtr((grid[:, None] - early[None, :]) / noise).sum(axis=1)
    density = np.exp(log_density - log_density.max())
    density /= density.sum()
    median = float(np.interp(0.5, np.cumsum(density) - 0.5 * density, grid))
    centre = float((density * grid).sum())
    return float(np.exp(median)), float(np.sqrt((density * (grid - centre) ** 2).sum()))


def theil_sen_slope(days: ArrayLike, values: ArrayLike) -> float:
    """Return the median of all pairwise slopes: the trend that one bad reading cannot turn.

    Parameters
    ----------
    days : sequence of float
        At least two different days.
    values : sequence of float
        As many as days, normalised values only; pairs with a missing member are left out.

    Returns
    -------
    float
        Unit of the values per day.

    Raises
    ------
    EngineeringError
        Fewer than two distinct days, lengths that differ.

    Examples
    --------
    >>> round(theil_sen_slope([0, 30, 61, 90, 122, 150], [200, 198, 193, 191, 120, 184]), 4)
    -0.1167
    """
    when = np.asarray(days, dtype=np.float64)
    measured = np.asarray(values, dtype=np.float64)
    if when.ndim != 1 or when.shape != measured.shape:
        raise EngineeringError("values", "Give one value for each day.")
    is_known = ~(np.isnan(when) | np.isnan(measured))
    when, measured = in_range(when[is_known], "days"), in_range(measured[is_known], "values")
    if np.unique(when).size < 2:
        raise EngineeringError("days", "A trend needs readings on at least two different days.")
    first, second = np.triu_indices(when.size, k=1)
    gaps = when[second] - when[first]
    apart = gaps != 0.0
    return float(np.median((measured[second] - measured[first])[apart] / gaps[apart]))


def _whole_number(value: float, field: str) -> float:
    number = float(in_range(value, field, 0.0, open_low=True))
    if np.isnan(number):
        raise EngineeringError(field, "This value is missing; give a number above 0.")
    return number


def _lives(values: ArrayLike, field: str) -> FloatArray:
    lives = in_range(np.atleast_1d(np.asarray(values, dtype=np.float64)), field, 0.0, open_low=True)
    if np.any(np.isnan(lives)):
        raise EngineeringError(field, "A life is missing; leave it out instead.")
    return lives
