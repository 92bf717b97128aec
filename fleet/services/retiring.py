"""Units and catalogue items go out of use and come back; needs and forecasts follow."""

from datetime import datetime

from django.db import transaction

from accounts.models import Membership
from accounts.services import retiring
from fleet.models import CatalogueItem, Unit
from fleet.services.catalogue import units_with_item
from fleet.services.consequences import Kind, announce


def retire(*, row: Unit | CatalogueItem, by: Membership, reason: str, now: datetime) -> None:
    """Take a unit or item out of use; raises as `accounts.services.retiring.retire`."""
    with transaction.atomic():
        retiring.retire(row=row, by=by, reason=reason, now=now)
        _announce(row, now)


def unretire(*, row: Unit | CatalogueItem, by: Membership, now: datetime) -> None:
    """Take a unit or item back into use; raises as `accounts.services.retiring.unretire`."""
    with transaction.atomic():
        retiring.unretire(row=row, by=by, now=now)
        _announce(row, now)


def _announce(row: Unit | CatalogueItem, now: datetime) -> None:
    if isinstance(row, Unit):
        announce(row.company_id, units=[row.pk], kind=Kind.UNIT, now=now)
    else:
        announce(row.company_id, units=units_with_item(row), kind=Kind.PRICE, now=now)
