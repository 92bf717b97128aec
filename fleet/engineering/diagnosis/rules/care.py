"""Rules on what people report, and on units that nobody reads."""

import dataclasses
from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import NO_STORED_READING, Rule
from fleet.engineering.diagnosis.rules.common import DRINKING, PRACTICE, SANITISE, SANITISE_UNIT
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, NoWork

CARE: Final[tuple[Rule, ...]] = (
    Rule(
        id="D39",
        title=_("Taste or odour"),
        pattern="taste_or_odour",
        step="care",
        condition=when.tastes,
        water_is_bad=True,
        asks=(("taste_or_odour",),),
        place=None,
        outdated_by=(),
        causes=(
            Cause(
                code="tank_biofilm",
                work=dataclasses.replace(SANITISE_UNIT, is_urgent=True),
                tells_office_at_once=True,
            ),
            Cause(code="carbon_old", work=INSPECT_UNIT),
            Cause(code="post_filter_old", work=INSPECT_UNIT),
        ),
        confirm=_("Check the age of the carbon and the date of the last sanitising."),
        action=_("Sanitise tank and lines; replace the carbon and the post-filter if they are old."),
        cautions=(SANITISE, DRINKING),
        source=PRACTICE,
        for_installer=_("Taste or odour with a normal TDS: growth in the tank, or old carbon."),
        for_client=_(
            "Taste or smell usually comes from the tank or an old filter. Please do not drink this water until we have "
            "been; we will come soon, clean the unit and replace old filters."
        ),
    ),
    Rule(
        id="D41",
        title=_("No reading for weeks"),
        pattern="not_read",
        step="care",
        condition=when.unread,
        asks=NO_STORED_READING,
        is_of_whole_unit=True,
        place=None,
        outdated_by=(),
        causes=(Cause(code="no_reading_for_weeks", work=NoWork.READING_ASKED),),
        confirm=_("Ask the client for a reading, or without a meter for what can be seen."),
        action=_("Ask the client; visit if no answer comes."),
        cautions=(_("A forecast without readings is an estimate and never the only safeguard."),),
        source=PRACTICE,
        for_installer=_(
            "Nobody has read this unit for weeks; its forecast rests on older readings, or on labels and load alone."
        ),
        # What is asked of this client, who may have no meter, is said where the unit's status asks for it.
        for_client=_("We have had no reading from your unit for a while."),
    ),
)
