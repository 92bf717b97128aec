"""The wall in the database: what migrations say of tenant tables, and what the application's role may do.

A table is walled by the first step of its `TENANT_PATH`. One with a column of the company compares it. One that hangs
on another tenant table gets a column `wall_company` that no model knows: a trigger fills it from the row that it hangs
on, since to ask that table again for every row that is read costs more than the reading. The functions stand in
sub-selects, so that they are asked once for a statement and not once for a row.
"""

from typing import Any, Final

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState
from psycopg import sql

from accounts.wall import ALL, SETTING

POLICY: Final = "wall"
#: Of a row that hangs on another: whose it is.
COLUMN: Final = "wall_company"
_OF_COMPANY: Final = ("company", "id")

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
        table, column, above = self._places(app_label, state)
        made, filled = "", ""
        if above is not None:
            parent, key, of_parent = above
            made = (
                f'ALTER TABLE "{table}" ADD COLUMN {COLUMN} bigint;'
                # It looks as whoever writes: what hangs on another company's row is given none, and refused.
                f'CREATE FUNCTION "wall_of_{table}"() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN '
                f'SELECT above."{of_parent}" INTO NEW.{COLUMN} FROM "{parent}" above '
                f'WHERE above."{key}" = NEW."{column}"; RETURN NEW; END $$;'
                f'CREATE TRIGGER wall BEFORE INSERT OR UPDATE OF "{column}" ON "{table}" '
                f'FOR EACH ROW EXECUTE FUNCTION "wall_of_{table}"();'
            )
            filled = (
                f'UPDATE "{table}" SET {COLUMN} = above."{of_parent}" FROM "{parent}" above '
                f'WHERE above."{key}" = "{table}"."{column}";'
            )
            column = COLUMN
        seen = f'"{column}" = (SELECT wall_company()) OR (SELECT wall_is_open())'
        return (
            f"{made}"
            f'ALTER TABLE "{table}" ENABLE ROW LEVEL SECURITY;'
            f'CREATE POLICY {POLICY} ON "{table}" USING ({seen}) WITH CHECK ({seen});'
            # Last, as a table with changes under way is not altered.
            f"{filled}"
        )

    def taken_down(self, app_label: str, state: ProjectState) -> str:
        table, _, above = self._places(app_label, state)
        statements = f'DROP POLICY {POLICY} ON "{table}"; ALTER TABLE "{table}" DISABLE ROW LEVEL SECURITY;'
        if above is not None:
            statements += (
                f'DROP TRIGGER wall ON "{table}"; DROP FUNCTION "wall_of_{table}"();'
                f'ALTER TABLE "{table}" DROP COLUMN {COLUMN};'
            )
        return statements

    def _places(self, app_label: str, state: ProjectState) -> tuple[str, str, tuple[str, str, str] | None]:
        """The table, its column of `through` and, of what it hangs on, table, key and column of the company."""
        meta = state.apps.get_model(app_label, self.model_name)._meta
        field: Any = meta.get_field(self.through)
        if self.through in _OF_COMPANY:
            return meta.db_table, field.column, None
        above = field.related_model._meta
        of_parent = "company_id" if any(one.column == "company_id" for one in above.local_fields) else COLUMN
        return meta.db_table, field.column, (above.db_table, above.pk.column, of_parent)

    def describe(self) -> str:
        return f"Show of {self.model_name} only the rows of one company"


def grants_to(role: str, *, database: str, schema: str) -> list[sql.Composed]:
    """What the application's role is given: rows of all tables, also of those that later migrations make.

    And tables of its own for as long as a transaction lasts, by which many rows go in at once (`accounts.many_rows`).
    Not TRUNCATE, which no policy holds back, nor anything that changes a table. Whoever owns the tables runs these.
    """
    names = {"role": sql.Identifier(role), "database": sql.Identifier(database), "schema": sql.Identifier(schema)}
    statements = (
        "GRANT CONNECT, TEMPORARY ON DATABASE {database} TO {role}",
        "GRANT USAGE ON SCHEMA {schema} TO {role}",
        "GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA {schema} TO {role}",
        "GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA {schema} TO {role}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA {schema} GRANT SELECT, INSERT, UPDATE, DELETE ON TABLES TO {role}",
        "ALTER DEFAULT PRIVILEGES IN SCHEMA {schema} GRANT USAGE, SELECT ON SEQUENCES TO {role}",
    )
    return [sql.SQL(statement).format(**names) for statement in statements]
