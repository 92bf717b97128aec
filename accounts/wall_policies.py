"""The wall in the database: what migrations say of tenant tables, and what the application's role may do.

A table is walled by the first step of its `TENANT_PATH`. One with a column of the company compares it; one that hangs
on another tenant table shows what hangs on a row in sight there, as that table's own policy decides. The functions
stand in sub-selects, so that they are asked once for a statement and not once for a row.
"""

from typing import Any, Final

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState
from psycopg import sql

from accounts.wall import ALL, SETTING

POLICY: Final = "wall"

_FUNCTIONS: Final = f"""
CREATE OR REPLACE FUNCTION wall_company() RETURNS bigint LANGUAGE plpgsql STABLE PARALLEL SAFE AS $$
DECLARE
    told text := current_setting('{SETTING}', true);
BEGIN
    IF coalesce(told, '') = '' THEN
        RAISE EXCEPTION 'This connection was told no company, so it shows the rows of none.'
            USING ERRCODE = 'insufficient_privilege', HINT = 'See accounts/wall.py.';
    END IF;
    RETURN nullif(told, '{ALL}')::bigint;
END
$$;
CREATE OR REPLACE FUNCTION wall_is_open() RETURNS boolean LANGUAGE sql STABLE PARALLEL SAFE AS $$
    SELECT coalesce(current_setting('{SETTING}', true), '') = '{ALL}'
$$;
"""


class _OnPostgreSQL(Operation):
    """An operation that changes no model, and nothing at all elsewhere."""

    reversible = True

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Models stay what they are."""

    def database_forwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        """Build it."""
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(self.built(app_label, to_state), params=None)

    def database_backwards(
        self, app_label: str, schema_editor: BaseDatabaseSchemaEditor, from_state: ProjectState, to_state: ProjectState
    ) -> None:
        """Take it down."""
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(self.taken_down(app_label, from_state), params=None)

    def built(self, app_label: str, state: ProjectState) -> str:
        """The SQL that builds it."""
        raise NotImplementedError

    def taken_down(self, app_label: str, state: ProjectState) -> str:
        """The SQL that takes it down."""
        raise NotImplementedError


class WallFunctions(_OnPostgreSQL):
    """The functions that say which company a connection was told."""

    def built(self, app_label: str, state: ProjectState) -> str:
        return _FUNCTIONS

    def taken_down(self, app_label: str, state: ProjectState) -> str:
        return "DROP FUNCTION wall_company(); DROP FUNCTION wall_is_open();"

    def describe(self) -> str:
        return "Which company a connection was told"


class WallOff(_OnPostgreSQL):
    """Show a role that does not own the table of a model only the rows of its connection's company.

    `through` is the field by which a row belongs to a company: the first step of the model's `TENANT_PATH`; of a
    company itself, its own key.
    """

    def __init__(self, model_name: str, through: str = "company") -> None:
        self.model_name = model_name
        self.through = through

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        return (type(self).__name__, [self.model_name, self.through], {})

    def built(self, app_label: str, state: ProjectState) -> str:
        meta = state.apps.get_model(app_label, self.model_name)._meta
        table, field = meta.db_table, meta.get_field(self.through)
        parent = getattr(field, "related_model", None)
        column = f'"{table}"."{field.column}"'  # type: ignore[union-attr]
        if parent is None or parent._meta.label_lower == "accounts.company":
            seen = f"{column} = (SELECT wall_company()) OR (SELECT wall_is_open())"
        else:
            above = parent._meta
            key = f'"{above.db_table}"."{above.pk.column}"'
            seen = f'(SELECT wall_is_open()) OR EXISTS (SELECT 1 FROM "{above.db_table}" WHERE {key} = {column})'
        return (
            f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY;'
            f'CREATE POLICY {POLICY} ON "{table}" USING ({seen}) WITH CHECK ({seen});'
        )

    def taken_down(self, app_label: str, state: ProjectState) -> str:
        table = state.apps.get_model(app_label, self.model_name)._meta.db_table
        return f'DROP POLICY {POLICY} ON "{table}"; ALTER TABLE "{table}" DISABLE ROW LEVEL SECURITY;'

    def describe(self) -> str:
        return f"Show of {self.model_name} only the rows of one company"


def grants_to(role: str, *, database: str, schema: str) -> list[sql.Composed]:
    """What the application's role is given: rows of all tables, also of those that later migrations make.

    Not TRUNCATE, which no policy holds back, nor anything that changes a table. Whoever owns the tables runs these.
    """
    names = {"role": sql.Identifier(role), "database": sql.Identifier(database), "schema": sql.Identifier(schema)}
    statements = (
        "GRANT CONNECT ON DATABASE {database} TO {role}",
        "GRANT USAGE ON SCHEMA {schema} TO {role}",
        "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA {schema} TO {role}",
        "GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA {schema} TO {role}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA {schema} GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {role}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA {schema} GRANT USAGE, SELECT ON SEQUENCES TO {role}",
    )
    return [sql.SQL(statement).format(**names) for statement in statements]
