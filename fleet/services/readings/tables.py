"""Stored readings as columns, and which cartridge stood where when each was taken."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

import numpy as np
from django.db.models import Q
from numpy.typing import NDArray

from accounts.day_alone import DayAlone
from accounts.models import Company
from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.models import Placement, Reading, Unit

Floats = NDArray[np.float64]
Indexes = NDArray[np.int64]

WORDS: Final = ("state", "tank_valve", "pump", "tank_is_full", "sampled_after_flush", "occasion", "observations")
_AT_ONCE: Final = 5000
# More days than any record spans: keeps the moments of one place apart from those of the next.
_SPAN: Final = 1e6


@dataclass(frozen=True)
class ReadingTable:
    """Readings that count, in the order of unit and time.

    Attributes
    ----------
    ids, unit_ids
        Of the reading and of its unit.
    day
        Days since 1970-01-01 UTC.
    taken_at
        The same as moments.
    columns
        Quantity -> values, NaN where not read; and the states of `WORDS`.
    flags
        What intake found doubtful: for each reading, (field, code) pairs.
    """

    ids: Indexes
    unit_ids: Indexes
    day: Floats
    taken_at: list[datetime]
    columns: dict[str, Any]
    flags: list[frozenset[tuple[str, str]]]

    def __len__(self) -> int:
        return len(self.ids)


def load_readings(
    company: Company, unit_ids: Sequence[int], *, condition: Q | None = None, ids: Sequence[int] | None = None
) -> ReadingTable:
    """Read the readings of some units that nothing corrects; with `condition` those only, with `ids` of them these."""
    rows = Reading.objects.current().of_company(company).filter(condition or Q(), unit_id__in=unit_ids)
    names = (*Reading.QUANTITIES, "minutes_since_start", *WORDS)
    fields = ("pk", "unit_id", "taken_at", "taken_on", "flags", *names)
    if ids is None:
        values = list(rows.order_by("unit_id", "taken_at", "pk").values_list(*fields).iterator(chunk_size=_AT_ONCE))
    else:
        values = []
        for start in range(0, len(ids), _AT_ONCE):
            values += rows.filter(pk__in=ids[start : start + _AT_ONCE]).order_by().values_list(*fields)
        values.sort(key=lambda row: (row[1], row[2], row[0]))
    columns = list(zip(*values, strict=True)) if values else [() for _ in fields]
    by_name = dict(zip(fields, columns, strict=True))
    numbers = {name: np.array(by_name[name], dtype=np.float64) for name in (*Reading.QUANTITIES, "minutes_since_start")}
    moments = zip(by_name["taken_at"], by_name["taken_on"], strict=True)
    taken_at = [at if day is None else DayAlone.of(day, at) for at, day in moments]
    return ReadingTable(
        ids=np.array(by_name["pk"], dtype=np.int64),
        unit_ids=np.array(by_name["unit_id"], dtype=np.int64),
        day=np.array([at.timestamp() / SECONDS_PER_DAY for at in taken_at], dtype=np.float64),
        taken_at=taken_at,
        columns={**numbers, **{name: list(by_name[name]) for name in WORDS}},
        flags=[_pairs(flags) for flags in by_name["flags"]],
    )


def with_supposed_reading(
    table: ReadingTable, *, unit_id: int, taken_at: datetime, values: Mapping[str, Any]
) -> ReadingTable:
    """Add a reading that is not stored, after all others; the table must hold no later unit and no later moment."""
    numbers = {name: column for name, column in table.columns.items() if name not in WORDS}
    words: dict[str, Any] = {"state": "", "tank_valve": "", "pump": "", "observations": {}}
    words |= {"tank_is_full": None, "sampled_after_flush": None}
    words["occasion"] = Reading.Occasion.ROUTINE
    return ReadingTable(
        ids=np.append(table.ids, 0),
        unit_ids=np.append(table.unit_ids, unit_id),
        day=np.append(table.day, taken_at.timestamp() / SECONDS_PER_DAY),
        taken_at=[*table.taken_at, taken_at],
        columns={
            **{name: np.append(column, values.get(name, np.nan)) for name, column in numbers.items()},
            **{name: [*table.columns[name], values.get(name, words[name])] for name in WORDS},
        },
        flags=[*table.flags, frozenset()],
    )


def _pairs(flags: Sequence[dict[str, str]]) -> frozenset[tuple[str, str]]:
    return frozenset((flag.get("field", ""), flag.get("code", "")) for flag in flags)


@dataclass(frozen=True)
class PlacementTable:
    """Cartridges of one stage, in the order of unit and time.

    `placed_day` and `removed_day` are days since 1970-01-01 UTC (infinite while it stands), and so is
    `first_installed_day`, before `placed_day` where a lag became lead; `items` holds the fields asked for, by name.
    """

    unit_ids: Indexes
    position_ids: Indexes
    roles: list[str]
    placed_day: Floats
    removed_day: Floats
    first_installed_day: Floats
    items: dict[str, list[Any]]

    def __len__(self) -> int:
        return len(self.unit_ids)


def load_placements(
    company: Company, unit_ids: Sequence[int], stages: Sequence[str], item_fields: Sequence[str] = ()
) -> dict[str, PlacementTable]:
    """Read which cartridges of some stages stood in some units, and what their labels say; a table for each stage."""
    fields = ["position__stage", "position__unit_id", "position_id", "position__role", "placed_at", "removed_at"]
    fields.append("first_installed_at")
    fields += [f"item__{name}" for name in item_fields]
    rows = (
        Placement.objects.of_company(company)
        .filter(position__unit_id__in=unit_ids, position__stage__in=stages)
        .order_by("position__unit_id", "placed_at", "pk")
        .values_list(*fields)
    )
    values_by_stage: dict[str, list[Sequence[Any]]] = {stage: [] for stage in stages}
    for stage, *values in rows.iterator(chunk_size=_AT_ONCE):
        values_by_stage[stage].append(values)
    return {stage: _placement_table(values, item_fields) for stage, values in values_by_stage.items()}


def _placement_table(values: Sequence[Sequence[Any]], item_fields: Sequence[str]) -> PlacementTable:
    count = 6 + len(item_fields)
    columns = [list(column) for column in zip(*values, strict=True)] if values else [[] for _ in range(count)]
    return PlacementTable(
        unit_ids=np.array(columns[0], dtype=np.int64),
        position_ids=np.array(columns[1], dtype=np.int64),
        roles=columns[2],
        placed_day=np.array([at.timestamp() / SECONDS_PER_DAY for at in columns[3]], dtype=np.float64),
        removed_day=np.array(
            [np.inf if at is None else at.timestamp() / SECONDS_PER_DAY for at in columns[4]], dtype=np.float64
        ),
        first_installed_day=np.array([at.timestamp() / SECONDS_PER_DAY for at in columns[5]], dtype=np.float64),
        items=dict(zip(item_fields, columns[6:], strict=True)),
    )


def placement_of_each(unit_ids: Indexes, day: Floats, placements: PlacementTable) -> Indexes:
    """Row of the last cartridge of a stage placed in each reading's unit by then; -1 for none."""
    if not len(placements):
        return np.full(len(unit_ids), -1, dtype=np.int64)
    known_units = np.unique(placements.unit_ids)
    place = np.searchsorted(known_units, unit_ids)
    is_known = (place < len(known_units)) & (known_units[np.minimum(place, len(known_units) - 1)] == unit_ids)
    keys = np.searchsorted(known_units, placements.unit_ids) * _SPAN + placements.placed_day
    index = np.searchsorted(keys, place * _SPAN + day, side="right") - 1
    same = is_known & (index >= 0)
    same[same] = placements.unit_ids[index[same]] == unit_ids[same]
    return np.where(same, index, -1)


def unit_facts(company: Company, unit_ids: Sequence[int], fields: Sequence[str]) -> dict[int, dict[str, Any]]:
    """Fields of some units by id."""
    rows = Unit.objects.of_company(company).filter(pk__in=unit_ids).order_by("pk").values("pk", *fields)
    return {row["pk"]: row for row in rows}
