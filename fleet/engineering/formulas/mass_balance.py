"""Recovery, waste ratio, concentrate quality and whether a set of readings adds up."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.osmotic_pressure import HIGHEST_TDS_MG_PER_L

# Beyond this, flows or meters are distrusted before the membrane is (common practice, no source).
CLOSURE_LIMIT_FRACTION: Final = 0.10


def recovery_fraction(permeate_flow: Numbers, concentrate_flow: Numbers) -> Result:
    """Return the recovery: permeate over feed, from two flows in the same unit.

    Parameters
    ----------
    permeate_flow, concentrate_flow : float or ndarray
        Both in the same unit, 0 or more, not both 0.

    Returns
    -------
    float or ndarray
        Fraction, 0 to 1 (1 when nothing goes to drain).

    Raises
    ------
    EngineeringError
        Negative flow, or no flow at all.

    Examples
    --------
    >>> recovery_fraction(0.2, 0.8)
    0.2
    """
    permeate = in_range(permeate_flow, "permeate_flow", 0.0, why="A flow cannot be negative.")
    concentrate = in_range(concentrate_flow, "concentrate_flow", 0.0, why="A flow cannot be negative.")
    feed = permeate + concentrate
    if np.any(feed == 0.0):
        raise EngineeringError("permeate_flow", "Both flows are zero, so there is no recovery; read while water runs.")
    return tidy(permeate / feed)


def recovery_from_waste_ratio(concentrate_to_permeate_ratio: Numbers) -> Result:
    """Return the recovery that belongs to a waste ratio: "3:1" is three parts concentrate to one of permeate.

    Parameters
    ----------
    concentrate_to_permeate_ratio : float or ndarray
        0 or more.

    Returns
    -------
    float or ndarray
        Recovery fraction.

    Raises
    ------
    EngineeringError
        Negative ratio.

    Examples
    --------
    >>> recovery_from_waste_ratio(3.0)
    0.25
    """
    ratio = in_range(concentrate_to_permeate_ratio, "concentrate_to_permeate_ratio", 0.0)
    return tidy(1.0 / (1.0 + ratio))


def waste_ratio(recovery: Numbers) -> Result:
    """Return concentrate over permeate for a recovery.

    Parameters
    ----------
    recovery : float or ndarray
        Above 0, up to 1.

    Returns
    -------
    float or ndarray
        Parts of concentrate to one of permeate.

    Raises
    ------
    EngineeringError
        Recovery of 0 or less (the ratio has no value) or above 1.

    Examples
    --------
    >>> waste_ratio(0.2)
    4.0
    """
    fraction = in_range(recovery, "recovery_fraction", 0.0, 1.0, open_low=True)
    return tidy((1.0 - fraction) / fraction)


def feed_volume_l(permeate_volume_l: Numbers, recovery: Numbers) -> Result:
    """Return the feed volume behind a permeate volume: what sediment and carbon cartridges see.

    Parameters
    ----------
    permeate_volume_l : float or ndarray
        Litres, 0 or more.
    recovery : float or ndarray
        Above 0, up to 1.

    Returns
    -------
    float or ndarray
        Litres of feed.

    Raises
    ------
    EngineeringError
        Negative volume, recovery out of range.

    Examples
    --------
    >>> feed_volume_l(1000.0, 0.2)
    5000.0
    """
    volume = in_range(permeate_volume_l, "permeate_volume_l", 0.0, unit="L")
    return tidy(volume / in_range(recovery, "recovery_fraction", 0.0, 1.0, open_low=True))


def concentration_factor(recovery: Numbers, rejection: Numbers = 1.0) -> Result:
    """Return concentrate over feed concentration.

    Parameters
    ----------
    recovery : float or ndarray
        0 to below 1.
    rejection : float or ndarray
        System rejection, 0 to 1; 1 gives the upper limit 1/(1 - Y).

    Returns
    -------
    float or ndarray
        (1 - Y(1 - R))/(1 - Y).

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(concentration_factor(0.2, 0.96), 4)
    1.24
    """
    fraction = _recovery(recovery)
    rejected = in_range(rejection, "rejection_fraction", 0.0, 1.0)
    return tidy((1.0 - fraction * (1.0 - rejected)) / (1.0 - fraction))


def feed_brine_factor(recovery: Numbers, *, average: str = "log_mean") -> Result:
    """Return the mean concentration along the membrane over the feed concentration.

    Parameters
    ----------
    recovery : float or ndarray
        0 to below 1.
    average : {"log_mean", "arithmetic"}
        ``log_mean`` (default) is ln(1/(1 - Y))/Y, the form of ASTM D4516, 1 at no recovery. ``arithmetic`` is
        (1 + 1/(1 - Y))/2. Never mix the two in one trend.

    Returns
    -------
    float or ndarray
        Dimensionless, 1 or more.

    Raises
    ------
    EngineeringError
        Out of range, unknown average.

    Examples
    --------
    >>> round(feed_brine_factor(0.2), 5)
    1.11572
    >>> feed_brine_factor(0.0)
    1.0
    """
    fraction = _recovery(recovery)
    if average == "arithmetic":
        return tidy((1.0 + 1.0 / (1.0 - fraction)) / 2.0)
    if average != "log_mean":
        raise EngineeringError("average", f"{average!r} is not an average; use 'log_mean' or 'arithmetic'.")
    small = fraction < 1e-6
    safe = np.where(small, 0.5, fraction)
    return tidy(np.where(small, 1.0 + fraction / 2.0, -np.log1p(-safe) / safe))


def polarisation_factor(recovery: Numbers) -> Result:
    """Return the concentration at the membrane wall over the mean: exp(0.7 Y).

    Parameters
    ----------
    recovery : float or ndarray
        0 to below 1.

    Returns
    -------
    float or ndarray
        1 or more.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Common practice, no source. Not part of ASTM D4516: use it for scaling at the wall, not in
    normalisation.

    Examples
    --------
    >>> round(polarisation_factor(0.2), 4)
    1.1503
    """
    return tidy(np.exp(0.7 * _recovery(recovery)))


def salt_balance_closure_fraction(
    *,
    feed_flow: Numbers,
    feed_tds_mg_per_l: Numbers,
    permeate_flow: Numbers,
    permeate_tds_mg_per_l: Numbers,
    concentrate_flow: Numbers,
    concentrate_tds_mg_per_l: Numbers,
) -> Result:
    """Return by how much the salt that leaves differs from the salt that enters, as a fraction of what enters.

    Parameters
    ----------
    feed_flow, permeate_flow, concentrate_flow : float or ndarray
        In one unit, 0 or more; feed above 0.
    feed_tds_mg_per_l, permeate_tds_mg_per_l, concentrate_tds_mg_per_l : float or ndarray
        In one scale, 0 to 50000 mg/L; feed above 0.

    Returns
    -------
    float or ndarray
        0 when the balance closes; beyond 0.10 either way distrust a meter or a flow first
        (common practice, no source).

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(salt_balance_closure_fraction(feed_flow=1.0, feed_tds_mg_per_l=300.0, permeate_flow=0.2,
    ...     permeate_tds_mg_per_l=10.0, concentrate_flow=0.8, concentrate_tds_mg_per_l=340.0), 4)
    -0.0867
    """
    salt_in = in_range(feed_flow, "feed_flow", 0.0, open_low=True) * in_range(
        feed_tds_mg_per_l, "feed_tds_mg_per_l", 0.0, HIGHEST_TDS_MG_PER_L, unit="mg/L", open_low=True
    )
    salt_out = in_range(permeate_flow, "permeate_flow", 0.0) * in_range(
        permeate_tds_mg_per_l, "permeate_tds_mg_per_l", 0.0, HIGHEST_TDS_MG_PER_L, unit="mg/L"
    ) + in_range(concentrate_flow, "concentrate_flow", 0.0) * in_range(
        concentrate_tds_mg_per_l, "concentrate_tds_mg_per_l", 0.0, HIGHEST_TDS_MG_PER_L, unit="mg/L"
    )
    return tidy((salt_out - salt_in) / salt_in)


def _recovery(recovery: Numbers) -> Result:
    return in_range(
        recovery,
        "recovery_fraction",
        0.0,
        1.0,
        open_high=True,
        why="It is a fraction of the feed, not a percent.",
    )
