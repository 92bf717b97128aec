"""Why a reading is wanted, and how it is had."""

from collections.abc import Sequence
from typing import Final

from accounts.language import gettext, gettext_noop
from scheduling.planning.needs.ways_to_read import ReadingWanted, Way

_READ: Final = {
    "line_pressure_kpa": gettext_noop("line pressure"),
    "prefilter_outlet_pressure_kpa": gettext_noop("prefilter outlet pressure"),
    "feed_tds_mg_per_l": gettext_noop("feed TDS"),
    "permeate_tds_mg_per_l": gettext_noop("permeate TDS"),
    "interstage_tds_mg_per_l": gettext_noop("interstage TDS"),
    "product_tds_mg_per_l": gettext_noop("product TDS"),
    "feed_total_chlorine_mg_per_l": gettext_noop("feed total chlorine"),
    "interstage_chlorine_mg_per_l": gettext_noop("interstage chlorine"),
    "remineralised_ph": gettext_noop("pH behind the remineralising cartridge"),
    "uv_intensity_fraction": gettext_noop("UV intensity"),
    "carbon_outlet_total_chlorine_mg_per_l": gettext_noop("carbon outlet total chlorine"),
    "resin_colour_changed_fraction": gettext_noop("colour of the resin"),
    "water_on_floor": gettext_noop("water on the floor"),
    "taste_or_odour": gettext_noop("taste or odour"),
    "slow_filling": gettext_noop("slow filling"),
}

_HOW: Final = {
    Way.ASK_CLIENT: gettext_noop("Ask the client to read {reads}."),
    Way.NEXT_VISIT: gettext_noop("Read {reads} at the next visit."),
    Way.SEND: gettext_noop("Send somebody to read {reads}."),
}


def quantities(columns: Sequence[str]) -> str:
    """Names of quantities in a sentence: 'feed TDS, permeate TDS'."""
    return ", ".join(gettext(_READ[column]) for column in columns)


def seen_wanted(names: Sequence[str], *, never_read: bool) -> str:
    """What a client without a meter is asked, and why."""
    ask = gettext("Ask the client, who has no meter, what they see: {reads}.").format(reads=quantities(names))
    why = gettext("It was never read: its forecasts use only its label and load.") if never_read else ""
    return f"{ask} {why}".strip()


def reading_wanted(wanted: ReadingWanted, *, never_read: bool, currency: str) -> str:
    """How a reading is had, why, and what it is worth."""
    sentences = [gettext(_HOW[wanted.way]).format(reads=quantities(wanted.reads))]
    if never_read:
        sentences.append(gettext("It was never read: its forecasts use only its label and load."))
    if wanted.saves > 0.0:
        worth = gettext("Knowing before parts are replaced saves about {saves:.2f} {currency}; it costs {price:.2f}.")
        sentences.append(worth.format(saves=wanted.saves, price=wanted.price, currency=currency))
    return " ".join(sentences)
