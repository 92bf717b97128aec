"""Which membrane, pump and waste ratio serve a site in winter: every way the catalogue allows."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fleet.engineering import scaling
from fleet.engineering.errors import EngineeringError
from fleet.engineering.mass_balance import recovery_from_waste_ratio
from fleet.engineering.sizing.demand import run_hours_per_day
from fleet.engineering.sizing.offer import Item, Remark, SizingRequest
from fleet.engineering.sizing.site import concentrate_langelier, site_flow_l_per_day, site_permeate_tds_mg_per_l
from fleet.engineering.sizing.survey import QuotationPolicy, SiteSurvey

_CUSTOMARY_UNKNOWN = 4.0


@dataclass(frozen=True)
class FlowChoice:
    """One membrane at one waste ratio, with or without pump and softener, and what it gives at the site.

    Attributes
    ----------
    membrane : Item
        Of the catalogue.
    is_pumped, is_softened : bool
        Whether a booster pump and a softener belong to it.
    inlet_pressure_kpa : float
        Membrane inlet.
    waste_ratio : float
        Concentrate over permeate.
    usual_flow_l_per_day, winter_flow_l_per_day : float
        New at the usual temperature; aged, at the lowest.
    winter_run_hours_per_day : float
        For the whole demand.
    permeate_tds_mg_per_l : float
        Expected.
    langelier : float or None
        Of the concentrate.
    """

    membrane: Item
    is_pumped: bool
    is_softened: bool
    inlet_pressure_kpa: float
    waste_ratio: float
    usual_flow_l_per_day: float
    winter_flow_l_per_day: float
    winter_run_hours_per_day: float
    permeate_tds_mg_per_l: float
    langelier: float | None


def allowed_waste_ratios(survey: SiteSurvey, policy: QuotationPolicy | None = None) -> tuple[float, ...]:
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
    practice = policy or QuotationPolicy()
    ratios = sorted(practice.waste_ratios)
    hardness = survey.hardness_mg_per_l_as_caco3
    if hardness is None or (hardness > 0.0 and concentrate_langelier(survey, ratios[0]) is None):
        return tuple(ratio for ratio in ratios if ratio >= _CUSTOMARY_UNKNOWN) or tuple(ratios[-1:])
    least = next(ratio for limit, ratio in practice.least_ratio_up_to_hardness if hardness <= limit)
    solubility = float(scaling.amorphous_silica_solubility_mg_per_l(survey.lowest_temperature_degc))
    most = 1.0 - (survey.silica_mg_per_l or 0.0) / solubility
    return tuple(
        ratio
        for ratio in ratios
        if ratio >= least
        and recovery_from_waste_ratio(ratio) <= most
        and (concentrate_langelier(survey, ratio) or 0.0) <= practice.highest_langelier
    )


def flow_choices(
    request: SizingRequest, membranes: Sequence[Item], policy: QuotationPolicy
) -> tuple[list[FlowChoice], list[Remark]]:
    """Return every way that serves the demand in winter, and where there is none, why.

    Parameters
    ----------
    request : SizingRequest
        The site and its uses.
    membranes : sequence of Item
        With their ratings.
    policy : QuotationPolicy
        The company's practice.

    Returns
    -------
    (list of FlowChoice, list of Remark)
        A softener is thought of where hardness sets the waste ratio; a pump where there is power.

    Raises
    ------
    EngineeringError
        Not here: what cannot work is left out.

    Examples
    --------
    >>> from fleet.engineering.expected_flow import MembraneRating
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> label = Item("M75", "75", "membrane", 38.0, rating=MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97))
    >>> asked = SizingRequest((WaterUse("reef", 140.0),), SiteSurvey("reef", 140.0, 420.0, 8.0, 14.0, 250.0))
    >>> found, why = flow_choices(asked, [label], QuotationPolicy())
    >>> sorted({(choice.waste_ratio, choice.is_pumped) for choice in found}), why
    ([(4.0, False), (4.0, True), (5.0, False), (5.0, True)], [])
    """
    found = list(_all(request, membranes, policy))
    if found:
        return found, []
    if not allowed_waste_ratios(request.survey, policy) and not allowed_waste_ratios(softened(request.survey), policy):
        return [], [
            Remark(
                "silica_too_high",
                "Silica would leave scale at every waste ratio of the practice, softened or not: treat the feed first.",
            )
        ]
    power = "" if request.has_power else ", or a power supply for a booster pump"
    return [], [
        Remark(
            "membrane_too_small",
            "No membrane of the catalogue serves this demand in winter: a larger one, several in parallel, longer "
            f"running hours{power}.",
        )
    ]


def softened(survey: SiteSurvey) -> SiteSurvey:
    """Return the same water behind a softener: no hardness, everything else as it was.

    Examples
    --------
    >>> softened(SiteSurvey("reef", 140.0, 300.0, 6.0, 12.0, 250.0, 300.0)).hardness_mg_per_l_as_caco3
    0.0
    """
    return replace(survey, hardness_mg_per_l_as_caco3=0.0)


def _all(request: SizingRequest, membranes: Sequence[Item], policy: QuotationPolicy) -> Iterator[FlowChoice]:
    survey = request.survey
    plain = max(survey.lowest_line_pressure_kpa - policy.prefilter_allowance_kpa, 0.0)
    waters = [(survey, False)]
    if (survey.hardness_mg_per_l_as_caco3 or 0.0) > policy.least_ratio_up_to_hardness[0][0]:
        waters.append((softened(survey), True))
    inlets = [(plain, False)]
    if request.has_power and plain < policy.pump_pressure_kpa:
        inlets.append((policy.pump_pressure_kpa, True))
    for water, is_softened in waters:
        for ratio in allowed_waste_ratios(water, policy):
            langelier = None if is_softened else concentrate_langelier(water, ratio)
            for item in membranes:
                for inlet, pumped in inlets:
                    choice = _choice(request, water, item, ratio, inlet, pumped, is_softened, langelier, policy)
                    if choice is not None:
                        yield choice


def _choice(
    request: SizingRequest,
    water: SiteSurvey,
    item: Item,
    ratio: float,
    inlet: float,
    pumped: bool,
    is_softened: bool,
    langelier: float | None,
    policy: QuotationPolicy,
) -> FlowChoice | None:
    rating = item.rating
    if rating is None:
        return None
    recovery = float(recovery_from_waste_ratio(ratio))
    try:
        winter = site_flow_l_per_day(rating, water, inlet, water.lowest_temperature_degc, recovery)
        winter *= policy.ageing_fraction
        hours = float(run_hours_per_day(request.demand_l_per_week, winter))
        if hours > policy.run_hours_per_day:
            return None
        usual = site_flow_l_per_day(rating, water, inlet, water.usual_temperature_degc, recovery)
        permeate = site_permeate_tds_mg_per_l(rating, water, inlet, recovery)
    except EngineeringError:
        # Too little pressure for this feed, or more than 24 hours a day.
        return None
    if permeate >= water.feed_tds_mg_per_l:
        return None
    return FlowChoice(
        membrane=item,
        is_pumped=pumped,
        is_softened=is_softened,
        inlet_pressure_kpa=inlet,
        waste_ratio=ratio,
        usual_flow_l_per_day=usual,
        winter_flow_l_per_day=winter,
        winter_run_hours_per_day=hours,
        permeate_tds_mg_per_l=permeate,
        langelier=langelier,
    )
