"""The price list of a company on a day, and the rates of tax that its prices name."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from accounts.models import Company
from scheduling.models import SalesPrice, Vat, VatRate

UNTAXED: Final = Decimal("0.00")


@dataclass(frozen=True, slots=True)
class Price:
    """A net price and the name of the rate of its tax."""

    price: Decimal
    vat: str


class PriceList:
    """Prices and rates of a company, each by the newest row that holds on the day that is asked for."""

    def __init__(self, company: Company) -> None:
        """Read both in two queries."""
        prices: dict[tuple[str, int | None], list[tuple[date, Price]]] = defaultdict(list)
        for row in SalesPrice.objects.of_company(company).order_by("valid_from"):
            prices[row.kind, row.item_id].append((row.valid_from, Price(row.price, row.vat)))
        rates: dict[str, list[tuple[date, Decimal]]] = defaultdict(list)
        for rate in VatRate.objects.of_company(company).order_by("valid_from"):
            rates[rate.vat].append((rate.valid_from, rate.percent))
        self._prices: Mapping[tuple[str, int | None], list[tuple[date, Price]]] = prices
        self._rates: Mapping[str, list[tuple[date, Decimal]]] = rates

    def of_item(self, item: int, day: date) -> Price | None:
        """What a piece of an item costs a client; None where nobody said."""
        return _newest(self._prices.get((SalesPrice.Kind.ITEM, item), ()), day)

    def of_work(self, kind: str, day: date) -> Price | None:
        """What a call-out or an hour costs a client; None where nobody said."""
        return _newest(self._prices.get((kind, None), ()), day)

    def percent(self, vat: str, day: date) -> Decimal | None:
        """How high a rate of tax is; None where nobody said."""
        return UNTAXED if vat == Vat.NONE else _newest(self._rates.get(vat, ()), day)


def _newest(rows: Iterable[tuple[date, Any]], day: date) -> Any:
    found = None
    for valid_from, value in rows:
        if valid_from <= day:
            found = value
    return found
