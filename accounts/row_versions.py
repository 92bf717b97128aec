"""Which versions of rows a set of them holds, as one short text: while it stays the same, nothing in it has changed.

PostgreSQL never changes a row in place: whatever writes it, a service, a migration or a person with a console, leaves a
new version in another place (`ctid`) or of another transaction (`xmin`), and what a row holds never changes under the
two. So their hash of 64 bits, summed by the database over the rows of a set, tells one content of the set from every
other, with nothing to be counted by whoever writes. SQLite keeps no versions of rows.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from hashlib import blake2b
from typing import Any

from django.db import connection, models, transaction
from django.db.models import Count, F, Func, Sum

#: A set of rows, with a column of each table whose rows are to be looked at beside them, such as "unit__site__code".
Rows = tuple[models.QuerySet[Any], Sequence[str]]


class _Version(Func):
    """A number for the versions of the rows that columns lie in; rows that are not there count as such."""

    output_field = models.BigIntegerField()

    def as_postgresql(self, compiler: Any, connection: Any, **extra: Any) -> tuple[str, list[Any]]:
        """Say it with the system columns of the columns' tables."""
        tables = [compiler.quote_name_unless_alias(column.alias) for column in self.get_source_expressions()]
        columns = ", ".join(f"{table}.xmin, {table}.ctid" for table in tables)
        return f"hash_record_extended(ROW({columns}), 0)", []


def versions_of(rows: Mapping[str, Rows]) -> str | None:
    """A text that is another one when a row of these sets was added, changed or taken away; None on SQLite."""
    if connection.vendor != "postgresql":
        return None
    digest = blake2b(digest_size=20)
    for name, (queryset, beside) in sorted(rows.items()):
        own = queryset.model._meta.pk.attname
        version = _Version(F(own), *map(F, beside))
        found = queryset.order_by().aggregate(rows=Count("pk"), versions=Sum(version))
        digest.update(f"{name}: {found['rows']} {found['versions']}\n".encode())
    return digest.hexdigest()


@contextmanager
def one_moment() -> Iterator[bool]:
    """Have all that is read inside be of one moment, whoever writes meanwhile; yields whether that is so.

    Inside a transaction it cannot be had, nor on SQLite.
    """
    if connection.vendor != "postgresql" or connection.in_atomic_block:
        yield False
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield True
