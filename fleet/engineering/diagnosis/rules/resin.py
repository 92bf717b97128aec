"""Rules on the resin."""

from typing import Final

from fleet.engineering.diagnosis import conditions as when
from fleet.engineering.diagnosis.record import NO_STORED_READING, Rule
from fleet.engineering.diagnosis.rules.common import AT_FIRST_RESIN, METALS, MIND_RESIN, NO_PART, PRACTICE, TDS_CREEP
from fleet.engineering.diagnosis.work import LOOK, Cause, NoWork, Work, WorkKind

RESIN: Final[tuple[Rule, ...]] = (
    Rule(
        id="D12",
        title="All resin exhausted",
        pattern="lead_and_product_equal_permeate",
        step="resin",
        condition=when.both_exhausted,
        asks=(("permeate_tds_mg_per_l", "product_tds_mg_per_l"), ("product_tds_mg_per_l",)),
        asks_behind_lag=(("permeate_tds_mg_per_l", "product_tds_mg_per_l"),),
        is_judged_by_newest_product=True,
        can_rest_on_product_alone=True,
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(Cause(code="di_both_exhausted", work=Work(kind=WorkKind.REPLACE, stage="resin")),),
        confirm="Repeat after flushing.",
        action="Replace both cartridges; compare with the forecast and look for carbon dioxide.",
        caution=MIND_RESIN,
        source=PRACTICE,
        for_installer="Lead outlet and product both read as the permeate: both resin cartridges are exhausted.",
        for_client="Both polishing cartridges are used up; until we change them you get plain reverse-osmosis water.",
    ),
    Rule(
        id="D11",
        title="Lead resin exhausted",
        pattern="lead_equals_permeate",
        step="resin",
        condition=when.lead_exhausted,
        asks=(("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"),),
        is_judged_by_newest_product=True,
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(Cause(code="di_lead_exhausted", work=Work(kind=WorkKind.ROTATE, stage="resin")),),
        confirm="Repeat after flushing.",
        action="Discard the lead, move the lag to lead, fit a fresh lag.",
        caution=MIND_RESIN,
        source=PRACTICE,
        for_installer="The lead outlet reads as the permeate and the product is still good: the lag holds, rotate.",
        for_client="The first polishing cartridge is used up and the second still works; we will come and change it.",
    ),
    Rule(
        id="D32",
        title="Product above permeate",
        pattern="product_above_permeate",
        step="resin",
        condition=when.product_above_permeate,
        asks=(("permeate_tds_mg_per_l", "product_tds_mg_per_l"),),
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(
            Cause(code="di_exhausted_and_releasing", work=Work(kind=WorkKind.REPLACE, stage="resin")),
            Cause(code="wrong_probe", work=LOOK),
        ),
        confirm="Hand-held meter, pH of the product.",
        action="Replace the resin.",
        caution=MIND_RESIN,
        source=PRACTICE,
        for_installer="The product reads above the permeate: a spent bed lets weaker ions go, or a probe is wrong.",
        for_client=(
            "The polishing resin is used up and lets go of what it held; do not use the product until it is changed."
        ),
    ),
    Rule(
        id="D13",
        title="Resin used up early",
        pattern="resin_life_short",
        step="resin",
        condition=when.resin_short_lived,
        asks=(("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"), ("permeate_tds_mg_per_l", "product_tds_mg_per_l")),
        asks_behind_lag=(("permeate_tds_mg_per_l", "interstage_tds_mg_per_l"),),
        is_judged_by_newest_product=True,
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(
            Cause(code="carbon_dioxide_load", work=NoWork.ASKED_ELSEWHERE),
            Cause(code="silica_load", work=LOOK),
            Cause(code="resin_channelling", work=LOOK),
            TDS_CREEP,
            Cause(code="ammonium_load", work=LOOK),
        ),
        confirm="pH and alkalinity of the feed, pH of the product, TDS in the first minute.",
        action="Degas, add an anion cartridge, stand the housing upright, fit a flush valve.",
        caution=MIND_RESIN,
        source="carbon dioxide counts one equivalent a mole on the resin and none on the meter",
        for_installer=(
            "The resin was used up far sooner than this permeate explains: something the TDS meter does not see loads"
            " it."
        ),
        for_client="The polishing resin is used up sooner than expected; we will look for the cause in the water.",
    ),
    Rule(
        id="D33",
        title="Weak ions pass the resin",
        pattern="weak_ions_through",
        step="resin",
        condition=when.weak_ions_through,
        asks=NO_STORED_READING,
        place=None,
        outdated_by=(),
        causes=(
            Cause(code="weak_ions_break_through_first", work=NoWork.ASKED_ELSEWHERE),
            Cause(code="chloramine_ammonium", work=LOOK),
        ),
        confirm="Tests for silica and ammonia in the product.",
        action="Replace the resin earlier, add an anion cartridge, check the carbon for chloramine.",
        caution="Ammonia kills aquarium animals: test before use.",
        source=PRACTICE,
        for_installer=(
            "The product shows 0, yet ammonia, silica or algae are reported: weak ions pass before the TDS moves."
        ),
        for_client=(
            "The meter shows 0 but something it cannot see gets through; test for ammonia before using the water."
        ),
    ),
    Rule(
        id="D34",
        title="Product rises in an open cup",
        pattern="product_rises_in_cup",
        step="resin",
        condition=when.cup_takes_up_air,
        asks=(("product_tds_mg_per_l",),),
        place=AT_FIRST_RESIN,
        outdated_by=("resin",),
        causes=(Cause(code="carbon_dioxide_from_air", work=NoWork.EXPLAINED), Cause(code="dirty_cup", work=LOOK)),
        confirm="Read in line.",
        action="Nothing to repair.",
        caution=NO_PART,
        source="CRC Handbook: water in air reaches 1.1 uS/cm, about 0.5 mg/L",
        for_installer=(
            "1 to 2 mg/L in an open cup come from carbon dioxide in the air, or from the cup, not from the resin."
        ),
        for_client="Very pure water picks up a little from the air in a cup; this is normal.",
    ),
    Rule(
        id="D35",
        title="Permeate slightly acid",
        pattern="permeate_acid",
        step="resin",
        condition=when.acid_permeate,
        asks=(("product_ph",),),
        place=None,
        outdated_by=(),
        causes=(Cause(code="carbon_dioxide_passes_membrane", work=NoWork.EXPLAINED),),
        confirm="Aerate a sample: the pH rises.",
        action="Explain it; fit calcite for drinking water, or where brass or copper follow.",
        caution=METALS,
        source="carbonate equilibrium",
        for_installer="A pH of 5 to 6 after the membrane is carbon dioxide, which no membrane holds back.",
        for_client="A slightly acid reading after reverse osmosis is normal.",
    ),
)
