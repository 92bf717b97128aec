"""The backend that `ENGINE = "fleet.config.sqlite"` names.

SQLite has no row locks: a transaction holds the whole file. Django's own backend therefore drops `select_for_update`
without a word, outside a transaction too, where PostgreSQL refuses it: a service that forgot its transaction works on a
developer's machine and answers 500 in operation. Here the ORM believes that there are row locks and checks as it does
for PostgreSQL; only the SQL says nothing of them.
"""

from collections.abc import Sequence
from typing import Any

from django.db.backends.sqlite3 import base, features, operations


class DatabaseFeatures(features.DatabaseFeatures):
    """Those of SQLite, and row locks, in every form that PostgreSQL knows."""

    has_select_for_update = True
    has_select_for_update_nowait = True
    has_select_for_update_skip_locked = True
    has_select_for_update_of = True
    has_select_for_no_key_update = True


class DatabaseOperations(operations.DatabaseOperations):
    """Those of SQLite; what locks rows is checked like elsewhere and then left out."""

    def for_update_sql(
        self, nowait: bool = False, skip_locked: bool = False, of: Sequence[Any] = (), no_key: bool = False
    ) -> str:
        """Nothing: the transaction that was asked for holds the whole file."""
        super().for_update_sql(nowait=nowait, skip_locked=skip_locked, of=of, no_key=no_key)
        return ""


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection to SQLite."""

    features_class = DatabaseFeatures
    ops_class = DatabaseOperations
