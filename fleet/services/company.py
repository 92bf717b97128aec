"""What follows here when a company changes: its clock says what day it is, its money stands in what is proposed."""

from collections.abc import Collection
from datetime import datetime
from typing import Final

from accounts.models import Company
from fleet.models import Unit
from fleet.services.consequences import Kind, announce

_KINDS: Final = {"time_zone": Kind.CLOCK, "currency": Kind.POLICY}
"""Field of a company -> what its change means. Nothing stored rests on its name, nor on the units it reads."""


def follow(*, company: Company, fields: Collection[str], now: datetime) -> None:
    """Announce all units of a company where what changed concerns them."""
    for name in sorted(_KINDS.keys() & set(fields)):
        units = Unit.objects.of_company(company).order_by("pk").values_list("pk", flat=True)
        announce(company.pk, units=units, kind=_KINDS[name], now=now)
