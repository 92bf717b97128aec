"""What a history consists of: the unit, its log, what was done and seen, and the truth."""

from dataclasses import dataclass
from datetime import date, datetime

from tests.strangers.fault_histories.parts import Layout
from tests.strangers.fault_histories.water import Water


@dataclass(frozen=True)
class Change:
    """A cartridge that came in: a fresh one in a position, or a rotation of two."""

    at: datetime
    stage: str
    role: str
    item: str
    is_rotation: bool = False
    removal: str = "routine"


@dataclass(frozen=True)
class Sample:
    """An analysis of the feed water."""

    at: datetime
    hardness: float
    alkalinity: float
    ph: float
    chlorine: float


@dataclass(frozen=True)
class Observation:
    """What somebody saw, heard or tasted."""

    at: datetime
    by: str
    """'client' or 'installer'."""
    words: str
    reach: str = ""
    """One of `REACHES`."""


REACHES = {
    "leak": "there is water where none should be",
    "drain": "the drain never stops",
    "noise": "a noise that was not there before",
    "slow": "the store fills slowly, or the tap gives little",
    "taste": "taste or smell",
    "off": "the unit stood switched off",
}
"""Kinds of what can be seen, by the short name of an observation."""


@dataclass(frozen=True)
class AlsoTrue:
    """Something that may rightly be said on these days, apart from the fault."""

    words: str
    since: date
    until: date


@dataclass(frozen=True)
class Truth:
    """What went wrong."""

    fault: str
    """Name of the fault's kind."""
    told: str
    """What happened, in a sentence."""
    severity: str
    """'severe': bad water comes out, none comes out, or something is being ruined or flooded; else 'moderate' or
    'minor'."""
    accepted: tuple[str, ...]
    """Words of `FAULTS`, any of which is right."""
    since: date
    knowable_on: date
    """First day on which a good technician who looks at the log can know."""


@dataclass(frozen=True)
class Row:
    """One line of the log."""

    at: datetime
    text: str


@dataclass(frozen=True)
class History:
    """One unit from its first day to the last of the log."""

    name: str
    variant: str
    """'easy', 'one gauge' or 'sparse'; of healthy units the kind of place."""
    layout: Layout
    water: Water
    commissioned_on: date
    last_day: date
    design_recovery: float
    restrictor_l_per_day: float
    restrictor_bar: float
    header: str
    rows: tuple[Row, ...]
    changes: tuple[Change, ...]
    samples: tuple[Sample, ...]
    observations: tuple[Observation, ...]
    also_true: tuple[AlsoTrue, ...]
    truth: Truth | None
    """None: it is healthy."""

    @property
    def log(self) -> str:
        """The whole log as a file."""
        return "\n".join([self.header, *(row.text for row in self.rows)]) + "\n"

    @property
    def years(self) -> float:
        return (self.last_day - self.commissioned_on).days / 365.25
