"""The catalogue: what a label says is what the readings of a cartridge are judged by."""

from datetime import datetime
from typing import Any, Final

from django.db import transaction

from accounts.models import Membership
from accounts.services import record
from fleet.models import CatalogueItem, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.formats import refuse_format_of_positions

_PRICED_BY: Final = frozenset({"price", "is_active"})
_ORDERED_BY: Final = frozenset({"code", "name", "supplier", "supplier_part_number", "pack_size", "lead_time_days"})
"""What neither says what a reading means nor what a change of the cartridge costs."""


def update_item(*, item: CatalogueItem, by: Membership, now: datetime, **facts: Any) -> CatalogueItem:
    """Change an item of the catalogue; when its label is put right, units it stands in are judged by it again.

    Raises
    ------
    InvalidInput
        When it would be of another format than positions state in which it is installed.
    """
    with transaction.atomic():
        for name, value in facts.items():
            setattr(item, name, value)
        refuse_format_of_positions(item, facts)
        item.save()
        bearing = facts.keys() - _ORDERED_BY
        if bearing:
            kind = Kind.PRICE if bearing <= _PRICED_BY else Kind.LABEL
            announce(item.company_id, units=units_with_item(item), kind=kind, now=now)
        if facts:
            record(by=by, action="update catalogue_item", subject=item, now=now, details={"fields": sorted(facts)})
    return item


def units_with_item(item: CatalogueItem) -> list[int]:
    """Units in which an item stands or stood."""
    rows = Unit.objects.filter(company_id=item.company_id, positions__placements__item=item)
    return list(rows.order_by("pk").values_list("pk", flat=True).distinct())
