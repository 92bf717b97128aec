"""What to say beside the numbers of an offer: assumptions, targets of the uses, cautions."""

from collections.abc import Iterable, Sequence
from typing import Final

from fleet.engineering.constants import KILOPASCAL_PER_PSI
from fleet.engineering.sizing.flows import FlowChoice
from fleet.engineering.sizing.offer import Part, Remark, SizingRequest
from fleet.engineering.sizing.survey import QuotationPolicy
from fleet.engineering.targets import TARGETS

_LINE_LIMIT_KPA: Final = 80.0 * KILOPASCAL_PER_PSI
_DI_ALONE_BELOW_MG_PER_L: Final = 50.0
_CAUTIONS: Final = (
    Remark(
        "air_gap",
        "The drain needs an air gap and the supply protection against backflow; follow local codes and use licensed "
        "trades for plumbing and electrical work.",
    ),
    Remark(
        "pressure",
        "Keep below the limits of housings and membrane, fit a leak detector with a shut-off at unattended sites, and "
        "relieve the pressure before a housing is opened.",
    ),
)
_PUMP: Final = Remark(
    "electricity", "Pump and solenoid belong on a residual-current protected circuit, with a drip loop."
)
_DRINKING: Final = Remark(
    "no_health_claim",
    "Reverse osmosis is not disinfection and TDS says nothing of germs or lead: the feed must be safe to drink, and a "
    "claim about drinking water needs an accredited laboratory. People with weak immune systems and infants: ask "
    "medical and water authorities. Never for dialysis.",
)


def remarks_on(
    request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], layout: str, policy: QuotationPolicy
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
    policy : QuotationPolicy
        The company's practice.

    Returns
    -------
    tuple of Remark
        Why the layout, what was assumed, what each use needs beside, cautions.

    Raises
    ------
    EngineeringError
        Not here.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Item, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> asked = SizingRequest((WaterUse("coffee", 70.0),), SiteSurvey("coffee", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> flows = FlowChoice(Item("M", "", "membrane", 38.0), False, False, 365.0, 4.0, 190.0, 130.0, 1.8, 8.0, None)
    >>> [remark.code for remark in remarks_on(asked, flows, [], "ro", QuotationPolicy())][:3]
    ['layout', 'water_not_known', 'water_price_assumed']
    """
    remarks = [_layout(request, layout), *_assumed(request), *_uses(request, choice)]
    if choice.winter_run_hours_per_day < policy.least_run_hours_per_day:
        remarks.append(
            Remark(
                "runs_little",
                f"It runs {choice.winter_run_hours_per_day:.1f} h a day: creep at standstill matters, so let the tank "
                "draw down far before it refills, and flush first.",
            )
        )
    if request.survey.lowest_line_pressure_kpa > _LINE_LIMIT_KPA:
        remarks.append(Remark("pressure_regulator", "The line is above 5.5 bar (80 psi): fit a pressure regulator."))
    if request.survey.disinfectant == "chloramine" and not any(
        part.item.carbon_kind == "catalytic" for part in parts if part.stage == "carbon"
    ):
        remarks.append(
            Remark("no_catalytic_carbon", "Chloramine asks for catalytic carbon, and the catalogue has none.")
        )
    remarks += _CAUTIONS
    if choice.is_pumped:
        remarks.append(_PUMP)
    return tuple(remarks)


def _layout(request: SizingRequest, layout: str) -> Remark:
    with_resin = [entry.use for entry in request.uses if TARGETS[entry.use].needs_resin]
    without = [entry.use for entry in request.uses if entry.use not in with_resin]
    if layout == "ro":
        return Remark("layout", f"Reverse osmosis is enough for {_and(without)}; resin would serve nothing.")
    if layout == "ro_di":
        return Remark("layout", f"Only deionised water serves {_and(with_resin)}, so resin follows the membrane.")
    return Remark(
        "layout",
        f"A tee after the membrane: the branch before the resin serves {_and(without)}, the branch behind it "
        f"{_and(with_resin)}. The resin sees only its own share of the water.",
    )


def _assumed(request: SizingRequest) -> Iterable[Remark]:
    survey = request.survey
    names = {
        "hardness": survey.hardness_mg_per_l_as_caco3,
        "alkalinity": survey.alkalinity_mg_per_l_as_caco3,
        "pH": survey.ph,
        "silica": survey.silica_mg_per_l,
        "total chlorine": None if survey.disinfectant != "none" and survey.total_chlorine_mg_per_l is None else 0.0,
    }
    unknown = [name for name, value in names.items() if value is None]
    if unknown:
        yield Remark(
            "water_not_known",
            f"Not measured: {_and(unknown)}. Scaling is then taken as that of hard water, chlorine as 1 mg/L, and the "
            "load of carbon dioxide and silica on the resin as nothing, so lives are upper bounds. Have it analysed.",
        )
    if not request.coldest_is_known:
        yield Remark(
            "coldest_not_known",
            "The coldest water of the year was not given; at 5 degC a membrane gives half of what it gives at 25, so "
            "ask before this is offered.",
        )
    if request.water_price_per_m3 is None:
        yield Remark(
            "water_price_assumed",
            f"The price of water and drain was not given; {request.water_price:g} a cubic metre is assumed.",
        )
    if (survey.iron_mg_per_l or 0.0) > 0.1 or (survey.manganese_mg_per_l or 0.0) > 0.05:
        yield Remark(
            "iron_or_manganese", "Iron above 0.1 or manganese above 0.05 mg/L fouls the membrane: treat it first."
        )
    if survey.feed_tds_mg_per_l < _DI_ALONE_BELOW_MG_PER_L and request.resin_demand_l_per_week > 0.0:
        yield Remark("resin_alone", "The feed is so pure that resin without a membrane may cost less at a low demand.")


def _uses(request: SizingRequest, choice: FlowChoice) -> Iterable[Remark]:
    permeate = choice.permeate_tds_mg_per_l
    for entry in request.uses:
        target = TARGETS[entry.use]
        if target.needs_resin:
            yield Remark(f"target_{entry.use}", target.sentence)
            continue
        if permeate > target.product_tds_high_mg_per_l:
            yield Remark(
                f"above_target_{entry.use}",
                f"About {permeate:.0f} mg/L is expected; {entry.use} wants {target.product_tds_high_mg_per_l:.0f} or "
                "less. More pressure or a membrane of higher rejection helps.",
            )
        if permeate < target.product_tds_low_mg_per_l:
            yield Remark(
                f"add_minerals_{entry.use}",
                f"{target.sentence} Here about {permeate:.0f} mg/L comes from the membrane.",
            )
    if any(entry.use == "drinking" for entry in request.uses) or request.survey.has_drinking_outlet:
        yield _DRINKING
        if request.resin_demand_l_per_week > 0.0:
            yield Remark("drink_before_resin", "Deionised water is not for drinking: drink from the branch before it.")


def _and(names: Sequence[str]) -> str:
    return " and ".join(names) if len(names) < 3 else f"{', '.join(names[:-1])} and {names[-1]}"
