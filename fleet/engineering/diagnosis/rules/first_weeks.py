"""Rules on what is wrong since a membrane was fitted: the commissioning of the unit, or of its new membrane."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis.conditions import first_weeks as when
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules.common import AT_MEMBRANE, BOTH_FLOWS, ISOLATE, PRACTICE
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, Work, WorkKind

_RESTRICTOR: Final = Work(kind=WorkKind.REPLACE_RESTRICTOR, part="flow_restrictor")

FIRST_WEEKS: Final[tuple[Rule, ...]] = (
    Rule(
        id="D70",
        title=_("Flow off the label since the membrane was fitted"),
        pattern="flow_off_label_at_first",
        step="flows",
        condition=when.off_its_label,
        asks=(("permeate_flow_l_per_day", "inlet_pressure_kpa"),),
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(
            Cause(code="membrane_of_another_size", work=INSPECT_UNIT),
            Cause(code="membrane_in_wrapper", work=INSPECT_UNIT),
        ),
        confirm=_("Read the label of the membrane that is installed; measure the permeate flow, the tank shut off."),
        action=_("Record the membrane that is installed, or fit the one that is recorded."),
        cautions=(ISOLATE,),
        source=_("labels carry 15 to 25 % on the flow (from memory)"),
        for_installer=_("Since the membrane was fitted its flow is not that of its label at this condition."),
        for_client=_("The membrane does not make the water it should. We will look at it on our next visit."),
    ),
    Rule(
        id="D71",
        title=_("Too little waste since the membrane was fitted"),
        pattern="ratio_low_at_first",
        step="flows",
        condition=when.wastes_too_little,
        asks=BOTH_FLOWS,
        place=None,
        outdated_by=("membrane",),
        causes=(Cause(code="restrictor_too_tight", work=_RESTRICTOR),),
        confirm=_("Read the size on the flow restrictor; measure the concentrate flow, mL/min."),
        action=_("Fit the restrictor that belongs to this membrane: too little waste leaves scale on it."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "Since the membrane was fitted far less concentrate leaves than the unit is set up for: the restrictor is "
            "too small for this membrane, or blocked."
        ),
        for_client=_("A part in the drain line is of the wrong size. We will replace it on our next visit."),
    ),
    Rule(
        id="D72",
        title=_("Too much waste since the membrane was fitted"),
        pattern="ratio_high_at_first",
        step="flows",
        condition=when.wastes_too_much,
        asks=BOTH_FLOWS,
        place=None,
        outdated_by=("membrane",),
        causes=(
            Cause(code="restrictor_too_wide", work=_RESTRICTOR),
            Cause(code="flush_valve_open", work=INSPECT_UNIT),
        ),
        confirm=_("Look at the flush valve, read the size on the restrictor, measure the concentrate flow, mL/min."),
        action=_("Close the flush valve, or fit the restrictor that belongs to this membrane."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "Since the membrane was fitted far more concentrate leaves than the unit is set up for: the restrictor is "
            "too large for this membrane, or the flush valve is open."
        ),
        for_client=_(
            "The unit sends more water to drain than it should. We will see to the part in the drain line on our next "
            "visit."
        ),
    ),
)
