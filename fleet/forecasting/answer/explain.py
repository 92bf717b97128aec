"""One plain sentence per forecast, for the installer and for the client."""

from datetime import UTC, datetime, timedelta

import numpy as np

from fleet.forecasting.answer.results import Forecasts
from fleet.forecasting.distribution import SHOWN
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.tables import Fleet

_STAGE_NAMES = ("sediment filter", "carbon", "membrane", "resin")
_WHY = {
    words.CAPACITY: "its capacity will be exhausted",
    words.PRESSURE: "its differential pressure will pass the limit",
    words.BREAKTHROUGH: "breakthrough will reach the limit",
    words.MEMBRANE_TREND: "its flow or rejection will fall below the limit",
    words.MAXIMUM_SERVICE_TIME: "it reaches its maximum service time",
}
_MEDIAN, _EARLY, _LATE = 3, 1, 5


def date_text(day: float, offset_days: float = 0.0) -> str:
    """Calendar date of a day number, in UTC or where clocks are so many days ahead of it.

    >>> date_text(20_000.5)
    '2024-10-04'
    >>> date_text(20_000.5, 0.5)
    '2024-10-05'
    """
    # A sum that should be a midnight may fall short of it by rounding.
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=float(day) + offset_days + 1e-7)).date().isoformat()


def position_name(fleet: Fleet, position: int) -> str:
    """Stage of a position with its role where there are two, as a practitioner would say it."""
    role = int(fleet.positions.role[position])
    name = _STAGE_NAMES[int(fleet.positions.stage[position])]
    return name if role == words.SINGLE else f"{words.ROLES[role]} {name}"


def sentence_for_installer(
    fleet: Fleet,
    forecasts: Forecasts,
    position: int,
    why_exhausted: str = "",
    offset_days: float = 0.0,
    *,
    is_certain: bool = True,
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
    """
    name = position_name(fleet, position)
    state = int(forecasts.state[position])
    if forecasts.no_date_reason[position]:
        return f"{name.capitalize()}: {forecasts.no_date_reason[position]}"
    dates = forecasts.grid_day[position, SHOWN]
    why = _WHY.get(int(forecasts.driver[position]), "it wears")
    used = int(forecasts.readings_used[position])
    lives = int(forecasts.past_lives[position])
    evidence = []
    if used:
        # Whole days that went by: what was read this morning is not a day old in the afternoon.
        age = int(forecasts.newest_reading_age_days[position])
        old = f"{age} day{'' if age == 1 else 's'} old" if age > 0 else "less than a day old"
        evidence.append(f"{used} reading{'s' if used > 1 else ''}, {'the newest ' if used > 1 else ''}{old}")
    else:
        evidence.append("no reading of this cartridge" + ("" if lives else ", only its label and load"))
    if lives:
        evidence.append(f"{lives} earlier cartridge{'s' if lives > 1 else ''} here")
    left_out = int(forecasts.readings_excluded[position])
    if left_out:
        evidence.append(f"{left_out} reading{'s' if left_out > 1 else ''} left out as not usable")
    basis = "; ".join(evidence)
    if state == words.EXHAUSTED_NOW:
        because = f", because {why_exhausted}" if why_exhausted else ""
        verdict = "exhausted" if is_certain else "probably exhausted"
        return f"{name.capitalize()}: {verdict} by now{because} ({basis}); change it at the next visit."
    if dates[_LATE] - dates[_EARLY] < 1.0:
        return f"{name.capitalize()}: {why} on {date_text(dates[_MEDIAN], offset_days)}; {basis}."
    return (
        f"{name.capitalize()}: {why} around {date_text(dates[_MEDIAN], offset_days)} "
        f"(8 in 10: {date_text(dates[_EARLY], offset_days)} to {date_text(dates[_LATE], offset_days)}); {basis}."
    )


def _lag_holds(fleet: Fleet, forecasts: Forecasts, position: int) -> bool:
    """Whether a position is a lead behind which a lag stands that is not exhausted."""
    positions = fleet.positions
    if int(positions.role[position]) != words.LEAD:
        return False
    beside = (positions.unit_index == positions.unit_index[position]) & (positions.stage == positions.stage[position])
    lags = np.flatnonzero(beside & (positions.role == words.LAG))
    return any(int(forecasts.state[lag]) == words.INSTALLED for lag in lags)


def sentence_for_client(
    fleet: Fleet, forecasts: Forecasts, position: int, why_exhausted: str = "", offset_days: float = 0.0
) -> str:
    """What a client wants to know about one position, without figures that need explaining."""
    name = position_name(fleet, position)
    state = int(forecasts.state[position])
    if state == words.EMPTY:
        return f"There is no {name} in your unit at the moment."
    if forecasts.no_date_reason[position]:
        return f"Your {name} is not in use, so it has no change date."
    if state == words.EXHAUSTED_NOW:
        because = f", because {why_exhausted}" if why_exhausted else ""
        if _lag_holds(fleet, forecasts, position):
            return f"Your {name} is exhausted{because}; by our estimate the one after it still works."
        return f"Your {name} is due for a change now{because}."
    date = date_text(forecasts.grid_day[position, SHOWN[_MEDIAN]], offset_days)
    return f"Your {name} should be changed around {date}; this is an estimate."
