"""Alternatives side by side: least first cost, least running cost, least waste, each with its reasons."""

import math
import operator
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Final

from accounts.language import gettext_noop
from fleet.engineering.sizing.alternative import alternative_of
from fleet.engineering.sizing.cautions import is_well_unsafe
from fleet.engineering.sizing.choosing import by_capacity
from fleet.engineering.sizing.fittings import softener_of
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.flows import (
    allowed_waste_ratios,
    flow_choices,
    hours_per_day,
    needed_label_flow,
    softened,
)
from fleet.engineering.sizing.offer import Alternative, Item, Offer, Remark, SizingRequest
from fleet.engineering.sizing.pumps import fitting_pump
from fleet.engineering.sizing.remarks import rejects_enough
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.train import TASTES, train_of
from fleet.engineering.sizing.words import cautions
from fleet.engineering.sizing.words import comparison as words
from fleet.engineering.sizing.words.quantities import in_words, money_in_words
from fleet.engineering.stages import FINISHING, STAGES
from fleet.engineering.units import FLOW

AIMS: Final = {
    "least_first_cost": gettext_noop("first cost"),
    "least_running_cost": gettext_noop("running cost"),
    "least_waste": gettext_noop("waste water"),
    "least_cost_over_years": gettext_noop("cost over the years"),
}
LEAST_ALTERNATIVES: Final = 3
# Less of a difference in TDS is within what labels carry.
_ABOUT_AS_PURE: Final = 1.2
# Some of each day is left for flushing, filters and a store that was drawn empty (common practice, no source).
_LONGEST_DAY_HOURS: Final = 20.0
# What a unit serves (common practice, no source).
_LONGEST_LIFE_YEARS: Final = 15.0
Rank = Callable[[Alternative], tuple[float, ...]]


