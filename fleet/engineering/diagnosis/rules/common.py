"""What several rules share: cautions of the house, places, what they ask of a reading, and causes of two patterns."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.cautions import (
    ANIMALS,
    CODES,
    DRINKING,
    FLUSH_CARBON,
    ISOLATE,
    METALS,
    MIND_RESIN,
    NO_PART,
    POWER,
    SANITISE,
)
from fleet.engineering.diagnosis.places import Place
from fleet.engineering.diagnosis.record import Asks
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, NoWork, Work, WorkKind

__all__ = [
    "ANIMALS",
    "AT_FIRST_RESIN",
    "AT_LAST_CARBON",
    "AT_LEAD_CARBON",
    "AT_MEMBRANE",
    "AT_SEDIMENT",
    "BOOSTER_PUMP",
    "BOTH_FLOWS",
    "CARBON_NOW",
    "CHECK_VALVE",
    "CODES",
    "DRINKING",
    "FEED_AND_PERMEATE",
    "FLUSH_CARBON",
    "ISOLATE",
    "LINE_PRESSURE_LOW",
    "LOW_DRIVING_PRESSURE",
    "METALS",
    "MIND_RESIN",
    "NORMALISED",
    "NO_PART",
    "POWER",
    "PRACTICE",
    "PRECHARGE",
    "PREFILTER_CLOGGED",
    "PRESSURE_SWITCH",
    "RESTRICTOR_BLOCKED",
    "SANITISE",
    "SANITISE_UNIT",
    "SHUTOFF_VALVE",
    "TDS_CREEP",
]

PRACTICE: Final = _("common practice, no source")

AT_SEDIMENT: Final = Place("sediment", ("single",))
AT_LEAD_CARBON: Final = Place("carbon", ("lead",))
AT_LAST_CARBON: Final = Place("carbon", ("lag", "single"))
AT_MEMBRANE: Final = Place("membrane", ("single",))
AT_FIRST_RESIN: Final = Place("resin", ("lead", "single"))

BOTH_FLOWS: Final[Asks] = (("permeate_flow_l_per_day", "concentrate_flow_l_per_day"),)
NORMALISED: Final[Asks] = (("normalised_flow_ratio", "normalised_salt_passage_ratio"),)
FEED_AND_PERMEATE: Final[Asks] = (("feed_tds_mg_per_l", "permeate_tds_mg_per_l"),)

BOOSTER_PUMP: Final = Work(kind=WorkKind.FIT_BOOSTER_PUMP, part="booster_pump")
CARBON_NOW: Final = Work(kind=WorkKind.REPLACE, stage="carbon", is_urgent=True)
SANITISE_UNIT: Final = Work(kind=WorkKind.SANITISE, thing=_("tank and housings"))

RESTRICTOR_BLOCKED: Final = Cause(
    code="restrictor_blocked",
    work=Work(kind=WorkKind.REPLACE_RESTRICTOR, part="flow_restrictor", is_urgent=True),
)
SHUTOFF_VALVE: Final = Cause(
    code="shutoff_valve_fault", work=Work(kind=WorkKind.REPAIR, part="automatic_shutoff_valve")
)
CHECK_VALVE: Final = Cause(code="check_valve_fault", work=Work(kind=WorkKind.REPAIR, part="check_valve"))
PRESSURE_SWITCH: Final = Cause(
    code="pressure_switch_set_wrong",
    work=Work(kind=WorkKind.REPAIR, thing=_("pressure switch"), is_urgent=True),
)
PRECHARGE: Final = Cause(code="tank_precharge_wrong", work=INSPECT_UNIT)
LINE_PRESSURE_LOW: Final = Cause(code="line_pressure_low", work=BOOSTER_PUMP)
PREFILTER_CLOGGED: Final = Cause(
    code="prefilter_clogged", work=Work(kind=WorkKind.REPLACE, stage="sediment", is_urgent=True)
)
LOW_DRIVING_PRESSURE: Final = Cause(code="low_net_driving_pressure", work=NoWork.EXPLAINED)
TDS_CREEP: Final = Cause(code="tds_creep", work=NoWork.EXPLAINED)
