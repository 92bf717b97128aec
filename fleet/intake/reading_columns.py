"""Rows of a log of readings judged as whole columns: each cell, word and moment that comes again is read once, and what
numbers can be is asked of all rows together.

Nothing is refused or flagged here. A row that the rules would refuse or flag is left to `readings.judge`, which says
why. What is asked are the same rules, of the same functions: of each distinct text, of each distinct set of words, of
columns in place of single numbers.
"""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any, Final, Self

import numpy as np

from accounts.many_rows import JsonText
from accounts.models import Membership
from fleet.engineering.arrays import BoolArray, FloatArray
from fleet.engineering.errors import EngineeringError
from fleet.engineering.units import QUANTITY_KINDS, STORED_TDS_FACTOR, convert_column, outside_limits
from fleet.intake import cells, references
from fleet.intake.cells import CellError
from fleet.intake.columns import Column
from fleet.intake.conversion import meter_for
from fleet.intake.directory import Directory, Meter, Place
from fleet.intake.logs import CORRECTS
from fleet.intake.names import public_name
from fleet.intake.observations import FIELD as OBSERVATIONS
from fleet.intake.reading_fields import CHOICES, LENGTHS, MOMENT, fits, hold_to_source, moment_text, read_choices
from fleet.intake.reading_rules import is_beyond_doubt
from fleet.intake.rows import Row
from fleet.intake.tables import TextTable
from fleet.models import Reading
from fleet.services.units.moments import FIRST_YEAR

TELLING_WORDS: Final = (
    "state",
    "tank_valve",
    "pump",
    "tank_is_full",
    "sampled_after_flush",
    "occasion",
    OBSERVATIONS,
)
"""Fields beside the quantities that tell one reading from another."""

_READ_HERE: Final = frozenset({"unit", *MOMENT, *CHOICES, *LENGTHS, "instrument", CORRECTS})
# A day begins somewhere on Earth up to 14 hours before it does in UTC, and ends up to 12 hours after.
_DAYS_OF_DOUBT: Final = 1

Texts = Sequence[str]


@dataclass
class ReadingColumns:
    """Rows that nothing is to be said of, column by column; each list has one entry for each of them.

    Attributes
    ----------
    places
        Of the rows in their table.
    named_at
        As `Row.named_at`.
    choices
        The fields that are words of few, as `Row.fields`; the same for all rows that say the same.
    numbers
        Stored column -> values in the stored unit, NaN where a row has none.
    as_sent
        `Row.as_sent()` as JSON.
    """

    places: list[int]
    lines: list[int]
    unit_ids: list[int]
    taken_at: list[datetime]
    named_at: list[datetime]
    references: list[str]
    choices: list[Mapping[str, Any]]
    persons: list[str]
    notes: list[str]
    instrument_ids: list[int | None]
    as_sent: list[JsonText]
    numbers: dict[str, FloatArray]

    def __len__(self) -> int:
        return len(self.places)

    def only(self, kept: Sequence[int]) -> Self:
        """Some of the rows, by their index here."""
        if len(kept) == len(self):
            return self
        named: dict[str, Any] = {}
        for each in fields(self):
            values = getattr(self, each.name)
            if isinstance(values, dict):
                chosen = np.array(kept, dtype=np.intp)
                named[each.name] = {name: column[chosen] for name, column in values.items()}
            else:
                named[each.name] = [values[index] for index in kept]
        return type(self)(**named)

    def without(self, dropped: Iterable[int]) -> Self:
        """The rows but some, by their index here."""
        return self.only(sorted(set(range(len(self))) - set(dropped)))

    def model_columns(self, source: str) -> dict[str, list[Any]]:
        """Attribute of `Reading` -> values, of all that rows of a log say; a row that names no source has this one."""
        columns: dict[str, list[Any]] = {
            "unit_id": self.unit_ids,
            "taken_on": [getattr(at, "known_day", None) for at in self.taken_at],
            "taken_at": self.taken_at,
            "reference": self.references,
            "instrument_id": self.instrument_ids,
            "person": self.persons,
            "note": self.notes,
            "as_sent": self.as_sent,
            "line": self.lines,
        }
        for name in sorted({"source", *(name for chosen in self.choices for name in chosen)}):
            unsaid = source if name == "source" else default(name)
            columns[name] = [chosen.get(name, unsaid) for chosen in self.choices]
        for name, values in self.numbers.items():
            columns[name] = [None if value != value else value for value in values.tolist()]
        return columns


def default(name: str) -> Any:
    """What a field of `Reading` holds where nothing is said."""
    field: Any = Reading._meta.get_field(name)
    return field.get_default()


