"""Mixed-bed resin: what loads it, and what it lets through."""

import math
from dataclasses import dataclass

MG_PER_MEQ = 50.0
"""TDS on the 0.5 scale that one milliequivalent a litre shows: 100 uS/cm (common practice, no source)."""


@dataclass
class Resin:
    """One cartridge."""

    litres: float = 0.6
    eq_per_litre: float = 0.55
    loaded_eq: float = 0.0

    @property
    def used(self) -> float:
        return self.loaded_eq / (self.litres * self.eq_per_litre)

    def passed_share(self) -> float:
        """Share of what enters that leaves it."""
        return 1 / (1 + math.exp(-(self.used - 1.0) / 0.05))

    def outlet(self, tds: float) -> float:
        """TDS behind it, mg/L. An exhausted bed in clean water sheds some of what it holds loosely."""
        share = self.passed_share()
        return share * tds + 3.2 * share * max(1 - tds / 1.5, 0.0)

    def treat(self, tds: float, carbon_dioxide: float, volume: float) -> None:
        """Load it with so many litres; carbon dioxide loads the anion half, and the meter hardly sees it."""
        share = 1 - self.passed_share()
        self.loaded_eq += share * (tds / MG_PER_MEQ + carbon_dioxide / 44.0) * volume / 1000
