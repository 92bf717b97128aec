"""One plain sentence per forecast, for the installer and for the client; spoken through `accounts.language`."""

from datetime import UTC, date, datetime, timedelta

import numpy as np

from accounts.dates import calendar_day
from accounts.language import gettext, gettext_noop, ngettext
from fleet.engineering.positions import position_name, position_name_for_client
from fleet.forecasting.answer.results import Forecasts
from fleet.forecasting.distribution import SHOWN
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.tables import Fleet

WHY = {
    words.CAPACITY: gettext_noop("its capacity will be exhausted"),
    words.PRESSURE: gettext_noop("its differential pressure will pass the limit"),
    words.BREAKTHROUGH: gettext_noop("breakthrough will reach the limit"),
    words.MEMBRANE_TREND: gettext_noop("its flow or rejection will fall below the limit"),
    words.MAXIMUM_SERVICE_TIME: gettext_noop("it reaches its maximum service time"),
}
"""What ends the service of a cartridge, by driver; in English, to be spoken with `why_text`."""

_MEDIAN, _EARLY, _LATE = 3, 1, 5


def date_of(day: float, offset_days: float = 0.0) -> date:
    """Calendar date of a day number, in UTC or where clocks are so many days ahead of it."""
    # A sum that should be a midnight may fall short of it by rounding.
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=float(day) + offset_days + 1e-7)).date()


def date_text(day: float, offset_days: float = 0.0) -> str:
    """The same date as a field of a file has it.

    >>> date_text(20_000.5)
    '2024-10-04'
    >>> date_text(20_000.5, 0.5)
    '2024-10-05'
    """
    return date_of(day, offset_days).isoformat()


def spoken_day(day: float, offset_days: float = 0.0) -> str:
    """The same date as a sentence has it.

    >>> spoken_day(20_000.5)
    '4 Oct 2024'
    """
    return calendar_day(date_of(day, offset_days))


def _position_name(fleet: Fleet, position: int) -> str:
    return gettext(position_name(*_place(fleet, position)))


def _first_capital(name: str) -> str:
    """With a capital in front and the rest as it is: 'UV lamp' keeps its own."""
    return name[:1].upper() + name[1:]


def _place(fleet: Fleet, position: int) -> tuple[str, str]:
    """Stage and role of a position."""
    return words.STAGES[fleet.positions.stage[position]], words.ROLES[fleet.positions.role[position]]


_IT_WEARS = gettext_noop("it wears")


def why_text(driver: int) -> str:
    """What ends the service of a cartridge, as a clause."""
    return gettext(WHY.get(driver, _IT_WEARS))


