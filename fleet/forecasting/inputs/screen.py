"""Which reading values may be believed: everything else is left out, with its reason, before anything is learned.

Rules, in order: impossible values and clock errors; samples of the first minutes and static gauges; feed and permeate
transposed; values a factor of ten or a unit away from their neighbours in time; counters that run backwards or jump.
A lasting change of level is not an error: a value is compared with the readings around it, not with an old mean.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Final

import numpy as np

from fleet.engineering.quantities import READING_QUANTITIES, SETTLING_MINUTES, Quantity
from fleet.engineering.units import outside_limits
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.exclusions import Exclusions
from fleet.forecasting.inputs.tables import Bools, Fleet, Floats, Indexes, Readings

LONG_BEFORE_DAYS: Final = 3652.0
"""Where no one said when a unit was commissioned, a reading ten years older than its first cartridge on record shows a
clock that was reset (common practice, no source)."""

SAME_LEVEL_LOG: Final = 0.35
"""How far the logarithms of two values of one level may lie apart: two fifths more. Common practice, no source."""

Exclude = Callable[[str, Bools, int], None]
"""The function that blanks values: name of the quantity, mask, reason."""


@dataclass(frozen=True)
class Screened:
    """Readings in order of unit and time with the unusable values blanked, and what was blanked.

    `row` gives, for every kept row, its index in the fleet's own table.
    """

    readings: Readings
    row: Indexes
    exclusions: Exclusions


def screen(fleet: Fleet) -> Screened:
    """Blank the values that cannot be used and say why (see the module's text for the rules)."""
    source = fleet.readings
    order = _order_of_reading(source)
    table = source.take(order)
    values = {name: getattr(table, name) for name in words.QUANTITIES}
    notes: list[tuple[Indexes, int, int]] = []

    def exclude(name: str, bad: Bools, reason: int) -> None:
        bad = bad & np.isfinite(values[name])
        if bad.any():
            values[name][bad] = np.nan
            notes.append((order[bad], words.QUANTITY_INDEX[name], reason))

    commissioned = _earliest_day(fleet)[table.unit_index]
    late = table.day > fleet.as_of_day
    before = table.day < commissioned - 1.0
    again = _repeated(table) & ~late & ~before
    reasons = (words.CLOCK_IN_FUTURE, late), (words.BEFORE_COMMISSIONING, before & ~late), (words.REPEATED, again)
    for reason, bad in reasons:
        if bad.any():
            notes.append((order[bad], -1, reason))
    whole_reading = late | before | again
    for name in words.QUANTITIES:
        values[name][whole_reading] = np.nan

    exclude(
        "temperature_degc", (values["temperature_degc"] > 45.0) & (values["temperature_degc"] < 115.0), words.WRONG_UNIT
    )
    for quantity in READING_QUANTITIES:
        column = values[quantity.name]
        impossible = outside_limits(column, quantity.kind) | (quantity.zero_is_no_reading & (column == 0.0))
        exclude(quantity.name, impossible, words.IMPOSSIBLE_VALUE)
    static = table.state == words.FLOW_STATES.index("static")
    unflushed = (table.minutes_since_start < SETTLING_MINUTES) | (table.sampled_after_flush == words.NO)
    for quantity in READING_QUANTITIES:
        if quantity.needs_flow:
            exclude(quantity.name, static, words.STATIC_STATE)
    for quantity in READING_QUANTITIES:
        if quantity.needs_flushing:
            exclude(quantity.name, unflushed, words.FIRST_MINUTES)

    _transposed(table, values, exclude)
    _pressure_units(values, exclude)
    for quantity in READING_QUANTITIES:
        if quantity.slip_log is not None:
            _isolated(quantity, quantity.slip_log, table, values, exclude)
    _isolated_temperature(table, values, exclude)
    for outlet in ("prefilter_outlet_pressure_kpa",):
        exclude(outlet, values[outlet] > values["line_pressure_kpa"] + 40.0, words.CONTRADICTS_OTHER_GAUGE)
    _permeate_above_feed(values, exclude)
    _counters(fleet, table, values, exclude)

    if notes:
        exclusions = Exclusions(
            reading_index=np.concatenate([rows for rows, _, _ in notes]).astype(np.int64),
            quantity=np.concatenate([np.full(len(rows), q) for rows, q, _ in notes]).astype(np.int8),
            reason=np.concatenate([np.full(len(rows), r) for rows, _, r in notes]).astype(np.int8),
        )
    else:
        none = np.zeros(0, dtype=np.int64)
        exclusions = Exclusions(none, none.astype(np.int8), none.astype(np.int8))
    return Screened(replace(table, **values), order.astype(np.int64), exclusions)


def _order_of_reading(table: Readings) -> Indexes:
    """Rows by unit and time; on one moment what was found before what was left, and then by the values themselves, so
    that the order of the rows says nothing."""
    later = np.select(
        [table.occasion == words.OCCASIONS.index("as_found"), table.occasion == words.OCCASIONS.index("as_left")],
        [0, 2],
        1,
    )
    mark = sum(
        (np.nan_to_num(getattr(table, name), nan=-7.0) * np.sqrt(number + 2.0)
         for number, name in enumerate(words.QUANTITIES)),
        np.zeros(len(table)),
    )  # fmt: skip
    return np.lexsort((mark, later, table.day, table.unit_index))


def _repeated(table: Readings) -> Bools:
    """Rows that say what the row before them says: the same unit and time, and the same of everything else."""
    out = np.zeros(len(table), dtype=bool)
    if len(table) > 1:
        out[1:] = True
        for spec in fields(table):
            values = getattr(table, spec.name)
            same = values[1:] == values[:-1]
            if values.dtype.kind == "f":
                same |= np.isnan(values[1:]) & np.isnan(values[:-1])
            out[1:] &= same
    return out


def _earliest_day(fleet: Fleet) -> Floats:
    """Day by unit before which nothing can have been read; NaN where that is not known."""
    first = np.full(len(fleet.units.commissioned_day), np.inf)
    np.minimum.at(first, fleet.positions.unit_index[fleet.placements.position_index], fleet.placements.placed_day)
    commissioned_day = fleet.units.commissioned_day
    return np.where(
        np.isfinite(commissioned_day), commissioned_day, np.where(np.isfinite(first), first - LONG_BEFORE_DAYS, np.nan)
    )


def neighbour_median(group: Indexes, values: Floats, reach: int = 3) -> tuple[Floats, Indexes]:
    """Median of up to `reach` values before and after each value within its group, and how many there were.

    Rows are in order of group and time; the value itself does not count. NaN where a value has no neighbour.
    """
    count = len(values)
    around = np.full((2 * reach, count), np.nan)
    column = 0
    for shift in range(1, reach + 1):
        if shift < count:
            same = group[shift:] == group[:-shift]
            around[column, shift:] = np.where(same, values[:-shift], np.nan)
            around[column + 1, :-shift] = np.where(same, values[shift:], np.nan)
        column += 2
    around.sort(axis=0)  # NaN last
    number = np.isfinite(around).sum(axis=0)
    index = np.arange(count)
    low, high = np.maximum(number - 1, 0) // 2, number // 2
    high = np.minimum(high, np.maximum(number - 1, 0))
    middle = 0.5 * (around[low, index] + around[high, index])
    return np.where(number > 0, middle, np.nan), number


def _transposed(table: Readings, values: dict[str, Floats], exclude: Exclude) -> None:
    """Feed and permeate swapped: permeate well above feed, and the swap fits the feed readings around it."""
    feed, permeate = values["feed_tds_mg_per_l"], values["permeate_tds_mg_per_l"]
    bad = permeate > 1.5 * np.maximum(feed, 1.0)
    for name in ("feed_tds_mg_per_l", "permeate_tds_mg_per_l"):
        exclude(name, bad, words.TRANSPOSED)


def _pressure_units(values: dict[str, Floats], exclude: Exclude) -> None:
    """A line pressure of tap water between 2 and 16 kPa was meant in bar or psi; above that it cannot be told."""
    for name in ("line_pressure_kpa", "prefilter_outlet_pressure_kpa", "inlet_pressure_kpa"):
        exclude(name, (values[name] > 0.5) & (values[name] < 20.0), words.WRONG_UNIT)


def _isolated(quantity: Quantity, limit: float, table: Readings, values: dict[str, Floats], exclude: Exclude) -> None:
    name = quantity.name
    some = np.flatnonzero(values[name] > 0)
    if not len(some):
        return
    logs = np.log(values[name][some])
    middle, number = neighbour_median(table.unit_index[some], logs)
    off = logs - middle
    far = (np.abs(off) > limit) & (number >= 3)
    size = np.abs(off)
    units = np.log(quantity.unit_slips or (1e9,))
    nearest = np.abs(size[:, None] - units).min(axis=1)
    from_ten = np.abs(size - np.log(10.0))
    unit = far & (nearest < 0.2) & (nearest <= from_ten)
    ten = far & ~unit & (from_ten < 0.5)
    if not quantity.unit_slips:
        # Two odd values that agree are a new level, unless a decimal point explains them. Who reads a gauge in another
        # unit does so every time, so there it proves nothing.
        far &= ten | ~_is_confirmed(table.unit_index[some], table.day[some], logs)
    for kind, reason in ((ten, words.FACTOR_OF_TEN), (unit, words.WRONG_UNIT), (far & ~ten & ~unit, words.OUTLIER)):
        bad = np.zeros(len(values[name]), dtype=bool)
        bad[some[kind]] = True
        exclude(name, bad, reason)


def _is_confirmed(unit: Indexes, day: Floats, logs: Floats) -> Bools:
    """Whether the value before or after, read on another day, says the same within `SAME_LEVEL_LOG`."""
    agrees = (unit[1:] == unit[:-1]) & (day[1:] - day[:-1] >= 0.5) & (np.abs(logs[1:] - logs[:-1]) < SAME_LEVEL_LOG)
    return np.append(agrees, False) | np.append(False, agrees)


def _isolated_temperature(table: Readings, values: dict[str, Floats], exclude: Exclude) -> None:
    name = "temperature_degc"
    some = np.flatnonzero(np.isfinite(values[name]))
    if not len(some):
        return
    here = values[name][some]
    middle, number = neighbour_median(table.unit_index[some], here)
    off = np.abs(here - middle)
    # Fahrenheit typed as Celsius is above 45 for water warmer than 7 degC; what is left here is a slip of a digit or
    # colder.
    far = (off > 15.0) & (number >= 3)
    fahrenheit = far & (np.abs(here - (1.8 * middle + 32.0)) < 12.0)
    for kind, reason in ((fahrenheit, words.WRONG_UNIT), (far & ~fahrenheit, words.OUTLIER)):
        bad = np.zeros(len(values[name]), dtype=bool)
        bad[some[kind]] = True
        exclude(name, bad, reason)


def _permeate_above_feed(values: dict[str, Floats], exclude: Exclude) -> None:
    exclude("permeate_tds_mg_per_l", values["permeate_tds_mg_per_l"] > 0.9 * values["feed_tds_mg_per_l"], words.OUTLIER)


def _counters(fleet: Fleet, table: Readings, values: dict[str, Floats], exclude: Exclude) -> None:
    """A counter only rises, and not faster than the unit can run; single values that break this are left out.

    A spike is told from a reset by what follows: after a spike the counts go on from before it, after a reset they go
    on from the new value (that is no error, only a gap).
    """
    name = "totaliser_l"
    for _ in range(3):
        some = np.flatnonzero(np.isfinite(values[name]))
        if len(some) < 3:
            return
        unit, day, count = table.unit_index[some], table.day[some], values[name][some]
        demand = np.nan_to_num(fleet.units.weekly_demand_l[unit] / 7.0, nan=50.0)
        fastest = 60.0 * np.maximum(demand, 5.0) + 2000.0
        before = np.full(len(some), np.nan)
        after = np.full(len(some), np.nan)
        before_day, after_day = before.copy(), after.copy()
        same = unit[1:] == unit[:-1]
        before[1:], after[:-1] = np.where(same, count[:-1], np.nan), np.where(same, count[1:], np.nan)
        before_day[1:], after_day[:-1] = np.where(same, day[:-1], np.nan), np.where(same, day[1:], np.nan)
        bridge = (after >= before) & (after - before <= fastest * (after_day - before_day + 1.0))
        up = bridge & (count > after)
        down = bridge & (count < before)
        last_jump = np.isnan(after) & (count - before > fastest * (day - before_day + 1.0))
        fell_last = np.isnan(after) & (count < before)
        first_high = np.isnan(before) & (count > after) & ~np.isnan(after)
        rising = np.full(len(some), False)
        for kind, reason in (
            (down | fell_last, words.TOTALISER_BACKWARDS),
            (up | last_jump | first_high, words.TOTALISER_JUMP),
        ):
            bad = np.zeros(len(values[name]), dtype=bool)
            bad[some[kind]] = True
            rising |= kind
            exclude(name, bad, reason)
        if not rising.any():
            return
