"""Many rows of a table written at once: new ones, and changes of each to values of its own."""

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import date, datetime
from itertools import repeat
from typing import Any, Final

from django.db import connection, models, transaction

#: Fewer rows than these are sent in one statement sooner than a table is made for them.
_FEW: Final = 50


class JsonText(str):
    """Text that is JSON already."""

    __slots__ = ()


def insert_rows(rows: Sequence[models.Model]) -> None:
    """Store new rows of one model, and give each its key.

    PostgreSQL takes many of them by COPY, several times as fast as statements with values. Where row security holds,
    COPY may not write to a table itself, so the rows go by a table that only this connection sees, and from there into
    their own by a statement that policies, triggers and constraints judge as any other.

    Parameters
    ----------
    rows
        Unsaved, of one model that has a whole number as its key.

    Raises
    ------
    django.db.IntegrityError
        When a constraint refuses one of them; then none is stored.
    """
    if not rows:
        return
    if not _goes_by_copy(len(rows)):
        type(rows[0])._base_manager.bulk_create(rows)
        return
    fields: list[Any] = list(rows[0]._meta.concrete_fields)
    columns = {
        field.attname: [_prepared(field, field.pre_save(row, True)) for row in rows]
        for field in fields
        if not field.primary_key
    }
    for row, key in zip(rows, _copy(type(rows[0]), columns, len(rows)), strict=True):
        row.pk = key
        row._state.adding, row._state.db = False, connection.alias


def insert_columns(model: type[models.Model], columns: Mapping[str, Sequence[Any]]) -> list[int]:
    """Store new rows that are at hand column by column, as `insert_rows` does; their keys, which ascend.

    Parameters
    ----------
    model
        Has a whole number as its key.
    columns
        Attribute, such as `unit_id`, -> its values row by row, of the types that the attribute has in a row that was
        read; JSON may be `JsonText`. What is left out has its default.

    Raises
    ------
    django.db.IntegrityError
        When a constraint refuses one of them; then none is stored.
    """
    count = len(next(iter(columns.values()), ()))
    if _goes_by_copy(count):
        return _copy(model, columns, count)
    rows = [
        model(**{name: json.loads(value) if isinstance(value, JsonText) else value for name, value in named.items()})
        for named in (dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True))
    ]
    model._base_manager.bulk_create(rows)
    return [row.pk for row in rows]


def _goes_by_copy(count: int) -> bool:
    return connection.vendor == "postgresql" and count >= _FEW


def _prepared(field: Any, value: Any) -> Any:
    return value if isinstance(field, models.JSONField) else field.get_prep_value(value)


def _copy(model: type[models.Model], columns: Mapping[str, Sequence[Any]], count: int) -> list[int]:
    options = model._meta
    quote = connection.ops.quote_name
    key: Any = options.pk
    fields: list[Any] = [key, *(field for field in options.concrete_fields if field is not key)]
    table, passing = quote(options.db_table), quote(f"passing_{options.db_table}")
    names = ", ".join(quote(field.column) for field in fields)
    is_behind_wall = getattr(connection, "is_behind_wall", True)
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)", [table, key.column, count]
        )
        keys = sorted(number for (number,) in cursor.fetchall())
        texts = [_texts(field, columns.get(field.attname), count) for field in fields[1:]]
        lines = map("\t".join, zip(map(str, keys), *texts, strict=False))
        if is_behind_wall:
            # Without the rows, nothing is asked of the table but its columns.
            cursor.execute(
                f"CREATE TEMPORARY TABLE {passing} ON COMMIT DROP AS SELECT {names} FROM {table} WITH NO DATA"
            )
        statement = f"COPY {passing if is_behind_wall else table} ({names}) FROM STDIN"
        # What constraints refuse is told in Django's words, as of any statement.
        with connection.wrap_database_errors, cursor.copy(statement) as copy:
            copy.write("\n".join([*lines, ""]).encode())
        if is_behind_wall:
            cursor.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM {passing} ORDER BY {quote(key.column)}")
            cursor.execute(f"DROP TABLE {passing}")
    return keys


def _texts(field: Any, values: Sequence[Any] | None, count: int) -> Iterable[str]:
    """The values of a column as COPY reads them; what is the same in all rows is written once."""
    if values is None:
        values = [_prepared(field, field.get_default())]
    # By what they are and not by what they equal: 1 is True, and 0.0 is -0.0.
    is_one = len(set(map(id, values))) == 1
    shown = values[:1] if is_one else values
    if isinstance(field, models.JSONField):
        texts = ["\\N" if value is None else _escaped(_json(field, value)) for value in shown]
    else:
        texts = [_TEXT_OF.get(type(value), _text)(value) for value in shown]
    return repeat(texts[0], count) if is_one else texts


def _json(field: models.JSONField, value: Any) -> str:
    return value if isinstance(value, JsonText) else json.dumps(value, cls=field.encoder)


def _escaped(text: str) -> str:
    if "\\" in text:
        text = text.replace("\\", "\\\\")
    return text if text.isprintable() else text.replace("\t", "\\t").replace("\n", "\\n").replace("\r", "\\r")


def _text(value: Any) -> str:
    """A value of a kind that comes seldom, or of one derived from another."""
    for kind, text in _TEXT_OF.items():
        if isinstance(value, kind):
            return text(value)
    raise TypeError(f"{type(value).__name__} is not known to COPY here")


_TEXT_OF: Final[Mapping[type, Callable[[Any], str]]] = {
    type(None): lambda _: "\\N",
    bool: lambda value: "t" if value else "f",
    int: int.__repr__,
    float: float.__repr__,
    str: _escaped,
    datetime: datetime.isoformat,
    date: date.isoformat,
}
"""How COPY reads what a column can hold; a kind stands before those it is derived from."""


def update_rows(rows: Sequence[models.Model], names: Sequence[str]) -> None:
    """Write some fields of stored rows as they are in memory; a row that is gone meanwhile stays gone.

    One statement, sent for each row: for wide rows an order faster than one statement with a case for each row and
    field.

    Parameters
    ----------
    rows
        Of one model.
    names
        Of its own fields, without the key; a foreign key with or without `_id`.
    """
    if not rows:
        return
    options = rows[0]._meta
    fields: list[Any] = [options.get_field(name.removesuffix("_id")) for name in names]
    key: Any = options.pk
    quote = connection.ops.quote_name
    columns = ", ".join(f"{quote(field.column)} = %s" for field in fields)
    statement = f"UPDATE {quote(options.db_table)} SET {columns} WHERE {quote(key.column)} = %s"
    values = [
        [field.get_db_prep_save(getattr(row, field.attname), connection) for field in fields]
        + [key.get_db_prep_save(row.pk, connection)]
        for row in rows
    ]
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.executemany(statement, values)
