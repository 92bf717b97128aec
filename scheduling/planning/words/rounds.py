"""What is said of rounds: what a repaired plan changes, why a visit is left out, what a round breaks."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

from accounts.dates import short_day
from accounts.language import gettext, gettext_noop, ngettext

# how far a plan is, translated where it is told
FIRST_PLAN: Final = gettext_noop("first plan")
IMPROVING: Final = gettext_noop("improving")
DONE: Final = gettext_noop("done")


# what a repaired plan changes


def is_cancelled(name: str, when: str, installer: str) -> str:
    """A visit was cancelled."""
    return gettext("{name}: {when} with {installer} was cancelled.").format(name=name, when=when, installer=installer)


def is_dropped(name: str, when: str, installer: str) -> str:
    """A visit no longer fits."""
    words = gettext("{name}: {when} with {installer} can no longer be made as planned and must be rearranged.")
    return words.format(name=name, when=when, installer=installer)


def is_added(name: str, when: str, installer: str) -> str:
    """A visit is new."""
    return gettext("{name}: new, {when} with {installer}.").format(name=name, when=when, installer=installer)


def is_on_another_day(name: str, before: str, after: str, installer: str) -> str:
    """A visit is on another day."""
    words = gettext("{name}: from {before} to {after}, with {installer}.")
    return words.format(name=name, before=before, after=after, installer=installer)


def is_reassigned(name: str, old: str, new: str, before: str, after: str) -> str:
    """Another installer comes."""
    if before == after:
        return gettext("{name}: {new} comes instead of {old}, {after} as before.").format(
            name=name, old=old, new=new, after=after
        )
    words = gettext("{name}: {new} comes instead of {old}, {after} (was {before}).")
    return words.format(name=name, old=old, new=new, before=before, after=after)


def is_retimed(name: str, before: str, after: str, installer: str) -> str:
    """A visit is at another time of its day."""
    words = gettext("{name}: {after} and not {before}, with {installer}.")
    return words.format(name=name, before=before, after=after, installer=installer)


def moment(day: date, second: int) -> str:
    """A start of work: weekday, day, month and time, of a day and a second of it.

    >>> moment(date(2026, 3, 3), 9 * 3600 + 5 * 60)
    'Tue 3 Mar 09:05'
    """
    return gettext("{day} {time}").format(day=short_day(day), time=time_of_day(second))


# why a visit is in no round


def no_skilled_installer(name: str, skills: Sequence[str]) -> str:
    """Nobody may do what the visit needs."""
    if not skills:
        return gettext("{name}: no installer may do it.").format(name=name)
    return gettext("{name}: no installer may do it (it needs {skills}).").format(name=name, skills=", ".join(skills))


def confirmed_installer_may_not(name: str, installer: str, skills: Sequence[str]) -> str:
    """The client was confirmed an installer who may not do it."""
    if not skills:
        words = gettext("{name}: {installer}, who is confirmed for it, may not do it.")
    else:
        words = gettext("{name}: {installer}, who is confirmed for it, may not do it (it needs {skills}).")
    return words.format(name=name, installer=installer, skills=", ".join(skills))


def no_open_day(name: str, days: int) -> str:
    """The site is closed whenever somebody could come."""
    return ngettext(
        "{name}: on the {days} day planned the site is not open long enough while someone who may do it is at work.",
        "{name}: on none of the {days} days is the site open long enough while someone who may do it is at work.",
        days,
    ).format(name=name, days=days)


def longer_than_a_shift(name: str) -> str:
    """The drive there and back and the work take longer than anybody's shift."""
    return gettext("{name}: even as the only stop of a day it does not fit into a shift.").format(name=name)


def no_van_carries(name: str, parts: Mapping[str, int]) -> str:
    """No van has what it needs aboard; pieces by item."""
    listed = ", ".join(
        gettext("{quantity} of {item}").format(quantity=quantity, item=item) for item, quantity in sorted(parts.items())
    )
    return gettext("{name}: no available van carries the parts it needs ({parts}).").format(name=name, parts=listed)


def not_worth_going(name: str, cents: int, currency: str) -> str:
    """Going costs so much more than waiting."""
    words = gettext("{name}: going now would cost {money} more than waiting, before driving.")
    return words.format(name=name, money=_money(cents, currency))


def dearer_than_waiting(name: str, day: date, installer: str, cents: int, currency: str) -> str:
    """The cheapest place in the rounds costs so much more than waiting."""
    words = gettext("{name}: the cheapest way, {day} with {installer}, costs {money} more than waiting.")
    return words.format(name=name, day=short_day(day), installer=installer, money=_money(cents, currency))


