"""Rules on the pressures: prefilters, line and pump."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules.common import (
    AT_SEDIMENT,
    BOOSTER_PUMP,
    CODES,
    ISOLATE,
    LINE_PRESSURE_LOW,
    POWER,
    PRACTICE,
    PREFILTER_CLOGGED,
    PRESSURE_SWITCH,
    RESTRICTOR_BLOCKED,
)
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, Work, WorkKind

PRESSURES: Final[tuple[Rule, ...]] = (
    Rule(
        id="D01",
        title=_("Prefilters clogged"),
        pattern="prefilter_differential_pressure_high",
        step="pressures",
        condition=when.prefilter_clogged,
        asks=(("line_pressure_kpa", "prefilter_outlet_pressure_kpa"), ("line_pressure_kpa", "inlet_pressure_kpa")),
        must_be_seen_twice=True,
        place=AT_SEDIMENT,
        outdated_by=("sediment", "carbon"),
        causes=(PREFILTER_CLOGGED,),
        confirm=_("Remove the cartridge or bypass it: the inlet pressure comes back."),
        action=_(
            "Replace the sediment cartridge; if the differential pressure stays high, replace the carbon block as well."
        ),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("The differential pressure of the prefilters is past its limit: they are clogged."),
        for_client=_("Your sediment filter is clogged, so less water gets through. We will come soon to replace it."),
    ),
    Rule(
        id="D49",
        title=_("Prefilters probably clogged"),
        pattern="inlet_fell_since_prefilters_changed",
        step="pressures",
        condition=when.prefilters_may_be_clogged,
        asks=(("inlet_pressure_kpa",),),
        must_be_seen_twice=True,
        place=AT_SEDIMENT,
        outdated_by=("sediment", "carbon"),
        causes=(PREFILTER_CLOGGED,),
        confirm=_(
            "Read the gauge while no water flows: at the old pressure the filters are to blame, else the line is weak."
        ),
        action=_(
            "Replace the sediment cartridge; if the pressure does not come back, replace the carbon block as well, "
            "then look at the line."
        ),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "The only gauge, before the membrane, shows much less than soon after the last change of the filters: they "
            "are probably clogged, or the line pressure has fallen."
        ),
        for_client=_(
            "Your sediment filter is probably clogged, so less water gets through. We will come soon to look."
        ),
    ),
    Rule(
        id="D02",
        title=_("Line pressure has fallen"),
        pattern="line_pressure_fell",
        step="pressures",
        condition=when.line_pressure_fell,
        asks=(("line_pressure_kpa",), ("static_inlet_pressure_kpa",)),
        must_be_seen_twice=True,
        place=None,
        outdated_by=(),
        causes=(LINE_PRESSURE_LOW,),
        confirm=_("Test the pressure at another tap and at another time of day."),
        action=_(
            "Bring a booster pump and find the cause at the site; fit the pump if the pressure stays low and no "
            "regulator brings it back. Expect less water meanwhile."
        ),
        cautions=(CODES,),
        source=PRACTICE,
        for_installer=_(
            "The line pressure is more than 10 psi (69 kPa) below its baseline, while the prefilters are normal."
        ),
        for_client=_(
            "The water pressure at your site has fallen, so the unit makes less water; its filters are fine. We will "
            "bring a booster pump, look for the cause, and fit it if the pressure stays low."
        ),
    ),
    Rule(
        id="D64",
        title=_("Line pressure has fallen, by one gauge"),
        pattern="inlet_fell_with_clean_prefilters",
        step="pressures",
        condition=when.inlet_fell_with_clean_prefilters,
        asks=(("inlet_pressure_kpa",),),
        must_be_seen_twice=True,
        place=None,
        outdated_by=(),
        causes=(LINE_PRESSURE_LOW,),
        confirm=_("Test the pressure at another tap and at another time of day."),
        action=_(
            "Bring a booster pump and find the cause at the site; fit the pump if the pressure stays low and no "
            "regulator brings it back. Expect less water meanwhile."
        ),
        cautions=(CODES,),
        source=PRACTICE,
        for_installer=_(
            "With clean prefilters the only gauge, before the membrane, shows more than 10 psi (69 kPa) less than it "
            "did: the line pressure has fallen."
        ),
        for_client=_(
            "The water pressure at your site has fallen, so the unit makes less water; its filters are fine. We will "
            "bring a booster pump, look for the cause, and fit it if the pressure stays low."
        ),
    ),
    Rule(
        id="D42",
        title=_("Low line pressure, no booster pump"),
        pattern="line_low_without_pump",
        step="pressures",
        condition=when.line_low_without_pump,
        asks=(("line_pressure_kpa",),),
        must_be_seen_twice=True,
        place=None,
        outdated_by=(),
        causes=(Cause(code="line_pressure_low_no_booster_pump", work=BOOSTER_PUMP),),
        confirm=_("Compute the flow to expect at this pressure and the winter temperature."),
        action=_("Offer a booster pump if the computed flow does not meet the need."),
        cautions=(POWER,),
        source=PRACTICE,
        for_installer=_(
            "The line leaves the membrane less than the customary 50 psi (345 kPa), and no booster pump is fitted: "
            "little water and poor rejection."
        ),
        for_client=_(
            "The water pressure is low for this kind of unit. We will come to see whether a booster pump is needed."
        ),
    ),
    Rule(
        id="D03",
        title=_("Booster pump without effect"),
        pattern="pump_without_effect",
        step="pressures",
        condition=when.pump_without_effect,
        asks=(("inlet_pressure_kpa",),),
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="pump_not_running", work=Work(kind=WorkKind.REPAIR, thing=_("booster pump"))),
            Cause(code="pump_worn", work=Work(kind=WorkKind.REPAIR, thing=_("booster pump"))),
            Cause(code="pump_suction_starved", work=INSPECT_UNIT),
            Cause(code="pressure_switch_fault", work=INSPECT_UNIT),
        ),
        confirm=_("Measure the pump's current and the pressure before and after it."),
        action=_("Repair the pump; check transformer, pressure switch and the prefilters before it."),
        cautions=(POWER,),
        source=PRACTICE,
        for_installer=_("Line and prefilters are in order, but the booster pump adds hardly any pressure."),
        for_client=_(
            "The booster pump raises the pressure too little, so the unit makes less water. We will repair it on our "
            "next visit."
        ),
    ),
    Rule(
        id="D04",
        title=_("Inlet pressure too high"),
        pattern="inlet_pressure_high",
        step="pressures",
        condition=when.inlet_too_high,
        asks=(("inlet_pressure_kpa",),),
        place=None,
        outdated_by=(),
        causes=(
            PRESSURE_SWITCH,
            RESTRICTOR_BLOCKED,
            Cause(code="pump_bypass_set_high", work=INSPECT_UNIT),
        ),
        confirm=_("Test the switch; measure the concentrate flow."),
        action=_("Adjust at once and fit a relief valve where there is none."),
        cautions=(POWER, _("Do not exceed the limit of housings and membrane.")),
        source=PRACTICE,
        for_installer=_("The pressure at the membrane inlet is above its limit, or the pump never stops."),
        for_client=_("The pressure inside the unit is too high. Please shut the feed if you can, and call us."),
    ),
)
