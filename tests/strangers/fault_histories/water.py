"""Feed water through the year: temperature, salt, pressure; and what temperature does to flow."""

import math
import random
from dataclasses import dataclass
from datetime import date


def viscosity_ratio(degc: float) -> float:
    """Viscosity of water over that of 25 degC (Vogel's equation with the usual constants, from memory)."""
    return math.exp(578.919 / (degc + 273.15 - 137.546)) / math.exp(578.919 / (298.15 - 137.546))


def osmotic_bar(tds: float, degc: float) -> float:
    """Osmotic pressure of tap water, bar, from TDS on the 0.5 scale in mg/L (common practice, no source)."""
    return 0.0009 * tds * (degc + 273.15) / 298.15


@dataclass(frozen=True)
class Water:
    """The water of one site."""

    seed: str
    mean_degc: float = 13.0
    swing_degc: float = 6.0
    """From the mean to the warmest and to the coldest day."""
    tds: float = 250.0
    tds_swing: float = 0.08
    """Share by which the season moves the TDS."""
    tds_wander: float = 0.03
    """Share by which it differs from one week to the next."""
    later_tds: float = 0.0
    """TDS from `changes_on`: the works blend another water in; 0 for never."""
    changes_on: date = date.max
    line_bar: float = 4.2
    """At rest, before the unit."""
    line_swing: float = 0.12
    """Bar, from one moment to another."""
    hardness: float = 150.0
    """mg/L as CaCO3."""
    alkalinity: float = 120.0
    """mg/L as CaCO3."""
    ph: float = 7.6
    chlorine: float = 0.5
    """mg/L, total."""
    chloramine: bool = False

    def degc(self, day: date) -> float:
        """Coldest about 10 February, with a week's weather on top."""
        season = -math.cos(2 * math.pi * (day.timetuple().tm_yday - 41) / 365.25)
        return max(2.5, self.mean_degc + self.swing_degc * season + self._wander(day, "degc", 0.6))

    def feed_tds(self, day: date) -> float:
        level = self.later_tds if self.later_tds and day >= self.changes_on else self.tds
        season = math.cos(2 * math.pi * (day.timetuple().tm_yday - 230) / 365.25)
        return level * (1 + self.tds_swing * season + self._wander(day, "tds", self.tds_wander))

    def line(self, day: date) -> float:
        return self.line_bar + self._wander(day, "line", self.line_swing)

    @property
    def carbon_dioxide(self) -> float:
        """Dissolved carbon dioxide, mg/L: pK1 = 6.4 of carbonic acid at 15 degC (from memory)."""
        return 44.0 * self.alkalinity / 50.0 / 10 ** (self.ph - 6.4)

    def _wander(self, day: date, what: str, spread: float) -> float:
        week = day.toordinal() // 7
        return spread * max(-2.0, min(2.0, random.Random(f"{self.seed}:{what}:{week}").gauss(0, 1)))
