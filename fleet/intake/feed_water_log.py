"""A log of feed water samples as a delimited file: one row an analysis, the units in the headers."""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Final

from django.db import transaction

from accounts.models import Company, Membership
from fleet.intake.columns import Vocabulary, read_columns
from fleet.intake.feed_water import COLUMNS, WORDS, take_rows
from fleet.intake.storing import Progress, close_batch, open_batch
from fleet.intake.table_rows import read_rows
from fleet.intake.tables import read_table
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


def read_log(
    *,
    company: Company,
    by: Membership | None,
    name: str,
    content: bytes,
    now: datetime,
    progress: Progress | None = None,
) -> IntakeBatch:
    """Read a log file of feed water samples and store what can be true.

    Parameters, result and errors are those of `fleet.intake.readings_log.read_log`; the columns `site` and `taken at`
    are needed, and hardness and alkalinity say as what they are given: `hardness [gpg]`, `alkalinity [mg/L as CaCO3]`.
    """
    table = read_table(content)
    columns = read_columns(table, VOCABULARY)
    rows = read_rows(table, columns)
    with transaction.atomic():
        batch = open_batch(
            company=company, by=by, kind=IntakeBatch.Kind.FEED_WATER, name=name, content=content, now=now
        )
        outcome = take_rows(rows, company=company, by=by, now=now, batch=batch, progress=progress)
        return close_batch(
            batch, rows=rows, stored=len(outcome.stored), flagged=outcome.flagged, duplicates=outcome.duplicates
        )
