"""What a sheet is: its name, its columns, and how its rows are stored."""

from collections.abc import Callable
from dataclasses import dataclass, field

from scheduling.company_files.columns import Column
from scheduling.company_files.outcome import Outcome
from scheduling.company_files.rows import Bringing, Row


@dataclass(frozen=True)
class Sheet:
    """Rows of one kind.

    Attributes
    ----------
    name
        Name of its file, and of its page in a workbook.
    about
        One line for people.
    columns
        What it can hold.
    store
        Stores a row; raises `RowRefusedError`.
    named_by
        Fields that name a row in the report, the first that it has.
    also
        Other names of such files.
    needs
        Groups of fields of which the file must have at least one column each.
    is_named
        Whether the first of `named_by` is the name of one record, so that a page speaks of each once.
    """

    name: str
    about: str
    columns: tuple[Column, ...]
    store: Callable[[Row, Bringing], Outcome]
    named_by: tuple[str, ...]
    also: tuple[str, ...] = ()
    needs: tuple[tuple[str, ...], ...] = field(default=())
    is_named: bool = False
