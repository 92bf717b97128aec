"""What to say beside the numbers of an offer: assumptions, what each use gets, cautions."""

from collections.abc import Iterator, Sequence
from typing import Final

from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.sizing.cautions import cautions_on
from fleet.engineering.sizing.flows import FlowChoice
from fleet.engineering.sizing.offer import Outlet, Part, Remark, SizingRequest
from fleet.engineering.sizing.storage import Storage
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.words import USES, in_words, listed, money_in_words
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
    store: Storage,
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
    store : Storage
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
    >>> asked = SizingRequest((WaterUse("coffee", 70.0),), SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> store = Storage("pressurised_tank", 4.0, 6.6, 5.0, 0.5, True, None)
    >>> [remark.code for remark in remarks_on(asked, flows, [], "ro", store, SizingPolicy())][:3]
    ['layout', 'water_not_known', 'water_price_assumed']
    """
    return (
        _layout(request, layout),
        *_assumed(request, policy),
        *_running(request, choice, policy),
        *_stored(request, choice, store),
        *_water(request, parts),
        *cautions_on(request, choice),
    )


def outlets_of(request: SizingRequest, choice: FlowChoice) -> tuple[Outlet, ...]:
    """Return where each use takes its water and whether it gets what it wants.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> uses = (WaterUse("reef", 70.0), WaterUse("drinking", 70.0))
    >>> asked = SizingRequest(uses, SiteSurvey("reef", 140.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> [(outlet.use, outlet.branch, outlet.tds_mg_per_l) for outlet in outlets_of(asked, flows)]
    [('reef', 'resin', None), ('drinking', 'membrane', 8.0)]
    """
    outlets = []
    for entry in request.uses:
        target = TARGETS[entry.use]
        tds = None if target.needs_resin else choice.permeate_tds_mg_per_l
        limit = target.product_tds_high_mg_per_l
        installer, client = _outlet(entry.use, tds, request.unit_system)
        branch = "resin" if target.needs_resin else "membrane"
        outlets.append(Outlet(entry.use, entry.demand_l_per_week, branch, tds, limit, installer, client))
    return tuple(outlets)


def _outlet(use: str, tds: float | None, system: str) -> tuple[str, str]:
    target = TARGETS[use]
    ends = (target.product_tds_low_mg_per_l, target.product_tds_high_mg_per_l)
    low, high = (in_words(value, "tds", system) for value in ends)
    if tds is None:
        return (
            f"Behind the resin: {target.sentence} The cartridges are changed before {high} shows.",
            f"The water for {USES[use]} comes from behind the last filter and is the purest the unit makes.",
        )
    shown = in_words(tds, "tds", system)
    if tds > target.product_tds_high_mg_per_l:
        return (
            f"Behind the membrane: about {shown} is expected and {USES[use]} wants {high} or less. More pressure or a "
            "membrane of higher rejection helps.",
            f"The water for {USES[use]} will hold more than is usual for it; ask us what helps.",
        )
    if tds < target.product_tds_low_mg_per_l:
        return (
            f"Behind the membrane: about {shown} is expected and {USES[use]} wants {low} to {high}, so minerals "
            "are added back.",
            f"The water is purer than {USES[use]} wants, so some minerals are added back.",
        )
    return (
        f"Behind the membrane: about {shown} is expected, and {USES[use]} wants {high} or less.",
        f"The water for {USES[use]} comes straight from the membrane, which is pure enough for it.",
    )


def _layout(request: SizingRequest, layout: str) -> Remark:
    with_resin = [USES[entry.use] for entry in request.uses if TARGETS[entry.use].needs_resin]
    without = [USES[entry.use] for entry in request.uses if not TARGETS[entry.use].needs_resin]
    if layout == "ro":
        return Remark(
            "layout",
            f"Reverse osmosis is enough for {listed(without)}; resin would serve nothing.",
            f"For {listed(without)} a membrane is enough; a further filter would only cost.",
        )
    if layout == "ro_di":
        return Remark(
            "layout",
            f"Only deionised water serves {listed(with_resin)}, so resin follows the membrane.",
            f"For {listed(with_resin)} even the traces behind a membrane are too much, so a last filter follows it.",
        )
    return Remark(
        "layout",
        f"A tee after the membrane: the branch before the resin serves {listed(without)}, the branch behind it "
        f"{listed(with_resin)}. The resin sees only its own share of the water.",
        f"One unit with two outlets: one for {listed(without)}, the other, behind a last filter, for "
        f"{listed(with_resin)}.",
    )


def _assumed(request: SizingRequest, policy: SizingPolicy) -> Iterator[Remark]:
    survey, system = request.survey, request.unit_system
    scaling = {
        "hardness": survey.hardness_mg_per_l_as_caco3,
        # Without hardness neither says anything of scale.
        "alkalinity": survey.alkalinity_mg_per_l_as_caco3,
        "pH": survey.ph,
        "silica": survey.silica_mg_per_l,
        "total chlorine": 0.0 if survey.disinfectant == "none" else survey.total_chlorine_mg_per_l,
    }
    unknown = [name for name, value in scaling.items() if value is None]
    if unknown:
        assumptions = []
        if "hardness" in unknown or (survey.hardness_mg_per_l_as_caco3 and {"alkalinity", "pH"} & set(unknown)):
            assumptions.append("scaling as that of hard water")
        if "silica" in unknown:
            assumptions.append("silica as none")
        if "total chlorine" in unknown:
            assumptions.append(f"chlorine as {in_words(1.0, 'total_chlorine_mg_per_l', system)}")
        if request.resin_demand_l_per_week > 0.0 and {"alkalinity", "pH"} & set(unknown):
            assumptions.append("the load of carbon dioxide on the resin as none, so that resin may last much shorter")
        yield Remark(
            "water_not_known",
            f"Not measured: {listed(unknown)}. Taken: {'; '.join(assumptions) or 'nothing that matters here'}. Have it "
            "analysed.",
            f"Your water has not been fully analysed ({listed(unknown)}); an analysis would make these figures surer.",
        )
    if not request.coldest_is_known:
        cold, warm = (in_words(value, TEMPERATURE, system) for value in (5.0, 25.0))
        yield Remark(
            "coldest_not_known",
            f"The coldest water of the year was not given; at {cold} a membrane gives half of what it gives at {warm}, "
            "so ask before this is offered.",
            "We do not know yet how cold your water gets in winter, when the unit makes less.",
        )
    if request.water_price_per_m3 is None:
        price = money_in_words(request.water_price, request.currency)
        yield Remark(
            "water_price_assumed",
            f"The price of water and drain was not given; {price} a cubic metre is assumed.",
            f"We took {price} a cubic metre for water and drain; tell us yours.",
        )
    if request.starts_per_day is None and (request.flush_l_per_start or policy.flush_l_per_start) > 0.0:
        yield Remark(
            "starts_assumed",
            f"{policy.starts_per_day:g} starts a day are assumed for the flush water; a float valve that chatters "
            "makes many more.",
            f"We took {policy.starts_per_day:g} starts a day.",
        )


def _running(request: SizingRequest, choice: FlowChoice, policy: SizingPolicy) -> Iterator[Remark]:
    system = request.unit_system
    inlet, least = (in_words(value, PRESSURE, system) for value in (choice.inlet_pressure_kpa, policy.pump_below_kpa))
    if choice.winter_run_hours_per_day < policy.least_run_hours_per_day:
        yield Remark(
            "runs_little",
            f"It runs {choice.winter_run_hours_per_day:.1f} h a day: salt creeps through at standstill, so let the "
            "store draw down far before it refills, and flush first.",
            "The unit is large for your demand; let the store run down before it refills, and flush it first.",
        )
    if not choice.is_pumped and choice.inlet_pressure_kpa < policy.pump_below_kpa:
        yield Remark(
            "weak_line",
            f"The membrane inlet has {inlet} at the worst time, below {least}: a booster pump is customary; "
            "without one the water is poorer, and fouling leaves less reserve.",
            "Your water pressure is low; with a pump the water would be purer.",
        )
    if choice.membranes > 1:
        yield Remark(
            "membranes_side_by_side",
            f"{choice.membranes} membranes share one feed and one restrictor; change them together, and read the flow "
            "of each when one is suspected.",
            f"{choice.membranes} membranes work side by side to make enough water.",
        )


def _stored(request: SizingRequest, choice: FlowChoice, store: Storage) -> Iterator[Remark]:
    system = request.unit_system
    if store.usable_l > 0.0:
        if store.is_assumed:
            yield Remark(
                "draw_assumed",
                f"The largest draw was not given; {in_words(store.draw_l, VOLUME, system)} is assumed for the tap.",
                "Tell us how much water you draw at once, so that the tank fits.",
            )
        room = request.largest_tank_l
        if room is not None and store.volume_l > room:
            volume_words, room_words = (in_words(value, VOLUME, system) for value in (store.volume_l, room))
            yield Remark(
                "no_room_for_tank",
                f"The draw asks for a tank of {volume_words}, and there is room for {room_words}: draw less at "
                "once, or choose a larger membrane.",
                "There is no room for as large a tank as you need: draw less water at once.",
            )
    else:
        hourly = in_words(choice.winter_flow_l_per_day / 24.0, VOLUME, system)
        yield Remark(
            "no_store",
            "No store is counted: "
            + ("the largest draw was not given" if store.is_assumed else "production keeps up with the draw")
            + f". In winter {hourly} an hour is made.",
            f"The unit makes about {hourly} an hour; collect it in a container of your own.",
        )


def _water(request: SizingRequest, parts: Sequence[Part]) -> Iterator[Remark]:
    survey, system = request.survey, request.unit_system
    iron, manganese = survey.iron_mg_per_l or 0.0, survey.manganese_mg_per_l or 0.0
    if iron > _IRON_LIMIT_MG_PER_L or manganese > _MANGANESE_LIMIT_MG_PER_L:
        limits = [
            in_words(_IRON_LIMIT_MG_PER_L, "iron_mg_per_l", system),
            f"{_MANGANESE_LIMIT_MG_PER_L:g} {in_words(1.0, 'manganese_mg_per_l', system).split(' ', 1)[1]}",
        ]
        yield Remark(
            "iron_or_manganese",
            f"Iron above {limits[0]} or manganese above {limits[1]} fouls the membrane: treat it first.",
            "Your water holds iron or manganese, which must be taken out before the unit.",
        )
    if survey.feed_tds_mg_per_l < _DI_ALONE_BELOW_MG_PER_L and request.resin_demand_l_per_week > 0.0:
        yield Remark(
            "resin_alone",
            "The feed is so pure that resin without a membrane may cost less at a low demand.",
            "Your water is so pure that a simpler unit without a membrane may do.",
        )
    carbons = [part for part in parts if part.stage == "carbon"]
    if survey.disinfectant == "chloramine" and not any(part.item.carbon_kind == "catalytic" for part in carbons):
        yield Remark(
            "no_catalytic_carbon",
            "Chloramine asks for catalytic carbon, and the catalogue has none.",
            "Your supplier uses chloramine; the right carbon for it must still be ordered.",
        )
