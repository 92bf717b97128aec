"""Rules on the membrane: salt passage and flow, together and apart."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import Asks, Rule
from fleet.engineering.diagnosis.rules.common import (
    AT_MEMBRANE,
    CARBON_NOW,
    FEED_AND_PERMEATE,
    FLUSH_CARBON,
    ISOLATE,
    LOW_DRIVING_PRESSURE,
    NO_PART,
    NORMALISED,
    PRACTICE,
    SANITISE,
    SANITISE_UNIT,
    TDS_CREEP,
)
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, NoWork, Work, WorkKind

# The salt that passes, and the chlorine that did it.
TESTED: Final[Asks] = tuple(
    (*FEED_AND_PERMEATE[0], f"carbon_outlet_{kind}_chlorine_mg_per_l") for kind in ("total", "free")
)

# Flow and salt of one reading brought to one condition, or as they were read.
PLUGGED: Final[Asks] = (*NORMALISED, ("inlet_pressure_kpa", "permeate_flow_l_per_day", *FEED_AND_PERMEATE[0]))

MEMBRANE: Final[tuple[Rule, ...]] = (
    Rule(
        id="D05",
        title=_("Membrane oxidised, carbon exhausted"),
        pattern="flow_steady_salt_doubled_chlorine",
        step="membrane",
        condition=when.oxidised,
        asks=TESTED,
        place=AT_MEMBRANE,
        outdated_by=("carbon", "membrane"),
        causes=(Cause(code="membrane_oxidised_carbon_exhausted", work=CARBON_NOW),),
        confirm=_("Test total chlorine after the carbon; look at the exposure in ppm h."),
        action=_("Replace the carbon first, then the membrane."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "The flow is steady, the salt passage has doubled and chlorine passes the carbon: the membrane is oxidised."
        ),
        for_client=_(
            "Chlorine has damaged the membrane. We will come soon to replace the carbon filter, and the membrane "
            "after it."
        ),
    ),
    Rule(
        id="D47",
        title=_("Membrane oxidised"),
        pattern="flow_steady_salt_doubled_exposure",
        step="membrane",
        condition=when.oxidised_before,
        asks=FEED_AND_PERMEATE,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="membrane_oxidised", work=NoWork.ASKED_ELSEWHERE),),
        confirm=_("Test total chlorine after the carbon; look at the exposure in ppm h."),
        action=_("Replace the membrane; where the carbon lets chlorine through, replace that first."),
        cautions=(ISOLATE,),
        source=_("exposure of 200 to 1000 ppm h: from memory; limits common practice, no source"),
        for_installer=_(
            "The flow is steady, the salt passage has doubled and the membrane has met much chlorine: it is oxidised."
        ),
        for_client=_("Chlorine has damaged the membrane. We will plan its replacement."),
    ),
    Rule(
        id="D65",
        title=_("Membrane probably oxidised, carbon untested"),
        pattern="salt_doubled_slowly",
        step="membrane",
        condition=when.oxidised_unseen,
        asks=FEED_AND_PERMEATE,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(
            Cause(
                code="membrane_oxidised_untested",
                work=Work(kind=WorkKind.INSPECT, thing=_("chlorine behind the carbon")),
            ),
        ),
        confirm=_("Test total chlorine after the carbon today; look when the carbon was changed last."),
        action=_("Test first. Where chlorine passes, replace the carbon and then the membrane; else probe the seals."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "The salt that passes the membrane has doubled from visit to visit with the flow steady, and nobody tested "
            "what passes the carbon: chlorine has probably oxidised it."
        ),
        for_client=_(
            "The membrane lets more salt through than it did, probably because chlorine reached it. We will test the "
            "carbon filter on our next visit."
        ),
    ),
    Rule(
        id="D06",
        title=_("Feed leaks past the membrane"),
        pattern="salt_jumped_flow_steady",
        step="membrane",
        condition=when.leaking_past,
        asks=FEED_AND_PERMEATE,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(
            Cause(
                code="o_ring_leak",
                work=Work(kind=WorkKind.REPAIR, part="membrane_seals", thing=_("membrane seat and O-rings")),
            ),
            Cause(code="membrane_not_seated", work=INSPECT_UNIT),
            Cause(code="permeate_tube_cracked", work=INSPECT_UNIT),
        ),
        confirm=_("Reseat the membrane; probe the permeate at the housing outlet."),
        action=_("Fit new O-rings and reseat the membrane; if that does not help, replace it."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("The salt passage has risen sharply with the flow steady: feed leaks past the membrane."),
        for_client=_("Some untreated water leaks past the membrane. We will reseat the membrane on our next visit."),
    ),
    Rule(
        id="D80",
        title=_("Seal probably gives way"),
        pattern="salt_doubled_slowly_carbon_tested",
        step="membrane",
        condition=when.seal_gives_way,
        asks=FEED_AND_PERMEATE,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(
            Cause(
                code="membrane_seal_worn",
                work=Work(kind=WorkKind.REPAIR, part="membrane_seals", thing=_("membrane seat and O-rings")),
            ),
        ),
        confirm=_("Probe the permeate at the housing outlet and along its tube; test total chlorine after the carbon."),
        action=_("Fit new O-rings and reseat the membrane; if that does not help, replace it."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "The salt that passes the membrane has doubled from visit to visit with the flow steady, and no test found "
            "chlorine behind the carbon: a seal that gives way slowly, or else chlorine between the tests."
        ),
        for_client=_(
            "The membrane lets more salt through than it did, probably past a seal. We will fit new seals on our next "
            "visit."
        ),
    ),
    Rule(
        id="D62",
        title=_("Membrane damaged"),
        pattern="salt_jumped_flow_fell",
        step="membrane",
        condition=when.damaged,
        asks=FEED_AND_PERMEATE,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="membrane_damaged", work=INSPECT_UNIT),),
        confirm=_("Ask whether the unit stood dry or froze; read feed and permeate again after flushing."),
        action=_("Replace the membrane, and see that the next one cannot run dry or freeze."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "The salt passage has jumped and stays, and the flow fell with it: the membrane has dried out or is torn."
        ),
        for_client=_(
            "The membrane lets more salt through than it did. We will look on our next visit, and replace it if needed."
        ),
    ),
    Rule(
        id="D75",
        title=_("Carbon fines on the membrane"),
        pattern="flow_fell_with_new_carbon",
        step="membrane",
        condition=when.plugged_by_fines,
        asks=PLUGGED,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="carbon_fines", work=Work(kind=WorkKind.INSPECT, thing=_("carbon fines on the membrane"))),),
        confirm=_("Run the water behind the carbon into a white cup; look for black at the inlet end of the membrane."),
        action=_(
            "Flush the carbon to the drain until it runs clear, then the membrane with its flush valve open; replace "
            "the membrane if its flow does not come back."
        ),
        cautions=(ISOLATE, FLUSH_CARBON),
        source=PRACTICE,
        for_installer=_("The flow fell when the carbon was changed: fines of the new carbon lie on the membrane."),
        for_client=_(
            "Since the carbon filter was changed the unit makes less water. We will rinse it on our next visit, and "
            "replace the membrane if that does not help."
        ),
    ),
    Rule(
        id="D07",
        title=_("Membrane scaled"),
        pattern="flow_down_salt_up_scaling_water",
        step="membrane",
        condition=when.scaled,
        asks=PLUGGED,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="membrane_scaling", work=INSPECT_UNIT),),
        confirm=_("Weigh the element, test the hardness, look at the waste ratio."),
        action=_("Raise the waste ratio or soften the feed; clean or replace the membrane."),
        cautions=(ISOLATE,),
        source=_("Langelier index of the concentrate, Standard Methods 2330; limits common practice, no source"),
        for_installer=_("The flow is down, and the concentrate can form scale."),
        for_client=_(
            "Scale is building up on the membrane. On our next visit we will clean or replace it and adjust the unit."
        ),
    ),
    Rule(
        id="D08",
        title=_("Membrane fouled"),
        pattern="flow_down_salt_steady",
        step="membrane",
        condition=when.fouled,
        asks=PLUGGED,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="biofouling", work=SANITISE_UNIT), Cause(code="colloidal_fouling", work=INSPECT_UNIT)),
        confirm=_("Measure the silt density index, look at the cartridges, ask about standstill."),
        action=_("Sanitise, fit a finer prefilter, flush more often."),
        cautions=(SANITISE,),
        source=PRACTICE,
        for_installer=_("The flow is down with the salt passage steady: slime or fine particles on the membrane."),
        for_client=_("The membrane is fouled. We will clean the unit on our next visit and may fit a finer filter."),
    ),
    Rule(
        id="D09",
        title=_("New membrane settling in"),
        pattern="flow_down_first_weeks",
        step="membrane",
        condition=when.running_in,
        asks=NORMALISED,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="membrane_running_in", work=NoWork.EXPLAINED),),
        confirm=_("See whether the trend flattens within weeks."),
        action=_("Set the baseline after running-in."),
        cautions=(NO_PART,),
        source=_("5 to 10 % in the first weeks, from memory"),
        for_installer=_("A new membrane loses 5 to 10 % of its flow in its first weeks: normal."),
        for_client=_("The new membrane is settling in. This is normal, and nothing needs to be done."),
    ),
    Rule(
        id="D10",
        title=_("Membrane aged"),
        pattern="flow_and_salt_worse_over_years",
        step="membrane",
        condition=when.aged,
        asks=FEED_AND_PERMEATE,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="membrane_aged", work=NoWork.YEARS_AHEAD),),
        confirm=_("Check the age, and that the trend is slow and steady."),
        action=_("Keep reading it: its forecast says when to replace it."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("Flow and salt passage have worsened over years, and more than membranes of this age do."),
        for_client=_("The membrane is ageing, as membranes do. We will keep reading it, and replace it in time."),
    ),
    Rule(
        id="D46",
        title=_("Membrane rejection too low"),
        pattern="rejection_below_least",
        step="membrane",
        condition=when.holds_back_too_little,
        water_is_bad=True,
        asks=FEED_AND_PERMEATE,
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="membrane_rejection_low", work=NoWork.ASKED_ELSEWHERE),),
        confirm=_("Read feed and permeate again with one meter, after flushing."),
        action=_("Find the cause: chlorine, O-rings, scale or age. Otherwise replace the membrane."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("The rejection of the membrane is below its limit."),
        for_client=_(
            "The membrane lets too much salt through. We will look for the cause, and replace the membrane if needed."
        ),
    ),
    Rule(
        id="D76",
        title=_("Water past its limit"),
        pattern="product_above_limit_without_resin",
        step="membrane",
        condition=when.above_its_limit,
        water_is_bad=True,
        asks=(("product_tds_mg_per_l",), ("permeate_tds_mg_per_l",)),
        place=AT_MEMBRANE,
        outdated_by=("membrane",),
        causes=(Cause(code="water_past_limit", work=INSPECT_UNIT),),
        confirm=_("Read feed, permeate and outlet with one meter, after flushing."),
        action=_("Find what adds salt or lets it pass; where all is sound, agree on another limit or offer resin."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("The water of the unit is past its limit."),
        for_client=_("The water carries more salt than your use allows. We will come to find out why."),
    ),
    Rule(
        id="D14",
        title=_("Salt creep after standstill"),
        pattern="tds_high_only_at_start",
        step="membrane",
        condition=when.creep,
        asks=(("permeate_tds_at_start_mg_per_l", "permeate_tds_mg_per_l"),),
        place=AT_MEMBRANE,
        outdated_by=(),
        causes=(TDS_CREEP,),
        confirm=_("Read each minute after the start."),
        action=_("Flush to drain at the start, widen the draw-down band, keep the first minute out of the trend."),
        cautions=(NO_PART,),
        source=_("salt diffuses through the membrane at rest"),
        for_installer=_(
            "The permeate TDS is high in the first minutes and normal after flushing: salt creep at standstill."
        ),
        for_client=_(
            "The first water after a pause carries more salt. Please let it run for a minute before you use it."
        ),
    ),
    Rule(
        id="D15",
        title=_("Supply water has changed"),
        pattern="permeate_follows_feed",
        step="membrane",
        condition=when.supply_changed,
        asks=FEED_AND_PERMEATE,
        must_be_seen_twice=True,
        place=AT_MEMBRANE,
        outdated_by=(),
        causes=(Cause(code="supply_changed", work=NoWork.EXPLAINED),),
        confirm=_("Compare the feed TDS with the supplier's figures."),
        action=_("No part is needed; the forecast is computed again with the new feed."),
        cautions=(NO_PART,),
        source=_("salt passage is normal"),
        for_installer=_("The permeate has risen in proportion to the feed; the membrane is as it was."),
        for_client=_(
            "The water from your supplier has changed; the unit works as before. Its filters may not last as long, and "
            "we will plan our visits accordingly."
        ),
    ),
    Rule(
        id="D16",
        title=_("Low driving pressure"),
        pattern="low_driving_pressure",
        step="membrane",
        condition=when.low_driving_pressure,
        asks=NORMALISED,
        must_be_seen_twice=True,
        place=AT_MEMBRANE,
        outdated_by=(),
        causes=(LOW_DRIVING_PRESSURE,),
        confirm=_("Read the inlet and the tank pressure; at the baseline pressure the flow is as it was."),
        action=_("Find and repair what lowers the pressure: prefilters, line, pump or tank."),
        cautions=(NO_PART,),
        source=_("ASTM D4516 normalisation"),
        for_installer=_(
            "There is less and saltier water only because the pressure is low; the normalised values are normal."
        ),
        for_client=_(
            "Low pressure makes less and slightly saltier water; the membrane is fine. If the unit makes too little "
            "for you, please call us."
        ),
    ),
    Rule(
        id="D37",
        title=_("Warm water"),
        pattern="warm_water",
        step="membrane",
        condition=when.warm_water,
        asks=NORMALISED,
        passes_with_season=True,
        place=AT_MEMBRANE,
        outdated_by=(),
        causes=(Cause(code="warm_water_not_a_fault", work=NoWork.EXPLAINED),),
        confirm=_("Bring the flow to the baseline temperature: it is as it was."),
        action=_("Nothing to repair; warm water loads the resin more, so watch it."),
        cautions=(NO_PART,),
        source=_("ASTM D4516 normalisation"),
        for_installer=_("There is more and saltier water because the feed is warmer than in the baseline."),
        for_client=_(
            "The water is warmer than when the membrane was new, so the unit makes more, slightly saltier water. This "
            "is normal, and nothing needs to be done."
        ),
    ),
)
