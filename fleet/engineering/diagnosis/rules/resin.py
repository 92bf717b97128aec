"""Rules on the resin: breakthrough, early exhaustion, rotation."""

from typing import Final

from accounts.language import gettext_noop as _
from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import NO_STORED_READING, Rule
from fleet.engineering.diagnosis.rules.common import AT_FIRST_RESIN, METALS, MIND_RESIN, NO_PART, PRACTICE, TDS_CREEP
from fleet.engineering.diagnosis.work import INSPECT_UNIT, Cause, NoWork, Work, WorkKind

CARBON_DIOXIDE: Final = Cause(code="carbon_dioxide_load", work=NoWork.ASKED_ELSEWHERE)
SILICA: Final = Cause(code="silica_load", work=INSPECT_UNIT)

CHANNELLING: Final = Cause(
    code="resin_channelling", work=Work(kind=WorkKind.REPAIR, thing=_("seat and seals of the resin"))
)

RESIN: Final[tuple[Rule, ...]] = (
    Rule(
        id="D12",
        title=_("All resin exhausted"),
        pattern="lead_and_product_equal_permeate",
        step="resin",
        condition=when.both_exhausted,
        water_is_bad=True,
        asks=(("permeate_tds_mg_per_l", "product_tds_mg_per_l"), ("product_tds_mg_per_l",)),
        asks_behind_lag=(("permeate_tds_mg_per_l", "product_tds_mg_per_l"),),
        is_judged_by_newest_product=True,
        can_rest_on_product_alone=True,
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(Cause(code="di_both_exhausted", work=Work(kind=WorkKind.REPLACE, stage="resin")),),
        confirm=_("Read again after flushing."),
        action=_("Replace both cartridges; compare with the forecast and look for carbon dioxide."),
        cautions=(MIND_RESIN,),
        source=PRACTICE,
        for_installer=_("Lead outlet and product both read as the permeate: both resin cartridges are exhausted."),
        for_client=_(
            "Both resin cartridges are exhausted, so you get plain reverse-osmosis water. We will come to replace them."
        ),
    ),
    Rule(
        id="D11",
        title=_("Lead resin exhausted"),
        pattern="lead_equals_permeate",
        step="resin",
        condition=when.lead_exhausted,
        asks=(("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"),),
        is_judged_by_newest_product=True,
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(Cause(code="di_lead_exhausted", work=Work(kind=WorkKind.ROTATE, stage="resin")),),
        confirm=_("Read again after flushing."),
        action=_("Discard the lead, move the lag to lead, fit a fresh lag."),
        cautions=(MIND_RESIN,),
        source=PRACTICE,
        for_installer=_("The lead outlet reads as the permeate and the product is still good: the lag holds, rotate."),
        for_client=_(
            "The first resin cartridge is exhausted and the second still works. We will come to replace the first."
        ),
    ),
    Rule(
        id="D32",
        title=_("Product above permeate"),
        pattern="product_above_permeate",
        step="resin",
        condition=when.product_above_permeate,
        asks=(("permeate_tds_mg_per_l", "product_tds_mg_per_l"),),
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(
            Cause(code="di_exhausted_and_releasing", work=Work(kind=WorkKind.REPLACE, stage="resin")),
            Cause(code="wrong_probe", work=INSPECT_UNIT),
        ),
        confirm=_("Measure TDS and pH of the product with a hand-held meter."),
        action=_("Replace the resin."),
        cautions=(MIND_RESIN,),
        source=PRACTICE,
        for_installer=_(
            "The product reads above the permeate: exhausted resin releases weaker ions, or a probe is wrong."
        ),
        for_client=_(
            "The resin is exhausted and releases what it had removed. Do not use the product water until we have "
            "replaced it."
        ),
    ),
    Rule(
        id="D63",
        title=_("Resins in the wrong order"),
        pattern="product_above_interstage",
        step="resin",
        condition=when.resins_in_wrong_order,
        asks=(("interstage_tds_mg_per_l", "product_tds_mg_per_l"),),
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(
            Cause(
                code="resins_exchanged",
                work=Work(kind=WorkKind.REPAIR, thing=_("order of the resin cartridges"), is_urgent=True),
            ),
        ),
        confirm=_("Read behind each cartridge with one meter."),
        action=_("Put the fresh cartridge last, or replace the second one."),
        cautions=(MIND_RESIN,),
        source=PRACTICE,
        for_installer=_(
            "The water is worse behind the second resin than between the two: the older one stands behind the fresh."
        ),
        for_client=_("The last resin cartridge lets salt into your water. We will come soon to put it right."),
    ),
    Rule(
        id="D73",
        title=_("Water slips past the resin"),
        pattern="product_high_behind_fresh_resin",
        step="resin",
        condition=when.slips_past_resin,
        asks=(("product_tds_mg_per_l",),),
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(CHANNELLING,),
        confirm=_("Run a few litres to drain and read again; look at the seals and at the way the water takes."),
        action=_("Seat the cartridge anew with sound seals, close a bypass, pack a loose bed; else fit another resin."),
        cautions=(MIND_RESIN,),
        source=PRACTICE,
        for_installer=_("The product was salty from the first days of this resin: water passes beside the bed."),
        for_client=_(
            "Some water passes beside the new resin, so your water is not as pure as it should be. We will put it "
            "right on our next visit."
        ),
    ),
    Rule(
        id="D13",
        title=_("Resin exhausted early"),
        pattern="resin_life_short",
        step="resin",
        condition=when.resin_short_lived,
        asks=(("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"), ("permeate_tds_mg_per_l", "product_tds_mg_per_l")),
        asks_behind_lag=(("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"),),
        is_judged_by_newest_product=True,
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(
            CARBON_DIOXIDE,
            SILICA,
            CHANNELLING,
            TDS_CREEP,
            Cause(code="ammonium_load", work=INSPECT_UNIT),
        ),
        confirm=_("Measure pH and alkalinity of the feed, pH of the product, and TDS in the first minute."),
        action=_("Degas, add an anion cartridge, stand the housing upright, fit a flush valve."),
        cautions=(MIND_RESIN,),
        source=_("carbon dioxide counts one equivalent a mole on the resin and none on the meter"),
        for_installer=_(
            "The resin was exhausted far sooner than this permeate and the carbon dioxide of a usual supply explain: "
            "something loads it that the TDS meter does not see."
        ),
        for_client=_(
            "The resin was exhausted sooner than expected. We will look for the cause in the water on our next visit."
        ),
    ),
    Rule(
        id="D68",
        title=_("Resin before exhausted early"),
        pattern="resin_life_short_before",
        step="resin",
        condition=when.resin_before_short_lived,
        asks=(("permeate_tds_mg_per_l",), ("product_tds_mg_per_l",)),
        place=None,
        outdated_by=(),
        causes=(CARBON_DIOXIDE, SILICA),
        confirm=_("Measure pH and alkalinity of the feed, and the pH of the permeate."),
        action=_("Degas, or add an anion cartridge; plan the next resin by its litres and not by the TDS."),
        cautions=(MIND_RESIN,),
        source=_("carbon dioxide counts one equivalent a mole on the resin and none on the meter"),
        for_installer=_("The resin before this one was exhausted far sooner than this permeate explains."),
        for_client=_(
            "The last resin was exhausted sooner than expected. We will look for the cause in the water on our next "
            "visit."
        ),
    ),
    Rule(
        id="D33",
        title=_("Weak ions pass the resin"),
        pattern="weak_ions_through",
        step="resin",
        condition=when.weak_ions_through,
        asks=NO_STORED_READING,
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="weak_ions_break_through_first", work=NoWork.ASKED_ELSEWHERE),
            Cause(code="chloramine_ammonium", work=INSPECT_UNIT),
        ),
        confirm=_("Test the product for silica and ammonia."),
        action=_("Replace the resin earlier, add an anion cartridge, check the carbon for chloramine."),
        cautions=(_("Ammonia kills aquarium animals: test before use."),),
        source=PRACTICE,
        for_installer=_(
            "The product TDS is within its limit, yet ammonia, silica or algae are reported: weak ions pass before "
            "the TDS moves."
        ),
        for_client=_(
            "The meter shows nothing wrong, but something it cannot see gets through. Test for ammonia before you "
            "use the water."
        ),
    ),
    Rule(
        id="D34",
        title=_("Product rises in an open cup"),
        pattern="product_rises_in_cup",
        step="resin",
        condition=when.cup_takes_up_air,
        asks=(("product_tds_mg_per_l",),),
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(
            Cause(code="carbon_dioxide_from_air", work=NoWork.EXPLAINED),
            Cause(code="dirty_cup", work=INSPECT_UNIT),
        ),
        confirm=_("Read the product in the line, not in a cup."),
        action=_("Nothing to repair."),
        cautions=(NO_PART,),
        source=_("CRC Handbook: water in air reaches 1.1 uS/cm, about 0.5 mg/L"),
        for_installer=_(
            "1 to 2 mg/L in an open cup come from carbon dioxide in the air, or from the cup, not from the resin."
        ),
        for_client=_(
            "Very pure water takes up a little carbon dioxide from the air in an open cup. This is normal, and "
            "nothing needs to be done."
        ),
    ),
    Rule(
        id="D35",
        title=_("Permeate slightly acid"),
        pattern="permeate_acid",
        step="resin",
        condition=when.acid_permeate,
        asks=(("product_ph",),),
        place=None,
        outdated_by=(),
        causes=(Cause(code="carbon_dioxide_passes_membrane", work=NoWork.EXPLAINED),),
        confirm=_("Aerate a sample: the pH rises."),
        action=_("Explain it to the client; fit calcite for drinking water, or where brass or copper follow."),
        cautions=(METALS,),
        source=_("carbonate equilibrium"),
        for_installer=_("A pH of 5 to 6 after the membrane is carbon dioxide, which no membrane holds back."),
        for_client=_(
            "Water behind a reverse-osmosis membrane is slightly acid. This is normal, and nothing needs to be done."
        ),
    ),
)
