"""Words that the tables of this room hold as small integers, and the canonical reading quantities.

Arrays of text are slow and large for a whole fleet, so every closed vocabulary is a tuple here and a column holds the
index into it. Where a vocabulary has a word for 'not said' it is the empty string at index 0.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.quantities import READING_QUANTITIES, names_of
from fleet.engineering.stages import FINISHING, Finishing
from fleet.engineering.stages import STAGES as STAGES

SEDIMENT, CARBON, MEMBRANE, RESIN = range(4)

FINISHING_STAGES: Final[Mapping[int, Finishing]] = {STAGES.index(name): each for name, each in FINISHING.items()}
"""Number of each stage that finishes the water -> its record."""

BY_THE_CLOCK: Final = frozenset(stage for stage, each in FINISHING_STAGES.items() if each.load == "burning_h")
"""Stages that wear by the hour, whether water is drawn or not."""

ROLES: Final = ("single", "lead", "lag")
SINGLE, LEAD, LAG = range(3)

USES: Final = ("", "reef", "planted", "drinking", "coffee", "laboratory", "hydroponics", "fish", "other")
KINDS: Final = ("ro", "ro_di")
CARBON_KINDS: Final = ("", "granular", "block", "catalytic")
MEMBRANE_MATERIALS: Final = ("", "polyamide", "cellulose")
TOTALISER_STREAMS: Final = ("", "feed", "permeate", "product", "concentrate")

REMOVAL_REASONS: Final = ("", "exhausted", "early", "rotated", "damaged", "routine", "unknown")
NOT_REMOVED, EXHAUSTED, EARLY, ROTATED, DAMAGED, ROUTINE, UNKNOWN = range(7)
"""Why a cartridge left: 'exhausted' was seen, 'early' was found good; of the others nobody looked."""

FLOW_STATES: Final = ("", "flowing", "static")
VALVE_STATES: Final = ("", "open", "closed")
PUMP_STATES: Final = ("", "on", "off")
OCCASIONS: Final = ("", "as_found", "as_left", "routine")
SOURCES: Final = ("", "installer", "client", "meter", "import")
FLAGS: Final = ("", "no", "yes")
"""A flag with three states: not said, no, yes. In a column: 0, 1, 2."""
UNSAID, NO, YES = range(3)

DRIVERS: Final = ("", "capacity", "pressure", "breakthrough", "membrane_trend", "maximum_service_time")
NO_DRIVER, CAPACITY, PRESSURE, BREAKTHROUGH, MEMBRANE_TREND, MAXIMUM_SERVICE_TIME = range(6)

STATES: Final = ("installed", "empty", "exhausted", "no_consumption")
INSTALLED, EMPTY, EXHAUSTED_NOW, NO_CONSUMPTION = range(4)

PRIORS: Final = ("nominal", "fleet", "own_past")
"""What a forecast leans on beside the readings of the present cartridge: the label alone, what the fleet has taught, or
also earlier cartridges in the same place."""

LOAD_UNITS: Final = ("", "L/day feed", "mg/day chlorine", "L/day permeate", "meq/day", "L/day product", "h/day")

QUANTITIES: Final = names_of(READING_QUANTITIES)
"""Reading quantities, in the order in which exclusions number them. Pressures are gauge; TDS is on the 0.5 scale."""

QUANTITY_INDEX: Final = {name: index for index, name in enumerate(QUANTITIES)}

STAGE_QUANTITIES: Final = (
    ("line_pressure_kpa", "prefilter_outlet_pressure_kpa"),
    names_of(quantity for quantity in READING_QUANTITIES if quantity.kind.name == "chlorine"),
    ("permeate_flow_l_per_day", "inlet_pressure_kpa", "temperature_degc", "feed_tds_mg_per_l", "permeate_tds_mg_per_l"),
    ("permeate_tds_mg_per_l", "interstage_tds_mg_per_l", "product_tds_mg_per_l"),
    *(tuple(name for sign in each.signs for name in sign.quantities) for each in FINISHING.values()),
)
"""Quantities that the forecast of each stage is drawn from: which left-out values are counted and told there."""

EXCLUSION_REASONS: Final = (
    "impossible_value",
    "clock_in_future",
    "before_commissioning",
    "factor_of_ten",
    "wrong_unit",
    "transposed",
    "first_minutes",
    "static",
    "outlier",
    "totaliser_backwards",
    "totaliser_jump",
    "contradicts_other_gauge",
    "repeated",
)
(
    IMPOSSIBLE_VALUE,
    CLOCK_IN_FUTURE,
    BEFORE_COMMISSIONING,
    FACTOR_OF_TEN,
    WRONG_UNIT,
    TRANSPOSED,
    FIRST_MINUTES,
    STATIC_STATE,
    OUTLIER,
    TOTALISER_BACKWARDS,
    TOTALISER_JUMP,
    CONTRADICTS_OTHER_GAUGE,
    REPEATED,
) = range(13)


UNIT_OF_LOAD: Final = np.array(
    [1, 2, 3, 4, *(5 if each.load == "product_l" else 6 for each in FINISHING_STAGES.values())], dtype=np.int8
)
"""Unit of the daily load of each stage, an index into `LOAD_UNITS`."""

DRIVER_OF_STAGE: Final = np.array(
    [PRESSURE, BREAKTHROUGH, MEMBRANE_TREND, BREAKTHROUGH, *(CAPACITY for _ in FINISHING_STAGES)], dtype=np.int8
)
"""What ends the service of a cartridge of each stage, where its age does not."""


def encode(words: Sequence[Any], vocabulary: Sequence[str]) -> NDArray[np.int8]:
    """Index of each word in the vocabulary; -1 where the word is not in it, the word for 'not said' for None.

    Parameters
    ----------
    words
        Words, or None; booleans are understood where the vocabulary is `FLAGS`.
    vocabulary
        One of the tuples of this module.

    Returns
    -------
    Array of int8, same length as `words`.

    >>> encode(["flowing", "", None, "drip"], FLOW_STATES).tolist()
    [1, 0, 0, -1]
    >>> encode([True, False, None], FLAGS).tolist()
    [2, 1, 0]
    """
    index: dict[Any, int] = {word: number for number, word in enumerate(vocabulary)}
    unsaid = index.get("", -1)
    index[None] = unsaid
    if tuple(vocabulary) == FLAGS:
        index[True], index[False] = YES, NO
    for word in set(words):
        index.setdefault(word, -1)
    return np.fromiter(map(index.__getitem__, words), dtype=np.int8, count=len(words))
