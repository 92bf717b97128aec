"""How long each cartridge should serve at a site, with its range, and what that costs in a year."""

import math
from collections.abc import Callable
from functools import lru_cache
from typing import Final

from fleet.engineering.constants import DAYS_PER_YEAR, MOLAR_MASS_CO2
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas import carbon, carbonate, lead_lag, resin
from fleet.engineering.limits import HOUSE, USUAL_SERVICE_TIME_DAYS, Limits, maximum_service_time_days
from fleet.engineering.sizing.offer import Item, Life
from fleet.engineering.sizing.survey import SiteSurvey, SizingPolicy
from fleet.engineering.usual import CAPACITY_LOG_SD, FEED_CHLORINE_MG_PER_L

# Normal quantile of 90 %: the range holds in eight cases of ten.
_QUANTILE: Final = 1.2815515655446004
# A single resin is planned to be changed when this share of its permeate passes, however loose the limit of the
# product is (common practice, no source).
_PLANNED_BREAKTHROUGH_FRACTION: Final = 0.1
_LEAST_DAYS: Final = 0.01
Taste = Callable[[Item, float], tuple[float, float, str]]
"""Item and cost in a year -> what to have least of."""


def life_of(
    stage: str, *, capacity_days: float | None, maximum_service_time_days: float | None, limit: str = "capacity"
) -> Life:
    """Return the life of a cartridge from its capacity and its maximum service time.

    Parameters
    ----------
    stage : str
        For the maximum service time where the label has none.
    capacity_days : float or None
        Days until the load has used the capacity; None where the load wears it by nothing known.
    maximum_service_time_days : float or None
        Of the label, days.
    limit : str
        What the capacity is.

    Returns
    -------
    Life
        The range is that of a log-normal capacity, cut at the maximum service time.

    Raises
    ------
    EngineeringError
        A life of under a quarter of an hour.

    Examples
    --------
    >>> life = life_of("resin", capacity_days=100.0, maximum_service_time_days=365.0)
    >>> round(life.from_days), life.days, round(life.to_days), life.limited_by
    (53, 100.0, 190, 'capacity')
    """
    oldest = maximum_service_time_days or USUAL_SERVICE_TIME_DAYS[stage]
    if capacity_days is None:
        # A membrane that is looked after serves two to five years (common practice, no source).
        if stage == "membrane":
            return Life(oldest, oldest * 2.0 / 3.0, oldest * 5.0 / 3.0, "maximum_service_time")
        return Life(oldest, oldest, oldest, "maximum_service_time")
    if not capacity_days >= _LEAST_DAYS:
        raise EngineeringError(
            "catalogue", f"A {stage} cartridge of the catalogue would last under a quarter of an hour: check its label."
        )
    spread = math.exp(_QUANTILE * CAPACITY_LOG_SD)
    return Life(
        min(capacity_days, oldest),
        min(capacity_days / spread, oldest),
        min(capacity_days * spread, oldest),
        "maximum_service_time" if oldest <= capacity_days else limit,
    )


def service_time_days(stage: str, item: Item, limits: Limits[float]) -> float | None:
    """Return the maximum service time of an item in a stage: of its label, and for carbon of the limits too.

    Parameters
    ----------
    stage : str
        Where it is placed.
    item : Item
        From the catalogue.
    limits : Limits
        Those it will be kept to; of them the maximum service time of carbon.

    Returns
    -------
    float or None
        Days; None where neither says one.

    Raises
    ------
    TypeError
        When the limits are those of several units.

    Examples
    --------
    >>> block = Item("C", "block", "carbon", 9.0, 365.0)
    >>> service_time_days("carbon", block, HOUSE), service_time_days("resin", Item("R", "", "resin", 9.0), HOUSE)
    (365.0, None)
    """
    label = item.maximum_service_time_days
    if stage != "carbon":
        return label
    return float(maximum_service_time_days(label or math.nan, limits.carbon_maximum_service_time_days))


def sediment_life(item: Item, feed_l_per_day: float) -> Life:
    """Return the life of a sediment cartridge: the volume of its label at the feed flow, or its maximum service time.

    Examples
    --------
    >>> round(sediment_life(Item("S", "5 um", "sediment", 4.0, rated_volume_l=10000.0), 100.0).days)
    100
    """
    days = item.rated_volume_l / feed_l_per_day if item.rated_volume_l else None
    return life_of(
        "sediment",
        capacity_days=days,
        maximum_service_time_days=item.maximum_service_time_days,
        limit="rated_volume",
    )


