"""What is said of rounds: the day of an installer, moves by hand, plans."""

from datetime import time

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
