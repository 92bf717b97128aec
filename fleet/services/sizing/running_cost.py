"""What sizing says that a unit costs to run, as it is built: what an offer of its own cartridges would have said.

Set beside what it did cost, it tells whether what was offered was kept.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Any, Final

from accounts.models import Company
from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.engineering.errors import EngineeringError
from fleet.engineering.sizing import Item, SiteSurvey, SizingRequest, WaterUse, compare
from fleet.engineering.sizing.offer import Alternative
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.models import CatalogueItem, Placement, Unit
from fleet.services.limits import limits_of_units
from fleet.services.sizing.gauges import read_in_a_year
from fleet.services.sizing.labour import Labour, labour_of
from fleet.services.sizing.sizing import item_of, water_of_sites
from fleet.services.words import no_demand, not_read_for_sizing

_READ: Final = ("line_pressure_kpa", "inlet_pressure_kpa", "temperature_degc", "feed_tds_mg_per_l")
_WEEKS_PER_YEAR: Final = DAYS_PER_YEAR / 7.0


@dataclass(frozen=True, slots=True)
class SizedCost:
    """In the company's currency.

    Attributes
    ----------
    per_year
        Cartridges and the visits for them, driving and the price of water aside; None where it cannot be worked out.
    parts_per_year
        Cartridges alone.
    litres_per_year
        Of product water, by the demand that the client states.
    reason
        Why it cannot be worked out; empty where it can.
    """

    per_year: float | None = None
    parts_per_year: float | None = None
    litres_per_year: float | None = None
    reason: str = ""


def sized_costs(*, company: Company, units: Sequence[Unit], now: datetime) -> dict[int, SizedCost]:
    """Unit id to what sizing says of it: of the cartridges that stand in it, the water of its site and its own gauges.

    Parameters
    ----------
    company, units
        Whose; the units with their site at hand.
    now
        Readings of the year before it count.
    """
    ids = [unit.pk for unit in units]
    read = read_in_a_year(company=company, units=ids, names=_READ, now=now)
    water = water_of_sites([unit.site for unit in units])
    installed: dict[int, dict[str, CatalogueItem]] = defaultdict(dict)
    membranes: dict[int, int] = defaultdict(int)
    placements = Placement.objects.of_company(company).filter(position__unit__in=ids, removed_at__isnull=True)
    for placement in placements.select_related("item", "position").order_by("pk"):
        unit_id = placement.position.unit_id
        installed[unit_id][placement.item.code] = placement.item
        membranes[unit_id] += placement.item.kind == CatalogueItem.Kind.MEMBRANE
    fittings = CatalogueItem.objects.of_company(company).filter(is_active=True).exclude(purpose="").order_by("code")
    others = [item_of(row) for row in fittings]
    labour, limits = labour_of(company), limits_of_units(company, ids)
    return {
        unit.pk: _cost_of(
            unit,
            [*(item_of(row) for _, row in sorted(installed[unit.pk].items())), *others],
            membranes[unit.pk],
            read.get(unit.pk, {}),
            water.get(unit.site_id, {}),
            labour,
            SizingPolicy.of_limits({unit.use: limits[unit.pk]}),
        )
        for unit in units
    }


def _cost_of(
    unit: Unit,
    catalogue: Sequence[Item],
    membranes: int,
    read: Mapping[str, Sequence[float]],
    water: Mapping[str, Any],
    labour: Labour,
    practice: SizingPolicy,
) -> SizedCost:
    pressures = read.get("line_pressure_kpa") or read.get("inlet_pressure_kpa")
    temperatures = read.get("temperature_degc") or [t for t in [water.get("usual_temperature_degc")] if t is not None]
    tds = read.get("feed_tds_mg_per_l") or [t for t in [water.get("feed_tds_mg_per_l")] if t is not None]
    if not unit.weekly_demand_l > 0.0:
        return SizedCost(reason=no_demand())
    if not pressures or not temperatures or not tds:
        return SizedCost(reason=not_read_for_sizing(pressure=not pressures, temperature=not temperatures, tds=not tds))
    measured = {
        "lowest_line_pressure_kpa": min(pressures),
        "lowest_temperature_degc": min(temperatures),
        "usual_temperature_degc": median(temperatures),
        "feed_tds_mg_per_l": median(tds),
    }
    limit = unit.product_tds_target_mg_per_l if unit.use == Unit.Use.OTHER else None
    try:
        survey = SiteSurvey(use=unit.use, demand_l_per_week=unit.weekly_demand_l, **{**water, **measured})
        request = SizingRequest(
            (WaterUse(unit.use, unit.weekly_demand_l, limit),),
            survey,
            water_price_per_m3=0.0,
            membranes=membranes or None,
            **labour._asdict(),
        )
        offer = compare(request, catalogue, practice)
    except EngineeringError as error:
        return SizedCost(reason=error.sentence)
    if not offer.alternatives:
        return SizedCost(reason=" ".join(remark.for_installer for remark in offer.missing))
    best = min(offer.alternatives, key=lambda one: (_consumables(one), one.running_cost_per_year))
    return SizedCost(
        per_year=best.running_cost_per_year,
        parts_per_year=_consumables(best),
        litres_per_year=unit.weekly_demand_l * _WEEKS_PER_YEAR,
    )


def _consumables(alternative: Alternative) -> float:
    return sum(part.cost_per_year for part in alternative.parts)
