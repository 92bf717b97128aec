"""The differential pressure over the prefilters of a unit, from two gauges or from one.

Two gauges show it itself. Most small units have one gauge, behind the filters: what it reads falls as they clog, so
the differential is how far it stands below what it read behind fresh filters, as surely as the line keeps its pressure.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.constants import DAYS_PER_YEAR
from fleet.engineering.usual import FIRST_WEEKS_DAYS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.levels import swing_terms
from fleet.forecasting.inputs.tables import Fleet, Floats, Indexes, Readings
from fleet.forecasting.wear.learned import Pool
from fleet.forecasting.wear.nominal import median_by_group

LINE_SPREAD_KPA: Final = 20.0
"""Spread of one reading of a single gauge behind fresh filters: the line's own swings. Common practice, no source."""

BOTH_SPREAD_KPA: Final = 12.0
"""Spread of the differential over prefilters and carbon together, of two gauges; common practice, no source."""

LEVEL_SPREAD_KPA: Final = 25.0
"""How far the highest readings of a gauge may lie from its level behind clean filters; common practice, no source."""

SHARED_SWING: Final = 1.5
"""Readings of one season share the swing of their line, so each of them says less than one alone would.
Common practice, no source."""

SWING_SPREAD_KPA: Final = 15.0
"""How far the lines of a company may swing over the year: spread of what they have in common, before anything is read.
Common practice, no source."""

SWING_APART: Final = 0.5
LEAST_APART_KPA: Final = 0.5
"""How far the swing of one line lies from the common one, as a share of that, and at least: where there is no season,
none is found in the noise of a few readings. Common practice, no source."""

SWING_ROUNDS: Final = 4
"""So often is the swing found anew, with what lies far from the last one cut to the edge."""

TWO_YEARS_DAYS: Final = 2.0 * DAYS_PER_YEAR
"""Within less, what comes back every year cannot be told from what happened once."""

AGE_EDGES: Final = np.array([30.0, 90.0, 180.0, 360.0, 720.0])
"""Ages of filters, days, between which they are taken as alike."""

FEW: Final = 30.0
"""Readings that teach a spread half of what they would if there were many."""

HIGHEST: Final = 0.15
"""Share of the readings of a gauge that are taken as its highest. Common practice, no source."""


@dataclass(frozen=True)
class Differentials:
    """Differential pressures as read, one row each: the row of the reading, how far it lies beyond that of clean
    filters (kPa) or, where `is_whole`, itself, and the spread of what was read (kPa, NaN: that of two gauges)."""

    row: Indexes
    differential_kpa: Floats
    is_whole: np.ndarray
    spread_kpa: Floats


def prefilter_differentials(fleet: Fleet, readings: Readings, last_change: Floats, pool: Pool) -> Differentials:
    """Every differential that the readings show, one row a reading at most.

    Parameters
    ----------
    fleet, readings
        The fleet and its screened readings.
    last_change
        Day of the newest change of a sediment filter of the unit before each reading; NaN where none is known.
    pool
        Means over the fleet, to be held to if known and to be filled if not.
    """
    line, behind, inlet = (
        readings.line_pressure_kpa, readings.prefilter_outlet_pressure_kpa, readings.inlet_pressure_kpa,
    )  # fmt: skip
    unit = readings.unit_index
    is_pumped = (fleet.units.has_booster_pump[unit] == words.YES) | (readings.pump == words.PUMP_STATES.index("on"))
    flows = readings.state != words.FLOW_STATES.index("static")
    inlet = np.where(is_pumped, np.nan, inlet)
    age = readings.day - last_change
    _, filter_set = np.unique(np.stack([unit, np.nan_to_num(last_change)]), axis=1, return_inverse=True)
    whole = line - behind
    differential, spread = whole.copy(), np.full(len(whole), np.nan)
    is_whole = np.isfinite(whole)
    for name, fall, usual in (
        ("both_gauges", line - inlet, BOTH_SPREAD_KPA),
        ("gauge_behind_filters", -behind, LINE_SPREAD_KPA),
        ("inlet_gauge", -inlet, LINE_SPREAD_KPA),
    ):
        open_rows = np.flatnonzero(np.isfinite(fall) & np.isfinite(age) & flows & ~np.isfinite(differential))
        shown = np.flatnonzero(np.isfinite(fall) & np.isfinite(age) & flows)
        if not len(open_rows):
            pool.number(f"{name}_spread", usual)
            continue
        is_long = np.ptp(readings.day[shown]) >= TWO_YEARS_DAYS or f"{name}_cosine" in pool.held_means
        if name != "both_gauges" and is_long:
            fall = fall - _swing_of_line(name, unit, readings.day, fall, age, shown, len(fleet.units), pool)
        noise, level, doubt = _levels(
            name, unit[shown], filter_set[shown], fall[shown], age[shown], usual, len(fleet.units), pool
        )
        differential[open_rows] = fall[open_rows] - level[unit[open_rows]]
        spread[open_rows] = np.hypot(SHARED_SWING * noise, doubt[unit[open_rows]])
    row = np.flatnonzero(np.isfinite(differential))
    return Differentials(row, differential[row], is_whole[row], spread[row])


