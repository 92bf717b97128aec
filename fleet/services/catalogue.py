"""The catalogue: what a label says is what the readings of a cartridge are judged by."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final

from django.db import transaction

from accounts.models import Membership
from accounts.services import record
from fleet.engineering.usual_labels import LABEL_ATTRIBUTES, usual_label
from fleet.intake.names import public_name
from fleet.models import CatalogueItem, Placement, Unit
from fleet.services.consequences import Kind, announce
from fleet.services.formats import refuse_format_of_positions

_PRICED_BY: Final = frozenset({"price", "price_breaks", "is_active"})
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


def complete_label(item: CatalogueItem | None, kind: str, facts: Mapping[str, Any]) -> dict[str, Any]:
    """What the engineering needs of a label as it would stand with some facts, and which of it is `assumed`.

    What nobody states is what is usual of the kind and size; what was assumed before is assumed anew, by the size that
    holds now.

    Parameters
    ----------
    item
        None: a new one.
    kind, facts
        Its kind, and what is to be stored of it.

    Returns
    -------
    Value by attribute, None or empty where it is neither stated nor usual; public names of the assumed ones under
    `assumed`.
    """
    stood = {name: getattr(item, name) for name in LABEL_ATTRIBUTES.get(kind, ())} if item is not None else {}
    was_assumed = set(item.assumed) if item is not None else set()
    usual = usual_label(kind, str(facts.get("cartridge_size", getattr(item, "cartridge_size", "")) or ""))
    label: dict[str, Any] = {}
    assumed = []
    for column in LABEL_ATTRIBUTES.get(kind, ()):
        before = None if public_name(column) in was_assumed else stood.get(column)
        value = facts.get(column, before)
        if value in (None, "") and column in usual:
            value = usual[column]
            assumed.append(public_name(column))
        label[column] = value
    return {**label, "assumed": assumed}


def units_with_item(item: CatalogueItem) -> list[int]:
    """Units in which an item stands or stood."""
    rows = Unit.objects.filter(pk__in=Placement.objects.filter(item=item).values("position__unit_id"))
    return list(rows.order_by("pk").values_list("pk", flat=True))
