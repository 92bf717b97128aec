"""Demand, running hours, waste and tank: the arithmetic of a unit's size."""

import numpy as np

from fleet.engineering.arrays import Numbers, Result, in_range, tidy
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.mass_balance import feed_volume_l


def run_hours_per_day(demand_l_per_day: Numbers, permeate_flow_l_per_day: Numbers) -> Result:
    """Return how many hours a day a unit must run.

    Parameters
    ----------
    demand_l_per_day : float or ndarray
        0 or more.
    permeate_flow_l_per_day : float or ndarray
        Above 0, as it is at the site.

    Returns
    -------
    float or ndarray
        Hours, 0 to 24. Aim at 2 to 10: below 1 standstill and creep dominate, above 12 there is no reserve
        (common practice, no source).

    Raises
    ------
    EngineeringError
        Demand above production, out of range.

    Examples
    --------
    >>> run_hours_per_day(20.0, 200.0)
    2.4
    """
    demand = in_range(demand_l_per_day, "demand_l_per_day", 0.0, unit="L/day")
    flow = in_range(permeate_flow_l_per_day, "permeate_flow_l_per_day", 0.0, unit="L/day", open_low=True)
    hours = demand / flow * 24.0
    if np.any(hours > 24.0):
        raise EngineeringError("demand_l_per_day", "The demand exceeds what this unit produces in 24 hours a day.")
    return tidy(hours)


def wastewater_l_per_week(demand_l_per_week: Numbers, recovery_fraction: Numbers) -> Result:
    """Return the concentrate a demand sends to drain: V (1 - Y)/Y.

    Parameters
    ----------
    demand_l_per_week : float or ndarray
        0 or more.
    recovery_fraction : float or ndarray
        Above 0, up to 1.

    Returns
    -------
    float or ndarray
        L/week, without flush water.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> wastewater_l_per_week(140.0, 0.2)
    560.0
    """
    demand = in_range(demand_l_per_week, "demand_l_per_week", 0.0, unit="L/week")
    return tidy(np.asarray(feed_volume_l(demand, recovery_fraction)) - demand)


def feed_l_per_week(demand_l_per_week: Numbers, recovery_fraction: Numbers) -> Result:
    """Return the feed water a demand takes; parameters and errors as `wastewater_l_per_week`.

    Examples
    --------
    >>> feed_l_per_week(140.0, 0.2)
    700.0
    """
    return feed_volume_l(in_range(demand_l_per_week, "demand_l_per_week", 0.0, unit="L/week"), recovery_fraction)


def tank_usable_volume_l(peak_draw_l: Numbers, permeate_flow_l_per_day: Numbers, draw_window_h: Numbers) -> Result:
    """Return the stored water needed to serve a peak: draw less what is made meanwhile, never below 0.

    Parameters
    ----------
    peak_draw_l, permeate_flow_l_per_day : float or ndarray
        0 or more.
    draw_window_h : float or ndarray
        0 to 168.

    Returns
    -------
    float or ndarray
        Litres; 0 where production alone keeps up with the draw.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(tank_usable_volume_l(60.0, 200.0, 2.0), 2)
    43.33
    """
    draw = in_range(peak_draw_l, "peak_draw_l", 0.0, unit="L")
    flow = in_range(permeate_flow_l_per_day, "permeate_flow_l_per_day", 0.0, unit="L/day")
    window = in_range(draw_window_h, "draw_window_h", 0.0, 168.0, unit="h")
    # Not a clip of bad input: no tank smaller than none exists.
    return tidy(np.maximum(draw - flow * window / 24.0, 0.0))


def reef_weekly_demand_l(
    tank_volume_l: Numbers, *, water_change_fraction_per_week: Numbers, evaporation_fraction_per_day: Numbers = 0.01
) -> Result:
    """Return the water a reef aquarium takes in a week: changes and top-up.

    Parameters
    ----------
    tank_volume_l : float or ndarray
        0 or more.
    water_change_fraction_per_week : float or ndarray
        0 to 1.
    evaporation_fraction_per_day : float or ndarray
        0 to 0.2; 0.01 is common (common practice, no source).

    Returns
    -------
    float or ndarray
        L/week.

    Raises
    ------
    EngineeringError
        Out of range.

    Examples
    --------
    >>> round(reef_weekly_demand_l(400.0, water_change_fraction_per_week=0.1), 6)
    68.0
    """
    volume = in_range(tank_volume_l, "tank_volume_l", 0.0, unit="L")
    change = in_range(water_change_fraction_per_week, "water_change_fraction_per_week", 0.0, 1.0)
    evaporation = in_range(evaporation_fraction_per_day, "evaporation_fraction_per_day", 0.0, 0.2)
    return tidy(volume * (change + 7.0 * evaporation))


def flush_water_l_per_week(starts_per_day: Numbers, flush_l_per_start: Numbers) -> Result:
    """Return the water flushed at starts in a week.

    Parameters
    ----------
    starts_per_day, flush_l_per_start : float or ndarray
        0 or more.

    Returns
    -------
    float or ndarray
        L/week.

    Raises
    ------
    EngineeringError
        Negative value.

    Examples
    --------
    >>> flush_water_l_per_week(6.0, 1.5)
    63.0
    """
    starts = in_range(starts_per_day, "starts_per_day", 0.0)
    return tidy(starts * in_range(flush_l_per_start, "flush_l_per_start", 0.0, unit="L") * 7.0)
