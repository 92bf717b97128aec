"""Headers of a log: which column is which, and in which unit."""

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final, Protocol

import numpy as np

from accounts.errors import Fault, InvalidInput
from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import QUANTITY_KINDS, convert_column, parse_header
from fleet.intake.names import spoken


@dataclass(frozen=True)
class Vocabulary:
    """The columns one kind of log can have.

    Attributes
    ----------
    quantities
        Accepted header name (lower case, underscores) -> stored column.
    words
        Accepted header name -> field that is no quantity.
    needed
        Groups of fields of which each needs at least one column.
    """

    quantities: Mapping[str, str]
    words: Mapping[str, str]
    needed: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Column:
    """One column of the file: its place, its header as written, the field it fills and, for a quantity, its unit."""

    index: int
    header: str
    name: str
    unit: str
    is_quantity: bool


_ROUND_BRACKETS: Final = str.maketrans("()", "[]")


class Headed(Protocol):
    """What has headers over columns, some of which hold anything."""

    @property
    def headers(self) -> tuple[str, ...]:
        """As written."""

    @property
    def filled(self) -> frozenset[int]:
        """Places of the columns that hold anything."""


def read_columns(table: Headed, vocabulary: Vocabulary) -> tuple[Column, ...]:
    """Tell the columns of a file apart.

    Raises
    ------
    InvalidInput
        With one fault for each header that cannot be used; a misspelt column is refused, since dropping it in silence
        would lose what was measured.
    """
    faults: list[str] = []
    columns: list[Column] = []
    for index, header in enumerate(table.headers):
        if not header:
            if index in table.filled:
                faults.append(f"Column {index + 1} has values but no header; name it, as 'inlet pressure [psi]'.")
            continue
        try:
            columns.append(column_of(index, header, vocabulary))
        except EngineeringError as error:
            faults.append(f"Column '{header}': {error.sentence}")
    header_of: dict[str, str] = {}
    for column in columns:
        if column.name in header_of:
            faults.append(
                f"Columns '{header_of[column.name]}' and '{column.header}' both give the {spoken(column.name)}; "
                "keep one."
            )
        header_of.setdefault(column.name, column.header)
    if not faults:
        for group in vocabulary.needed:
            if not any(name in header_of for name in group):
                shown = " or ".join(f"'{spoken(name)}'" for name in group)
                faults.append(f"The file has no column {shown}; without it no row can be placed.")
    if faults:
        raise InvalidInput(
            "unusable_columns",
            "The file cannot be read because of its header line. " + " ".join(faults),
            faults=[Fault("/file", sentence) for sentence in faults],
        )
    return tuple(columns)


def column_of(index: int, header: str, vocabulary: Vocabulary) -> Column:
    """What one header means.

    Raises
    ------
    EngineeringError
        When the log can have no such column, with the nearest it can have, or the unit does not fit.
    """
    written = header if "[" in header else header.translate(_ROUND_BRACKETS)
    name, unit = parse_header(written, field=header)
    if name in vocabulary.words:
        return Column(index, header, vocabulary.words[name], "", is_quantity=False)
    stored = vocabulary.quantities.get(name)
    if stored is None:
        raise EngineeringError(header, _unknown(name, [*vocabulary.quantities, *vocabulary.words]))
    if name == stored and not unit:
        # The stored name carries the stored unit: 'inlet_pressure_kpa' needs no brackets.
        unit = QUANTITY_KINDS[stored].canonical_unit
    convert_column(np.zeros(0), unit, stored, field=header)
    return Column(index, header, stored, unit, is_quantity=True)


def _unknown(name: str, accepted: Iterable[str]) -> str:
    close = difflib.get_close_matches(name, list(accepted), n=1, cutoff=0.6)
    advice = f"did you mean '{spoken(close[0])}'? Rename it" if close else "rename it"
    return f"this is no column the log can have; {advice}, or call it 'note' to keep it as text."
