"""Quantities and lists as they stand in a sentence, in the units its reader is used to."""

from collections.abc import Mapping, Sequence
from typing import Final

from accounts.language import gettext, gettext_noop, ngettext
from fleet.engineering.purposes import PURPOSES
from fleet.engineering.units import Kind, to_display


def in_words(value: float, kind: Kind | str, system: str) -> str:
    """Return a quantity as a person says it: whole numbers from 20 on, one decimal below.

    Parameters
    ----------
    value : float
        In the canonical unit of the kind.
    kind : Kind or str
        What it is.
    system : {"us", "metric"}
        Units to say it in.

    Returns
    -------
    str
        Number and unit.

    Raises
    ------
    EngineeringError
        Unknown system.

    Examples
    --------
    >>> in_words(413.6854, "pressure", "us"), in_words(187.7, "flow", "metric"), in_words(8.48, "tds", "metric")
    ('60 psi', '188 L/day', '8.5 mg/L')
    """
    number, unit = to_display(value, kind, system)
    return f"{number:.0f} {unit}" if abs(number) >= 20.0 else f"{round(number, 1):g} {unit}"


def money_in_words(amount: float, currency: str) -> str:
    """Return a price as a person says it, without cents from 20 on.

    Examples
    --------
    >>> money_in_words(64.93, "EUR"), money_in_words(4.6, "EUR")
    ('65 EUR', '4.60 EUR')
    """
    number = f"{amount:.0f}" if amount >= 20.0 else f"{amount:.2f}"
    return f"{number} {currency}".rstrip()


def days_in_words(days: float) -> str:
    """Return a life as a person says it: days, then weeks, months and years.

    Examples
    --------
    >>> [days_in_words(days) for days in (9.4, 49, 93, 365, 1096)]
    ['9 days', '7 weeks', '3 months', '12 months', '3 years']
    """
    return _counted(*_days(days))


def hours_in_words(hours: float) -> str:
    """Return how long a store lasts as a person says it: hours up to two days, then as a life.

    Examples
    --------
    >>> [hours_in_words(hours) for hours in (0.4, 9.6, 30.0, 60.0, 700.0)]
    ['less than an hour', 'about 10 hours', 'about 30 hours', 'about 2 days', 'about 4 weeks']
    """
    if hours < 1.0:
        return gettext("less than an hour")
    if hours >= 48.0:
        return gettext("about {life}").format(life=days_in_words(hours / 24.0))
    number = round(hours)
    words = ngettext("about {number} hour", "about {number} hours", number)
    return words.format(number=number)


def span_in_words(low_days: float, high_days: float) -> str:
    """Return a range of lives as a person says it.

    Examples
    --------
    >>> span_in_words(30.0, 120.0), span_in_words(300.0, 365.0), span_in_words(365.0, 365.0)
    ('4 weeks to 4 months', '10 to 12 months', 'about 12 months')
    """
    (low, unit), (high, other) = _days(low_days), _days(high_days)
    if (low, unit) == (high, other):
        return gettext("about {life}").format(life=_counted(high, unit))
    shortest = f"{low}" if unit == other else _counted(low, unit)
    return gettext("{low} to {high}").format(low=shortest, high=_counted(high, other))


def _days(days: float) -> tuple[int, str]:
    for unit, length, least in (("years", 365.25, 730.0), ("months", 30.44, 75.0), ("weeks", 7.0, 14.0)):
        if days >= least:
            return round(days / length), unit
    return max(round(days), 1), "days"


def _counted(number: int, unit: str) -> str:
    if unit == "years":
        words = ngettext("{number} year", "{number} years", number)
    elif unit == "months":
        words = ngettext("{number} month", "{number} months", number)
    elif unit == "weeks":
        words = ngettext("{number} week", "{number} weeks", number)
    else:
        words = ngettext("{number} day", "{number} days", number)
    return words.format(number=number)


def purpose_in_words(purpose: str) -> str:
    """Return what a fitting is, in words of the trade.

    Examples
    --------
    >>> purpose_in_words("open_tank")
    'open storage tank'
    """
    return gettext(PURPOSES[purpose])


def use_in_words(use: str) -> str:
    """Return a use as it stands in a sentence.

    Examples
    --------
    >>> use_in_words("reef"), use_in_words("coffee")
    ('the reef aquarium', 'coffee')
    """
    return gettext(_USES[use])


_USES: Final[Mapping[str, str]] = {
    "reef": gettext_noop("the reef aquarium"),
    "planted": gettext_noop("the planted aquarium"),
    "drinking": gettext_noop("drinking"),
    "coffee": gettext_noop("coffee"),
    "laboratory": gettext_noop("the laboratory"),
    "hydroponics": gettext_noop("hydroponics"),
    "fish": gettext_noop("fish breeding"),
    "other": gettext_noop("the use asked for"),
}


def listed(names: Sequence[str]) -> str:
    """Return names joined as in a sentence.

    Examples
    --------
    >>> listed(["reef", "coffee", "drinking"])
    'reef, coffee and drinking'
    """
    if len(names) < 2:
        return "".join(names)
    return gettext("{names} and {last}").format(names=", ".join(names[:-1]), last=names[-1])
