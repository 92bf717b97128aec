"""What a membrane should give at a site, and at which recovery it settles behind a fixed restrictor."""

from dataclasses import dataclass

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.formulas.normalisation import (
    OperatingPoint,
    net_driving_pressure_kpa,
)
from fleet.engineering.formulas.temperature_correction import water_tcf


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
    site = OperatingPoint(
        inlet_pressure_kpa=pressure_kpa,
        feed_tds_mg_per_l=tds_mg_per_l,
        permeate_tds_mg_per_l=tidy(np.asarray(tds_mg_per_l) * (1.0 - rejection)),
        recovery_fraction=recovery_fraction,
        temperature_degc=temperature_degc,
        permeate_pressure_kpa=permeate_pressure_kpa,
    )
    return permeate_flow_under_l_per_day(
        rating,
        driving_pressure_kpa=net_driving_pressure_kpa(site),
        rated_driving_pressure_kpa=net_driving_pressure_kpa(rating.point()),
        temperature_degc=temperature_degc,
    )


def permeate_flow_under_l_per_day(
    rating: MembraneRating,
    *,
    driving_pressure_kpa: Numbers,
    rated_driving_pressure_kpa: Numbers,
    temperature_degc: Numbers,
) -> Result:
    """Return the permeate flow to expect where the net driving pressures are known, from the label of the membrane.

    Parameters
    ----------
    rating : MembraneRating
        Label and its test conditions.
    driving_pressure_kpa, rated_driving_pressure_kpa : float or ndarray
        Net driving pressure at the site, 0 or more, and at the test conditions, above 0.
    temperature_degc : float or ndarray
        1 to 45 degC.

    Returns
    -------
    float or ndarray
        As `expected_permeate_flow_l_per_day`.

    Raises
    ------
    EngineeringError
        A label without flow or driving pressure, out of range.

    Examples
    --------
    >>> label = MembraneRating(284.0, 344.7, 25.0, 250.0, 0.15, 0.96)
    >>> round(permeate_flow_under_l_per_day(label, driving_pressure_kpa=190.0,
    ...     rated_driving_pressure_kpa=380.0, temperature_degc=25.0))
    142
    """
    rated_flow = in_range(rating.flow_l_per_day, "rated_flow_l_per_day", 0.0, unit="L/day", open_low=True)
    driving = in_range(driving_pressure_kpa, "driving_pressure_kpa", 0.0, unit="kPa")
    rated = in_range(rated_driving_pressure_kpa, "rated_driving_pressure_kpa", 0.0, unit="kPa", open_low=True)
    return tidy(rated_flow * (driving / rated) * _tcf_ratio(rating, temperature_degc))


def _tcf_ratio(rating: MembraneRating, temperature_degc: Numbers) -> Result:
    site = water_tcf(temperature_degc, u_kelvin=rating.u_kelvin, method=rating.tcf_method)
    label = water_tcf(rating.temperature_degc, u_kelvin=rating.u_kelvin, method=rating.tcf_method)
    return np.asarray(site) / label
