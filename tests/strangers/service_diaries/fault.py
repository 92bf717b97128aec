"""What makes a fault of this set: how it acts on a unit, what is done and seen, and what gives it away."""

from collections.abc import Callable
from dataclasses import dataclass

from tests.strangers.service_diaries.hydraulics import Body
from tests.strangers.service_diaries.signs import Sign
from tests.strangers.service_diaries.units import KINDS

Acts = Callable[[Body, float, float], None]
"""Changes the body, so many days after the fault began, with a size from 0 to 1."""
Spoils = Callable[[dict[str, float], float, float], None]
"""Changes what the instruments are shown, likewise."""


@dataclass(frozen=True)
class Seen:
    """What somebody notices, so many days after it began; both diaries may hold it."""

    days: int
    by: str
    words: str
    reach: str


@dataclass(frozen=True)
class Fault:
    """A kind of fault."""

    name: str
    told: str
    severity: str
    accepted: tuple[str, ...]
    weight: int = 1
    """How many good diaries, and as many lazy ones, the set holds of it."""
    kinds: tuple[str, ...] = KINDS
    sign: Sign | None = None
    """None: it is what somebody saw that gives it away."""
    within: int = 400
    """So many days after it began it must be known; later something else would show as well."""
    times: int = 2
    """Lines of the diary in a row that it takes to know."""
    needs: tuple[str, ...] = ()
    """Columns without which nobody could know."""
    acts: Acts | None = None
    spoils: Spoils | None = None
    neglected: tuple[str, ...] = ()
    """Stages that nobody changes any more once it began."""
    work: str = ""
    """Stage that was replaced on the day on which it began."""
    seen: tuple[Seen, ...] = ()
    is_there_from_the_first_day: bool = False
    sound_days: tuple[int, int] = (240, 420)
    """So long the unit is sound before it."""
    is_hard: bool = False
    is_soft: bool = False
    works: tuple[float, float] | None = None
    """Salt after works on the mains over salt before, from and to; the fault begins with them."""
    resin_load: float = 1.0
    """What loads the resin, over what it was."""
    resin_slip: float = 0.0
    """Share of the permeate that passes a fresh resin."""
    carbon_days: float = 0.0
    """Days until half of the chlorine comes through; 0 for never."""
    waits_for_resin: bool = False
    """It begins on the day on which the neglected resin is at its end."""
    accepted_with_one_gauge: tuple[str, ...] = ()
    """What else fits the numbers where only the membrane has a gauge."""
