"""What to offer for a site from the company's catalogue, and whether a new unit gives what was promised."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from accounts.errors import Conflict, Fault, InvalidInput
from accounts.models import Membership
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.mass_balance import waste_ratio
from fleet.engineering.sizing import (
    Check,
    Item,
    Offer,
    Promise,
    SiteSurvey,
    SizingRequest,
    WaterUse,
    commissioning_checks,
    compare,
)
from fleet.engineering.sizing.demand import reef_weekly_demand_l
from fleet.engineering.sizing.survey import SizingPolicy
from fleet.engineering.usual import FIRST_WEEKS_DAYS
from fleet.intake.names import public_name
from fleet.models import CatalogueItem, FeedWaterSample, Placement, Position, Reading, Site, Stage, Unit
from fleet.services.limits import limits_of, limits_of_uses
from fleet.services.sizing.labour import labour_of

_WATER: Final = {
    "ph": "ph",
    "alkalinity_mg_per_l_as_caco3": "alkalinity_mg_per_l_as_caco3",
    "hardness_mg_per_l_as_caco3": "hardness_mg_per_l_as_caco3",
    "silica_mg_per_l": "silica_mg_per_l",
    "total_chlorine_mg_per_l": "total_chlorine_mg_per_l",
    "iron_mg_per_l": "iron_mg_per_l",
    "manganese_mg_per_l": "manganese_mg_per_l",
    "tds_mg_per_l": "feed_tds_mg_per_l",
    "temperature_degc": "usual_temperature_degc",
}


@dataclass(frozen=True)
class AskedUse:
    """One use as it was asked for: its weekly demand, or for an aquarium the tank that gives it; another its limit."""

    use: str
    weekly_demand_l: float | None = None
    aquarium_volume_l: float | None = None
    weekly_change_fraction: float | None = None
    daily_evaporation_fraction: float = 0.01
    highest_tds_mg_per_l: float | None = None
    hardness_mg_per_l_as_caco3: float | None = None
    alkalinity_mg_per_l_as_caco3: float | None = None


def size_for(
    *,
    uses: Sequence[AskedUse],
    survey: dict[str, Any],
    limits: dict[str, Any],
    site: Site | None,
    unit_system: str,
    by: Membership,
) -> Offer:
    """Return what the acting member's company can offer; nothing is stored.

    Parameters
    ----------
    uses
        Each use once.
    survey
        Fields of `SiteSurvey` but for use and demand. With a site, its newest feed water fills in
        what is left out.
    limits
        Further fields of `SizingRequest`: room, power, price of water.
    site
        A stored site, for its feed water, its disinfectant and whether it has a well of its own.
    unit_system
        Of the sentences.

    Raises
    ------
    InvalidInput
        By field, when a value cannot be, or the feed TDS or a temperature is not known.
    """
    feed_water = {**_stored_water(site), **survey}
    faults = [
        Fault(f"/{public_name(name)}", f"Give the {quantity}, or a site whose feed water was analysed.")
        for name, quantity in (("feed_tds_mg_per_l", "feed TDS"), ("usual_temperature_degc", "usual temperature"))
        if feed_water.get(name) is None
    ]
    demands = [_demand(place, use, faults) for place, use in enumerate(uses)]
    for place, use in enumerate(uses):
        faults += filter(None, [_limit_fault(place, use)])
        faults += _target_faults(place, use)
    if faults:
        raise InvalidInput("sizing_needs_more", "Sizing needs more to go by.", faults=faults)
    limits = {
        **limits,
        "coldest_is_known": "lowest_temperature_degc" in feed_water,
        "unit_system": unit_system,
        "currency": by.company.currency,
        **labour_of(by.company)._asdict(),
    }
    feed_water.setdefault("lowest_temperature_degc", feed_water["usual_temperature_degc"])
    try:
        water_uses = tuple(
            WaterUse(
                use.use,
                demand,
                use.highest_tds_mg_per_l,
                use.hardness_mg_per_l_as_caco3,
                use.alkalinity_mg_per_l_as_caco3,
            )
            for use, demand in zip(uses, demands, strict=True)
        )
        total = sum(demand for demand in demands)
        request = SizingRequest(
            water_uses, SiteSurvey(use=uses[0].use, demand_l_per_week=total, **feed_water), **limits
        )
        practice = SizingPolicy.of_limits(
            limits_of_uses(by.company, {use.use: use.highest_tds_mg_per_l for use in uses})
        )
        return compare(request, _catalogue(by), practice)
    except EngineeringError as error:
        raise InvalidInput(
            "cannot_be_sized", error.sentence, pointer=f"/{_PLACES.get(error.field, public_name(error.field))}"
        ) from None


_PLACES: Final = {"demand_l_per_week": "uses", "use": "uses", "flush_l_per_start": "flush_per_start"}


def _limit_fault(place: int, use: AskedUse) -> Fault | None:
    if use.use == "other" and use.highest_tds_mg_per_l is None:
        return Fault(f"/uses/{place}/highest_tds", "Give the highest TDS that this use allows; it has no usual one.")
    if use.use != "other" and use.highest_tds_mg_per_l is not None:
        return Fault(
            f"/uses/{place}/highest_tds",
            "Only the use 'other' brings a limit of its own; leave it out, or state one for the use under "
            "/exhaustion-limits/.",
        )
    return None


def _target_faults(place: int, use: AskedUse) -> list[Fault]:
    targets = {"hardness": use.hardness_mg_per_l_as_caco3, "alkalinity": use.alkalinity_mg_per_l_as_caco3}
    return [
        Fault(f"/uses/{place}/target_{name}", "Only coffee is blended to a target, above 0; leave it out otherwise.")
        for name, value in targets.items()
        if value is not None and (use.use != "coffee" or value <= 0.0)
    ]


def _demand(place: int, use: AskedUse, faults: list[Fault]) -> float:
    if use.weekly_demand_l is not None and use.aquarium_volume_l is not None:
        faults.append(
            Fault(
                f"/uses/{place}/aquarium_volume",
                "The weekly demand is given; of an aquarium give either that, or its volume and weekly change.",
            )
        )
        return 0.0
    if use.weekly_demand_l is not None:
        if not use.weekly_demand_l > 0.0:
            faults.append(Fault(f"/uses/{place}/weekly_demand", "A demand lies above 0; leave the use out if none."))
        return use.weekly_demand_l
    if use.use in ("reef", "planted", "fish") and use.aquarium_volume_l and use.weekly_change_fraction is not None:
        litres = float(
            reef_weekly_demand_l(
                use.aquarium_volume_l,
                water_change_fraction_per_week=use.weekly_change_fraction,
                evaporation_fraction_per_day=use.daily_evaporation_fraction,
            )
        )
        if litres > 0.0:
            return litres
    faults.append(
        Fault(
            f"/uses/{place}/weekly_demand",
            "Give the weekly demand, or for an aquarium its volume and the share that is changed in a week.",
        )
    )
    return 0.0


def _stored_water(site: Site | None) -> dict[str, Any]:
    return {} if site is None else water_of_sites([site])[site.pk]


def water_of_sites(sites: Sequence[Site]) -> dict[int, dict[str, Any]]:
    """Site id to what its newest analyses and its supply say, as fields of `SiteSurvey`; one query for all of them."""
    water: dict[int, dict[str, Any]] = {site.pk: {} for site in sites}
    rows = FeedWaterSample.objects.current().filter(site__in=list(water)).order_by("taken_at", "pk")
    for values in rows.values("site_id", *_WATER):
        own = water[values["site_id"]]
        own.update({_WATER[name]: value for name, value in values.items() if name in _WATER and value is not None})
    for site in sites:
        own = water[site.pk]
        if site.own_well is not None:
            own["is_own_well"] = site.own_well
        if site.chloraminated:
            own["disinfectant"] = "chloramine"
        elif site.chloraminated is False and not site.own_well:
            # A supplier without chloramine uses chlorine; a well may have neither.
            own["disinfectant"] = "chlorine"
    return water


def _catalogue(by: Membership) -> list[Item]:
    rows = CatalogueItem.objects.visible_to(by).filter(is_active=True).order_by("code")
    return [item_of(row) for row in rows]


def item_of(row: CatalogueItem) -> Item:
    """Return an item of the catalogue in the words of sizing."""
    return Item(
        code=row.code,
        name=row.name,
        kind=row.kind,
        price=float(row.price),
        maximum_service_time_days=float(row.maximum_service_time_days) if row.maximum_service_time_days else None,
        rated_volume_l=row.rated_volume_l,
        carbon_kind=row.carbon_kind,
        carbon_volume_l=row.carbon_volume_l,
        chlorine_capacity_g=row.chlorine_capacity_g,
        rating=rating_of(row) if row.kind == CatalogueItem.Kind.MEMBRANE else None,
        resin_volume_l=row.resin_volume_l,
        resin_capacity_eq_per_l=row.resin_capacity_eq_per_l,
        purpose=row.purpose,
        rated_flow_l_per_day=row.rated_flow_l_per_day,
        rated_pressure_kpa=row.rated_pressure_kpa,
        rated_burning_hours=row.rated_burning_hours,
    )


def rating_of(item: CatalogueItem) -> MembraneRating | None:
    """Return the label of a membrane; None where it states no usable test condition."""
    if (
        not item.rated_flow_l_per_day
        or not item.rated_pressure_kpa
        or not item.rated_temperature_degc
        or not item.rated_tds_mg_per_l
        or item.rated_recovery_fraction is None
        or not item.rejection_fraction
    ):
        return None
    return MembraneRating(
        flow_l_per_day=item.rated_flow_l_per_day,
        pressure_kpa=item.rated_pressure_kpa,
        temperature_degc=item.rated_temperature_degc,
        tds_mg_per_l=item.rated_tds_mg_per_l,
        recovery_fraction=item.rated_recovery_fraction,
        rejection_fraction=item.rejection_fraction,
        u_kelvin=item.water_u_kelvin,
    )


@dataclass(frozen=True)
class Commissioning:
    """The first readings of a unit against what was promised; `readings` are the ids they come from."""

    unit_id: int
    verdict: str
    readings: tuple[int, ...]
    checks: tuple[Check, ...]


def check_commissioning(
    *, unit: Unit, promised: dict[str, Any], unit_system: str, by: Membership, now: datetime
) -> Commissioning:
    """Compare the first readings of a unit, after running-in, with what sizing promised.

    Parameters
    ----------
    promised
        `waste_ratio`, `temperature_degc`, `inlet_pressure_kpa`, `product_tds_mg_per_l`, `membranes`; what is left out
        follows from the unit: its design recovery, its limit, one membrane. A promised product TDS looser than the
        limits of the unit gives way to them. Flow and permeate TDS follow from its membrane's label.
    unit_system
        Of the sentences.

    Raises
    ------
    Conflict
        When no membrane with a label stands in it, or it was not read in its first days.
    """
    placement = (
        Placement.objects.visible_to(by)
        .filter(position__unit=unit, position__stage=Stage.MEMBRANE, placed_at__lte=now)
        .select_related("item")
        .order_by("placed_at", "pk")
        .first()
    )
    rating = rating_of(placement.item) if placement is not None else None
    if placement is None or rating is None:
        raise Conflict("no_membrane", "No membrane with a rating and its test conditions is installed in this unit.")
    rows = list(
        Reading.objects.current()
        .filter(
            unit=unit,
            taken_at__gte=placement.placed_at,
            taken_at__lte=min(now, placement.placed_at + timedelta(days=FIRST_WEEKS_DAYS)),
        )
        .exclude(state=Reading.State.STATIC)
        .order_by("taken_at", "pk")[:20]
    )
    if not rows:
        raise Conflict(
            "not_read_yet", f"There is no reading of the first {FIRST_WEEKS_DAYS:.0f} days with its first membrane."
        )
    # The fullest reading gives the condition; what it lacks comes from none other, since conditions must not be mixed.
    best = max(rows, key=lambda row: sum(getattr(row, name) is not None for name in Reading.QUANTITIES))
    reading = {name: float(value) for name in Reading.QUANTITIES if (value := getattr(best, name)) is not None}
    if not Position.objects.filter(unit=unit, stage=Stage.RESIN).exists() and "permeate_tds_mg_per_l" in reading:
        # Without resin the permeate is the product.
        reading.setdefault("product_tds_mg_per_l", reading["permeate_tds_mg_per_l"])
    limits = limits_of(unit)
    promise = Promise(
        rating=rating,
        waste_ratio=promised.get("waste_ratio", float(waste_ratio(unit.design_recovery_fraction))),
        inlet_pressure_kpa=promised.get("inlet_pressure_kpa"),
        product_tds_mg_per_l=promised.get("product_tds_mg_per_l", limits.product_tds_mg_per_l),
        membranes=promised.get("membranes", 1),
        temperature_degc=promised.get("temperature_degc"),
        restrictor="capillary" if unit.restrictor == Unit.Restrictor.CAPILLARY else "orifice",
    )
    checks = commissioning_checks(promise, reading, unit_system, limits=limits)
    verdicts = {check.verdict for check in checks}
    verdict = "not_kept" if "not_kept" in verdicts else "kept" if "kept" in verdicts else "not_read"
    return Commissioning(unit.pk, verdict, (best.pk,), checks)
