"""Why a reading or one value of it is left out of a forecast; spoken through `accounts.language`."""

from collections.abc import Mapping
from datetime import date
from typing import Final

from accounts.dates import calendar_day
from accounts.language import gettext, gettext_noop

_WHY: Final[Mapping[str, str]] = {
    "impossible_value": gettext_noop("impossible at such a unit"),
    "clock_in_future": gettext_noop("dated after the forecast's day"),
    "before_commissioning": gettext_noop(
        "dated before the unit was commissioned, or ten years before its first cartridge"
    ),
    "factor_of_ten": gettext_noop("ten times too high or too low beside its neighbours in time"),
    "wrong_unit": gettext_noop("seems to be in another unit of measurement"),
    "transposed": gettext_noop("feed and permeate seem to be exchanged"),
    "first_minutes": gettext_noop("sampled in the first minutes after standstill"),
    "static": gettext_noop("read while nothing flowed"),
    "outlier": gettext_noop("far from its neighbours in time"),
    "totaliser_backwards": gettext_noop("the counter ran backwards"),
    "totaliser_jump": gettext_noop("the counter rose faster than the unit can run"),
    "contradicts_other_gauge": gettext_noop("above the gauge upstream of it"),
    "repeated": gettext_noop("repeats another row of the same unit and time"),
}


def why_left_out(code: str) -> str:
    """Why a value was not used, as what follows a colon; KeyError for a code that is not of `EXCLUSION_REASONS`.

    >>> why_left_out("outlier")
    'far from its neighbours in time'
    """
    return gettext(_WHY[code])


def sentence_left_out(what: str, day: date, code: str) -> str:
    """Which value was not used and why, as a sentence; `what` is '' for a whole reading.

    >>> sentence_left_out("product TDS", date(2026, 2, 20), "static")
    'Product TDS of 20 Feb 2026: read while nothing flowed.'
    >>> sentence_left_out("", date(2026, 2, 20), "repeated")[:18]
    'The whole reading '
    """
    name = gettext(what) if what else gettext("the whole reading")
    words = gettext("{name} of {day}: {why}.")
    return words.format(name=f"{name[0].upper()}{name[1:]}", day=calendar_day(day), why=why_left_out(code))
