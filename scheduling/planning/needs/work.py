"""Which work a finding calls for: what the diagnosis says of its cause, in the words of planning."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from fleet.engineering.diagnosis import CAUSES, NoWork, Work
from fleet.engineering.diagnosis.work import INSPECT_UNIT
from scheduling.planning.needs.need import NeedKind as Kind
from scheduling.planning.words import needs as words

_PARTS: Final[Mapping[str, str]] = {
    Kind.FIT_BOOSTER_PUMP: "booster_pump",
    Kind.REPLACE_RESTRICTOR: "flow_restrictor",
}
"""What work of a kind always takes, whatever asks for it."""

MEMBRANE_SEALS: Final = "membrane_seals"
"""The fitting, a name of `PURPOSES`, that a leak past the membrane takes."""


@dataclass(frozen=True, slots=True)
class FindingWork:
    """Work at a unit.

    Attributes
    ----------
    kind
        What is done.
    stage
        At every position of this stage; empty: at the unit as a whole.
    urgent
        Whether it must be in the next rounds whatever it costs.
    label
        How a sentence names it; empty: the position's own name.
    part
        The fitting it takes, a name of `PURPOSES`; empty: a cartridge, or none is known beforehand.
    """

    kind: Kind
    stage: str = ""
    urgent: bool = False
    label: str = ""
    part: str = ""


def work_for(cause: str, *, has_booster_pump: bool) -> FindingWork | None:
    """The work a finding of this cause calls for at a unit with or without a booster pump; None: no work.

    A cause that the diagnosis no longer knows is looked at on site.
    """
    work: Work | NoWork = CAUSES[cause].work if cause in CAUSES else INSPECT_UNIT
    if isinstance(work, NoWork):
        return None
    kind = Kind(work.kind.value)
    if kind == Kind.FIT_BOOSTER_PUMP and has_booster_pump:
        # a pump is there and the pressure is low all the same: someone has to look
        return FindingWork(Kind.INSPECT, label=words.PUMP_AND_PRESSURE)
    return FindingWork(kind, stage=work.stage or "", urgent=work.is_urgent, label=work.label, part=work.part)


def part_for(kind: str, cause: str) -> str:
    """The fitting that a task of this kind and cause takes, a name of `PURPOSES`; empty: none is known beforehand."""
    if kind in _PARTS:
        return _PARTS[kind]
    work = CAUSES[cause].work if cause in CAUSES else INSPECT_UNIT
    return "" if isinstance(work, NoWork) else work.part
