"""Rules on what people saw, heard or tasted; they need no gauge. The newest reading that speaks of it decides."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules.common import (
    AT_FIRST_RESIN,
    CHECK_VALVE,
    CODES,
    DRINKING,
    ISOLATE,
    MIND_RESIN,
    NO_PART,
    POWER,
    PRACTICE,
    PRECHARGE,
    PRESSURE_SWITCH,
    SANITISE,
    SANITISE_UNIT,
    SHUTOFF_VALVE,
)
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, NoWork, Work, WorkKind

SEEN_AT_ONCE: Final[tuple[Rule, ...]] = (
    Rule(
        id="D50",
        title=_("Water on the floor"),
        pattern="water_on_floor",
        step="state",
        condition=when.water_on_floor,
        asks=(("water_on_floor",),),
        place=None,
        outdated_by=(),
        causes=(
            Cause(
                code="water_leak",
                work=Work(kind=WorkKind.REPAIR, thing=_("leak"), is_urgent=True),
                tells_office_at_once=True,
            ),
        ),
        confirm=_("Dry housings, fittings and tubes; open the feed slowly and watch where water comes first."),
        action=_("Keep the feed shut until the leak is found; replace the O-ring, fitting, tube or cracked housing."),
        cautions=(
            ISOLATE,
            _("Keep away from water that may touch mains electricity; switch off at the board first."),
        ),
        source=PRACTICE,
        for_installer=_("Water was seen on the floor at the unit: it leaks."),
        for_client=_(
            "Your unit leaks. Please close its feed valve now, and do not touch electrical parts that are wet; we will "
            "come soon to repair it."
        ),
    ),
    Rule(
        id="D51",
        title=_("Unit is switched off"),
        pattern="switched_off",
        step="state",
        condition=when.is_switched_off,
        asks=(("is_switched_off",),),
        place=None,
        outdated_by=(),
        causes=(Cause(code="switched_off_by_people", work=NoWork.EXPLAINED),),
        confirm=_("Ask who switched it off or shut the feed, when and why."),
        action=_("Switch it on, flush it to drain for some minutes, and read it again."),
        cautions=(NO_PART, DRINKING),
        source=PRACTICE,
        for_installer=_("The unit stood switched off or with its feed shut: what was read then does not count."),
        for_client=_(
            "The unit was switched off, or its feed was shut. After it has stood, please run the first water to drain "
            "for ten minutes."
        ),
    ),
)

SEEN_FLOWS: Final[tuple[Rule, ...]] = (
    Rule(
        id="D52",
        title=_("Drain never stops"),
        pattern="drain_never_stops",
        step="flows",
        condition=when.drain_never_stops,
        asks=(("concentrate_never_stops",), ("concentrate_is_running_with_full_tank",)),
        place=None,
        outdated_by=(),
        causes=(SHUTOFF_VALVE, CHECK_VALVE),
        confirm=_(
            "Stop the permeate by hand: with a sound shut-off valve the drain stops within 5 minutes. If it does, and "
            "starts again with nothing drawn, the check valve leaks back."
        ),
        action=_("Replace the automatic shut-off valve, or the check valve: as the check shows."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("The concentrate runs on when it should stand still: shut-off valve or check valve."),
        for_client=_("Water keeps running to drain. We will replace a valve on our next visit."),
    ),
    Rule(
        id="D53",
        title=_("No shut-off valve fitted"),
        pattern="nothing_closes_the_feed",
        step="flows",
        condition=when.nothing_closes_the_feed,
        asks=(
            ("concentrate_never_stops",),
            ("concentrate_is_running_with_full_tank",),
            ("concentrate_flow_l_per_day",),
            ("permeate_tds_mg_per_l",),
        ),
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="shutoff_valve_not_fitted", work=Work(kind=WorkKind.REPAIR, part="automatic_shutoff_valve")),
        ),
        confirm=_("Look for an automatic shut-off valve and a check valve; correct the record if they are there."),
        action=_("Fit an automatic shut-off valve together with a check valve."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "The drain runs on, and the unit is recorded without a shut-off valve: a float alone stops the permeate, "
            "not the feed."
        ),
        for_client=_(
            "Water keeps running to drain, because nothing closes the feed of your unit. We will fit a valve on our "
            "next visit."
        ),
    ),
    Rule(
        id="D54",
        title=_("Stored water runs back"),
        pattern="drain_runs_pump_cycles",
        step="flows",
        condition=when.stored_water_comes_back,
        asks=(("concentrate_never_stops", "pump_cycles_rapidly"),),
        place=None,
        outdated_by=(),
        causes=(CHECK_VALVE, SHUTOFF_VALVE),
        confirm=_("Shut the feed: the tank loses pressure through the membrane, and the drain runs on."),
        action=_("Replace the check valve."),
        cautions=(ISOLATE, POWER),
        source=PRACTICE,
        for_installer=_("The drain never stops and the pump starts again and again: stored water runs back."),
        for_client=_("Water runs back through the unit and to drain. We will replace a small valve on our next visit."),
    ),
    Rule(
        id="D55",
        title=_("Container overflows"),
        pattern="container_overflows",
        step="flows",
        condition=when.container_overflows,
        asks=(("container_overflows",),),
        place=None,
        outdated_by=(),
        causes=(
            Cause(
                code="float_valve_does_not_close",
                work=Work(kind=WorkKind.REPAIR, part="float_valve", is_urgent=True),
                tells_office_at_once=True,
            ),
        ),
        confirm=_("Lift the float by hand: the permeate must stop at once."),
        action=_("Free or replace the float valve; fit one where there is none, with a shut-off and a check valve."),
        cautions=(CODES,),
        source=PRACTICE,
        for_installer=_("The container overflows: the float valve does not close, or there is none."),
        for_client=_(
            "Your container overflows. Please close the feed valve now; we will come soon to see to its float."
        ),
    ),
    Rule(
        id="D56",
        title=_("Tank has lost its air"),
        pattern="tank_lost_air",
        step="flows",
        condition=when.tank_lost_air,
        asks=(("tap_soon_trickles",), ("slow_filling",)),
        place=None,
        outdated_by=(),
        causes=(PRECHARGE,),
        confirm=_("Empty the tank and measure its air: 5 to 10 psi (34 to 69 kPa), or what its label says."),
        action=_("Pump the empty tank up to its precharge; replace it where water comes out of the air valve."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("The tank gives a glass and then a trickle, or stays without pressure: its air is gone."),
        for_client=_("The air in your tank is low, so the tap soon runs slow. We will pump it up on our next visit."),
    ),
    Rule(
        id="D61",
        title=_("Pump never stops"),
        pattern="pump_never_stops",
        step="flows",
        condition=when.pump_never_stops,
        asks=(("pump_never_stops",),),
        place=None,
        outdated_by=(),
        causes=(PRESSURE_SWITCH, SHUTOFF_VALVE),
        confirm=_("Stop the permeate by hand: the pressure switch must stop the pump."),
        action=_("Adjust or replace the pressure switch; look for a leak and for a drain that never stops."),
        cautions=(POWER,),
        source=PRACTICE,
        for_installer=_("The pump is said never to stop: its pressure switch, or water that never stops flowing."),
        for_client=_("The pump of your unit never stops. Please switch it off if you can, and call us."),
    ),
    Rule(
        id="D77",
        title=_("No water"),
        pattern="no_water",
        step="flows",
        condition=when.no_water,
        asks=(("no_water",),),
        place=None,
        outdated_by=(),
        causes=(
            Cause(
                code="no_water_not_explained",
                work=Work(kind=WorkKind.INSPECT, thing=_("unit that gives no water"), is_urgent=True),
                tells_office_at_once=True,
            ),
        ),
        confirm=_(
            "Is the supply on, and the feed valve open? Then read line and inlet pressure, with the pump running: "
            "nothing at the inlet is the supply, a valve, a prefilter or the pump; pressure there is the membrane or "
            "what follows it."
        ),
        action=_("Find where the water stops, from the feed valve on, and repair or replace that part."),
        cautions=(ISOLATE, POWER),
        source=PRACTICE,
        for_installer=_("No water comes, and nobody is said to have switched the unit off."),
        for_client=_(
            "Your unit gives no water. Please look whether the other taps run, its feed valve is open and its plug is "
            "in; open no housing. Send us a note if it runs again; otherwise we will come soon."
        ),
    ),
    Rule(
        id="D57",
        title=_("Fills slowly"),
        pattern="fills_slowly",
        step="flows",
        condition=when.fills_slowly,
        asks=(("slow_filling",), ("tap_soon_trickles",)),
        place=None,
        outdated_by=(),
        causes=(Cause(code="slow_filling_not_explained", work=NoWork.READING_ASKED),),
        confirm=_(
            "Read inlet pressure, temperature, and the flows of permeate and concentrate; of a tank its pressure."
        ),
        action=_(
            "Ask for these readings: they tell low pressure, a clogged prefilter, the membrane and the tank apart."
        ),
        cautions=(NO_PART,),
        source=PRACTICE,
        for_installer=_("The store is said to fill slowly, and nothing read with it says why."),
        for_client=_("Your unit fills slowly. To find out why, please send us a reading of its pressure and its flow."),
    ),
)

SEEN: Final[tuple[Rule, ...]] = (
    Rule(
        id="D58",
        title=_("New noise"),
        pattern="makes_noise",
        step="care",
        condition=when.makes_noise,
        asks=(("unusual_noise",),),
        place=None,
        outdated_by=(),
        causes=(Cause(code="noise_not_explained", work=INSPECT_UNIT),),
        confirm=_("Listen where it comes from: pump, valve that closes hard, air in a housing, drain line."),
        action=_("Bleed the air, cushion the pump and the lines, or repair what makes the noise."),
        cautions=(POWER,),
        source=PRACTICE,
        for_installer=_("The unit makes a noise that it did not make before: pump, valve, air or drain line."),
        for_client=_("Thank you for telling us of the noise. We will look for what makes it on our next visit."),
    ),
    Rule(
        id="D59",
        title=_("Smell or slime found"),
        pattern="slime_found",
        step="care",
        condition=when.slime_found,
        water_is_bad=True,
        asks=(("smell_or_slime",),),
        place=None,
        outdated_by=(),
        causes=(Cause(code="growth_in_unit", work=SANITISE_UNIT),),
        confirm=_("Look into housings and tank; check the date of the last sanitising."),
        action=_("Sanitise housings, tank and lines, and replace the carbon."),
        cautions=(SANITISE, DRINKING),
        source=PRACTICE,
        for_installer=_("Smell or slime was found in the unit: something grows in it."),
        for_client=_(
            "We found that the unit needs cleaning inside. If you drink its water, please do not until we have been; "
            "we will clean it on our next visit."
        ),
    ),
    Rule(
        id="D60",
        title=_("Resin has changed colour"),
        pattern="resin_changed_colour",
        step="care",
        condition=when.resin_changed_colour,
        asks=(("resin_colour_changed_fraction",),),
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(Cause(code="resin_colour_not_confirmed", work=NoWork.READING_ASKED),),
        confirm=_("Read the TDS behind this cartridge: the indicator fades by itself, and shows no silica."),
        action=_("Read the outlet of the resin before anything is replaced."),
        cautions=(MIND_RESIN,),
        source=PRACTICE,
        for_installer=_("Most of the first resin bed has changed colour, and no outlet of the resin was read."),
        for_client=_("Most of the resin has changed colour. Please send us a reading of the water behind it."),
    ),
)
