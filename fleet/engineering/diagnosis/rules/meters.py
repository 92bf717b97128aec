"""Is the reading valid, and are the meters plausible?"""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import NO_STORED_READING, Rule
from fleet.engineering.diagnosis.rules.common import CODES, FEED_AND_PERMEATE, ISOLATE, NO_PART, PRACTICE
from fleet.engineering.diagnosis.work import INSPECT_UNIT, READ_AGAIN, Cause, NoWork, Work, WorkKind

METER: Final = Cause(code="meter_out_of_calibration", work=Work(kind=WorkKind.VERIFY_INSTRUMENTS, thing=_("meters")))

METERS: Final[tuple[Rule, ...]] = (
    Rule(
        id="D38",
        title=_("Reading not steady"),
        pattern="reading_not_steady",
        step="state",
        condition=when.not_steady,
        asks=NO_STORED_READING,
        doubts=("flows", "membrane"),
        place=None,
        outdated_by=(),
        causes=(Cause(code="reading_not_valid_for_trend", work=NoWork.EXPLAINED),),
        confirm=_(
            "Read again after 5 minutes with the tank valve closed and the permeate to drain, or note the tank "
            "pressure."
        ),
        action=_("Keep the reading, but leave it out of the trend."),
        cautions=(NO_PART,),
        source=PRACTICE,
        for_installer=_(
            "The reading was taken too soon after the start, or against a tank of unknown pressure, so it is kept out "
            "of the trend."
        ),
        for_client=_(
            "This reading was taken before the unit had settled. Please take it again after 5 minutes of flow."
        ),
    ),
    Rule(
        id="D18",
        title=_("Feed and permeate probes exchanged"),
        pattern="permeate_above_feed_swap_explains",
        step="meters",
        condition=when.probes_swapped,
        asks=FEED_AND_PERMEATE,
        must_be_seen_twice=True,
        doubts=("membrane", "resin"),
        place=None,
        outdated_by=(),
        causes=(
            Cause(
                code="probes_swapped", work=Work(kind=WorkKind.INSPECT, thing=_("probes")), has_exchanged_probes=True
            ),
        ),
        confirm=_("Measure feed and permeate with one hand-held meter."),
        action=_("Swap the labels or leads; confirm the finding, which corrects the stored readings."),
        cautions=(NO_PART,),
        source=PRACTICE,
        for_installer=_("Feed and permeate seem to be exchanged: the other way round they read as this unit should."),
        for_client=_(
            "Two sensors of your unit seem to be exchanged; your water is not affected. We will check them on our "
            "next visit."
        ),
    ),
    Rule(
        id="D19",
        title=_("Permeate above feed"),
        pattern="permeate_above_feed",
        step="meters",
        condition=when.permeate_above_feed,
        asks=FEED_AND_PERMEATE,
        doubts=("membrane", "resin"),
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="standstill_sample", work=READ_AGAIN),
            Cause(code="tubes_crossed", work=INSPECT_UNIT),
            Cause(code="sample_from_concentrate", work=INSPECT_UNIT),
            Cause(code="salt_in_cup", work=INSPECT_UNIT),
        ),
        confirm=_("Trace the tubes, rinse the cup, sample again after 5 minutes of flow."),
        action=_("Reconnect the tubes if they are crossed; otherwise take the reading again."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_(
            "Permeate reads above feed, and no baseline shows that the probes are exchanged: check tubes, sample "
            "point and cup."
        ),
        for_client=_("A reading of your unit does not make sense. We will take it again on our next visit."),
    ),
    Rule(
        id="D17",
        title=_("Two meters disagree"),
        pattern="meters_disagree",
        step="meters",
        condition=when.meters_disagree,
        asks=NO_STORED_READING,
        doubts=("membrane", "resin"),
        place=None,
        outdated_by=(),
        causes=(
            METER,
            Cause(code="different_tds_factor", work=INSPECT_UNIT),
            Cause(code="dirty_cell", work=INSPECT_UNIT),
        ),
        confirm=_("Check both meters with a standard near the range in use, 84 or 1413 uS/cm."),
        action=_("Clean and calibrate the meter, and store its factor."),
        cautions=(NO_PART,),
        source=PRACTICE,
        for_installer=_(
            "Two meters differ by more than 10 % or 3 digits on one cup: calibrate them before diagnosing anything."
        ),
        for_client=_(
            "One of the meters needs calibration, so its readings may be off. We will check it on our next visit."
        ),
    ),
    Rule(
        id="D66",
        title=_("Permeate meter reads too low"),
        pattern="salt_passage_fell_for_good",
        step="meters",
        condition=when.meter_reads_low,
        asks=FEED_AND_PERMEATE,
        place=None,
        outdated_by=("membrane",),
        causes=(METER, Cause(code="wrong_probe", work=INSPECT_UNIT)),
        confirm=_("Measure the permeate with a second meter that was just checked."),
        action=_("Clean the probe and calibrate the meter; leave its readings out of the trend until then."),
        cautions=(NO_PART,),
        source=PRACTICE,
        for_installer=_(
            "The permeate has read far lower from one visit on with the same membrane, and none improves by itself: "
            "the probe is coated or the meter is out of calibration, unless somebody has reseated the membrane."
        ),
        for_client=_(
            "The meter behind the membrane seems to read too low. We will check it on our next visit; until then its "
            "numbers look better than your water is."
        ),
    ),
    Rule(
        id="D20",
        title=_("Impossible flow"),
        pattern="impossible_flow",
        step="meters",
        condition=when.impossible_flow,
        asks=(("permeate_flow_l_per_day",), ("totaliser_l",)),
        doubts=("flows", "membrane"),
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="flow_entry_error", work=READ_AGAIN),
            Cause(code="counter_reversed", work=INSPECT_UNIT),
            Cause(code="leak", work=INSPECT_UNIT),
            Cause(code="concentrate_line_blocked", work=INSPECT_UNIT),
        ),
        confirm=_("Measure both flows with bucket and stopwatch; look for a leak."),
        action=_("Take the flows again; if water goes in and does not come out, shut the feed and find the leak."),
        cautions=(CODES,),
        source=PRACTICE,
        for_installer=_(
            "A flow cannot be right: it is negative, far above what the membrane can make, or no concentrate leaves."
        ),
        for_client=_(
            "A flow reading does not make sense. If you see water where it should not be, shut the feed and call us."
        ),
    ),
    Rule(
        id="D36",
        title=_("Salt balance does not close"),
        pattern="salt_balance_open",
        step="meters",
        condition=when.salt_balance_open,
        asks=(("salt_balance_closure_fraction",),),
        doubts=("flows", "membrane"),
        place=None,
        outdated_by=(),
        causes=(Cause(code="flow_or_tds_reading_wrong", work=READ_AGAIN),),
        confirm=_("Repeat all flows and TDS within 5 minutes."),
        action=_("Do not judge the membrane until the balance closes within 10 %."),
        cautions=(NO_PART,),
        source=PRACTICE,
        for_installer=_("Salt in and salt out differ by more than 10 %: a flow or a TDS is wrong."),
        for_client=_("Some readings of your unit contradict each other. We will take them again on our next visit."),
    ),
    Rule(
        id="D43",
        title=_("Chlorine tests disagree"),
        pattern="chlorine_tests_contradict",
        step="meters",
        condition=when.chlorine_tests_contradict,
        asks=(("carbon_outlet_total_chlorine_mg_per_l",), ("feed_total_chlorine_mg_per_l",)),
        doubts=("carbon",),
        place=None,
        outdated_by=(),
        causes=(Cause(code="chlorine_test_error", work=READ_AGAIN),),
        confirm=_("Repeat with fresh reagent; dilute if the sample bleaches; test total and free from the same draw."),
        action=_("Do not judge the carbon by these tests."),
        cautions=(NO_PART,),
        source=PRACTICE,
        for_installer=_(
            "The chlorine tests contradict each other: free above total, or more after the carbon than before it."
        ),
        for_client=_("Two chlorine tests contradict each other. We will repeat them on our next visit."),
    ),
    Rule(
        id="D74",
        title=_("Pressure gauge reads wrong"),
        pattern="pressure_against_flow",
        step="meters",
        condition=when.gauge_against_flow,
        asks=(
            ("inlet_pressure_kpa", "permeate_flow_l_per_day"),
            ("inlet_pressure_kpa", "concentrate_flow_l_per_day"),
        ),
        must_be_seen_twice=True,
        doubts=("meters", "pressures", "flows", "membrane"),
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="pressure_gauge_fault", work=Work(kind=WorkKind.REPAIR, thing=_("pressure gauge"))),
            Cause(code="pressure_unit_mistaken", work=NoWork.READING_ASKED),
        ),
        confirm=_("Tap the gauge, see whether it goes to zero at rest, and hold another one against it."),
        action=_("Relieve the pressure and replace the gauge; correct what was written in another unit."),
        cautions=(ISOLATE,),
        source=_("flow goes with the driving pressure"),
        for_installer=_(
            "The gauge before the membrane shows another pressure than ever, while the water flows as ever."
        ),
        for_client=_(
            "A pressure gauge of the unit seems to be broken; the unit works. We will look on our next visit."
        ),
    ),
)
