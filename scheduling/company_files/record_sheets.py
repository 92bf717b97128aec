"""Sheets whose rows are one record each: whom and what one knows, where they are, and what is in stock."""

import difflib
import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from accounts.api.clients import ClientSerializer
from accounts.models import Client, Company, Membership
from accounts.services import record
from fleet.api.catalogue import CatalogueItemSerializer, PartsRuleSerializer
from fleet.api.instruments import InstrumentSerializer
from fleet.api.sites import SiteSerializer
from fleet.api.suppliers import SupplierSerializer
from fleet.engineering.units import QUANTITY_KINDS
from fleet.engineering.usual_labels import LABEL_ATTRIBUTES
from fleet.intake.names import public_name, spoken
from fleet.models import CatalogueItem, Instrument, PartsRule, Site, Stage, Supplier
from fleet.services.catalogue import update_item
from fleet.services.instruments import create_instrument, update_instrument
from fleet.services.units import sites
from scheduling.api.installers import InstallerSerializer
from scheduling.api.parts import StockCountSerializer
from scheduling.company_files.access import exceptions_of, windows_of
from scheduling.company_files.columns import Column, columns_of
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.rows import Bringing, Records, Row, RowRefusedError, find_named, store_record
from scheduling.company_files.sheet import Sheet
from scheduling.models import Installer, StockLevel
from scheduling.planning.travel.trips import great_circle_m
from scheduling.services.people.installers import create_installer, update_installer
from scheduling.services.stock.lots import read_lots
from scheduling.services.stock.stock import count_stock

_NEAR: Final = 0.8
"""Names as alike as this are one name written twice, unless their figures differ."""


def _simple(model: Any, serializer: Any, name_field: str, word: str, update: Any = None) -> Records:
    """Rows that nothing but their own columns follows from, found again by their name."""

    def find(bringing: Bringing, values: Mapping[str, Any]) -> Any:
        name = values.get(name_field)
        return find_named(model.objects.of_company(bringing.company), str(name)) if name else None

    def create(bringing: Bringing, facts: Mapping[str, Any]) -> Any:
        row = model.objects.create(company=bringing.company, **facts)
        record(by=bringing.by, action=f"create {word}", subject=row, now=bringing.now)
        return row

    def change(bringing: Bringing, row: Any, facts: Mapping[str, Any]) -> Any:
        for field, value in facts.items():
            setattr(row, field, value)
        row.save()
        record(
            by=bringing.by, action=f"update {word}", subject=row, now=bringing.now, details={"fields": sorted(facts)}
        )
        return row

    return Records(serializer, serializer, find, create, update or change)


def _sheet(name: str, about: str, records: Records, columns: tuple[Column, ...], **details: Any) -> Sheet:
    return Sheet(name, about, columns, lambda row, bringing: store_record(records, row, bringing), **details)


SUPPLIER_RECORDS: Final = _simple(Supplier, SupplierSerializer, "name", "supplier")


def _store_supplier(row: Row, bringing: Bringing) -> Outcome:
    note_beside(row, "contact", "ask for")
    note_beside(row, "phone", "telephone")
    return store_record(SUPPLIER_RECORDS, row, bringing)


SUPPLIERS: Final = Sheet(
    "suppliers",
    "whom you buy from",
    (
        *columns_of(
            SupplierSerializer,
            also={
                "name": "supplier, vendor, firm",
                "lead_time_days": "lead time, delivery time, days to deliver",
                "email": "e-mail, mail, order e-mail, orders to",
                "customer_number": "our number, account number, customer no",
                "ship_to": "delivery address, ship to address",
                "lead_time_sd_days": "spread of lead time",
                "closed_weekdays": "closed, closed on",
                "order_weekdays": "order days",
                "minimum_order_value": "minimum order",
                "notes": "note, remarks",
            },
            examples={"name": "Example Filter Trade", "lead_time_days": "5", "closed_weekdays": "Sat, Sun"},
        ),
        Column("contact", "text", "whom to ask for; kept in the notes", also="contact person, contact name"),
        Column("phone", "text", "kept in the notes", also="telephone, tel, phone number, mobile, cell"),
    ),
    _store_supplier,
    named_by=("name",),
    is_named=True,
    also=("vendors", "supplier"),
    needs=(("name",),),
)

ITEM_RECORDS: Final = _simple(
    CatalogueItem,
    CatalogueItemSerializer,
    "code",
    "catalogue_item",
    update=lambda bringing, item, facts: update_item(item=item, by=bringing.by, now=bringing.now, **facts),
)


