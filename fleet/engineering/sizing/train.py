"""The train of cartridges behind a choice of flows: which item stands in each place, why, how long and at what cost."""

from collections.abc import Callable, Sequence
from typing import Final

from fleet.engineering.sizing.flows import FlowChoice
from fleet.engineering.sizing.offer import Item, Life, Part, Remark, SizingRequest
from fleet.engineering.sizing.survey import QuotationPolicy
from fleet.engineering.sizing.wear import (
    carbon_life,
    cost_in_rotation,
    cost_per_year,
    life_of,
    resin_life,
    sediment_life,
)

Taste = Callable[[Item, float], tuple[float, float, str]]


def by_price(item: Item, cost: float) -> tuple[float, float, str]:
    """Prefer what is cheapest to buy; `cost` is what it costs in a year.

    Examples
    --------
    >>> by_price(Item("A", "", "carbon", 5.0), 10.0)
    (5.0, 10.0, 'A')
    """
    return item.price, cost, item.code


def by_year(item: Item, cost: float) -> tuple[float, float, str]:
    """Prefer what costs least in a year; `cost` is what it costs in a year.

    Examples
    --------
    >>> by_year(Item("A", "", "carbon", 5.0), 10.0)
    (10.0, 5.0, 'A')
    """
    return cost, item.price, item.code


TASTES: Final[tuple[Taste, ...]] = (by_price, by_year)


def train_of(
    request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], policy: QuotationPolicy, taste: Taste
) -> tuple[tuple[Part, ...], tuple[Remark, ...]] | None:
    """Return the train of one offer, or None where there is no room for it.

    Parameters
    ----------
    request : SizingRequest
        The site and its uses.
    choice : FlowChoice
        Membrane and waste ratio.
    catalogue : sequence of Item
        At least one cartridge of every stage the uses need.
    policy : QuotationPolicy
        When a second position is customary.
    taste : callable
        Item and cost in a year -> what to have least of.

    Returns
    -------
    (tuple of Part, tuple of Remark) or None
        From the feed on.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.expected_flow import MembraneRating
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> stock = [Item("S", "5 um", "sediment", 4.0, 365.0, rated_volume_l=40000.0),
    ...     Item("C", "block", "carbon", 12.0, 365.0, carbon_kind="block", chlorine_capacity_g=75.0),
    ...     Item("M", "75", "membrane", 38.0, rating=MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97))]
    >>> asked = SizingRequest((WaterUse("drinking", 70.0),), SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(stock[2], False, False, 365.0, 4.0, 190.0, 130.0, 1.8, 8.0, None)
    >>> [(part.stage, part.role) for part in train_of(asked, flows, stock, QuotationPolicy(), by_year)[0]]
    [('sediment', 'single'), ('carbon', 'lead'), ('carbon', 'lag'), ('membrane', 'single')]
    """
    remarks: list[Remark] = []
    feed = request.demand_l_per_week / 7.0 * (1.0 + choice.waste_ratio)
    two_carbons = _second_carbon(request, choice, policy)
    two_resins = _second_resin(request, policy)
    needs_resin = request.resin_demand_l_per_week > 0.0
    if request.most_cartridges is not None:
        room = request.most_cartridges - 3 - needs_resin
        if room < 0:
            return None
        if two_carbons and room > 0:
            room -= 1
        elif two_carbons:
            remarks.append(_no_room("carbon", two_carbons))
            two_carbons = ""
        if two_resins and room <= 0:
            remarks.append(_no_room("resin", two_resins))
            two_resins = ""
    parts = [_sediment(catalogue, feed, taste)]
    parts += _carbons(request, catalogue, feed, two_carbons, taste)
    membrane_life = life_of("membrane", capacity_days=None, cap_days=choice.membrane.life_cap_days)
    parts.append(_part("membrane", "single", choice.membrane, membrane_life, _why_membrane(request, choice)))
    if needs_resin:
        parts += _resins(request, choice, catalogue, two_resins, policy, taste)
    return tuple(parts), tuple(remarks)


def _part(stage: str, role: str, item: Item, life: Life, reason: str) -> Part:
    return Part(stage, role, item, life, cost_per_year(item, life), reason)


def _cost(stage: str, item: Item, life: Life, second: str) -> float:
    if not second:
        return cost_per_year(item, life)
    return cost_in_rotation(item, life, life_of(stage, capacity_days=None, cap_days=item.life_cap_days))


def _no_room(stage: str, reason: str) -> Remark:
    return Remark(
        f"no_room_for_second_{stage}",
        f"A second {stage} position is advised and there is no room for it: read the unit more often. {reason}",
    )


