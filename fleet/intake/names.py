"""What the world calls the stored columns: `inlet_pressure_kpa` is sent as `inlet_pressure`, with a unit."""

from collections.abc import Iterable, Mapping
from functools import cache
from types import MappingProxyType
from typing import Final

from fleet.models import FeedWaterSample, Reading

# Longest first, so that the whole unit goes.
_UNIT_SUFFIXES: Final = (
    "_mg_per_l_as_caco3",
    "_l_per_day",
    "_mg_per_l",
    "_eq_per_l",
    "_kelvin",
    "_degc",
    "_ntu",
    "_kpa",
    "_um",
    "_g",
    "_l",
)


@cache
def public_name(column: str) -> str:
    """Return the name of a stored column without its unit.

    >>> public_name("hardness_mg_per_l_as_caco3"), public_name("feed_ph"), public_name("totaliser_l")
    ('hardness', 'feed_ph', 'totaliser')
    """
    for suffix in _UNIT_SUFFIXES:
        if column.endswith(suffix):
            return column.removesuffix(suffix)
    return column


def by_public_name(columns: Iterable[str]) -> Mapping[str, str]:
    """Map the public names of some columns to the columns."""
    return MappingProxyType({public_name(column): column for column in columns})


READING_COLUMNS: Final = by_public_name(Reading.QUANTITIES)
SAMPLE_COLUMNS: Final = by_public_name(FeedWaterSample.QUANTITIES)


def spoken(name: str) -> str:
    """Return a name as it is written in a sentence or a header.

    >>> spoken("permeate_tds_at_start"), spoken("feed_ph")
    ('permeate TDS at start', 'feed pH')
    """
    words = {"tds": "TDS", "ph": "pH"}
    return " ".join(words.get(word, word) for word in public_name(name).split("_"))
