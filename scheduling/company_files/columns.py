"""What a sheet can hold: its columns, made from the fields that the API takes, and how people head them."""

import difflib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from rest_framework import serializers

from accounts.http.fields import DayOrMomentField, MomentField, TenantRelatedField
from fleet.api.catalogue import PriceBreakSerializer
from fleet.api.quantities import QuantityField
from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import Kind, parse_header
from fleet.forecasting.files.german_headers import in_english
from fleet.forecasting.files.headers import tidy
from scheduling.api.parts import LotSerializer

_ROUND_BRACKETS: Final = re.compile(r"^([^\[\]()]+?)\s*\(([^()]+)\)\s*$")
_SIZE_BEFORE: Final = re.compile(r"^(?:10|20)\s*-?\s*(?:\"|”|″|''|inch|in\.?)\s+(?=\w)", re.IGNORECASE)
_CLOSE: Final = 0.75


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes
    ----------
    field
        Field of the body that the API takes.
    kind
        'text', 'number', 'whole', 'yes_no', 'word', 'day', 'moment', 'day_or_moment', 'hour', 'weekdays', 'list',
        'quantity', 'price_breaks', 'lots' or 'name' (of another row).
    meaning
        One line for the template.
    also
        Other headers, separated by commas.
    is_needed
        Whether a new row cannot do without it.
    words
        Words it takes, for the kind 'word'.
    quantity
        Kind of quantity, for the kind 'quantity'.
    example
        What the template shows.
    bare, otherwise
        A bare name that heads it unless another header gives this field too; then it heads the column of the field
        `otherwise`.
    """

    field: str
    kind: str
    meaning: str = ""
    also: str = ""
    is_needed: bool = False
    words: tuple[str, ...] = ()
    quantity: Kind | None = None
    example: str = ""
    bare: str = ""
    otherwise: str = ""

    @property
    def header(self) -> str:
        """Header as the template and the taken-out files write it."""
        name = self.field.replace("_", " ")
        unit = self.quantity.canonical_unit if self.quantity is not None else ""
        return f"{name} [{unit}]" if unit else name


@dataclass(frozen=True)
class Headed:
    """A column of a file: its place, its header as written, what it means and the unit that it is in."""

    place: int
    header: str
    column: Column
    unit: str = ""


@dataclass
class Heading:
    """What the headers of a file mean, and what is told of the others."""

    columns: list[Headed] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def has(self, name: str) -> bool:
        """Whether some column gives this field."""
        return any(headed.column.field == name for headed in self.columns)


def columns_of(
    serializer: type[serializers.BaseSerializer[Any]],
    *,
    also: Mapping[str, str] | None = None,
    examples: Mapping[str, str] | None = None,
    without: Sequence[str] = (),
    meanings: Mapping[str, str] | None = None,
) -> tuple[Column, ...]:
    """The columns that fill the fields of a serializer, in its order; what it sets by itself is left out."""
    fields: Mapping[str, Any] = serializer().fields  # type: ignore[attr-defined]
    made = []
    for name, of_field in fields.items():
        if of_field.read_only or name in without:
            continue
        kind, details = _kind_of(of_field)
        if not kind:
            continue
        made.append(
            Column(
                name,
                kind,
                meaning=(meanings or {}).get(name, str(of_field.help_text or "").strip()),
                also=(also or {}).get(name, ""),
                is_needed=bool(of_field.required),
                example=(examples or {}).get(name, ""),
                **details,
            )
        )
    return tuple(made)


def _kind_of(of_field: Any) -> tuple[str, dict[str, Any]]:
    """Kind of a column for a field, and what belongs to it; '' for what no cell can hold."""
    if isinstance(of_field, QuantityField):
        return "quantity", {"quantity": of_field.kind}
    if isinstance(of_field, serializers.ChoiceField):
        return "word", {"words": tuple(str(choice) for choice in of_field.choices if choice != "")}
    if isinstance(of_field, serializers.ListField) and isinstance(of_field.child, PriceBreakSerializer):
        return "price_breaks", {}
    if isinstance(of_field, serializers.ListSerializer) and isinstance(of_field.child, LotSerializer):
        return "lots", {}
    if isinstance(of_field, serializers.ListField):
        is_days = isinstance(of_field.child, serializers.IntegerField)
        return ("weekdays" if is_days else "list"), {}
    simple = (
        (TenantRelatedField, "name"),
        (serializers.BooleanField, "yes_no"),
        (serializers.IntegerField, "whole"),
        ((serializers.FloatField, serializers.DecimalField), "number"),
        (DayOrMomentField, "day_or_moment"),
        (MomentField, "moment"),
        (serializers.DateField, "day"),
        (serializers.TimeField, "hour"),
        (serializers.CharField, "text"),
    )
    for classes, kind in simple:
        if isinstance(of_field, classes):
            return kind, {}
    return "", {}


def read_heading(headers: Sequence[str], columns: Sequence[Column], used: Sequence[bool]) -> Heading:
    """Find what each header means; a column that is not known is told of and not read, with the nearest there is.

    Parameters
    ----------
    headers, used
        As written; whether anything stands below each.
    columns
        What the sheet can hold.
    """
    by_name: dict[str, Column] = {}
    for column in columns:
        own_names = (column.field, column.field.replace("_", " "))
        for name in (*own_names, *(part for part in column.also.split(",") if part.strip())):
            by_name.setdefault(tidy(name), column)
    heading = Heading()
    taken: dict[str, str] = {}
    by_field = {column.field: column for column in columns}
    names = {name for header in headers for name in (tidy(header), tidy(_name_and_unit(in_english(header))[0]))}
    explicit = {by_name[name].field for name in names if name in by_name and name != tidy(by_name[name].bare)}
    for place, header in enumerate(headers):
        if not header.strip():
            if used[place]:
                heading.remarks.append(f"Column {place + 1} has no header and is not read; name it.")
            continue
        name, unit = _name_and_unit(header)
        if name not in by_name:
            name, unit = _name_and_unit(in_english(header))
        if name not in by_name:
            name, unit = _name_and_unit(without_size(header))
        column_found = by_name.get(name)
        if column_found is not None and column_found.kind == "word" and unit:
            # 'Tank (gal)' is how much it holds, and not of which kind it is.
            column_found = by_name.get(f"{name}_volume", column_found)
        if column_found is not None and name == tidy(column_found.bare) and column_found.field in explicit:
            column_found = by_field[column_found.otherwise]
        if column_found is None:
            if used[place]:
                heading.remarks.append(f"Column '{header}' is not known and not read.{_nearest(name, by_name)}")
            continue
        if column_found.field in taken:
            heading.remarks.append(
                f"Columns '{taken[column_found.field]}' and '{header}' both give the "
                f"{column_found.field.replace('_', ' ')}; the second is not read."
            )
            continue
        taken[column_found.field] = header
        heading.columns.append(Headed(place, header, column_found, unit))
    return heading


def without_size(header: str) -> str:
    """A header without the nominal size that people write before a cartridge.

    >>> without_size("10in sediment"), without_size('20" carbon changed'), without_size("DI 1")
    ('sediment', 'carbon changed', 'DI 1')
    """
    return _SIZE_BEFORE.sub("", header.strip())


def _name_and_unit(header: str) -> tuple[str, str]:
    try:
        name, unit = parse_header(_ROUND_BRACKETS.sub(r"\1 [\2]", header))
    except EngineeringError:
        return tidy(header), ""
    return name, unit


def _nearest(name: str, by_name: Mapping[str, Column]) -> str:
    close = difflib.get_close_matches(name, list(by_name), n=1, cutoff=_CLOSE)
    return f" Did you mean '{by_name[close[0]].header}'?" if close else ""
