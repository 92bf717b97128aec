"""Limits of exhaustion that a company states: what is stated, changed or taken back is judged by at once."""

from datetime import datetime
from typing import Any

from django.db import transaction

from accounts.models import Company, Membership
from accounts.services import record
from fleet.models import ExhaustionLimits, Unit
from fleet.services.consequences import Kind, announce


def create_limits(*, company: Company, by: Membership, now: datetime, **facts: Any) -> ExhaustionLimits:
    """Tighten the limits of a use, or with an empty `use` of every use."""
    with transaction.atomic():
        limits = ExhaustionLimits.objects.create(company=company, **facts)
        announce(company.pk, units=_units_of_use(company.pk, limits.use), kind=Kind.LIMITS, now=now)
        record(by=by, action="create exhaustion_limits", subject=limits, now=now)
    return limits


def update_limits(*, limits: ExhaustionLimits, by: Membership, now: datetime, **facts: Any) -> ExhaustionLimits:
    """Change limits; the units they concerned before and those they concern now follow."""
    with transaction.atomic():
        uses = [ExhaustionLimits.objects.values_list("use", flat=True).get(pk=limits.pk)]
        for name, value in facts.items():
            setattr(limits, name, value)
        limits.save()
        for use in {*uses, limits.use}:
            units = _units_of_use(limits.company_id, use)
            announce(limits.company_id, units=units, kind=Kind.LIMITS, now=now)
        if facts:
            details = {"fields": sorted(facts)}
            record(by=by, action="update exhaustion_limits", subject=limits, now=now, details=details)
    return limits


def delete_limits(*, limits: ExhaustionLimits, by: Membership, now: datetime) -> None:
    """Go back to the usual limits."""
    with transaction.atomic():
        units = _units_of_use(limits.company_id, limits.use)
        announce(limits.company_id, units=units, kind=Kind.LIMITS, now=now)
        details = {"name": str(limits)[:200]}
        record(by=by, action="delete exhaustion_limits", subject=limits, now=now, details=details)
        limits.delete()


def _units_of_use(company_id: int, use: str) -> list[int]:
    rows = Unit.objects.filter(company_id=company_id, **({"use": use} if use else {}))
    return list(rows.order_by("pk").values_list("pk", flat=True))
