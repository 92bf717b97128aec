"""What a membrane should give at a site, and at which recovery it settles behind a fixed restrictor."""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.arrays import FloatArray, Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.normalisation import (
    OperatingPoint,
    net_driving_pressure_kpa,
    signed_net_driving_pressure_kpa,
)
from fleet.engineering.formulas.temperature_correction import water_tcf

HIGHEST_RECOVERY: Final = 0.95


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


def _tcf_ratio(rating: MembraneRating, temperature_degc: Numbers) -> Result:
    site = water_tcf(temperature_degc, u_kelvin=rating.u_kelvin, method=rating.tcf_method)
    label = water_tcf(rating.temperature_degc, u_kelvin=rating.u_kelvin, method=rating.tcf_method)
    return np.asarray(site) / label
