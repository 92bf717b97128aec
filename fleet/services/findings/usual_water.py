"""How warm the water of a unit usually is: for that water a limit of its filters is meant."""

from typing import TYPE_CHECKING, Final

import numpy as np

from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.usual import LAYOUT_TEMPERATURE_DEGC

if TYPE_CHECKING:
    from fleet.services.findings.facts import History

# Readings over a shorter time may all be of one season. Common practice, no source.
_TWO_SEASONS_DAYS: Final = 270.0


def usual_water(history: "History", row: int) -> dict[str, Fact]:
    """Mean temperature of the unit's readings up to one; empty where nobody read any.

    Where they may all be of a cold season, that of mains water over the year at least.
    """
    rows = history.rows_of(int(history.table.unit_ids[row]))
    temperature = history.table.columns["temperature_degc"][rows.start : row + 1]
    is_read = (temperature >= 0.0) & (temperature <= 45.0)
    if not np.any(is_read):
        return {}
    usual = float(np.mean(temperature[is_read]))
    day = history.table.day[rows.start : row + 1][is_read]
    if day[-1] - day[0] < _TWO_SEASONS_DAYS:
        usual = max(usual, LAYOUT_TEMPERATURE_DEGC)
    return {"usual_temperature_degc": usual}
