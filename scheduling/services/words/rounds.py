"""What is said of rounds: the day of an installer, moves by hand, plans."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from accounts.dates import long_day
from accounts.language import gettext, ngettext


def hours(opens: time, closes: time) -> str:
    """When a site can be entered."""
    if (opens, closes) == (time.min, time.max):
        return gettext("at any time")
    return gettext("{opens:%H:%M} to {closes:%H:%M}").format(opens=opens, closes=closes)


# a stop moved by hand


def ask_client_first(site: str) -> str:
    """The visit is confirmed for another time or installer."""
    words = gettext("{site} is confirmed with the client; ask first, then send confirmed as true.")
    return words.format(site=site)


def locked_by(person: str, reason: str) -> str:
    """Somebody wants the stop to stay; empty where nobody knows who."""
    words = gettext("{person} locked this stop: {reason}")
    return words.format(person=person or gettext("Somebody"), reason=reason)


def offered_other_times(site: str) -> str:
    """The client may choose a time that the move rules out."""
    words = gettext("{site} was offered other times, and the client may still choose one of them.")
    return words.format(site=site)


# what clients answer to the rounds


def confirmed_otherwise(site: str) -> str:
    """The time confirmed fits into no round of the plan."""
    words = gettext("{site}: the time confirmed with the client fits into no round of this plan; plan the day again.")
    return words.format(site=site)


def declined(site: str) -> str:
    """The client declined the times of the plan."""
    return gettext("{site}: the client declined the times offered; the visit is planned anew.").format(site=site)


def withdrawn(site: str) -> str:
    """The time confirmed was taken back."""
    return gettext("{site}: the confirmed time was taken back; the visit is planned anew.").format(site=site)


# what of a plan does not fit any more, and what helps


def not_ahead(site: str, visit: int, state: str) -> str:
    """The visit has moved on since the plan was made."""
    words = gettext("{site}: visit {visit} {state} by now.")
    return words.format(site=site, visit=visit, state=gettext(state))


def time_differs(site: str, visit: int) -> str:
    """The client was told another time than the plan's."""
    return gettext("{site}: visit {visit} was confirmed for another time since.").format(site=site, visit=visit)


def locked_otherwise(site: str, visit: int) -> str:
    """Somebody wants the stop elsewhere."""
    words = gettext("{site}: visit {visit} is locked at another time or place since.")
    return words.format(site=site, visit=visit)


def installer_retired(site: str, visit: int, installer: str, day: date) -> str:
    """Whoever is to come is no installer any more."""
    words = gettext("{site}: visit {visit} on {day} is in the round of {installer}, who is retired.")
    return words.format(site=site, visit=visit, installer=installer, day=long_day(day))


def installer_away(site: str, visit: int, installer: str, day: date) -> str:
    """Whoever is to come does not work then."""
    words = gettext("{site}: visit {visit} on {day} is in the round of {installer}, who does not work then.")
    return words.format(site=site, visit=visit, installer=installer, day=long_day(day))


def in_no_round(site: str, visit: int, day: date, *, locked: bool) -> str:
    """Somebody counts on the visit, and nobody drives there."""
    if locked:
        words = gettext("{site}: visit {visit} has been locked on {day} and is in no round of this plan.")
    else:
        words = gettext("{site}: visit {visit} has been confirmed for {day} and is in no round of this plan.")
    return words.format(site=site, visit=visit, day=long_day(day))


def comes_within_reach(day: date, reached_on: date, days: int) -> str:
    """A confirmed time lies further ahead than plans reach."""
    words = gettext("Plans reach {days} days ahead. {day} lies later: a plan made from {reached_on} on holds it.")
    return words.format(days=days, day=long_day(day, year=True), reached_on=long_day(reached_on, year=True))


def plan_its_day(day: date) -> str:
    """A confirmed time lies within reach, and no published plan holds it."""
    return gettext("No published plan holds it: plan {day}, and publish.").format(day=long_day(day))


def repair_plan() -> str:
    """What helps against stops that nobody can make."""
    return gettext("Repair the published plan, and publish the answer.")


def plan_days() -> str:
    """What helps against a plan that is older than what is known."""
    return gettext("Plan the days again, and publish that plan.")


def confirm_other_time() -> str:
    """What helps where nobody can keep a time."""
    return gettext("Agree another time with the client, and confirm it.")


def take_lock_off() -> str:
    """What helps where nobody can keep a lock."""
    return gettext("Take the lock off, and plan again.")


def cannot_be_published(rows: int) -> str:
    """How many rows of the plan stand in the way."""
    words = ngettext(
        "The plan cannot be published: {rows} row does not fit what is known now.",
        "The plan cannot be published: {rows} rows do not fit what is known now.",
        rows,
    )
    return words.format(rows=rows)


def prevents(sentence: str, helps: str) -> str:
    """One row that stands in the way, and what helps."""
    return gettext("{sentence} {helps}").format(sentence=sentence, helps=helps)


# plans and how far they are


def nobody_active(site: str) -> str:
    """There is no installer to make the visit."""
    return gettext("{site}: no installer of the company is active.").format(site=site)


def waits(site: str, wait: str) -> str:
    """The visit waits for parts, in the words of the parts."""
    return gettext("{site}: {wait}").format(site=site, wait=wait)


def location_unknown(code: str, site: str) -> str:
    """Nobody has said where the site is, so no drive there can be timed."""
    words = gettext("{site}: its location is unknown; give site {code} its latitude and longitude.")
    return words.format(site=site, code=code)


def best_so_far(step: str, money: float, currency: str) -> str:
    """What the planner does, and what its best plan costs."""
    words = gettext("{step}; best so far {money:.2f} {currency}")
    return words.format(step=gettext(step), money=money, currency=currency)


def learning_driving_times() -> str:
    """How far the nightly run is."""
    return gettext("learning driving times")


def finding_work() -> str:
    """How far the nightly run is."""
    return gettext("finding what must be done")


def bundling_visits() -> str:
    """How far the nightly run is."""
    return gettext("bundling visits")


def planning_rounds() -> str:
    """How far the nightly run is."""
    return gettext("planning rounds")


def done() -> str:
    """How far the nightly run is."""
    return gettext("done")


# a plan that is offered


def too_soon_to_offer(site: str, starts_at: datetime, zone: ZoneInfo, lead: timedelta) -> str:
    """Why a planned time is not offered by letter."""
    words = gettext(
        "{site}: {time} today is less than {hours:.0f} hours from a client who must read a letter first; call, and "
        "enter the time they agree to."
    )
    hours = lead.total_seconds() / 3600.0
    return words.format(site=site, time=f"{starts_at.astimezone(zone):%H:%M}", hours=hours)


# a policy before it is stored


def simulating(way: str) -> str:
    """Which way of deciding is simulated."""
    return gettext("simulating: {way}").format(way=gettext(way))


def at_price_of_bad_water(factor: float) -> str:
    """The policy with a multiple of its price of bad water."""
    return gettext("policy, bad water at {factor:g} times its price").format(factor=factor)


def every_months(months: int) -> str:
    """A fixed interval."""
    return ngettext("every {months} month", "every {months} months", months).format(months=months)
