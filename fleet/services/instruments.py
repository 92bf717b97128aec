"""Meters and gauges: what they are worth decides how well the readings taken with them are known."""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from accounts.models import Company, Membership
from accounts.services import record
from fleet.models import Instrument, Unit
from fleet.services.consequences import Kind, announce


def create_instrument(*, company: Company, by: Membership, now: datetime, **facts: Any) -> Instrument:
    """Store a meter or gauge, fitted to a unit or carried in a van."""
    with transaction.atomic():
        instrument = Instrument.objects.create(company=company, **facts)
        announce(company.pk, units=units_read_with(instrument), kind=Kind.METERS, now=now)
        record(by=by, action="create instrument", subject=instrument, now=now)
    return instrument


def update_instrument(*, instrument: Instrument, by: Membership, now: datetime, **facts: Any) -> Instrument:
    """Change what is known of a meter; readings that came in before keep their values."""
    with transaction.atomic():
        stored = Instrument.objects.get(pk=instrument.pk)
        before = units_read_with(stored)
        for name, value in facts.items():
            setattr(instrument, name, value)
        instrument.save()
        concerned = [*before, *units_read_with(instrument)]
        announce(instrument.company_id, units=concerned, kind=Kind.METERS, now=now)
        if facts:
            record(by=by, action="update instrument", subject=instrument, now=now, details={"fields": sorted(facts)})
    return instrument


def delete_instrument(*, instrument: Instrument, by: Membership, now: datetime) -> None:
    """Delete a meter; the readings taken with it stay."""
    with transaction.atomic():
        announce(instrument.company_id, units=units_read_with(instrument), kind=Kind.METERS, now=now)
        record(by=by, action="delete instrument", subject=instrument, now=now, details={"name": str(instrument)[:200]})
        instrument.delete()


def units_read_with(instrument: Instrument) -> list[int]:
    """Units that an instrument is fitted to, or of which a reading names it."""
    rows = Unit.objects.filter(
        Q(pk=instrument.unit_id) | Q(pk__in=instrument.readings.order_by().values("unit_id")),
        company_id=instrument.company_id,
    )
    return list(rows.order_by("pk").values_list("pk", flat=True))
