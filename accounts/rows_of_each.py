"""What a query finds for each of many keys, by one look into an index for each; on PostgreSQL."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.db import connection
from django.db.models import QuerySet
from django.db.models.expressions import RawSQL


def asked(name: str) -> RawSQL:
    """A column of what is asked, for the filters of the query."""
    return RawSQL(f"asked.{name}", ())


def rows_of_each(rows: QuerySet[Any, Any], keys: Mapping[str, tuple[str, Sequence[Any]]]) -> list[tuple[Any, ...]]:
    """The rows of a query for each of many keys, one key after the other.

    Parameters
    ----------
    rows
        With `values_list`; it may be ordered and cut, and its filters name columns of the keys by `asked`.
    keys
        Name of a column -> its type in the database, and its values, one for each key.
    """
    statement, parameters = rows.query.sql_with_params()
    arrays = ", ".join(f"%s::{kind}[]" for kind, _ in keys.values())
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT found.* FROM unnest({arrays}) AS asked ({', '.join(keys)}) "
            f"CROSS JOIN LATERAL ({statement}) AS found",
            [*(list(values) for _, values in keys.values()), *parameters],
        )
        found: list[tuple[Any, ...]] = cursor.fetchall()
    return found