def carbon_life(item: Item, survey: SiteSurvey, feed_l_per_day: float, limits: Limits[float] = HOUSE) -> Life:
    """Return the life of a carbon cartridge: its chlorine capacity at the chlorine of the site, or its maximum service
    time.

    Parameters
    ----------
    item : Item
        Capacity as Cl2; the volume on the label stands in where it has none.
    survey : SiteSurvey
        Total chlorine; 1 mg/L is assumed where it was not measured.
    feed_l_per_day : float
        Through this cartridge.
    limits : Limits
        Of the site, for the maximum service time; see `limits.maximum_service_time_days`.

    Returns
    -------
    Life
        Days.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> water = SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0, total_chlorine_mg_per_l=1.0)
    >>> round(carbon_life(Item("C", "block", "carbon", 9.0, 365.0, chlorine_capacity_g=10.0), water, 100.0).days)
    100
    """
    oldest = service_time_days("carbon", item, limits)
    chlorine = survey.total_chlorine_mg_per_l
    if chlorine is None and survey.disinfectant != "none":
        chlorine = FEED_CHLORINE_MG_PER_L
    if item.chlorine_capacity_g and chlorine:
        days = float(carbon.feed_volume_at_capacity_l(item.chlorine_capacity_g, chlorine)) / feed_l_per_day
        return life_of("carbon", capacity_days=days, maximum_service_time_days=oldest)
    if item.rated_volume_l and chlorine:
        days = item.rated_volume_l / feed_l_per_day
        return life_of(
            "carbon",
            capacity_days=days,
            maximum_service_time_days=oldest,
            limit="rated_volume",
        )
    return life_of("carbon", capacity_days=None, maximum_service_time_days=oldest)


def resin_loads_meq_per_l(
    survey: SiteSurvey, permeate_tds_mg_per_l: float, policy: SizingPolicy, *, is_degassed: bool = False
) -> tuple[float, float]:
    """Return the ionic load on the resin and that of carbon dioxide, meq/L.

    Parameters
    ----------
    survey : SiteSurvey
        pH and alkalinity for the carbon dioxide, which passes the membrane; 0 where they are not known.
    permeate_tds_mg_per_l : float
        0.5 scale.
    policy : SizingPolicy
        What degassing leaves.
    is_degassed : bool
        Whether the permeate is degassed before the resin.

    Returns
    -------
    (float, float)
        Ions, and carbon dioxide.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> water = SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0)
    >>> ions, gas = resin_loads_meq_per_l(water, 10.0, SizingPolicy())
    >>> round(ions, 3), gas
    (0.171, 0.0)
    """
    gas = carbon_dioxide_meq_per_l(survey)
    if is_degassed:
        gas = min(gas, policy.co2_behind_degassing_mg_per_l / MOLAR_MASS_CO2)
    return float(resin.ionic_load_meq_per_l(permeate_tds_mg_per_l)), gas


@lru_cache(maxsize=64)
def carbon_dioxide_meq_per_l(survey: SiteSurvey) -> float:
    """Return the carbon dioxide of the feed, which passes the membrane whole; 0 where pH or alkalinity are not known.

    Examples
    --------
    >>> round(carbon_dioxide_meq_per_l(SiteSurvey("reef", 140.0, 300.0, 6.0, 15.0, 250.0, None, 100.0, 7.0)), 2)
    0.48
    """
    if survey.ph is None or not survey.alkalinity_mg_per_l_as_caco3:
        return 0.0
    gas = carbonate.co2_mg_per_l(
        ph=survey.ph,
        alkalinity_mg_per_l_as_caco3=survey.alkalinity_mg_per_l_as_caco3,
        temperature_degc=survey.usual_temperature_degc,
        tds_mg_per_l=survey.feed_tds_mg_per_l,
        calcium_mg_per_l_as_caco3=survey.hardness_mg_per_l_as_caco3 or 0.0,
    )
    return float(gas) / MOLAR_MASS_CO2


