"""The train of cartridges behind a choice of flows: which item stands in each place, why, how long and at what cost."""

from collections.abc import Sequence
from typing import Final

from fleet.engineering.errors import EngineeringError
from fleet.engineering.limits import Limits
from fleet.engineering.sizing.blending import passed_by_l_per_week
from fleet.engineering.sizing.carbons import carbons_for_supply
from fleet.engineering.sizing.demand import flush_water_l_per_week
from fleet.engineering.sizing.finishing import finishing_parts
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import Item, Life, Part, Remark, SizingRequest
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.wear import (
    Taste,
    carbon_life,
    cost_in_rotation,
    cost_per_year,
    life_of,
    resin_life,
    sediment_life,
    service_time_days,
)
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words import parts as words
from fleet.engineering.sizing.words.quantities import days_in_words, in_words
from fleet.engineering.units import FLOW, PRESSURE, TEMPERATURE


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
    request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], policy: SizingPolicy, taste: Taste
) -> tuple[tuple[Part, ...], tuple[Remark, ...]] | Remark:
    """Return the train of one configuration, or why there can be none.

    Parameters
    ----------
    request : SizingRequest
        The site and its uses.
    choice : FlowChoice
        Membranes and waste ratio.
    catalogue : sequence of Item
        At least one cartridge of every stage the uses need.
    policy : SizingPolicy
        When a second position is customary.
    taste : callable
        Item and cost in a year -> what to have least of.

    Returns
    -------
    (tuple of Part, tuple of Remark) or Remark
        From the feed on, with what there was no room for.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.formulas.expected_flow import MembraneRating
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> stock = [Item("S", "5 um", "sediment", 4.0, 365.0, rated_volume_l=40000.0),
    ...     Item("C", "block", "carbon", 12.0, 365.0, carbon_kind="block", chlorine_capacity_g=75.0),
    ...     Item("M", "75", "membrane", 38.0, rating=MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.97))]
    >>> request = SizingRequest((WaterUse("drinking", 70.0),), SiteSurvey("drinking", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(stock[2], 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> [(part.stage, part.role) for part in train_of(request, flows, stock, SizingPolicy(), by_year)[0]]
    [('sediment', 'single'), ('carbon', 'lead'), ('carbon', 'lag'), ('membrane', 'single')]
    """
    remarks: list[Remark] = []
    room: int | None = None
    needs_resin = request.resin_demand_l_per_week > 0.0
    second_carbon = _second_carbon(request, choice, policy)
    second_resin = _second_resin(request, policy) if needs_resin else None
    if request.most_cartridges is not None:
        room = request.most_cartridges - 2 - choice.membranes - needs_resin
        if room < 0:
            least = request.most_cartridges - room
            return Remark("no_room", *words.no_room(request.most_cartridges, least, choice.membranes, needs_resin))
        if second_carbon and room == 0:
            remarks.append(_no_second("carbon", second_carbon))
            second_carbon = None
        room -= bool(second_carbon)
        if second_resin and room == 0:
            remarks.append(_no_second("resin", second_resin))
            second_resin = None
        room -= bool(second_resin)
    flush = flush_l_per_week(request, choice, policy)
    # What is blended in is taken behind the carbon: it loads the prefilters, and nothing of it runs to the drain.
    past = passed_by_l_per_week(request, choice, policy)
    feed = ((request.demand_l_per_week - past) * (1.0 + choice.waste_ratio) + past + flush) / 7.0
    parts = [
        *_sediments(catalogue, feed, taste),
        *_carbons(request, catalogue, feed, second_carbon, taste, policy.limits),
        _membranes(request, choice),
    ]
    remarks += [_changed_often(part, policy) for part in parts if part.life.days < policy.least_cartridge_days]
    if needs_resin:
        resins = _resins(request, choice, catalogue, second_resin, policy, taste)
        if not resins:
            return Remark("no_resin_large_enough", *words.no_resin_large_enough())
        parts += resins
        if resins[0].life.days < policy.least_cartridge_days:
            remarks.append(_changed_often(resins[0], policy))
    finishing, unserved = finishing_parts(request, choice, catalogue, policy, taste, room)
    return (*parts, *finishing), (*remarks, *unserved)


