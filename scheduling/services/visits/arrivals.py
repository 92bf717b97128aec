"""When a visit can have its parts: an installer who arrives without the cartridge has driven for nothing."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from accounts.models import Company
from scheduling.models import Visit
from scheduling.planning.stock.coverage import PartsWait
from scheduling.services.stock.allocation import Allocation
from scheduling.services.words import stock as words


@dataclass(frozen=True, slots=True)
class Wait:
    """A visit that waits for parts.

    Attributes
    ----------
    until
        First day on which they are all there.
    items
        Codes of what is missing today.
    orders
        Numbers of the orders that bring it; what none of them brings must be ordered first.
    must_order
        Codes of what no order brings.
    """

    until: date
    items: tuple[str, ...]
    orders: tuple[int, ...] = ()
    must_order: tuple[str, ...] = ()

    @property
    def sentence(self) -> str:
        """What it waits for, and until when."""
        on_order = [code for code in self.items if code not in self.must_order]
        return words.parts_wait(on_order, self.orders, self.must_order, self.until)


def waits_for_parts(
    *, company: Company, visits: Collection[Visit], today: date, loaded: Collection[int] = ()
) -> dict[int, Wait]:
    """Visits that must wait for what is neither in the store nor in a van, by visit id.

    Of all live visits of the company `allocation` says who gets which piece; here is told what that means for these.
    A part that is short is there when an order that stands for it is expected, and otherwise counts as ordered today.
    Confirmed visits keep their time, and an urgent visit goes without a missing part as long as one of its urgent needs
    can be met. The `loaded` are in published rounds: they take their pieces before the other visits that no client has
    confirmed, and wait for nothing.
    """
    allocation = Allocation(company=company, today=today, loaded=loaded)
    return {
        visit.pk: _in_words_of_the_office(allocation, allocation.waits[str(visit.pk)])
        for visit in visits
        if str(visit.pk) in allocation.waits
    }


def _in_words_of_the_office(allocation: Allocation, wait: PartsWait) -> Wait:
    """Codes of items and numbers of orders instead of keys."""
    codes = {key: allocation.catalogue.items[key].code for key in wait.items}
    coming = [coming for key in wait.items for coming in allocation.supplies.coming.get(key, ())]
    return Wait(
        until=wait.until,
        items=tuple(sorted(codes.values())),
        orders=tuple(sorted({c.line.order.number for c in coming if c.key in wait.supplies})),
        must_order=tuple(sorted(codes[key] for key in wait.must_order)),
    )
