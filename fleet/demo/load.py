"""Puts the invented company's people, sites, units and card index into the records; its readings come in as logs do."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Final

from django.db import transaction

from accounts.models import Client, Company, Membership
from accounts.services import create_company
from accounts.services.invented import add_invented_person, choose_for_invented
from fleet.demo.records import Life
from fleet.demo.scenario import Scenario, SiteSpec, UnitSpec
from fleet.models import (
    AccessWindow,
    CatalogueItem,
    Instrument,
    PartsRule,
    Placement,
    Position,
    Site,
    Supplier,
    Unit,
)

_WEEKDAYS: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_PRODUCT_TARGET: Final = {"reef": 1.0, "planted": 30.0, "drinking": 50.0, "coffee": 110.0, "laboratory": 1.0}
"""Highest product TDS on the 0.5 scale the invented clients asked for."""

_NAMES: Final = {
    "reef": "reef aquarium",
    "planted": "planted aquarium",
    "drinking": "drinking tap",
    "coffee": "coffee machine",
    "laboratory": "laboratory bench",
}
_NUMBERS: Final = (
    "maximum_service_time_days",
    "micron_rating_um",
    "rated_burning_hours",
    "rated_volume_l",
    "carbon_volume_l",
    "chlorine_capacity_g",
    "rejection_fraction",
    "rated_flow_l_per_day",
    "rated_pressure_kpa",
    "rated_temperature_degc",
    "rated_tds_mg_per_l",
    "rated_recovery_fraction",
    "resin_volume_l",
    "resin_capacity_eq_per_l",
)
RESTRICTOR_RATED_AT_KPA: Final = 414.0


@dataclass(frozen=True)
class Loaded:
    """The company and its people by email."""

    company: Company
    members: Mapping[str, Membership]


@transaction.atomic
def load_company(
    *, scenario: Scenario, lives: Mapping[str, Life], passwords: Mapping[str, str], now: datetime
) -> Loaded:
    """Found the company with its people, clients, sites, catalogue, units and the history of their cartridges.

    Parameters
    ----------
    lives
        What became of the units, for commissioning days and the stays of cartridges.
    passwords
        By email, one for each person of the scenario.
    """
    spec = scenario.company
    first = next(person for person in spec["people"] if person["role"] == Membership.Role.OWNER)
    owner = create_company(
        name=spec["name"],
        email=first["email"],
        full_name=f"{first['first_name']} {first['last_name']}",
        currency=spec["currency"],
        time_zone=spec["time_zone"],
        unit_system=spec["unit_system"],
        now=now,
    )
    choose_for_invented(user=owner.user, password=passwords[first["email"]])
    company = owner.company
    for name in ("phone", "email", "address", "tax_number"):
        setattr(company, name, spec[name])
    company.save()
    clients = _clients(company, scenario)
    members = {first["email"]: owner}
    for person in spec["people"]:
        if person is first:
            continue
        site = scenario.sites.get(person.get("client_of_site", ""))
        client = clients[site.client] if site else None
        members[person["email"]] = add_invented_person(
            by=owner,
            email=person["email"],
            role=person["role"],
            client=client,
            name=client.name if client else f"{person['first_name']} {person['last_name']}",
            password=passwords[person["email"]],
            now=now,
        )
    sites = _sites(company, scenario, clients)
    items = _catalogue(company, scenario)
    units = _units(company, scenario, lives, sites)
    _instruments(company, scenario, units)
    _placements(lives, units, items)
    return Loaded(company, members)


def _clients(company: Company, scenario: Scenario) -> dict[str, Client]:
    names = {site.client: site for site in scenario.sites.values()}
    rows = [
        Client(
            company=company,
            name=name,
            email=f"{site.code.lower()}@clients.ostrelle-water.example",
            phone=f"+999 555 {1000 + number}",
            notes="Invented client of the demo.",
        )
        for number, (name, site) in enumerate(names.items(), start=1)
    ]
    return {client.name: client for client in Client.objects.bulk_create(rows)}


def _sites(company: Company, scenario: Scenario, clients: Mapping[str, Client]) -> dict[str, Site]:
    rows = [
        Site(
            company=company,
            client=clients[spec.client],
            code=spec.code,
            name=spec.name,
            address=spec.address,
            latitude=spec.latitude,
            longitude=spec.longitude,
            access_notes=spec.access_notes,
            chloraminated=scenario.supplies[spec.supply].chloraminated,
            supply=scenario.supplies[spec.supply].name,
        )
        for spec in scenario.sites.values()
    ]
    sites = {site.code: site for site in Site.objects.bulk_create(rows)}
    windows = [window for spec in scenario.sites.values() for window in _windows(sites[spec.code], spec)]
    AccessWindow.objects.bulk_create(windows)
    return sites


def _windows(site: Site, spec: SiteSpec) -> list[AccessWindow]:
    """Read 'Mon-Fri 08:00-12:00;Sat 09:00-11:00'."""
    out: list[AccessWindow] = []
    for part in filter(None, spec.access.split(";")):
        days, hours = part.split()
        opens, closes = (time.fromisoformat(text) for text in hours.split("-"))
        for name in days.split(","):
            first, _, last = name.partition("-")
            span = range(_WEEKDAYS.index(first), _WEEKDAYS.index(last or first) + 1)
            out.extend(AccessWindow(site=site, weekday=day, opens=opens, closes=closes) for day in span)
    return out


def _catalogue(company: Company, scenario: Scenario) -> dict[str, CatalogueItem]:
    firms = Supplier.objects.bulk_create(
        Supplier(
            company=company,
            name=row["name"],
            lead_time_days=int(row["lead_time_days"]),
            closed_weekdays=[int(day) for day in row["closed_weekdays"].split()],
            minimum_order_value=row["minimum_order_value"],
        )
        for row in scenario.suppliers.values()
    )
    suppliers = dict(zip(scenario.suppliers, firms, strict=True))
    rows = []
    for row in scenario.items.values():
        numbers = {name: float(row[name]) for name in _NUMBERS if row[name]}
        rows.append(
            CatalogueItem(
                company=company,
                code=row["code"],
                name=row["name"],
                kind=row["kind"],
                purpose=row["purpose"],
                price=row["price"],
                pack_size=int(row["pack_size"]),
                lead_time_days=int(row["lead_time_days"]),
                supplier=suppliers[row["supplier"]],
                supplier_part_number=row["supplier_part_number"],
                cartridge_size=row["cartridge_size"],
                connection=row["connection"],
                flow_direction=row["flow_direction"],
                carbon_kind=row["carbon_kind"],
                membrane_material=row["membrane_material"],
                **numbers,
            )
        )
    items = {item.code: item for item in CatalogueItem.objects.bulk_create(rows)}
    PartsRule.objects.bulk_create(
        PartsRule(
            company=company,
            item=items[rule["item"]],
            work=rule["work"],
            stage=rule["stage"],
            per=rule["per"],
            quantity=int(rule["quantity"]),
        )
        for rule in scenario.parts_rules
    )
    return items


def _units(
    company: Company, scenario: Scenario, lives: Mapping[str, Life], sites: Mapping[str, Site]
) -> dict[str, Unit]:
    units = {
        unit.code: unit
        for unit in Unit.objects.bulk_create(
            _unit(company, sites[spec.site], spec, lives[spec.code]) for spec in scenario.units
        )
    }
    Position.objects.bulk_create(
        Position(unit=units[spec.code], order=place.order, stage=place.stage, role=place.role)
        for spec in scenario.units
        for place in spec.places
    )
    return units


def _unit(company: Company, site: Site, spec: UnitSpec, life: Life) -> Unit:
    pressurised = spec.tank == Unit.Tank.PRESSURISED
    return Unit(
        company=company,
        site=site,
        code=spec.code,
        name=_NAMES[spec.use],
        use=spec.use,
        kind=spec.kind,
        product_tds_target_mg_per_l=_PRODUCT_TARGET[spec.use],
        weekly_demand_l=spec.weekly_demand_l,
        commissioned_on=life.commissioned,
        tank=spec.tank,
        tank_volume_l=spec.tank_volume_l,
        tank_precharge_kpa=50.0 if pressurised else None,
        has_booster_pump=spec.has_booster_pump,
        has_float_valve=spec.tank == Unit.Tank.OPEN,
        has_automatic_shutoff_valve=True,
        has_check_valve=pressurised,
        has_pressure_gauge=True,
        restrictor=Unit.Restrictor.ORIFICE,
        restrictor_flow_l_per_day=round(life.restrictor_flow_l_per_day),
        restrictor_pressure_kpa=RESTRICTOR_RATED_AT_KPA,
        design_recovery_fraction=round(1 / (1 + life.waste_ratio), 3),
        totaliser=spec.totaliser,
        has_drinking_outlet=spec.use == Unit.Use.DRINKING,
        notes=spec.caution,
    )


def _instruments(company: Company, scenario: Scenario, units: Mapping[str, Unit]) -> None:
    Instrument.objects.bulk_create(
        Instrument(
            company=company,
            unit=units[spec.unit] if spec.unit else None,
            name=spec.name,
            measures=list(spec.measures),
            tds_factor=spec.tds_factor,
            compensates_temperature=spec.compensates_temperature,
            accuracy_fraction=spec.accuracy_fraction,
            resolution=spec.resolution,
        )
        for spec in scenario.instruments
    )


def _placements(lives: Mapping[str, Life], units: Mapping[str, Unit], items: Mapping[str, CatalogueItem]) -> None:
    """The card index of cartridges: stays first, then which continues which."""
    positions = {
        (position.unit_id, position.order): position
        for position in Position.objects.filter(unit__in=[unit.pk for unit in units.values()])
    }
    placements = [(life.unit.code, placement) for life in lives.values() for placement in life.placements]
    rows = Placement.objects.bulk_create(
        Placement(
            position=positions[units[code].pk, placement.order],
            item=items[placement.item],
            serial_or_lot=placement.lot,
            placed_at=placement.placed_at,
            removed_at=placement.removed_at,
            removal=placement.removal,
            first_installed_at=placement.first_installed_at,
        )
        for code, placement in placements
    )
    row_of = {id(placement): row for (_, placement), row in zip(placements, rows, strict=True)}
    moved = []
    for (_, placement), row in zip(placements, rows, strict=True):
        if placement.continues is not None:
            row.continues = row_of[id(placement.continues)]
            moved.append(row)
    Placement.objects.bulk_update(moved, ["continues"])
