"""How rows that a search found are called, and what tells them apart."""

from typing import Final
from zoneinfo import ZoneInfo

from accounts.dates import long_day
from accounts.day_alone import local_day
from accounts.language import gettext, gettext_noop
from accounts.models import Client
from fleet.models import CatalogueItem, Placement, Site, Unit
from scheduling.models import PurchaseOrder, Visit
from scheduling.services.people.words import arrival_window

_KINDS: Final = {
    "client": gettext_noop("Clients"),
    "site": gettext_noop("Sites"),
    "unit": gettext_noop("Units"),
    "cartridge": gettext_noop("Cartridges"),
    "item": gettext_noop("Catalogue items"),
    "visit": gettext_noop("Visits"),
    "order": gettext_noop("Orders"),
}


def kind(code: str) -> str:
    """What a kind of row is called."""
    return gettext(_KINDS[code])


def client(row: Client) -> str:
    """A client by name."""
    return row.name


def of_client(row: Client) -> str:
    """Where to write to."""
    return row.email


def site(row: Site) -> str:
    """A site by code and name."""
    return _code_and_name(row.code, row.name)


def of_site(row: Site) -> str:
    """Whose it is, and where."""
    return _listed(row.client.name, row.address)


def unit(row: Unit) -> str:
    """A unit by code and name."""
    return _code_and_name(row.code, row.name)


def of_unit(row: Unit) -> str:
    """Where it stands, and whose it is."""
    gone = gettext("retired on {day}").format(day=long_day(row.retired_on)) if row.retired_on is not None else ""
    return _listed(row.site.name, row.site.client.name, gone)


def cartridge(row: Placement) -> str:
    """A cartridge by its item and its serial number or lot."""
    return _listed(row.item.code, row.serial_or_lot)


def of_cartridge(row: Placement) -> str:
    """Where it stands or stood, and since when."""
    zone = ZoneInfo(row.position.unit.site.time_zone)
    placed = gettext("since {day}") if row.removed_at is None else gettext("from {day} to {last}")
    last = row.removed_at or row.placed_at
    words = placed.format(day=long_day(local_day(row.placed_at, zone)), last=long_day(local_day(last, zone)))
    return _listed(row.position.unit.code, row.position.unit.site.client.name, words)


def item(row: CatalogueItem) -> str:
    """An item by code and name."""
    return _code_and_name(row.code, row.name)


def of_item(row: CatalogueItem) -> str:
    """What it is."""
    return gettext(str(CatalogueItem.Kind(row.kind).label))


def visit(row: Visit) -> str:
    """A visit by its site."""
    return _code_and_name(row.site.code, row.site.name)


def of_visit(row: Visit) -> str:
    """How it stands, and when it is."""
    state = gettext(str(Visit.State(row.state).label))
    when = arrival_window(row.appointment_at, row.site.time_zone) if row.appointment_at is not None else ""
    return _listed(state, when, row.site.client.name)


def order(row: PurchaseOrder) -> str:
    """An order by its number."""
    return gettext("Order {number}").format(number=row.number)


def of_order(row: PurchaseOrder) -> str:
    """From whom, and how it stands."""
    return _listed(row.supplier.name, gettext(str(PurchaseOrder.State(row.state).label)), row.supplier_reference)


def _code_and_name(code: str, name: str) -> str:
    return gettext("{code} {name}").format(code=code, name=name).strip()


def _listed(*parts: str) -> str:
    return gettext(", ").join(part for part in parts if part)
