"""Conductivity and TDS: what a meter shows, brought to 25 degC and to one scale."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.units.registry import STORED_TDS_FACTOR, TDS_FACTOR_HIGH, TDS_FACTOR_LOW

ISO7888_HIGHEST_DEGC: Final = 35.9


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


def _factor(value: Numbers, field: str) -> FloatArray:
    return in_range(
        value, field, TDS_FACTOR_LOW, TDS_FACTOR_HIGH, unit="mg/L per uS/cm", why="0.5 and 0.7 are the common factors."
    )
