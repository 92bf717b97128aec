"""What is left of a unit's life on paper: cartridges' stays, looks at the gauges, calls and what was done on them."""

from dataclasses import dataclass, field
from datetime import date, datetime

from fleet.demo.scenario import UnitSpec


@dataclass
class PlacementRecord:
    """A cartridge's stay in one position, as the company's card index has it."""

    order: int
    item: str
    lot: str
    placed_at: datetime
    first_installed_at: datetime
    continues: "PlacementRecord | None" = None
    removed_at: datetime | None = None
    removal: str = ""


@dataclass(frozen=True)
class GaugeReading:
    """One look at the gauges: who, when, how, and what perfect gauges would have shown."""

    unit: str
    at: datetime
    source: str
    occasion: str
    state: str
    shown: dict[str, float]
    tank_is_full: bool | None = None
    tank_valve: str = ""
    note: str = ""


@dataclass(frozen=True)
class WorkAction:
    """One thing done on a call: 'replace', 'rotate' or 'sanitise', at a position (0: the unit), with what and why."""

    action: str
    order: int = 0
    item: str = ""
    lot: str = ""
    removal: str = ""


@dataclass(frozen=True)
class Call:
    """An installer's call and what was done."""

    at: datetime
    actions: tuple[WorkAction, ...]


@dataclass
class Life:
    """What became of a unit: where each cartridge stood, who looked when, who called and did what."""

    unit: UnitSpec
    commissioned: date
    placements: list[PlacementRecord] = field(default_factory=list)
    readings: list[GaugeReading] = field(default_factory=list)
    calls: list[Call] = field(default_factory=list)
    waste_ratio: float = 0.0
    restrictor_flow_l_per_day: float = 0.0
