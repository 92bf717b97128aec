"""Faults of carbon, resin, meters and of the feed water itself."""

from tests.strangers.service_diaries.fault import Fault
from tests.strangers.service_diaries.signs import chlorine_through, moved, product_high, wrong_way_round

SINGLE_RESIN = ("reef", "workshop")


def _exchanges_probes(shown: dict[str, float], days: float, size: float) -> None:
    shown["feed_tds"], shown["permeate_tds"] = shown["permeate_tds"], shown["feed_tds"]


FAULTS_OF_WATER = (
    Fault(
        "carbon used up",
        "The carbon is at its end, and chlorine reaches the membrane.",
        "severe",
        ("carbon used up",),
        weight=2,
        sign=chlorine_through,
        needs=("feed_chlorine", "chlorine"),
        carbon_days=60.0,
        neglected=("carbon", "sediment"),
    ),
    Fault(
        "resin used up",
        "Nobody has changed the resin, and salt comes through.",
        "severe",
        ("resin used up",),
        weight=3,
        kinds=SINGLE_RESIN,
        sign=product_high,
        needs=("permeate_tds", "product_tds"),
        neglected=("resin",),
        waits_for_resin=True,
    ),
    Fault(
        "resin used up too soon",
        "The works mix in well water full of carbon dioxide, and a fresh resin lasts a fraction of its time.",
        "moderate",
        ("resin used up too soon", "resin used up"),
        kinds=SINGLE_RESIN,
        sign=product_high,
        needs=("permeate_tds", "product_tds", "feed_tds"),
        work="resin",
        neglected=("resin",),
        resin_load=5.0,
        waits_for_resin=True,
    ),
    Fault(
        "water slips past the resin",
        "The new resin cartridge has lost its seal, and a part of the permeate passes beside it.",
        "severe",
        ("water slips past the resin",),
        kinds=SINGLE_RESIN,
        sign=product_high,
        needs=("permeate_tds", "product_tds", "feed_tds"),
        work="resin",
        resin_slip=0.5,
        within=50,
        neglected=("resin",),
    ),
    Fault(
        "probes exchanged",
        "After cleaning the probes of feed and permeate were put back the wrong way round.",
        "minor",
        ("probes exchanged",),
        sign=wrong_way_round,
        times=1,
        needs=("feed_tds", "permeate_tds"),
        spoils=_exchanges_probes,
    ),
    Fault(
        "feed water changed",
        "The works feed from another well since their works: twice the salt.",
        "minor",
        ("feed water changed", "product above its limit"),
        sign=moved("feed_tds", above=1.55),
        needs=("feed_tds", "permeate_tds"),
        works=(1.8, 2.3),
        is_soft=True,
    ),
)
