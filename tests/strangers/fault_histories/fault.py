"""What a kind of fault consists of, whatever the unit it befalls."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tests.strangers.fault_histories.life import Effect, Slip
from tests.strangers.fault_histories.signs import Sign

FROM_FIRST_DAY = 0


@dataclass(frozen=True)
class Seen:
    """What somebody tells of, some days after the fault began."""

    after_days: int
    by: str
    words: str
    reach: str
    variants: tuple[str, ...] = ("easy", "one gauge", "sparse")


@dataclass(frozen=True)
class Fault:
    """A kind of fault."""

    name: str
    told: str
    severity: str
    layout: str
    accepted: tuple[str, ...]
    signs: tuple[Sign, ...]
    accepted_blind: tuple[str, ...] = ()
    """Also right where only the gauge in front of the membrane is there."""
    times: int = 2
    """Readings with a sign that it takes to know."""
    effect: Effect | None = None
    slip: Slip | None = None
    onset: int | None = None
    """Day of the fault; None for some day after at least eight months."""
    begins_in_month: int = 0
    """Month of the onset; 0 for any."""
    days_after: int = 170
    """How long the log goes on, unless more is needed for two more readings."""
    water: Mapping[str, float] = field(default_factory=dict)
    changes_layout: Mapping[str, object] = field(default_factory=dict)
    not_served: tuple[str, ...] = ()
    membrane_changed: bool = False
    """The fault begins as a new membrane is put in."""
    prefilters_changed: bool = False
    """The fault begins as prefilters are changed."""
    wrong_order: bool = False
    standstill: int = 0
    """Days before the onset in which the unit stood."""
    seen: tuple[Seen, ...] = ()
    resin_limit: float = 0.0
    """As in `Course`."""
    sound_water: Mapping[str, float] = field(default_factory=dict)
    """What the sound unit's water has instead, where the water is the fault."""
