"""What a configuration needs beside the cartridges: housings, restrictor, pump, tank, and what the water asks for."""

from collections.abc import Iterator, Sequence
from typing import Final

from fleet.engineering.constants import EQUIVALENT_MASS_CACO3
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio
from fleet.engineering.formulas.restrictor import restrictor_flow, restrictor_size_ml_per_min
from fleet.engineering.formulas.targets import TARGETS
from fleet.engineering.sizing.demand import feed_l_per_week
from fleet.engineering.sizing.flows import FlowChoice
from fleet.engineering.sizing.offer import Fitting, Item, Part, SizingRequest
from fleet.engineering.sizing.storage import Storage
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.train import flush_l_per_week
from fleet.engineering.sizing.wear import DAYS_PER_YEAR, resin_life, resin_loads_meq_per_l
from fleet.engineering.sizing.words import USES, days_in_words, in_words
from fleet.engineering.units import FLOW, PRESSURE, VOLUME

# A restrictor within this share of the size asked for does (common practice, no source).
RESTRICTOR_TOLERANCE: Final = 0.2


def cheapest(purpose: str, catalogue: Sequence[Item]) -> Item | None:
    """Return the cheapest item of the catalogue that has a purpose, None where there is none.

    Examples
    --------
    >>> stock = [Item("A", "", "accessory", 9.8, purpose="check_valve"), Item("B", "", "accessory", 3.4, purpose="tee")]
    >>> cheapest("check_valve", stock).code, cheapest("softener", stock)
    ('A', None)
    """
    matching = [item for item in catalogue if item.purpose == purpose]
    return min(matching, key=lambda item: (item.price, item.code), default=None)


def nearest_restrictor(catalogue: Sequence[Item], flow_l_per_day: float, inlet_kpa: float) -> Item | None:
    """Return the restrictor of the catalogue that passes nearest to a flow at the pressure of the site.

    Parameters
    ----------
    catalogue : sequence of Item
        A restrictor that states its pressure too is taken as an orifice; one that states no flow comes in any size.
    flow_l_per_day : float
        Concentrate, above 0.
    inlet_kpa : float
        Membrane inlet, gauge, above 0.

    Returns
    -------
    Item or None
        None where none lies within 20 %.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> stock = [Item("R9", "", "accessory", 4.6, purpose="flow_restrictor", rated_flow_l_per_day=1296.0,
    ...     rated_pressure_kpa=414.0)]
    >>> nearest_restrictor(stock, 1200.0, 414.0).code
    'R9'
    >>> nearest_restrictor(stock, 1200.0, 200.0) is None
    True
    """
    far: dict[str, float] = {}
    restrictors = {item.code: item for item in catalogue if item.purpose == "flow_restrictor"}
    for code, item in restrictors.items():
        passes = item.rated_flow_l_per_day
        if passes and item.rated_pressure_kpa:
            passes = float(
                restrictor_flow(
                    passes, rated_pressure=item.rated_pressure_kpa, pressure=inlet_kpa, restrictor_type="orifice"
                )
            )
        # Where no flow is stated it is the last choice among those that do.
        far[code] = abs(passes - flow_l_per_day) / flow_l_per_day if passes else RESTRICTOR_TOLERANCE
    near = [code for code, distance in far.items() if distance <= RESTRICTOR_TOLERANCE]
    return restrictors[min(near, key=lambda code: (far[code], restrictors[code].price, code))] if near else None


