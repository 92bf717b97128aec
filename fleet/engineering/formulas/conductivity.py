"""Conductivity, resistivity and TDS: what a meter shows, brought to 25 degC and to one scale."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import STORED_TDS_FACTOR, TDS_FACTOR_HIGH, TDS_FACTOR_LOW

COMPENSATIONS: Final = ("iso7888", "linear", "none")
ISO7888_HIGHEST_DEGC: Final = 35.9
DEFAULT_ALPHA_PER_DEGC: Final = 0.0191
HIGHEST_US_PER_CM: Final = 200000.0


def iso7888_f25(temperature_degc: Numbers) -> Result:
    """Return the factor of ISO 7888:1985 that brings the conductivity of a natural water to 25 degC.

    Parameters
    ----------
    temperature_degc : float or ndarray
        0 to 35.9 degC, the validity of the standard.

    Returns
    -------
    float or ndarray
        Multiply the raw conductivity by it: 1.256 at 15 degC, 1 at 25 degC.

    Raises
    ------
    EngineeringError
        Out of range.

    Notes
    -----
    Analytic form behind the table of ISO 7888 / EN 27888; agrees with the table to 0.001. Made for 60 to 1000 uS/cm.

    Examples
    --------
    >>> round(iso7888_f25(15.0), 3)
    1.256
    """
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, ISO7888_HIGHEST_DEGC, unit="degC")
    a, n = 0.962144, 0.965078
    viscosity_ratio = -0.198058 + np.exp(-1.992186 + 231.17628 / (celsius + 86.39123))
    return tidy(1.116 * ((1.0 - a) + a * viscosity_ratio**n))


def conductivity_25_us_per_cm(
    conductivity_us_per_cm: Numbers,
    temperature_degc: Numbers,
    *,
    compensation: str = "iso7888",
    alpha_per_degc: Numbers = DEFAULT_ALPHA_PER_DEGC,
    meter_already_compensated: bool = False,
) -> Result:
    """Return the conductivity at 25 degC from a raw reading.

    Parameters
    ----------
    conductivity_us_per_cm : float or ndarray
        As measured, 0 to 200000 uS/cm.
    temperature_degc : float or ndarray
        Of the sample; 0 to 35.9 degC for ``"iso7888"``, 0 to 45 otherwise.
    compensation : {"iso7888", "linear", "none"}
        ``linear`` divides by 1 + alpha (T - 25). ``none`` says the meter has done it.
    alpha_per_degc : float or ndarray
        0 to 0.1 per degC; 0.0191 (Standard Methods 2510, from memory), 0.020 is a common default of meters.
    meter_already_compensated : bool
        True together with a compensation is refused: it would be done twice.

    Returns
    -------
    float or ndarray
        uS/cm at 25 degC. Below about 5 uS/cm neither form is valid: measure at 25 degC.

    Raises
    ------
    EngineeringError
        Double compensation, unknown compensation, out of range.

    Examples
    --------
    >>> round(conductivity_25_us_per_cm(350.0, 12.0), 1)
    474.3
    """
    raw = in_range(conductivity_us_per_cm, "conductivity_us_per_cm", 0.0, HIGHEST_US_PER_CM, unit="uS/cm")
    if compensation not in COMPENSATIONS:
        raise EngineeringError(
            "compensation", f"{compensation!r} is not a compensation; use one of {', '.join(COMPENSATIONS)}."
        )
    if meter_already_compensated and compensation != "none":
        raise EngineeringError(
            "meter_already_compensated",
            "The meter has brought this reading to 25 degC already; compensating again would count it twice.",
        )
    if compensation == "none":
        return tidy(raw)
    if compensation == "iso7888":
        return tidy(raw * iso7888_f25(temperature_degc))
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 45.0, unit="degC")
    alpha = in_range(alpha_per_degc, "alpha_per_degc", 0.0, 0.1, unit="1/degC")
    divisor = in_range(1.0 + alpha * (celsius - 25.0), "alpha_per_degc", 0.0, open_low=True)
    return tidy(raw / divisor)


def tds_mg_per_l(conductivity_25_us_per_cm: Numbers, tds_factor: Numbers = STORED_TDS_FACTOR) -> Result:
    """Return the TDS a meter of a given factor shows for a conductivity at 25 degC.

    Parameters
    ----------
    conductivity_25_us_per_cm : float or ndarray
        0 to 200000 uS/cm.
    tds_factor : float or ndarray
        0.4 to 1.0 mg/L per uS/cm.

    Returns
    -------
    float or ndarray
        mg/L on that scale.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> tds_mg_per_l(20.0)
    10.0
    """
    cond = in_range(conductivity_25_us_per_cm, "conductivity_25_us_per_cm", 0.0, HIGHEST_US_PER_CM, unit="uS/cm")
    return tidy(cond * _factor(tds_factor, "tds_factor"))


def conductivity_from_tds_us_per_cm(tds_mg_per_l: Numbers, tds_factor: Numbers = STORED_TDS_FACTOR) -> Result:
    """Return the conductivity at 25 degC behind a TDS of a given factor; ranges and errors as `tds_mg_per_l`.

    Examples
    --------
    >>> conductivity_from_tds_us_per_cm(10.0)
    20.0
    """
    tds = in_range(tds_mg_per_l, "tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    return tidy(tds / _factor(tds_factor, "tds_factor"))


def rebase_tds_mg_per_l(tds_mg_per_l: Numbers, from_factor: Numbers, to_factor: Numbers = STORED_TDS_FACTOR) -> Result:
    """Return what a meter of another factor would show for the same water.

    Parameters
    ----------
    tds_mg_per_l : float or ndarray
        0 to 50000 mg/L.
    from_factor, to_factor : float or ndarray
        0.4 to 1.0 mg/L per uS/cm.

    Returns
    -------
    float or ndarray
        mg/L on the other scale.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(rebase_tds_mg_per_l(150.0, 0.7, 0.5), 1)
    107.1
    """
    tds = in_range(tds_mg_per_l, "tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    return tidy(tds * _factor(to_factor, "to_factor") / _factor(from_factor, "from_factor"))


def resistivity_mohm_cm(conductivity_25_us_per_cm: Numbers) -> Result:
    """Return the resistivity, the reciprocal of conductivity.

    Parameters
    ----------
    conductivity_25_us_per_cm : float or ndarray
        Above 0, in uS/cm.

    Returns
    -------
    float or ndarray
        Mohm cm.

    Raises
    ------
    EngineeringError
        0 or negative.

    Examples
    --------
    >>> round(resistivity_mohm_cm(0.055), 2)
    18.18
    """
    return tidy(
        1.0 / in_range(conductivity_25_us_per_cm, "conductivity_25_us_per_cm", 0.0, unit="uS/cm", open_low=True)
    )


def display_zero_upper_us_per_cm(
    display_resolution_mg_per_l: Numbers, tds_factor: Numbers = STORED_TDS_FACTOR
) -> Result:
    """Return the conductivity up to which a TDS meter shows 0: half a step over its factor.

    Parameters
    ----------
    display_resolution_mg_per_l : float or ndarray
        Above 0.
    tds_factor : float or ndarray
        0.4 to 1.0.

    Returns
    -------
    float or ndarray
        uS/cm: 1 for a 1 mg/L meter, which therefore cannot prove a laboratory grade.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> display_zero_upper_us_per_cm(1.0)
    1.0
    """
    step = in_range(display_resolution_mg_per_l, "display_resolution_mg_per_l", 0.0, unit="mg/L", open_low=True)
    return tidy(step / 2.0 / _factor(tds_factor, "tds_factor"))


def _factor(value: Numbers, field: str) -> FloatArray:
    return in_range(
        value, field, TDS_FACTOR_LOW, TDS_FACTOR_HIGH, unit="mg/L per uS/cm", why="0.5 and 0.7 are the common factors."
    )
