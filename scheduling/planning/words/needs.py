"""Why there is a need, and what it costs to meet it sooner or later."""

from datetime import date
from typing import Final

from accounts.dates import calendar_day
from accounts.language import gettext, gettext_noop, ngettext

TANK_AND_HOUSINGS: Final = gettext_noop("tank and housings")
UNIT: Final = gettext_noop("unit")
PUMP_AND_PRESSURE: Final = gettext_noop("booster pump and line pressure")


def sanitise_in_interval(every_days: int, *, done_on: date | None, since: date, due_on: date) -> str:
    """A pressurised tank is sanitised in its interval; `since` is the first day on record."""
    if done_on is not None:
        history = gettext("last done on {day}").format(day=calendar_day(done_on))
    else:
        history = gettext("none on record since {day}").format(day=calendar_day(since))
    return ngettext(
        "Pressurised tank: sanitise every {days} day, {history}, due on {due}.",
        "Pressurised tank: sanitise every {days} days, {history}, due on {due}.",
        every_days,
    ).format(days=every_days, history=history, due=calendar_day(due_on))


def unread(days: int, *, was_ever_read: bool) -> str:
    """Nobody has read a unit for so long."""
    if was_ever_read:
        words = ngettext(
            "Nobody has read it for {days} day: its forecasts use only its label and load.",
            "Nobody has read it for {days} days: its forecasts use only its label and load.",
            days,
        )
    else:
        words = ngettext(
            "No reading since it was commissioned {days} day ago: its forecasts use only its label and load.",
            "No reading since it was commissioned {days} days ago: its forecasts use only its label and load.",
            days,
        )
    return words.format(days=days)


def no_cartridge_recorded(name: str) -> str:
    """A position is empty as far as anybody wrote down."""
    words = gettext("No cartridge is recorded in {name}: check, and record what is installed.")
    return words.format(name=gettext(name))


def cheapest_day(day: date, cost: float, later: float | None, currency: str) -> str:
    """The day that costs least, and what four weeks later would cost where that is allowed."""
    if later is not None:
        words = gettext(
            "Cheapest on {day}: {cost:.2f} {currency} of waste and lateness; four weeks later it would be {later:.2f} "
            "{currency}."
        )
    else:
        words = gettext("Cheapest on {day}: {cost:.2f} {currency} of waste and lateness.")
    return words.format(day=calendar_day(day), cost=cost, later=later, currency=currency)