def would_fit(name: str, cents: int, currency: str) -> str:
    """The search missed a place that saves so much."""
    words = gettext("{name}: it would fit and save {money}; plan again with more effort.")
    return words.format(name=name, money=_money(cents, currency))


def days_are_full(name: str) -> str:
    """No other visit could make room."""
    words = gettext("{name}: every suitable day is full, and no single visit of them could make room for it.")
    return words.format(name=name)


def could_displace(name: str, other: str, day: date, installer: str, cents: int, currency: str) -> str:
    """Another visit could make room, for so much more; negative: less."""
    if cents >= 0:
        words = gettext(
            "{name}: every suitable day is full; it could take the place of {other} on {day} with {installer}, and the "
            "plan would cost {money} more."
        )
    else:
        words = gettext(
            "{name}: every suitable day is full; it could take the place of {other} on {day} with {installer}, and the "
            "plan would cost {money} less; plan again with more effort."
        )
    money = _money(abs(cents), currency)
    return words.format(name=name, other=other, day=short_day(day), installer=installer, money=money)


# what a round breaks


def served_twice(name: str, times: int) -> str:
    """A visit is in the plan more than once."""
    return ngettext("{name} is visited {times} time.", "{name} is visited {times} times.", times).format(
        name=name, times=times
    )


def not_together(name: str, other: str) -> str:
    """Two visits that belong together are apart."""
    words = gettext("{name} and {other} must be made one straight after the other.")
    return words.format(name=name, other=other)


def not_apart(name: str, other: str) -> str:
    """Two visits that must be apart are in one round."""
    return gettext("{name} and {other} must not be in one round.").format(name=name, other=other)


def day_off(installer: str, day: date) -> str:
    """The installer does not work that day."""
    return gettext("{installer} does not work on {day}.").format(installer=installer, day=short_day(day))


def not_allowed(installer: str, name: str) -> str:
    """Skills, the client or the office keep the installer away."""
    return gettext("{installer} may not serve {name}.").format(installer=installer, name=name)


def closed_all_day(name: str, day: date) -> str:
    """The visit has no hour on that day."""
    return gettext("{name} cannot be visited on {day}.").format(name=name, day=short_day(day))


def closed_at(name: str, second: int, day: date) -> str:
    """The site is closed when the work would be done; second of the day."""
    words = gettext("{name} is not open for the work at {time} on {day}.")
    return words.format(name=name, time=time_of_day(second), day=short_day(day))


def van_lacks(installer: str, carried: int, item: str, needed: int) -> str:
    """The van carries fewer pieces than the round takes."""
    words = gettext("{installer} carries {carried} of {item}, and the round needs {needed}.")
    return words.format(installer=installer, carried=carried, item=item, needed=needed)


def no_lunch(installer: str, day: date) -> str:
    """The break does not fit."""
    words = gettext("{installer}'s round on {day} has no room for lunch.")
    return words.format(installer=installer, day=short_day(day))


def too_late(installer: str, day: date) -> str:
    """The times of a round cannot be kept."""
    return gettext("{installer}'s round on {day} cannot keep its times.").format(
        installer=installer, day=short_day(day)
    )


def longer_than_a_day(installer: str, day: date) -> str:
    """A round does not end before midnight."""
    return gettext("{installer}'s round on {day} does not fit into the day.").format(
        installer=installer, day=short_day(day)
    )


def home_late(installer: str, minutes: int, day: date) -> str:
    """The installer would work past the end of the shift."""
    return ngettext(
        "{installer} would be home {minutes} minute after the end of the shift on {day}.",
        "{installer} would be home {minutes} minutes after the end of the shift on {day}.",
        minutes,
    ).format(installer=installer, minutes=minutes, day=short_day(day))


def misses_fixed_time(installer: str, name: str, second: int, day: date) -> str:
    """A time that was confirmed or locked cannot be kept; second of the day."""
    words = gettext("{installer} could not be at {name} by {time} on {day}, which is fixed.")
    return words.format(installer=installer, name=name, time=time_of_day(second), day=short_day(day))


def time_of_day(second: int) -> str:
    """Hour and minute of a second of the day.

    >>> time_of_day(9 * 3600 + 5 * 60 + 59)
    '09:05'
    """
    minutes = second // 60
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _money(cents: int, currency: str) -> str:
    return gettext("{money:,.2f} {currency}").format(money=cents / 100, currency=currency)
