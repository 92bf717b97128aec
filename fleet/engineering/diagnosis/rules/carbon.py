"""Rules on the carbon: chlorine that passes, and what it spoils behind it."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import Rule
from fleet.engineering.diagnosis.rules.common import (
    ANIMALS,
    AT_LAST_CARBON,
    AT_LEAD_CARBON,
    CARBON_NOW,
    ISOLATE,
    PRACTICE,
)
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, NoWork, Work, WorkKind

CARBON: Final[tuple[Rule, ...]] = (
    Rule(
        id="D44",
        title=_("Chlorine behind the carbon"),
        pattern="chlorine_after_carbon",
        step="carbon",
        condition=when.chlorine_through,
        water_is_bad=True,
        asks=(("carbon_outlet_total_chlorine_mg_per_l",), ("carbon_outlet_free_chlorine_mg_per_l",)),
        place=AT_LAST_CARBON,
        outdated_by=("carbon",),
        causes=(Cause(code="carbon_exhausted", work=CARBON_NOW),),
        confirm=_("Repeat the total chlorine test with fresh reagent."),
        action=_("Replace the carbon before the membrane is damaged."),
        cautions=(ISOLATE, ANIMALS),
        source=_("0.1 mg/L total chlorine: dialysis practice"),
        for_installer=_("Chlorine after the last carbon has reached its limit: it damages the membrane."),
        for_client=_(
            "The carbon filter is exhausted and lets chlorine through. We will come soon to replace it, to protect "
            "the membrane."
        ),
    ),
    Rule(
        id="D45",
        title=_("Lead carbon exhausted"),
        pattern="lead_carbon_passes_chlorine",
        step="carbon",
        condition=when.lead_carbon_exhausted,
        asks=(
            ("interstage_chlorine_mg_per_l", "feed_total_chlorine_mg_per_l"),
            ("interstage_chlorine_mg_per_l", "feed_free_chlorine_mg_per_l"),
        ),
        place=AT_LEAD_CARBON,
        outdated_by=("carbon",),
        causes=(Cause(code="lead_carbon_exhausted", work=NoWork.ASKED_ELSEWHERE),),
        confirm=_("Repeat the total chlorine test between the carbons with fresh reagent."),
        action=_("Discard the lead, move the lag to lead, fit a fresh lag."),
        cautions=(ISOLATE, ANIMALS),
        source=PRACTICE,
        for_installer=_(
            "The lead carbon lets more chlorine through than its limit, and the lag still removes the rest."
        ),
        for_client=_(
            "The first carbon filter is exhausted and the second still works. We will come to replace the first."
        ),
    ),
    Rule(
        id="D30",
        title=_("Chloramine behind the carbon"),
        pattern="total_chlorine_free_none",
        step="carbon",
        condition=when.chloramine_through,
        water_is_bad=True,
        asks=(("carbon_outlet_total_chlorine_mg_per_l",),),
        place=AT_LAST_CARBON,
        outdated_by=("carbon",),
        causes=(Cause(code="chloramine_breakthrough", work=CARBON_NOW),),
        confirm=_("Test for ammonia; ask the supplier."),
        action=_("Fit catalytic carbon, add a second position, or lower the flow."),
        cautions=(ANIMALS, _("Ammonia, which carbon sets free from chloramine, kills them too.")),
        source=_("0.1 mg/L total chlorine: dialysis practice"),
        for_installer=_("Total chlorine passes the carbon while free chlorine reads near 0: chloramine."),
        for_client=_(
            "The disinfectant of your supplier gets through the carbon filter. Do not use the water for animals until "
            "we have replaced the filter."
        ),
    ),
    Rule(
        id="D31",
        title=_("New carbon lets chlorine through"),
        pattern="chlorine_soon_after_change",
        step="carbon",
        condition=when.carbon_fails_early,
        asks=(("carbon_outlet_total_chlorine_mg_per_l",), ("carbon_outlet_free_chlorine_mg_per_l",)),
        place=AT_LAST_CARBON,
        outdated_by=("carbon",),
        causes=(
            Cause(
                code="wrong_cartridge",
                work=Work(kind=WorkKind.INSPECT, thing=_("carbon and its housing"), is_urgent=True),
            ),
            Cause(code="carbon_bypassed", work=INSPECT_UNIT),
            Cause(code="flow_too_high_for_carbon", work=INSPECT_UNIT),
        ),
        confirm=_("Check contact time, seat of the cartridge and O-ring."),
        action=_("Refit the cartridge; lower the flow or fit a larger bed."),
        cautions=(ISOLATE,),
        source=PRACTICE,
        for_installer=_("Chlorine passes a carbon that is only days old: wrong cartridge, bypass or too much flow."),
        for_client=_("The new carbon filter lets chlorine through. We will come soon to check how it is fitted."),
    ),
)
