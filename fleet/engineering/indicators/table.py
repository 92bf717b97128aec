"""The readings as arrays of one length, with what cannot be true taken out."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.errors import EngineeringError

QUANTITIES: Final = (
    "line_pressure_kpa",
    "prefilter_outlet_pressure_kpa",
    "inlet_pressure_kpa",
    "tank_pressure_kpa",
    "temperature_degc",
    "feed_tds_mg_per_l",
    "permeate_tds_mg_per_l",
    "permeate_tds_at_start_mg_per_l",
    "interstage_tds_mg_per_l",
    "product_tds_mg_per_l",
    "concentrate_tds_mg_per_l",
    "permeate_flow_l_per_day",
    "concentrate_flow_l_per_day",
    "feed_free_chlorine_mg_per_l",
    "feed_total_chlorine_mg_per_l",
    "interstage_chlorine_mg_per_l",
    "carbon_outlet_free_chlorine_mg_per_l",
    "carbon_outlet_total_chlorine_mg_per_l",
    "minutes_since_start",
)
TEXTS: Final = ("state", "tank_valve", "pump")
FLAGS: Final = ("tank_is_full", "sampled_after_flush")
# Named by readings too, but no indicator is made of them here.
_PASSED_OVER: Final = ("feed_ph", "product_ph", "totaliser_l", "occasion", "source")

_RANGES: Final[Mapping[str, tuple[float, float]]] = {
    "temperature_degc": (1.0, 45.0),
    "line_pressure_kpa": (0.0, 2100.0),
    "prefilter_outlet_pressure_kpa": (0.0, 2100.0),
    "inlet_pressure_kpa": (0.0, 2100.0),
    "tank_pressure_kpa": (0.0, 2100.0),
}
TDS_RANGE: Final = (0.0, 50000.0)
_ANY_POSITIVE: Final = (0.0, 1.0e9)


class Table:
    """The readings as arrays of one length, whatever was left out filled with missing."""

    def __init__(self, readings: Mapping[str, Any]) -> None:
        accepted = {*QUANTITIES, *TEXTS, *FLAGS, *_PASSED_OVER}
        for name in readings:
            if name not in accepted:
                raise EngineeringError(name, f"{name!r} is not a quantity of a reading.")
        lengths = {name: np.atleast_1d(np.asarray(column)).shape[0] for name, column in readings.items()}
        if not lengths:
            raise EngineeringError("readings", "Give at least one column.")
        if len(set(lengths.values())) > 1:
            raise EngineeringError("readings", "All columns need one entry a reading; these lengths differ.")
        self.length = next(iter(lengths.values()))
        self.bad: dict[str, BoolArray] = {}
        self._columns = {name: self._numbers(readings.get(name), name) for name in QUANTITIES}
        self.texts = {name: self._text(readings.get(name)) for name in TEXTS}
        self.flags = {name: self._flag(readings.get(name)) for name in FLAGS}

    def __getitem__(self, name: str) -> FloatArray:
        return self._columns[name]

    def missing(self, name: str) -> BoolArray:
        """True where the quantity was not read."""
        return np.asarray(np.isnan(self._columns[name]) & ~self.bad[name])

    def _numbers(self, column: Any, name: str) -> FloatArray:
        if column is None:
            self.bad[name] = np.zeros(self.length, dtype=bool)
            return np.full(self.length, np.nan)
        try:
            numbers = np.atleast_1d(np.asarray(column, dtype=np.float64)).copy()
        except (TypeError, ValueError):
            raise EngineeringError(name, "Every entry must be a number, or NaN where it was not read.") from None
        low, high = TDS_RANGE if "tds" in name else _RANGES.get(name, _ANY_POSITIVE)
        self.bad[name] = np.asarray((numbers < low) | (numbers > high))
        numbers[self.bad[name]] = np.nan
        return numbers

    def _text(self, column: Any) -> NDArray[Any]:
        return np.full(self.length, "") if column is None else np.atleast_1d(np.asarray(column)).astype(str)

    def _flag(self, column: Any) -> FloatArray:
        if column is None:
            return np.full(self.length, np.nan)
        return np.atleast_1d(np.asarray(column, dtype=object)).astype(np.float64)
