"""A log of readings as a delimited file: one row a look at the gauges, the units in the headers."""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Final

from django.db import transaction

from accounts.models import Company, Membership
from fleet.intake.columns import Vocabulary, read_columns
from fleet.intake.observations import COLUMNS as OBSERVATION_COLUMNS
from fleet.intake.observations import FIELD, SEEN
from fleet.intake.readings import COLUMNS, WORDS, take_rows
from fleet.intake.storing import Progress, close_batch, open_batch
from fleet.intake.table_rows import read_rows
from fleet.intake.tables import read_table
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


def read_log(
    *,
    company: Company,
    by: Membership | None,
    name: str,
    content: bytes,
    now: datetime,
    progress: Progress | None = None,
) -> IntakeBatch:
    """Read a log file of readings and store what can be true.

    Parameters
    ----------
    company, by
        Whose units, and who sends the file; a unit that `by` may not see does not exist.
    name, content
        Name and bytes of the file: CSV separated by commas, semicolons or tabs, with the unit in each header, such as
        `inlet pressure [psi]`. Columns may come in any order; the unit and the time are needed.
    now
        The clock: rows later than this are refused.
    progress
        Called with the share done and what is being done.

    Returns
    -------
    IntakeBatch
        With the counts; its refused rows say why, line by line, and its readings carry flags.

    Raises
    ------
    InvalidInput
        When the file as a whole cannot be read; then nothing is stored.
    """
    table = read_table(content)
    columns = read_columns(table, VOCABULARY)
    rows = read_rows(table, columns)
    with transaction.atomic():
        batch = open_batch(company=company, by=by, kind=IntakeBatch.Kind.READINGS, name=name, content=content, now=now)
        outcome = take_rows(
            rows, company=company, by=by, source=Reading.Source.IMPORT, now=now, batch=batch, progress=progress
        )
        return close_batch(
            batch, rows=rows, stored=len(outcome.stored), flagged=outcome.flagged, duplicates=outcome.duplicates
        )
