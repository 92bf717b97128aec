"""Alternatives side by side: least first cost, least running cost, least waste, each with its reasons."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Final

from fleet.engineering.mass_balance import recovery_from_waste_ratio
from fleet.engineering.restrictor import restrictor_size_ml_per_min
from fleet.engineering.sizing.demand import (
    feed_l_per_week,
    run_hours_per_day,
    tank_usable_volume_l,
    wastewater_l_per_week,
)
from fleet.engineering.sizing.fittings import fitting
from fleet.engineering.sizing.flows import FlowChoice, flow_choices
from fleet.engineering.sizing.offer import Alternative, Fitting, Item, Offer, Part, Remark, SizingRequest
from fleet.engineering.sizing.remarks import remarks_on
from fleet.engineering.sizing.survey import QuotationPolicy
from fleet.engineering.sizing.train import TASTES, train_of
from fleet.engineering.sizing.wear import DAYS_PER_YEAR, resin_loads_meq_per_l

Rank = Callable[[Alternative], tuple[float, ...]]


def _first(found: Alternative) -> float:
    """First cost without the restrictor: every way needs one, and one that is not in stock must not look cheaper."""
    restrictors = (entry.item.price for entry in found.fittings if entry.item and entry.what == "flow_restrictor")
    # To the cent: differences below it are rounding.
    return round(found.first_cost - sum(restrictors), 2)


OBJECTIVES: Final[tuple[tuple[str, Rank], ...]] = (
    ("least_first_cost", lambda found: (_first(found), found.running_cost_per_year, found.waste_l_per_week)),
    ("least_running_cost", lambda found: (found.running_cost_per_year, _first(found), found.waste_l_per_week)),
    ("least_waste", lambda found: (found.waste_l_per_week, found.running_cost_per_year, _first(found))),
)
LEAST_ALTERNATIVES: Final = 3


def compare(request: SizingRequest, catalogue: Sequence[Item], policy: QuotationPolicy | None = None) -> Offer:
    """Return configurations of the catalogue that serve a site, or what the catalogue lacks.

    Parameters
    ----------
    request : SizingRequest
        The site, its uses, and what there is room for.
    catalogue : sequence of Item
        All that can be bought.
    policy : QuotationPolicy, optional
        The company's practice.

    Returns
    -------
    Offer
        Three alternatives or more, where the catalogue has so many: the best by first cost, by running cost and by
        waste, and the next best where one is best in two ways.

    Raises
    ------
    EngineeringError
        A value outside the range of a formula.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> compare(SizingRequest((WaterUse("reef", 140.0),), SiteSurvey("reef", 140.0, 420.0, 8.0, 14.0, 250.0)), []
    ...     ).missing[0].code
    'no_sediment'
    """
    practice = policy or QuotationPolicy()
    missing = list(_lacking(request, catalogue))
    if missing:
        return Offer((), tuple(missing))
    membranes = [item for item in catalogue if item.kind == "membrane" and item.rating is not None]
    choices, why_none = flow_choices(request, membranes, practice)
    found = list(_alternatives(request, catalogue, _within_catalogue(choices, catalogue), practice))
    if not found:
        return Offer((), tuple(why_none) or (_no_room(request),))
    return Offer(tuple(_side_by_side(found)))


def _lacking(request: SizingRequest, catalogue: Sequence[Item]) -> Iterable[Remark]:
    needed = ["sediment", "carbon", "membrane"] + (["resin"] if request.resin_demand_l_per_week > 0.0 else [])
    for stage in needed:
        if not any(item.kind == stage for item in catalogue):
            yield Remark(f"no_{stage}", f"The catalogue has no {stage}, which every configuration for this use needs.")


def _within_catalogue(choices: Sequence[FlowChoice], catalogue: Sequence[Item]) -> list[FlowChoice]:
    """Keep to ways the catalogue has pump and softener for; ways without them only where there is no other."""
    pump, softener = (fitting(what, catalogue, size="", reason="").item for what in ("booster_pump", "softener"))

    def lacks(choice: FlowChoice) -> int:
        return (choice.is_pumped and pump is None) + (choice.is_softened and softener is None)

    fewest = min(map(lacks, choices), default=0)
    return [choice for choice in choices if lacks(choice) == fewest]


def _no_room(request: SizingRequest) -> Remark:
    return Remark(
        "no_room",
        f"There is room for {request.most_cartridges} cartridges; sediment, carbon and membrane"
        f"{' and resin' if request.resin_demand_l_per_week > 0.0 else ''} need more.",
    )


def _alternatives(
    request: SizingRequest, catalogue: Sequence[Item], choices: Sequence[FlowChoice], policy: QuotationPolicy
) -> Iterable[Alternative]:
    for choice in choices:
        seen = set()
        for taste in TASTES:
            train = train_of(request, choice, catalogue, policy, taste)
            if train is None:
                continue
            parts, remarks = train
            codes = tuple(part.item.code for part in parts)
            if codes not in seen:
                seen.add(codes)
                yield _alternative(request, choice, catalogue, parts, remarks, policy)


def _alternative(
    request: SizingRequest,
    choice: FlowChoice,
    catalogue: Sequence[Item],
    parts: tuple[Part, ...],
    remarks: tuple[Remark, ...],
    policy: QuotationPolicy,
) -> Alternative:
    demand = request.demand_l_per_week
    recovery = float(recovery_from_waste_ratio(choice.waste_ratio))
    feed = float(feed_l_per_week(demand, recovery))
    tank = float(
        tank_usable_volume_l(request.survey.peak_draw_l, choice.winter_flow_l_per_day, request.survey.draw_window_h)
    )
    fittings = _fittings(request, choice, catalogue, tank, policy)
    consumables = sum(part.cost_per_year for part in parts)
    weeks = DAYS_PER_YEAR / 7.0
    water = feed * weeks / 1000.0 * request.water_price
    first = sum(part.item.price for part in parts) + sum(entry.item.price for entry in fittings if entry.item)
    resin_only = request.resin_demand_l_per_week == demand
    layout = "ro" if request.resin_demand_l_per_week == 0.0 else "ro_di" if resin_only else "tee"
    return Alternative(
        best_for=(),
        layout=layout,
        parts=parts,
        fittings=fittings,
        inlet_pressure_kpa=choice.inlet_pressure_kpa,
        usual_permeate_flow_l_per_day=choice.usual_flow_l_per_day,
        winter_permeate_flow_l_per_day=choice.winter_flow_l_per_day,
        usual_run_hours_per_day=float(run_hours_per_day(demand, choice.usual_flow_l_per_day)),
        winter_run_hours_per_day=choice.winter_run_hours_per_day,
        waste_ratio=choice.waste_ratio,
        recovery_fraction=recovery,
        restrictor_ml_per_min=float(restrictor_size_ml_per_min(choice.usual_flow_l_per_day, choice.waste_ratio)),
        waste_l_per_week=float(wastewater_l_per_week(demand, recovery)),
        feed_l_per_week=feed,
        permeate_tds_mg_per_l=choice.permeate_tds_mg_per_l,
        concentrate_langelier_index=choice.langelier,
        tank_usable_volume_l=tank,
        first_cost=first,
        consumables_per_year=consumables,
        consumables_per_1000_l=consumables / (demand * weeks) * 1000.0,
        water_per_year=water,
        running_cost_per_year=consumables + water,
        reasons=(*remarks, *_tank_room(request, tank), *remarks_on(request, choice, parts, layout, policy)),
        missing=tuple(
            Remark(f"no_{entry.what}", f"The catalogue has none of this: {entry.what.replace('_', ' ')}. {entry.size}")
            for entry in fittings
            if entry.item is None
        ),
    )


def _tank_room(request: SizingRequest, tank_l: float) -> tuple[Remark, ...]:
    if request.largest_tank_l is None or tank_l <= request.largest_tank_l:
        return ()
    return (
        Remark(
            "no_room_for_tank",
            f"The peak draw asks for {tank_l:.0f} L stored, and there is room for {request.largest_tank_l:g} L: draw "
            "less at once, or choose a larger membrane.",
        ),
    )


def _fittings(
    request: SizingRequest, choice: FlowChoice, catalogue: Sequence[Item], tank_l: float, policy: QuotationPolicy
) -> tuple[Fitting, ...]:
    survey = request.survey
    feed = float(feed_l_per_week(request.demand_l_per_week, recovery_from_waste_ratio(choice.waste_ratio)))
    size = float(restrictor_size_ml_per_min(choice.usual_flow_l_per_day, choice.waste_ratio))
    found = [
        fitting(
            "flow_restrictor",
            catalogue,
            size=f"Size {size:.0f} mL/min.",
            reason=f"Holds the waste ratio at {choice.waste_ratio:g} to 1, at which no scale forms in this water.",
            flow_l_per_day=choice.usual_flow_l_per_day * choice.waste_ratio,
        )
    ]
    if choice.is_pumped:
        line = survey.lowest_line_pressure_kpa / 100.0
        found.append(
            fitting(
                "booster_pump",
                catalogue,
                size=f"For {choice.inlet_pressure_kpa / 100.0:.1f} bar at the membrane inlet.",
                reason=f"The line gives {line:.1f} bar at its lowest; more pressure gives more and better water.",
            )
        )
    if choice.is_softened:
        found.append(
            fitting(
                "softener",
                catalogue,
                size=f"For {feed:.0f} L of feed a week.",
                reason="Without hardness no lime forms, so less water goes to waste. It lowers neither the TDS nor the "
                "load on the resin.",
            )
        )
    if tank_l > 0.0:
        found.append(
            fitting(
                "pressurised_tank",
                catalogue,
                size=f"At least {tank_l:.0f} L usable; a pressurised tank holds about a third of its volume usable.",
                reason=f"A draw of {survey.peak_draw_l:g} L within {survey.draw_window_h:g} h is more than is made "
                "meanwhile.",
            )
        )
    if request.resin_demand_l_per_week > 0.0:
        ions, gas = resin_loads_meq_per_l(survey, choice.permeate_tds_mg_per_l, policy)
        if gas > ions:
            found.append(
                fitting(
                    "degassing",
                    catalogue,
                    size=f"An open aerated tank for {request.resin_demand_l_per_week / 7.0:.0f} L a day.",
                    reason=f"Carbon dioxide is {gas / (gas + ions):.0%} of the load on the resin, and no membrane "
                    "holds it back. The lives given are without it.",
                )
            )
    return tuple(found)


def _side_by_side(found: list[Alternative]) -> Iterable[Alternative]:
    """Return the best by each objective, and the next best of other flows until there are enough."""
    labels: dict[int, list[str]] = {}
    orders = [_order(found, rank) for _, rank in OBJECTIVES]
    for (name, _), order in zip(OBJECTIVES, orders, strict=True):
        labels.setdefault(order[0], []).append(name)
    others = [index for order in reversed(orders) for index in order]
    for index in others:
        if len(labels) < LEAST_ALTERNATIVES and not any(_same_flows(found[index], found[other]) for other in labels):
            labels[index] = []
    for index in others:
        if len(labels) < LEAST_ALTERNATIVES:
            labels.setdefault(index, [])
    return [replace(found[index], best_for=tuple(names)) for index, names in labels.items()]


def _order(found: list[Alternative], rank: Rank) -> list[int]:
    return sorted(range(len(found)), key=lambda index: rank(found[index]))


def _same_flows(one: Alternative, other: Alternative) -> bool:
    return (
        one.membrane.item.code == other.membrane.item.code
        and one.waste_ratio == other.waste_ratio
        and one.has_booster_pump == other.has_booster_pump
    )