def fittings_for(
    request: SizingRequest,
    choice: FlowChoice,
    parts: Sequence[Part],
    catalogue: Sequence[Item],
    store: Storage,
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
    store : Storage
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
    >>> asked = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> store = Storage("open_tank", 0.0, 0.0, 0.0, 1.0, True, None)
    >>> [found.purpose for found in fittings_for(asked, flows, [], [], store, SizingPolicy())]
    ['membrane_housing', 'flow_restrictor', 'flush_valve', 'float_valve']
    """
    return (
        *_around_the_membrane(request, choice, parts, catalogue, policy),
        *_treatment(request, choice, parts, catalogue, policy),
        *_behind_it(request, choice, catalogue, store),
    )


def _around_the_membrane(
    request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], catalogue: Sequence[Item], policy: SizingPolicy
) -> Iterator[Fitting]:
    def of(purpose: str, size: str, installer: str, client: str, count: int = 1) -> Fitting:
        return Fitting(purpose, cheapest(purpose, catalogue), size, installer, client, count)

    system, survey = request.unit_system, request.survey
    housings = sum(part.count for part in parts if part.stage != "membrane")
    inlet, line = (
        in_words(value, PRESSURE, system) for value in (choice.inlet_pressure_kpa, survey.lowest_line_pressure_kpa)
    )
    if housings:
        yield of(
            "cartridge_housing", "Rated for the line pressure or more.",
            "One for each cartridge; note the year, plastic housings are renewed after five to ten.",
            "Each filter sits in a housing of its own, so that it can be changed without tools on the pipes.", housings,
        )  # fmt: skip
    yield of(
        "membrane_housing", f"Rated for {inlet if choice.is_pumped else 'the line pressure'} or more.",
        "One for each membrane.", "The membrane sits in a housing that stands the pressure.", choice.membranes,
    )  # fmt: skip
    if survey.lowest_line_pressure_kpa > policy.highest_line_kpa:
        limit = in_words(policy.highest_line_kpa, PRESSURE, system)
        yield of(
            "pressure_regulator", f"Set to {limit}.",
            f"The line gives {line} and more; housings and tubing are kept below {limit}.",
            "Your water pressure is high; this keeps it at what the unit is built for.",
        )  # fmt: skip
    drain = choice.usual_flow_l_per_day * choice.waste_ratio
    size = float(restrictor_size_ml_per_min(choice.usual_flow_l_per_day, choice.waste_ratio))
    measure = "litres" if system == "metric" else "gallons"
    scaling_known = choice.langelier is not None or choice.is_softened
    scale = "at which no scale forms in this water" if scaling_known else "as is customary where scale cannot be judged"
    yield Fitting(
        "flow_restrictor", nearest_restrictor(catalogue, drain, choice.inlet_pressure_kpa),
        f"{size:.0f} mL/min at {inlet}.",
        f"Holds the waste at {choice.waste_ratio:g} to 1, {scale}. Set by the flow expected here, not by the label; "
        "measure it when it runs.",
        f"Lets {choice.waste_ratio:g} {measure} run to the drain for each one made, which keeps the membrane clean.",
    )  # fmt: skip
    if choice.is_pumped:
        flow = in_words(choice.usual_flow_l_per_day * (1.0 + choice.waste_ratio), FLOW, system)
        yield of(
            "booster_pump", f"For {flow} at {inlet} at the membrane inlet.",
            f"The line gives {line} at its lowest; more pressure gives more and better water. It needs a cut-out for "
            "low pressure before it.",
            "A pump raises the pressure, so that the unit makes more and purer water.",
        )  # fmt: skip
    flush = flush_l_per_week(request, choice, policy)
    if flush > 0.0:
        yield of(
            "flush_valve", "",
            f"Flushes {in_words(flush, VOLUME, system)} a week at the starts, so that what crept through at rest goes "
            "to the drain.",
            "A short flush at each start keeps the membrane clean.",
        )  # fmt: skip


def _treatment(
    request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], catalogue: Sequence[Item], policy: SizingPolicy
) -> Iterator[Fitting]:
    system, survey = request.unit_system, request.survey
    if choice.is_softened:
        feed = float(feed_l_per_week(request.demand_l_per_week, recovery_from_waste_ratio(choice.waste_ratio)))
        hardness = survey.hardness_mg_per_l_as_caco3 or 0.0
        salt = feed * DAYS_PER_YEAR / 7.0 * hardness / EQUIVALENT_MASS_CACO3 / 1000.0 * policy.salt_g_per_eq / 1000.0
        yield Fitting(
            "softener",
            cheapest("softener", catalogue),
            f"For {in_words(feed, VOLUME, system)} of feed a week at "
            f"{in_words(hardness, 'hardness_mg_per_l_as_caco3', system)}.",
            "Without hardness no lime forms, so less water goes to waste. It lowers neither the TDS nor the load on "
            f"the resin. It takes about {salt:.0f} kg of salt a year, which is not in the cost.",
            "Takes the lime out first, so that less water runs to the drain. It needs salt now and then.",
        )
    ions, gas = resin_loads_meq_per_l(survey, choice.permeate_tds_mg_per_l, policy)
    if request.resin_demand_l_per_week > 0.0 and gas > ions:
        item = cheapest("degassing", catalogue)
        if choice.is_degassed or item is None:
            daily = in_words(request.resin_demand_l_per_week / 7.0, VOLUME, system)
            yield Fitting(
                "degassing",
                item,
                f"An open aerated tank for {daily} a day, with a pump behind it.",
                f"Carbon dioxide is {100.0 * gas / (gas + ions):.0f} % of the load on the resin and passes every "
                f"membrane. "
                f"{_lives(request, choice, parts, policy)} An extra anion cartridge before the mixed bed is the other "
                "way.",
                "Your water holds much carbonic acid, which exhausts the last filter early; aerating the water first "
                "makes that filter last longer.",
            )
    poor = next((entry.use for entry in request.uses if choice.permeate_tds_mg_per_l < _low(entry.use)), "")
    if poor:
        yield Fitting(
            "remineralisation",
            cheapest("remineralisation", catalogue),
            "",
            f"On the branch for {USES[poor]}: {TARGETS[poor].sentence}",
            f"Adds back the minerals that {USES[poor]} wants.",
        )


def _low(use: str) -> float:
    return TARGETS[use].product_tds_low_mg_per_l


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
    return (
        f"Resin {resin.item.code} lasts about {days_in_words(without)} without it and {days_in_words(behind)} behind "
        "it."
    )


def _behind_it(
    request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], store: Storage
) -> Iterator[Fitting]:
    def of(purpose: str, installer: str, client: str, size: str = "") -> Fitting:
        return Fitting(purpose, cheapest(purpose, catalogue), size, installer, client)

    if 0.0 < request.resin_demand_l_per_week < request.demand_l_per_week:
        yield of(
            "tee",
            "Behind the membrane: one branch to the resin, the other before it.",
            "One outlet for drinking and the like, another for the purest water: only that passes the last filter.",
        )
    if store.usable_l > 0.0:
        usable, draw, volume = (
            in_words(value, VOLUME, request.unit_system) for value in (store.usable_l, store.draw_l, store.volume_l)
        )
        window = f"{store.window_h:g} h" if store.window_h >= 1.0 else f"{store.window_h * 60:.0f} minutes"
        yield Fitting(
            store.purpose,
            store.item,
            f"At least {volume}, of which {usable} is usable.",
            f"A draw of {draw} within {window} is {'assumed' if store.is_assumed else 'asked for'}, and the membrane "
            "gives less meanwhile."
            + (" Check the precharge empty; sanitise yearly." if store.purpose == "pressurised_tank" else ""),
            "Keeps water ready, since the membrane makes it slowly.",
        )
    if store.purpose == "pressurised_tank":
        yield of(
            "automatic_shutoff_valve",
            "Closes the feed when the tank is full, near two thirds of the line pressure; without it the drain never "
            "stops.",
            "Stops the unit when the tank is full, so that no water is wasted.",
        )
        yield of(
            "check_valve",
            "Holds the tank pressure so that the shut-off valve can close.",
            "Keeps the water in the tank from running back.",
        )
    else:
        yield of(
            "float_valve",
            "Closes when the store is full; fit an overflow or a leak detector beside it.",
            "Stops the unit when your container is full.",
        )
