"""A log of readings as a delimited file: one row a look at the gauges, the units in the headers."""

from collections.abc import Mapping
from functools import partial
from types import MappingProxyType
from typing import Final

from fleet.intake.columns import Vocabulary
from fleet.intake.logs import Log, read_whole
from fleet.intake.observations import COLUMNS as OBSERVATION_COLUMNS
from fleet.intake.observations import FIELD, SEEN
from fleet.intake.reading_tables import take_table
from fleet.intake.readings import COLUMNS, WORDS, take_rows
from fleet.models import IntakeBatch, Reading

_OTHER_NAMES: Final[Mapping[str, str]] = {
    "water_temperature": "temperature",
    "membrane_inlet_pressure": "inlet_pressure",
    "pressure_after_prefilters": "prefilter_outlet_pressure",
    "waste_tds": "concentrate_tds",
    "waste_conductivity": "concentrate_tds",
    "waste_flow": "concentrate_flow",
    "free_chlorine": "feed_free_chlorine",
    "total_chlorine": "feed_total_chlorine",
    "totalizer": "totaliser",
    "minutes_since_the_start": "minutes_since_start",
}
_OTHER_WORDS: Final[Mapping[str, str]] = {
    "unit_code": "unit",
    "taken": "taken_at",
    "date_and_time": "taken_at",
    "date_time": "taken_at",
    "date": "date",
    "time": "time",
    "ref": "reference",
    "read_by": "person",
    "installer": "person",
    "technician": "person",
    "tech": "person",
    "who": "person",
    "notes": "note",
    "remark": "note",
    "remarks": "note",
    "comment": "note",
    "tank_full": "tank_is_full",
    "after_flush": "sampled_after_flush",
    "corrects_reference": "corrects",
    SEEN: SEEN,
    FIELD: SEEN,
    "observed": SEEN,
    **OBSERVATION_COLUMNS,
}

VOCABULARY: Final = Vocabulary(
    quantities=MappingProxyType(
        {
            **COLUMNS,
            **{column: column for column in COLUMNS.values()},
            **{name.replace("tds", "conductivity"): column for name, column in COLUMNS.items()},
            **{other: COLUMNS[name] for other, name in _OTHER_NAMES.items()},
        }
    ),
    words=MappingProxyType({**{name: name for name in WORDS}, **_OTHER_WORDS}),
    needed=(("unit",), ("taken_at", "date")),
)


LOG: Final = Log(
    IntakeBatch.Kind.READINGS,
    VOCABULARY,
    take=partial(take_rows, source=Reading.Source.IMPORT),
    take_columns=partial(take_table, source=Reading.Source.IMPORT),
)
"""The unit and the time are needed."""

read_log = partial(read_whole, LOG)
"""Read a log of readings at once."""
