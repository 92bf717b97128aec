"""Where the water goes at one moment: pressure along the unit, permeate, waste and their salt.

Flow through a membrane follows net pressure, and salt follows its concentration (solution and diffusion); both grow
with temperature. Filters and pipes lose pressure in proportion to flow and viscosity; a restrictor is an orifice or a
capillary.
"""

import math
from dataclasses import dataclass

OSMOTIC_BAR = 0.00072
"""bar for each mg/L of salt: from memory, about 0.7 bar for each 1000 mg/L."""
WATER_K, SALT_K = 2650.0, 2900.0
"""Temperature coefficients of water and salt transport in kelvin: common practice, no source."""


@dataclass
class Body:
    """What the unit is made of, as it is now."""

    label_flow: float
    """L/day at `label_bar` and 25 degC."""
    label_bar: float
    water: float
    """Permeability over that of the label."""
    salt: float
    """Salt passage at the label's condition."""
    waste: float
    """L/day that the restrictor lets through at 4 bar and 15 degC."""
    is_capillary: bool
    sediment: float
    carbon: float
    """bar for each 1000 L/day, at 20 degC."""
    pump_bar: float
    """Head at no flow; 0 without a pump."""
    leak: float = 0.0
    """L/day of feed side water that slips into the permeate, for each bar."""
    throttle: float = 0.03
    """bar for each (1000 L/day) squared, of pipe and valve in front of the unit's first gauge."""


@dataclass(frozen=True)
class Running:
    """A moment with water flowing, or with the tap shut."""

    line: float
    prefilter_outlet: float
    inlet: float
    permeate: float
    waste: float
    permeate_tds: float
    waste_tds: float

    @property
    def recovery(self) -> float:
        return self.permeate / max(self.permeate + self.waste, 1e-6)


def _arrhenius(kelvin: float, degc: float) -> float:
    return math.exp(kelvin * (1 / 298.15 - 1 / (273.15 + degc)))


def viscosity(degc: float) -> float:
    """Over that at 20 degC: from memory, 2.4 % for each kelvin."""
    return math.exp(-0.024 * (degc - 20))


def _flows(body: Body, inlet: float, degc: float, tds: float) -> tuple[float, float]:
    opening = (inlet / 4.0) ** (0.62 if body.is_capillary else 0.5) if inlet > 0 else 0.0
    waste = body.waste * opening * ((viscosity(15) / viscosity(degc)) ** 0.5 if body.is_capillary else 1.0)
    tight = body.label_flow / (body.label_bar - OSMOTIC_BAR * 260)
    osmotic = OSMOTIC_BAR * tds * 1.15
    permeate = tight * body.water * _arrhenius(WATER_K, degc) * max(inlet - osmotic, 0.0)
    return permeate + body.leak * max(inlet, 0.0), waste


def run(body: Body, static_bar: float, degc: float, tds: float) -> Running:
    """The pressure at which what comes is what goes, by bisection."""

    def along(inlet: float) -> tuple[float, float, float]:
        permeate, waste = _flows(body, inlet, degc, tds)
        total = (permeate + waste) / 1000
        line = static_bar - 0.04 * total - body.throttle * total * total
        behind = line - (body.sediment + body.carbon) * viscosity(degc) * total
        raised = max(body.pump_bar - 0.5 * total, 0.0) if body.pump_bar else 0.0
        return line, behind, behind + raised

    low, high = 0.0, static_bar + body.pump_bar
    for _ in range(28):
        middle = (low + high) / 2
        low, high = (middle, high) if along(middle)[2] > middle else (low, middle)
    line, behind, _ = along(low)
    permeate, waste = _flows(body, low, degc, tds)
    slips = body.leak * low
    through = max(permeate - slips, 1e-6)
    recovery = min(permeate / max(permeate + waste, 1e-6), 0.9)
    mean = tds * (1 + 1 / (1 - recovery)) / 2
    passage = body.salt * _arrhenius(SALT_K, degc) * body.label_flow / through
    salty = min(passage, 1.0) * mean
    permeate_tds = (through * salty + slips * mean) / max(through + slips, 1e-6)
    waste_tds = (tds - recovery * permeate_tds) / (1 - recovery)
    return Running(line, behind, low, permeate, waste, permeate_tds, waste_tds)
