"""Many rows of a table written at once: new ones, and changes of each to values of its own."""

from collections.abc import Sequence
from typing import Any, Final

from django.db import connection, models, transaction

#: Fewer rows than these are sent in one statement sooner than a table is made for them.
_FEW: Final = 50


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
    if connection.vendor != "postgresql" or len(rows) < _FEW:
        type(rows[0])._base_manager.bulk_create(rows)
        return
    with transaction.atomic():
        _copy(rows)


def _copy(rows: Sequence[models.Model]) -> None:
    options = rows[0]._meta
    fields: list[Any] = list(options.concrete_fields)
    quote = connection.ops.quote_name
    key: Any = options.pk
    table, passing = quote(options.db_table), quote(f"passing_{options.db_table}")
    columns = ", ".join(quote(field.column) for field in fields)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT nextval(pg_get_serial_sequence(%s, %s)) FROM generate_series(1, %s)",
            [table, key.column, len(rows)],
        )
        for row, (number,) in zip(rows, cursor.fetchall(), strict=True):
            row.pk = number
        # Without the rows, nothing is asked of the table but its columns.
        cursor.execute(f"CREATE TEMPORARY TABLE {passing} ON COMMIT DROP AS SELECT {columns} FROM {table} WITH NO DATA")
        with cursor.copy(f"COPY {passing} ({columns}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row([field.get_db_prep_save(field.pre_save(row, True), connection) for field in fields])
        cursor.execute(f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {passing} ORDER BY {quote(key.column)}")
        cursor.execute(f"DROP TABLE {passing}")
    for row in rows:
        row._state.adding, row._state.db = False, connection.alias


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