def _why_membrane(request: SizingRequest, choice: FlowChoice) -> str:
    pressure = choice.inlet_pressure_kpa / 100.0
    return (
        f"About {choice.usual_flow_l_per_day:.0f} L/day at {pressure:.1f} bar and "
        f"{request.survey.usual_temperature_degc:g} degC, and {choice.winter_flow_l_per_day:.0f} L/day at "
        f"{request.survey.lowest_temperature_degc:g} degC when it has aged; "
        f"{request.demand_l_per_week / 7.0:.0f} L/day are needed. The label holds at its own test conditions only."
    )


def _second_carbon(request: SizingRequest, choice: FlowChoice, policy: QuotationPolicy) -> str:
    survey = request.survey
    if survey.disinfectant == "chloramine":
        return "The supplier uses chloramine, which needs two carbons in series."
    if (survey.total_chlorine_mg_per_l or 0.0) > policy.second_carbon_above_chlorine_mg_per_l:
        return f"Total chlorine is above {policy.second_carbon_above_chlorine_mg_per_l:g} mg/L."
    if choice.usual_flow_l_per_day * (1.0 + choice.waste_ratio) / 24.0 > policy.second_carbon_above_feed_l_per_h:
        return f"The feed flow is above {policy.second_carbon_above_feed_l_per_h:g} L/h, so contact is short."
    return ""


def _second_resin(request: SizingRequest, policy: QuotationPolicy) -> str:
    if any(entry.use in ("reef", "laboratory") for entry in request.uses):
        return "The product must stay at 0, so a second cartridge stands behind the first and is moved up."
    if request.resin_demand_l_per_week > policy.second_resin_above_l_per_week:
        return "The demand is large enough for rotation to pay."
    return ""


def _sediment(catalogue: Sequence[Item], feed: float, taste: Taste) -> Part:
    lives = [(item, sediment_life(item, feed)) for item in catalogue if item.kind == "sediment"]
    item, life = min(lives, key=lambda pair: taste(pair[0], cost_per_year(pair[0], pair[1])))
    return _part("sediment", "single", item, life, "Holds back particles before carbon and membrane.")


def _carbons(request: SizingRequest, catalogue: Sequence[Item], feed: float, second: str, taste: Taste) -> list[Part]:
    survey = request.survey
    items = [item for item in catalogue if item.kind == "carbon"]
    if survey.disinfectant == "chloramine":
        items = [item for item in items if item.carbon_kind == "catalytic"] or items
    lives = [(item, carbon_life(item, survey, feed)) for item in items]
    item, life = min(lives, key=lambda pair: taste(pair[0], _cost("carbon", pair[0], pair[1], second)))
    kind = "catalytic carbon, which also takes chloramine" if item.carbon_kind == "catalytic" else "carbon"
    first = f"Takes out chlorine before the membrane: {kind}."
    if not second:
        return [_part("carbon", "single", item, life, first)]
    # In rotation the second cartridge is not bought anew: it moves up when the lead is changed.
    lag = life_of("carbon", capacity_days=None, cap_days=item.life_cap_days)
    return [
        Part("carbon", "lead", item, life, cost_in_rotation(item, life, lag), f"{first} {second}"),
        Part("carbon", "lag", item, lag, 0.0, f"{second} It moves up when the lead is changed."),
    ]


def _resins(
    request: SizingRequest,
    choice: FlowChoice,
    catalogue: Sequence[Item],
    second: str,
    policy: QuotationPolicy,
    taste: Taste,
) -> list[Part]:
    def life_at(item: Item) -> Life:
        return resin_life(
            item,
            request.survey,
            permeate_tds_mg_per_l=choice.permeate_tds_mg_per_l,
            water_l_per_day=request.resin_demand_l_per_week / 7.0,
            cartridges=2 if second else 1,
            policy=policy,
        )

    lives = [(item, life_at(item)) for item in catalogue if item.kind == "resin"]
    item, life = min(lives, key=lambda pair: taste(pair[0], _cost("resin", pair[0], pair[1], second)))
    why = f"Takes out the {choice.permeate_tds_mg_per_l:.1f} mg/L that the membrane lets through."
    if not second:
        return [_part("resin", "single", item, life, why)]
    lag = life_of("resin", capacity_days=None, cap_days=item.life_cap_days)
    return [
        Part("resin", "lead", item, life, cost_in_rotation(item, life, lag), f"{why} {second}"),
        Part("resin", "lag", item, lag, 0.0, second),
    ]
