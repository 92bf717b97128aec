"""Why a stop is on its day, with its installer, in its place: clauses that a sentence joins."""

from collections.abc import Iterable
from datetime import date, datetime
from zoneinfo import ZoneInfo

from accounts.dates import long_day
from accounts.language import gettext, ngettext
from scheduling.models import Stop, Visit

# Less is no reason for anything.
_LEAST_MONEY = 0.5


def sentence_of(stop: Stop) -> str:
    """Why a stop is on its day, with its installer, in its place, as things stand; empty where nobody knows.

    What a person locked, or confirmed with the client since, holds before all that the planner weighed.
    """
    visit = stop.visit
    if visit.locked_start is not None:
        day = locked(visit.lock_reason)
    elif visit.state in Visit.CONFIRMED_OR_UNDER_WAY:
        day = confirmed()
    else:
        day = stop.day_reason
    text = joined([day, stop.place_reason])
    return f"{text[:1].upper()}{text[1:]}." if text else ""


def locked(reason: str) -> str:
    """A person fixed it."""
    return gettext("locked here by hand ({reason})").format(reason=reason) if reason else gettext("locked here by hand")


def moved_by_hand() -> str:
    """A person moved it."""
    return gettext("moved here by hand")


def confirmed() -> str:
    """The client counts on it."""
    return gettext("confirmed with the client for this time")


def urgent() -> str:
    """It cannot wait."""
    return gettext("urgent, and possible on no earlier day")


def only_day() -> str:
    """Access, installers at work, skills and parts leave no other day."""
    return gettext("no other day of this plan is possible")


def parts_come(day: date) -> str:
    """It waited for its parts."""
    return gettext("the parts come by {day}").format(day=long_day(day))


def cheapest(other: date, more: float, currency: str) -> str:
    """By itself it costs least on this day."""
    if more < _LEAST_MONEY:
        return gettext("no other day is cheaper")
    words = gettext("costs least on this day: {day} would cost {money:.2f} {currency} more")
    return words.format(day=long_day(other), money=more, currency=currency)


def cheaper_together(other: date, less: float, currency: str) -> str:
    """By itself another day would do better, with all others this one does."""
    if less < _LEAST_MONEY:
        return gettext("its day hardly matters, and of all rounds tried those with it here cost least")
    words = gettext(
        "its work alone would cost {money:.2f} {currency} less on {day}, but of all rounds tried those with it "
        "here cost least"
    )
    return words.format(day=long_day(other), money=less, currency=currency)


def nobody_else(installer: str) -> str:
    """Of those at work nobody else can or may do it."""
    return gettext("nobody but {installer} can do it on this day").format(installer=installer)


def shortest_way(installer: str, detour_s: int) -> str:
    """Nobody's detour is shorter."""
    minutes = round(detour_s / 60)
    words = ngettext(
        "{installer} has the shortest detour, {minutes} minute",
        "{installer} has the shortest detour, {minutes} minutes",
        minutes,
    )
    return words.format(installer=installer, minutes=minutes)


def cheapest_with(installer: str) -> str:
    """Somebody else's detour is shorter, but not what all rounds cost."""
    return gettext("somebody else is nearer, but of all rounds tried those with {installer} here cost least").format(
        installer=installer
    )


def window_opens(at: datetime, zone: str) -> str:
    """It could not begin any earlier."""
    return gettext("not before the site opens at {time:%H:%M}").format(time=at.astimezone(ZoneInfo(zone)))


def near_planned(at: datetime, zone: str) -> str:
    """A repair keeps it near the time of the plan before."""
    words = gettext("not before {time:%H:%M}, near the time planned before")
    return words.format(time=at.astimezone(ZoneInfo(zone)))


def window_closes(at: datetime, zone: str) -> str:
    """One place later it could not begin in time."""
    return gettext("work must begin by {time:%H:%M} to be done before the site closes").format(
        time=at.astimezone(ZoneInfo(zone))
    )


def offer_begins(at: datetime, zone: str) -> str:
    """The client was offered a window, and it could not begin any earlier in it."""
    words = gettext("not before {time:%H:%M}, when the time offered to the client begins")
    return words.format(time=at.astimezone(ZoneInfo(zone)))


def offer_ends(at: datetime, zone: str) -> str:
    """The client was offered a window; one place later it would begin too late for it."""
    words = gettext("not later than {time:%H:%M}, when the time offered to the client ends")
    return words.format(time=at.astimezone(ZoneInfo(zone)))


def drive(drive_s: int, *, is_first: bool) -> str:
    """How far it is from where the installer comes."""
    minutes = round(drive_s / 60)
    if is_first:
        words = ngettext(
            "{minutes} minute from where the round begins", "{minutes} minutes from where the round begins", minutes
        )
    else:
        words = ngettext("{minutes} minute from the stop before", "{minutes} minutes from the stop before", minutes)
    return words.format(minutes=minutes)


def joined(clauses: Iterable[str]) -> str:
    """Clauses that follow one another."""
    return "; ".join(clause for clause in clauses if clause)
