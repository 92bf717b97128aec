"""The backend that `ENGINE = "fleet.config.postgresql"` names.

Where policies of row security hold for who is connected (`accounts.wall`), a connection is told the company before its
next statement whenever it is another than the last it was told. So nothing depends on who used a persistent connection
before. A rollback takes back what was told in its transaction; after one, the connection is told anew.

What was told stays with the session of the server. A pool that gives every transaction another session (transaction
pooling) would mix companies up: behind the wall, pool by session.
"""

import select
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, Final

import psycopg
from django.db.backends.postgresql import base
from psycopg import ClientCursor
from psycopg.pq import TransactionStatus
from psycopg.types.datetime import TimestamptzLoader

from accounts import wall

_TELL: Final = f"SELECT set_config('{wall.SETTING}', %s, false)"
# Statements that may stand behind another in one message, as those that make tables may not.
_TAKES_COMPANY: Final = ("SELECT ", "INSERT ", "UPDATE ", "DELETE ")
# No table yet, no policies yet: NULL. The company is the root of all that is walled.
_IS_BEHIND: Final = "SELECT row_security_active(to_regclass('accounts_company')::oid)"


def _quoted(company: str) -> str:
    """A company's id, `ALL` or `NOBODY` as a literal; nothing else is ever told."""
    if not (company.isdecimal() or company in (wall.ALL, wall.NOBODY)):
        raise ValueError(f"{company!r} is no company")
    return f"'{company}'"


class _MomentLoader(TimestamptzLoader):
    """Reads moments of a connection whose time zone is UTC; the framework's own way takes five times as long."""

    # the framework asks its loaders for it, and takes another where that is not the connection's
    timezone = UTC

    def load(self, data: Any) -> datetime:
        """The moment, in UTC."""
        try:
            return datetime.fromisoformat(bytes(data).decode())
        except ValueError:
            # what the calendar of Python does not hold is refused as before
            return super().load(data).replace(tzinfo=UTC)


class DatabaseWrapper(base.DatabaseWrapper):
    """A connection to PostgreSQL."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.is_behind_wall = False
        self._in_sight: str | None = None
        self.execute_wrappers.append(self._tell_first)

    def init_connection_state(self) -> None:
        """Find out, once for a connection, whether policies hold for who is connected."""
        super().init_connection_state()
        self._in_sight = None
        with self.connection.cursor() as cursor:
            row = cursor.execute(_IS_BEHIND).fetchone()
        self.is_behind_wall = bool(row and row[0])
        if self.timezone is UTC:
            self.connection.adapters.register_loader("timestamptz", _MomentLoader)

    def is_usable(self) -> bool:
        """Whether the server is still there. It is asked only where it has said something unasked, as it does when it
        ends a session or goes: a question costs every request a statement.

        Of a server that nobody can reach any more, neither this nor a question would tell before its time is out.
        """
        try:
            has_spoken, _, _ = select.select([self.connection], [], [], 0)
        except (OSError, ValueError, psycopg.Error):
            return bool(super().is_usable())
        return bool(super().is_usable()) if has_spoken else not self.connection.closed

    def _tell_first(
        self, execute: Callable[..., Any], statement: str, params: Any, many: bool, context: dict[str, Any]
    ) -> Any:
        if self.is_behind_wall and self._in_sight != wall.in_sight():
            if not many and isinstance(statement, str) and statement.startswith(_TAKES_COMPANY):
                return self._tell_with(wall.in_sight(), execute, statement, params, context)
            self._tell(wall.in_sight())
        return execute(statement, params, many, context)

    def _tell_with(
        self, company: str, execute: Callable[..., Any], statement: str, params: Any, context: dict[str, Any]
    ) -> Any:
        """Tell the connection the company in the same message as its next statement: every request begins with two."""
        cursor = context["cursor"].cursor
        if not isinstance(cursor, ClientCursor) or self._is_in_error():
            self._tell(company)
            return execute(statement, params, False, context)
        # what is told is taken back with a statement that fails
        self._in_sight = None
        done = execute(f"{_TELL % _quoted(company)}; {statement}", params, False, context)
        cursor.nextset()
        self._in_sight = company
        return done

    def _is_in_error(self) -> bool:
        return bool(self.connection.info.transaction_status == TransactionStatus.INERROR)

    def _tell(self, company: str) -> None:
        # A transaction that failed takes nothing but its rollback.
        if not self._is_in_error():
            # What fails here is answered as what fails in any statement: a server that went away is not asked again.
            with self.wrap_database_errors, self.connection.cursor() as cursor:
                cursor.execute(_TELL, [company])
            self._in_sight = company

    def _rollback(self) -> None:
        self._in_sight = None
        super()._rollback()  # type: ignore[misc]

    def _savepoint_rollback(self, sid: str) -> None:
        super()._savepoint_rollback(sid)  # type: ignore[misc]
        self._in_sight = None
