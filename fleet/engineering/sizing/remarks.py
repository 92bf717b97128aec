"""What to say beside the numbers of an offer: assumptions, what each use gets, cautions."""

from collections.abc import Iterator, Sequence
from typing import Final

from accounts.language import gettext_noop
from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.sizing.blending import Blend, blend_for
from fleet.engineering.sizing.cautions import cautions_on, of_own_well
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.flows import needed_inlet_of
from fleet.engineering.sizing.offer import Outlet, Part, Remark, SizingRequest
from fleet.engineering.sizing.storage import Storage
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.words import Sentences
from fleet.engineering.sizing.words import remarks as words
from fleet.engineering.sizing.words.quantities import hours_in_words, in_words, money_in_words
from fleet.engineering.units import PRESSURE, TEMPERATURE, VOLUME

_DI_ALONE_BELOW_MG_PER_L: Final = 50.0
# What fouls a membrane (common practice, no source).
_IRON_LIMIT_MG_PER_L: Final = 0.1
_MANGANESE_LIMIT_MG_PER_L: Final = 0.05


def remarks_on(
    request: SizingRequest,
    choice: FlowChoice,
    parts: Sequence[Part],
    layout: str,
    stores: Sequence[Storage],
    policy: SizingPolicy,
) -> tuple[Remark, ...]:
    """Return the remarks of one configuration.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        Membrane, pressure and waste.
    parts : sequence of Part
        The train.
    layout : str
        ``"ro"``, ``"ro_di"`` or ``"tee"``.
    stores : sequence of Storage
        What is stored.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    tuple of Remark
        Why the layout, what was assumed, what to mind, cautions.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("coffee", 70.0),), SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> store = Storage("pressurised_tank", 4.0, 6.6, 5.0, 0.5, True, None, 70.0)
    >>> [remark.code for remark in remarks_on(request, flows, [], "ro", [store], SizingPolicy())][:3]
    ['layout', 'water_not_known', 'static_pressure_not_known']
    """
    return (
        *of_own_well(request),
        _layout(request, layout),
        *_assumed(request, policy),
        *_rejection(request, choice, policy),
        *_running(request, choice, policy),
        *(remark for store in stores for remark in _stored(request, choice, store)),
        *_water(request, parts),
        *cautions_on(request, choice),
    )


