"""Rules on the pressures: prefilters, line and pump."""

from typing import Final

from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules.common import (
    AT_SEDIMENT,
    BOOSTER_PUMP,
    CODES,
    ISOLATE,
    POWER,
    PRACTICE,
    RESTRICTOR_BLOCKED,
)
from fleet.engineering.diagnosis.work import LOOK, Cause, Work, WorkKind

PRESSURES: Final[tuple[Rule, ...]] = (
    Rule(
        id="D01",
        title="Prefilters clogged",
        pattern="prefilter_drop_high",
        step="pressures",
        condition=when.prefilter_clogged,
        asks=(("line_pressure_kpa", "prefilter_outlet_pressure_kpa"), ("line_pressure_kpa", "inlet_pressure_kpa")),
        place=AT_SEDIMENT,
        outdated_by=("sediment", "carbon"),
        causes=(Cause(code="prefilter_clogged", work=Work(kind=WorkKind.REPLACE, stage="sediment", is_urgent=True)),),
        confirm="Take the cartridge out or bypass it: the inlet pressure comes back.",
        action="Change the sediment cartridge; if the drop stays, the carbon block.",
        caution=ISOLATE,
        source=PRACTICE,
        for_installer="The prefilters take more pressure than their limit: clogged.",
        for_client=(
            "The first filter is clogged and lets less water through; it should be changed to keep the unit working."
        ),
    ),
    Rule(
        id="D02",
        title="Line pressure has dropped",
        pattern="line_pressure_fell",
        step="pressures",
        condition=when.line_pressure_fell,
        asks=(("line_pressure_kpa",), ("static_inlet_pressure_kpa",)),
        place=None,
        outdated_by=(),
        causes=(Cause(code="line_pressure_low", work=BOOSTER_PUMP),),
        confirm="Test the pressure at another tap and at another time of day.",
        action="Find the cause at the site; a booster pump or regulator if it stays low. Expect less water meanwhile.",
        caution=CODES,
        source=PRACTICE,
        for_installer=(
            "The line has lost more than 10 psi (69 kPa) against its baseline while the prefilters are normal."
        ),
        for_client="The water pressure at your site has dropped, so the unit makes less water; the filters are fine.",
    ),
    Rule(
        id="D42",
        title="Low line pressure, no booster pump",
        pattern="line_low_without_pump",
        step="pressures",
        condition=when.line_low_without_pump,
        asks=(("line_pressure_kpa",),),
        place=None,
        outdated_by=(),
        causes=(Cause(code="line_pressure_low_no_booster_pump", work=BOOSTER_PUMP),),
        confirm="Compute the flow to expect at this pressure and the winter temperature.",
        action="Offer a booster pump if the computed flow does not meet the need.",
        caution=POWER,
        source=PRACTICE,
        for_installer=(
            "The line is below 40 psi (276 kPa) and no booster pump is fitted: little water and poor rejection."
        ),
        for_client="The water pressure is low for this kind of unit; a pump would give more and better water.",
    ),
    Rule(
        id="D03",
        title="Booster pump without effect",
        pattern="pump_without_effect",
        step="pressures",
        condition=when.pump_without_effect,
        asks=(("inlet_pressure_kpa",),),
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="pump_not_running", work=Work(kind=WorkKind.REPAIR, thing="booster pump")),
            Cause(code="pump_worn", work=Work(kind=WorkKind.REPAIR, thing="booster pump")),
            Cause(code="pump_suction_starved", work=LOOK),
            Cause(code="pressure_switch_fault", work=LOOK),
        ),
        confirm="Measure the pump's current and the pressure before and after it.",
        action="Repair the pump; check transformer, pressure switch and the prefilters before it.",
        caution=POWER,
        source=PRACTICE,
        for_installer="Line and prefilters are good, but the pump adds next to nothing.",
        for_client="The booster pump is not doing its job; the unit makes less water until it is repaired.",
    ),
    Rule(
        id="D04",
        title="Inlet pressure too high",
        pattern="inlet_pressure_high",
        step="pressures",
        condition=when.inlet_too_high,
        asks=(("inlet_pressure_kpa",),),
        place=None,
        outdated_by=(),
        causes=(
            Cause(
                code="pressure_switch_set_wrong",
                work=Work(kind=WorkKind.REPAIR, thing="pressure switch", is_urgent=True),
            ),
            RESTRICTOR_BLOCKED,
            Cause(code="pump_bypass_set_high", work=LOOK),
        ),
        confirm="Test the switch; measure the concentrate flow.",
        action="Adjust at once and fit a relief valve where there is none.",
        caution=f"{POWER} Do not exceed the limit of housings and membrane.",
        source=PRACTICE,
        for_installer="The membrane inlet is above its limit, or the pump never stops.",
        for_client="The pressure inside the unit is too high; please shut the feed if you can and call us.",
    ),
)
