"""Sheets of what clients are asked for: rates of tax, the price list, contracts with a flat price, and warranties."""

from collections.abc import Mapping
from typing import Any, Final

from accounts.models import Client
from fleet.models import CatalogueItem, Unit
from scheduling.api.covers import ServiceContractSerializer, WarrantySerializer
from scheduling.api.prices import SalesPriceSerializer, VatRateSerializer
from scheduling.company_files.columns import Column, columns_of
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.rows import Bringing, Records, Row, RowRefusedError, find_named, store_record
from scheduling.company_files.sheet import Sheet
from scheduling.models import SalesPrice, ServiceContract, VatRate, Warranty
from scheduling.services.money.entries import change_entry, enter

_NAMED: Final[Mapping[str, Any]] = {"item": CatalogueItem, "unit": Unit, "client": Client}


def _records(model: Any, serializer: Any, by: tuple[str, ...]) -> Records:
    """Rows that are the same where some of their fields are."""

    def find(bringing: Bringing, values: Mapping[str, Any]) -> Any:
        facts: dict[str, Any] = {}
        for name in by:
            value = values.get(name)
            if name in _NAMED and value:
                value = find_named(_NAMED[name].objects.of_company(bringing.company), str(value))
                if value is None:
                    return None
            facts[name] = value or (None if name in _NAMED else model._meta.get_field(name).get_default())
        return model.objects.of_company(bringing.company).filter(**facts).order_by("pk").first()

    def create(bringing: Bringing, facts: Mapping[str, Any]) -> Any:
        return enter(model=model, by=bringing.by, now=bringing.now, **facts)

    def update(bringing: Bringing, row: Any, facts: Mapping[str, Any]) -> Any:
        return change_entry(row=row, by=bringing.by, now=bringing.now, **facts)

    return Records(serializer, serializer, find, create, update)


def _sheet(name: str, about: str, records: Records, columns: tuple[Column, ...], **details: Any) -> Sheet:
    def store(row: Row, bringing: Bringing) -> Outcome:
        for field, model in _NAMED.items():
            called = row.values.get(field)
            if called and find_named(model.objects.of_company(bringing.company), str(called)) is None:
                # Left out, what is said of one unit or item would be taken to be said of all.
                raise RowRefusedError([(field, f"There is no {model._meta.verbose_name} '{str(called)[:60]}'")])
        return store_record(records, row, bringing)

    return Sheet(name, about, columns, store, **details)


_COVER_HEADERS: Final = {
    "starts_on": "starts, from, begins, since, valid from",
    "ends_on": "ends, until, to, valid until",
    "covers_parts": "parts, parts free",
    "covers_labour": "labour, labor, labour free, labor free",
    "covers_travel": "travel, travel free, call-out free",
}
_ITEM: Final = "item code, item no, part, part no, sku"
_UNIT: Final = "unit code, unit no, unit id"

VAT_RATES: Final = _sheet(
    "vat_rates",
    "how high the rates of value added tax are, each from a day on",
    _records(VatRate, VatRateSerializer, ("vat", "valid_from")),
    columns_of(
        VatRateSerializer,
        also={"vat": "rate, tax, vat name", "percent": "rate percent, vat percent", "valid_from": "from, since"},
        examples={"vat": "standard", "percent": "19", "valid_from": "2026-01-01"},
    ),
    named_by=("vat",),
    also=("vat", "tax rates"),
    needs=(("percent",), ("valid_from",)),
)

SALES_PRICES: Final = _sheet(
    "sales_prices",
    "what clients are asked for: by item, for coming, by the hour",
    _records(SalesPrice, SalesPriceSerializer, ("kind", "item", "valid_from")),
    columns_of(
        SalesPriceSerializer,
        also={"kind": "what, of", "item": _ITEM, "price": "net price, sales price", "valid_from": "from, since"},
        meanings={"item": "of an item: its code; else empty"},
        examples={"kind": "item", "item": "SED-5", "price": "12.50", "vat": "standard", "valid_from": "2026-01-01"},
    ),
    named_by=("item", "kind"),
    also=("prices", "price list"),
    needs=(("price",), ("valid_from",)),
)

SERVICE_CONTRACTS: Final = _sheet(
    "service_contracts",
    "flat prices of clients, and what they cover",
    _records(ServiceContract, ServiceContractSerializer, ("client", "unit", "name", "starts_on")),
    columns_of(
        ServiceContractSerializer,
        also={"client": "customer, client name", "unit": _UNIT, "name": "contract, called", **_COVER_HEADERS},
        meanings={"unit": "code of the only unit it holds for; empty: all of the client's"},
        examples={"client": "Example Cafe", "name": "care", "price": "25", "per": "month", "starts_on": "2026-01-01"},
    ),
    named_by=("client", "name"),
    also=("contracts", "service contract"),
    needs=(("client",), ("price",), ("starts_on",)),
)

WARRANTIES: Final = _sheet(
    "warranties",
    "what of a unit or of an item is free for a while",
    _records(Warranty, WarrantySerializer, ("unit", "item", "starts_on")),
    columns_of(
        WarrantySerializer,
        also={"unit": _UNIT, "item": _ITEM, **_COVER_HEADERS},
        examples={"unit": "S01-1", "starts_on": "2026-01-01", "ends_on": "2027-12-31"},
    ),
    named_by=("unit", "item"),
    also=("warranty", "guarantees"),
    needs=(("unit", "item"), ("starts_on",), ("ends_on",)),
)
