"""The readings as arrays of one length, with what cannot be true taken out."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.temperature_correction import LOWEST_DEGC
from fleet.engineering.quantities import READING_QUANTITIES, RUNNING_TIME, names_of
from fleet.engineering.units import outside_limits

QUANTITIES: Final = names_of((*READING_QUANTITIES, RUNNING_TIME))
TEXTS: Final = ("state", "tank_valve", "pump")
FLAGS: Final = ("tank_is_full", "sampled_after_flush")
# Named by readings too, but no indicator is made of them here.
_PASSED_OVER: Final = ("occasion", "source")

_KINDS: Final = {quantity.name: quantity.kind for quantity in (*READING_QUANTITIES, RUNNING_TIME)}


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
        kind = _KINDS[name]
        self.bad[name] = outside_limits(numbers, kind)
        if kind.name == "temperature":
            # Possible, but colder than the temperature correction holds for.
            self.bad[name] |= numbers < LOWEST_DEGC
        numbers[self.bad[name]] = np.nan
        # Limits that came from another unit may be passed by a rounding error, which the formulas would refuse.
        return np.clip(numbers, kind.low, kind.high)

    def _text(self, column: Any) -> NDArray[Any]:
        return np.full(self.length, "") if column is None else np.atleast_1d(np.asarray(column)).astype(str)

    def _flag(self, column: Any) -> FloatArray:
        if column is None:
            return np.full(self.length, np.nan)
        return np.atleast_1d(np.asarray(column, dtype=object)).astype(np.float64)