def rejects_enough(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> bool:
    """Return whether a membrane is expected to reject, when new, what the limits of the site ask of it for good.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        Membrane, pressure and waste.
    policy : SizingPolicy
        The company's practice, with its limits.

    Returns
    -------
    bool
        Compared at the feed of the site.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> item = Item("M", "", "membrane", 38.0)
    >>> good, poor = (FlowChoice(item, 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, tds) for tds in (8.0, 26.0))
    >>> rejects_enough(request, good, SizingPolicy()), rejects_enough(request, poor, SizingPolicy())
    (True, False)
    """
    least = policy.limits.minimum_rejection_fraction
    return choice.permeate_tds_mg_per_l <= (1.0 - least) * request.survey.feed_tds_mg_per_l


def outlets_of(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> tuple[Outlet, ...]:
    """Return where each use takes its water and whether it is within the limit of that use.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        Membrane, pressure and waste.
    policy : SizingPolicy
        The company's practice, with its limits.

    Returns
    -------
    tuple of Outlet
        One a use, in their order.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> uses = (WaterUse("reef", 70.0), WaterUse("drinking", 70.0))
    >>> request = SizingRequest(uses, SiteSurvey("reef", 140.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> [(outlet.use, outlet.branch, outlet.tds_mg_per_l) for outlet in outlets_of(request, flows, SizingPolicy())]
    [('reef', 'resin', None), ('drinking', 'membrane', 8.0)]
    """
    outlets = []
    for entry in request.uses:
        needs_resin = request.needs_resin(entry)
        tds = None if needs_resin else choice.permeate_tds_mg_per_l
        limit = policy.limits_of(entry.use).product_tds_mg_per_l
        blend = blend_for(request, choice, policy) if entry.use == "coffee" else None
        if blend is not None:
            tds = blend.tds_mg_per_l
        sentences = _blended(blend, request) if blend else _outlet(entry.use, tds, limit, request.unit_system)
        branch = "resin" if needs_resin else "membrane"
        outlets.append(Outlet(entry.use, entry.demand_l_per_week, branch, tds, limit, *sentences))
    return tuple(outlets)


def _blended(blend: Blend, request: SizingRequest) -> Sentences:
    system = request.unit_system
    return words.blended(
        in_words(blend.tds_mg_per_l, "tds", system),
        in_words(blend.wanted_hardness_mg_per_l_as_caco3, "hardness_mg_per_l_as_caco3", system),
        in_words(blend.wanted_alkalinity_mg_per_l_as_caco3, "alkalinity_mg_per_l_as_caco3", system),
    )


def _outlet(use: str, tds: float | None, limit_mg_per_l: float, system: str) -> Sentences:
    target = TARGETS[use]
    limit = in_words(limit_mg_per_l, "tds", system)
    if tds is None:
        return words.behind_resin(use, limit)
    shown = in_words(tds, "tds", system)
    if tds > limit_mg_per_l:
        return words.not_pure_enough(use, shown, limit)
    if tds < target.product_tds_low_mg_per_l:
        ends = (target.product_tds_low_mg_per_l, target.product_tds_high_mg_per_l)
        return words.purer_than_wanted(use, shown, *(in_words(value, "tds", system) for value in ends))
    return words.pure_enough(use, shown, limit)


def _layout(request: SizingRequest, layout: str) -> Remark:
    with_resin = [entry.use for entry in request.uses if request.needs_resin(entry)]
    without = [entry.use for entry in request.uses if not request.needs_resin(entry)]
    if layout == "ro":
        return Remark("layout", *words.reverse_osmosis(without))
    if layout == "ro_di":
        return Remark("layout", *words.deionised(with_resin))
    return Remark("layout", *words.branched(without, with_resin))


def _assumed(request: SizingRequest, policy: SizingPolicy) -> Iterator[Remark]:
    survey, system = request.survey, request.unit_system
    scaling = {
        gettext_noop("hardness"): survey.hardness_mg_per_l_as_caco3,
        # Without hardness neither says anything of scale.
        gettext_noop("alkalinity"): survey.alkalinity_mg_per_l_as_caco3,
        gettext_noop("pH"): survey.ph,
        gettext_noop("silica"): survey.silica_mg_per_l,
        gettext_noop("total chlorine"): 0.0 if survey.disinfectant == "none" else survey.total_chlorine_mg_per_l,
    }
    unknown = [name for name, value in scaling.items() if value is None]
    if unknown:
        is_acid_unknown = bool({"alkalinity", "pH"} & set(unknown))
        sentences = words.water_not_known(
            unknown,
            in_words(1.0, "total_chlorine_mg_per_l", system),
            is_scale_assumed="hardness" in unknown or bool(survey.hardness_mg_per_l_as_caco3 and is_acid_unknown),
            is_gas_assumed=request.resin_demand_l_per_week > 0.0 and is_acid_unknown,
        )
        yield Remark("water_not_known", *sentences)
    if not request.coldest_is_known:
        cold, warm = (in_words(value, TEMPERATURE, system) for value in (5.0, 25.0))
        yield Remark("coldest_not_known", *words.coldest_not_known(cold, warm))
    is_scale_judged = survey.hardness_mg_per_l_as_caco3 and survey.alkalinity_mg_per_l_as_caco3 and survey.ph
    if survey.highest_temperature_degc is None and is_scale_judged:
        yield Remark("warmest_not_known", *words.warmest_not_known())
    if survey.highest_static_pressure_kpa is None:
        limit = in_words(policy.highest_line_kpa, PRESSURE, system)
        yield Remark("static_pressure_not_known", *words.static_pressure_not_known(limit))
    if request.water_price_per_m3 is None:
        price = money_in_words(request.water_price, request.currency)
        yield Remark("water_price_assumed", *words.water_price_assumed(price))
    if request.starts_per_day is None and (request.flush_l_per_start or policy.flush_l_per_start) > 0.0:
        yield Remark("starts_assumed", *words.starts_assumed(policy.starts_per_day))


def _rejection(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> Iterator[Remark]:
    if not rejects_enough(request, choice, policy):
        expected = 1.0 - choice.permeate_tds_mg_per_l / request.survey.feed_tds_mg_per_l
        sentences = words.rejects_too_little(expected, policy.limits.minimum_rejection_fraction)
        yield Remark("rejects_too_little", *sentences)


def _running(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> Iterator[Remark]:
    system = request.unit_system
    inlet, least = (in_words(value, PRESSURE, system) for value in (choice.inlet_pressure_kpa, policy.pump_below_kpa))
    if choice.winter_run_hours_per_day == 0.0:
        yield Remark("no_membrane_needed", *words.no_membrane_needed())
    elif choice.winter_run_hours_per_day < policy.least_run_hours_per_day:
        yield Remark("runs_little", *words.runs_little(choice.winter_run_hours_per_day))
    if not choice.is_pumped and choice.inlet_pressure_kpa < policy.pump_below_kpa:
        needed = needed_inlet_of(request, choice, policy)
        needed_words = "" if needed is None else in_words(needed, PRESSURE, system)
        yield Remark("weak_line", *words.weak_line(inlet, least, needed_words))
    if choice.membranes > 1:
        yield Remark("membranes_side_by_side", *words.membranes_side_by_side(choice.membranes))


def _stored(request: SizingRequest, choice: FlowChoice, store: Storage) -> Iterator[Remark]:
    system = request.unit_system
    if store.usable_l > 0.0:
        if store.is_assumed and store.draw_l > 0.0:
            yield Remark("draw_assumed", *words.draw_assumed(in_words(store.draw_l, VOLUME, system)))
        room = request.largest_tank_l
        if room is not None and store.volume_l > room:
            volume_words, room_words = (in_words(value, VOLUME, system) for value in (store.volume_l, room))
            yield Remark("no_room_for_tank", *words.no_room_for_tank(volume_words, room_words))
        full, lasts = in_words(store.full_l, VOLUME, system), hours_in_words(store.reserve_hours)
        yield Remark("reserve", *words.reserve(full, lasts, is_for_taps=store.purpose == "pressurised_tank"))
        if store.purpose == "open_tank" and any(entry.use == "laboratory" for entry in request.uses):
            yield Remark("pure_water_does_not_keep", *words.pure_water_does_not_keep())
    else:
        hourly = in_words(choice.winter_flow_l_per_day / 24.0, VOLUME, system)
        yield Remark("no_store", *words.no_storage(hourly, store.is_assumed))


def _water(request: SizingRequest, parts: Sequence[Part]) -> Iterator[Remark]:
    survey, system = request.survey, request.unit_system
    iron, manganese = survey.iron_mg_per_l or 0.0, survey.manganese_mg_per_l or 0.0
    if iron > _IRON_LIMIT_MG_PER_L or manganese > _MANGANESE_LIMIT_MG_PER_L:
        iron_limit = in_words(_IRON_LIMIT_MG_PER_L, "iron_mg_per_l", system)
        unit = in_words(1.0, "manganese_mg_per_l", system).split(" ", 1)[1]
        sentences = words.iron_or_manganese(iron_limit, f"{_MANGANESE_LIMIT_MG_PER_L:g} {unit}")
        yield Remark("iron_or_manganese", *sentences)
    if survey.feed_tds_mg_per_l < _DI_ALONE_BELOW_MG_PER_L and request.resin_demand_l_per_week > 0.0:
        yield Remark("resin_alone", *words.resin_alone())
    carbons = [part for part in parts if part.stage == "carbon"]
    if survey.disinfectant == "chloramine" and not any(part.item.carbon_kind == "catalytic" for part in carbons):
        yield Remark("no_catalytic_carbon", *words.no_catalytic_carbon())
