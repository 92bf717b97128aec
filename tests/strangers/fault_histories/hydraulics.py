"""Where pressures and flows of a running unit settle."""

import math
from dataclasses import dataclass

from tests.strangers.fault_histories.membrane import Membrane
from tests.strangers.fault_histories.prefilters import Prefilters
from tests.strangers.fault_histories.water import viscosity_ratio


@dataclass
class Restrictor:
    """The narrow part in the way of the concentrate."""

    flow: float
    """L/day at `bar`."""
    bar: float = 4.14
    capillary: bool = False
    opening: float = 1.0
    """What is left of its flow: less when blocked, more when worn."""

    def concentrate(self, bar: float, degc: float) -> float:
        """An orifice follows the root of the pressure; a capillary a little more, and the viscosity."""
        if self.capillary:
            return self.flow * self.opening * (max(bar, 0) / self.bar) ** 0.57 / viscosity_ratio(degc) ** 0.14
        return self.flow * self.opening * math.sqrt(max(bar, 0) / self.bar)


@dataclass
class Pump:
    """A small diaphragm booster pump with a bypass that holds its outlet."""

    set_bar: float = 5.5
    boost_bar: float = 4.5
    """At no flow."""
    runs_out: float = 5200.0
    """L/day at which it adds nothing."""
    strength: float = 1.0

    def outlet(self, inlet: float, feed: float) -> float:
        gained = self.boost_bar * self.strength * max(1 - feed / self.runs_out, 0.0)
        return max(inlet, min(self.set_bar, inlet + gained))


@dataclass(frozen=True)
class Running:
    """Pressures in bar, flows in L/day, TDS in mg/L."""

    line: float
    prefilter_outlet: float
    inlet: float
    permeate: float
    concentrate: float
    permeate_tds: float
    concentrate_tds: float


def settle(
    *,
    static_bar: float,
    pipe_bar: float,
    prefilters: Prefilters,
    pump: Pump | None,
    membrane: Membrane,
    restrictor: Restrictor,
    degc: float,
    tds: float,
    back_bar: float = 0.0,
) -> Running:
    """Find the membrane's inlet pressure by halving; `pipe_bar` is lost in the house at the design flow."""

    def flows(bar: float) -> tuple[float, float, float]:
        concentrate = max(restrictor.concentrate(bar, degc), 1.0)
        permeate, permeate_tds = membrane.permeate(bar, back_bar, degc, tds, concentrate)
        return concentrate, permeate, permeate_tds

    def arriving(feed: float) -> tuple[float, float, float]:
        line = static_bar - pipe_bar * (feed / 1200.0) ** 1.8
        behind = line - prefilters.pressure_loss(feed, degc)
        return line, behind, pump.outlet(behind, feed) if pump else behind

    low, high = 0.0, 12.0
    for _ in range(34):
        bar = (low + high) / 2
        concentrate, permeate, permeate_tds = flows(bar)
        if arriving(concentrate + permeate)[2] > bar:
            low = bar
        else:
            high = bar
    line, behind, _ = arriving(concentrate + permeate)
    feed = concentrate + permeate
    concentrate_tds = (feed * tds - permeate * permeate_tds) / concentrate
    return Running(line, behind, bar, permeate, concentrate, permeate_tds, concentrate_tds)
