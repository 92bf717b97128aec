"""The warmest water of the year: a membrane makes most then, its restrictor passes no more, scale forms soonest."""

from dataclasses import replace
from functools import lru_cache
from math import ceil
from typing import Final

from scipy.optimize import brentq

from fleet.engineering.formulas import scaling
from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio, waste_ratio
from fleet.engineering.sizing.site import concentrate_langelier, site_flow_l_per_day
from fleet.engineering.sizing.survey import SiteSurvey

_LEAST: Final = 0.2
_MOST: Final = 50.0


@lru_cache(maxsize=64)
def least_ratio_at_warmest(survey: SiteSurvey, highest_langelier: float) -> float:
    """Return the least waste ratio at which the warmest water of a site leaves no scale.

    Parameters
    ----------
    survey : SiteSurvey
        The water, with its highest temperature.
    highest_langelier : float
        Index of the concentrate up to which none is expected.

    Returns
    -------
    float
        0 where the highest temperature is not known or nothing scales; 50 where no less does.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> water = SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0, 150.0, 120.0, 7.5)
    >>> least_ratio_at_warmest(water, 0.5)
    0.0
    >>> round(least_ratio_at_warmest(replace(water, highest_temperature_degc=25.0), 0.5), 1)
    2.0
    """
    if survey.highest_temperature_degc is None:
        return 0.0
    warm = replace(survey, usual_temperature_degc=survey.highest_temperature_degc)

    def excess(ratio: float) -> float:
        index = concentrate_langelier(warm, ratio)
        return -1.0 if index is None else index - highest_langelier

    dissolved = float(
        scaling.max_recovery_by_silica_fraction(survey.silica_mg_per_l or 0.0, survey.highest_temperature_degc)
    )
    by_silica = float(waste_ratio(dissolved)) if 0.0 < dissolved < 1.0 else 0.0
    if excess(_LEAST) <= 0.0:
        return by_silica
    if excess(_MOST) > 0.0:
        return _MOST
    return max(float(brentq(excess, _LEAST, _MOST, xtol=0.001)), by_silica)


def ratio_for_warmest(
    rating: MembraneRating, survey: SiteSurvey, inlet_kpa: float, ratio: float, highest_langelier: float
) -> float:
    """Return the waste ratio at the usual temperature that leaves no scale in the warmest water either.

    Parameters
    ----------
    rating : MembraneRating
        Label.
    survey : SiteSurvey
        The site and its water.
    inlet_kpa : float
        Membrane inlet, gauge.
    ratio : float
        Concentrate over permeate wanted at the usual temperature, above 0.
    highest_langelier : float
        Index of the concentrate up to which no scale is expected.

    Returns
    -------
    float
        The ratio itself where it does, else the next tenth that does. The restrictor is taken as an orifice: it passes
        in summer what it passes at the usual temperature, while the membrane makes more.

    Raises
    ------
    EngineeringError
        Net driving pressure not positive, out of range.

    Examples
    --------
    >>> label = MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97)
    >>> water = SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0, 150.0, 120.0, 7.5)
    >>> ratio_for_warmest(label, water, 345.0, 3.0, 0.5)
    3.0
    >>> ratio_for_warmest(label, replace(water, highest_temperature_degc=25.0), 345.0, 3.0, 0.5)
    3.3
    """
    least = least_ratio_at_warmest(survey, highest_langelier)
    if least <= 0.0 or survey.highest_temperature_degc is None:
        return ratio
    recovery = float(recovery_from_waste_ratio(ratio))
    usual, warm = (
        site_flow_l_per_day(rating, survey, inlet_kpa, temperature, recovery)
        for temperature in (survey.usual_temperature_degc, survey.highest_temperature_degc)
    )
    needed = least * warm / usual
    return ratio if needed <= ratio else ceil(needed * 10.0 - 1e-6) / 10.0
