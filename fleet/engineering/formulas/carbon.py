"""Carbon cartridges: chlorine capacity, contact time, what passes, and what that does to the membrane."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.constants import EQUIVALENT_MASS_CACO3, LITRE_PER_US_GALLON, MOLAR_MASS_CL2
from fleet.engineering.errors import EngineeringError

WARN_TOTAL_CHLORINE_MG_PER_L: Final = 0.05
ACT_TOTAL_CHLORINE_MG_PER_L: Final = 0.1
# Free chlorine a polyamide membrane bears over its life (from memory): the lower end.
EXPOSURE_LIMIT_PPM_H: Final = 200.0
DEFAULT_SUPPLY_CHLORINE_MG_PER_L: Final = 1.0


def chlorine_mass_g(feed_volume_l: Numbers, chlorine_mg_per_l: Numbers) -> Result:
    """Return the chlorine a feed volume brings, g as Cl2.

    Parameters
    ----------
    feed_volume_l : float or ndarray
        0 or more.
    chlorine_mg_per_l : float or ndarray
        As Cl2, 0 to 20 mg/L.

    Returns
    -------
    float or ndarray
        g.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> chlorine_mass_g(5000.0, 1.5)
    7.5
    """
    volume = in_range(feed_volume_l, "feed_volume_l", 0.0, unit="L")
    return tidy(volume * _chlorine(chlorine_mg_per_l, "chlorine_mg_per_l") / 1000.0)


def chlorine_capacity_g(rated_volume_l: Numbers, rated_chlorine_mg_per_l: Numbers) -> Result:
    """Return the chlorine capacity behind a rating such as "10000 US gal at 2 mg/L", g as Cl2.

    Parameters
    ----------
    rated_volume_l : float or ndarray
        Litres of the rating, above 0.
    rated_chlorine_mg_per_l : float or ndarray
        Chlorine of the test water, above 0, up to 20 mg/L.

    Returns
    -------
    float or ndarray
        g. Ratings hold at the test flow; at the lower flow of an RO unit time usually binds first.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(chlorine_capacity_g(10000 * 3.785411784, 2.0), 1)
    75.7
    """
    volume = in_range(rated_volume_l, "rated_volume_l", 0.0, unit="L", open_low=True)
    chlorine = in_range(rated_chlorine_mg_per_l, "rated_chlorine_mg_per_l", 0.0, 20.0, unit="mg/L", open_low=True)
    return tidy(volume * chlorine / 1000.0)


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


def permeate_volume_at_capacity_l(
    capacity_g: Numbers, chlorine_mg_per_l: Numbers, recovery_fraction: Numbers
) -> Result:
    """Return the permeate volume that uses up a chlorine capacity: a fraction, the recovery, of the feed volume.

    Parameters
    ----------
    capacity_g, chlorine_mg_per_l : float or ndarray
        As `feed_volume_at_capacity_l`.
    recovery_fraction : float or ndarray
        Above 0, up to 1.

    Returns
    -------
    float or ndarray
        Litres of permeate.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(permeate_volume_at_capacity_l(75.0, 1.5, 0.2))
    10000
    """
    recovery = in_range(recovery_fraction, "recovery_fraction", 0.0, 1.0, open_low=True)
    return tidy(feed_volume_at_capacity_l(capacity_g, chlorine_mg_per_l) * recovery)


def empty_bed_contact_time_s(bed_volume_l: Numbers, flow_l_per_min: Numbers) -> Result:
    """Return the empty bed contact time.

    Parameters
    ----------
    bed_volume_l : float or ndarray
        Above 0.
    flow_l_per_min : float or ndarray
        **Feed** flow, above 0.

    Returns
    -------
    float or ndarray
        Seconds.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> empty_bed_contact_time_s(0.5, 1.0)
    30.0
    """
    volume = in_range(bed_volume_l, "bed_volume_l", 0.0, unit="L", open_low=True)
    flow = in_range(
        flow_l_per_min, "flow_l_per_min", 0.0, unit="L/min", open_low=True, why="Without flow no contact time."
    )
    return tidy(volume / flow * 60.0)


def dechlorination_rate_per_s(influent_mg_per_l: Numbers, effluent_mg_per_l: Numbers, ebct_s: Numbers) -> Result:
    """Return the first-order rate of a bed from one pair of readings, 1/s; it falls over the life of the bed.

    Parameters
    ----------
    influent_mg_per_l, effluent_mg_per_l : float or ndarray
        Above 0, effluent not above influent.
    ebct_s : float or ndarray
        Above 0.

    Returns
    -------
    float or ndarray
        1/s.

    Raises
    ------
    EngineeringError
        Effluent above influent, out of range.

    Examples
    --------
    >>> round(dechlorination_rate_per_s(2.0, 0.05, 30.0), 3)
    0.123
    """
    before = in_range(influent_mg_per_l, "influent_mg_per_l", 0.0, 20.0, unit="mg/L", open_low=True)
    after = in_range(effluent_mg_per_l, "effluent_mg_per_l", 0.0, 20.0, unit="mg/L", open_low=True)
    _not_above(after, before)
    return tidy(np.log(before / after) / in_range(ebct_s, "ebct_s", 0.0, unit="s", open_low=True))


def effluent_chlorine_mg_per_l(influent_mg_per_l: Numbers, rate_per_s: Numbers, ebct_s: Numbers) -> Result:
    """Return the chlorine after a bed: C0 exp(-k EBCT).

    Parameters
    ----------
    influent_mg_per_l : float or ndarray
        0 to 20 mg/L.
    rate_per_s : float or ndarray
        0 or more, see `dechlorination_rate_per_s`.
    ebct_s : float or ndarray
        Above 0.

    Returns
    -------
    float or ndarray
        mg/L.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    First order in contact time: textbook form, from memory. Halving the time turns 0.05 into 0.32 mg/L.

    Examples
    --------
    >>> round(effluent_chlorine_mg_per_l(2.0, dechlorination_rate_per_s(2.0, 0.05, 30.0), 15.0), 3)
    0.316
    """
    before = _chlorine(influent_mg_per_l, "influent_mg_per_l")
    rate = in_range(rate_per_s, "rate_per_s", 0.0, unit="1/s")
    return tidy(before * np.exp(-rate * in_range(ebct_s, "ebct_s", 0.0, unit="s", open_low=True)))


def chlorine_removed_mg_per_l(influent_mg_per_l: Numbers, effluent_mg_per_l: Numbers) -> Result:
    """Return the chlorine a bed takes out.

    Parameters
    ----------
    influent_mg_per_l, effluent_mg_per_l : float or ndarray
        0 to 20 mg/L as Cl2.

    Returns
    -------
    float or ndarray
        mg/L.

    Raises
    ------
    EngineeringError
        Effluent above influent (swapped samples or a spoiled reagent), out of range.

    Examples
    --------
    >>> chlorine_removed_mg_per_l(1.0, 0.25)
    0.75
    """
    before = _chlorine(influent_mg_per_l, "influent_mg_per_l")
    after = _chlorine(effluent_mg_per_l, "effluent_mg_per_l")
    _not_above(after, before)
    return tidy(before - after)


def combined_chlorine_mg_per_l(free_mg_per_l: Numbers, total_mg_per_l: Numbers) -> Result:
    """Return the combined chlorine (chloramines): total less free.

    Parameters
    ----------
    free_mg_per_l, total_mg_per_l : float or ndarray
        0 to 20 mg/L as Cl2.

    Returns
    -------
    float or ndarray
        mg/L as Cl2.

    Raises
    ------
    EngineeringError
        Free above total, out of range.

    Examples
    --------
    >>> combined_chlorine_mg_per_l(0.5, 2.5)
    2.0
    """
    return tidy(total_chlorine_mg_per_l(free_mg_per_l, total_mg_per_l) - np.asarray(free_mg_per_l))


def total_chlorine_mg_per_l(free_mg_per_l: Numbers, total_mg_per_l: Numbers) -> Result:
    """Return the total chlorine after checking it against the free chlorine.

    Parameters
    ----------
    free_mg_per_l, total_mg_per_l : float or ndarray
        0 to 20 mg/L as Cl2.

    Returns
    -------
    float or ndarray
        The total, mg/L as Cl2.

    Raises
    ------
    EngineeringError
        Free above total, out of range.

    Examples
    --------
    >>> total_chlorine_mg_per_l(0.5, 2.5)
    2.5
    """
    free = _chlorine(free_mg_per_l, "free_mg_per_l")
    total = _chlorine(total_mg_per_l, "total_mg_per_l")
    if np.any(free > total):
        raise EngineeringError(
            "free_mg_per_l", "Free chlorine is part of total chlorine and cannot exceed it; check which test was which."
        )
    return tidy(total)


def chlorine_test_result_mg_per_l(shown: Numbers | str) -> Result:
    """Return a test-kit result as a number; a result beyond the scale of the kit is refused.

    Parameters
    ----------
    shown : float, ndarray or str
        What the kit shows. Text such as ``"out of range high"`` or ``"> 5"`` means the scale was passed: DPD bleaches
        and may then read 0.

    Returns
    -------
    float or ndarray
        mg/L as Cl2.

    Raises
    ------
    EngineeringError
        For text, or out of 0 to 20 mg/L.

    Examples
    --------
    >>> chlorine_test_result_mg_per_l("> 5")
    Traceback (most recent call last):
    ...
    fleet.engineering.errors.EngineeringError: chlorine: The test is out of range ('> 5'): dilute the sample ...
    """
    if isinstance(shown, str):
        raise EngineeringError(
            "chlorine",
            f"The test is out of range ({shown!r}): dilute the sample with chlorine-free water, repeat, and multiply.",
        )
    return tidy(_chlorine(shown, "chlorine"))


def alkalinity_consumed_mg_per_l_as_caco3(chlorine_removed_mg_per_l: Numbers) -> Result:
    """Return the alkalinity used where carbon removes free chlorine: one H+ per Cl2.

    Parameters
    ----------
    chlorine_removed_mg_per_l : float or ndarray
        As Cl2, 0 to 20 mg/L.

    Returns
    -------
    float or ndarray
        mg/L as CaCO3.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    HOCl + C -> C-O + H+ + Cl- uses one equivalent per mole of Cl2 removed, 50.04/70.91.

    Examples
    --------
    >>> round(alkalinity_consumed_mg_per_l_as_caco3(2.0), 2)
    1.41
    """
    removed = _chlorine(chlorine_removed_mg_per_l, "chlorine_removed_mg_per_l")
    return tidy(removed * EQUIVALENT_MASS_CACO3 / MOLAR_MASS_CL2)


def ammonium_released_meq_per_l(monochloramine_mg_per_l: Numbers) -> Result:
    """Return the ammonium carbon sets free from monochloramine: at most one mole a mole.

    Parameters
    ----------
    monochloramine_mg_per_l : float or ndarray
        As Cl2, 0 to 20 mg/L.

    Returns
    -------
    float or ndarray
        meq/L, an upper bound. It passes the carbon and loads the resin unseen by a TDS meter.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(ammonium_released_meq_per_l(3.0), 4)
    0.0423
    """
    return tidy(_chlorine(monochloramine_mg_per_l, "monochloramine_mg_per_l") / MOLAR_MASS_CL2)


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


def hours_to_exposure_limit(chlorine_mg_per_l: Numbers, exposure_limit_ppm_h: Numbers = EXPOSURE_LIMIT_PPM_H) -> Result:
    """Return the hours of contact after which an exposure limit is used up.

    Parameters
    ----------
    chlorine_mg_per_l : float or ndarray
        Above 0, up to 20 mg/L.
    exposure_limit_ppm_h : float or ndarray
        Above 0.

    Returns
    -------
    float or ndarray
        Hours.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> hours_to_exposure_limit(0.1, 200.0)
    2000.0
    """
    limit = in_range(exposure_limit_ppm_h, "exposure_limit_ppm_h", 0.0, unit="ppm h", open_low=True)
    return tidy(limit / in_range(chlorine_mg_per_l, "chlorine_mg_per_l", 0.0, 20.0, unit="mg/L", open_low=True))


def days_to_exposure_limit(chlorine_mg_per_l: Numbers, exposure_limit_ppm_h: Numbers, hours_per_day: Numbers) -> Result:
    """Return the days until an exposure limit is used up.

    Parameters
    ----------
    chlorine_mg_per_l : float or ndarray
        Above 0, up to 20 mg/L.
    exposure_limit_ppm_h : float or ndarray
        Above 0.
    hours_per_day : float or ndarray
        Hours of contact a day, above 0, up to 24.

    Returns
    -------
    float or ndarray
        Days.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> days_to_exposure_limit(0.1, 200.0, 4.0)
    500.0
    """
    hours = in_range(hours_per_day, "hours_per_day", 0.0, 24.0, unit="h", open_low=True)
    return tidy(np.asarray(hours_to_exposure_limit(chlorine_mg_per_l, exposure_limit_ppm_h)) / hours)


def rated_litres(rated_volume_us_gal: Numbers) -> Result:
    """Return the litres of a rating in US gallons; negative raises.

    Examples
    --------
    >>> round(rated_litres(10000.0))
    37854
    """
    return tidy(in_range(rated_volume_us_gal, "rated_volume_us_gal", 0.0) * LITRE_PER_US_GALLON)


def _chlorine(value: Numbers, field: str) -> Result:
    return in_range(value, field, 0.0, 20.0, unit="mg/L")


def _not_above(after: Numbers, before: Numbers) -> None:
    if np.any(np.asarray(after) > np.asarray(before)):
        raise EngineeringError(
            "effluent_mg_per_l", "The chlorine after the carbon is above the chlorine before it; check the two samples."
        )
