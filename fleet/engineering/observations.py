"""What a person can see, hear, smell or taste at a unit: one record for each, from which every room takes its part.

An observation is part of a reading, or makes one by itself: it was there, it was not, or nobody looked. What intake
accepts, the fields of the API, the columns of logs and the facts of the diagnosis are made from these records, so a new
one is a record here; what it means is a rule of the diagnosis. How much of a resin bed has changed colour is a number,
and stands among the quantities.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from accounts.language import gettext_noop


@dataclass(frozen=True)
class Observation:
    """One thing that is there or is not.

    Attributes
    ----------
    name : str
        Code in readings, in the API and among the facts of the diagnosis; with blanks, its header in a log.
    meaning : str
        What is the case when it was seen, as a sentence without its full stop.
    also : str
        Other words that people write for it, separated by commas.
    to_client : str
        As a client is asked for it, where the meaning is in words of the trade.
    """

    name: str
    meaning: str
    also: str
    to_client: str = ""


OBSERVATIONS: Final = (
    Observation(
        "water_on_floor", gettext_noop("there is water on the floor"),
        "water on the floor, leaks, leaking, dripping, wet floor",
    ),
    Observation(
        "no_water", gettext_noop("no water comes"),
        "no water comes, no water at all, out of water, without water, nothing comes out, tap stays dry",
    ),
    Observation(
        "uv_alarm", gettext_noop("the UV lamp is dark, or its alarm is on"),
        "uv lamp out, uv lamp dark, lamp out, lamp dark, uv alarm on, uv fault",
    ),
    Observation(
        "concentrate_never_stops", gettext_noop("concentrate never stops"),
        "drain never stops, waste never stops, drain runs on, runs to drain all day",
        gettext_noop("water runs to the drain and never stops"),
    ),
    Observation(
        "container_overflows", gettext_noop("the container overflows"),
        "overflow, overflows, container overflowed, tank overflows",
    ),
    Observation(
        "unusual_noise", gettext_noop("the unit makes a noise that it did not make before"),
        "noise, noisy, new noise, strange noise",
    ),
    Observation(
        "taste_or_odour", gettext_noop("taste or odour is reported"),
        "taste or smell, taste, smell, odour, odor, taste or odor, bad taste",
        gettext_noop("the water tastes or smells of something"),
    ),
    Observation(
        "smell_or_slime", gettext_noop("smell or slime was found"),
        "slime, slime found, smell or slime found, biofilm",
        gettext_noop("the unit smells, or there is slime in it"),
    ),
    Observation(
        "slow_filling", gettext_noop("the tank or container fills slowly"),
        "fills slowly, slow to fill, slow",
    ),
    Observation(
        "tap_soon_trickles", gettext_noop("the tap gives a glass of water, and then a trickle"),
        "trickle, tap trickles, only a trickle, first glass only",
    ),
    Observation(
        "is_switched_off", gettext_noop("the unit was switched off, or its feed was shut"),
        "switched off, unit off, off, unit switched off, feed shut off",
    ),
    Observation(
        "pump_cycles_rapidly", gettext_noop("the pump starts and stops again and again"),
        "pump cycles, pump starts again and again, pump starts and stops",
    ),
    Observation(
        "pump_never_stops", gettext_noop("the pump never stops"),
        "pump runs on, pump runs all day",
    ),
)  # fmt: skip
"""Every observation, those first that cannot wait."""

ASKED_WITHOUT_METER: Final = ("water_on_floor", "taste_or_odour", "slow_filling")
"""What a client without a meter is asked, those first that cannot wait: each is the sign of a fault that no gauge of
the unit would show to somebody who has none (common practice, no source)."""

OBSERVATION_MEANINGS: Final[Mapping[str, str]] = {each.name: each.meaning for each in OBSERVATIONS}
"""Code -> what is the case when it was seen."""


def codes_by_word() -> dict[str, str]:
    """Return every word that names an observation, in lower case with underscores, and its code.

    Examples
    --------
    >>> codes_by_word()["wet_floor"], codes_by_word()["slow_filling"]
    ('water_on_floor', 'slow_filling')
    """
    words = {each.name: each.name for each in OBSERVATIONS}
    for each in OBSERVATIONS:
        words |= {word.strip().replace(" ", "_"): each.name for word in each.also.split(",")}
    return words
