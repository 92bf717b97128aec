"""What gauges, cups and people make of a value: errors, steps, skipped cells, slips of the pen."""

import random
from dataclasses import dataclass
from datetime import datetime

PRESSURES = ("line pressure", "prefilter outlet pressure", "inlet pressure", "tank pressure")
FLOWS = ("permeate flow", "concentrate flow")
SALTS = ("feed TDS", "permeate TDS", "interstage TDS", "product TDS")
CHLORINES = ("feed total chlorine", "carbon outlet total chlorine")


@dataclass(frozen=True)
class Kit:
    """What stands on a unit and is carried to it, and how careful its people are."""

    line_gauge: bool = False
    behind_prefilters_gauge: bool = False
    inlet_gauge: bool = True
    thermometer: bool = True
    chlorine_test: bool = False
    looks_when_full: bool = True
    """The unit is also looked at with its store full."""
    state_of_running_drain: str = "flowing"
    """What is written in the column of the state where the store is full and the drain runs."""
    every_days: int = 45
    client_days: int = 0
    """The client reads the TDS meter so often, in days; 0 for never."""
    gauge_error: float = 0.02
    """Of the gauge, the same for its life."""
    gauge_step: float = 0.1
    """Bar."""
    tds_error: float = 0.02
    flow_error: float = 0.03
    skips: float = 0.0
    """Share of cells left empty."""
    slips: float = 0.0
    """Share of cells written wrongly."""


EASY = Kit(line_gauge=True, behind_prefilters_gauge=True, chlorine_test=True, every_days=30, flow_error=0.02)
ONE_GAUGE = Kit(state_of_running_drain="static", every_days=42, gauge_step=0.14, skips=0.03)
SPARSE = Kit(
    state_of_running_drain="", every_days=58, client_days=31, looks_when_full=False, gauge_error=0.04,
    gauge_step=0.2, tds_error=0.03, flow_error=0.06, skips=0.12, slips=0.004,
)  # fmt: skip
VARIANTS = {"easy": EASY, "one gauge": ONE_GAUGE, "sparse": SPARSE}


class Reader:
    """Reads values of one unit with its kit; the same day gives the same errors, whatever the value is."""

    def __init__(self, seed: str, kit: Kit) -> None:
        self.seed = seed
        self.kit = kit
        self.slips: list[tuple[datetime, str]] = []

    def read(self, at: datetime, column: str, value: float) -> float | None:
        """What is written down; None for an empty cell."""
        chance = random.Random(f"{self.seed}:{at:%Y%m%d}:{column}")
        fixed = random.Random(f"{self.seed}:{column if column not in SALTS else 'meter'}").gauss(0, 1)
        kit = self.kit
        if chance.random() < kit.skips:
            return None
        noise = max(-2.5, min(2.5, chance.gauss(0, 1)))
        step = 0.0
        if column in PRESSURES:
            value = value * (1 + kit.gauge_error * fixed) + 0.02 * noise
            step = kit.gauge_step if column != "tank pressure" else kit.gauge_step / 2
        elif column in SALTS:
            value, step = value * (1 + kit.tds_error * fixed + 0.015 * noise), 1.0
        elif column in FLOWS:
            value *= 1 + kit.flow_error * noise
        elif column in CHLORINES:
            value, step = value * (1 + 0.08 * noise), 0.02
        elif column == "temperature":
            value, step = value + 0.3 * noise, 0.5
        if step:
            value = max(round(value / step) * step, 0.0)
        if chance.random() < kit.slips and value and column != "totaliser":
            self.slips.append((at, column))
            value *= chance.choice((10.0, 0.1))
        return value
