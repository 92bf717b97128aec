"""What a gauge says outright of a cartridge: past its limit, or not; without any model of wear.

The forecast weighs every reading through a curve. Two questions need less: why a cartridge is called exhausted, and
when one that was removed as exhausted was first seen to be. Both look at the one gauge that the limit of the position
is written in.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from fleet.engineering.limits import Limits
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
)


@dataclass(frozen=True)
class GaugeReadings:
    """Readings of one cartridge in order of time: row in the fleet's table, day, value and limit in their own unit.

    Carbon and a lead are exhausted at their limit, the others past it.
    """

    reading: Indexes
    day: Floats
    value: Floats
    limit: Floats
    at_limit: bool

    @property
    def is_past(self) -> Bools:
        """Which readings show the cartridge past its limit."""
        return self.value >= self.limit if self.at_limit else self.value > self.limit


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
        value, limit = self._value_and_limit(position, unit, rows)
        is_usable = np.isfinite(value) & np.isfinite(limit)
        stage, role = int(fleet.positions.stage[position]), int(fleet.positions.role[position])
        at_limit = stage == words.CARBON or (stage == words.RESIN and role == words.LEAD)
        return GaugeReadings(
            rows[is_usable], fleet.readings.day[rows[is_usable]], value[is_usable], limit[is_usable], at_limit
        )

    def _value_and_limit(self, position: int, unit: int, rows: Indexes) -> tuple[Floats, Floats]:
        fleet, limits = self._fleet, self._limits.take(unit)
        stage, role = int(fleet.positions.stage[position]), int(fleet.positions.role[position])
        read = {name: values[rows] for name, values in self._values.items()}
        same = np.ones(len(rows))
        if stage == words.RESIN:
            if role == words.LEAD:
                return read["interstage_tds_mg_per_l"], limits.lead_resin_fraction * read["permeate_tds_mg_per_l"]
            return read["product_tds_mg_per_l"], limits.product_tds_mg_per_l * same
        if stage == words.CARBON:
            total = int(fleet.units.is_chloraminated[unit]) == words.YES
            if role == words.LEAD:
                feed = np.fmax(read["feed_total_chlorine_mg_per_l"], read["feed_free_chlorine_mg_per_l"])
                return read["interstage_chlorine_mg_per_l"], limits.lead_carbon_fraction * feed
            after, free = read["carbon_outlet_total_chlorine_mg_per_l"], read["carbon_outlet_free_chlorine_mg_per_l"]
            value = after if total else np.fmax(free, after)
            return value, limits.chlorine_mg_per_l * same
        if stage == words.MEMBRANE:
            with np.errstate(divide="ignore", invalid="ignore"):
                passage = read["permeate_tds_mg_per_l"] / read["feed_tds_mg_per_l"]
            return passage, (1.0 - limits.minimum_rejection_fraction) * same
        outlet = read["prefilter_outlet_pressure_kpa"]
        limit = limits.prefilter_limit_kpa(outlet)
        if self._sediments[unit] > 1:
            # Two filters in series share the one drop that is read across both.
            limit = 2.0 * limits.prefilter_series_fraction * limit
        return read["line_pressure_kpa"] - outlet, limit
