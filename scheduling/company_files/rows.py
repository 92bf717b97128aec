"""A row of a sheet on its way in, and storing it by the same serializers and services that the API uses."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.db import transaction
from rest_framework.exceptions import ErrorDetail, ValidationError

from accounts.errors import DomainError
from accounts.models import Company, Membership
from accounts.naming import rows_named
from accounts.tenancy import TenantQuerySet
from scheduling.company_files.outcome import CellRemark, FieldChange, Outcome

Fault = tuple[str, str]
"""Field, empty for the row as a whole, and a sentence."""


class RowRefusedError(Exception):
    """A row that cannot be stored, with every reason."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        super().__init__("; ".join(sentence for _, sentence in faults))
        self.faults = list(faults)


@dataclass(frozen=True)
class Bringing:
    """Who brings what in, and when; and what a list of changes says of a unit that other sheets leave open: by unit
    the first day on which it speaks of it, by unit and stage the item that it names last, with the moment."""

    company: Company
    by: Membership
    now: datetime
    first_days: dict[str, date] = field(default_factory=dict)
    last_items: dict[tuple[str, str], tuple[datetime, str]] = field(default_factory=dict)

    @property
    def zone(self) -> ZoneInfo:
        """The zone of hours that name none."""
        return ZoneInfo(self.company.time_zone)

    @property
    def context(self) -> dict[str, Any]:
        """Context of serializers: a text is a code or name, never an id."""
        return {"membership": self.by, "now": self.now, "names_only": True}


@dataclass
class Row:
    """A row with the values that could be read.

    Attributes
    ----------
    values
        What the API takes, by field; fields of empty cells are not there.
    headers
        How the sender heads each field.
    as_written
        Cells by field.
    remarks
        What is told of it so far.
    changes
        What it changes of the record it is about.
    cells
        The remarks that are about one cell, with where it is.
    """

    line: int
    values: dict[str, Any] = field(default_factory=dict)
    headers: dict[str, str] = field(default_factory=dict)
    as_written: dict[str, str] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    changes: list[FieldChange] = field(default_factory=list)
    cells: list[CellRemark] = field(default_factory=list)

    def header(self, name: str) -> str:
        """How the sender calls a field."""
        return self.headers.get(name, name.replace("_", " "))

    def say(self, name: str, sentence: str) -> None:
        """Note what is told of one of its cells."""
        if not name:
            self.remarks.append(sentence)
            return
        self.remarks.append(f"{self.header(name)}: {_ended(sentence)}")
        self.cells.append(CellRemark(self.header(name), self.as_written.get(name, ""), _ended(sentence)))


def _ended(sentence: str) -> str:
    return sentence if sentence.endswith("?") else f"{sentence.rstrip('.')}."


@dataclass(frozen=True)
class Records:
    """How rows of one kind are found again and written.

    Attributes
    ----------
    reads, changes
        Serializers of a new row and of one that is there.
    find
        The stored row that a sheet's row is about; None for a new one.
    create, update
        Services; they take what the serializer read.
    """

    reads: Any
    changes: Any
    find: Callable[["Bringing", Mapping[str, Any]], Any]
    create: Callable[["Bringing", Mapping[str, Any]], Any]
    update: Callable[["Bringing", Any, Mapping[str, Any]], Any]
    kept: frozenset[str] = frozenset()


def find_named(rows: TenantQuerySet, name: str) -> Any:
    """The row that is called so, exactly or else in another case; None when there is none or several."""
    matches = rows_named(rows, " ".join(str(name).split()))
    exact = [row for row in matches if row.spoken_name == name]
    return exact[0] if exact else matches[0] if len(matches) == 1 else None


def store_record(records: Records, row: Row, bringing: Bringing) -> Outcome:
    """Make or change the row that a sheet's row is about; a value that cannot be is left out and told of.

    Raises
    ------
    RowRefusedError
        When it cannot be stored without the values that are at fault.
    """
    try:
        return _store(records, row.values, bringing, row)
    except RowRefusedError as refused:
        at_fault = {name.split("/")[0] for name, _ in refused.faults}
        if not at_fault or "" in at_fault or not at_fault <= row.values.keys():
            raise
        rest = {name: value for name, value in row.values.items() if name not in at_fault}
        try:
            outcome = _store(records, rest, bringing, row)
        except RowRefusedError:
            raise refused from None
        for name, sentence in refused.faults:
            row.say(name.split("/")[0], f"{sentence.rstrip('.')}; this value is not stored")
        return outcome


def _store(records: Records, values: Mapping[str, Any], bringing: Bringing, row: Row) -> Outcome:
    present = records.find(bringing, values)
    try:
        with transaction.atomic():
            if present is None:
                serializer = records.reads(data=dict(values), context=bringing.context)
                serializer.is_valid(raise_exception=True)
                records.create(bringing, serializer.validated_data)
                return Outcome.MADE
            sent = {name: value for name, value in values.items() if name not in records.kept}
            serializer = records.changes(present, data=sent, partial=True, context=bringing.context)
            serializer.is_valid(raise_exception=True)
            before = _shown(records, present, bringing, sent)
            changed = records.update(bringing, present, serializer.validated_data)
            changed = type(present)._base_manager.get(pk=(changed or present).pk)
            after = _shown(records, changed, bringing, sent)
            if after == before:
                transaction.set_rollback(True)
                return Outcome.LEFT
            row.changes = [
                FieldChange(row.header(name), _in_words(before[name]), _in_words(value))
                for name, value in after.items()
                if value != before[name]
            ]
            return Outcome.CHANGED
    except ValidationError as error:
        raise RowRefusedError(flattened(error.detail)) from None
    except DomainError as error:
        faults = [(fault.pointer.strip("/"), fault.sentence) for fault in error.faults]
        raise RowRefusedError(faults or [("", error.sentence)]) from None


def _in_words(value: Any) -> str:
    """A shown value as people read it in a report."""
    match value:
        case None | "" | [] | ():
            return ""
        case {"value": number, "unit": unit}:
            return f"{number} {unit}".strip()
        case bool():
            return "yes" if value else "no"
        case list() | tuple():
            return "; ".join(_in_words(part) for part in value)
        case dict():
            return " ".join(_in_words(part) for part in value.values())
        case _:
            return str(value)


def _shown(records: Records, instance: Any, bringing: Bringing, sent: Mapping[str, Any]) -> dict[str, Any]:
    fields = records.changes(instance, context=bringing.context).fields
    shown = {}
    for name in sent:
        of_field = fields.get(name)
        if of_field is not None and not of_field.write_only:
            attribute = of_field.get_attribute(instance)
            shown[name] = None if attribute is None else of_field.to_representation(attribute)
    # A value that is stated for the first time may be the one that was assumed.
    return {**shown, "assumed": getattr(instance, "assumed", None)}


def flattened(detail: Any, place: str = "") -> list[Fault]:
    """Every fault of a serializer, with the place of its field."""
    if isinstance(detail, Mapping):
        return [
            fault
            for name, part in detail.items()
            for fault in flattened(part, place if name == "non_field_errors" else f"{place}/{name}".lstrip("/"))
        ]
    if isinstance(detail, list):
        nested = [part for part in detail if not isinstance(part, ErrorDetail)]
        return [(place, str(part)) for part in detail if isinstance(part, ErrorDetail)] + [
            fault for number, part in enumerate(nested) for fault in flattened(part, f"{place}/{number}")
        ]
    return [(place, str(detail))]
