"""Work that a cause calls for, in words that whoever plans work understands; where none is called for, why."""

import enum
from dataclasses import dataclass
from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis.places import StageName
from fleet.engineering.purposes import PURPOSES


class WorkKind(enum.StrEnum):
    """What is done."""

    REPLACE = "replace"
    ROTATE = "rotate"
    INSPECT = "inspect"
    REPAIR = "repair"
    SANITISE = "sanitise"
    FIT_BOOSTER_PUMP = "fit_booster_pump"
    REPLACE_RESTRICTOR = "replace_restrictor"
    TAKE_READING = "take_reading"
    VERIFY_INSTRUMENTS = "verify_instruments"


class NoWork(enum.StrEnum):
    """Why a cause calls for no visit."""

    EXPLAINED = "explained"
    """It explains a reading; nothing is wrong."""
    YEARS_AHEAD = "years ahead"
    """The forecast has the date, and it is far away."""
    ASKED_ELSEWHERE = "asked elsewhere"
    """A forecast or another finding asks for the work."""
    READING_ASKED = "reading asked"
    """The client is asked for a reading; when none comes the calendar sends somebody."""


@dataclass(frozen=True, kw_only=True)
class Work:
    """Work at a unit.

    Attributes
    ----------
    kind : WorkKind
        What is done.
    stage : str
        At every position of this stage, with its cartridge as the part; empty: at the unit as a whole.
    part : str
        The fitting it takes, a name of `PURPOSES`; empty: none is known before somebody has looked.
    is_urgent : bool
        Whether it must be in the next rounds whatever it costs.
    thing : str
        What a sentence calls the thing worked on, where neither stage nor part says it.
    """

    kind: WorkKind
    stage: StageName | None = None
    part: str = ""
    is_urgent: bool = False
    thing: str = ""

    @property
    def label(self) -> str:
        """How a sentence names what is worked on; empty: by its position, or the unit."""
        return self.thing or (PURPOSES[self.part] if self.part else "")


@dataclass(frozen=True, kw_only=True)
class Cause:
    """What may be behind a pattern.

    Attributes
    ----------
    code : str
        Stable.
    work : Work or NoWork
        What it calls for, or why it calls for nothing.
    tells_office_at_once : bool
        Whether the office reads of it the moment it is found: what waits for the morning does harm.
    has_exchanged_probes : bool
        Whether the stored readings show the TDS of feed and permeate exchanged, so that confirming it corrects them.
    """

    code: str
    work: Work | NoWork
    tells_office_at_once: bool = False
    has_exchanged_probes: bool = False


INSPECT_UNIT: Final = Work(kind=WorkKind.INSPECT)
"""Somebody looks at the unit on site."""

READ_AGAIN: Final = Work(kind=WorkKind.TAKE_READING, thing=_("reading that does not add up"))