_FLOW_IN_NAME: Final = re.compile(r"(?<![\d.,])(\d{2,4})\s?(gpd|L/day|l/d|l/tag)\b", re.IGNORECASE)
"""Membranes are called by their rated flow: common practice, no source."""
_VOLUME_IN_NAME: Final = re.compile(r"(?<![\d.,])(\d{1,2}(?:[.,]\d{1,2})?)\s?(?:L|liter|litre)\b", re.IGNORECASE)
"""Cartridges of resin are called by how much they hold: common practice, no source."""


def _store_item(row: Row, bringing: Bringing) -> Outcome:
    values = row.values
    _add_supplier(row, bringing)
    is_new_membrane = values.get("kind") == Stage.MEMBRANE and ITEM_RECORDS.find(bringing, values) is None
    if is_new_membrane and "rated_flow" not in values:
        called = _FLOW_IN_NAME.search(f"{values.get('name', '')} {values.get('code', '')}")
        if called is not None:
            unit = "US gpd" if called[2].lower() == "gpd" else "L/day"
            values["rated_flow"] = {"value": float(called[1]), "unit": unit}
            row.say("rated_flow", f"not given, taken as {called[0]} from its name")
    if (
        values.get("kind") == Stage.RESIN
        and "resin_volume" not in values
        and ITEM_RECORDS.find(bringing, values) is None
    ):
        called = _VOLUME_IN_NAME.search(str(values.get("name", "")))
        if called is not None:
            values["resin_volume"] = {"value": float(called[1].replace(",", ".")), "unit": "L"}
            row.say("resin_volume", f"not given, taken as {called[0]} from its name")
    outcome = store_record(ITEM_RECORDS, row, bringing)
    item = ITEM_RECORDS.find(bringing, row.values)
    if item is not None and item.assumed:
        taken = ", ".join(_assumed_values(item))
        row.say("", f"Not given, and assumed as usual of its kind: {taken}; put right what its label says otherwise.")
    return outcome


def _add_supplier(row: Row, bringing: Bringing) -> None:
    """Add a supplier that only the catalogue names, unless it is most likely one that is known."""
    name = " ".join(str(row.values.get("supplier") or "").split())
    suppliers = Supplier.objects.of_company(bringing.company)
    if not name or find_named(suppliers, name) is not None:
        return
    close = difflib.get_close_matches(name, list(suppliers.values_list("name", flat=True)), n=1, cutoff=_NEAR)
    if close:
        del row.values["supplier"]
        row.say("supplier", f"There is no supplier '{name[:60]}'; did you mean '{close[0]}'? This value is not stored")
        return
    facts = {"name": name, **({"lead_time_days": days} if (days := row.values.get("lead_time_days")) else {})}
    serializer = SupplierSerializer(data=facts, context=bringing.context)
    if serializer.is_valid():
        SUPPLIER_RECORDS.create(bringing, serializer.validated_data)
        row.say("supplier", f"'{name}' is made; add its e-mail, and days on which it is closed, to a sheet 'suppliers'")


def _assumed_values(item: CatalogueItem) -> Iterator[str]:
    for column in LABEL_ATTRIBUTES[item.kind]:
        if public_name(column) in item.assumed:
            value = getattr(item, column)
            unit = QUANTITY_KINDS[column].canonical_unit if column in QUANTITY_KINDS else ""
            unit = "" if column.endswith("_fraction") else unit
            shown = value if isinstance(value, str) else f"{value:g}"
            yield f"{spoken(column.removesuffix('_fraction'))} {shown} {unit}".strip()


CATALOGUE: Final = Sheet(
    "catalogue",
    "what you fit and sell, with what its label says",
    columns_of(
        CatalogueItemSerializer,
        also={
            "code": "item, item code, item no, part, part no, part number, part code, sku, model",
            "name": "description, item name",
            "kind": "type, stage",
            "price": "unit price, cost, price each",
            "supplier": "vendor, bought from",
            "rated_flow": "flow",
            "price_breaks": "volume prices, quantity prices",
            "pack_size": "pack, pack of, pieces per pack",
            "supplier_part_number": "supplier code, order number, vendor part no, vendor part number, supplier part no",
            "lead_time_days": "lead time, lead days, delivery time",
            "maximum_service_time_days": "maximum service time, service life, maximum age",
            "rated_burning_hours": "burning hours, lamp hours, lamp life",
            "rejection_fraction": "rejection",
            "rated_recovery_fraction": "rated recovery",
            "micron_rating": "micron, microns, pore size",
            "cartridge_size": "size, format",
        },
        examples={"code": "SED-5", "name": "sediment cartridge 5 um", "kind": "sediment", "price": "4.20"},
    ),
    _store_item,
    named_by=("code", "name"),
    is_named=True,
    also=("items", "catalog", "parts", "cartridges"),
    needs=(("code",),),
)

