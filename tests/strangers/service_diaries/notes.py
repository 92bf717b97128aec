"""What a person writes down of a moment: rounded as the instrument shows it, in the units of the log."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from random import Random

from tests.strangers.fault_histories.records import Row
from tests.strangers.service_diaries.people import COLUMNS, GPD, PSI, Writer

PRESSURES = ("line", "prefilter_outlet", "inlet")
SALTS = ("feed_tds", "permeate_tds", "start_tds", "between_tds", "product_tds")
FLOWS = ("permeate", "waste")
CHLORINES = ("feed_chlorine", "chlorine")


@dataclass(frozen=True)
class Note:
    """One line of a diary, in bar, degC, mg/L and L/day as the person read them."""

    at: datetime
    values: Mapping[str, float]


@dataclass
class Pen:
    """Reads the true values with the instruments of one person."""

    writer: Writer
    rng: Random
    _stood: dict[str, float] = field(default_factory=dict)

    def note(self, at: datetime, true: Mapping[str, float]) -> Note:
        """Whatever this person looks at today."""
        writer, rng = self.writer, self.rng
        looks = {
            "degc": rng.random() < writer.temperature_share,
            "feed_tds": rng.random() < writer.feed_share,
            "permeate": rng.random() < writer.flow_share,
            "chlorine": rng.random() < writer.chlorine_share,
        }
        looks["waste"], looks["feed_chlorine"] = looks["permeate"], looks["chlorine"]
        values = {key: self._read(key, true[key]) for key in writer.columns if key in true and looks.get(key, True)}
        return Note(at, values)

    def _read(self, key: str, true: float) -> float:
        writer, rng = self.writer, self.rng
        if key in PRESSURES:
            shown = max(0.0, round(true / writer.gauge_step) * writer.gauge_step)
            stood = self._stood.get(key)
            if writer.gauge_sticks and stood is not None and abs(true - stood) < writer.gauge_step:
                shown = stood
            self._stood[key] = shown
            return shown
        if key in SALTS:
            shown = true * writer.meter_gain * (1 + rng.gauss(0, 0.008)) + rng.uniform(-0.5, 0.5) * writer.meter_digit
            return max(0.0, round(shown / writer.meter_digit) * writer.meter_digit)
        if key in FLOWS:
            return max(0.0, true * (1 + rng.gauss(0, writer.flow_noise)))
        if key == "degc":
            return float(round(true + rng.gauss(0, 0.4)))
        return round(true / 0.05) * 0.05


def _written(key: str, value: float, is_us: bool) -> str:
    if key in PRESSURES:
        return f"{value / PSI:.0f}" if is_us else f"{value:.2f}"
    if key in FLOWS:
        return f"{value / GPD:.0f}" if is_us else f"{value:.0f}"
    if key == "degc":
        return f"{value * 9 / 5 + 32:.0f}" if is_us else f"{value:.0f}"
    return f"{value:.2f}" if key in CHLORINES else f"{value:.0f}"


def header(writer: Writer) -> str:
    named = [f"{COLUMNS[key][0]} [{COLUMNS[key][1][writer.is_us]}]" for key in writer.columns]
    return ",".join(["unit", "taken at", "person", "state", *named])


def rows(code: str, writer: Writer, notes: Sequence[Note]) -> tuple[Row, ...]:
    """The lines of the log."""
    return tuple(
        Row(
            note.at,
            ",".join(
                [
                    code,
                    f"{note.at:%Y-%m-%d %H:%M}",
                    writer.name,
                    "flowing",
                    *(
                        _written(key, note.values[key], writer.is_us) if key in note.values else ""
                        for key in writer.columns
                    ),
                ]
            ),
        )
        for note in notes
    )


def read_log(header: str, rows: Iterable[Row]) -> list[Note]:
    """The numbers that stand in a log, as anybody who opens it reads them."""
    named = {f"{name} [{unit}]": (key, unit) for key, (name, units) in COLUMNS.items() for unit in units}
    columns = [named.get(cell) for cell in header.split(",")]
    notes = []
    for row in rows:
        values = {}
        for column, cell in zip(columns, row.text.split(","), strict=True):
            if column and cell:
                key, unit = column
                values[key] = _read_back(float(cell), unit)
        notes.append(Note(row.at, values))
    return notes


def _read_back(value: float, unit: str) -> float:
    if unit == "degF":
        return (value - 32) * 5 / 9
    return value * {"psi": PSI, "gpd": GPD}.get(unit, 1.0)
