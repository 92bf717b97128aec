"""The arithmetic of an invoice: what a line comes to, what tax is due by rate, and the sums.

The net amount of a line is its quantity times its price, rounded to two decimals. The tax of a rate is worked out once
for the whole document, on the sum of the net amounts of that rate, and rounded half up to two decimals; never line by
line. So it is laid down for VAT breakdowns in EN 16931-1 (business rules BR-CO-10, BR-CO-14, BR-CO-15 and BR-CO-17;
from memory).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Protocol

from scheduling.planning.money.amounts import rounded

HUNDRED: Final = Decimal(100)
_MINUTES_PER_HOUR: Final = Decimal(60)
_QUANTITY_STEP: Final = Decimal("0.0001")


class Taxed(Protocol):
    """A line with its net amount and the rate that holds for it."""

    @property
    def net(self) -> Decimal: ...

    @property
    def vat(self) -> str: ...

    @property
    def vat_percent(self) -> Decimal: ...


@dataclass(frozen=True, slots=True)
class TaxOfRate:
    """The lines of one rate together.

    Attributes
    ----------
    vat
        Name of the rate.
    percent
        The rate, in percent of the net amount.
    net, tax
        Sum of the net amounts, and the tax on it.
    """

    vat: str
    percent: Decimal
    net: Decimal
    tax: Decimal


@dataclass(frozen=True, slots=True)
class Totals:
    """What a document comes to."""

    net: Decimal
    tax: Decimal
    gross: Decimal
    by_rate: tuple[TaxOfRate, ...]


def net_of(quantity: Decimal, price: Decimal) -> Decimal:
    """Net amount of a line.

    >>> net_of(Decimal("0.5833"), Decimal("48.00"))
    Decimal('28.00')
    """
    return rounded(quantity * price)


def hours(minutes: int) -> Decimal:
    """Minutes as hours to four decimals, the quantity that stands on the line.

    >>> hours(35), hours(90)
    (Decimal('0.5833'), Decimal('1.5000'))
    """
    return (Decimal(minutes) / _MINUTES_PER_HOUR).quantize(_QUANTITY_STEP)


def total_of(lines: Iterable[Taxed]) -> Totals:
    """Sums of a document, its rates from the highest to the lowest.

    Examples
    --------
    Two lines of 0.33 at 19 % are taxed together: 0.66 x 19 % = 0.1254, so 0.13; line by line it would be 2 x 0.06.

    >>> line = type("Line", (), {"net": Decimal("0.33"), "vat": "standard", "vat_percent": Decimal(19)})
    >>> total_of([line, line]).tax
    Decimal('0.13')
    """
    nets: dict[tuple[Decimal, str], Decimal] = {}
    for line in lines:
        key = (line.vat_percent, line.vat)
        nets[key] = nets.get(key, Decimal("0.00")) + line.net
    by_rate = tuple(
        TaxOfRate(name, percent, net, rounded(net * percent / HUNDRED))
        for (percent, name), net in sorted(nets.items(), key=lambda pair: (-pair[0][0], pair[0][1]))
    )
    net = sum((rate.net for rate in by_rate), Decimal("0.00"))
    tax = sum((rate.tax for rate in by_rate), Decimal("0.00"))
    return Totals(net, tax, net + tax, by_rate)
