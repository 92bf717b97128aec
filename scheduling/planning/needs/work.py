"""Which work a finding calls for: one table, by cause.

Thresholds and causes are the diagnosis table's; what follows from them here is common practice, no source.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from scheduling.planning.needs.need import NeedKind as Kind


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


_CARBON_NOW = FindingWork(Kind.REPLACE, "carbon", urgent=True)
_FIT_PUMP = FindingWork(Kind.FIT_BOOSTER_PUMP, label="booster pump")
_PUMP_REPAIR = FindingWork(Kind.REPAIR, label="booster pump")
_NO_WATER = FindingWork(Kind.INSPECT, urgent=True, label="unit that makes no water")
_READ_AGAIN = FindingWork(Kind.TAKE_READING, label="reading that does not add up")
_SEAT = FindingWork(Kind.REPAIR, label="membrane seat and O-rings")
_SWITCH = FindingWork(Kind.REPAIR, urgent=True, label="pressure switch")

#: Cause of a finding to the work it calls for; a cause that stands nowhere here is looked at on site.
WORK_BY_CAUSE: Mapping[str, FindingWork] = MappingProxyType(
    {
        "prefilter_clogged": FindingWork(Kind.REPLACE, "sediment", urgent=True),
        "line_pressure_low": _FIT_PUMP,
        "line_pressure_low_no_booster_pump": _FIT_PUMP,
        "line_pressure_too_low_for_tank": _FIT_PUMP,
        "pump_not_running": _PUMP_REPAIR,
        "pump_worn": _PUMP_REPAIR,
        "pressure_switch_set_wrong": _SWITCH,
        "feed_shut": _NO_WATER,
        "check_valve_stuck": _NO_WATER,
        "shutoff_valve_fault": FindingWork(Kind.REPAIR, label="automatic shut-off valve"),
        "check_valve_fault": FindingWork(Kind.REPAIR, label="check valve"),
        "permeate_side_leak": FindingWork(Kind.REPAIR, urgent=True, label="leak on the permeate side"),
        "restrictor_blocked": FindingWork(Kind.REPLACE_RESTRICTOR, urgent=True, label="flow restrictor"),
        "restrictor_missing": FindingWork(Kind.REPLACE_RESTRICTOR, label="flow restrictor"),
        "membrane_oxidised_carbon_exhausted": _CARBON_NOW,
        "carbon_exhausted": _CARBON_NOW,
        "chloramine_breakthrough": _CARBON_NOW,
        "wrong_cartridge": FindingWork(Kind.INSPECT, urgent=True, label="carbon and its housing"),
        "o_ring_leak": _SEAT,
        "di_lead_exhausted": FindingWork(Kind.ROTATE, "resin"),
        "di_both_exhausted": FindingWork(Kind.REPLACE, "resin"),
        "di_exhausted_and_releasing": FindingWork(Kind.REPLACE, "resin"),
        "biofouling": FindingWork(Kind.SANITISE, label="tank and housings"),
        "tank_biofilm": FindingWork(Kind.SANITISE, label="tank and housings"),
        "probes_swapped": FindingWork(Kind.INSPECT, label="probes"),
        "meter_out_of_calibration": FindingWork(Kind.VERIFY_INSTRUMENTS, label="meters"),
        "standstill_sample": _READ_AGAIN,
        "flow_entry_error": _READ_AGAIN,
        "flow_or_tds_reading_wrong": _READ_AGAIN,
        "chlorine_test_error": _READ_AGAIN,
    }
)

#: Causes that explain a reading, or that a forecast or another finding already answers: they ask for no visit.
NO_VISIT = frozenset(
    {
        "reading_not_valid_for_trend",
        "cold_water_not_a_fault",
        "warm_water_not_a_fault",
        "tank_back_pressure",
        "low_net_driving_pressure",
        "membrane_running_in",
        "membrane_aged",
        "membrane_rejection_low",
        "lead_carbon_exhausted",
        "tds_creep",
        "supply_changed",
        "carbon_dioxide_load",
        "weak_ions_break_through_first",
        "carbon_dioxide_from_air",
        "carbon_dioxide_passes_membrane",
        # the client is asked for a reading; when none comes the calendar sends somebody
        "no_reading_for_weeks",
    }
)


def work_for(cause: str, *, has_booster_pump: bool) -> FindingWork | None:
    """The work a finding of this cause calls for at a unit with or without a booster pump; None: no work."""
    if cause in NO_VISIT:
        return None
    work = WORK_BY_CAUSE.get(cause, FindingWork(Kind.INSPECT))
    if work.kind == Kind.FIT_BOOSTER_PUMP and has_booster_pump:
        # a pump is there and the pressure is low all the same: someone has to look
        return FindingWork(Kind.INSPECT, label="booster pump and line pressure")
    return work
