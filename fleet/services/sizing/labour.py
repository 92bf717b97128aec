"""What a company reckons for a visit.

Work is priced where it is planned. A room that prices it says here how, when its application is ready, so that nothing
here has to know of it.
"""

from collections.abc import Callable
from typing import NamedTuple

from accounts.models import Company


class Labour(NamedTuple):
    """In the company's currency: of coming to a site, driving aside, and of each replacement there."""

    visit_cost: float
    replacement_cost: float


_price: "Callable[[Company], Labour] | None" = None


def price_with(price: "Callable[[Company], Labour]") -> None:
    """Name what prices the labour of a company."""
    global _price
    _price = price


def labour_of(company: Company) -> Labour:
    """What a company reckons for its work; nothing where no room prices it."""
    return _price(company) if _price is not None else Labour(0.0, 0.0)
