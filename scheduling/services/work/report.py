"""A report of work as an installer sends it: what was done at a site, with which parts, and what was read."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from fleet.models import CatalogueItem, Position, Site, Unit
from scheduling.models import Need, Visit
from scheduling.services.visits.outcomes import TaskOutcome

ADDITION: Final = "addition"
CORRECTION: Final = "correction"
"""What a second report of one work is to the first."""


@dataclass(frozen=True, slots=True)
class WorkDone:
    """One thing that was done at a unit.

    Attributes
    ----------
    action
        A kind of need.
    unit, position
        Where; a cartridge is placed in its position, a rotation names the lead.
    item
        What was fitted; None: what the need says, or the same item again.
    serial_or_lot
        Of what was fitted.
    removal
        Why the old cartridge left: 'exhausted' (seen), 'early' (found good), 'damaged', 'routine' (nobody looked),
        'unknown'.
    need
        The need it settles; None: the open one for this action and place.
    note
        In the installer's words.
    """

    action: str
    unit: Unit
    position: Position | None = None
    item: CatalogueItem | None = None
    serial_or_lot: str = ""
    removal: str = ""
    need: Need | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class PartUsed:
    """Pieces of one item."""

    item: CatalogueItem
    quantity: int


@dataclass(frozen=True, slots=True)
class WorkReport:
    """All that is sent of the work at a site.

    Attributes
    ----------
    site, visit
        Where, and on which visit; None: work outside of any visit.
    reference
        The sender's own name for the report.
    done_at, minutes
        When the work was done, and how long it took.
    work
        What was done.
    used
        Pieces used; None: the cartridges fitted and what the catalogue's rules ask for.
    leftover
        Pieces found over, which go into the van.
    not_done
        Tasks of the visit that were not done, each with its reason; they stay open and are proposed again.
    readings
        Readings before and after, each with its unit, as they are sent by themselves; without a time of its own one is
        taken when the work was done. A reading that was stored before under its reference is not stored again.
    confirmed_by, confirmed_at
        Who at the client's saw that it was done, and when; None: when the work was done.
    note
        In the installer's words.
    follows
        What it is to an earlier report of the same work: 'addition' or 'correction'; empty: there is none.
    """

    site: Site
    reference: str
    done_at: datetime
    work: Sequence[WorkDone]
    visit: Visit | None = None
    minutes: int | None = None
    used: Sequence[PartUsed] | None = None
    leftover: Sequence[PartUsed] = ()
    not_done: Sequence[TaskOutcome] = ()
    readings: Sequence[Any] = ()
    confirmed_by: str = ""
    confirmed_at: datetime | None = None
    note: str = ""
    follows: str = ""
