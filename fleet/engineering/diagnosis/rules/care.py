"""Rules on what people report, and on units that nobody reads."""

from typing import Final

from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import NO_STORED_READING, Rule
from fleet.engineering.diagnosis.rules.common import DRINKING, PRACTICE, SANITISE, SANITISE_UNIT
from fleet.engineering.diagnosis.work import LOOK, Cause, NoWork

CARE: Final[tuple[Rule, ...]] = (
    Rule(
        id="D39",
        title="Taste or odour",
        pattern="taste_or_odour",
        step="care",
        condition=when.tastes,
        asks=NO_STORED_READING,
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="tank_biofilm", work=SANITISE_UNIT),
            Cause(code="carbon_old", work=LOOK),
            Cause(code="post_filter_old", work=LOOK),
        ),
        confirm="Check the age of the carbon and the date of the last sanitising.",
        action="Sanitise tank and lines, and replace the carbon and the post-filter.",
        caution=f"{SANITISE} {DRINKING}",
        source=PRACTICE,
        for_installer="Taste or odour with a normal TDS: growth in the tank, or old carbon.",
        for_client=(
            "Taste or smell usually comes from the tank or an old filter. We will clean the unit on our next visit "
            "and replace old filters."
        ),
    ),
    Rule(
        id="D41",
        title="No reading for weeks",
        pattern="not_read",
        step="care",
        condition=when.unread,
        asks=NO_STORED_READING,
        is_of_whole_unit=True,
        place=None,
        outdated_by=(),
        causes=(Cause(code="no_reading_for_weeks", work=NoWork.READING_ASKED),),
        confirm="Ask the client for a reading.",
        action="Ask for a reading; visit if none comes.",
        caution="A forecast without readings is an estimate and never the only safeguard.",
        source=PRACTICE,
        for_installer=(
            "Nobody has read this unit for weeks; its forecast rests on older readings, or on labels and load alone."
        ),
        for_client="We have had no reading from your unit for a while. Please send us one.",
    ),
)
