"""The year: water temperature, what people draw, when nobody works."""

import math
from datetime import date, timedelta

from fleet.demo.scenario import Supply

_DEMAND_SWING = {"reef": 0.10, "planted": 0.12, "drinking": 0.18, "coffee": -0.10, "laboratory": -0.12}
"""Summer over winter: tanks evaporate more and people drink more in the heat; coffee and laboratories slow down."""


def share_of_year(day: date) -> float:
    """0 at new year, 1 a year on."""
    return (day.timetuple().tm_yday - 1) / 365.25


def water_temperature_degc(day: date, supply: Supply) -> float:
    """Temperature of the supply: a cosine with its low in late February, as buried mains lag the air."""
    middle = (supply.warmest_degc + supply.coldest_degc) / 2
    swing = (supply.warmest_degc - supply.coldest_degc) / 2
    return middle - swing * math.cos(2 * math.pi * (share_of_year(day) - 0.14))


def feed_tds_factor(day: date, supply: Supply) -> float:
    """Feed TDS against its mean: higher in late summer, when rivers are low."""
    return 1.0 + supply.tds_swing * math.cos(2 * math.pi * (share_of_year(day) - 0.70))


def is_holiday(day: date) -> bool:
    """The company's closed days: turn of the year and 1 May; the rest of the calendar is left to the office."""
    return (day.month, day.day) in {(12, 24), (12, 25), (12, 26), (12, 31), (1, 1), (5, 1)}


def is_working_day(day: date) -> bool:
    """Monday to Friday, holidays out."""
    return day.weekday() < 5 and not is_holiday(day)


def next_working_day(day: date) -> date:
    """This day, or the first working day after it."""
    while not is_working_day(day):
        day += timedelta(days=1)
    return day


def demand_factor(day: date, use: str, away: tuple[tuple[date, int], ...] = ()) -> float:
    """What is drawn on a day against the mean: season, weekend, and weeks away.

    Parameters
    ----------
    away
        First day and length in days of the holidays of this client.
    """
    factor = 1.0 - _DEMAND_SWING[use] * math.cos(2 * math.pi * (share_of_year(day) - 0.06))
    if use in {"coffee", "laboratory"}:
        if is_holiday(day) or (use == "laboratory" and day.weekday() >= 5):
            return 0.05
        factor *= 7 / 5.2 if use == "laboratory" else 1.0
    for first, days in away:
        if first <= day < first + timedelta(days=days):
            # Somebody tops the tank up; nobody draws a glass of water.
            factor *= 0.6 if use in {"reef", "planted"} else 0.1
    return factor
