"""One configuration with all its numbers, and the whole of it in a sentence."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Self

from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.engineering.formulas.mass_balance import recovery_from_waste_ratio
from fleet.engineering.formulas.restrictor import restrictor_size_ml_per_min
from fleet.engineering.sizing.blending import passed_by_l_per_week
from fleet.engineering.sizing.cautions import of_own_well
from fleet.engineering.sizing.demand import feed_l_per_week, wastewater_l_per_week
from fleet.engineering.sizing.fittings import fittings_for
from fleet.engineering.sizing.flow_choice import FlowChoice
from fleet.engineering.sizing.offer import Alternative, Fitting, Item, Part, Remark, SizingRequest
from fleet.engineering.sizing.remarks import outlets_of, remarks_on
from fleet.engineering.sizing.storage import stores_for
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.sizing.train import flush_l_per_week
from fleet.engineering.sizing.words import comparison as words
from fleet.engineering.sizing.words.quantities import in_words, money_in_words, purpose_in_words, span_in_words
from fleet.engineering.units import FLOW, PRESSURE, VOLUME

_WEEKS_PER_YEAR: Final = DAYS_PER_YEAR / 7.0


def alternative_of(
    request: SizingRequest,
    choice: FlowChoice,
    catalogue: Sequence[Item],
    parts: tuple[Part, ...],
    remarks: tuple[Remark, ...],
    policy: SizingPolicy,
) -> Alternative:
    """Return one configuration with its numbers.

    Parameters
    ----------
    request : SizingRequest
        Site and uses.
    choice : FlowChoice
        Membranes, pressure and waste.
    catalogue : sequence of Item
        For the fittings.
    parts : tuple of Part
        The train.
    remarks : tuple of Remark
        What there was no room for.
    policy : SizingPolicy
        The company's practice.

    Returns
    -------
    Alternative
        `best_for` is empty; that is for who compares.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Life, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0))
    >>> item = Item("M", "", "membrane", 38.0)
    >>> flows = FlowChoice(item, 365.0, 4.0, 190.0, 130.0, 1.3, 1.8, 8.0)
    >>> train = (Part("membrane", "single", item, Life(1096.0, 700.0, 1800.0, "maximum_service_time"), 12.7, "", ""),)
    >>> alternative = alternative_of(request, flows, [], train, (), SizingPolicy())
    >>> alternative.waste_l_per_week, alternative.flush_l_per_week, alternative.feed_l_per_week
    (301.0, 21.0, 371.0)
    """
    demand = request.demand_l_per_week
    recovery = float(recovery_from_waste_ratio(choice.waste_ratio))
    flush = flush_l_per_week(request, choice, policy)
    past = passed_by_l_per_week(request, choice, policy)
    feed = float(feed_l_per_week(demand - past, recovery)) + past + flush
    stores = stores_for(request, choice, catalogue, policy)
    fittings = fittings_for(request, choice, parts, catalogue, stores, policy)
    cost = _RunningCost.of(request, parts, feed)
    layout = _layout_of(request)
    waste = float(wastewater_l_per_week(demand - past, recovery)) + flush
    return Alternative(
        best_for=(),
        layout=layout,
        parts=parts,
        fittings=fittings,
        outlets=outlets_of(request, choice, policy),
        inlet_pressure_kpa=choice.inlet_pressure_kpa,
        usual_permeate_flow_l_per_day=choice.usual_flow_l_per_day,
        winter_permeate_flow_l_per_day=choice.winter_flow_l_per_day,
        usual_run_hours_per_day=choice.usual_run_hours_per_day,
        winter_run_hours_per_day=choice.winter_run_hours_per_day,
        waste_ratio=choice.waste_ratio,
        recovery_fraction=recovery,
        restrictor_ml_per_min=float(restrictor_size_ml_per_min(choice.usual_flow_l_per_day, choice.waste_ratio)),
        waste_l_per_week=waste,
        flush_l_per_week=flush,
        feed_l_per_week=feed,
        permeate_tds_mg_per_l=choice.permeate_tds_mg_per_l,
        concentrate_langelier_index=choice.langelier,
        tank_usable_volume_l=sum(store.usable_l for store in stores),
        reserve_hours=min(store.reserve_hours for store in stores),
        first_cost=sum(part.price for part in parts) + sum(entry.price for entry in fittings),
        consumables_per_year=cost.consumables,
        consumables_per_1000_l=cost.consumables / (demand * _WEEKS_PER_YEAR) * 1000.0,
        water_per_year=cost.water,
        labour_per_year=cost.labour,
        running_cost_per_year=cost.total,
        reasons=_ordered(remarks, remarks_on(request, choice, parts, layout, stores, policy), request),
        missing=tuple(_missing(entry) for entry in fittings if entry.item is None),
        for_installer=_for_installer(request, choice, parts, fittings),
        for_client=_for_client(request, choice, parts, waste, cost.consumables),
    )


@dataclass(frozen=True, slots=True)
class _RunningCost:
    """What a configuration costs in a year, in money."""

    consumables: float
    water: float
    labour: float

    @classmethod
    def of(cls, request: SizingRequest, parts: Sequence[Part], feed_l_per_week: float) -> Self:
        return cls(
            consumables=sum(part.cost_per_year for part in parts),
            water=feed_l_per_week * _WEEKS_PER_YEAR / 1000.0 * request.water_price,
            labour=labour_per_year(request, parts),
        )

    @property
    def total(self) -> float:
        return self.consumables + self.water + self.labour


def _ordered(of_parts: Sequence[Remark], others: Sequence[Remark], request: SizingRequest) -> tuple[Remark, ...]:
    """What may make somebody ill is said before what a part lacks."""
    first = tuple(of_own_well(request))
    return (*first, *of_parts, *(remark for remark in others if remark not in first))


def _layout_of(request: SizingRequest) -> str:
    """Whether no water passes resin, all of it does, or some of it behind a tee."""
    if request.resin_demand_l_per_week == 0.0:
        return "ro"
    return "ro_di" if request.resin_demand_l_per_week == request.demand_l_per_week else "tee"


def labour_per_year(request: SizingRequest, parts: Sequence[Part]) -> float:
    """Return what the visits for replacements cost in a year, driving aside; 0 where the company prices none.

    Examples
    --------
    >>> from fleet.engineering.sizing.offer import Life, WaterUse
    >>> from fleet.engineering.sizing.survey import SiteSurvey
    >>> request = SizingRequest((WaterUse("reef", 70.0),), SiteSurvey("reef", 70.0, 420.0, 8.0, 14.0, 250.0),
    ...     visit_cost=20.0, replacement_cost=7.0)
    >>> lives = [Life(days, days, days, "capacity") for days in (365.25, 121.75)]
    >>> parts = [Part("carbon", "single", Item("C", "", "carbon", 9.0), life, 0.0, "", "") for life in lives]
    >>> labour_per_year(request, parts)
    88.0
    """
    # A lag is not bought anew: it moves up when its lead is replaced.
    rates = [(DAYS_PER_YEAR / part.life.days, part.count) for part in parts if part.role != "lag"]
    visits = max((rate for rate, _ in rates), default=0.0)
    return visits * request.visit_cost + sum(rate * count for rate, count in rates) * request.replacement_cost


def _missing(entry: Fitting) -> Remark:
    return Remark(f"no_{entry.purpose}", *words.no_fitting(entry.purpose, entry.size))


def _for_installer(
    request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], fittings: Sequence[Fitting]
) -> str:
    system = request.unit_system
    return words.summary_for_installer(
        [words.place(part.stage, part.role, part.item.code, part.count) for part in parts],
        [
            words.counted(entry.item.code if entry.item else purpose_in_words(entry.purpose), entry.count)
            for entry in fittings
        ],
        choice.waste_ratio,
        float(restrictor_size_ml_per_min(choice.usual_flow_l_per_day, choice.waste_ratio)),
        (
            in_words(choice.usual_flow_l_per_day, FLOW, system),
            in_words(choice.permeate_tds_mg_per_l, "tds", system),
            in_words(choice.inlet_pressure_kpa, PRESSURE, system),
        ),
    )


def _for_client(
    request: SizingRequest, choice: FlowChoice, parts: Sequence[Part], waste: float, consumables: float
) -> str:
    soonest = min(parts, key=lambda part: part.life.days)
    return words.summary_for_client(
        choice.usual_run_hours_per_day,
        choice.winter_run_hours_per_day,
        in_words(waste, VOLUME, request.unit_system),
        money_in_words(consumables, request.currency),
        soonest.stage,
        span_in_words(soonest.life.from_days, soonest.life.to_days),
    )
