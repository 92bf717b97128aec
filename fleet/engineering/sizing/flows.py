"""Which membranes, pump and waste ratio serve a site in winter: every way the catalogue allows."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas import scaling
from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio
from fleet.engineering.formulas.needed_pressure import needed_inlet_kpa
from fleet.engineering.formulas.resin import ionic_load_meq_per_l
from fleet.engineering.formulas.tank import shutoff_tank_pressure_kpa, tank_fill_time_multiple
from fleet.engineering.sizing.blending import passed_by_l_per_week, passed_by_of
from fleet.engineering.sizing.demand import run_hours_per_day
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import Item, SizingRequest
from fleet.engineering.sizing.site import (
    concentrate_langelier,
    site_driving_pressure_kpa,
    site_flow_l_per_day,
    site_permeate_tds_mg_per_l,
)
from fleet.engineering.sizing.survey import SiteSurvey, SizingPolicy
from fleet.engineering.sizing.warmest import ratio_for_warmest
from fleet.engineering.sizing.wear import carbon_dioxide_meq_per_l

_CUSTOMARY_UNKNOWN: Final = 4.0


def allowed_waste_ratios(survey: SiteSurvey, policy: SizingPolicy | None = None) -> tuple[float, ...]:
    """Return the waste ratios at which neither lime nor silica forms, the least waste first; empty where none is.

    Where hardness, alkalinity or pH are not known only the ratios customary for hard water are left.

    Examples
    --------
    >>> soft = SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 120.0, 50.0, 50.0, 7.5, silica_mg_per_l=5.0)
    >>> allowed_waste_ratios(soft)
    (2.0, 3.0, 4.0, 5.0)
    >>> allowed_waste_ratios(SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0))
    (4.0, 5.0)
    """
    practice = policy or SizingPolicy()
    # More silica than dissolves leaves less than no recovery, and so no ratio.
    most = scaling.max_recovery_by_silica_fraction(survey.silica_mg_per_l or 0.0, survey.lowest_temperature_degc)
    ratios = [ratio for ratio in sorted(practice.waste_ratios) if recovery_from_waste_ratio(ratio) <= most]
    hardness = survey.hardness_mg_per_l_as_caco3
    if hardness is None or (hardness > 0.0 and concentrate_langelier(survey, practice.waste_ratios[0]) is None):
        return tuple(ratio for ratio in ratios if ratio >= _CUSTOMARY_UNKNOWN) or tuple(ratios[-1:])
    least = next(ratio for limit, ratio in practice.least_ratio_up_to_hardness if hardness <= limit)
    return tuple(
        ratio
        for ratio in ratios
        if ratio >= least and (concentrate_langelier(survey, ratio) or 0.0) <= practice.highest_langelier
    )


def flow_choices(request: SizingRequest, membranes: Sequence[Item], policy: SizingPolicy) -> list[FlowChoice]:
    """Return every way that serves the demand in winter.

    Parameters
    ----------
    request : SizingRequest
        The site and its uses.
    membranes : sequence of Item
        With their ratings.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    list of FlowChoice
        With as few membranes side by side as do. A softener is thought of where hardness sets the waste ratio, a pump
        where there is power, degassing where carbon dioxide is most of the load on the resin.

    Raises
    ------
    EngineeringError
        Not here: what cannot work is left out.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> label = Item("M75", "75", "membrane", 38.0, rating=MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97))
    >>> request = SizingRequest((WaterUse("reef", 140.0),), SiteSurvey("reef", 140.0, 420.0, 8.0, 14.0, 250.0))
    >>> choices = flow_choices(request, [label], SizingPolicy())
    >>> sorted({(choice.waste_ratio, choice.is_pumped, choice.membranes) for choice in choices})
    [(4.0, False, 1), (4.0, True, 1), (5.0, False, 1), (5.0, True, 1)]
    """
    return list(_all(request, membranes, policy))


def hours_per_day(request: SizingRequest, policy: SizingPolicy) -> float:
    """Return how long the unit may run a day in winter: as asked for, else by the company's practice.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> hours_per_day(request, SizingPolicy()), hours_per_day(replace(request, run_hours_per_day=20.0), SizingPolicy())
    (8.0, 20.0)
    """
    return policy.run_hours_per_day if request.run_hours_per_day is None else request.run_hours_per_day


def needed_label_flow(
    request: SizingRequest, membranes: Sequence[Item], policy: SizingPolicy
) -> tuple[float, Item] | None:
    """Return the label flow that a membrane must have to serve a demand which those of the catalogue do not.

    Parameters
    ----------
    request : SizingRequest
        The site and its uses.
    membranes : sequence of Item
        With their ratings.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    (float, Item) or None
        L/day of each membrane, stated at the condition of the label of the item, by the way that asks for least; None
        where no way works whatever the size.

    Raises
    ------
    EngineeringError
        Not here: what cannot work is left out.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> label = Item("M75", "75", "membrane", 38.0, rating=MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97))
    >>> survey = SiteSurvey("fish", 14000.0, 420.0, 8.0, 14.0, 250.0)
    >>> flow, item = needed_label_flow(SizingRequest((WaterUse("fish", 14000.0),), survey), [label], SizingPolicy())
    >>> round(flow, -2), item.code
    (2000.0, 'M75')
    """
    unlimited = replace(policy, most_membranes=100_000)
    most = request.membranes or policy.most_membranes
    ways = [
        (
            float(choice.membrane.rating.flow_l_per_day)
            * choice.membranes
            * choice.winter_run_hours_per_day
            / hours_per_day(request, policy)
            / most,
            choice.membrane,
        )
        for choice in _all(replace(request, membranes=None), membranes, unlimited)
        if choice.membrane.rating is not None
    ]
    return min(ways, key=lambda way: way[0], default=None)


def softened(survey: SiteSurvey) -> SiteSurvey:
    """Return the same water behind a softener: no hardness, everything else as it was.

    Examples
    --------
    >>> softened(SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0, 300.0)).hardness_mg_per_l_as_caco3
    0.0
    """
    return replace(survey, hardness_mg_per_l_as_caco3=0.0)


def tank_shutoff_kpa(inlet_kpa: float, policy: SizingPolicy) -> float:
    """Return the tank pressure at which filling stops: two thirds of the inlet, or what the tank is full at.

    Examples
    --------
    >>> round(tank_shutoff_kpa(300.0, SizingPolicy())), round(tank_shutoff_kpa(551.6, SizingPolicy()))
    (200, 276)
    """
    return min(float(shutoff_tank_pressure_kpa(inlet_kpa)), policy.tank_full_kpa)


def needed_inlet_of(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> float | None:
    """Return the inlet pressure that the demand asks of the membranes of a choice in winter; a choice has at least it.

    Parameters
    ----------
    request : SizingRequest
        The site and its uses.
    choice : FlowChoice
        One of `flow_choices`.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    float or None
        kPa gauge; None without a label, or where no pressure is enough.

    Raises
    ------
    EngineeringError
        Not of a choice that `flow_choices` made.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> label = Item("M75", "75", "membrane", 38.0, rating=MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97))
    >>> request = SizingRequest((WaterUse("reef", 140.0),), SiteSurvey("reef", 140.0, 420.0, 8.0, 14.0, 250.0))
    >>> choice = flow_choices(request, [label], SizingPolicy())[0]
    >>> round(needed_inlet_of(request, choice, SizingPolicy()) or 0.0)
    169
    """
    rating, survey = choice.membrane.rating, request.survey
    if rating is None:
        return None
    shares_of_day = hours_per_day(request, policy) / 24.0 * choice.membranes
    past = passed_by_l_per_week(request, choice, policy)
    return needed_inlet_kpa(
        replace(rating, flow_l_per_day=float(rating.flow_l_per_day) * policy.limits.membrane_flow_fraction),
        permeate_l_per_day=(request.demand_l_per_week - past) / 7.0 / shares_of_day,
        coldest_degc=survey.lowest_temperature_degc,
        feed_tds_mg_per_l=survey.feed_tds_mg_per_l,
        recovery_fraction=float(recovery_from_waste_ratio(choice.waste_ratio)),
        through_tank_l_per_day=(request.tap_demand_l_per_week - past) / 7.0 / shares_of_day,
        precharge_kpa=policy.tank_precharge_kpa,
        tank_full_kpa=policy.tank_full_kpa,
    )


def _all(request: SizingRequest, membranes: Sequence[Item], policy: SizingPolicy) -> Iterator[FlowChoice]:
    survey = request.survey
    line = min(survey.lowest_line_pressure_kpa, policy.highest_line_kpa)
    plain = max(line - policy.prefilter_allowance_kpa, 0.0)
    waters = [(survey, False)]
    if (survey.hardness_mg_per_l_as_caco3 or 0.0) > policy.least_ratio_up_to_hardness[0][0]:
        waters.append((softened(survey), True))
    inlets = [(plain, False)]
    if request.has_power and plain < policy.pump_pressure_kpa:
        inlets.append((policy.pump_pressure_kpa, True))
    for water, is_softened in waters:
        for item in membranes:
            for inlet, pumped in inlets:
                for ratio in _ratios_all_year(item, water, inlet, policy):
                    choice = _choice(request, item, ratio, inlet, policy, is_softened=is_softened)
                    if choice is None:
                        continue
                    langelier = None if is_softened else concentrate_langelier(water, ratio)
                    choice = replace(choice, langelier=langelier, is_pumped=pumped)
                    yield choice
                    if _gas_is_most_of_the_load(request, choice.permeate_tds_mg_per_l):
                        yield replace(choice, is_degassed=True)


def _ratios_all_year(item: Item, water: SiteSurvey, inlet: float, policy: SizingPolicy) -> list[float]:
    """The waste ratios allowed at the usual temperature, widened for the warmest water where it asks for more."""
    if item.rating is None:
        return []
    ratios = allowed_waste_ratios(water, policy)
    try:
        widened = [ratio_for_warmest(item.rating, water, inlet, ratio, policy.highest_langelier) for ratio in ratios]
    except EngineeringError:
        # Too little pressure for this feed.
        return []
    return sorted({ratio for ratio in widened if ratio <= max(policy.most_waste_ratio, *ratios)})


def _choice(
    request: SizingRequest, item: Item, ratio: float, inlet: float, policy: SizingPolicy, *, is_softened: bool
) -> FlowChoice | None:
    rating, survey = item.rating, request.survey
    if rating is None:
        return None
    recovery = float(recovery_from_waste_ratio(ratio))
    try:
        winter = site_flow_l_per_day(rating, survey, inlet, survey.lowest_temperature_degc, recovery)
        winter *= policy.limits.membrane_flow_fraction
        usual = site_flow_l_per_day(rating, survey, inlet, survey.usual_temperature_degc, recovery)
        permeate = site_permeate_tds_mg_per_l(rating, survey, inlet, recovery)
        if permeate >= survey.feed_tds_mg_per_l:
            return None
        # Water that is blended in goes past the membrane, which has so much less to make.
        past = passed_by_of(request, policy, permeate, is_softened=is_softened)
        work = _work_l_per_day(request, rating, inlet, recovery, survey.lowest_temperature_degc, policy, past)
        usual_work = _work_l_per_day(request, rating, inlet, recovery, survey.usual_temperature_degc, policy, past)
    except EngineeringError:
        # Too little pressure for this feed or for filling a tank, or a label that cannot be.
        return None
    needed = work / winter * 24.0 / hours_per_day(request, policy)
    if not needed <= (request.membranes or policy.most_membranes):
        return None
    count = request.membranes or max(math.ceil(needed), 1)
    try:
        usual_hours = float(run_hours_per_day(usual_work, usual * count))
        winter_hours = float(run_hours_per_day(work, winter * count))
    except EngineeringError:
        # So near its osmotic pressure that warmer water gives less.
        return None
    return FlowChoice(
        membrane=item,
        inlet_pressure_kpa=inlet,
        waste_ratio=ratio,
        usual_flow_l_per_day=usual * count,
        winter_flow_l_per_day=winter * count,
        usual_run_hours_per_day=usual_hours,
        winter_run_hours_per_day=winter_hours,
        permeate_tds_mg_per_l=permeate,
        membranes=count,
        is_softened=is_softened,
    )


def _work_l_per_day(
    request: SizingRequest,
    rating: MembraneRating,
    inlet: float,
    recovery: float,
    temperature: float,
    policy: SizingPolicy,
    past_l_per_week: float,
) -> float:
    """What the membranes make of the daily demand.

    That from a pressurised tank counts as often as filling it takes longer than an open one.
    """
    made, taps = (litres - past_l_per_week for litres in (request.demand_l_per_week, request.tap_demand_l_per_week))
    if not request.tap_demand_l_per_week:
        return made / 7.0
    longer = tank_fill_time_multiple(
        precharge_pressure_kpa=policy.tank_precharge_kpa,
        shutoff_pressure_kpa=tank_shutoff_kpa(inlet, policy),
        net_driving_pressure_at_zero_kpa=site_driving_pressure_kpa(
            rating, request.survey, inlet, temperature, recovery
        ),
    )
    return (made + taps * (longer - 1.0)) / 7.0


def _gas_is_most_of_the_load(request: SizingRequest, permeate_tds_mg_per_l: float) -> bool:
    if not request.resin_demand_l_per_week:
        return False
    return carbon_dioxide_meq_per_l(request.survey) > float(ionic_load_meq_per_l(permeate_tds_mg_per_l))