@lru_cache(maxsize=64)
def _share_used(cartridges: int, lead_limit_fraction: float, passed_fraction: float) -> float:
    """Share of a resin cartridge's capacity that is used before it is changed; the last is of the permeate."""
    if cartridges > 1:
        return float(
            lead_lag.steady_throughput_capacities(
                resin.TYPICAL_TRANSFER_UNITS, lead_outlet_fraction_at_rotation=lead_limit_fraction
            )
        )
    return float(resin.throughput_at_breakthrough(resin.TYPICAL_TRANSFER_UNITS, passed_fraction))


def resin_life(
    item: Item,
    survey: SiteSurvey,
    *,
    permeate_tds_mg_per_l: float,
    water_l_per_day: float,
    cartridges: int,
    policy: SizingPolicy,
    product_limit_mg_per_l: float = HOUSE.product_tds_mg_per_l,
    is_degassed: bool = False,
) -> Life:
    """Return the life of a resin cartridge: how long until the lead (or the only one) is changed.

    Parameters
    ----------
    item : Item
        Volume and capacity of one cartridge.
    survey : SiteSurvey
        For carbon dioxide and silica.
    permeate_tds_mg_per_l : float
        0.5 scale.
    water_l_per_day : float
        Through the resin.
    cartridges : int
        1, changed at a tenth of the permeate or at the limit of the product where that comes first; or 2 in rotation,
        each used nearly whole.
    policy : SizingPolicy
        Silica passage, what degassing leaves, and when a lead is replaced.
    product_limit_mg_per_l : float
        Product TDS at which a single cartridge is exhausted, above 0.
    is_degassed : bool
        Whether the permeate is degassed before the resin.

    Returns
    -------
    Life
        Days; a lower bound of the load, and so an upper one of the life, where carbon dioxide is not known.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> water = SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0)
    >>> bed = Item("R", "0.6 L", "resin", 16.5, 365.0, resin_volume_l=0.6, resin_capacity_eq_per_l=0.45)
    >>> life = resin_life(bed, water, permeate_tds_mg_per_l=10.0, water_l_per_day=20.0, cartridges=2,
    ...     policy=SizingPolicy())
    >>> round(life.days)
    79
    """
    ions, gas = resin_loads_meq_per_l(survey, permeate_tds_mg_per_l, policy, is_degassed=is_degassed)
    load = resin.governing_load_meq_per_l(
        ions,
        co2_mg_per_l=gas * MOLAR_MASS_CO2,
        silica_mg_per_l=(survey.silica_mg_per_l or 0.0) * policy.silica_passage_fraction,
    )
    capacity_l = float(
        resin.service_volume_l(resin.capacity_eq(item.resin_volume_l or 0.0, item.resin_capacity_eq_per_l or 0.0), load)
    )
    passed = min(_PLANNED_BREAKTHROUGH_FRACTION, product_limit_mg_per_l / permeate_tds_mg_per_l)
    days = capacity_l * _share_used(cartridges, policy.limits.lead_resin_fraction, passed) / water_l_per_day
    return life_of("resin", capacity_days=days, maximum_service_time_days=item.maximum_service_time_days)


def cost_per_year(item: Item, life: Life) -> float:
    """Return what a place in the train costs in a year: the price over the life.

    Examples
    --------
    >>> cost_per_year(Item("S", "5 um", "sediment", 4.0), Life(365.25, 300.0, 400.0, "maximum_service_time"))
    4.0
    """
    return item.price * DAYS_PER_YEAR / life.days


def cost_in_rotation(item: Item, lead: Life, lag: Life) -> float:
    """Return what lead and lag together cost in a year when the lag moves up at each change.

    Parameters
    ----------
    item : Item
        The cartridge in both places.
    lead : Life
        Until the lead is changed; one is bought each time.
    lag : Life
        Maximum service time: neither is used longer, so at least two are bought in that time.

    Returns
    -------
    float
        In the currency of the price.

    Raises
    ------
    ZeroDivisionError
        A life of nothing, which `life_of` refuses.

    Examples
    --------
    >>> bed = Item("R", "0.6 L", "resin", 10.0)
    >>> year = Life(365.25, 365.25, 365.25, "maximum_service_time")
    >>> cost_in_rotation(bed, Life(73.05, 40.0, 150.0, "capacity"), year), cost_in_rotation(bed, year, year)
    (50.0, 20.0)
    """
    return item.price * DAYS_PER_YEAR * max(1.0 / lead.days, 2.0 / lag.days)
