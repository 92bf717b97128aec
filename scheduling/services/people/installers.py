"""Who drives out: from where somebody starts is part of what a visit costs."""

from datetime import datetime
from typing import Any, Final

from django.db import transaction

from accounts.models import Company, Membership
from accounts.services import record, retiring
from fleet.models import Unit
from fleet.services.consequences import Kind, announce
from scheduling.models import Installer

_STARTS: Final = frozenset({"home_latitude", "home_longitude", "is_active"})
"""What says from where rounds start."""


def create_installer(*, company: Company, by: Membership, now: datetime, **facts: Any) -> Installer:
    """Enter somebody who drives out; what driving to the sites costs follows."""
    with transaction.atomic():
        installer = Installer.objects.create(company=company, **facts)
        _announce(company.pk, now)
        record(by=by, action="create installer", subject=installer, now=now)
    return installer


def update_installer(*, installer: Installer, by: Membership, now: datetime, **facts: Any) -> Installer:
    """Change home base, shift or van; of another start, what driving to the sites costs follows."""
    starts_elsewhere = any(name in facts and facts[name] != getattr(installer, name) for name in _STARTS)
    with transaction.atomic():
        for name, value in facts.items():
            setattr(installer, name, value)
        installer.save()
        if starts_elsewhere:
            _announce(installer.company_id, now)
        if facts:
            record(by=by, action="update installer", subject=installer, now=now, details={"fields": sorted(facts)})
    return installer


def delete_installer(*, installer: Installer, by: Membership, now: datetime) -> None:
    """Delete somebody who was entered by mistake; who has driven rounds is kept by the database, and made inactive."""
    with transaction.atomic():
        _announce(installer.company_id, now)
        details = {"name": str(installer)[:200]}
        record(by=by, action="delete installer", subject=installer, now=now, details=details)
        installer.delete()


def retire_installer(*, row: Installer, by: Membership, reason: str, now: datetime) -> None:
    """Take somebody who drives out no more out of use; what driving to the sites costs follows."""
    with transaction.atomic():
        retiring.retire(row=row, by=by, reason=reason, now=now)
        _announce(row.company_id, now)


def unretire_installer(*, row: Installer, by: Membership, now: datetime) -> None:
    """Take somebody who drives out again back into use."""
    with transaction.atomic():
        retiring.unretire(row=row, by=by, now=now)
        _announce(row.company_id, now)


def _announce(company_id: int, now: datetime) -> None:
    units = Unit.objects.filter(company=company_id).order_by("pk").values_list("pk", flat=True)
    announce(company_id, units=units, kind=Kind.TRAVEL, now=now)
