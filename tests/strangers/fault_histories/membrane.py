"""Water and salt through a spiral membrane, from its label and its state."""

import math
from dataclasses import dataclass

from tests.strangers.fault_histories.water import osmotic_bar

WATER_KELVIN = 2650.0
"""Temperature coefficient of the water flux, exp(U (1/298 - 1/T)): about 3 % a degree (common practice, no source)."""
SALT_KELVIN = 2900.0
"""The same of the salt flux, a little steeper (common practice, no source)."""


@dataclass(frozen=True)
class Label:
    """What is printed on the membrane."""

    flow: float
    """L/day at the conditions below."""
    bar: float = 3.45
    degc: float = 25.0
    tds: float = 250.0
    recovery: float = 0.15
    rejection: float = 0.96


@dataclass
class Membrane:
    """One element: what its label says, how it differs from that, and how it has changed since."""

    label: Label
    flow_factor: float = 1.0
    """This piece over its label."""
    passage: float = 0.025
    """Salt passage of this piece at the conditions of the label."""
    water_left: float = 1.0
    salt_grown: float = 1.0
    bypass: float = 0.0
    """Brine that passes a seal or a tear, L/day for each bar."""

    def water_per_bar(self) -> float:
        """L/day and bar at 25 degC."""
        label = self.label
        mean = label.tds * (1 + 1 / (1 - label.recovery)) / 2
        return label.flow * self.flow_factor / (label.bar - osmotic_bar(mean, 25.0)) * self.water_left

    def salt_flow(self) -> float:
        """L/day at 25 degC: salt passed for each mg/L of difference."""
        label = self.label
        crowding = (1 + 1 / (1 - label.recovery)) / 2 * math.exp(0.6 * label.recovery)
        return label.flow * self.flow_factor * self.passage / (crowding - self.passage) * self.salt_grown

    def permeate(self, bar: float, back_bar: float, degc: float, tds: float, concentrate: float) -> tuple[float, float]:
        """Permeate flow in L/day and its TDS, with `concentrate` L/day going to the drain at the other end."""
        warmth = 1 / 298.15 - 1 / (degc + 273.15)
        per_bar = self.water_per_bar() * math.exp(WATER_KELVIN * warmth)
        flow = max(per_bar * (bar - back_bar), 0.0)
        brine = tds
        for _ in range(6):
            recovery = min(flow / (flow + concentrate), 0.95) if flow else 0.0
            brine = tds * (1 + 1 / (1 - recovery)) / 2
            wall = brine * math.exp(0.6 * recovery)
            flow = max(per_bar * (bar - back_bar - osmotic_bar(wall, degc)), 1e-6)
        salt = self.salt_flow() * math.exp(SALT_KELVIN * warmth)
        through = wall * salt / (flow + salt)
        leak = self.bypass * max(bar - back_bar, 0.0)
        return flow + leak, (flow * through + leak * brine) / (flow + leak)