def judge_columns(
    table: TextTable,
    columns: Sequence[Column],
    directory: Directory,
    *,
    by: Membership | None,
    source: str,
    now: datetime,
) -> ReadingColumns:
    """Read the rows of a table that nothing is to be said of; the others are left out.

    Parameters
    ----------
    columns
        Those of the table.
    directory
        Of all units and instruments that the rows name.
    by, source, now
        As for `readings.take_rows`.
    """
    if not table.rows:
        return _none()
    sheet = _Sheet(table, columns)
    if not sheet.words.keys() <= _READ_HERE:
        return _none()
    sheet.keep(not text for text in sheet.of_word(CORRECTS))
    places = sheet.read("unit", directory.place)
    moments = _moments(sheet, places, now)
    choices = _choices(sheet, by, source)
    meters = sheet.read("instrument", directory.meter)
    for name, longest in LENGTHS.items():
        sheet.keep(fits(text, longest) for text in sheet.of_word(name))
    sheet.keep(not references.is_reserved(text) for text in sheet.of_word("reference"))
    sent, numbers, factors = _numbers(sheet, directory, places, meters)
    sheet.is_sound &= is_beyond_doubt(
        numbers,
        states=[chosen.get("state", "") for chosen in choices],
        has_booster_pump=np.array([place is not None and place.has_booster_pump for place in places]),
        has_observations=np.array([OBSERVATIONS in chosen for chosen in choices]),
        quantities=Reading.QUANTITIES,
    )
    kept = np.flatnonzero(sheet.is_sound).tolist()
    all_rows = ReadingColumns(
        places=list(range(len(table.rows))),
        lines=[line for line, _ in table.rows],
        unit_ids=[place.pk if place is not None else 0 for place in places],
        taken_at=moments,
        named_at=moments,
        references=list(sheet.of_word("reference")),
        choices=choices,
        persons=list(sheet.of_word("person")),
        notes=list(sheet.of_word("note")),
        instrument_ids=[meter.pk if meter is not None else None for meter in meters],
        as_sent=_as_sent(sent, factors, len(table.rows)),
        numbers=numbers,
    )
    found = all_rows.only(kept)
    _name(found)
    return found


class _Sheet:
    """The cells of a table column by column, and which rows nothing is to be said of so far."""

    def __init__(self, table: TextTable, columns: Sequence[Column]) -> None:
        width = len(table.headers)
        padding = ("",) * width
        rows = [cells if len(cells) == width else (*cells, *padding)[:width] for _, cells in table.rows]
        texts = list(zip(*rows, strict=True))
        self.count = len(rows)
        self.is_sound: BoolArray = np.ones(self.count, dtype=bool)
        self.keep(not table.is_too_wide(cells) for _, cells in table.rows)
        words = (column for column in columns if not column.is_quantity)
        self.words: dict[str, Texts] = {column.name: texts[column.index] for column in words}
        self.quantities = [(column, texts[column.index]) for column in columns if column.is_quantity]
        self.decimal_comma = table.decimal_comma

    def keep(self, which: Iterable[bool]) -> None:
        self.is_sound &= np.fromiter(which, dtype=bool, count=self.count)

    def of_word(self, name: str) -> Texts:
        return self.words.get(name) or ("",) * self.count

    def read(self, name: str, read: Callable[[str], Any]) -> list[Any]:
        """What the texts of a column are; None for an empty one, and for one that cannot be read."""
        known: dict[str, Any] = {}
        for text in set(self.of_word(name)) - {""}:
            try:
                known[text] = read(text)
            except CellError:
                known[text] = None
        self.keep(not text or known[text] is not None for text in self.of_word(name))
        return [known.get(text) for text in self.of_word(name)]


def _moments(sheet: _Sheet, places: Sequence[Place | None], now: datetime) -> list[datetime]:
    """When each row was taken; `now` for those that are not kept."""
    taken_at, days, times = (sheet.of_word(name) for name in MOMENT)
    known: dict[tuple[Any, str], tuple[datetime, date] | None] = {}
    moments: list[datetime] = []
    is_sound = []
    for place, *said in zip(places, taken_at, days, times, strict=True):
        found = None
        if place is not None:
            key = (place.zone, moment_text(*said))
            if key not in known:
                known[key] = _moment(*key, now)
            found = known[key]
        is_sound.append(found is not None and _was_there(place, found[1]))
        moments.append(found[0] if found is not None else now)
    sheet.keep(is_sound)
    return moments


def _moment(zone: Any, text: str, now: datetime) -> tuple[datetime, date] | None:
    """A moment of the past and its day in UTC; None where there is more to say of it."""
    try:
        at, doubt = cells.moment(text, zone)
    except CellError:
        return None
    return (at, at.date()) if not doubt and at <= now and at.year >= FIRST_YEAR else None


def _was_there(place: Place | None, day: date) -> bool:
    """Whether a unit was surely at work on a day, wherever on Earth it is."""
    if place is None:
        return False
    if place.commissioned_on is not None and (day - place.commissioned_on).days <= _DAYS_OF_DOUBT:
        return False
    return place.retired_on is None or (place.retired_on - day).days > _DAYS_OF_DOUBT


