"""Taking records out of use, and back into it; what was done with them stays readable."""

from datetime import datetime

from django.db import transaction

from accounts.errors import Conflict
from accounts.models import Membership
from accounts.retirable import Retirable
from accounts.services.audit import record

_SHOWN = 5


def retire(*, row: Retirable, by: Membership, reason: str, now: datetime) -> None:
    """Take a row out of use: lists leave it out, nothing new is planned with it, and its history stays.

    Raises
    ------
    Conflict
        When it is retired already, or something in use still belongs to it.
    """
    kind = str(row._meta.verbose_name)
    with transaction.atomic():
        if row.retired_at is not None:
            raise Conflict("retired_already", f"This {kind} was retired on {row.retired_at:%Y-%m-%d} already.")
        today = by.company.day_at(now)
        for relation in row.RETIRED_BEFORE:
            related = getattr(row, relation)
            in_use = list(related.exclude(related.model.is_retired_on(today))[: _SHOWN + 1])
            if in_use:
                names = ", ".join(each.spoken_name for each in in_use[:_SHOWN]) + (" ..." * (len(in_use) > _SHOWN))
                raise Conflict("still_in_use", f"{relation.capitalize()} in use belong to it: retire {names} first.")
        row.retired_at, row.retired_by, row.retired_reason = now, by, reason
        row.go_out_of_use(today)
        row.save()
        record(by=by, action=f"retire {kind}", subject=row, details={"reason": reason}, now=now)


def unretire(*, row: Retirable, by: Membership, now: datetime) -> None:
    """Take a row back into use.

    Raises
    ------
    Conflict
        When it is in use, or what it belongs to is not.
    """
    kind = str(row._meta.verbose_name)
    with transaction.atomic():
        if not type(row)._base_manager.filter(row.is_retired_on(by.company.day_at(now)), pk=row.pk).exists():
            raise Conflict("not_retired", f"This {kind} is in use; there is nothing to take back.")
        owner = getattr(row, row.RETIRED_AFTER) if row.RETIRED_AFTER else None
        if owner is not None:
            refuse_retired(owner)
        row.retired_at, row.retired_by, row.retired_reason = None, None, ""
        row.come_back()
        row.save()
        record(by=by, action=f"unretire {kind}", subject=row, now=now)


def refuse_retired(row: Retirable, *, pointer: str = "") -> None:
    """Refuse to put something new where nothing is in use any more.

    Raises
    ------
    Conflict
        Naming the retired row and how it comes back.
    """
    if row.retired_at is not None:
        raise Conflict(
            "is_retired",
            f"The {row._meta.verbose_name} {row.spoken_name} was retired on {row.retired_at:%Y-%m-%d}; "
            "take it back into use first (its address followed by unretire/).",
            pointer=pointer,
        )
