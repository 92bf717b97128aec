"""Moments at which a cartridge can have come or gone."""

from datetime import datetime
from typing import Final
from zoneinfo import ZoneInfo

from accounts.errors import InvalidInput
from fleet.models import Unit

FIRST_YEAR: Final = 1990
"""Earlier dates are slips of the keyboard: a choice of this house, no source."""


def check_moment(unit: Unit, at: datetime, now: datetime, pointer: str) -> None:
    """Refuse a moment in the future, before the unit was commissioned, or of another age.

    Raises
    ------
    InvalidInput
        Pointing at `pointer`.
    """
    if at > now:
        raise InvalidInput(
            "in_the_future", f"{at:%Y-%m-%d %H:%M} UTC is in the future; give when it was done.", pointer=pointer
        )
    if at.year < FIRST_YEAR:
        raise InvalidInput("too_long_ago", f"{at:%Y-%m-%d} is before {FIRST_YEAR}; look at the year.", pointer=pointer)
    day = at.astimezone(ZoneInfo(unit.site.time_zone)).date()
    if day < unit.commissioned_on:
        raise InvalidInput(
            "before_commissioning",
            f"{day} is before {unit.code} was commissioned on {unit.commissioned_on}; give another date, or correct "
            "commissioned_on of the unit first.",
            pointer=pointer,
        )
