"""What was bought before and does the same: named where the usual cartridge may be short."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from accounts.models import Company
from fleet.engineering.formats import CartridgeFormat
from fleet.models import CatalogueItem, Placement
from fleet.services.formats import format_of
from fleet.services.substitutes import CARTRIDGES, can_replace
from scheduling.models import PurchaseOrderLine, StockLevel


@dataclass(frozen=True, slots=True)
class Bought:
    """Cartridges that a company has or had, cheapest first, and pieces on hand of each."""

    items: Sequence[CatalogueItem]
    on_hand: Mapping[int, int]

    def on_hand_for(self, wanted: CatalogueItem, place: CartridgeFormat) -> list[str]:
        """Codes of what is in the store or a van and can stand in for an item in a place."""
        return [each.code for each in self.items if self.on_hand.get(each.pk) and can_replace(wanted, each, place)]

    def to_order_for(self, wanted: CatalogueItem) -> list[str]:
        """Codes of what is in use and can stand in for an item wherever it fits."""
        place = format_of(wanted)
        return [each.code for each in self.items if each.is_active and can_replace(wanted, each, place)]


def bought_before(*, company: Company) -> Bought:
    """Read which cartridges a company has on hand, had installed or had delivered."""
    on_hand: dict[int, int] = {}
    for item, quantity in StockLevel.objects.of_company(company).values_list("item_id", "quantity"):
        on_hand[item] = on_hand.get(item, 0) + quantity
    came: Iterable[int] = (
        PurchaseOrderLine.objects.of_company(company).filter(received__gt=0).values_list("item_id", flat=True)
    )
    # without the order of cartridges, which would make every one of them distinct
    fitted = Placement.objects.of_company(company).order_by()
    installed: Iterable[int] = fitted.values_list("item_id", flat=True).distinct()
    bought = {*came, *installed, *(item for item, quantity in on_hand.items() if quantity)}
    rows = CatalogueItem.objects.of_company(company).filter(pk__in=bought, kind__in=CARTRIDGES)
    return Bought(list(rows.order_by("price", "code")), on_hand)
