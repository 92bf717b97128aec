"""What a configuration needs beside the cartridges: housings, restrictor, pump, tank, and what the water asks for."""

from collections.abc import Iterator, Sequence

from fleet.engineering.constants import DAYS_PER_YEAR, EQUIVALENT_MASS_CACO3
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio
from fleet.engineering.formulas.restrictor import restrictor_size_ml_per_min
from fleet.engineering.sizing.blending import Blend, blend_for, passed_by_l_per_week
from fleet.engineering.sizing.choosing import by_capacity, cheapest, fitting_softener, nearest_restrictor
from fleet.engineering.sizing.connections import connections_for
from fleet.engineering.sizing.demand import feed_l_per_week
from fleet.engineering.sizing.finishing import wants_minerals, wants_minerals_by_cartridge
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import Fitting, Item, Part, SizingRequest
from fleet.engineering.sizing.pumps import fitting_pump
from fleet.engineering.sizing.storage import Storage
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.train import flush_l_per_week
from fleet.engineering.sizing.wear import resin_life, resin_loads_meq_per_l
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words import fittings as words
from fleet.engineering.sizing.words.quantities import days_in_words, in_words
from fleet.engineering.stages import FINISHING
from fleet.engineering.units import FLOW, PRESSURE, TEMPERATURE, VOLUME


def fittings_for(
    request: SizingRequest,
    choice: FlowChoice,
    parts: Sequence[Part],
    catalogue: Sequence[Item],
    stores: Sequence[Storage],
    policy: SizingPolicy,
) -> tuple[Fitting, ...]:
    """Return every fitting of a configuration, each with its reason.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        Membranes, pressure and waste.
    parts : sequence of Part
        The train.
    catalogue : sequence of Item
        All of it.
    stores : sequence of Storage
        What is stored.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    tuple of Fitting
        With no item where the catalogue has nothing that fits.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> store = Storage("open_tank", 0.0, 0.0, 0.0, 1.0, True, None, 70.0)
    >>> [fitting.purpose for fitting in fittings_for(request, flows, [], [], [store], SizingPolicy())][:4]
    ['membrane_housing', 'flow_restrictor', 'flush_valve', 'float_valve']
    """
    return (
        *_around_the_membrane(request, choice, parts, catalogue, policy),
        *_treatment(request, choice, parts, catalogue, policy),
        *connections_for(request, choice, catalogue, stores, policy),
    )


def _around_the_membrane(
    request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], catalogue: Sequence[Item], policy: SizingPolicy
) -> Iterator[Fitting]:
    def of(purpose: str, size: str, sentences: Sentences, count: int = 1) -> Fitting:
        return Fitting(purpose, cheapest(purpose, catalogue), size, *sentences, count)

    system, survey = request.unit_system, request.survey
    # In-line cartridges bring their ends with them, and a lamp its chamber.
    housings = sum(part.count for part in parts if part.stage != "membrane" and part.stage not in FINISHING)
    inlet, line = (
        in_words(value, PRESSURE, system) for value in (choice.inlet_pressure_kpa, survey.lowest_line_pressure_kpa)
    )
    if housings:
        yield of("cartridge_housing", words.cartridge_housing_size(), words.cartridge_housing(), housings)
    rating = words.membrane_housing_size(inlet if choice.is_pumped else "")
    yield of("membrane_housing", rating, words.membrane_housing(), choice.membranes)
    # Highest when nothing flows; where nobody read it then, what it gives while flowing is the least it reaches.
    highest = survey.highest_static_pressure_kpa or survey.lowest_line_pressure_kpa
    if highest > policy.highest_line_kpa:
        limit, reached = (in_words(value, PRESSURE, system) for value in (policy.highest_line_kpa, highest))
        yield of("pressure_regulator", words.pressure_regulator_size(limit), words.pressure_regulator(reached, limit))
    drain = choice.usual_flow_l_per_day * choice.waste_ratio
    size = float(restrictor_size_ml_per_min(choice.usual_flow_l_per_day, choice.waste_ratio))
    is_scale_known = choice.langelier is not None or choice.is_softened
    yield Fitting(
        "flow_restrictor",
        nearest_restrictor(catalogue, drain, choice.inlet_pressure_kpa),
        words.flow_restrictor_size(size, inlet),
        *words.flow_restrictor(choice.waste_ratio, is_scale_known, _warmest(request), is_metric=system == "metric"),
    )
    if choice.is_pumped:
        feed = choice.usual_flow_l_per_day * (1.0 + choice.waste_ratio)
        yield Fitting(
            "booster_pump",
            fitting_pump(catalogue, feed, choice.inlet_pressure_kpa),
            words.booster_pump_size(in_words(feed, FLOW, system), inlet),
            *words.booster_pump(line),
        )
    flush = flush_l_per_week(request, choice, policy)
    if flush > 0.0:
        yield of("flush_valve", "", words.flush_valve(in_words(flush, VOLUME, system)))


