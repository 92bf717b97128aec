"""Columns with ids in, validated tables out: what cannot be used is reported row by row, and the rest is kept."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np

from fleet.forecasting.inputs import tables
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.rotations import first_installed, rotated_in

Columns = Mapping[str, Sequence[Any]]
"""Column name -> values, all of one length. Names are those of the table's fields, except that a reference `x_index` is
given as `x_id` (`site_index` as `site_id`), and `continued_from` as a placement id. Words may be text; a missing value
is None, NaN or an absent column."""

TableType = TypeVar("TableType", bound=tables.Table)


@dataclass(frozen=True)
class Fault:
    """One thing that could not be used.

    `table` and `row` (from 0) say where, `field` names the column, `code` is 'missing', 'unknown', 'duplicate',
    'not_a_number', 'out_of_range', 'unknown_word', 'contradiction'; `message` says what was wrong and what would be
    right. `row_dropped` tells whether the whole row was left out or only this value.
    """

    table: str
    row: int
    field: str
    code: str
    message: str
    row_dropped: bool


def build_fleet(
    *,
    as_of_day: float,
    units: Columns,
    positions: Columns,
    placements: Columns,
    readings: Columns | None = None,
    items: Columns | None = None,
    sites: Columns | None = None,
    feed_water: Columns | None = None,
) -> tuple[tables.Fleet, list[Fault]]:
    """Make the tables of a fleet, reporting unusable rows instead of raising for the whole fleet.

    Parameters
    ----------
    as_of_day
        The day on which the forecast is made, days since 1970-01-01 UTC.
    units, positions, placements, readings, items, sites, feed_water
        Columns (see `Columns`). Sites may be left out when every unit names its own `site_id`.

    Returns
    -------
    fleet, faults
        The tables, and one `Fault` for each value or row that was not used.

    Raises
    ------
    ValueError
        When `as_of_day` is not finite or the columns of one table differ in length: then nothing can be trusted.
    """
    if not np.isfinite(as_of_day):
        raise ValueError("as_of_day must be a finite number of days since 1970-01-01")
    faults: list[Fault] = []
    if sites is None:
        sites = {"site_id": list(dict.fromkeys(s for s in units.get("site_id", ()) if s is not None))}
    rows_by_id: dict[str, dict[Any, int]] = {}
    site_table = _table(tables.Sites, "sites", sites, rows_by_id, faults)
    item_table = _table(tables.Items, "items", items or {}, rows_by_id, faults)
    unit_table = _table(tables.Units, "units", units, rows_by_id, faults)
    position_table = _table(tables.Positions, "positions", positions, rows_by_id, faults)
    placement_table = _placements(placements, position_table, item_table, rows_by_id, faults)
    reading_table = _table(tables.Readings, "readings", readings or {}, rows_by_id, faults)
    feed_table = _table(tables.FeedWater, "feed_water", feed_water or {}, rows_by_id, faults)
    fleet = tables.Fleet(
        as_of_day=float(as_of_day),
        sites=site_table,
        units=unit_table,
        positions=position_table,
        items=item_table,
        placements=placement_table,
        readings=reading_table,
        feed_water=feed_table,
    )
    return fleet, faults


def _placements(
    columns: Columns,
    positions: tables.Positions,
    items: tables.Items,
    rows_by_id: dict[str, dict[Any, int]],
    faults: list[Fault],
) -> tables.Placements:
    """Placements with the rules that concern more than one column."""
    kept_rows: list[int] = []
    table = _table(tables.Placements, "placements", columns, rows_by_id, faults, kept_rows=kept_rows)
    row_numbers = np.array(kept_rows, dtype=np.int64)
    backwards = table.removed_day < table.placed_day
    stage = positions.stage[table.position_index] if len(table) else np.zeros(0, dtype=np.int8)
    item_stage = np.where(
        table.item_index >= 0, items.stage[table.item_index] if len(items) else -1, stage.astype(np.int64)
    )
    wrong_stage = item_stage != stage
    for row in row_numbers[backwards]:
        faults.append(
            Fault("placements", int(row), "removed_day", "contradiction",
                  "removed before it was placed; the removal must be on or after the placing", True)
        )  # fmt: skip
    for row in row_numbers[wrong_stage & ~backwards]:
        faults.append(
            Fault("placements", int(row), "item_id", "contradiction",
                  "the item belongs to another stage than the position; use an item of the position's stage", True)
        )  # fmt: skip
    repeated = _repeated(table) & ~(backwards | wrong_stage)
    for row in row_numbers[repeated]:
        faults.append(
            Fault("placements", int(row), "placed_day", "duplicate",
                  "an earlier row has the same cartridge in the same position with the same dates", True)
        )  # fmt: skip
    usable = ~(backwards | wrong_stage | repeated)
    renumbered = np.append(np.where(usable, np.cumsum(usable) - 1, -1), -1)
    table = table.take(usable)
    # In an order of their own, so that forecasts do not depend on that of the rows.
    order = np.lexsort((table.removed_day, table.placed_day, table.position_index))
    renumbered = np.append(np.argsort(order), -1)[renumbered]
    table = table.take(order)
    continued_from = rotated_in(table, positions, renumbered[table.continued_from])
    removed_without_reason = np.isfinite(table.removed_day) & (table.reason == words.NOT_REMOVED)
    return replace(
        table,
        # Nobody wrote down what was found, so nobody is taken to have looked.
        reason=np.where(removed_without_reason, words.UNKNOWN, table.reason).astype(np.int8),
        first_installed_day=first_installed(table, continued_from),
        continued_from=continued_from,
    )


def _repeated(table: tables.Placements) -> tables.Bools:
    """Rows that say what an earlier row says; a link to another placement tells two apart."""
    out = np.zeros(len(table), dtype=bool)
    seen: set[tuple[float, ...]] = set()
    columns = (table.position_index, table.item_index, table.placed_day, table.removed_day, table.reason)
    for row, key in enumerate(zip(*(np.nan_to_num(column, nan=-1e6).tolist() for column in columns), strict=True)):
        out[row] = key in seen and table.continued_from[row] < 0
        seen.add(key)
    return out


def _table(
    kind: type[TableType],
    name: str,
    columns: Columns,
    rows_by_id: dict[str, dict[Any, int]],
    faults: list[Fault],
    kept_rows: list[int] | None = None,
) -> TableType:
    lengths = {len(values) for values in columns.values()}
    if len(lengths) > 1:
        raise ValueError(f"the columns of {name} differ in length: {sorted(lengths)}")
    count = lengths.pop() if lengths else 0
    usable = np.ones(count, dtype=bool)
    out: dict[str, np.ndarray[Any, Any]] = {}
    own_references: list[str] = []
    for spec in fields(kind):  # type: ignore[arg-type]
        meta = spec.metadata
        if meta["column"] == "reference":
            target = meta["table"]
            column = spec.name if spec.name == "continued_from" else spec.name.removesuffix("_index") + "_id"
            if target == name:
                own_references.append(spec.name)
                out[spec.name] = np.full(count, -1, dtype=np.int64)
                continue
            out[spec.name] = _reference(
                name, column, columns, count, rows_by_id[target], meta["required"], usable, faults
            )
        elif meta["column"] == "number":
            out[spec.name] = _numbers(name, spec.name, columns, count, meta, usable, faults)
        elif meta["column"] in ("word", "flag"):
            vocabulary = words.FLAGS if meta["column"] == "flag" else meta["vocabulary"]
            out[spec.name] = _words(
                name, spec.name, columns, count, vocabulary, meta.get("required", False), usable, faults
            )
        elif meta["column"] == "text":
            values = columns.get(spec.name)
            texts = np.empty(count, dtype=object)
            texts[:] = "" if values is None else [("" if v is None else str(v)) for v in values]
            out[spec.name] = texts
        else:
            out[spec.name] = _identities(name, spec.name, columns, count, usable, faults)
    table = kind(**out).take(usable)
    if kept_rows is not None:
        kept_rows.extend(np.flatnonzero(usable).tolist())
    id_field = fields(kind)[0].name  # type: ignore[arg-type]
    if fields(kind)[0].metadata["column"] == "id":  # type: ignore[arg-type]
        rows_by_id[name] = {identity: row for row, identity in enumerate(getattr(table, id_field))}
    for field_name in own_references:
        rows = np.flatnonzero(usable)
        values = columns.get(field_name)
        links = np.full(len(table), -1, dtype=np.int64)
        if values is not None:
            for position, row in enumerate(rows.tolist()):
                value = values[row]
                if value is None or value == "" or value != value:
                    continue
                link = rows_by_id[name].get(value, -1)
                if link < 0 or link == position:
                    faults.append(
                        Fault(name, int(row), field_name, "unknown",
                              f"{value!r} is no other row of {name}; treated as new", False)
                    )  # fmt: skip
                    continue
                links[position] = link
        table = replace(table, **{field_name: links})  # type: ignore[type-var]
    return table


def _identities(
    table: str, column: str, columns: Columns, count: int, usable: tables.Bools, faults: list[Fault]
) -> tables.Ids:
    values = columns.get(column)
    out = np.empty(count, dtype=object)
    if values is None:
        # Placements need no id of their own when nothing refers to them.
        out[:] = list(range(count))
        return out
    out[:] = list(values)
    earlier: set[Any] = set()
    for row, value in enumerate(out):
        if value is None or value == "" or value != value:
            faults.append(Fault(table, row, column, "missing", f"{column} is empty; every row needs one", True))
            usable[row] = False
        elif value in earlier:
            faults.append(Fault(table, row, column, "duplicate", f"{column} {value!r} is used in an earlier row", True))
            usable[row] = False
        else:
            earlier.add(value)
    return out


def _reference(
    table: str,
    column: str,
    columns: Columns,
    count: int,
    row_of: dict[Any, int],
    required: bool,
    usable: tables.Bools,
    faults: list[Fault],
) -> tables.Indexes:
    values = columns.get(column)
    if values is None:
        values = [None] * count
    out = np.fromiter((row_of.get(value, -1) for value in values), dtype=np.int64, count=count)
    for row in np.flatnonzero((out < 0) & usable).tolist():
        value = values[row]
        empty = value is None or value == "" or value != value
        if empty and not required:
            continue
        message = f"{column} is empty" if empty else f"{column} {value!r} is not known or was not usable"
        faults.append(Fault(table, int(row), column, "missing" if empty else "unknown", message, required))
        if required:
            usable[row] = False
    return out


def _numbers(
    table: str,
    column: str,
    columns: Columns,
    count: int,
    meta: Mapping[str, Any],
    usable: tables.Bools,
    faults: list[Fault],
) -> tables.Floats:
    values = columns.get(column)
    out = np.full(count, np.nan)
    reported = np.zeros(count, dtype=bool)
    if values is not None:
        try:
            out = np.array(values, dtype=np.float64)
        except (TypeError, ValueError):
            for row, value in enumerate(values):
                try:
                    out[row] = np.nan if value is None or value == "" else float(value)
                except (TypeError, ValueError):
                    reported[row] = True
                    faults.append(
                        Fault(table, row, column, "not_a_number", f"{column} {value!r} is not a number",
                              bool(meta["required"]))
                    )  # fmt: skip
    outside = ~np.isnan(out) & ~((out >= meta["low"]) & (out <= meta["high"]))
    for row in np.flatnonzero(outside & usable).tolist():
        faults.append(
            Fault(table, int(row), column, "out_of_range",
                  f"{column} {out[row]:g} is outside {meta['low']:g} to {meta['high']:g}", bool(meta["required"]))
        )  # fmt: skip
    out = np.where(outside, np.nan, out)
    missing = np.isnan(out)
    if meta["required"]:
        faults.extend(
            Fault(table, int(row), column, "missing", f"{column} is empty", True)
            for row in np.flatnonzero(missing & usable & ~outside & ~reported)
        )
        usable &= ~missing
    return np.where(missing, meta["default"], out)


def _words(
    table: str,
    column: str,
    columns: Columns,
    count: int,
    vocabulary: tuple[str, ...],
    required: bool,
    usable: tables.Bools,
    faults: list[Fault],
) -> tables.Codes:
    values = columns.get(column)
    if values is None:
        values = [None] * count
    if isinstance(values, np.ndarray) and values.dtype.kind in "iu":
        codes = np.where((values >= 0) & (values < len(vocabulary)), values, -1).astype(np.int8)
    else:
        codes = words.encode(values, vocabulary)
    shown = ", ".join(repr(word) for word in vocabulary if word)
    for row in np.flatnonzero((codes < 0) & usable).tolist():
        value = values[row]
        if value is None and not required:
            continue
        faults.append(
            Fault(table, int(row), column, "unknown_word" if value is not None else "missing",
                  f"{column} {value!r} is not one of {shown}", required)
        )  # fmt: skip
        if required:
            usable[row] = False
    return np.maximum(codes, 0).astype(np.int8)
