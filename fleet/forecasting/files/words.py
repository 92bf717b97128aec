"""Other words that people write for the words of the guide."""

from collections.abc import Mapping
from typing import Final

FLAGS: Final = {
    **dict.fromkeys(("yes", "true", "1", "1.0", "y", "on", "x", "with", "fitted", "ja", "j", "vorhanden"), "yes"),
    **dict.fromkeys(("no", "false", "0", "0.0", "n", "off", "none", "without", "nein", "keine", "ohne"), "no"),
}


def _meaning(**spellings: str) -> dict[str, str]:
    """The word of the guide by each of its other spellings, which are separated by spaces."""
    return {spelling: word for word, written in spellings.items() for spelling in written.split()}


SYNONYMS: Final[Mapping[str, Mapping[str, str]]] = {
    "stage": _meaning(
        sediment=(
            "sediment_filter particle_filter prefilter pre_filter sed pleated spun vorfilter sedimentfilter feinfilter "
            "partikelfilter"
        ),
        carbon=(
            "carbon_filter carbon_block carbon_prefilter activated_carbon charcoal gac granular_carbon carb kohle "
            "aktivkohle kohlefilter aktivkohlefilter kohleblock aktivkohleblock"
        ),
        membrane="ro ro_membrane mem membr membran umkehrosmosemembran osmosemembran",
        resin=(
            "di di_resin mixed_bed mb deionisation deionization deioniser deionizer ion_exchange harz mischbett "
            "mischbettharz harzkartusche harzpatrone vollentsalzung vollentsalzer"
        ),
        post_carbon=(
            "postcarbon post_filter postfilter taste_filter polishing_carbon carbon_post_filter in_line_carbon "
            "inline_carbon nachfilter geschmacksfilter nachkohle kohlenachfilter"
        ),
        remineralisation=(
            "remineralization remineraliser remineralizer remin mineral mineral_cartridge calcite calcite_filter "
            "mineralfilter mineralisierung aufhaertung aufhaertungsfilter remineralisierung calcit"
        ),
        uv=(
            "uv_lamp uv_light uv_filter uv_steriliser uv_sterilizer ultraviolet uv_disinfection uv_lampe uvc_lampe "
            "uv_strahler uv_entkeimung"
        ),
    ),
    # No numbers: '1' may be the first of two or the only one.
    "role": _meaning(
        single="only sole 1_of_1",
        lead="first upstream leading 1st 1_of_2 primary",
        lag="second downstream lagging polishing 2nd 2_of_2 secondary",
    ),
    "kind": _meaning(
        ro="ro_only reverse_osmosis umkehrosmose osmose",
        ro_di=(
            "rodi ro_with_di ro_and_di ro_resin umkehrosmose_mit_harz umkehrosmose_mit_vollentsalzung osmose_mit_harz "
            "umkehrosmose_harz osmose_harz osmose_und_harz umkehrosmose_und_harz"
        ),
    ),
    # Of an item of the catalogue that is no stage.
    "item_kind": _meaning(
        small_part="kleinteil kleinteile dichtung dichtungen small_parts o_ring oring seal gasket fitting",
        accessory="zubehoer accessories",
    ),
    "use": _meaning(
        reef="reef_tank reef_aquarium marine marine_tank saltwater saltwater_tank meerwasser meerwasseraquarium riff",
        planted=(
            "planted_tank planted_aquarium plants freshwater freshwater_tank freshwater_aquarium suesswasser "
            "suesswasseraquarium pflanzenaquarium"
        ),
        drinking=(
            "drinking_water drink household kitchen kitchen_tap tap water_cooler trinkwasser wasserspender haushalt "
            "kueche"
        ),
        coffee="coffee_machine espresso espresso_machine cafe coffee_bar tea kaffee kaffeemaschine roesterei",
        laboratory="lab dental dental_lab labor zahnlabor dentallabor",
        hydroponics="hydroponik hydroponic",
        fish="fischzucht fish_breeding",
    ),
    "carbon_kind": _meaning(granular="gac granules loose", block="carbon_block cb"),
    "cartridge_size": {each: f"element_{each}" for each in ("1812", "2012", "3012", "4021", "4040")}
    | {"10_zoll": "10_inch", "20_zoll": "20_inch", "10_zoll_breit": "10_inch_wide", "20_zoll_breit": "20_inch_wide"},
    "totaliser": _meaning(feed="feed_water inlet", permeate="ro_water", concentrate="waste drain reject"),
    "reason": _meaning(
        exhausted=(
            "spent worn_out used_up exhaustion depleted saturated breakthrough end_of_life erschoepft verbraucht "
            "aufgebraucht durchbruch gesaettigt leer"
        ),
        early="found_good still_good replaced_early noch_gut vorzeitig",
        routine=(
            "service serviced scheduled planned interval periodic maintenance precaution preventive preventative "
            "calendar by_calendar due yearly annual annually half_yearly six_monthly regular pm wartung turnus "
            "turnusmaessig planmaessig routinemaessig regelmaessig regulaer intervall vorsorglich jaehrlich "
            "halbjaehrlich faellig nach_plan nach_kalender kalender"
        ),
        # A complaint tells that something was wrong, not that anybody looked at this cartridge.
        unknown=(
            "not_known unclear other complaint customer_complaint client_complaint customer_request unbekannt unklar "
            "sonstiges reklamation kundenwunsch"
        ),
        rotated="rotation moved moved_up moved_to_lead rotiert aufgerueckt",
        damaged=(
            "broken leaking leak leaked cracked burst torn defekt undicht gebrochen gerissen kaputt beschaedigt "
            "geplatzt"
        ),
        clogged="blocked plugged clogged_up choked verstopft zugesetzt verblockt zu",
    ),
    "state": _meaning(flowing="running producing", static="standing standstill stopped"),
    "tank_valve": _meaning(open="opened", closed="shut"),
    "occasion": _meaning(as_found="found before before_work", as_left="left after after_work"),
    "source": _meaning(
        installer="technician service engineer fitter",
        client="customer owner user",
        meter="sensor logger telemetry automatic",
    ),
}
"""By field of the tables, English and German. Only words that can mean one thing; every other one is refused by
name."""

CLOGGED: Final = "clogged"
"""A reason whose meaning hangs on the stage: what is clogged has reached the limit of a sediment or a membrane."""

UNCLEAR_WORDS: Final[Mapping[str, Mapping[str, str]]] = {
    "reason": dict.fromkeys(
        ("swapped", "swap", "exchanged", "changed", "replaced", "switched", "gewechselt", "getauscht", "ausgetauscht"),
        "says only that it left: write 'rotated' if it went to another position, 'exhausted' or 'early' if somebody "
        "saw how it was, else 'routine' or 'unknown'; taken as 'unknown'",
    ),
}
"""By field: what would be right instead of a word that can mean two things."""


def word_of_guide(field: str, written: str) -> str:
    """The word of the guide for one that is written in lower case with underscores; itself when there is none.

    >>> word_of_guide("role", "first")
    'lead'
    >>> word_of_guide("role", "third")
    'third'
    """
    return SYNONYMS.get(field, {}).get(written, written)