def _swing_of_line(
    name: str, unit: Indexes, day: Floats, fall: Floats, age: Floats, shown: Indexes, count: int, pool: Pool
) -> Floats:
    """How far the gauge of every reading stands lower than in the mean of the year, because the line does (kPa).

    A town that waters its gardens, or fills with guests, has less pressure for months, and a single gauge cannot tell
    that from a clogging filter. All units of a company feel it at one time, whatever the age of their filters: what
    filters of an age have in common is taken off first, and readings far out count as those at the edge.
    """
    off = fall[shown] - median_by_group(fall[shown], unit[shown], count)[unit[shown]]
    of_age = np.searchsorted(AGE_EDGES, age[shown])
    usual_kpa = np.nan_to_num(median_by_group(off, of_age, len(AGE_EDGES) + 1))
    off -= np.array([pool.number(f"{name}_at_age_{k}", float(kpa)) for k, kpa in enumerate(usual_kpa)])[of_age]
    terms = swing_terms(day)

    def found(means: Pool) -> Floats:
        swing: Floats = np.zeros((count, 3))
        apart_kpa = SWING_SPREAD_KPA
        for _ in range(SWING_ROUNDS):
            expected = (swing[unit[shown]] * terms[shown]).sum(axis=1)
            swing = means.swing(
                name,
                unit[shown],
                day[shown],
                expected + np.clip(off - expected, -LINE_SPREAD_KPA, LINE_SPREAD_KPA),
                count,
                np.zeros(3),
                np.full(3, apart_kpa),
                LINE_SPREAD_KPA,
                firmness=apart_kpa / SWING_SPREAD_KPA,
            )
            common_kpa = np.hypot(means.means[f"{name}_cosine"], means.means[f"{name}_sine"])
            apart_kpa = max(SWING_APART * common_kpa, LEAST_APART_KPA)
        return swing

    swing = found(pool)
    if f"{name}_cosine" not in pool.held_means:
        # once more with the common one as it was found, as whoever is forecast by this lesson alone
        swing = found(Pool(pool.means))
    return (swing[unit, 1:] * terms[:, 1:]).sum(axis=1)


def _levels(
    name: str, unit: Indexes, filter_set: Indexes, fall: Floats, age: Floats, usual: float, count: int, pool: Pool
) -> tuple[float, Floats, Floats]:
    """Spread of one reading, and for every unit its level behind clean filters and how little that is known.

    How far the levels behind one set of fresh filters and the next lie apart shows how far the line swings: readings
    of one month would not.
    """
    fresh = age < FIRST_WEEKS_DAYS
    filter_sets, first, of_reading = np.unique(filter_set[fresh], return_index=True, return_inverse=True)
    owner = unit[fresh][first]
    mean_of_set = np.bincount(of_reading, fall[fresh]) / np.bincount(of_reading) if len(filter_sets) else np.zeros(0)
    number = np.bincount(owner, minlength=count)
    mean = np.bincount(owner, mean_of_set, minlength=count) / np.maximum(number, 1)
    several = number[owner] >= 2
    off = np.abs(mean_of_set - mean[owner])[several]
    off = off * np.sqrt(number[owner][several] / (number[owner][several] - 1.0))
    measured = float(np.median(off)) / 0.6745 if len(off) else usual
    share = len(off) / (len(off) + FEW)
    noise = np.exp(share * np.log(max(measured, 3.0)) + (1.0 - share) * np.log(usual))
    noise = pool.number(f"{name}_spread", float(noise))
    highest = np.zeros(count)
    order = np.lexsort((fall, unit))
    size = np.bincount(unit, minlength=count)
    start = np.concatenate([[0], np.cumsum(size)[:-1]])
    some = size > 0
    highest[some] = fall[order][start[some] + np.floor(HIGHEST * (size[some] - 1)).astype(np.int64)]
    weight = number / noise**2
    weak = np.where(some, 1.0 / (LEVEL_SPREAD_KPA**2 + noise**2), 0.0)
    together = np.maximum(weight + weak, 1e-12)
    level = (weight * mean + weak * highest) / together
    return noise, level, np.sqrt(1.0 / together)
