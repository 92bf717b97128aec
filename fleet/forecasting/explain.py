"""One plain sentence per forecast, for the installer and for the client."""

from datetime import UTC, datetime, timedelta

import numpy as np

from . import vocabulary as words
from .results import Forecasts
from .scoring import SHOWN
from .tables import Fleet

_STAGE_NAMES = ("sediment filter", "carbon", "membrane", "resin")
_WHY = {
    words.CAPACITY: "its capacity will be used up",
    words.PRESSURE: "its pressure drop will pass the limit",
    words.BREAKTHROUGH: "what it removes will break through",
    words.MEMBRANE_TREND: "its flow or rejection will fall below the limit",
    words.TIME_CAP: "it reaches its age limit",
}
_MEDIAN, _EARLY, _LATE = 3, 1, 5


def date_text(day: float) -> str:
    """Calendar date (UTC) of a day number.

    >>> date_text(20_000.5)
    '2024-10-04'
    """
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=float(day))).date().isoformat()


def position_name(fleet: Fleet, position: int) -> str:
    """Stage of a position with its role where there are two, as a practitioner would say it."""
    role = int(fleet.positions.role[position])
    name = _STAGE_NAMES[int(fleet.positions.stage[position])]
    return name if role == words.SINGLE else f"{words.ROLES[role]} {name}"


def sentence_for_installer(fleet: Fleet, forecasts: Forecasts, position: int, why_spent: str = "") -> str:
    """What an installer needs to know about one position: when, how sure, why, and on what evidence.

    Parameters
    ----------
    fleet, forecasts
        The fleet and its forecasts.
    position
        Row of the position, from 0.
    why_spent
        For one that is exhausted by now: why (`reasons.why_spent`).
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
    if lives:
        evidence.append(f"{lives} earlier cartridge{'s' if lives > 1 else ''} here")
    if not evidence:
        evidence.append("no reading of this cartridge, only its label and load")
    left_out = int(forecasts.readings_excluded[position])
    if left_out:
        evidence.append(f"{left_out} reading{'s' if left_out > 1 else ''} left out as not usable")
    basis = "; ".join(evidence)
    if state == words.SPENT:
        because = f", because {why_spent}" if why_spent else ""
        return f"{name.capitalize()}: exhausted by now{because} ({basis}); change it at the next visit."
    if dates[_LATE] - dates[_EARLY] < 1.0:
        return f"{name.capitalize()}: {why} on {date_text(dates[_MEDIAN])}; {basis}."
    return (
        f"{name.capitalize()}: {why} around {date_text(dates[_MEDIAN])} "
        f"(8 in 10: {date_text(dates[_EARLY])} to {date_text(dates[_LATE])}); {basis}."
    )


def sentence_for_client(fleet: Fleet, forecasts: Forecasts, position: int, why_spent: str = "") -> str:
    """What a client wants to know about one position, without figures that need explaining."""
    name = position_name(fleet, position)
    state = int(forecasts.state[position])
    if state == words.EMPTY:
        return f"There is no {name} in your unit at the moment."
    if forecasts.no_date_reason[position]:
        return f"Your {name} is not in use, so it has no change date."
    if state == words.SPENT:
        return f"Your {name} is due for a change now{f', because {why_spent}' if why_spent else ''}."
    date = date_text(forecasts.grid_day[position, SHOWN[_MEDIAN]])
    return f"Your {name} should be changed around {date}; this is an estimate."


_BEARS_ON = (
    ("line_pressure_kpa", "prefilter_outlet_pressure_kpa"),
    ("carbon_outlet_total_chlorine_mg_per_l", "carbon_outlet_free_chlorine_mg_per_l", "interstage_chlorine_mg_per_l"),
    ("permeate_flow_l_per_day", "inlet_pressure_kpa", "feed_tds_mg_per_l", "permeate_tds_mg_per_l"),
    ("interstage_tds_mg_per_l", "product_tds_mg_per_l", "permeate_tds_mg_per_l"),
)
_UNITS = {"kpa": "kPa", "mg_per_l": "mg/L", "l_per_day": "L/day"}
MOVED_DAYS = 7.0


def sentence_for_change(fleet: Fleet, before: Forecasts, after: Forecasts, position: int) -> str:
    """Why a forecast moved between two runs on the same positions, from what was read in between.

    Parameters
    ----------
    fleet
        The fleet of the later run.
    before, after
        The two forecasts, rows in the same order of positions.
    position
        Row of the position.

    Returns
    -------
    One sentence; that nothing moved when the median moved by less than a week.
    """
    name = position_name(fleet, position).capitalize()
    if before.placement_index[position] != after.placement_index[position]:
        return f"{name}: another cartridge stands here now, so the forecast starts anew."
    old, new = before.quantile_day[position][_MEDIAN], after.quantile_day[position][_MEDIAN]
    if old != old or new != new:
        return f"{name}: {after.no_date_reason[position] or 'there is a date now, where there was none.'}"
    moved = new - old
    news = _newest_values(fleet, position, before.as_of_day)
    if abs(moved) < MOVED_DAYS:
        return f"{name}: still around {date_text(new)}{'; ' + news + ' agrees' if news else ''}."
    direction = "later" if moved > 0 else "earlier"
    if after.state[position] == words.SPENT and before.state[position] != words.SPENT:
        shown = f": {news} shows it" if news else ""
        return f"{name}: exhausted now, expected only around {date_text(old)} before{shown}."
    cause = news if news else "what was learned from other cartridges and the load since"
    return f"{name}: {abs(moved):.0f} days {direction} than before, now around {date_text(new)}, because of {cause}."


def _newest_values(fleet: Fleet, position: int, since: float) -> str:
    """The newest reading after a day that bears on a position, as a phrase; empty when there is none."""
    readings = fleet.readings
    unit = fleet.positions.unit_index[position]
    names = _BEARS_ON[int(fleet.positions.stage[position])]
    values = np.stack([getattr(readings, name) for name in names])
    bears = np.isfinite(values[:2] if len(names) == 2 else values[: len(names) - 1]).any(axis=0)
    rows = np.flatnonzero((readings.unit_index == unit) & (readings.day > since) & bears)
    rows = rows[readings.day[rows] <= fleet.as_of_day]
    if not len(rows):
        return ""
    row = rows[np.argmax(readings.day[rows])]
    shown = []
    for name, column in zip(names, values, strict=True):
        if column[row] == column[row]:
            suffix = next(unit for unit in _UNITS if name.endswith(unit))
            shown.append(f"{name.removesuffix('_' + suffix).replace('_', ' ')} {column[row]:.3g} {_UNITS[suffix]}")
    return f"the reading of {date_text(readings.day[row])} ({', '.join(shown)})"
