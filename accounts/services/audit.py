"""The trail of what was done."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import models

from accounts.models import AuditEntry, Membership


def record(
    *,
    by: Membership,
    action: str,
    subject: models.Model,
    now: datetime,
    details: Mapping[str, Any] | None = None,
) -> AuditEntry:
    """Leave an audit entry: `by` did `action`, a verb and a noun such as "issue token", to `subject` at `now`.

    `details` holds what a later reader needs, old and new values by name; it must be JSON and hold no secret. Call it
    in the transaction of the change itself, so that there is never one without the other.
    """
    return AuditEntry.objects.create(
        company_id=by.company_id,
        membership=by,
        at=now,
        action=action,
        subject_kind=subject._meta.model_name or "",
        subject_id=str(subject.pk)[:60],
        details=dict(details or {}),
    )