CLIENT_RECORDS: Final = _simple(Client, ClientSerializer, "name", "client")


def _store_client(row: Row, bringing: Bringing) -> Outcome:
    note_beside(row, "contact", "ask for")
    return store_record(CLIENT_RECORDS, row, bringing)


def note_beside(row: Row, field: str, words: str) -> None:
    """Keep what has no field of its own in the notes, behind some words."""
    said = row.values.pop(field, None)
    if said:
        row.values["notes"] = "; ".join(part for part in (row.values.get("notes"), f"{words} {said}") if part)


CLIENTS: Final = Sheet(
    "clients",
    "your customers",
    (
        *columns_of(
            ClientSerializer,
            also={
                "name": "client, customer, client name, customer name, company",
                "email": "e-mail, mail, e-mail address",
                "phone": "telephone, tel, phone number, mobile, cell, cell phone",
                "notes": "note, remarks, comment",
            },
            examples={"name": "Example Cafe", "email": "cafe@client.example", "phone": "+49 40 5550100"},
        ),
        Column("contact", "text", "whom to ask for; kept in the notes", also="contact person, contact name"),
    ),
    _store_client,
    named_by=("name",),
    is_named=True,
    also=("customers", "client", "customer"),
    needs=(("name",),),
)


_FAR_KM: Final = 500.0
"""Nobody drives so far for one visit; common practice, no source."""


def names_of_clients(bringing: Bringing) -> list[str]:
    """Names of the clients that are known by now."""
    return list(Client.objects.of_company(bringing.company).order_by("pk").values_list("name", flat=True))


def nearest_client(name: str, known: Sequence[str]) -> str | None:
    """The client that was most likely meant by a name that none has; None where the name is one, or like none."""
    by_name = {" ".join(each.casefold().split()): each for each in known}
    written = " ".join(name.casefold().split())
    if not written or written in by_name:
        return None
    figures = re.findall(r"\d+", written)
    alike = [each for each in by_name if re.findall(r"\d+", each) == figures]
    shortened = [each for each in alike if _is_shortened(written, each) or _is_shortened(each, written)]
    close = shortened[:1] or difflib.get_close_matches(written, alike, n=1, cutoff=_NEAR)
    return by_name[close[0]] if close else None


def _is_shortened(name: str, full: str) -> bool:
    """Whether each word of a name begins a word of another: 'fam. trost' of 'familie trost'."""
    words = [part.strip(".,") for part in name.split()]
    return all(len(part) >= 3 and any(other.startswith(part) for other in full.split()) for part in words if part)


def _find_site(bringing: Bringing, values: Mapping[str, Any]) -> Any:
    rows = Site.objects.of_company(bringing.company)
    if values.get("code"):
        return find_named(rows, str(values["code"]))
    own = rows.filter(client__name__iexact=str(values.get("client", "")))
    if not values.get("name") and not values.get("address"):
        return _site_at(list(own.filter(is_known=True)), values)
    named = list(own.filter(name__iexact=str(values.get("name", ""))))
    return named[0] if len(named) == 1 else None


def _site_at(own: Sequence[Site], values: Mapping[str, Any]) -> Site | None:
    """The site of a client that a row without code, name and address is about: where it says, else the only one that
    is not located yet."""
    at = [values.get("latitude"), values.get("longitude")]
    there = [site for site in own if None not in at and [site.latitude, site.longitude] == at]
    if there:
        return there[0]
    return own[0] if len(own) == 1 and not own[0].is_located else None


PARTS_OF_ADDRESS: Final = ("postcode", "town", "region")
_REACHES: Final = {"latitude": 90.0, "longitude": 180.0}


def _leave_out_half_location(row: Row) -> None:
    """Where one coordinate is not known or cannot be, the site is not located; all else of it stays known."""
    for name, reach in _REACHES.items():
        value = row.values.get(name)
        if isinstance(value, float | int) and abs(value) > reach:
            del row.values[name]
            row.say(name, f"{value:g} is no {name}, which lies from -{reach:g} to {reach:g}; this value is not stored")
    given = [name for name in _REACHES if name in row.values]
    if len(given) == 1:
        del row.values[given[0]]
        row.say(given[0], "one coordinate without the other is no place; this value is not stored")