def _choices(sheet: _Sheet, by: Membership | None, source: str) -> list[Mapping[str, Any]]:
    names = [name for name in CHOICES if name in sheet.words]
    said = list(zip(*(sheet.words[name] for name in names), strict=True)) if names else [()] * sheet.count
    known: dict[tuple[str, ...], Mapping[str, Any] | None] = {}
    for words in set(said):
        row = Row(line=0, raw={}, words={name: text for name, text in zip(names, words, strict=True) if text})
        read_choices(row)
        hold_to_source([row], by, source)
        known[words] = None if row.faults or row.flags else row.fields
    sheet.keep(known[words] is not None for words in said)
    return [known[words] or {} for words in said]


_Sent = dict[str, tuple[list[str], str]]


def _numbers(
    sheet: _Sheet, directory: Directory, places: Sequence[Place | None], meters: Sequence[Meter | None]
) -> tuple[_Sent, dict[str, FloatArray], dict[str, FloatArray]]:
    """Digits and unit, numbers, and factors of meters that are not on the stored scale, of each quantity."""
    sent: _Sent = {}
    numbers: dict[str, FloatArray] = {}
    factors: dict[str, FloatArray] = {}
    for column, texts in sheet.quantities:
        digits = _digits(sheet, texts)
        is_given = np.fromiter(map(bool, digits), dtype=bool, count=sheet.count)
        if not is_given.any():
            continue
        values = np.fromiter((float(text) if text else np.nan for text in digits), dtype=np.float64, count=sheet.count)
        is_infinite = np.isinf(values)
        values[is_infinite] = np.nan
        kind = QUANTITY_KINDS[column.name]
        factor: Any = STORED_TDS_FACTOR
        if kind.name == "tds" and directory.meters:
            factor, does_compensate = _of_meters(column.name, places, meters)
            sheet.is_sound &= does_compensate | ~is_given
            if (factor != STORED_TDS_FACTOR).any():
                factors[column.name] = factor
        try:
            values = convert_column(values, column.unit, kind, field=column.name, tds_factor=factor)
        except EngineeringError:
            sheet.is_sound &= ~is_given
            continue
        sheet.is_sound &= ~(is_infinite | outside_limits(values, kind))
        sent[column.name] = (digits, column.unit)
        numbers[column.name] = values
    return sent, numbers, factors


def _digits(sheet: _Sheet, texts: Texts) -> list[str]:
    known: dict[str, str | None] = {"": ""}
    for text in set(texts):
        try:
            known[text] = cells.number_digits(text, decimal_comma=sheet.decimal_comma) if text else ""
        except CellError:
            known[text] = None
    sheet.keep(known[text] is not None for text in texts)
    return [known[text] or "" for text in texts]


def _of_meters(
    column: str, places: Sequence[Place | None], meters: Sequence[Meter | None]
) -> tuple[FloatArray, BoolArray]:
    """The factor of what showed a value, and whether that brings it to 25 degC itself, row by row."""
    known: dict[tuple[int, int], tuple[float, bool]] = {}
    found = []
    for place, named in zip(places, meters, strict=True):
        key = (place.pk if place is not None else 0, named.pk if named is not None else 0)
        if key not in known:
            meter = meter_for(place, named, column) if place is not None else None
            known[key] = (meter.tds_factor, meter.compensates_temperature) if meter else (STORED_TDS_FACTOR, True)
        found.append(known[key])
    return np.array([factor for factor, _ in found]), np.array([compensates for _, compensates in found])


def _as_sent(sent: _Sent, factors: Mapping[str, FloatArray], count: int) -> list[JsonText]:
    """The JSON of what `Row.as_sent` gives, in the order of the columns."""
    columns = []
    for name, (digits, unit) in sent.items():
        begin = f'{json.dumps(public_name(name))}: {{"value": '
        end = f', "unit": {json.dumps(unit)}}}'
        shown = {text: f"{begin}{json.dumps(text)}{end}" if text else "" for text in set(digits)}
        texts = [shown[text] for text in digits]
        if name in factors:
            texts = [
                f'{text[:-1]}, "tds_factor": {factor!r}}}' if text and factor != STORED_TDS_FACTOR else text
                for text, factor in zip(texts, factors[name].tolist(), strict=True)
            ]
        columns.append(texts)
    rows = zip(*columns, strict=True) if columns else [()] * count
    return [JsonText(f"{{{', '.join(filter(None, row))}}}") for row in rows]


def _name(found: ReadingColumns) -> None:
    """Give rows that came without a reference their own."""
    unnamed = [index for index, reference in enumerate(found.references) if not reference]
    if not unnamed:
        return
    names = sorted(found.numbers)
    values = {name: found.numbers[name].tolist() for name in names}
    telling: dict[int, list[str]] = {}
    for index in unnamed:
        chosen = found.choices[index]
        if id(chosen) not in telling:
            telling[id(chosen)] = references.telling_parts(chosen, TELLING_WORDS)
        numbers = [
            references.number_part(name, values[name][index])
            for name in names
            if values[name][index] == values[name][index]
        ]
        found.references[index] = references.reference_of(
            found.unit_ids[index], found.named_at[index], numbers, telling[id(chosen)]
        )


def _none() -> ReadingColumns:
    return ReadingColumns([], [], [], [], [], [], [], [], [], [], [], {})
