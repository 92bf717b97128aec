"""What a gauge says outright of a cartridge: past its limit, or not; without any model of wear.

The forecast weighs every reading through a curve. Two questions need less: why a cartridge is called exhausted, and
when one that was removed as exhausted was first seen to be. Both look at the one gauge that the limit of the position
is written in.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.limits import Limits, is_exhausted_at
from fleet.engineering.stages import Sign
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.exclusions import Exclusions
from fleet.forecasting.inputs.tables import Bools, Fleet, Floats, Indexes

# What the limits of the positions are written in, see `_value_and_limit`.
_NAMES: Final = (
    "line_pressure_kpa",
    "prefilter_outlet_pressure_kpa",
    "feed_tds_mg_per_l",
    "permeate_tds_mg_per_l",
    "interstage_tds_mg_per_l",
    "product_tds_mg_per_l",
    "feed_free_chlorine_mg_per_l",
    "feed_total_chlorine_mg_per_l",
    "interstage_chlorine_mg_per_l",
    "carbon_outlet_free_chlorine_mg_per_l",
    "carbon_outlet_total_chlorine_mg_per_l",
    *dict.fromkeys(
        name
        for each in words.FINISHING_STAGES.values()
        for sign in each.signs
        for name in sign.quantities
        if name != "permeate_tds_mg_per_l"
    ),
)


@dataclass(frozen=True)
class GaugeReadings:
    """Readings in order of time: row in the fleet's table, day, value and limit in their own unit.

    `at_limit` says whether a value at the limit is exhausted already, see `fleet.engineering.limits.is_exhausted_at`;
    `is_least` whether the limit is the least that it may be, and not the most.
    """

    reading: Indexes
    day: Floats
    value: Floats
    limit: Floats
    at_limit: bool
    is_least: bool = False

    @property
    def is_past(self) -> Bools:
        """Which readings show the cartridge past its limit."""
        if self.is_least:
            return self.value < self.limit
        return self.value >= self.limit if self.at_limit else self.value > self.limit


def _limit_name(stage: int, role: int) -> str:
    """Field of `Limits` that a cartridge is judged by."""
    if stage == words.RESIN:
        return "lead_resin_fraction" if role == words.LEAD else "product_tds_mg_per_l"
    if stage == words.CARBON:
        return "lead_carbon_fraction" if role == words.LEAD else "chlorine_mg_per_l"
    return "minimum_rejection_fraction" if stage == words.MEMBRANE else "prefilter_differential_pressure_kpa"


def _is_exhausted_at_limit(stage: int, role: int) -> bool:
    return stage not in words.FINISHING_STAGES and is_exhausted_at(_limit_name(stage, role))


class Gauges:
    """The deciding gauge of every position, from readings whose unusable values are blanked.

    Parameters
    ----------
    fleet
        What was known.
    exclusions
        Values that the forecast left out; they decide nothing here either.
    limits
        Limits of exhaustion, one value for each unit.
    """

    def __init__(self, fleet: Fleet, exclusions: Exclusions, limits: Limits[Floats]) -> None:
        self._fleet, self._limits = fleet, limits
        values = {name: getattr(fleet.readings, name).copy() for name in _NAMES}
        for name in _NAMES:
            bad = (exclusions.quantity == words.QUANTITY_INDEX[name]) | (exclusions.quantity == -1)
            values[name][exclusions.reading_index[bad]] = np.nan
        self._values = values
        self._order = np.lexsort((fleet.readings.day, fleet.readings.unit_index))
        self._unit = fleet.readings.unit_index[self._order]
        roles = np.zeros(len(fleet.units), dtype=np.int64)
        np.add.at(roles, fleet.positions.unit_index[fleet.positions.stage == words.SEDIMENT], 1)
        self._sediments = roles

    def readings_between(self, position: int, start_day: float, end_day: float) -> GaugeReadings:
        """Readings of the deciding gauge of a position between two days.

        Parameters
        ----------
        position
            Row of the position.
        start_day, end_day
            When the cartridge was placed, and until when to look. A reading as found on the day of placing belongs to
            the cartridge before, one as left on the last day to the one after.
        """
        fleet = self._fleet
        unit = int(fleet.positions.unit_index[position])
        rows = self._order[np.searchsorted(self._unit, unit) : np.searchsorted(self._unit, unit, side="right")]
        day, occasion = fleet.readings.day[rows], fleet.readings.occasion[rows]
        as_found, as_left = words.OCCASIONS.index("as_found"), words.OCCASIONS.index("as_left")
        is_own = (day >= start_day) & (day <= end_day)
        is_own &= ~((occasion == as_found) & (day < start_day + 1.0)) & ~((occasion == as_left) & (day > end_day - 1.0))
        rows = rows[is_own]
        stage, role = int(fleet.positions.stage[position]), int(fleet.positions.role[position])
        value, limit = self._value_and_limit(stage, role, rows)
        is_usable = np.isfinite(value) & np.isfinite(limit)
        return GaugeReadings(
            reading=rows[is_usable],
            day=fleet.readings.day[rows[is_usable]],
            value=value[is_usable],
            limit=limit[is_usable],
            at_limit=_is_exhausted_at_limit(stage, role),
            is_least=stage in words.FINISHING_STAGES,
        )

    def sign_of(self, position: int, row: int) -> Sign:
        """The sign of a stage that finishes the water by which a reading decides there."""
        finishing = words.FINISHING_STAGES[int(self._fleet.positions.stage[position])]
        return next(sign for sign in finishing.signs if np.isfinite(self._shown(sign, np.array([row]))[0]))

    def _shown(self, sign: Sign, rows: Indexes) -> Floats:
        value = self._values[sign.quantity][rows]
        return value - self._values[sign.over][rows] if sign.over else value

    def show_exhausted(self, placed_day: Floats, as_of_day: float) -> Bools:
        """Which carbons, resins and stages behind them the two newest readings of their gauge both show exhausted.

        One reading may be a slip; a level that stays is the truth. Sediment filters and membranes are left out: their
        gauges are brought to one temperature and flow first, so a bare reading of them proves less.

        Parameters
        ----------
        placed_day
            Day on which what stands in each position was placed; NaN where nothing does.
        as_of_day
            The forecast's day; later readings say nothing.

        Returns
        -------
        One value for each position.
        """
        positions = self._fleet.positions
        shown = np.zeros(len(positions), dtype=np.bool_)
        for stage in (words.CARBON, words.RESIN, *words.FINISHING_STAGES):
            for role in np.unique(positions.role[positions.stage == stage]):
                at = np.flatnonzero((positions.stage == stage) & (positions.role == role))
                shown[at] = self._newest_two_are_past(at, placed_day[at], as_of_day, stage, int(role))
        return shown

    def _newest_two_are_past(
        self, positions: Indexes, placed_day: Floats, as_of_day: float, stage: int, role: int
    ) -> Bools:
        readings = self._fleet.readings
        value, limit = self._value_and_limit(stage, role, self._order)
        day, occasion = readings.day[self._order], readings.occasion[self._order]
        is_of_next = (occasion == words.OCCASIONS.index("as_left")) & (day > as_of_day - 1.0)
        is_usable = np.isfinite(value) & np.isfinite(limit) & (day <= as_of_day) & ~is_of_next
        if is_usable.sum() < 2:
            return np.zeros(len(positions), dtype=np.bool_)
        at_limit, is_least = _is_exhausted_at_limit(stage, role), stage in words.FINISHING_STAGES
        past = GaugeReadings(self._order, day, value, limit, at_limit, is_least).is_past[is_usable]
        unit, day = self._unit[is_usable], day[is_usable]
        is_as_found = occasion[is_usable] == words.OCCASIONS.index("as_found")
        newest = np.searchsorted(unit, self._fleet.positions.unit_index[positions], side="right") - 1
        both = np.ones(len(positions), dtype=np.bool_)
        for row in (newest, newest - 1):
            at = np.maximum(row, 0)
            is_own = (row >= 0) & (unit[at] == self._fleet.positions.unit_index[positions]) & (day[at] >= placed_day)
            both &= is_own & past[at] & ~(is_as_found[at] & (day[at] < placed_day + 1.0))
        return both

    def _value_and_limit(self, stage: int, role: int, rows: Indexes) -> tuple[Floats, Floats]:
        """The deciding gauge of a stage and role at some readings, and the limit of their units."""
        if stage in words.FINISHING_STAGES:
            value, limit = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
            for sign in reversed(words.FINISHING_STAGES[stage].signs):
                shown = self._shown(sign, rows)
                value = np.where(np.isfinite(shown), shown, value)
                limit = np.where(np.isfinite(shown), sign.least, limit)
            return value, limit
        unit = self._fleet.readings.unit_index[rows]
        limits = self._limits.take(unit)
        read = {name: values[rows] for name, values in self._values.items()}
        if stage == words.RESIN:
            if role == words.LEAD:
                return read["interstage_tds_mg_per_l"], limits.lead_resin_fraction * read["permeate_tds_mg_per_l"]
            return read["product_tds_mg_per_l"], limits.product_tds_mg_per_l
        if stage == words.CARBON:
            if role == words.LEAD:
                feed = np.fmax(read["feed_total_chlorine_mg_per_l"], read["feed_free_chlorine_mg_per_l"])
                return read["interstage_chlorine_mg_per_l"], limits.lead_carbon_fraction * feed
            is_total = self._fleet.units.is_chloraminated[unit] == words.YES
            after, free = read["carbon_outlet_total_chlorine_mg_per_l"], read["carbon_outlet_free_chlorine_mg_per_l"]
            return np.where(is_total, after, np.fmax(free, after)), limits.chlorine_mg_per_l
        if stage == words.MEMBRANE:
            with np.errstate(divide="ignore", invalid="ignore"):
                passage = read["permeate_tds_mg_per_l"] / read["feed_tds_mg_per_l"]
            return passage, 1.0 - limits.minimum_rejection_fraction
        outlet = read["prefilter_outlet_pressure_kpa"]
        limit = limits.prefilter_limit_kpa(outlet)
        # Two filters in series share the one differential that is read across both.
        shared = np.where(self._sediments[unit] > 1, 2.0 * limits.prefilter_series_fraction, 1.0)
        return read["line_pressure_kpa"] - outlet, shared * limit
