"""Storage tank, shut-off valve and standstill: what pushes back, and what creeps through at rest."""

from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.constants import STANDARD_ATMOSPHERE_KPA
from fleet.engineering.errors import EngineeringError

# Closing point of a hydraulic shut-off valve (common practice, no source).
SHUTOFF_FRACTION: Final = 2.0 / 3.0


def tank_water_volume_l(
    tank_volume_l: Numbers,
    *,
    precharge_pressure_kpa: Numbers,
    tank_pressure_kpa: Numbers,
    atmospheric_kpa_absolute: Numbers = STANDARD_ATMOSPHERE_KPA,
) -> Result:
    """Return the water in a bladder tank at a pressure (Boyle's law, absolute pressures).

    Parameters
    ----------
    tank_volume_l : float or ndarray
        Whole volume, above 0.
    precharge_pressure_kpa : float or ndarray
        Air pressure of the empty tank, gauge.
    tank_pressure_kpa : float or ndarray
        Gauge, not below the precharge.
    atmospheric_kpa_absolute : float or ndarray
        50 to 110 kPa.

    Returns
    -------
    float or ndarray
        Litres of water.

    Raises
    ------
    EngineeringError
        Tank pressure below precharge, out of range.

    Examples
    --------
    >>> round(tank_water_volume_l(14.0, precharge_pressure_kpa=48.3, tank_pressure_kpa=275.8), 2)
    8.45
    """
    volume = in_range(tank_volume_l, "tank_volume_l", 0.0, unit="L", open_low=True)
    atmosphere = in_range(atmospheric_kpa_absolute, "atmospheric_kpa_absolute", 50.0, 110.0, unit="kPa")
    precharge = in_range(precharge_pressure_kpa, "precharge_pressure_kpa", 0.0, unit="kPa")
    pressure = in_range(tank_pressure_kpa, "tank_pressure_kpa", 0.0, unit="kPa")
    if np.any(pressure < precharge):
        raise EngineeringError(
            "tank_pressure_kpa",
            "The tank pressure is below the precharge: the tank is empty or the precharge is wrong.",
        )
    return tidy(volume * (1.0 - (precharge + atmosphere) / (pressure + atmosphere)))


def tank_fill_time_multiple(
    *,
    precharge_pressure_kpa: float,
    shutoff_pressure_kpa: float,
    net_driving_pressure_at_zero_kpa: float,
    atmospheric_kpa_absolute: float = STANDARD_ATMOSPHERE_KPA,
) -> float:
    """Return how many times longer the same water takes into a bladder tank than into an open one.

    Parameters
    ----------
    precharge_pressure_kpa, shutoff_pressure_kpa : float
        Gauge; filling runs from one to the other.
    net_driving_pressure_at_zero_kpa : float
        Net driving pressure without back-pressure; the flow is proportional to it less the tank pressure.
    atmospheric_kpa_absolute : float
        Absolute.

    Returns
    -------
    float
        1 or more. Closed form of the integral of dV/(N - P) with V from Boyle's law.

    Raises
    ------
    EngineeringError
        Shut-off not above precharge, or not reached because the net driving pressure falls to zero before that.

    Examples
    --------
    >>> round(tank_fill_time_multiple(precharge_pressure_kpa=48.26, shutoff_pressure_kpa=275.79,
    ...     net_driving_pressure_at_zero_kpa=379.21), 3)
    1.639
    """
    precharge = float(in_range(precharge_pressure_kpa, "precharge_pressure_kpa", 0.0, unit="kPa"))
    shutoff = float(in_range(shutoff_pressure_kpa, "shutoff_pressure_kpa", 0.0, unit="kPa"))
    atmosphere = float(in_range(atmospheric_kpa_absolute, "atmospheric_kpa_absolute", 50.0, 110.0, unit="kPa"))
    driving = float(net_driving_pressure_at_zero_kpa)
    if shutoff <= precharge:
        raise EngineeringError("shutoff_pressure_kpa", "The tank must stop filling above its precharge pressure.")
    if driving <= shutoff:
        raise EngineeringError(
            "net_driving_pressure_at_zero_kpa",
            "The membrane cannot fill the tank to its shut-off pressure: the net driving pressure falls to zero first.",
        )
    start, end = precharge + atmosphere, shutoff + atmosphere
    total = driving + atmosphere
    # dV ~ dP/P^2 (P absolute): integrate dP/(P^2 (total - P)) by partial fractions, over the same volume at full flow.
    filling = (1.0 / start - 1.0 / end) / total + np.log(end * (total - start) / (start * (total - end))) / total**2
    open_tank = (1.0 / start - 1.0 / end) / driving
    return float(filling / open_tank)


def shutoff_tank_pressure_kpa(line_pressure_kpa: Numbers, shutoff_fraction: Numbers = SHUTOFF_FRACTION) -> Result:
    """Return the tank pressure at which a hydraulic shut-off valve closes: near two thirds of the line pressure.

    Parameters
    ----------
    line_pressure_kpa : float or ndarray
        Gauge, 0 or more.
    shutoff_fraction : float or ndarray
        Above 0, up to 1.

    Returns
    -------
    float or ndarray
        kPa gauge.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(shutoff_tank_pressure_kpa(420.0))
    280
    """
    fraction = in_range(shutoff_fraction, "shutoff_fraction", 0.0, 1.0, open_low=True)
    return tidy(in_range(line_pressure_kpa, "line_pressure_kpa", 0.0, unit="kPa") * fraction)
