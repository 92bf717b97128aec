"""Who may take back what was entered, and for how long."""

from datetime import datetime, timedelta
from typing import Final

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import Membership
from fleet.models.corrections import Voidable

OWN_ENTRIES: Final = timedelta(days=7)
"""How long an installer may put right what they entered themselves; a choice of this house, no source."""


def refuse_stranger(*, by: Membership, entered_by: int | None, entered_at: datetime | None, now: datetime) -> None:
    """Let office and owner pass, and installers with what they entered within the last seven days.

    Parameters
    ----------
    entered_by
        Id of the membership that entered or did it; None where that is not known.

    Raises
    ------
    NotAllowed
        For everybody else.
    """
    if by.role in (Membership.Role.OWNER, Membership.Role.OFFICE):
        return
    if by.role != Membership.Role.INSTALLER or entered_by != by.pk:
        raise NotAllowed("not_your_entry", "Another person entered this; ask the office to put it right.")
    if entered_at is None or now - entered_at > OWN_ENTRIES:
        raise NotAllowed(
            "entry_too_old",
            f"This was entered more than {OWN_ENTRIES.days} days ago; ask the office to put it right.",
        )


def void(*, row: Voidable, reason: str, by: Membership | None, now: datetime) -> None:
    """Mark a row as taken back; the caller saves it.

    Raises
    ------
    InvalidInput
        Without a reason.
    Conflict
        When it was taken back before.
    """
    if not reason.strip():
        raise InvalidInput("no_reason", "Say in 'reason' why it is taken back.", pointer="/reason")
    if row.voided_at is not None:
        raise Conflict(
            "already_voided",
            f"This was taken back on {row.voided_at:%Y-%m-%d}" + (f": {row.void_reason}" if row.void_reason else "."),
        )
    row.voided_at, row.voided_by, row.void_reason = now, by, reason.strip()
