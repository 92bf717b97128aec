"""What became of each row: made, changed, left as it is, or refused; and what is told of it."""

from collections import Counter
from dataclasses import dataclass, field
from enum import StrEnum


class Outcome(StrEnum):
    """What a row did."""

    MADE = "made"
    CHANGED = "changed"
    LEFT = "left"
    REFUSED = "refused"


@dataclass(frozen=True)
class FieldChange:
    """What a row changes of a record that is there, as people read it; empty where there was or is nothing."""

    field: str
    old: str
    new: str


@dataclass(frozen=True)
class CellRemark:
    """What is told of one cell of a row: its column as the file heads it, and what is written there."""

    column: str
    written: str
    remark: str


@dataclass
class RowResult:
    """One row of a file.

    Attributes
    ----------
    line
        Line of the file, or row of the page, the header being 1.
    name
        What the row is called, where it says.
    remarks
        What was not taken of it, and why, with what would be right; of a refused row why.
    changes
        Field by field what it changes.
    cells
        Those of the remarks that are about one cell, with where it is and what is written there.
    """

    line: int
    outcome: Outcome
    name: str = ""
    remarks: list[str] = field(default_factory=list)
    changes: list[FieldChange] = field(default_factory=list)
    cells: list[CellRemark] = field(default_factory=list)


@dataclass
class PageResult:
    """One file, or page of a workbook.

    Attributes
    ----------
    origin
        File, and page, as people are told.
    sheet
        What it was read as; empty when nobody could tell.
    remarks
        What holds for the whole page: columns that are not known, habits that were assumed.
    """

    origin: str
    sheet: str
    remarks: list[str] = field(default_factory=list)
    rows: list[RowResult] = field(default_factory=list)

    def count(self, outcome: Outcome) -> int:
        """How many rows did this."""
        return self.counts[outcome]

    @property
    def counts(self) -> Counter[Outcome]:
        """Number of rows by what they did."""
        return Counter(row.outcome for row in self.rows)


@dataclass
class BroughtIn:
    """What became of everything that was sent."""

    pages: list[PageResult] = field(default_factory=list)
    troubles: dict[str, str] = field(default_factory=dict)
    is_trial: bool = True

    def count(self, outcome: Outcome) -> int:
        """How many rows of all pages did this."""
        return sum(page.count(outcome) for page in self.pages)
