"""The database as the product's role sees it: rows as owner, statements as the role that owns no table."""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.migrations.state import ProjectState
from psycopg import sql
from psycopg.pq import TransactionStatus

from accounts.tenancy import TenantModel
from accounts.wall_policies import WallFunctions, WallOff, grants_to
from tests.servers import APPLICATION_ROLE

TENANT_MODELS = [model for model in apps.get_models() if issubclass(model, TenantModel)]


def wall_operations() -> list[tuple[str, WallFunctions | WallOff]]:
    """What the migrations of all rooms build of the wall, each with the label of its room.

    Read from the files, as a run without migrations knows of none.
    """
    found: list[tuple[str, WallFunctions | WallOff]] = []
    for room in apps.get_app_configs():
        package = f"{room.name}.migrations"
        if room.name.split(".")[0] not in ("accounts", "fleet", "scheduling"):
            continue
        for module in sorted(one.name for one in iter_modules(import_module(package).__path__)):
            operations = import_module(f"{package}.{module}").Migration.operations
            found += [(room.label, one) for one in operations if isinstance(one, WallFunctions | WallOff)]
    return found


def build_wall() -> None:
    """Build the wall where a run without migrations has not, and make the role."""
    role = sql.Identifier(APPLICATION_ROLE)
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_policies")
        if cursor.fetchone() is None:
            state = ProjectState.from_apps(apps)
            for label, operation in wall_operations():
                cursor.execute(operation.built(label, state))
        # Roles are the server's: the other process of this run may be making it at this very moment.
        cursor.execute(
            sql.SQL(
                "DO $$ BEGIN CREATE ROLE {} LOGIN;"
                " EXCEPTION WHEN duplicate_object OR unique_violation THEN NULL; END $$"
            ).format(role)
        )
        cursor.execute("SELECT current_database(), current_schema()")
        database, schema = cursor.fetchone()
        for grant in grants_to(APPLICATION_ROLE, database=database, schema=schema):
            cursor.execute(grant)


@contextmanager
def as_application() -> Iterator[None]:
    """Be the product's role in a block, as if connected as it; nothing of that is counted as a query."""
    wrapper: Any = connection
    if wrapper.connection is None:  # this test uses no database
        yield
        return
    wrapper.connection.execute(sql.SQL("SET ROLE {}").format(sql.Identifier(APPLICATION_ROLE)))
    wrapper.is_behind_wall = True
    try:
        yield
    finally:
        wrapper.is_behind_wall = False
        # A transaction that failed takes this back itself.
        if wrapper.connection is not None and wrapper.connection.info.transaction_status != TransactionStatus.INERROR:
            wrapper.connection.execute("RESET ROLE")
