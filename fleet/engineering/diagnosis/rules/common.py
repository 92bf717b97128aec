"""What several rules share: cautions, places, what they ask of a reading, and causes that stand behind two patterns."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis.places import Place
from fleet.engineering.diagnosis.record import Asks
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, NoWork, Work, WorkKind

PRACTICE: Final = _("common practice, no source")

ISOLATE: Final = _("Shut the feed and relieve the pressure before opening a housing.")
POWER: Final = _("Unplug before opening; pumps and solenoids belong on a residual-current protected circuit.")
SANITISE: Final = _(
    "Take carbon, membrane and resin out before sanitising; never mix sanitisers with acids or ammonia; wear gloves "
    "and eye protection; flush and test for chlorine before refitting."
)
CODES: Final = _("Keep the air gap at the drain; follow local codes and use licensed trades where the law asks for it.")
MIND_RESIN: Final = _("Resin is slippery and irritates; keep it from children. Deionised water is not for drinking.")
DRINKING: Final = _(
    "Reverse osmosis does not make unsafe water safe, and nothing disinfects behind the carbon: whoever has a weak "
    "immune system or cares for an infant asks a doctor and the water authority first; never use it for dialysis."
)
ANIMALS: Final = _("Chlorine and chloramine kill aquarium animals: test before the water is used.")
METALS: Final = _("This water attacks brass, copper and solder: plastic or stainless steel behind the membrane.")
NO_PART: Final = _("No part is needed; do not change anything on this reading alone.")

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
