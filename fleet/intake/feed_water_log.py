"""A log of feed water samples as a delimited file: one row an analysis, the units in the headers."""

from collections.abc import Mapping
from functools import partial
from types import MappingProxyType
from typing import Final

from fleet.intake.columns import Vocabulary
from fleet.intake.feed_water import COLUMNS, WORDS, take_rows
from fleet.intake.logs import Log, read_whole
from fleet.models import IntakeBatch

_OTHER_NAMES: Final[Mapping[str, str]] = {
    "feed_ph": "ph",
    "total_hardness": "hardness",
    "total_alkalinity": "alkalinity",
    "conductivity": "tds",
    "water_temperature": "temperature",
}
_OTHER_WORDS: Final[Mapping[str, str]] = {
    "site_code": "site",
    "taken": "taken_at",
    "date_and_time": "taken_at",
    "date_time": "taken_at",
    "date": "date",
    "time": "time",
    "ref": "reference",
    "person": "measured_by",
    "how": "method",
    "note": "method",
    "corrects_reference": "corrects",
}

VOCABULARY: Final = Vocabulary(
    quantities=MappingProxyType(
        {
            **COLUMNS,
            **{column: column for column in COLUMNS.values()},
            **{other: COLUMNS[name] for other, name in _OTHER_NAMES.items()},
        }
    ),
    words=MappingProxyType({**{name: name for name in WORDS}, **_OTHER_WORDS}),
    needed=(("site",), ("taken_at", "date")),
)


LOG: Final = Log(IntakeBatch.Kind.FEED_WATER, VOCABULARY, take_rows)
"""The site and the time are needed; hardness and alkalinity say as what they are given: `hardness [gpg]`,
`alkalinity [mg/L as CaCO3]`."""

read_log = partial(read_whole, LOG)
"""Read a log of feed water samples at once."""
