"""The trail of what was done."""

from collections.abc import Mapping
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any

from django.db import models

from accounts.models import AuditEntry, Company, Membership
from accounts.tenancy import TenantModel
from accounts.wall import over_all_companies


def record(
    *,
    by: Membership | None,
    action: str,
    subject: models.Model,
    now: datetime,
    details: Mapping[str, Any] | None = None,
    name: str = "",
    company: Company | None = None,
) -> AuditEntry:
    """Leave an audit entry: `by` did `action`, a verb and a noun such as "issue token", to `subject` at `now`.

    `by` is None for whoever followed a link that was sent to them; then `company` says whose trail it is.

    `details` holds what a later reader needs; it must be JSON and hold no secret. Where the subject is of a model whose
    changes the trail tells, `changes` with the old and new value of each changed column comes in by itself. Call it in
    the transaction of the change itself, so that there is never one without the other.
    """
    changes = _changes_of(subject)
    return AuditEntry.objects.create(
        company_id=_company_of(by, company),
        membership=by,
        at=now,
        action=action,
        subject_kind=subject._meta.model_name or "",
        subject_id=str(subject.pk)[:60],
        subject_name=(name or name_of(subject))[:200],
        details={**({"changes": changes} if changes else {}), **(details or {})},
    )


@over_all_companies()
def record_refused_sign_in(*, email: str, now: datetime) -> None:
    """Leave an entry in every company of which somebody with this address is a member; nobody knows who tried.

    An address that no company knows leaves none: there is no owner whom it concerns.
    """
    members = Membership.objects.filter(user__email__iexact=email, is_active=True).select_related("user")
    AuditEntry.objects.bulk_create(
        AuditEntry(
            company_id=membership.company_id,
            at=now,
            action="refuse sign-in",
            subject_kind="membership",
            subject_id=str(membership.pk),
            subject_name=name_of(membership),
        )
        for membership in members
    )


def name_of(subject: models.Model) -> str:
    """What people call a row."""
    return (subject.trail_name if isinstance(subject, TenantModel) else str(subject))[:200]


def _changes_of(subject: models.Model) -> dict[str, dict[str, Any]]:
    """Old and new value of each column that differs from what was stored; told once."""
    stored = getattr(subject, "as_stored", None)
    if not isinstance(subject, TenantModel) or stored is None:
        return {}
    changes: dict[str, dict[str, Any]] = {}
    for column in subject._meta.concrete_fields:
        new = getattr(subject, column.attname) if column.attname in stored else None
        if column.attname not in stored or new == stored[column.attname]:
            continue
        if column.name not in subject.UNTOLD:
            old = stored[column.attname]
            changes[column.name] = {"old": _as_json(column, old), "new": _as_json(column, new)}
        stored[column.attname] = new
    return changes


def _as_json(column: Any, value: Any) -> Any:
    """A value as JSON; of another row, what people call it."""
    if value is None or (isinstance(value, bool | int | float | str) and column.remote_field is None):
        return value
    if column.remote_field is not None:
        row = column.related_model._base_manager.filter(pk=value).first()
        return name_of(row) if row is not None else str(value)
    if isinstance(value, date | datetime | time):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    return value if isinstance(value, list | dict) else str(value)


def _company_of(by: Membership | None, company: Company | None) -> int:
    if by is not None:
        return by.company_id
    if company is None:
        raise ValueError("Without a membership, the trail needs the company.")
    return company.pk
