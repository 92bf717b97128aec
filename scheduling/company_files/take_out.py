"""Take a company out as the sheets that it can be brought in from: to move, to back up, to leave."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Final

from accounts.api.clients import ClientSerializer
from accounts.csv_rows import harmless
from accounts.day_alone import known_day
from accounts.models import Client, Company, Membership
from fleet.api.catalogue import CatalogueItemSerializer, PartsRuleSerializer
from fleet.api.instruments import InstrumentSerializer
from fleet.api.positions import PositionSerializer
from fleet.api.sites import SiteSerializer
from fleet.api.suppliers import SupplierSerializer
from fleet.api.units import UnitSerializer
from fleet.engineering.observations import OBSERVATIONS
from fleet.engineering.quantities import RUNNING_TIME
from fleet.intake.names import SAMPLE_COLUMNS
from fleet.intake.references import OWN_PREFIX
from fleet.models import (
    CatalogueItem,
    FeedWaterSample,
    Instrument,
    PartsRule,
    Placement,
    Position,
    Reading,
    Site,
    Supplier,
    Unit,
)
from scheduling.api.covers import ServiceContractSerializer, WarrantySerializer
from scheduling.api.installers import InstallerSerializer
from scheduling.api.parts import StockLevelSerializer
from scheduling.api.prices import SalesPriceSerializer, VatRateSerializer
from scheduling.company_files.access import exceptions_in_cell, windows_in_cell
from scheduling.company_files.columns import Column
from scheduling.company_files.given_out import own_name
from scheduling.company_files.lots import lots_in_cell
from scheduling.company_files.money_sheets import SALES_PRICES, SERVICE_CONTRACTS, VAT_RATES, WARRANTIES
from scheduling.company_files.ownership_sheet import OWNERSHIPS, ownerships_of
from scheduling.company_files.price_breaks import price_breaks_in_cell
from scheduling.company_files.record_sheets import (
    CATALOGUE,
    CLIENTS,
    INSTALLERS,
    INSTRUMENTS,
    PARTS_OF_ADDRESS,
    PARTS_RULES,
    SITES,
    STOCK,
    SUPPLIERS,
)
from scheduling.company_files.sheet import Sheet
from scheduling.company_files.unit_sheets import PLACEMENTS, POSITIONS, SLOTS, UNITS, slot_name
from scheduling.models import Installer, SalesPrice, ServiceContract, StockLevel, VatRate, Warranty

_NUL_FREE: Final = str.maketrans({"\x00": ""})
_NOT_KEPT: Final[Mapping[str, frozenset[str]]] = {
    SUPPLIERS.name: frozenset(("contact", "phone")),
    CLIENTS.name: frozenset(("contact",)),
    # Since when they are their clients' is told with whose they were before.
    SITES.name: frozenset(("client_since", *PARTS_OF_ADDRESS)),
    UNITS.name: frozenset(
        (
            *("client", "client_since", "address", "serial_number", "rated_flow"),
            *(f"{slot_name(*slot)}_{what}" for slot in SLOTS for what in ("changed", "item")),
        )
    ),
}
"""Columns by which others are found or that are told elsewhere, by sheet."""
Line = Sequence[str]


def take_out(*, company: Company, by: Membership) -> Iterator[tuple[str, str]]:
    """File names and their CSV text, in UTF-8; a sheet without rows is left out.

    Plans, visits, orders, messages, findings and forecasts are not taken out: they follow from what is. Nor are
    invoices: each stays with whoever issued it.
    """
    context = {"membership": by}
    for name, header, lines in _sheets(company, context):
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(header)
        count = 0
        for line in lines:
            writer.writerow([harmless(cell) for cell in line])
            count += 1
        if count:
            yield f"{name}.csv", text.getvalue()


def _sheets(company: Company, context: Mapping[str, Any]) -> Iterator[tuple[str, Line, Iterable[Line]]]:
    simple: tuple[tuple[Sheet, Any, Any], ...] = (
        (SUPPLIERS, SupplierSerializer, Supplier.objects.of_company(company).order_by("name", "pk")),
        (CATALOGUE, CatalogueItemSerializer, CatalogueItem.objects.of_company(company).order_by("code", "pk")),
        (
            PARTS_RULES,
            PartsRuleSerializer,
            PartsRule.objects.of_company(company).order_by("item__code", "work", "stage", "per"),
        ),
        (CLIENTS, ClientSerializer, Client.objects.of_company(company).order_by("name", "pk")),
        (INSTALLERS, InstallerSerializer, Installer.objects.of_company(company).order_by("name", "pk")),
        (INSTRUMENTS, InstrumentSerializer, Instrument.objects.of_company(company).order_by("name", "pk")),
        (
            POSITIONS,
            PositionSerializer,
            Position.objects.of_company(company).select_related("unit").order_by("unit__code", "order"),
        ),
        (
            STOCK,
            StockLevelSerializer,
            StockLevel.objects.of_company(company).order_by("item__code", "installer__name"),
        ),
        (VAT_RATES, VatRateSerializer, VatRate.objects.of_company(company).order_by("vat", "valid_from")),
        (
            SALES_PRICES,
            SalesPriceSerializer,
            SalesPrice.objects.of_company(company)
            .select_related("item")
            .order_by("kind", "item__code", "valid_from", "pk"),
        ),
        (
            SERVICE_CONTRACTS,
            ServiceContractSerializer,
            ServiceContract.objects.of_company(company)
            .select_related("client", "unit")
            .order_by("client__name", "unit__code", "name", "starts_on", "pk"),
        ),
        (
            WARRANTIES,
            WarrantySerializer,
            Warranty.objects.of_company(company)
            .select_related("unit", "item")
            .order_by("unit__code", "item__code", "starts_on", "pk"),
        ),
    )
    for sheet, serializer, rows in simple:
        columns = _columns_kept(sheet)
        yield sheet.name, [column.header for column in columns], _lines(rows, serializer, columns, context, {})
    site_columns = _columns_kept(SITES)
    sites = Site.objects.of_company(company).prefetch_related("access_windows", "access_exceptions").order_by("code")
    yield (
        SITES.name,
        [column.header for column in site_columns],
        _lines(
            sites,
            SiteSerializer,
            site_columns,
            context,
            {
                "access_windows": lambda site: windows_in_cell(site.access_windows.all()),
                "access_exceptions": lambda site: exceptions_in_cell(site.access_exceptions.all()),
            },
        ),
    )
    unit_columns = _columns_kept(UNITS)
    yield (
        UNITS.name,
        [column.header for column in unit_columns],
        _lines(
            Unit.objects.of_company(company).prefetch_related("positions").order_by("code", "pk"),
            UnitSerializer,
            unit_columns,
            context,
            {"train": _train},
        ),
    )
    yield OWNERSHIPS.name, [column.header for column in OWNERSHIPS.columns], _ownerships(company)
    yield PLACEMENTS.name, [column.header for column in PLACEMENTS.columns], _placements(company)
    yield "feed_water", *_samples(company)
    yield "readings", *_readings(company)


def _columns_kept(sheet: Sheet) -> list[Column]:
    return [column for column in sheet.columns if column.field not in _NOT_KEPT.get(sheet.name, ())]


def _lines(
    rows: Iterable[Any],
    serializer: Any,
    columns: Sequence[Column],
    context: Mapping[str, Any],
    own: Mapping[str, Callable[[Any], str]],
) -> Iterator[Line]:
    fields = serializer(context=dict(context)).fields
    for row in rows:
        # What was assumed is assumed anew where it is brought in; written down it would look like the label.
        assumed = getattr(row, "assumed", ())
        yield [
            own[column.field](row)
            if column.field in own
            else ""
            if column.field in assumed
            else _cell(row, column, fields)
            for column in columns
        ]


def _cell(row: Any, column: Column, fields: Mapping[str, Any]) -> str:
    of_field = fields[column.field]
    value = of_field.get_attribute(row)
    if column.kind == "name":
        named = getattr(row, of_field.source)
        return named.spoken_name if named is not None else ""
    if value is None:
        return ""
    if column.kind == "quantity":
        return _number(value)
    if column.kind == "yes_no":
        return "yes" if value else "no"
    shown = of_field.to_representation(value)
    if column.kind == "weekdays":
        return " ".join(map(str, shown))
    if column.kind == "price_breaks":
        return price_breaks_in_cell(shown)
    if column.kind == "lots":
        return lots_in_cell(shown)
    if column.kind == "list":
        return "; ".join(map(str, shown))
    if column.kind in ("moment", "day_or_moment"):
        return _moment(value)
    return _number(shown) if isinstance(shown, float) else str(shown).translate(_NUL_FREE)


def _number(value: float) -> str:
    return repr(float(value)) if value != int(value) or abs(value) >= 1e15 else str(int(value))


def _moment(at: datetime | None) -> str:
    """A moment in UTC; the day alone where no hour is known."""
    if at is None:
        return ""
    day = known_day(at)
    return day.isoformat() if day is not None else f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"


def _train(unit: Unit) -> str:
    places = sorted(unit.positions.all(), key=lambda place: place.order)
    return ", ".join(str(place) for place in places)


def _placements(company: Company) -> Iterator[Line]:
    rows = (
        Placement.objects.of_company(company)
        .select_related("position__unit", "item")
        .order_by("position__unit__code", "placed_at", "position__order", "pk")
    )
    for row in rows.iterator(chunk_size=2000):
        place = row.position
        yield [
            place.unit.code,
            place.stage,
            place.role,
            str(place.order),
            row.item.code,
            _moment(row.placed_at),
            _moment(row.removed_at),
            row.removal,
            row.serial_or_lot,
        ]


def _ownerships(company: Company) -> Iterator[Line]:
    for client, site, unit, since, until in ownerships_of(company):
        codes = [held.code if held is not None else "" for held in (site, unit)]
        yield [client.name, *codes, _moment(since), _moment(until)]


def _readings(company: Company) -> tuple[Line, Iterator[Line]]:
    """Every reading with its values in the stored units, the newest of a correction and what it corrected.

    What was taken back is left out, as is what was of placements.
    """
    quantities = (*Reading.QUANTITIES, RUNNING_TIME.name)
    words = ("reference", "corrects", "source", "person", "note", "instrument", "occasion")
    states = ("state", "tank_valve", "pump", "tank_is_full", "sampled_after_flush")
    seen = [each.name for each in OBSERVATIONS]

    def lines() -> Iterator[Line]:
        rows = (
            Reading.objects.of_company(company)
            .filter(voided_at__isnull=True)
            .select_related("unit__site", "instrument", "corrects")
            .order_by("unit__code", "taken_at", "pk")
        )
        for row in rows.iterator(chunk_size=2000):
            stated = [getattr(row, name) for name in states]
            yield [
                row.unit.code,
                _moment(row.taken_at),
                _reference(row),
                _reference(row.corrects, is_needed=True) if row.corrects is not None else "",
                row.source,
                row.person,
                row.note.translate(_NUL_FREE),
                row.instrument.name if row.instrument is not None else "",
                row.occasion if row.occasion != Reading.Occasion.ROUTINE else "",
                *("" if value is None else {True: "yes", False: "no"}.get(value, str(value)) for value in stated),
                *(_seen(row.observations.get(name)) for name in seen),
                *("" if (value := getattr(row, name)) is None else _number(value) for name in quantities),
            ]

    return ["unit", "taken at", *words, *states, *seen, *quantities], lines()


def _seen(value: bool | None) -> str:
    return "" if value is None else "yes" if value else "no"


def _reference(row: Any, *, is_needed: bool = False) -> str:
    """The sender's own name for a row; of one without, a name of ours where another row refers to it."""
    if row.reference and not row.reference.startswith(OWN_PREFIX):
        return str(row.reference)
    is_referred_to = is_needed or row.corrects_id is not None or hasattr(row, "corrected_by")
    return own_name(row.pk) if is_referred_to else ""


def _samples(company: Company) -> tuple[Line, Iterator[Line]]:
    words = ("reference", "corrects", "measured_by", "method", "supply")

    def lines() -> Iterator[Line]:
        rows = (
            FeedWaterSample.objects.of_company(company)
            .filter(voided_at__isnull=True)
            .select_related("site", "corrects")
            .order_by("site__code", "taken_at", "pk")
        )
        for row in rows.iterator(chunk_size=2000):
            yield [
                row.site.code,
                _moment(row.taken_at),
                _reference(row),
                _reference(row.corrects, is_needed=True) if row.corrects is not None else "",
                *(getattr(row, name) for name in words[2:]),
                *("" if (value := getattr(row, name)) is None else _number(value) for name in SAMPLE_COLUMNS.values()),
            ]

    return ["site", "taken at", *words, *SAMPLE_COLUMNS.values()], lines()