def _store_site(row: Row, bringing: Bringing) -> Outcome:
    _leave_out_half_location(row)
    for name, read in (("access_windows", windows_of), ("access_exceptions", exceptions_of)):
        if isinstance(row.values.get(name), str):
            try:
                row.values[name] = read(row.values[name])
            except ValueError as error:
                del row.values[name]
                row.say(name, f"{error}; this value is not stored")
    values = row.values
    _join_address(values, bringing)
    present = _find_site(bringing, values)
    if present is not None:
        values.setdefault("code", present.code)
    elif not values.get("name"):
        values["name"] = values.get("address") or values.get("client") or values.get("code") or ""
    if values.get("name"):
        values["name"] = str(values["name"])[:120]
    if not values.get("code"):
        present = _find_site(bringing, values)
        values["code"] = present.code if present is not None else _free_code(bringing)
    outcome = store_record(SITE_RECORDS, row, bringing)
    stored = _find_site(bringing, values)
    if stored is not None and not stored.is_located:
        row.say("", f"Site {stored.code} stands in no round until its latitude and longitude are given.")
    return outcome


def _join_address(values: dict[str, Any], bringing: Bringing) -> None:
    """One address of its parts, in the order in which letters of the company's country have them."""
    postcode, town, region = (str(values.pop(name, "") or "") for name in PARTS_OF_ADDRESS)
    if bringing.company.unit_system == Company.UnitSystem.US:
        place = ", ".join(part for part in (town, f"{region} {postcode}".strip()) if part)
    else:
        place = ", ".join(part for part in (f"{postcode} {town}".strip(), region) if part)
    street = str(values.get("address") or "")
    if place and place.casefold() not in street.casefold():
        values["address"] = ", ".join(part for part in (street, place) if part)


def is_known_site(row: Row, bringing: Bringing) -> bool:
    """Whether a row of another sheet says no more than whose a site is that is known, or names a client nobody has."""
    own = Site.objects.of_company(bringing.company).filter(client__name__iexact=str(row.values.get("client", "")))
    if row.values.keys() <= {"client"} and own.exists():
        return True
    if "code" not in row.values and own.exists() and is_room(str(row.values.get("address") or "")):
        del row.values["address"]
        if row.values.keys() <= {"client"}:
            return True
    clients = Client.objects.of_company(bringing.company)
    return "client" in row.values and not clients.filter(name__iexact=row.values["client"]).exists()


def is_room(location: str) -> bool:
    """Whether what a sheet of units calls a location is a place inside, as 'sump room': an address has a number."""
    return bool(location) and not any(sign.isdigit() for sign in location)


def is_of_another_client(row: Row, bringing: Bringing) -> bool:
    """Whether a row names a site by a code that another client's has: a slip, and no reason to move the site."""
    code, client = row.values.get("code"), row.values.get("client")
    site = find_named(Site.objects.of_company(bringing.company), str(code)) if code and client else None
    return site is not None and site.client.name.casefold() != str(client).casefold()


def far_sites(company: Company) -> list[str]:
    """What is said of located sites that lie far from all others: most often a digit or a comma is missing."""
    rows = [(site.code, *site.location) for site in Site.objects.of_company(company).order_by("code") if site.location]
    remarks = []
    for code, latitude, longitude in rows:
        others = [row for row in rows if row[0] != code]
        if not others:
            break
        _, latitudes, longitudes = zip(*others, strict=True)
        nearest_km = float(great_circle_m(latitude, longitude, latitudes, longitudes).min()) / 1000.0
        if nearest_km > _FAR_KM:
            remarks.append(
                f"Site {code} ({latitude:g}, {longitude:g}) lies {nearest_km:.0f} km from the nearest other site; "
                "check its latitude and longitude."
            )
    return remarks if len(remarks) < len(rows) else []


def _free_code(bringing: Bringing) -> str:
    """The next code of the form S01 that no site has."""
    taken = set(Site.objects.of_company(bringing.company).values_list("code", flat=True))
    number = len(taken) + 1
    while f"S{number:02}" in taken:
        number += 1
    return f"S{number:02}"


