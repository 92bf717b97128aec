"""Whether this server can answer: its database, its tables and its queue."""

from collections.abc import Callable, Mapping
from typing import Final

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from kombu import Connection
from kombu.exceptions import OperationalError

OK: Final = "ok"


def readiness() -> Mapping[str, str]:
    """State of each part the server stands on: 'ok', or what is wrong in a few words without an address or a secret."""
    return {name: check() for name, check in _CHECKS.items()}


def _database() -> str:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return "cannot be reached"
    return OK


def _tables() -> str:
    try:
        executor = MigrationExecutor(connection)
        missing = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    except DatabaseError:
        return "cannot be read"
    return f"{missing} migrations are missing: run manage.py migrate" if missing else OK


def _queue() -> str:
    if not settings.REDIS_URL:
        return OK
    try:
        with Connection(settings.CELERY_BROKER_URL, connect_timeout=2) as queue:
            queue.ensure_connection(max_retries=1, timeout=2)
    except (OperationalError, OSError):
        return "cannot be reached: what is asked for waits"
    return OK


_CHECKS: Final[Mapping[str, Callable[[], str]]] = {"database": _database, "tables": _tables, "queue": _queue}
