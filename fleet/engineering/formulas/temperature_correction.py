"""How much less water (and salt) a membrane passes in the cold.

One direction throughout: a factor is below 1 in the cold and 1 at 25 degC. Many published tables give the
reciprocal; `u_kelvin_from_table_entry` takes either and says which.
"""

from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.constants import ZERO_CELSIUS_KELVIN
from fleet.engineering.errors import EngineeringError

REFERENCE_KELVIN: Final = 298.15
U_BELOW_25_KELVIN: Final = 3020.0
U_FROM_25_KELVIN: Final = 2640.0
SALT_U_KELVIN: Final = 5180.0
LOWEST_DEGC: Final = 1.0
HIGHEST_DEGC: Final = 45.0


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
    celsius = in_range(temperature_degc, "temperature_degc", LOWEST_DEGC, HIGHEST_DEGC, unit="degC")
    if method == "3_percent_per_degc":
        return tidy(1.03 ** (celsius - 25.0))
    if method != "arrhenius":
        raise EngineeringError("method", f"{method!r} is not a method; use 'arrhenius' or '3_percent_per_degc'.")
    return tidy(_arrhenius(celsius, _coefficient(celsius, u_kelvin)))


def salt_tcf(temperature_degc: Numbers, *, u_kelvin: Numbers = SALT_U_KELVIN) -> Result:
    """Return the temperature correction factor of the salt flow: 1 at 25 degC, below 1 in the cold.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Feed temperature, 1 to 45 degC.
    u_kelvin : float or ndarray
        Coefficient, 500 to 10000 K. The default 5180 K is 6 % a degree (common practice, no source).

    Returns
    -------
    float or ndarray
        Salt flow at T over salt flow at 25 degC.

    Raises
    ------
    EngineeringError
        Temperature or coefficient out of range.

    Notes
    -----
    The weakest number of the room: between "as the water" and 5180 K a normalised salt passage moves by 39 % over
    13 degC. Compare salt passage only within 5 degC until a unit has its own fit.

    Examples
    --------
    >>> round(salt_tcf(12.0), 3)
    0.453
    """
    celsius = in_range(temperature_degc, "temperature_degc", LOWEST_DEGC, HIGHEST_DEGC, unit="degC")
    return tidy(_arrhenius(celsius, in_range(u_kelvin, "salt_u_kelvin", 500.0, 10000.0, unit="K")))


def u_kelvin_from_table_entry(
    temperature_degc: Numbers,
    *,
    multiplying_factor: Numbers | None = None,
    dividing_factor: Numbers | None = None,
) -> Result:
    """Return the coefficient U behind one entry of a published correction table.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Temperature of the entry, 1 to 45 degC, not 25.
    multiplying_factor : float or ndarray, optional
        Entry that multiplies the rating (below 1 in the cold).
    dividing_factor : float or ndarray, optional
        Entry that divides the rating (above 1 in the cold).

    Returns
    -------
    float or ndarray
        U in kelvin.

    Raises
    ------
    EngineeringError
        If not exactly one of the two is given, a factor is not positive, or the temperature is 25 degC, where every
        table says 1.

    Examples
    --------
    >>> round(u_kelvin_from_table_entry(10.0, dividing_factor=1.89))
    3583
    """
    celsius = in_range(temperature_degc, "temperature_degc", LOWEST_DEGC, HIGHEST_DEGC, unit="degC")
    if np.any(np.abs(celsius - 25.0) < 1e-6):
        raise EngineeringError("temperature_degc", "At 25 degC every table says 1; give an entry away from 25 degC.")
    if (multiplying_factor is None) == (dividing_factor is None):
        raise EngineeringError("multiplying_factor", "Give either a multiplying or a dividing factor, not both.")
    if multiplying_factor is not None:
        factor = in_range(multiplying_factor, "multiplying_factor", 0.0, open_low=True)
    else:
        assert dividing_factor is not None
        factor = 1.0 / in_range(dividing_factor, "dividing_factor", 0.0, open_low=True)
    kelvin = celsius + ZERO_CELSIUS_KELVIN
    return tidy(np.log(factor) / (1.0 / REFERENCE_KELVIN - 1.0 / kelvin))


def normalised_flow_ratio_error(
    temperature_degc: Numbers, *, true_u_kelvin: Numbers, assumed_u_kelvin: Numbers
) -> Result:
    """Return the false ratio a normalised flow shows when the wrong coefficient brings it to 25 degC.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Temperature of the reading, 1 to 45 degC.
    true_u_kelvin, assumed_u_kelvin : float or ndarray
        Coefficient of the membrane and the one used, K.

    Returns
    -------
    float or ndarray
        1 means no error; 0.85 shows a flow loss of 15 % that is not there.

    Raises
    ------
    EngineeringError
        Temperature or coefficient out of range.

    Examples
    --------
    >>> round(normalised_flow_ratio_error(10.0, true_u_kelvin=3583.0, assumed_u_kelvin=2640.0), 3)
    0.846
    """
    true = water_tcf(temperature_degc, u_kelvin=true_u_kelvin)
    assumed = water_tcf(temperature_degc, u_kelvin=assumed_u_kelvin)
    return tidy(true / assumed)


def _coefficient(celsius: Numbers, u_kelvin: Numbers | None) -> Result:
    two_slopes = np.where(np.asarray(celsius) < 25.0, U_BELOW_25_KELVIN, U_FROM_25_KELVIN)
    if u_kelvin is None:
        return two_slopes
    stated = in_range(u_kelvin, "u_kelvin", 500.0, 10000.0, unit="K")
    return np.where(np.isnan(stated), two_slopes, stated)


def _arrhenius(celsius: Numbers, u_kelvin: Numbers) -> Result:
    return np.exp(np.asarray(u_kelvin) * (1.0 / REFERENCE_KELVIN - 1.0 / (np.asarray(celsius) + ZERO_CELSIUS_KELVIN)))
