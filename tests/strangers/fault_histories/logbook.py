"""The log as a CSV text, in the units and with the separators that its people are used to."""

import random
from dataclasses import dataclass
from datetime import datetime

from tests.strangers.fault_histories.records import Row

COLUMNS = (
    "line pressure",
    "prefilter outlet pressure",
    "inlet pressure",
    "tank pressure",
    "temperature",
    "feed TDS",
    "permeate TDS",
    "interstage TDS",
    "product TDS",
    "permeate flow",
    "concentrate flow",
    "feed total chlorine",
    "carbon outlet total chlorine",
    "totaliser",
)
# Factor from bar, degC, mg/L and L/day, and the digits that are written.
_PRESSURE = {"psi": (14.5037738, 0), "bar": (1.0, 1), "kPa": (100.0, 0)}
_FLOW = {"gpd": (1 / 3.785411784, 1), "L/day": (1.0, 0), "mL/min": (1000 / 1440, 0), "L/h": (1 / 24, 2)}
_SALT = {"ppm": (1.0, 0), "mg/L": (1.0, 0), "uS/cm": (2.0, 0)}
_VOLUME = {"US gal": (1 / 3.785411784, 0), "L": (1.0, 0)}


@dataclass(frozen=True)
class Habits:
    """How a log is written."""

    pressure: str
    temperature: str
    salt: str
    flow: str
    volume: str
    separator: str
    capital_headers: bool

    @classmethod
    def of(cls, seed: str) -> "Habits":
        chance = random.Random(f"{seed}:habits")
        if chance.random() < 0.45:
            flow = chance.choice(("gpd", "gpd", "mL/min"))
            return cls("psi", "degF", "ppm", flow, "US gal", ",", chance.random() < 0.3)
        return cls(
            chance.choice(("bar", "bar", "kPa")),
            "degC",
            chance.choice(("mg/L", "ppm", "uS/cm")),
            chance.choice(("L/day", "mL/min", "L/h")),
            "L",
            chance.choice((",", ";", "\t")),
            chance.random() < 0.3,
        )


class Logbook:
    """Collects readings and writes them."""

    def __init__(self, code: str, habits: Habits) -> None:
        self.code = code
        self.habits = habits
        self.entries: list[tuple[datetime, str, str, str, str, dict[str, float | None]]] = []

    def add(
        self, at: datetime, values: dict[str, float | None], *, person: str, occasion: str, state: str, full: str
    ) -> None:
        if any(value is not None for value in values.values()):
            self.entries.append((at, person, occasion, state, full, values))

    def write(self) -> tuple[str, tuple[Row, ...]]:
        """The header line, and the rows in the order of time."""
        used = [name for name in COLUMNS if any(name in entry[5] for entry in self.entries)]
        heads = [
            "unit",
            "taken at",
            "person",
            "occasion",
            "state",
            "tank is full",
            *(self._head(name) for name in used),
        ]
        if self.habits.capital_headers:
            heads = [head[0].upper() + head[1:] for head in heads]
        rows = []
        for at, person, occasion, state, full, values in sorted(self.entries, key=lambda entry: entry[0]):
            cells = [self.code, f"{at:%Y-%m-%d %H:%M}", person, occasion, state, full]
            cells += [self._cell(name, values.get(name)) for name in used]
            rows.append(Row(at, self.habits.separator.join(cells)))
        return self.habits.separator.join(heads), tuple(rows)

    def _unit(self, column: str) -> tuple[str, float, int]:
        habits = self.habits
        if column.endswith("pressure"):
            return habits.pressure, *_PRESSURE[habits.pressure]
        if column.endswith("flow"):
            return habits.flow, *_FLOW[habits.flow]
        if column.endswith("TDS"):
            return habits.salt, *_SALT[habits.salt]
        if column == "totaliser":
            return habits.volume, *_VOLUME[habits.volume]
        if column == "temperature":
            return habits.temperature, 1.0, 0 if habits.temperature == "degF" else 1
        return "mg/L", 1.0, 2

    def _head(self, column: str) -> str:
        return f"{column} [{self._unit(column)[0]}]"

    def _cell(self, column: str, value: float | None) -> str:
        if value is None:
            return ""
        unit, factor, digits = self._unit(column)
        if unit == "degF":
            value = value * 1.8 + 32
        return f"{value * factor:.{digits}f}"
