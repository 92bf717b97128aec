"""Rows of a log of readings taken as a table: as whole columns, and row by row where more is to be said of one."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from accounts.many_rows import insert_columns
from accounts.models import Company, Membership
from fleet.intake import readings, references
from fleet.intake.columns import Column
from fleet.intake.directory import Directory, Meter, unit_directory
from fleet.intake.history import ReadingSeries, flag_against, pasts_of_doubtful, series_of
from fleet.intake.logs import TableOutcome
from fleet.intake.reading_columns import TELLING_WORDS, ReadingColumns, default, judge_columns
from fleet.intake.rows import Row
from fleet.intake.table_rows import read_rows
from fleet.intake.tables import TextTable
from fleet.models import IntakeBatch, Reading
from fleet.services.consequences import Kind, announce


def take_table(
    table: TextTable,
    columns: Sequence[Column],
    *,
    company: Company,
    by: Membership | None,
    source: str,
    now: datetime,
    batch: IntakeBatch,
) -> TableOutcome:
    """Judge the rows of a table and store those that can be true, as `readings.take_rows` does of the same rows.

    None of them may correct another: those are for `take_rows`. Needs a transaction.
    """
    one = _One(table, columns, by, source, now, batch, _directory(table, columns, company, by))
    plain = judge_columns(table, columns, one.directory, by=by, source=source, now=now)
    rows = one.row_by_row(sorted(set(range(len(table.rows))) - set(plain.places)))
    sound = _sound(rows)
    readings.lock_units({*plain.unit_ids, *(row.owner_id for row in sound.values())})
    references.name_rows(list(sound.values()), TELLING_WORDS)
    sound = _sound(sound)
    known = _known(plain, sound)
    if known:
        again = one.row_by_row([plain.places[index] for index in known])
        references.name_rows(list(again.values()), TELLING_WORDS)
        rows, sound, plain = rows | again, sound | again, plain.without(known)
    settled = readings.settle([sound[place] for place in sorted(sound)])
    place_of = {id(row): place for place, row in sound.items()}
    fresh = {place_of[id(row)]: row for row in settled.fresh}
    plain = _compare(plain, fresh, one)
    flagged = sum(1 for row in fresh.values() if row.flags)
    _store(plain, fresh, one)
    moments = [*plain.taken_at, *(row.taken_at for row in fresh.values() if row.taken_at is not None)]
    if moments:
        units = {*plain.unit_ids, *(row.owner_id for row in fresh.values())}
        announce(company.pk, units=units, kind=Kind.READINGS, now=now, since=min(moments))
    refused = [row for _, row in sorted(rows.items()) if row.faults]
    return TableOutcome(len(table.rows), len(moments), flagged, settled.duplicates, refused)


@dataclass
class _One:
    """A table that is being taken, and what all its rows share."""

    table: TextTable
    columns: Sequence[Column]
    by: Membership | None
    source: str
    now: datetime
    batch: IntakeBatch
    directory: Directory

    def __post_init__(self) -> None:
        self.meters: dict[int, Meter] = {}

    def row_by_row(self, places: Sequence[int]) -> dict[int, Row]:
        """Some rows, judged one by one, by their place."""
        rows = read_rows(self.table.only(places), self.columns)
        self.meters |= readings.judge(rows, self.directory, by=self.by, source=self.source, now=self.now)
        return dict(zip(places, rows, strict=True))


def _directory(table: TextTable, columns: Sequence[Column], company: Company, by: Membership | None) -> Directory:
    names: dict[str, set[str]] = {"unit": {""}, "instrument": {""}}
    readable = [cells for _, cells in table.rows if not table.is_too_wide(cells)]
    for column in columns:
        if column.name in names:
            names[column.name] |= {cells[column.index] for cells in readable if column.index < len(cells)}
    return unit_directory(company, by, names["unit"], names["instrument"])


def _sound(rows: Mapping[int, Row]) -> dict[int, Row]:
    return {place: row for place, row in rows.items() if not row.faults}


def _known(plain: ReadingColumns, sound: Mapping[int, Row]) -> list[int]:
    """Which rows have a reference that is stored or that another row has, by their index."""
    keys = list(zip(plain.unit_ids, plain.references, strict=True))
    times = Counter(keys)
    times.update((row.owner_id, row.reference) for row in sound.values())
    stored = references.stored_keys(Reading, "unit", keys)
    return [index for index, key in enumerate(keys) if times[key] > 1 or key in stored]


def _compare(plain: ReadingColumns, fresh: dict[int, Row], one: _One) -> ReadingColumns:
    """Flag what does not fit the readings before it; of whole columns, those rows become rows of their own."""
    order = np.argsort(np.array([*plain.places, *fresh], dtype=np.int64), kind="stable")
    others = series_of(list(fresh.values()))
    beside = ReadingSeries(plain.unit_ids, plain.taken_at, plain.numbers)
    names = plain.numbers.keys() | others.numbers.keys()
    places = np.array([*plain.places, *fresh], dtype=np.int64)[order].tolist()
    units, moments = [*plain.unit_ids, *others.unit_ids], [*plain.taken_at, *others.taken_at]
    series = ReadingSeries(
        [units[index] for index in order.tolist()],
        [moments[index] for index in order.tolist()],
        {name: np.concatenate([beside.column(name), others.column(name)])[order] for name in names},
    )
    pasts = {places[index]: past for index, past in pasts_of_doubtful(series).items()}
    doubtful = [index for index, place in enumerate(plain.places) if place in pasts]
    if doubtful:
        found = one.row_by_row([plain.places[index] for index in doubtful])
        for index, row in zip(doubtful, found.values(), strict=True):
            row.reference = plain.references[index]
        fresh |= found
        plain = plain.without(doubtful)
    for place, past in pasts.items():
        flag_against(fresh[place], past)
    return plain


def _store(plain: ReadingColumns, fresh: dict[int, Row], one: _One) -> None:
    """Store all of them at once, in the order of the table."""
    places = [*plain.places, *fresh]
    if not places:
        return
    made = [
        readings.make_reading(
            row, one.meters.get(id(row)), None, by=one.by, source=one.source, now=one.now, batch=one.batch
        )
        for row in fresh.values()
    ]
    columns = plain.model_columns(one.source)
    if made:
        names = [field.attname for field in Reading._meta.concrete_fields if not field.primary_key]
        columns = {
            name: [*columns.get(name, [default(name)] * len(plain)), *(getattr(reading, name) for reading in made)]
            for name in names
        }
        order = sorted(range(len(places)), key=places.__getitem__)
        columns = {name: [values[index] for index in order] for name, values in columns.items()}
    count = len(places)
    by_id = one.by.pk if one.by is not None else None
    columns |= {"recorded_by_id": [by_id] * count, "received_at": [one.now] * count, "batch_id": [one.batch.pk] * count}
    insert_columns(Reading, columns)
