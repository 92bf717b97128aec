"""The door of this room: a whole fleet in, one distribution of the exhaustion date per position out."""

import numpy as np
from scipy.stats import norm

from . import vocabulary as words
from .nominal import SPREAD, cap_day_of_positions, nominal_lives
from .policy import Policy
from .results import GRID_LEVELS, Exclusions, Forecasts, first_to_fail
from .tables import Fleet

FURTHEST_DAYS = 3652.0
"""No date is given further ahead than this; a later one is shown as this one (ten years)."""


def forecast(fleet: Fleet, *, policy: Policy | None = None) -> Forecasts:
    """Forecast when every standing cartridge of a fleet will be exhausted.

    Parameters
    ----------
    fleet
        What was known on `fleet.as_of_day` (see `tables` and `build.build_fleet`). Readings later than that day are
        excluded and listed.
    policy
        Limits of exhaustion; common defaults when None.

    Returns
    -------
    One row per position, in the order of `fleet.positions`; aggregated for every unit and site.
    """
    policy = policy or Policy()
    count = len(fleet.positions)
    nominal = nominal_lives(fleet)
    standing = nominal.placement_index
    placed = np.full(count, np.nan)
    some = standing >= 0
    placed[some] = fleet.placements.placed_day[standing[some]]
    now = fleet.as_of_day
    life = nominal.life_days
    used = np.clip((now - placed) / life, 0.0, None)
    factor = np.exp(SPREAD * norm.ppf(GRID_LEVELS))
    wear = np.maximum(now, placed[:, None] + life[:, None] * factor[None, :])
    cap = cap_day_of_positions(fleet, standing, policy)
    grid = np.minimum(np.minimum(wear, np.maximum(cap, now)[:, None]), now + FURTHEST_DAYS)
    idle = some & ~(nominal.daily_load > 0)
    capped = (wear > cap[:, None]).mean(axis=1)
    spent = some & (grid[:, len(GRID_LEVELS) // 2] <= now)
    state = np.select([~some, idle, spent], [words.EMPTY, words.NO_CONSUMPTION, words.SPENT], words.STANDING).astype(
        np.int8
    )
    grid[state == words.EMPTY] = np.nan
    # Without water only the calendar wears a cartridge: a date there is only where there is a cap.
    grid[idle] = np.where(np.isfinite(cap[idle]), np.maximum(cap[idle], now), np.nan)[:, None]
    by_stage = np.array([words.PRESSURE, words.CAPACITY, words.MEMBRANE_TREND, words.BREAKTHROUGH])
    driver = np.where((capped > 0.5) | (idle & np.isfinite(cap)), words.TIME_CAP, by_stage[fleet.positions.stage])
    driver = np.where(np.isnan(grid[:, 0]), words.NO_DRIVER, driver).astype(np.int8)
    reasons = np.full(count, "", dtype=object)
    reasons[state == words.EMPTY] = "No cartridge stands in this position."
    reasons[idle & np.isnan(grid[:, 0])] = "No water is drawn, so wear gives no date."
    empty = np.zeros(0, dtype=np.int64)
    unit_of = fleet.positions.unit_index
    return Forecasts(
        as_of_day=now,
        grid_day=grid,
        placement_index=standing,
        state=state,
        no_date_reason=tuple(reasons.tolist()),
        remaining_share=np.where(some, np.clip(1.0 - used, 0.0, 1.0), np.nan),
        daily_load=nominal.daily_load,
        daily_load_unit=nominal.load_unit,
        driver=driver,
        probability_time_cap=np.where(some, capped, np.nan),
        readings_used=np.zeros(count, dtype=np.int64),
        readings_excluded=np.zeros(count, dtype=np.int64),
        newest_reading_age_days=np.full(count, np.nan),
        past_lives=np.zeros(count, dtype=np.int64),
        priors=np.zeros(count, dtype=np.int8),
        exclusions=Exclusions(empty, empty.astype(np.int8), empty.astype(np.int8)),
        units=first_to_fail(grid, driver, unit_of, len(fleet.units)),
        sites=first_to_fail(grid, driver, fleet.units.site_index[unit_of], len(fleet.sites)),
    )
