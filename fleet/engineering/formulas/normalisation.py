"""Bring flow and salt passage of a membrane to one standard condition, so that only the membrane is left to change.

Structure of ASTM D4516-19a. The standard condition is the unit's own baseline after running-in, not the label.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.mass_balance import feed_brine_factor
from fleet.engineering.formulas.osmotic_pressure import osmotic_pressure_kpa
from fleet.engineering.formulas.temperature_correction import SALT_U_KELVIN, salt_tcf, water_tcf

SALT_TCF_METHODS: Final = ("same_as_water", "arrhenius")


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
    feed_brine_drop_kpa : float or ndarray
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
    feed_brine_drop_kpa: Numbers = 0.0
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
    brine_drop = in_range(point.feed_brine_drop_kpa, "feed_brine_drop_kpa", 0.0, 1000.0, unit="kPa")
    back = in_range(point.permeate_pressure_kpa, "permeate_pressure_kpa", 0.0, 10000.0, unit="kPa")
    feed_tds = in_range(point.feed_tds_mg_per_l, "feed_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    feed_brine = feed_tds * feed_brine_factor(point.recovery_fraction)
    outside = osmotic_pressure_kpa(feed_brine, point.temperature_degc)
    inside = osmotic_pressure_kpa(
        in_range(point.permeate_tds_mg_per_l, "permeate_tds_mg_per_l", 0.0, 50000.0, unit="mg/L"),
        point.temperature_degc,
    )
    return tidy(inlet - brine_drop / 2.0 - back - outside + inside)


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
    actual: OperatingPoint,
    standard: OperatingPoint,
    *,
    u_kelvin: Numbers | None = None,
    tcf_method: str = "arrhenius",
) -> Result:
    """Return the permeate flow this membrane would give at the standard condition.

    Parameters
    ----------
    permeate_flow_l_per_day : float or ndarray
        Measured flow, 0 or more.
    actual, standard : OperatingPoint
        Condition of the reading and condition to compare at.
    u_kelvin : float or ndarray, optional
        Water coefficient of the membrane; two slopes when left out.
    tcf_method : str
        As `water_tcf`.

    Returns
    -------
    float or ndarray
        Qps = Qpa (NDPs/NDPa)(TCFs/TCFa), L/day.

    Raises
    ------
    EngineeringError
        Negative flow, a net driving pressure that is not positive, a value out of range.

    Examples
    --------
    >>> now = OperatingPoint(379.2, 300.0, 10.0, 0.2, 12.0)
    >>> base = OperatingPoint(413.7, 300.0, 10.0, 0.2, 25.0)
    >>> round(normalised_permeate_flow_l_per_day(150.0, now, base), 1)
    260.4
    """
    flow = in_range(permeate_flow_l_per_day, "permeate_flow_l_per_day", 0.0, unit="L/day")
    pressures = net_driving_pressure_kpa(standard) / net_driving_pressure_kpa(actual)
    factors = water_tcf(standard.temperature_degc, u_kelvin=u_kelvin, method=tcf_method) / water_tcf(
        actual.temperature_degc, u_kelvin=u_kelvin, method=tcf_method
    )
    return tidy(flow * pressures * factors)


def flow_loss_fraction(baseline_l_per_day: Numbers, normalised_l_per_day: Numbers) -> Result:
    """Return the share of the baseline flow that is lost; negative when the flow is above the baseline.

    Parameters
    ----------
    baseline_l_per_day : float or ndarray
        Above 0.
    normalised_l_per_day : float or ndarray
        Normalised to the condition of the baseline, 0 or more.

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
    >>> flow_loss_fraction(200.0, 174.0)
    0.13
    """
    baseline = in_range(baseline_l_per_day, "baseline_l_per_day", 0.0, unit="L/day", open_low=True)
    return tidy((baseline - in_range(normalised_l_per_day, "normalised_l_per_day", 0.0, unit="L/day")) / baseline)


def salt_passage_fraction(
    feed_tds_mg_per_l: Numbers,
    permeate_tds_mg_per_l: Numbers,
    *,
    feed_tds_factor: float | None = None,
    permeate_tds_factor: float | None = None,
) -> Result:
    """Return the system salt passage, permeate over feed TDS.

    Parameters
    ----------
    feed_tds_mg_per_l : float or ndarray
        Above 0, up to 50000 mg/L.
    permeate_tds_mg_per_l : float or ndarray
        0 up to the feed.
    feed_tds_factor, permeate_tds_factor : float, optional
        Factors of the meters, if known; a common factor cancels, different ones are refused.

    Returns
    -------
    float or ndarray
        Fraction.

    Raises
    ------
    EngineeringError
        Feed of 0, permeate above feed, different TDS factors, out of range.

    Examples
    --------
    >>> salt_passage_fraction(250.0, 10.0)
    0.04
    """
    if feed_tds_factor is not None and permeate_tds_factor is not None and feed_tds_factor != permeate_tds_factor:
        raise EngineeringError(
            "permeate_tds_factor",
            f"The two TDS were read on different scales ({feed_tds_factor:g} and {permeate_tds_factor:g}); "
            "bring both to one factor first.",
        )
    feed = in_range(feed_tds_mg_per_l, "feed_tds_mg_per_l", 0.0, 50000.0, unit="mg/L", open_low=True)
    permeate = in_range(permeate_tds_mg_per_l, "permeate_tds_mg_per_l", 0.0, 50000.0, unit="mg/L")
    if np.any(permeate > feed):
        raise EngineeringError(
            "permeate_tds_mg_per_l",
            "The permeate TDS is above the feed TDS; check for swapped probes or a sample that was not flushed.",
        )
    return tidy(permeate / feed)


def rejection_fraction(
    feed_tds_mg_per_l: Numbers,
    permeate_tds_mg_per_l: Numbers,
    *,
    feed_tds_factor: float | None = None,
    permeate_tds_factor: float | None = None,
) -> Result:
    """Return the system rejection, 1 - permeate/feed: the figure installers use.

    Parameters
    ----------
    feed_tds_mg_per_l, permeate_tds_mg_per_l, feed_tds_factor, permeate_tds_factor
        As `salt_passage_fraction`.

    Returns
    -------
    float or ndarray
        Fraction.

    Raises
    ------
    EngineeringError
        As `salt_passage_fraction`.

    Examples
    --------
    >>> rejection_fraction(250.0, 10.0)
    0.96
    """
    passage = salt_passage_fraction(
        feed_tds_mg_per_l,
        permeate_tds_mg_per_l,
        feed_tds_factor=feed_tds_factor,
        permeate_tds_factor=permeate_tds_factor,
    )
    return tidy(1.0 - np.asarray(passage))


def rejection_vs_feed_brine_mean_fraction(
    feed_tds_mg_per_l: Numbers, permeate_tds_mg_per_l: Numbers, recovery_fraction: Numbers
) -> Result:
    """Return the membrane's own rejection, against the mean concentration along it; higher than the system's.

    Parameters
    ----------
    feed_tds_mg_per_l, permeate_tds_mg_per_l : float or ndarray
        As `salt_passage_fraction`.
    recovery_fraction : float or ndarray
        0 to below 1.

    Returns
    -------
    float or ndarray
        Fraction. Never mix it with the system rejection.

    Raises
    ------
    EngineeringError
        As `salt_passage_fraction`, recovery out of range.

    Examples
    --------
    >>> round(rejection_vs_feed_brine_mean_fraction(250.0, 10.0, 0.5), 4)
    0.9711
    """
    passage = salt_passage_fraction(feed_tds_mg_per_l, permeate_tds_mg_per_l)
    return tidy(1.0 - np.asarray(passage) / feed_brine_factor(recovery_fraction))


def normalised_salt_passage_fraction(
    actual: OperatingPoint,
    standard: OperatingPoint,
    *,
    salt_tcf_method: str = "same_as_water",
    salt_u_kelvin: Numbers = SALT_U_KELVIN,
    u_kelvin: Numbers | None = None,
) -> Result:
    """Return the salt passage this membrane would have at the standard condition.

    Parameters
    ----------
    actual, standard : OperatingPoint
        Condition of the reading (its TDS are the measurement) and condition to compare at.
    salt_tcf_method : {"same_as_water", "arrhenius"}
        The default takes the salt to slow down in the cold as the water does, so that only pressure is corrected.
    salt_u_kelvin, u_kelvin : float or ndarray
        Coefficients, used by ``"arrhenius"``.

    Returns
    -------
    float or ndarray
        SPs = SPa (NDPa/NDPs)(Cfbs/Cfs)/(Cfba/Cfa), times [TCFa/TCFs][STCFs/STCFa] for ``"arrhenius"``.

    Raises
    ------
    EngineeringError
        As `salt_passage_fraction` and `net_driving_pressure_kpa`; unknown method.

    Notes
    -----
    ASTM D4516 form from memory, rederived from salt flux = B x concentration and water flux = A x NDP. The source
    multiplies by Cfbs/Cfba and Cfa/Cfs, which is the same.

    Examples
    --------
    >>> base = OperatingPoint(413.7, 300.0, 10.0, 0.2, 25.0)
    >>> weak = OperatingPoint(206.8, 300.0, 20.0, 0.2, 25.0)
    >>> round(normalised_salt_passage_fraction(weak, base), 3)
    0.031
    """
    passage = salt_passage_fraction(actual.feed_tds_mg_per_l, actual.permeate_tds_mg_per_l)
    pressures = net_driving_pressure_kpa(actual) / net_driving_pressure_kpa(standard)
    brines = feed_brine_factor(standard.recovery_fraction) / feed_brine_factor(actual.recovery_fraction)
    result = np.asarray(passage) * pressures * brines
    if salt_tcf_method == "same_as_water":
        in_range(actual.temperature_degc, "temperature_degc", 1.0, 45.0, unit="degC")
        return tidy(result)
    if salt_tcf_method != "arrhenius":
        raise EngineeringError(
            "salt_tcf_method", f"{salt_tcf_method!r} is not a method; use one of {', '.join(SALT_TCF_METHODS)}."
        )
    water = water_tcf(actual.temperature_degc, u_kelvin=u_kelvin) / water_tcf(
        standard.temperature_degc, u_kelvin=u_kelvin
    )
    salt = salt_tcf(standard.temperature_degc, u_kelvin=salt_u_kelvin) / salt_tcf(
        actual.temperature_degc, u_kelvin=salt_u_kelvin
    )
    return tidy(result * water * salt)


def salt_passage_ratio(ndp_ratio_new_over_old: Numbers) -> Result:
    """Return by how much salt passage grows when only the net driving pressure changes: same salt in less water.

    Parameters
    ----------
    ndp_ratio_new_over_old : float or ndarray
        Above 0.

    Returns
    -------
    float or ndarray
        New over old salt passage.

    Raises
    ------
    EngineeringError
        Ratio of 0 or less.

    Examples
    --------
    >>> salt_passage_ratio(0.5)
    2.0
    """
    return tidy(1.0 / in_range(ndp_ratio_new_over_old, "ndp_ratio_new_over_old", 0.0, open_low=True))
