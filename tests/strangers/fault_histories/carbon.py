"""Carbon and the chlorine it lets through."""

import math
from dataclasses import dataclass


@dataclass
class Carbon:
    """All carbon of a unit, taken together."""

    capacity_g: float = 20.0
    """Chlorine taken up until about half of it passes."""
    taken_g: float = 0.0
    takes_chloramine: bool = True

    def outlet(self, chlorine: float, *, chloramine: bool) -> float:
        """Total chlorine behind the carbon, mg/L."""
        if chloramine and not self.takes_chloramine:
            return 0.55 * chlorine
        used = self.taken_g / self.capacity_g
        return chlorine / (1 + math.exp(-(used - 1.0) / 0.08))

    def take(self, chlorine: float, litres: float, *, chloramine: bool) -> float:
        """Load it, and return the chlorine that met the membrane, in mg/L times litres."""
        passed = self.outlet(chlorine, chloramine=chloramine)
        self.taken_g += (chlorine - passed) * litres / 1000
        return passed * litres