def flush_l_per_week(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> float:
    """Return the water that flushes the membranes at their starts in a week.

    Parameters
    ----------
    request : SizingRequest
        Starts and flush, where they were given.
    choice : FlowChoice
        How many membranes.
    policy : SizingPolicy
        Starts and flush of the company's practice.

    Returns
    -------
    float
        L/week.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0),
    ...     starts_per_day=6.0)
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> flush_l_per_week(request, flows, SizingPolicy(flush_l_per_start=1.5))
    63.0
    """
    starts = policy.starts_per_day if request.starts_per_day is None else request.starts_per_day
    flush = policy.flush_l_per_start if request.flush_l_per_start is None else request.flush_l_per_start
    return float(flush_water_l_per_week(starts, flush * choice.membranes))


def _cost(stage: str, item: Item, life: Life, second: Sentences | None, limits: Limits[float]) -> float:
    if not second:
        return cost_per_year(item, life)
    return cost_in_rotation(
        item, life, life_of(stage, capacity_days=None, maximum_service_time_days=service_time_days(stage, item, limits))
    )


def _no_second(stage: str, why: Sentences) -> Remark:
    return Remark(f"no_room_for_second_{stage}", *words.no_second(stage, why))


def _changed_often(part: Part, policy: SizingPolicy) -> Remark:
    """What does not last, and how much larger one would have to be that does."""
    times = policy.least_cartridge_days / part.life.days
    lasts, wanted = days_in_words(part.life.days), days_in_words(policy.least_cartridge_days)
    if part.stage == "resin":
        return Remark("resin_changed_often", *words.resin_changed_often(lasts, times, wanted))
    return Remark(f"{part.stage}_changed_often", *words.prefilter_changed_often(part.item.code, lasts, times, wanted))


def _second_carbon(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> Sentences | None:
    survey = request.survey
    if survey.disinfectant == "chloramine":
        return words.second_carbon_for_chloramine()
    if (survey.total_chlorine_mg_per_l or 0.0) > policy.second_carbon_above_chlorine_mg_per_l:
        limit = in_words(policy.second_carbon_above_chlorine_mg_per_l, "total_chlorine_mg_per_l", request.unit_system)
        return words.second_carbon_for_chlorine(limit)
    feed = choice.usual_flow_l_per_day * (1.0 + choice.waste_ratio)
    if feed / 24.0 > policy.second_carbon_above_feed_l_per_h:
        flow, limit = (
            in_words(value, FLOW, request.unit_system)
            for value in (feed, policy.second_carbon_above_feed_l_per_h * 24.0)
        )
        return words.second_carbon_for_contact(flow, limit)
    return None


def _second_resin(request: SizingRequest, policy: SizingPolicy) -> Sentences | None:
    if any(entry.use in ("reef", "laboratory") for entry in request.uses):
        return words.second_resin_for_purity()
    if request.resin_demand_l_per_week > policy.second_resin_above_l_per_week:
        return words.second_resin_for_rotation()
    return None


def _sediments(catalogue: Sequence[Item], feed: float, taste: Taste) -> list[Part]:
    lives = [(item, sediment_life(item, feed)) for item in catalogue if item.kind == "sediment"]
    item, life = min(lives, key=lambda pair: taste(pair[0], cost_per_year(pair[0], pair[1])))
    return [Part("sediment", "single", item, life, cost_per_year(item, life), *words.sediment())]


def _carbons(
    request: SizingRequest,
    catalogue: Sequence[Item],
    feed: float,
    second: Sentences | None,
    taste: Taste,
    limits: Limits[float],
) -> list[Part]:
    survey = request.survey
    items = [item for item in catalogue if item.kind == "carbon"]
    items = carbons_for_supply(items, is_chloraminated=survey.disinfectant == "chloramine") or items
    lives = [(item, carbon_life(item, survey, feed, limits)) for item in items]
    item, life = min(lives, key=lambda pair: taste(pair[0], _cost("carbon", pair[0], pair[1], second, limits)))
    first = words.carbon(item.carbon_kind == "catalytic")
    if not second:
        return [Part("carbon", "single", item, life, cost_per_year(item, life), *first)]
    lag = life_of("carbon", capacity_days=None, maximum_service_time_days=service_time_days("carbon", item, limits))
    return _pair("carbon", item, life, lag, first, second)


def _pair(stage: str, item: Item, life: Life, lag: Life, first: Sentences, second: Sentences) -> list[Part]:
    """Lead and lag; in rotation the second is not bought anew, it moves up when the lead is replaced."""
    return [
        Part(stage, "lead", item, life, cost_in_rotation(item, life, lag), *words.lead(first, second)),
        Part(stage, "lag", item, lag, 0.0, *words.lag(second)),
    ]


def _membranes(request: SizingRequest, choice: FlowChoice) -> Part:
    life = life_of("membrane", capacity_days=None, maximum_service_time_days=choice.membrane.maximum_service_time_days)
    survey, system = request.survey, request.unit_system
    usual, winter, needed = (
        in_words(flow, FLOW, system)
        for flow in (choice.usual_flow_l_per_day, choice.winter_flow_l_per_day, request.demand_l_per_week / 7.0)
    )
    sentences = words.membranes(
        choice.membranes,
        usual=usual,
        winter=winter,
        needed=needed,
        pressure=in_words(choice.inlet_pressure_kpa, PRESSURE, system),
        usual_temperature=in_words(survey.usual_temperature_degc, TEMPERATURE, system),
        lowest_temperature=in_words(survey.lowest_temperature_degc, TEMPERATURE, system),
    )
    cost = cost_per_year(choice.membrane, life) * choice.membranes
    return Part("membrane", "single", choice.membrane, life, cost, *sentences, choice.membranes)


def _resins(
    request: SizingRequest,
    choice: FlowChoice,
    catalogue: Sequence[Item],
    second: Sentences | None,
    policy: SizingPolicy,
    taste: Taste,
) -> list[Part]:
    lives = []
    with_resin = [entry.use for entry in request.uses if request.needs_resin(entry)]
    strictest = min(policy.limits_of(use).product_tds_mg_per_l for use in with_resin)
    for item in catalogue:
        if item.kind != "resin":
            continue
        try:
            life = resin_life(
                item,
                request.survey,
                permeate_tds_mg_per_l=choice.permeate_tds_mg_per_l,
                water_l_per_day=request.resin_demand_l_per_week / 7.0,
                cartridges=2 if second else 1,
                policy=policy,
                product_limit_mg_per_l=strictest,
                is_degassed=choice.is_degassed,
            )
        except EngineeringError:
            # No volume or capacity that could be, or exhausted at once.
            continue
        lives.append((item, life))
    if not lives:
        return []
    # What must be changed every few days is no answer while another lasts.
    longest = max(life.days for _, life in lives)
    lives = [(item, life) for item, life in lives if life.days >= min(policy.least_cartridge_days, longest)]
    item, life = min(lives, key=lambda pair: taste(pair[0], _cost("resin", pair[0], pair[1], second, policy.limits)))
    tds = in_words(choice.permeate_tds_mg_per_l, "tds", request.unit_system)
    first = words.resin(tds, choice.is_degassed)
    if not second:
        return [Part("resin", "single", item, life, cost_per_year(item, life), *first)]
    lag = life_of("resin", capacity_days=None, maximum_service_time_days=item.maximum_service_time_days)
    return _pair("resin", item, life, lag, first, second)
