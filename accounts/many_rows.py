"""Many rows of a table changed at once, each to values of its own."""

from collections.abc import Sequence
from typing import Any

from django.db import connection, models, transaction


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
