"""What a membrane does with the water of a site, and what the concentrate is then close to."""

from fleet.engineering.formulas import scaling
from fleet.engineering.formulas.expected_flow import MembraneRating, expected_permeate_flow_l_per_day
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio
from fleet.engineering.formulas.normalisation import (
    OperatingPoint,
    net_driving_pressure_kpa,
    normalised_salt_passage_fraction,
)
from fleet.engineering.sizing.survey import SiteSurvey


def concentrate_langelier(survey: SiteSurvey, waste_ratio: float) -> float | None:
    """Return the Langelier index of the concentrate, or None where pH, hardness or alkalinity are not known.

    Hardness stands in for calcium, which is the cautious side.

    Examples
    --------
    >>> water = SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0, 150.0, 120.0, 7.5)
    >>> round(concentrate_langelier(water, 3.0), 2)
    0.18
    """
    if survey.ph is None or not survey.hardness_mg_per_l_as_caco3 or not survey.alkalinity_mg_per_l_as_caco3:
        return None
    return float(
        scaling.concentrate_langelier_index(
            feed_ph=survey.ph,
            feed_calcium_mg_per_l_as_caco3=survey.hardness_mg_per_l_as_caco3,
            feed_alkalinity_mg_per_l_as_caco3=survey.alkalinity_mg_per_l_as_caco3,
            feed_tds_mg_per_l=survey.feed_tds_mg_per_l,
            temperature_degc=survey.usual_temperature_degc,
            recovery_fraction=recovery_from_waste_ratio(waste_ratio),
        )
    )


def site_flow_l_per_day(
    rating: MembraneRating, survey: SiteSurvey, inlet_kpa: float, temperature_degc: float, recovery_fraction: float
) -> float:
    """Return the permeate flow of a new membrane with the feed of a site.

    Parameters
    ----------
    rating : MembraneRating
        Label.
    survey : SiteSurvey
        The site, for its feed TDS.
    inlet_kpa : float
        Membrane inlet, gauge.
    temperature_degc : float
        1 to 45 degC.
    recovery_fraction : float
        0 to below 1.

    Returns
    -------
    float
        L/day.

    Raises
    ------
    EngineeringError
        Net driving pressure not positive, out of range.

    Examples
    --------
    >>> label = MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97)
    >>> round(site_flow_l_per_day(label, SiteSurvey("reef", 140.0, 400.0, 8.0, 14.0, 250.0), 345.0, 25.0, 0.15))
    284
    """
    return float(
        expected_permeate_flow_l_per_day(
            rating,
            pressure_kpa=inlet_kpa,
            temperature_degc=temperature_degc,
            tds_mg_per_l=survey.feed_tds_mg_per_l,
            recovery_fraction=recovery_fraction,
        )
    )


def site_driving_pressure_kpa(
    rating: MembraneRating, survey: SiteSurvey, inlet_kpa: float, temperature_degc: float, recovery_fraction: float
) -> float:
    """Return the net driving pressure with the feed of a site and no back-pressure.

    Parameters
    ----------
    rating : MembraneRating
        Label, for its rejection.
    survey : SiteSurvey
        The site, for its feed TDS.
    inlet_kpa : float
        Membrane inlet, gauge.
    temperature_degc : float
        1 to 45 degC.
    recovery_fraction : float
        0 to below 1.

    Returns
    -------
    float
        kPa, above 0.

    Raises
    ------
    EngineeringError
        Net driving pressure not positive, out of range.

    Examples
    --------
    >>> label = MembraneRating(284.0, 413.6854, 25.0, 250.0, 0.15, 0.97)
    >>> site = SiteSurvey("reef", 140.0, 400.0, 8.0, 14.0, 250.0)
    >>> round(site_driving_pressure_kpa(label, site, 413.6854, 25.0, 1 / 3), 2)
    390.21
    """
    passage = 1.0 - float(rating.rejection_fraction)
    site = OperatingPoint(
        inlet_pressure_kpa=inlet_kpa,
        feed_tds_mg_per_l=survey.feed_tds_mg_per_l,
        permeate_tds_mg_per_l=survey.feed_tds_mg_per_l * passage,
        recovery_fraction=recovery_fraction,
        temperature_degc=temperature_degc,
    )
    return float(net_driving_pressure_kpa(site))


def site_permeate_tds_mg_per_l(
    rating: MembraneRating, survey: SiteSurvey, inlet_kpa: float, recovery_fraction: float
) -> float:
    """Return the permeate TDS: the label's salt passage brought to the driving pressure and brine of a site.

    Parameters
    ----------
    rating : MembraneRating
        Label.
    survey : SiteSurvey
        The site, at its usual temperature.
    inlet_kpa : float
        Membrane inlet, gauge.
    recovery_fraction : float
        0 to below 1.

    Returns
    -------
    float
        mg/L, 0.5 scale.

    Raises
    ------
    EngineeringError
        Net driving pressure not positive, out of range.

    Examples
    --------
    >>> label = MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97)
    >>> round(site_permeate_tds_mg_per_l(label, SiteSurvey("reef", 140.0, 400.0, 8.0, 25.0, 250.0), 345.0, 0.15), 2)
    7.5
    """
    label = rating.point()
    passage = 1.0 - float(rating.rejection_fraction)
    driving = site_driving_pressure_kpa(rating, survey, inlet_kpa, survey.usual_temperature_degc, recovery_fraction)
    at_site = normalised_salt_passage_fraction(
        passage,
        net_driving_pressure_kpa=net_driving_pressure_kpa(label),
        standard_net_driving_pressure_kpa=driving,
        recovery_fraction=label.recovery_fraction,
        standard_recovery_fraction=recovery_fraction,
    )
    return float(survey.feed_tds_mg_per_l * at_site)
