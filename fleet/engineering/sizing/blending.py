"""Water for coffee, blended: some of the feed goes past the membrane, so that hardness and alkalinity come back."""

from dataclasses import dataclass

from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import SizingRequest
from fleet.engineering.sizing.survey import SizingPolicy

_LEAST_BYPASS_FRACTION = 0.01


@dataclass(frozen=True)
class Blend:
    """What passes the membrane by, and what the blended water has.

    Attributes
    ----------
    bypass_fraction : float
        Share of the blended water that is feed, 0 to 1.
    hardness_mg_per_l_as_caco3, alkalinity_mg_per_l_as_caco3, tds_mg_per_l : float
        Of the blended water.
    wanted_hardness_mg_per_l_as_caco3, wanted_alkalinity_mg_per_l_as_caco3 : float
        What was aimed at.
    limited_by : str
        ``"hardness"``, ``"alkalinity"`` or ``"tds"``: what is reached first, so that none is exceeded.
    """

    bypass_fraction: float
    hardness_mg_per_l_as_caco3: float
    alkalinity_mg_per_l_as_caco3: float
    tds_mg_per_l: float
    wanted_hardness_mg_per_l_as_caco3: float
    wanted_alkalinity_mg_per_l_as_caco3: float
    limited_by: str


def passed_by_l_per_week(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> float:
    """Return the water of a week that goes past the membrane, so that nothing of it runs to the drain; 0 without
    blending.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        What the membrane leaves in the water.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    float
        Litres a week.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> survey = SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0, 200.0, 150.0, 7.6)
    >>> request = SizingRequest((WaterUse("coffee", 70.0, None, 80.0, 50.0),), survey)
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 10.0)
    >>> round(passed_by_l_per_week(request, flows, SizingPolicy()), 1)
    21.4
    """
    return passed_by_of(request, policy, choice.permeate_tds_mg_per_l, is_softened=choice.is_softened)


def passed_by_of(
    request: SizingRequest, policy: SizingPolicy, permeate_tds_mg_per_l: float, *, is_softened: bool
) -> float:
    """Return the same of a permeate, before anything else is chosen: so much less the membrane has to make.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    policy : SizingPolicy
        The company's practice.
    permeate_tds_mg_per_l : float
        What the membrane leaves in the water, mg/L on the 0.5 scale; less than the feed has.
    is_softened : bool
        Whether a softener stands before the membrane.

    Returns
    -------
    float
        Litres a week.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> survey = SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0, 200.0, 150.0, 7.6)
    >>> request = SizingRequest((WaterUse("coffee", 70.0, None, 80.0, 50.0),), survey)
    >>> round(passed_by_of(request, SizingPolicy(), 10.0, is_softened=False), 1)
    21.4
    """
    blend = _blend_of(request, policy, permeate_tds_mg_per_l, is_softened=is_softened)
    if blend is None:
        return 0.0
    return blend.bypass_fraction * sum(entry.demand_l_per_week for entry in request.uses if entry.use == "coffee")


def blend_for(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> Blend | None:
    """Return how feed and permeate are blended for coffee.

    Parameters
    ----------
    request : SizingRequest
        Uses with their targets, and the water.
    choice : FlowChoice
        For its permeate. Hardness and alkalinity are taken to pass the membrane as the TDS does.
    policy : SizingPolicy
        The usual targets, and the limit of TDS.

    Returns
    -------
    Blend or None
        As much feed as exceeds none of hardness, alkalinity and TDS; it is taken before a softener. None where there
        is no coffee, hardness or alkalinity of the feed are not known, or none can be added: minerals are added then.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> survey = SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0, 200.0, 150.0, 7.6)
    >>> request = SizingRequest((WaterUse("coffee", 70.0, None, 80.0, 50.0),), survey)
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 10.0)
    >>> blend = blend_for(request, flows, SizingPolicy())
    >>> round(blend.bypass_fraction, 3), round(blend.hardness_mg_per_l_as_caco3, 1), blend.limited_by
    (0.306, 66.7, 'alkalinity')
    """
    return _blend_of(request, policy, choice.permeate_tds_mg_per_l, is_softened=choice.is_softened)


def _blend_of(
    request: SizingRequest, policy: SizingPolicy, permeate_tds_mg_per_l: float, *, is_softened: bool
) -> Blend | None:
    survey = request.survey
    coffee = next((entry for entry in request.uses if entry.use == "coffee"), None)
    hardness, alkalinity = survey.hardness_mg_per_l_as_caco3, survey.alkalinity_mg_per_l_as_caco3
    if coffee is None or not hardness or not alkalinity:
        return None
    passage = permeate_tds_mg_per_l / survey.feed_tds_mg_per_l
    wanted_hardness = coffee.hardness_mg_per_l_as_caco3 or policy.coffee_hardness_mg_per_l_as_caco3
    wanted_alkalinity = coffee.alkalinity_mg_per_l_as_caco3 or policy.coffee_alkalinity_mg_per_l_as_caco3
    # Of each: what is wanted, what the feed has, and the share of it in the permeate.
    salts = {
        "hardness": (wanted_hardness, hardness, 0.0 if is_softened else passage),
        "alkalinity": (wanted_alkalinity, alkalinity, passage),
        "tds": (policy.limits_of("coffee").product_tds_mg_per_l, survey.feed_tds_mg_per_l, passage),
    }
    bypasses = {name: (wanted / in_feed - passes) / (1.0 - passes) for name, (wanted, in_feed, passes) in salts.items()}
    limited_by = min(bypasses, key=lambda name: bypasses[name])
    bypass = min(bypasses[limited_by], 1.0)
    if bypass < _LEAST_BYPASS_FRACTION:
        return None
    blended = {name: in_feed * (bypass + (1.0 - bypass) * passes) for name, (_, in_feed, passes) in salts.items()}
    return Blend(
        bypass_fraction=bypass,
        hardness_mg_per_l_as_caco3=blended["hardness"],
        alkalinity_mg_per_l_as_caco3=blended["alkalinity"],
        tds_mg_per_l=blended["tds"],
        wanted_hardness_mg_per_l_as_caco3=wanted_hardness,
        wanted_alkalinity_mg_per_l_as_caco3=wanted_alkalinity,
        limited_by=limited_by,
    )
