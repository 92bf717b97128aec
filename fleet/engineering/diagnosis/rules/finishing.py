"""Rules on the lamp and the minerals behind the membrane."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.cautions import UV_GAP, UV_LIGHT, UV_MERCURY
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.places import Place
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules.common import DRINKING, ISOLATE, PRACTICE
from fleet.engineering.diagnosis.work import Cause, Work, WorkKind

FINISHING_RULES: Final[tuple[Rule, ...]] = (
    Rule(
        id="D78",
        title=_("UV lamp dark or weak"),
        pattern="uv_lamp_fails",
        step="care",
        condition=when.lamp_fails,
        water_is_bad=True,
        asks=(("uv_alarm",), ("uv_intensity_fraction",)),
        place=Place("uv", ("single",)),
        outdated_by=("uv",),
        causes=(
            Cause(
                code="uv_lamp_out",
                work=Work(kind=WorkKind.REPLACE, stage="uv", is_urgent=True),
                tells_office_at_once=True,
            ),
        ),
        confirm=_("Look at its alarm and its plug; clean the sleeve, and read the monitor again."),
        action=_("Replace the lamp, clean the sleeve, and disinfect what lies behind it before anybody drinks."),
        cautions=(UV_LIGHT, UV_MERCURY, UV_GAP, DRINKING),
        source=PRACTICE,
        for_installer=_("The UV lamp is dark or too weak: the water behind it is not disinfected."),
        for_client=_(
            "The lamp that disinfects your water does not shine as it must. Please do not drink this water unless it "
            "was boiled, and do not open the lamp; we will come soon to replace it."
        ),
    ),
    Rule(
        id="D79",
        title=_("Remineralising cartridge exhausted"),
        pattern="minerals_exhausted",
        step="care",
        condition=when.minerals_are_exhausted,
        asks=(("remineralised_ph",), ("remineralised_tds_mg_per_l", "permeate_tds_mg_per_l")),
        must_be_seen_twice=True,
        place=Place("remineralisation", ("single", "lead")),
        outdated_by=("remineralisation",),
        causes=(Cause(code="minerals_exhausted", work=Work(kind=WorkKind.REPLACE, stage="remineralisation")),),
        confirm=_("Let it run for a minute, and read pH and TDS behind it and the TDS before it once more."),
        action=_("Replace the remineralising cartridge, and run the new one to the drain until the water is clear."),
        cautions=(ISOLATE,),
        source=_("pH of 6.5 to 8.5 is what 40 CFR 143.3 recommends; the rise of TDS is common practice, no source"),
        for_installer=_("Behind the remineralising cartridge the water is as soft or acid as before it: exhausted."),
        for_client=_("The mineral cartridge is exhausted: the water is soft and flat. We will replace it."),
    ),
)
