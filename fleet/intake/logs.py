"""A kind of log: the columns it can have, and what takes its rows. How any of them is read stands here."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Protocol

from django.db import transaction

from accounts.models import Company, Membership
from fleet.intake.columns import Column, Vocabulary, read_columns
from fleet.intake.rows import Row
from fleet.intake.storing import Progress, close_batch, open_batch
from fleet.intake.table_rows import read_rows
from fleet.intake.tables import TextTable, read_table
from fleet.models import IntakeBatch

CORRECTS: Final = "corrects"
"""Field of a row that names, by its reference, a row that it corrects."""


class Outcome(Protocol):
    """What became of some rows."""

    @property
    def stored(self) -> Sequence[Any]:
        """What was stored."""

    @property
    def flagged(self) -> int:
        """How many of those look doubtful."""

    @property
    def duplicates(self) -> int:
        """How many rows were known already."""


@dataclass(frozen=True)
class TableOutcome:
    """What became of the rows of a table: counts, and those that were refused, in their order."""

    rows: int
    stored: int
    flagged: int
    duplicates: int
    refused: Sequence[Row]


@dataclass(frozen=True)
class Log:
    """One kind of log.

    Attributes
    ----------
    kind
        Of the batches it becomes.
    vocabulary
        Its columns.
    take
        Judges rows and stores those that can be true, in a transaction of the caller; called with the rows and with
        `company`, `by`, `now`, `batch` and `progress`.
    take_columns
        Does the same of a table and its columns, faster; None where there is no such way.
    """

    kind: IntakeBatch.Kind
    vocabulary: Vocabulary
    take: Callable[..., Outcome]
    take_columns: Callable[..., TableOutcome] | None = None

    def take_table(self, table: TextTable, columns: Sequence[Column], **asked: Any) -> TableOutcome:
        """Do as `take` does with the rows of a table, none of which corrects another."""
        if self.take_columns is not None:
            return self.take_columns(table, columns, **asked)
        return self.take_row_by_row(table, columns, **asked)

    def take_row_by_row(self, table: TextTable, columns: Sequence[Column], **asked: Any) -> TableOutcome:
        """Do as `take` does with the rows of a table."""
        rows = read_rows(table, columns)
        outcome = self.take(rows, **asked)
        refused = [row for row in rows if row.faults]
        return TableOutcome(len(rows), len(outcome.stored), outcome.flagged, outcome.duplicates, refused)


def is_correction(row: Row) -> bool:
    """Whether a row corrects another, which may stand below it: those are taken last."""
    return CORRECTS in row.words


def read_whole(
    log: Log,
    *,
    company: Company,
    by: Membership | None,
    name: str,
    content: bytes,
    now: datetime,
    progress: Progress | None = None,
) -> IntakeBatch:
    """Read a log file at once and store what can be true.

    Parameters
    ----------
    company, by
        Whose units, and who sends the file; a unit that `by` may not see does not exist.
    name, content
        Name and bytes of the file: CSV separated by commas, semicolons or tabs, with the unit in each header, such as
        `inlet pressure [psi]`. Columns may come in any order.
    now
        The clock: rows later than this are refused.
    progress
        Called with the share done and what is being done.

    Returns
    -------
    IntakeBatch
        With the counts; its refused rows say why, line by line, and what was stored carries flags.

    Raises
    ------
    InvalidInput
        When the file as a whole cannot be read; then nothing is stored.
    """
    table = read_table(content)
    rows: list[Row] = read_rows(table, read_columns(table, log.vocabulary))
    rows.sort(key=is_correction)
    with transaction.atomic():
        batch = open_batch(company=company, by=by, kind=log.kind, name=name, content=content, now=now)
        outcome = log.take(rows, company=company, by=by, now=now, batch=batch, progress=progress)
        return close_batch(
            batch, rows=rows, stored=len(outcome.stored), flagged=outcome.flagged, duplicates=outcome.duplicates
        )
