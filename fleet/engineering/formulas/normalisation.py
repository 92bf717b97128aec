"""Bring flow and salt passage of a membrane to one standard condition, so that only the membrane is left to change.

Structure of ASTM D4516-19a. The standard condition is the unit's own baseline after running-in, not the label.
"""

from dataclasses import dataclass

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.mass_balance import feed_brine_factor
from fleet.engineering.formulas.osmotic_pressure import osmotic_pressure_kpa


@dataclass(frozen=True)
class OperatingPoint:
    """One condition of a membrane: pressures (kPa gauge), qualities (mg/L, 0.5 scale), recovery, temperature.

    Attributes
    ----------
    inlet_pressure_kpa : float or ndarray
        At the membrane inlet while producing.
    feed_tds_mg_per_l, permeate_tds_mg_per_l : float or ndarray
        0 to 50000 mg/L.
    recovery_fraction : float or ndarray
        0 to below 1.
    temperature_degc : float or ndarray
        1 to 45 degC; a missing temperature is never taken as 25.
    feed_brine_differential_pressure_kpa : float or ndarray
        Pressure lost along the element; keep 0 through a whole trend if unknown.
    permeate_pressure_kpa : float or ndarray
        Back-pressure of tank, cartridges and height.

    Examples
    --------
    >>> point = OperatingPoint(413.7, 300.0, 10.0, 0.2, 20.0)
    >>> round(net_driving_pressure_kpa(point), 1)
    388.4
    """

    inlet_pressure_kpa: Numbers
    feed_tds_mg_per_l: Numbers
    permeate_tds_mg_per_l: Numbers
    recovery_fraction: Numbers
    temperature_degc: Numbers
    feed_brine_differential_pressure_kpa: Numbers = 0.0
    permeate_pressure_kpa: Numbers = 0.0


