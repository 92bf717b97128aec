"""What a membrane should give at a site, and what restrictor, tank and shut-off valve do to it."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.constants import LITRE_PER_US_GALLON, MINUTES_PER_DAY, STANDARD_ATMOSPHERE_KPA
from fleet.engineering.errors import EngineeringError
from fleet.engineering.normalisation import OperatingPoint, net_driving_pressure_kpa, signed_net_driving_pressure_kpa
from fleet.engineering.temperature_correction import water_tcf
from fleet.engineering.viscosity import water_viscosity_mpa_s

RESTRICTOR_TYPES: Final = ("orifice", "capillary")
HIGHEST_RECOVERY: Final = 0.95
# Closing point of a hydraulic shut-off valve (trade pages).
SHUTOFF_FRACTION: Final = 2.0 / 3.0


@dataclass(frozen=True)
class MembraneRating:
    """The label of a membrane with the conditions it was tested at; a flow without them means nothing.

    Attributes
    ----------
    flow_l_per_day : float or ndarray
        Rated permeate flow.
    pressure_kpa : float or ndarray
        Test pressure, gauge.
    temperature_degc : float or ndarray
        Usually 25.
    tds_mg_per_l : float or ndarray
        NaCl of the test solution.
    recovery_fraction : float or ndarray
        Usually 0.15.
    rejection_fraction : float or ndarray
        0 to 1.
    u_kelvin : float, ndarray or None
        Temperature coefficient; two slopes when None.
    tcf_method : str
        As `water_tcf`.
    """

    flow_l_per_day: Numbers
    pressure_kpa: Numbers
    temperature_degc: Numbers
    tds_mg_per_l: Numbers
    recovery_fraction: Numbers
    rejection_fraction: Numbers
    u_kelvin: Numbers | None = None
    tcf_method: str = "arrhenius"

    def point(self) -> OperatingPoint:
        """Return the test condition as an operating point."""
        rejection = in_range(self.rejection_fraction, "rejection_fraction", 0.0, 1.0)
        return OperatingPoint(
            inlet_pressure_kpa=self.pressure_kpa,
            feed_tds_mg_per_l=self.tds_mg_per_l,
            permeate_tds_mg_per_l=tidy(np.asarray(self.tds_mg_per_l) * (1.0 - rejection)),
            recovery_fraction=self.recovery_fraction,
            temperature_degc=self.temperature_degc,
        )


def expected_permeate_flow_l_per_day(
    rating: MembraneRating,
    *,
    pressure_kpa: Numbers,
    temperature_degc: Numbers,
    tds_mg_per_l: Numbers,
    recovery_fraction: Numbers,
    permeate_pressure_kpa: Numbers = 0.0,
) -> Result:
    """Return the permeate flow to expect at a site from the label of the membrane.

    Parameters
    ----------
    rating : MembraneRating
        Label and its test conditions.
    pressure_kpa : float or ndarray
        Membrane inlet while producing, gauge.
    temperature_degc : float or ndarray
        1 to 45 degC.
    tds_mg_per_l : float or ndarray
        Feed, 0.5 scale.
    recovery_fraction : float or ndarray
        0 to below 1.
    permeate_pressure_kpa : float or ndarray
        Back-pressure, gauge.

    Returns
    -------
    float or ndarray
        Q_rated x NDP/NDP_rated x TCF(T)/TCF(T_rated), L/day. A label carries a tolerance of 15 to 20 % (from memory).

    Raises
    ------
    EngineeringError
        Net driving pressure not positive, out of range.

    Examples
    --------
    >>> label = MembraneRating(284.0, 344.7, 25.0, 250.0, 0.15, 0.96)
    >>> round(expected_permeate_flow_l_per_day(label, pressure_kpa=310.3, temperature_degc=12.0,
    ...     tds_mg_per_l=400.0, recovery_fraction=0.2))
    153
    """
    rejection = in_range(rating.rejection_fraction, "rejection_fraction", 0.0, 1.0)
    rated_flow = in_range(rating.flow_l_per_day, "rated_flow_l_per_day", 0.0, unit="L/day", open_low=True)
    site = OperatingPoint(
        inlet_pressure_kpa=pressure_kpa,
        feed_tds_mg_per_l=tds_mg_per_l,
        permeate_tds_mg_per_l=tidy(np.asarray(tds_mg_per_l) * (1.0 - rejection)),
        recovery_fraction=recovery_fraction,
        temperature_degc=temperature_degc,
        permeate_pressure_kpa=permeate_pressure_kpa,
    )
    pressures = net_driving_pressure_kpa(site) / net_driving_pressure_kpa(rating.point())
    return tidy(rated_flow * pressures * _tcf_ratio(rating, temperature_degc))


def expected_recovery_fraction(
    rating: MembraneRating,
    *,
    pressure_kpa: Numbers,
    temperature_degc: Numbers,
    tds_mg_per_l: Numbers,
    concentrate_flow_l_per_day: Numbers,
    permeate_pressure_kpa: Numbers = 0.0,
) -> Result:
    """Return the recovery at which membrane and a fixed concentrate flow agree: Y = Qp(Y)/(Qp(Y) + Qc).

    Parameters
    ----------
    rating, pressure_kpa, temperature_degc, tds_mg_per_l, permeate_pressure_kpa
        As `expected_permeate_flow_l_per_day`.
    concentrate_flow_l_per_day : float or ndarray
        Flow the restrictor lets pass at this pressure, above 0.

    Returns
    -------
    float or ndarray
        Fraction, 0 to 0.95.

    Raises
    ------
    EngineeringError
        No permeate to be expected, or no solution up to 0.95 (the restrictor is far too small).

    Notes
    -----
    Qp falls and Y/(1 - Y) rises with Y, so there is one solution; bisection finds it for whole arrays at once.

    Examples
    --------
    >>> label = MembraneRating(283.9, 344.74, 25.0, 250.0, 0.15, 0.96)
    >>> round(expected_recovery_fraction(label, pressure_kpa=413.69, temperature_degc=25.0, tds_mg_per_l=250.0,
    ...     concentrate_flow_l_per_day=1135.6), 3)
    0.232
    """
    drain = in_range(concentrate_flow_l_per_day, "concentrate_flow_l_per_day", 0.0, unit="L/day", open_low=True)
    rejection = in_range(rating.rejection_fraction, "rejection_fraction", 0.0, 1.0)
    scale = np.asarray(
        in_range(rating.flow_l_per_day, "rated_flow_l_per_day", 0.0, unit="L/day", open_low=True)
        / net_driving_pressure_kpa(rating.point())
        * _tcf_ratio(rating, temperature_degc)
    )

    def surplus(recovery: FloatArray) -> FloatArray:
        site = OperatingPoint(
            inlet_pressure_kpa=pressure_kpa,
            feed_tds_mg_per_l=tds_mg_per_l,
            permeate_tds_mg_per_l=tidy(np.asarray(tds_mg_per_l) * (1.0 - rejection)),
            recovery_fraction=recovery,
            temperature_degc=temperature_degc,
            permeate_pressure_kpa=permeate_pressure_kpa,
        )
        flow = scale * np.asarray(signed_net_driving_pressure_kpa(site))
        return np.asarray(flow * (1.0 - recovery) - recovery * drain)

    start = surplus(np.zeros(()))
    if np.any(start <= 0.0):
        raise EngineeringError(
            "pressure_kpa", "The net driving pressure is not positive: no permeate is to be expected."
        )
    low = np.zeros_like(start)
    high = np.full_like(start, HIGHEST_RECOVERY)
    if np.any(surplus(high) > 0.0):
        raise EngineeringError(
            "concentrate_flow_l_per_day",
            f"With so little concentrate the recovery would exceed {HIGHEST_RECOVERY:g}; fit a larger restrictor.",
        )
    for _ in range(60):
        middle = 0.5 * (low + high)
        above = surplus(middle) > 0.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    missing = np.isnan(start)
    return tidy(np.where(missing, np.nan, 0.5 * (low + high)))


def concentrate_flow_for_ratio(permeate_flow: Numbers, concentrate_to_permeate_ratio: Numbers) -> Result:
    """Return the concentrate flow a restrictor should pass, in the unit of the permeate flow.

    Parameters
    ----------
    permeate_flow : float or ndarray
        Flow expected **at the site**, not the label; 0 or more.
    concentrate_to_permeate_ratio : float or ndarray
        Typically 3 to 5 on hard, 1 to 2 only on soft water (common practice, no source).

    Returns
    -------
    float or ndarray
        Flow in the same unit.

    Raises
    ------
    EngineeringError
        Negative value.

    Examples
    --------
    >>> concentrate_flow_for_ratio(200.0, 4.0)
    800.0
    """
    flow = in_range(permeate_flow, "permeate_flow", 0.0)
    return tidy(flow * in_range(concentrate_to_permeate_ratio, "concentrate_to_permeate_ratio", 0.0))


def restrictor_size_ml_per_min(permeate_flow_l_per_day: Numbers, concentrate_to_permeate_ratio: Numbers) -> Result:
    """Return the size to order, in mL/min as restrictors are labelled.

    Parameters
    ----------
    permeate_flow_l_per_day, concentrate_to_permeate_ratio : float or ndarray
        As `concentrate_flow_for_ratio`, the flow in L/day.

    Returns
    -------
    float or ndarray
        mL/min.

    Raises
    ------
    EngineeringError
        Negative value.

    Examples
    --------
    >>> round(restrictor_size_ml_per_min(100 * 3.785411784, 4.0))
    1052
    """
    return tidy(
        concentrate_flow_for_ratio(permeate_flow_l_per_day, concentrate_to_permeate_ratio) * 1000.0 / MINUTES_PER_DAY
    )


def restrictor_flow(
    rated_flow: Numbers,
    *,
    rated_pressure: Numbers,
    pressure: Numbers,
    restrictor_type: str | None = None,
    rated_temperature_degc: Numbers = 25.0,
    temperature_degc: Numbers = 25.0,
) -> Result:
    """Return what a restrictor passes at another pressure (and temperature).

    Parameters
    ----------
    rated_flow : float or ndarray
        Flow at the rated pressure, any flow unit.
    rated_pressure, pressure : float or ndarray
        Pressure difference across it, in one unit, above 0.
    restrictor_type : {"orifice", "capillary"}
        Orifice: root of pressure. Capillary tube: pressure over viscosity (Hagen-Poiseuille).
    rated_temperature_degc, temperature_degc : float or ndarray
        Only a capillary feels them; 0 to 100 degC.

    Returns
    -------
    float or ndarray
        In the unit of `rated_flow`.

    Raises
    ------
    EngineeringError
        Unknown type when the pressure differs from the rating, out of range.

    Examples
    --------
    >>> round(restrictor_flow(420.0, rated_pressure=60.0, pressure=80.0, restrictor_type="orifice"), 1)
    485.0
    """
    flow = in_range(rated_flow, "rated_flow", 0.0)
    ratio = in_range(pressure, "pressure", 0.0, open_low=True) / in_range(
        rated_pressure, "rated_pressure", 0.0, open_low=True
    )
    if restrictor_type == "orifice":
        return tidy(flow * np.sqrt(ratio))
    if restrictor_type == "capillary":
        return tidy(
            flow * ratio * water_viscosity_mpa_s(rated_temperature_degc) / water_viscosity_mpa_s(temperature_degc)
        )
    if restrictor_type is None and np.all(ratio == 1.0):
        return tidy(flow)
    raise EngineeringError(
        "restrictor_type",
        f"{restrictor_type!r} does not say how the flow follows pressure; use 'orifice' or 'capillary'.",
    )


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
        Shut-off not above precharge, or not reached because the driving pressure is used up before.

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
            "The membrane cannot fill the tank to its shut-off pressure: the driving pressure is used up before.",
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


def standstill_tds_mg_per_l(
    *, initial_tds_mg_per_l: Numbers, steady_tds_mg_per_l: Numbers, flushed_volume_l: Numbers, holdup_volume_l: Numbers
) -> Result:
    """Return the permeate TDS after a stop, once some permeate has flushed the creep away.

    Parameters
    ----------
    initial_tds_mg_per_l, steady_tds_mg_per_l : float or ndarray
        First drop, and after a long run; 0 or more.
    flushed_volume_l : float or ndarray
        Permeate drawn since the start, 0 or more.
    holdup_volume_l : float or ndarray
        Permeate side of element and tubing, above 0; 0.1 to 0.3 L is common (common practice, no source).

    Returns
    -------
    float or ndarray
        C_ss + (C0 - C_ss) exp(-V/Vh), mg/L.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(standstill_tds_mg_per_l(initial_tds_mg_per_l=80.0, steady_tds_mg_per_l=6.0, flushed_volume_l=1.0,
    ...     holdup_volume_l=0.25), 2)
    7.36
    """
    first = in_range(initial_tds_mg_per_l, "initial_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    steady = in_range(steady_tds_mg_per_l, "steady_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    flushed = in_range(flushed_volume_l, "flushed_volume_l", 0.0, unit="L")
    holdup = in_range(holdup_volume_l, "holdup_volume_l", 0.0, unit="L", open_low=True)
    return tidy(steady + (first - steady) * np.exp(-flushed / holdup))


def gpd_to_l_per_day(flow_us_gpd: Numbers) -> Result:
    """Return L/day from a label in US gallons per day.

    Examples
    --------
    >>> round(gpd_to_l_per_day(75.0), 1)
    283.9
    """
    return tidy(in_range(flow_us_gpd, "flow_us_gpd", 0.0, why="A flow cannot be negative.") * LITRE_PER_US_GALLON)


def _tcf_ratio(rating: MembraneRating, temperature_degc: Numbers) -> Result:
    site = water_tcf(temperature_degc, u_kelvin=rating.u_kelvin, method=rating.tcf_method)
    label = water_tcf(rating.temperature_degc, u_kelvin=rating.u_kelvin, method=rating.tcf_method)
    return np.asarray(site) / label
