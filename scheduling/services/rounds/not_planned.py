"""Why a visit whose time is confirmed stands in no published round, and what brings it into one."""

from datetime import date, datetime, timedelta

from accounts.models import Company
from scheduling.models import Visit
from scheduling.services.rounds.problem import MOST_DAYS
from scheduling.services.words import rounds as words

#: A plan made on its own begins today or tomorrow; so many days before, it reaches a day in any case.
_REACH = timedelta(days=MOST_DAYS - 1)


def is_within_reach(day: date, today: date) -> bool:
    """Whether a plan made now would hold what was told for a day."""
    return day - today <= _REACH


def why_in_no_round(visit: Visit, *, company: Company, now: datetime) -> str:
    """Why nobody drives to a visit yet, for one that stands in no published round; empty where no time is confirmed.

    A time further ahead than a plan reaches waits: installers' absences, parts and the other visits of that day are
    not known yet, and each day's plan reaches a day further.
    """
    at = visit.appointment_at
    if visit.state != Visit.State.CONFIRMED or at is None or at <= now:
        return ""
    day, today = company.day_at(at), company.day_at(now)
    if not is_within_reach(day, today):
        return words.comes_within_reach(day, day - _REACH, MOST_DAYS)
    return words.plan_its_day(day)
