"""Viscosity of liquid water: the reference behind differential pressures of cold water and capillary restrictors."""

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.constants import ZERO_CELSIUS_KELVIN


def water_viscosity_mpa_s(temperature_degc: Numbers) -> Result:
    """Return the dynamic viscosity of liquid water at atmospheric pressure.

    Parameters
    ----------
    temperature_degc : float or ndarray
        Water temperature, 0 to 100 degC.

    Returns
    -------
    float or ndarray
        Viscosity in mPa s.

    Raises
    ------
    EngineeringError
        Outside 0 to 100 degC.

    Notes
    -----
    IAPWS SR6-08 (2011), the short equation for liquid water at 0.1 MPa; it stays within its 1 % uncertainty of the full
    IAPWS R12-08 formulation (checked against the `iapws` library in the tests).

    Examples
    --------
    >>> round(water_viscosity_mpa_s(25.0), 3)
    0.89
    """
    celsius = in_range(temperature_degc, "temperature_degc", 0.0, 100.0, unit="degC")
    reduced = (celsius + ZERO_CELSIUS_KELVIN) / 300.0
    micro = 280.68 * reduced**-1.9 + 511.45 * reduced**-7.7 + 61.131 * reduced**-19.6 + 0.45903 * reduced**-40.0
    return tidy(micro / 1000.0)
