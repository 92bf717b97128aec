"""Carbon cartridges: chlorine capacity, contact time, what passes, and what that does to the membrane."""

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError


def feed_volume_at_capacity_l(capacity_g: Numbers, chlorine_mg_per_l: Numbers) -> Result:
    """Return the feed volume that uses up a chlorine capacity.

    Parameters
    ----------
    capacity_g : float or ndarray
        As Cl2, 0 or more.
    chlorine_mg_per_l : float or ndarray
        Above 0 (no chlorine, no end by capacity), up to 20 mg/L.

    Returns
    -------
    float or ndarray
        Litres of feed.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> feed_volume_at_capacity_l(75.0, 1.5)
    50000.0
    """
    capacity = in_range(capacity_g, "capacity_g", 0.0, unit="g")
    chlorine = in_range(chlorine_mg_per_l, "chlorine_mg_per_l", 0.0, 20.0, unit="mg/L", open_low=True)
    return tidy(capacity * 1000.0 / chlorine)


def membrane_exposure_ppm_h(chlorine_mg_per_l: Numbers, hours_per_day: Numbers, days: Numbers) -> Result:
    """Return the chlorine exposure of a membrane: concentration times hours of contact.

    Parameters
    ----------
    chlorine_mg_per_l : float or ndarray
        At the membrane, 0 to 20 mg/L.
    hours_per_day : float or ndarray
        0 to 24.
    days : float or ndarray
        0 or more.

    Returns
    -------
    float or ndarray
        ppm h. Polyamide bears 200 to 1000 of free chlorine (from memory).

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(membrane_exposure_ppm_h(0.05, 3.0, 365.0), 2)
    54.75
    """
    hours = in_range(hours_per_day, "hours_per_day", 0.0, 24.0, unit="h")
    span = in_range(days, "days", 0.0, unit="days")
    return tidy(_chlorine(chlorine_mg_per_l, "chlorine_mg_per_l") * hours * span)


def chlorine_removal_fraction(influent_mg_per_l: Numbers, effluent_mg_per_l: Numbers) -> Result:
    """Return the share of the chlorine that the carbon holds back.

    Parameters
    ----------
    influent_mg_per_l, effluent_mg_per_l : float or ndarray
        Before and after, both free or both total, as Cl2: above 0, and 0 up to what came in.

    Returns
    -------
    float or ndarray
        1 - after/before, 0 to 1.

    Raises
    ------
    EngineeringError
        No chlorine before, more after than before, out of range.

    Examples
    --------
    >>> chlorine_removal_fraction(2.0, 0.5)
    0.75
    """
    before = in_range(influent_mg_per_l, "influent_mg_per_l", 0.0, unit="mg/L", open_low=True)
    after = in_range(effluent_mg_per_l, "effluent_mg_per_l", 0.0, unit="mg/L")
    _not_above(after, before)
    return tidy(1.0 - after / before)


def _chlorine(value: Numbers, field: str) -> Result:
    return in_range(value, field, 0.0, 20.0, unit="mg/L")


def _not_above(after: Numbers, before: Numbers) -> None:
    if np.any(np.asarray(after) > np.asarray(before)):
        raise EngineeringError(
            "effluent_mg_per_l", "The chlorine after the carbon is above the chlorine before it; check the two samples."
        )