def signed_net_driving_pressure_kpa(point: OperatingPoint) -> Result:
    """Return the net driving pressure, which may be zero or negative (then no permeate is to be expected).

    Parameters
    ----------
    point : OperatingPoint
        Any mix of scalars and arrays that broadcast.

    Returns
    -------
    float or ndarray
        NDP = Pf - dP/2 - Pp - pi_fb + pi_p, kPa.

    Raises
    ------
    EngineeringError
        A value out of range.

    Examples
    --------
    >>> signed_net_driving_pressure_kpa(OperatingPoint(0.0, 300.0, 10.0, 0.2, 20.0)) < 0
    True
    """
    inlet = in_range(point.inlet_pressure_kpa, "inlet_pressure_kpa", 0.0, 10000.0, unit="kPa")
    differential = in_range(
        point.feed_brine_differential_pressure_kpa, "feed_brine_differential_pressure_kpa", 0.0, 1000.0, unit="kPa"
    )
    back = in_range(point.permeate_pressure_kpa, "permeate_pressure_kpa", 0.0, 10000.0, unit="kPa")
    feed_tds = in_range(point.feed_tds_mg_per_l, "feed_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    feed_brine = feed_tds * feed_brine_factor(point.recovery_fraction)
    outside = osmotic_pressure_kpa(feed_brine, point.temperature_degc)
    inside = osmotic_pressure_kpa(
        in_range(point.permeate_tds_mg_per_l, "permeate_tds_mg_per_l", 0.0, 50000.0, unit="mg/L"),
        point.temperature_degc,
    )
    return tidy(inlet - differential / 2.0 - back - outside + inside)


def net_driving_pressure_kpa(point: OperatingPoint) -> Result:
    """Return the net driving pressure, refusing a point at which no permeate is to be expected.

    Parameters
    ----------
    point : OperatingPoint
        Any mix of scalars and arrays that broadcast.

    Returns
    -------
    float or ndarray
        kPa, above 0.

    Raises
    ------
    EngineeringError
        If it is not positive anywhere, or a value is out of range.

    Examples
    --------
    >>> net_driving_pressure_kpa(OperatingPoint(276.0, 300.0, 10.0, 0.2, 20.0, permeate_pressure_kpa=276.0))
    Traceback (most recent call last):
    ...
    fleet.engineering.errors.EngineeringError: inlet_pressure_kpa: The net driving pressure is not positive, ...
    """
    pressure = signed_net_driving_pressure_kpa(point)
    if np.any(np.asarray(pressure) <= 0.0):
        raise EngineeringError(
            "inlet_pressure_kpa",
            "The net driving pressure is not positive, so no permeate is to be expected: "
            "the inlet pressure does not exceed back-pressure and osmotic pressure.",
        )
    return pressure


def normalised_permeate_flow_l_per_day(
    permeate_flow_l_per_day: Numbers,
    *,
    net_driving_pressure_kpa: Numbers,
    standard_net_driving_pressure_kpa: Numbers,
    tcf: Numbers,
    standard_tcf: Numbers,
) -> Result:
    """Return the permeate flow this membrane would give at the standard condition.

    Parameters
    ----------
    permeate_flow_l_per_day : float or ndarray
        Measured flow, 0 or more.
    net_driving_pressure_kpa, standard_net_driving_pressure_kpa : float or ndarray
        Of the reading and at the standard condition, above 0; see `signed_net_driving_pressure_kpa`.
    tcf, standard_tcf : float or ndarray
        Temperature correction factors of both, above 0; see `water_tcf`.

    Returns
    -------
    float or ndarray
        Qps = Qpa (NDPs/NDPa)(TCFs/TCFa), L/day.

    Raises
    ------
    EngineeringError
        Negative flow, a net driving pressure or a factor that is not positive.

    Examples
    --------
    >>> from fleet.engineering.formulas.temperature_correction import water_tcf
    >>> now = OperatingPoint(379.2, 300.0, 10.0, 0.2, 12.0)
    >>> base = OperatingPoint(413.7, 300.0, 10.0, 0.2, 25.0)
    >>> round(normalised_permeate_flow_l_per_day(150.0, net_driving_pressure_kpa=signed_net_driving_pressure_kpa(now),
    ...     standard_net_driving_pressure_kpa=signed_net_driving_pressure_kpa(base), tcf=water_tcf(12.0),
    ...     standard_tcf=water_tcf(25.0)), 1)
    260.4
    """
    flow = in_range(permeate_flow_l_per_day, "permeate_flow_l_per_day", 0.0, unit="L/day")
    pressures = _driving(standard_net_driving_pressure_kpa) / _driving(net_driving_pressure_kpa)
    factors = in_range(standard_tcf, "standard_tcf", 0.0, open_low=True) / in_range(tcf, "tcf", 0.0, open_low=True)
    return tidy(flow * pressures * factors)


def salt_passage_fraction(feed_tds_mg_per_l: Numbers, permeate_tds_mg_per_l: Numbers) -> Result:
    """Return the system salt passage, permeate over feed TDS.

    Parameters
    ----------
    feed_tds_mg_per_l : float or ndarray
        Above 0, up to 50000 mg/L.
    permeate_tds_mg_per_l : float or ndarray
        On the same scale, 0 up to the feed.

    Returns
    -------
    float or ndarray
        Fraction.

    Raises
    ------
    EngineeringError
        Feed of 0, permeate above feed, out of range.

    Examples
    --------
    >>> salt_passage_fraction(250.0, 10.0)
    0.04
    """
    feed = in_range(feed_tds_mg_per_l, "feed_tds_mg_per_l", 0.0, 50000.0, unit="mg/L", open_low=True)
    permeate = in_range(permeate_tds_mg_per_l, "permeate_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    if np.any(permeate > feed):
        raise EngineeringError(
            "permeate_tds_mg_per_l",
            "The permeate TDS is above the feed TDS; check for swapped probes or a sample that was not flushed.",
        )
    return tidy(permeate / feed)


def rejection_fraction(salt_passage_fraction: Numbers) -> Result:
    """Return the rejection that goes with a salt passage, 1 less it: the figure installers use.

    Parameters
    ----------
    salt_passage_fraction : float or ndarray
        0 to 1; see `salt_passage_fraction`.

    Returns
    -------
    float or ndarray
        Fraction.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> rejection_fraction(0.04)
    0.96
    """
    return tidy(1.0 - in_range(salt_passage_fraction, "salt_passage_fraction", 0.0, 1.0))


def normalised_salt_passage_fraction(
    salt_passage_fraction: Numbers,
    *,
    net_driving_pressure_kpa: Numbers,
    standard_net_driving_pressure_kpa: Numbers,
    recovery_fraction: Numbers,
    standard_recovery_fraction: Numbers,
) -> Result:
    """Return the salt passage this membrane would have at the standard condition.

    Parameters
    ----------
    salt_passage_fraction : float or ndarray
        As measured, 0 to 1.
    net_driving_pressure_kpa, standard_net_driving_pressure_kpa : float or ndarray
        Of the reading and at the standard condition, above 0.
    recovery_fraction, standard_recovery_fraction : float or ndarray
        Of both, 0 to below 1.

    Returns
    -------
    float or ndarray
        SPs = SPa (NDPa/NDPs)(Cfbs/Cfs)/(Cfba/Cfa).

    Raises
    ------
    EngineeringError
        A net driving pressure that is not positive, out of range.

    Notes
    -----
    ASTM D4516 form from memory, rederived from salt flux = B x concentration and water flux = A x NDP. The source
    multiplies by Cfbs/Cfba and Cfa/Cfs, which is the same. The salt is taken to slow down in the cold as the water
    does, so that only pressure and recovery are corrected: compare within 5 degC.

    Examples
    --------
    >>> weak, base = OperatingPoint(206.8, 300.0, 20.0, 0.2, 25.0), OperatingPoint(413.7, 300.0, 10.0, 0.2, 25.0)
    >>> round(normalised_salt_passage_fraction(20.0 / 300.0,
    ...     net_driving_pressure_kpa=signed_net_driving_pressure_kpa(weak),
    ...     standard_net_driving_pressure_kpa=signed_net_driving_pressure_kpa(base),
    ...     recovery_fraction=0.2, standard_recovery_fraction=0.2), 3)
    0.031
    """
    passage = in_range(salt_passage_fraction, "salt_passage_fraction", 0.0, 1.0)
    pressures = _driving(net_driving_pressure_kpa) / _driving(standard_net_driving_pressure_kpa)
    brines = np.asarray(feed_brine_factor(standard_recovery_fraction)) / feed_brine_factor(recovery_fraction)
    return tidy(passage * pressures * brines)


def _driving(pressure_kpa: Numbers) -> FloatArray:
    return in_range(
        pressure_kpa,
        "net_driving_pressure_kpa",
        0.0,
        unit="kPa",
        open_low=True,
        why="No permeate is to be expected without it.",
    )
