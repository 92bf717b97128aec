"""Which work a finding calls for: what the diagnosis says of its cause, in the words of planning."""

from dataclasses import dataclass

from fleet.engineering.diagnosis import CAUSES, NoWork, Work
from fleet.engineering.diagnosis.work import INSPECT_UNIT
from scheduling.planning.needs.need import NeedKind as Kind
from scheduling.planning.words import needs as words


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
    """

    kind: Kind
    stage: str = ""
    urgent: bool = False
    label: str = ""


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
    return FindingWork(kind, stage=work.stage or "", urgent=work.is_urgent, label=work.label)


def part_for(cause: str) -> str:
    """The fitting that a finding of this cause calls for, a name of `PURPOSES`; empty: none is known beforehand."""
    work = CAUSES[cause].work if cause in CAUSES else INSPECT_UNIT
    return "" if isinstance(work, NoWork) else work.part