SITE_RECORDS: Final = Records(
    SiteSerializer,
    SiteSerializer,
    _find_site,
    lambda bringing, facts: sites.create_site(company=bringing.company, by=bringing.by, now=bringing.now, **facts),
    lambda bringing, site, facts: sites.update_site(site=site, by=bringing.by, now=bringing.now, **facts),
)

SITES: Final = Sheet(
    "sites",
    "where your clients' units stand",
    (
        *columns_of(
            SiteSerializer,
            without=("access_windows", "access_exceptions"),
            also={
                "client": "customer, client name, customer name",
                "code": "site, site code, site no, site number",
                "name": "site name",
                "address": "street, location",
                "latitude": "lat",
                "longitude": "lon, long, lng",
                "time_zone": "timezone, zone",
                "access_notes": "access, how to get in, best time",
                "chloraminated": "chloramine, chloramines",
                "own_well": "well, private well, borehole",
                "supply": "water works, district, water supply, utility, water utility",
            },
            examples={"client": "Example Cafe", "code": "S01", "name": "bar", "latitude": "53.55", "longitude": "9.99"},
        ),
        Column("postcode", "text", "of the address, in a column of its own", also="zip, zip code, postal code"),
        Column("town", "text", "of the address, in a column of its own", also="city, place, village"),
        Column("region", "text", "of the address, in a column of its own", also="state, county, province"),
        Column(
            "access_windows",
            "text",
            "hours on weekdays in which one can work there",
            also="opening hours, hours, open",
            example="Mon-Fri 08:00-17:00; Sat 09:00-12:00",
        ),
        Column(
            "access_exceptions",
            "text",
            "dates with other hours; without hours it is closed",
            also="closed, holidays",
            example="2026-12-24/2026-12-31 holidays",
        ),
    ),
    _store_site,
    named_by=("code", "name", "client"),
    is_named=True,
    also=("site", "locations", "addresses"),
    needs=(("client",),),
)


INSTALLER_RECORDS: Final = Records(
    InstallerSerializer,
    InstallerSerializer,
    lambda bringing, values: find_named(Installer.objects.of_company(bringing.company), str(values.get("name", ""))),
    lambda bringing, facts: create_installer(company=bringing.company, by=bringing.by, now=bringing.now, **facts),
    lambda bringing, row, facts: update_installer(installer=row, by=bringing.by, now=bringing.now, **facts),
)


def _store_installer(row: Row, bringing: Bringing) -> Outcome:
    try:
        return store_record(INSTALLER_RECORDS, row, bringing)
    except RowRefusedError as refused:
        email = str(row.values.get("membership") or "")
        members = Membership.objects.filter(company=bringing.company, user__email__iexact=email)
        if not email or members.exists():
            raise
        # Another person's address, however near, is no better one.
        advice = f"Nobody of the company has the address '{email[:60]}'; 'manage.py add_member {email[:60]}' adds them"
        faults = [fault for fault in refused.faults if fault[0] != "membership"]
        raise RowRefusedError([("membership", advice), *faults]) from None


INSTALLERS: Final = Sheet(
    "installers",
    "who drives out, from where, in which van; each is a member of the company already",
    columns_of(
        InstallerSerializer,
        also={
            "membership": "email, e-mail, member",
            "name": "installer, technician, person",
            "van": "vehicle",
            "home_latitude": "latitude, lat, start lat, start latitude",
            "home_longitude": "longitude, lon, long, lng, start lon, start long, start longitude",
            "weekdays": "days, working days",
            "shift_starts": "starts, from",
            "shift_ends": "ends, until",
        },
        meanings={"membership": "e-mail of the member of the company who drives; members are added first"},
        examples={
            "membership": "ina@water.example",
            "name": "Ina",
            "van": "van 1",
            "home_latitude": "53.56",
            "home_longitude": "10.01",
            "weekdays": "Mon-Fri",
            "shift_starts": "08:00",
        },
    ),
    _store_installer,
    named_by=("name",),
    is_named=True,
    also=("installer", "technicians", "techs", "vans"),
    needs=(("name",),),
)

INSTRUMENTS: Final = _sheet(
    "instruments",
    "meters and gauges, fitted to a unit or carried along",
    Records(
        InstrumentSerializer,
        InstrumentSerializer,
        lambda bringing, values: find_named(
            Instrument.objects.of_company(bringing.company), str(values.get("name", ""))
        ),
        lambda bringing, facts: create_instrument(company=bringing.company, by=bringing.by, now=bringing.now, **facts),
        lambda bringing, row, facts: update_instrument(instrument=row, by=bringing.by, now=bringing.now, **facts),
    ),
    columns_of(
        InstrumentSerializer,
        also={"name": "instrument, meter", "tds_factor": "factor, conversion factor"},
        examples={"name": "TDS meter of van 1", "measures": "feed_tds; permeate_tds", "tds_factor": "0.5"},
    ),
    named_by=("name",),
    is_named=True,
    also=("meters", "gauges"),
    needs=(("name",),),
)


