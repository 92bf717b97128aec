"""How much less water (and salt) a membrane passes in the cold.

One direction throughout: a factor is below 1 in the cold and 1 at 25 degC. Many published tables give the reciprocal.
"""

from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.constants import ZERO_CELSIUS_KELVIN
from fleet.engineering.errors import EngineeringError

REFERENCE_KELVIN: Final = 298.15
U_BELOW_25_KELVIN: Final = 3020.0
U_FROM_25_KELVIN: Final = 2640.0
LOWEST_DEGC: Final = 1.0
HIGHEST_DEGC: Final = 45.0


def inverse_temperature_per_kelvin(temperature_degc: Numbers) -> Result:
    """Return what a temperature coefficient in kelvin multiplies: 1/298.15 less 1/T.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Water temperature, 0 to 100 degC.

    Returns
    -------
    float or ndarray
        1/K: 0 at 25 degC, below 0 in the cold. A flow with coefficient U is exp(U times this) of that at 25 degC.

    Raises
    ------
    EngineeringError
        Temperature out of range.

    Examples
    --------
    >>> round(1e6 * inverse_temperature_per_kelvin(15.0), 2)
    -116.4
    """
    return tidy(_inverse(in_range(temperature_degc, "temperature_degc", 0.0, 100.0, unit="degC")))


def water_u_kelvin(temperature_degc: Numbers, stated_u_kelvin: Numbers | None = None) -> Result:
    """Return the temperature coefficient of the water flow: as stated, or of two slopes.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Water temperature, 1 to 45 degC.
    stated_u_kelvin : float or ndarray, optional
        Coefficient of the membrane model, 500 to 10000 K; left out, or NaN, where it is not known.

    Returns
    -------
    float or ndarray
        K: the stated one, else 3020 below and 2640 from 25 degC up (design values, from memory).

    Raises
    ------
    EngineeringError
        Temperature or coefficient out of range.

    Examples
    --------
    >>> water_u_kelvin(12.0)
    3020.0
    >>> water_u_kelvin(12.0, 2800.0)
    2800.0
    """
    celsius = _celsius(temperature_degc)
    return tidy(np.where(np.isnan(celsius), np.nan, _coefficient(celsius, stated_u_kelvin)))


def water_tcf(temperature_degc: Numbers, *, u_kelvin: Numbers | None = None, method: str = "arrhenius") -> Result:
    """Return the temperature correction factor of the water flow: 1 at 25 degC, below 1 in the cold.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Feed temperature, 1 to 45 degC (the usual limit of a polyamide membrane, from memory).
    u_kelvin : float or ndarray, optional
        Coefficient of the membrane model, 500 to 10000 K. Left out, or NaN in an array, the default of two slopes is
        used: 3020 K below and 2640 K from 25 degC up.
    method : {"arrhenius", "3_percent_per_degc"}
        The second is the trade's rule 1.03^(T - 25), for comparison only.

    Returns
    -------
    float or ndarray
        Expected flow at T over flow at 25 degC.

    Raises
    ------
    EngineeringError
        Temperature or coefficient out of range, unknown method.

    Notes
    -----
    TCF = exp[U (1/298.15 - 1/(T + 273.15))]. The two slopes are design values, from memory; published tables
    for 10 degC differ by 18 %, so U is a field of the membrane and readings near the baseline temperature count most.

    Examples
    --------
    >>> round(water_tcf(10.0), 4)
    0.5847
    >>> round(water_tcf(30.0), 4)
    1.1572
    """
    celsius = _celsius(temperature_degc)
    if method == "3_percent_per_degc":
        return tidy(1.03 ** (celsius - 25.0))
    if method != "arrhenius":
        raise EngineeringError("method", f"{method!r} is not a method; use 'arrhenius' or '3_percent_per_degc'.")
    return tidy(np.exp(_coefficient(celsius, u_kelvin) * _inverse(celsius)))


def _celsius(temperature_degc: Numbers) -> FloatArray:
    return in_range(temperature_degc, "temperature_degc", LOWEST_DEGC, HIGHEST_DEGC, unit="degC")


def _coefficient(celsius: FloatArray, u_kelvin: Numbers | None) -> Result:
    two_slopes = np.where(celsius < 25.0, U_BELOW_25_KELVIN, U_FROM_25_KELVIN)
    if u_kelvin is None:
        return two_slopes
    stated = in_range(u_kelvin, "u_kelvin", 500.0, 10000.0, unit="K")
    return np.where(np.isnan(stated), two_slopes, stated)


def _inverse(celsius: FloatArray) -> FloatArray:
    return 1.0 / REFERENCE_KELVIN - 1.0 / (celsius + ZERO_CELSIUS_KELVIN)