def compare(request: SizingRequest, catalogue: Sequence[Item], policy: SizingPolicy | None = None) -> Offer:
    """Return configurations of the catalogue that serve a site, or what the catalogue lacks.

    Parameters
    ----------
    request : SizingRequest
        The site, its uses, and what there is room for.
    catalogue : sequence of Item
        All that can be bought.
    policy : SizingPolicy, optional
        The company's practice.

    Returns
    -------
    Offer
        Three alternatives or more, where the catalogue has so many: the best by first cost, by running cost and by
        waste, and the next best where one is best in two ways, which is then said.

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
    practice = policy or SizingPolicy()
    missing = list(_lacking(request, catalogue))
    if missing:
        return Offer((), tuple(missing))
    if is_well_unsafe(request) and request.survey.bacteria_test == "found":
        return Offer((), (Remark("well_has_bacteria", *cautions.well_has_bacteria()),))
    membranes = [item for item in catalogue if item.kind == "membrane"]
    choices = _pure_enough(request, flow_choices(request, membranes, practice), practice)
    choices = _within_catalogue(request, choices, catalogue, practice)
    if not choices:
        return Offer((), (_why_none(request, membranes, practice),))
    alternatives: list[Alternative] = []
    refused: list[Remark] = []
    for choice in choices:
        _try(request, choice, catalogue, practice, alternatives, refused)
    if not alternatives:
        return Offer((), tuple({remark.code: remark for remark in reversed(refused)}.values()))
    chosen = _side_by_side(alternatives, practice.years_compared)
    return Offer(chosen, (), tuple(_together(request, chosen, len(alternatives), practice.years_compared)))


def _lacking(request: SizingRequest, catalogue: Sequence[Item]) -> Iterable[Remark]:
    needed = [stage for stage in STAGES if stage not in FINISHING]
    if not request.resin_demand_l_per_week:
        needed.remove("resin")
    for stage in needed:
        if not any(item.kind == stage for item in catalogue):
            yield Remark(f"no_{stage}", *words.no_cartridge(stage))


def _within_catalogue(
    request: SizingRequest, choices: Sequence[FlowChoice], catalogue: Sequence[Item], policy: SizingPolicy
) -> list[FlowChoice]:
    """Keep to ways the catalogue has everything large enough for; ways without only where there is no other."""

    def lacks(choice: FlowChoice) -> int:
        feed = choice.usual_flow_l_per_day * (1.0 + choice.waste_ratio)
        return sum(
            (
                choice.is_pumped and fitting_pump(catalogue, feed, choice.inlet_pressure_kpa) is None,
                choice.is_softened and softener_of(request, choice, catalogue, policy) is None,
                choice.is_degassed
                and by_capacity("degassing", catalogue, request.resin_demand_l_per_week / 7.0) is None,
            )
        )

    lacking = [lacks(choice) for choice in choices]
    fewest = min(lacking, default=0)
    return [choice for choice, number in zip(choices, lacking, strict=True) if number == fewest]


def _pure_enough(request: SizingRequest, choices: Sequence[FlowChoice], policy: SizingPolicy) -> Sequence[FlowChoice]:
    """Keep to ways with the rejection and the permeate that the limits ask for; those that come nearest where none is.

    The permeate is held to the uses without resin.
    """
    uses = [entry.use for entry in request.uses if not request.needs_resin(entry)]
    most = min((policy.limits_of(use).product_tds_mg_per_l for use in uses), default=math.inf)
    rejecting = [choice for choice in choices if rejects_enough(request, choice, policy)] or choices
    return [choice for choice in rejecting if choice.permeate_tds_mg_per_l <= most] or rejecting


def _why_none(request: SizingRequest, membranes: Sequence[Item], policy: SizingPolicy) -> Remark:
    survey = request.survey
    if not allowed_waste_ratios(replace(softened(survey)), policy):
        return Remark("silica_too_high", *words.silica_too_high())
    most = request.membranes or policy.most_membranes
    needed = needed_label_flow(request, membranes, policy)
    wanted = [words.label_wanted(in_words(needed[0], FLOW, request.unit_system), needed[1].code)] if needed else []
    longer = flow_choices(replace(request, run_hours_per_day=_LONGEST_DAY_HOURS), membranes, policy)
    if longer and hours_per_day(request, policy) < _LONGEST_DAY_HOURS:
        wanted.append(words.longer_day(math.ceil(min(choice.winter_run_hours_per_day for choice in longer))))
    return Remark("membrane_too_small", *words.membrane_too_small(most, request.has_power, " ".join(wanted)))


def _try(
    request: SizingRequest,
    choice: FlowChoice,
    catalogue: Sequence[Item],
    policy: SizingPolicy,
    alternatives: list[Alternative],
    refused: list[Remark],
) -> None:
    tried_codes = set()
    for taste in TASTES:
        train = train_of(request, choice, catalogue, policy, taste)
        if isinstance(train, Remark):
            refused.append(train)
            return
        codes = tuple(part.item.code for part in train[0])
        if codes not in tried_codes:
            tried_codes.add(codes)
            alternatives.append(alternative_of(request, choice, catalogue, *train, policy))


def _ranks(alternatives: Sequence[Alternative], years: float) -> dict[str, Rank]:
    """How each aim orders the alternatives; to the cent and the tenth of a litre, below which all is rounding."""
    # What one way lacks an item for is left out for all: it must not look cheaper by what it lacks.
    lacking = {entry.purpose for alternative in alternatives for entry in alternative.fittings if entry.item is None}

    def first(alternative: Alternative) -> float:
        parts = sum(part.price for part in alternative.parts)
        return round(parts + sum(entry.price for entry in alternative.fittings if entry.purpose not in lacking), 2)

    def running(alternative: Alternative) -> float:
        return round(alternative.running_cost_per_year, 2)

    def waste(alternative: Alternative) -> float:
        return round(alternative.waste_l_per_week, 1)

    return {
        "least_first_cost": lambda alternative: (first(alternative), running(alternative), waste(alternative)),
        "least_running_cost": lambda alternative: (running(alternative), first(alternative), waste(alternative)),
        "least_waste": lambda alternative: (waste(alternative), running(alternative), first(alternative)),
        "least_cost_over_years": lambda alternative: (
            first(alternative) + years * running(alternative),
            first(alternative),
            waste(alternative),
        ),
    }


def _side_by_side(alternatives: Sequence[Alternative], years: float) -> tuple[Alternative, ...]:
    """Return the best by each aim, and the next best of other flows until there are enough."""
    labels: dict[int, list[str]] = {}
    orders = {
        aim: sorted(range(len(alternatives)), key=lambda index, rank=rank: rank(alternatives[index]))  # type: ignore[misc]
        for aim, rank in _ranks(alternatives, years).items()
    }
    for aim, order in orders.items():
        labels.setdefault(order[0], []).append(aim)
    others = orders["least_cost_over_years"]
    worth = [index for index in others if not any(_is_better(other, alternatives[index]) for other in alternatives)]
    for index in (*worth, *others):
        if len(labels) < LEAST_ALTERNATIVES and not any(
            _same_flows(alternatives[index], alternatives[other]) for other in labels
        ):
            labels[index] = []
    for index in others:
        if len(labels) < LEAST_ALTERNATIVES:
            labels.setdefault(index, [])
    return tuple(replace(alternatives[index], best_for=tuple(aims)) for index, aims in labels.items())


def _is_better(one: Alternative, other: Alternative) -> bool:
    """Whether one costs and wastes no more than another, and somewhere less, for water about as pure."""
    first, second = (
        (
            round(alternative.first_cost, 2),
            round(alternative.running_cost_per_year, 2),
            round(alternative.waste_l_per_week, 1),
        )
        for alternative in (one, other)
    )
    about_as_pure = one.permeate_tds_mg_per_l <= _ABOUT_AS_PURE * other.permeate_tds_mg_per_l
    return about_as_pure and first != second and all(map(operator.le, first, second))


def _same_flows(one: Alternative, other: Alternative) -> bool:
    return (
        one.membrane.item.code == other.membrane.item.code
        and one.waste_ratio == other.waste_ratio
        and all(one.has(purpose) == other.has(purpose) for purpose in ("booster_pump", "softener", "degassing"))
    )


def _together(request: SizingRequest, chosen: Sequence[Alternative], ways: int, years: float) -> Iterable[Remark]:
    """What is to be said of the alternatives beside each other: where aims coincide, and where there are few."""
    for number, alternative in enumerate(chosen, start=1):
        if len(alternative.best_for) > 1:
            yield Remark("aims_coincide", *words.aims_coincide(number, alternative.best_for, years))
        if not alternative.best_for:
            yield _for_comparison(request, number, alternative, chosen)
    yield from _paid_back(request, chosen)
    if ways < LEAST_ALTERNATIVES:
        yield Remark("few_alternatives", *words.few_alternatives(ways))
    if len(chosen) > 1 and len({round(alternative.waste_l_per_week, 1) for alternative in chosen}) == 1:
        yield Remark("same_waste", *words.same_waste())


def _for_comparison(
    request: SizingRequest, number: int, alternative: Alternative, chosen: Sequence[Alternative]
) -> Remark:
    """Why an alternative is shown that is best by none of the aims."""
    purest = min(other.permeate_tds_mg_per_l for other in chosen if other.best_for)
    if alternative.permeate_tds_mg_per_l * _ABOUT_AS_PURE <= purest:
        own_tds, purest_tds = (
            in_words(tds, "tds", request.unit_system) for tds in (alternative.permeate_tds_mg_per_l, purest)
        )
        return Remark("for_comparison", *words.purer(number, own_tds, purest_tds))
    return Remark("for_comparison", *words.next_best(number))


def _paid_back(request: SizingRequest, chosen: Sequence[Alternative]) -> Iterable[Remark]:
    """Whether what costs more to buy than the cheapest is worth it."""
    cheapest_way = min(chosen, key=lambda alternative: alternative.first_cost)
    number = chosen.index(cheapest_way) + 1
    for other, alternative in enumerate(chosen, start=1):
        more = alternative.first_cost - cheapest_way.first_cost
        saved = cheapest_way.running_cost_per_year - alternative.running_cost_per_year
        if more < 1.0 or saved < 1.0:
            continue
        costs = money_in_words(more, request.currency), money_in_words(saved, request.currency)
        yield Remark("paid_back", *words.paid_back(other, number, costs, more / saved, _LONGEST_LIFE_YEARS))