def _treatment(
    request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], catalogue: Sequence[Item], policy: SizingPolicy
) -> Iterator[Fitting]:
    system, survey = request.unit_system, request.survey
    if choice.is_softened:
        feed = _softened_l_per_week(request, choice, policy)
        hardness = survey.hardness_mg_per_l_as_caco3 or 0.0
        flow = choice.usual_flow_l_per_day * (1.0 + choice.waste_ratio)
        salt = feed * DAYS_PER_YEAR / 7.0 * hardness / EQUIVALENT_MASS_CACO3 / 1000.0 * policy.salt_g_per_eq / 1000.0
        yield Fitting(
            "softener",
            softener_of(request, choice, catalogue, policy),
            words.softener_size(
                in_words(feed, VOLUME, system),
                in_words(hardness, "hardness_mg_per_l_as_caco3", system),
                in_words(flow, FLOW, system),
            ),
            *words.softener(salt),
        )
    ions, gas = resin_loads_meq_per_l(survey, choice.permeate_tds_mg_per_l, policy)
    if request.resin_demand_l_per_week > 0.0 and gas > ions:
        item = by_capacity("degassing", catalogue, request.resin_demand_l_per_week / 7.0)
        if choice.is_degassed or item is None:
            daily = in_words(request.resin_demand_l_per_week / 7.0, VOLUME, system)
            yield Fitting(
                "degassing",
                item,
                words.degassing_size(daily),
                *words.degassing(100.0 * gas / (gas + ions), _lives(request, choice, parts, policy)),
            )
    blend = blend_for(request, choice, policy)
    if blend is not None:
        made = blended_in_words(blend, system)
        yield Fitting(
            "blending_valve",
            cheapest("blending_valve", catalogue),
            words.blending_valve_size(100.0 * blend.bypass_fraction),
            *words.blending_valve(made, blend.limited_by),
        )
    has_cartridge = any(part.stage == "remineralisation" for part in parts)
    poor = next(
        (
            entry.use
            for entry in request.uses
            if entry.use != "drinking"
            and wants_minerals(entry, request, choice, policy)
            and not (has_cartridge and wants_minerals_by_cartridge(entry, request, choice, policy))
        ),
        "",
    )
    if poor:
        yield Fitting("remineralisation", cheapest("remineralisation", catalogue), "", *words.remineralisation(poor))


def blended_in_words(blend: Blend, system: str) -> tuple[str, str, str]:
    """Return hardness, alkalinity and TDS of blended water as they stand in a sentence.

    Examples
    --------
    >>> blended_in_words(Blend(0.3, 66.7, 50.0, 83.4, 80.0, 50.0, "alkalinity"), "metric")
    ('67 mg/L as CaCO3', '50 mg/L as CaCO3', '83 mg/L')
    """
    return (
        in_words(blend.hardness_mg_per_l_as_caco3, "hardness_mg_per_l_as_caco3", system),
        in_words(blend.alkalinity_mg_per_l_as_caco3, "alkalinity_mg_per_l_as_caco3", system),
        in_words(blend.tds_mg_per_l, "tds", system),
    )


def softener_of(
    request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], policy: SizingPolicy
) -> Item | None:
    """Return the softener that takes the feed of a configuration.

    Parameters
    ----------
    request : SizingRequest
        Uses, and the hardness of the site.
    choice : FlowChoice
        Membranes and waste.
    catalogue : sequence of Item
        All of it.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    Item or None
        None where none does.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0, 300.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0, is_softened=True)
    >>> softener = Item("S", "", "accessory", 385.0, purpose="softener", rated_flow_l_per_day=900.0)
    >>> softener_of(request, flows, [softener], SizingPolicy()) is None
    True
    """
    return fitting_softener(
        catalogue,
        choice.usual_flow_l_per_day * (1.0 + choice.waste_ratio),
        _softened_l_per_week(request, choice, policy) / 7.0,
        (request.survey.hardness_mg_per_l_as_caco3 or 0.0) / EQUIVALENT_MASS_CACO3,
    )


def _softened_l_per_week(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> float:
    """Feed of the membranes; what is blended in is taken before the softener."""
    made = request.demand_l_per_week - passed_by_l_per_week(request, choice, policy)
    return float(feed_l_per_week(made, recovery_from_waste_ratio(choice.waste_ratio)))


def _warmest(request: SizingRequest) -> str:
    """The warmest water in words, '' where it is not known."""
    warmest = request.survey.highest_temperature_degc
    return in_words(warmest, TEMPERATURE, request.unit_system) if warmest is not None else ""


def _lives(request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], policy: SizingPolicy) -> str:
    """How long the first resin lasts without degassing, and with it."""
    resin = next((part for part in parts if part.stage == "resin"), None)
    if resin is None:
        return ""
    without, behind = (
        resin_life(
            resin.item,
            request.survey,
            permeate_tds_mg_per_l=choice.permeate_tds_mg_per_l,
            water_l_per_day=request.resin_demand_l_per_week / 7.0,
            cartridges=1 if resin.role == "single" else 2,
            policy=policy,
            is_degassed=is_degassed,
        ).days
        for is_degassed in (False, True)
    )
    return words.resin_lives(resin.item.code, days_in_words(without), days_in_words(behind))
