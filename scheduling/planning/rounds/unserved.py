"""Why a visit is not in the plan."""

from __future__ import annotations

import enum
from dataclasses import dataclass


class UnservedReason(enum.StrEnum):
    """What kept a visit out."""

    NO_SKILLED_INSTALLER = "no_skilled_installer"
    NO_OPEN_DAY = "no_open_day"
    CANNOT_BE_REACHED = "cannot_be_reached"
    VAN_STOCK = "van_stock"
    NOT_WORTH_IT = "not_worth_it"
    DAYS_ARE_FULL = "days_are_full"
    DEARER_THAN_WAITING = "dearer_than_waiting"
    NOT_FOUND = "not_found"


@dataclass(frozen=True, slots=True)
class Unserved:
    """One visit that was left out.

    Attributes
    ----------
    visit
        Its key.
    reason
        What kept it out.
    sentence
        The same for a person to read.
    displaces
        The visit that would have to give way, when the days are full; else empty.
    extra_cents
        How much dearer the plan would be with it in; None when it cannot be put in at any price.
    """

    visit: str
    reason: UnservedReason
    sentence: str
    displaces: str = ""
    extra_cents: int | None = None