def _find_rule(bringing: Bringing, values: Mapping[str, Any]) -> Any:
    item = find_named(CatalogueItem.objects.of_company(bringing.company), str(values.get("item", "")))
    stated = {name: str(values.get(name) or "") for name in ("work", "stage")}
    per = values.get("per") or PartsRule.Per.POSITION
    return PartsRule.objects.of_company(bringing.company).filter(item=item, per=per, **stated).first() if item else None


PARTS_RULES: Final = _sheet(
    "parts_rules",
    "small things that a piece of work needs beside the cartridge",
    Records(
        PartsRuleSerializer,
        PartsRuleSerializer,
        _find_rule,
        _simple(PartsRule, PartsRuleSerializer, "item", "parts_rule").create,
        _simple(PartsRule, PartsRuleSerializer, "item", "parts_rule").update,
    ),
    columns_of(
        PartsRuleSerializer,
        examples={"item": "SED-5", "work": "sanitise", "per": "unit", "quantity": "1"},
    ),
    named_by=("item",),
    also=("rules",),
    needs=(("item",),),
)


def _level(bringing: Bringing, values: Mapping[str, Any]) -> StockLevel | None:
    item = find_named(CatalogueItem.objects.of_company(bringing.company), str(values.get("item", "")))
    van = values.get("installer")
    installer = find_named(Installer.objects.of_company(bringing.company), str(van)) if van else None
    if item is None or (van and installer is None):
        return None
    levels = StockLevel.objects.of_company(bringing.company)
    level: StockLevel | None = levels.filter(item=item, installer=installer).first()
    return level


def is_counted(row: Row, bringing: Bringing) -> bool:
    """Whether the store's pieces of an item were counted before: a sheet of items is no count, and tells the first."""
    return _level(bringing, {"item": row.values.get("item")}) is not None


def _store_stock(row: Row, bringing: Bringing) -> Outcome:
    """A count: the same again is left as it is, so that nothing that was used since comes back."""
    if "quantity" not in row.values:
        raise RowRefusedError([("quantity", "Give how many pieces were counted.")])
    van = row.values.get("installer")
    if van and find_named(Installer.objects.of_company(bringing.company), str(van)) is None:
        # Left out, the count of a van would be taken for the store's.
        sentence = f"There is no installer '{str(van)[:60]}' with a van; leave it empty for the store."
        raise RowRefusedError([("installer", sentence)])
    level = _level(bringing, row.values)
    if level is not None and level.quantity == row.values["quantity"]:
        lots, shelf = read_lots(row.values.get("lots") or level.lots), row.values.get("shelf") or level.shelf
        if lots == read_lots(level.lots) and shelf == level.shelf:
            return Outcome.LEFT
    outcome = store_record(STOCK_RECORDS, row, bringing)
    return Outcome.CHANGED if level is not None and outcome == Outcome.MADE else outcome


STOCK_RECORDS: Final = Records(
    StockCountSerializer,
    StockCountSerializer,
    lambda bringing, values: None,
    lambda bringing, facts: count_stock(by=bringing.by, now=bringing.now, **facts),
    lambda bringing, row, facts: row,
)

STOCK: Final = Sheet(
    "stock",
    "what was counted in the store and in the vans",
    columns_of(
        StockCountSerializer,
        also={
            "item": "item code, item no, part, part no, part number, sku, code",
            "installer": "van, van of, where",
            "quantity": "pieces, count, on hand, number, in store, in shop, in stock",
            "counted_at": "counted, counted on, date",
            "lots": "lot, batch, expiry, use by",
            "shelf": "bin, place, place on the shelf",
        },
        meanings={
            "item": "code of the item",
            "installer": "name of the installer whose van it is; empty: the store",
            "lots": "of them, those whose lot or last day is known",
        },
        examples={
            "item": "SED-5",
            "installer": "Ina",
            "quantity": "6",
            "lots": "4 of R17 until 2027-03-31",
            "shelf": "B2",
        },
    ),
    _store_stock,
    named_by=("item",),
    also=("inventory", "store"),
    needs=(("item",), ("quantity",)),
)
