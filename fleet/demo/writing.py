"""How people write what they see: the instrument's own error, its scale, the unit on the gauge, the digits noted."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from fleet.demo.scenario import InstrumentSpec
from fleet.engineering.nomenclature import without_unit
from fleet.engineering.units import QUANTITY_KINDS

_TO_UNIT: Mapping[str, Callable[[float], float]] = {
    "kPa": lambda kpa: kpa,
    "bar": lambda kpa: kpa / 100,
    "psi": lambda kpa: kpa / 6.894757,
    "degC": lambda degc: degc,
    "degF": lambda degc: degc * 1.8 + 32,
    "L/day": lambda l_per_day: l_per_day,
    "mL/min": lambda l_per_day: l_per_day / 1.44,
    "gpd": lambda l_per_day: l_per_day / 3.785412,
    "L": lambda litre: litre,
    "m3": lambda litre: litre / 1000,
    "mg/L": lambda value: value,
    "ppm": lambda value: value,
    "uS/cm": lambda value: value,
    "": lambda value: value,
}
_STEP = {
    "kPa": 5, "bar": 0.1, "psi": 1, "degC": 0.5, "degF": 1, "L/day": 5, "mL/min": 2, "gpd": 1, "L": 1, "m3": 0.001,
    "": 0.1,
}  # fmt: skip


@dataclass(frozen=True)
class Hand:
    """A writer's habits: the unit for each kind of quantity, the separator and the way of writing dates."""

    pressure: str
    temperature: str
    flow: str
    tds: str
    separator: str = ","
    clock: str = "iso"
    volume: str = "L"

    def unit_of(self, quantity: str) -> str:
        """The unit this hand writes a quantity in; empty for pH."""
        own = {
            "pressure": self.pressure, "tds": self.tds, "flow": self.flow, "chlorine": "mg/L",
            "temperature": self.temperature, "volume": self.volume,
        }  # fmt: skip
        return own.get(QUANTITY_KINDS[quantity].name, "")


def spoken(quantity: str) -> str:
    """A stored column as a log calls it: 'feed_tds_mg_per_l' is 'feed TDS'."""
    words = {"tds": "TDS", "ph": "pH"}
    return " ".join(words.get(word, word) for word in without_unit(quantity).split("_"))


def header(quantity: str, hand: Hand) -> str:
    """The column header with its unit, such as 'inlet pressure [psi]'."""
    unit = hand.unit_of(quantity)
    return f"{spoken(quantity)} [{unit}]" if unit else spoken(quantity)


def shown(
    quantity: str,
    true: float,
    *,
    hand: Hand,
    instrument: InstrumentSpec | None,
    temperature_degc: float,
    random: np.random.Generator,
) -> str:
    """What is written down for a true value.

    A TDS meter measures conductivity (twice the 0.5-scale TDS at 25 degC) and multiplies by its factor; one that does
    not compensate shows the conductivity at the water's own temperature, about 2 % less per degC below 25.
    """
    kind = QUANTITY_KINDS[quantity].name
    if kind == "tds":
        return _tds_shown(true, hand, instrument, temperature_degc, random)
    error = {"temperature_degc": 0.3 / max(true, 1.0), "totaliser_l": 0.0}.get(quantity, 0.012)
    if kind == "flow":
        error = 0.025
    value = true * (1 + float(random.normal(0, error)))
    if kind == "chlorine":
        return _digits(max(value + float(random.normal(0, 0.008)), 0.0), 0.01, hand)
    unit = hand.unit_of(quantity)
    return _digits(_TO_UNIT[unit](value), _STEP[unit], hand)


def _tds_shown(
    true: float, hand: Hand, instrument: InstrumentSpec | None, temperature_degc: float, random: np.random.Generator
) -> str:
    accuracy = instrument.accuracy_fraction if instrument else 0.02
    step = instrument.resolution if instrument else 1.0
    factor = instrument.tds_factor if instrument else 0.5
    conductivity = 2 * true * (1 + float(random.normal(0, accuracy / math.sqrt(3))))
    if instrument is not None and not instrument.compensates_temperature:
        conductivity *= 1 + 0.02 * (temperature_degc - 25)
    value = conductivity if hand.tds == "uS/cm" else conductivity * factor
    return _digits(value, step, hand)


def _digits(value: float, step: float, hand: Hand) -> str:
    places = max(0, -math.floor(math.log10(step)))
    text = f"{round(value / step) * step:.{places}f}"
    return text.replace(".", ",") if hand.separator == ";" else text
