"""Dates of a unit, and moments at which a cartridge can have come or gone."""

from datetime import date, datetime
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Min

from accounts.day_alone import local_day, moment_in_words
from accounts.errors import Conflict, Fault, InvalidInput
from fleet.models import Placement, Reading, Unit

FIRST_YEAR: Final = 1990
"""Earlier dates are slips of the keyboard: a choice of this house, no source."""


def faults_of_dates(commissioned_on: date, retired_on: date | None) -> list[Fault]:
    """What is wrong with the dates of a unit by themselves: it began in another age, or ends before it begins."""
    faults = []
    if commissioned_on.year < FIRST_YEAR:
        faults.append(Fault("/commissioned_on", f"{commissioned_on} is before {FIRST_YEAR}; look at the year."))
    if retired_on is not None and retired_on < commissioned_on:
        sentence = f"The unit cannot be retired before it was commissioned on {commissioned_on}."
        faults.append(Fault("/retired_on", sentence))
    return faults


def refuse_later_commissioning(unit: Unit) -> None:
    """Refuse a day of commissioning after the first reading or cartridge of the unit.

    Raises
    ------
    Conflict
        Naming what is older, and what to do.
    """
    firsts = {
        "reading": Reading.objects.current().filter(unit=unit).aggregate(at=Min("taken_at"))["at"],
        "cartridge": Placement.objects.filter(position__unit=unit).aggregate(at=Min("placed_at"))["at"],
    }
    zone = ZoneInfo(unit.site.time_zone)
    days = {name: at.astimezone(zone).date() for name, at in firsts.items() if at is not None}
    older = [f"the first {name} of {day}" for name, day in days.items() if day < unit.commissioned_on]
    if older:
        raise Conflict(
            "commissioned_after_records",
            f"{unit.commissioned_on} is after {' and '.join(older)} of {unit.code}; give a day not after "
            f"{min(days.values())}, or correct or void what is older first.",
            pointer="/commissioned_on",
        )


def check_moment(unit: Unit, at: datetime, now: datetime, pointer: str) -> None:
    """Refuse a moment in the future, before the unit was commissioned, or of another age.

    Raises
    ------
    InvalidInput
        Pointing at `pointer`.
    """
    if at > now:
        raise InvalidInput(
            "in_the_future", f"{moment_in_words(at)} is in the future; give when it was done.", pointer=pointer
        )
    if at.year < FIRST_YEAR:
        raise InvalidInput("too_long_ago", f"{at:%Y-%m-%d} is before {FIRST_YEAR}; look at the year.", pointer=pointer)
    day = local_day(at, ZoneInfo(unit.site.time_zone))
    if day < unit.commissioned_on:
        raise InvalidInput(
            "before_commissioning",
            f"{day} is before {unit.code} was commissioned on {unit.commissioned_on}; give another date, or correct "
            "commissioned_on of the unit first.",
            pointer=pointer,
        )
