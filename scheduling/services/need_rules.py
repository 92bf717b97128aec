"""Which work a finding calls for: one table, by cause.

Thresholds and causes are the diagnosis table's; what follows from them here is common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from fleet.models import Unit
from fleet.models.units import Stage
from scheduling.models import Need

Kind = Need.Kind


@dataclass(frozen=True, slots=True)
class Work:
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

    kind: Need.Kind
    stage: str = ""
    urgent: bool = False
    label: str = ""


_URGENT_CARBON = Work(Kind.REPLACE, Stage.CARBON, urgent=True)

#: Cause of a finding to the work it calls for; a cause that stands nowhere here is looked at on site.
WORK_BY_CAUSE: Mapping[str, Work] = MappingProxyType(
    {
        "prefilter_clogged": Work(Kind.REPLACE, Stage.SEDIMENT, urgent=True),
        "membrane_oxidised_carbon_exhausted": _URGENT_CARBON,
        "chlorine_past_carbon": _URGENT_CARBON,
        "chloramine_breakthrough": _URGENT_CARBON,
        "line_pressure_low": Work(Kind.FIT_BOOSTER_PUMP, label="booster pump"),
        "di_lead_exhausted": Work(Kind.ROTATE, Stage.RESIN),
        "di_both_exhausted": Work(Kind.REPLACE, Stage.RESIN),
        "shutoff_valve_fault": Work(Kind.REPAIR, label="automatic shut-off valve"),
        "check_valve_fault": Work(Kind.REPAIR, label="check valve"),
        "restrictor_blocked": Work(Kind.REPLACE_RESTRICTOR, urgent=True, label="flow restrictor"),
    }
)

#: Causes that explain a reading and ask for no visit.
NO_VISIT = frozenset({"cold_water_not_a_fault", "warm_water_not_a_fault", "tds_creep", "compaction", "supply_changed"})


def work_for(*, cause: str, unit: Unit) -> Work | None:
    """The work a finding of this cause calls for at this unit; None when none does."""
    if cause in NO_VISIT:
        return None
    work = WORK_BY_CAUSE.get(cause, Work(Kind.INSPECT))
    if work.kind == Kind.FIT_BOOSTER_PUMP and unit.has_booster_pump:
        # a pump is there and the pressure is low all the same: someone has to look
        return Work(Kind.INSPECT, label="booster pump and line pressure")
    return work
