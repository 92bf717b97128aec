"""A row on its way in: what was sent, what it became, and what is wrong or doubtful about it."""

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from fleet.intake.names import public_name


@dataclass(frozen=True)
class RowFault:
    """Why a row, or one value of it, cannot be stored.

    `field` is as the sender wrote it; the sentence says what was wrong and what would be right.
    """

    field: str
    code: str
    sentence: str

    def as_json(self) -> dict[str, str]:
        """The fault as it is kept with the refused row."""
        return {"field": self.field, "code": self.code, "sentence": self.sentence}


@dataclass(frozen=True)
class Flag:
    """What looks doubtful about a value that is stored all the same."""

    field: str
    code: str
    sentence: str

    def as_json(self) -> dict[str, str]:
        """The flag as it is kept with the reading."""
        return {"field": self.field, "code": self.code, "sentence": self.sentence}


@dataclass(frozen=True)
class Sent:
    """One value as it came: its digits (a point for decimals) and its unit."""

    digits: str
    unit: str

    def __str__(self) -> str:
        return f"{self.digits} {self.unit}".strip()


@dataclass
class Row:
    """One row of a log or a payload.

    Attributes
    ----------
    line
        Line in the file, or place in the payload from 1.
    raw
        The row as it came, kept when it is refused.
    sent
        Stored column of a quantity -> digits and unit.
    words
        Every other field, as text.
    labels
        Stored column or field -> how the sender called it, for the sentences.
    numbers
        Stored column -> value in the stored unit.
    fields
        The other model fields, ready to store.
    on_stored_scale
        Stored columns whose values stand on the house scale already: no meter's habits are to be undone.
    named_at
        The moment by which a row without a reference is known again: of a day alone its noon, whenever it was sent.
    notes
        What a later reader needs to redo the conversion: stored column -> facts such as the meter's factor.
    """

    line: int
    raw: dict[str, Any]
    sent: dict[str, Sent] = field(default_factory=dict)
    words: dict[str, str] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)
    numbers: dict[str, float] = field(default_factory=dict)
    fields: dict[str, Any] = field(default_factory=dict)
    notes: dict[str, dict[str, Any]] = field(default_factory=dict)
    on_stored_scale: set[str] = field(default_factory=set)
    faults: list[RowFault] = field(default_factory=list)
    flags: list[Flag] = field(default_factory=list)
    owner_id: int = 0
    taken_at: datetime | None = None
    named_at: datetime | None = None
    reference: str = ""

    def label(self, name: str) -> str:
        """How the sender called a field."""
        return self.labels.get(name, name)

    def refuse(self, name: str, code: str, sentence: str) -> None:
        """Note why this row cannot be stored."""
        self.faults.append(RowFault(self.label(name), code, sentence))

    def flag(self, name: str, code: str, sentence: str) -> None:
        """Note what looks doubtful."""
        self.flags.append(Flag(name, code, sentence))

    def as_sent(self) -> dict[str, dict[str, Any]]:
        """Public name -> digits and unit of every value, with what the conversion needed beside them."""
        return {
            public_name(name): {"value": sent.digits, "unit": sent.unit, **self.notes.get(name, {})}
            for name, sent in self.sent.items()
            if name in self.numbers
        }