def sentence_for_installer(
    fleet: Fleet,
    forecasts: Forecasts,
    position: int,
    why_exhausted: str = "",
    offset_days: float = 0.0,
    *,
    is_certain: bool = True,
    is_at_its_term: bool = False,
) -> str:
    """What an installer needs to know about one position: when, how sure, why, and on what evidence.

    Parameters
    ----------
    fleet, forecasts
        The fleet and its forecasts.
    position
        Row of the position, from 0.
    why_exhausted
        For one that is exhausted by now: why (`reasons.explain_exhaustion`).
    offset_days
        How far the clocks by which dates are told are ahead of UTC.
    is_certain
        Whether a reading or the maximum service time says that it is exhausted; what is only likely is told as likely.
    is_at_its_term
        Whether it is the maximum service time. What is to be done about a membrane that reads badly is for the findings
        of its unit to say, of which a forecast knows nothing: feed that leaks past its seals reads the same.
    """
    name = _position_name(fleet, position)
    state = int(forecasts.state[position])
    if forecasts.no_date_reason[position]:
        reason = gettext(str(forecasts.no_date_reason[position]))
        return gettext("{name}: {reason}").format(name=_first_capital(name), reason=reason)
    dates = forecasts.grid_day[position, SHOWN]
    why = why_text(int(forecasts.driver[position]))
    used = int(forecasts.readings_used[position])
    lives = int(forecasts.past_lives[position])
    evidence = []
    if used:
        # Whole days that went by: what was read this morning is not a day old in the afternoon.
        age = int(forecasts.newest_reading_age_days[position])
        old = ngettext("{days} day old", "{days} days old", age).format(days=age) if age > 0 else ""
        readings = ngettext("{count} reading, {old}", "{count} readings, the newest {old}", used)
        evidence.append(readings.format(count=used, old=old or gettext("less than a day old")))
    elif lives:
        evidence.append(gettext("no reading of this cartridge"))
    else:
        evidence.append(gettext("no reading of this cartridge, only its label and load"))
    if lives:
        earlier = ngettext("{count} earlier cartridge here", "{count} earlier cartridges here", lives)
        evidence.append(earlier.format(count=lives))
    left_out = int(forecasts.readings_excluded[position])
    if left_out:
        evidence.append(
            ngettext(
                "{count} reading left out as not usable", "{count} readings left out as not usable", left_out
            ).format(count=left_out)
        )
    basis = "; ".join(evidence)
    if state == words.EXHAUSTED_NOW:
        if is_certain:
            verdict = gettext("{name}: exhausted by now{because} ({basis}){action}.")
        else:
            verdict = gettext("{name}: probably exhausted by now{because} ({basis}){action}.")
        if _lag_holds(fleet, forecasts, position):
            # as planning decides: a lead gives way to a lag that still works
            action = gettext("; rotate it at the next visit")
        elif _is_membrane(fleet, position) and not is_at_its_term:
            action = ""
        else:
            action = gettext("; replace it at the next visit")
        return verdict.format(name=_first_capital(name), because=_because(why_exhausted), basis=basis, action=action)
    median, early, late = (spoken_day(dates[level], offset_days) for level in (_MEDIAN, _EARLY, _LATE))
    if dates[_LATE] - dates[_EARLY] < 1.0:
        sentence = gettext("{name}: {why} on {median}; {basis}.")
    else:
        sentence = gettext("{name}: {why} around {median} (8 in 10: {early} to {late}); {basis}.")
    return sentence.format(name=_first_capital(name), why=why, median=median, early=early, late=late, basis=basis)


def _because(why_exhausted: str) -> str:
    return gettext(", because {why}").format(why=why_exhausted) if why_exhausted else ""


def _is_membrane(fleet: Fleet, position: int) -> bool:
    return int(fleet.positions.stage[position]) == words.MEMBRANE


def _lag_holds(fleet: Fleet, forecasts: Forecasts, position: int) -> bool:
    """Whether a position is a lead behind which a lag stands that is not exhausted."""
    positions = fleet.positions
    if int(positions.role[position]) != words.LEAD:
        return False
    beside = (positions.unit_index == positions.unit_index[position]) & (positions.stage == positions.stage[position])
    lags = np.flatnonzero(beside & (positions.role == words.LAG))
    return any(int(forecasts.state[lag]) == words.INSTALLED for lag in lags)


def sentence_for_client(
    fleet: Fleet,
    forecasts: Forecasts,
    position: int,
    why_exhausted: str = "",
    offset_days: float = 0.0,
    *,
    is_certain: bool = True,
    is_at_its_term: bool = False,
) -> str:
    """What a client wants to know about one position, without figures that need explaining.

    The parameters are those of `sentence_for_installer`.
    """
    name = gettext(position_name_for_client(*_place(fleet, position)))
    state = int(forecasts.state[position])
    if state == words.EMPTY:
        return gettext("There is no {name} in your unit at the moment.").format(name=name)
    if forecasts.no_date_reason[position]:
        return gettext("Your {name} is not in use, so there is no date for replacing it.").format(name=name)
    if state == words.EXHAUSTED_NOW:
        if is_certain:
            verdict = gettext("Your {name} is exhausted{because}; {next_step}.")
        else:
            verdict = gettext("Your {name} is probably exhausted{because}; {next_step}.")
        if _lag_holds(fleet, forecasts, position):
            next_step = gettext("by our estimate the one after it still works")
        elif _is_membrane(fleet, position) and not is_at_its_term:
            next_step = gettext("we will see to it")
        else:
            next_step = gettext("it should be replaced now")
        return verdict.format(name=name, because=_because(why_exhausted), next_step=next_step)
    median = spoken_day(forecasts.grid_day[position, SHOWN[_MEDIAN]], offset_days)
    return gettext("Your {name} should be replaced around {date}; this is an estimate.").format(name=name, date=median)
