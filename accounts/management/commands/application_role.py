"""Make the role of PostgreSQL as which the server runs behind the second wall, or renew its grants."""

import getpass
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection, transaction
from psycopg import sql

from accounts.wall_policies import grants_to


class Command(BaseCommand):
    """`manage.py application_role water_app`, connected as the owner of the tables.

    A new role's password is asked for at a terminal, or read as the first line that is piped in. The server then runs
    with that role in `DATABASE_URL`; `manage.py migrate` goes on with the owner's. Run again, it changes nothing.
    """

    help = (
        "Makes a role of PostgreSQL that owns no table, so that row security keeps companies apart, and grants it the "
        "rows of all tables, later ones too. Run it as the owner of the tables; the server then runs as that role."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("role", help="name of the role")

    def handle(self, *args: Any, **options: Any) -> None:
        role: str = options["role"]
        if connection.vendor != "postgresql":
            raise CommandError("Only PostgreSQL has a second wall; DATABASE_URL names another database.")
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute(
                    "SELECT pg_get_userbyid(relowner) FROM pg_class WHERE oid = to_regclass('accounts_company')"
                )
                owner = cursor.fetchone()
                if owner is None:
                    raise CommandError("The database has no tables yet; run 'manage.py migrate' first.")
                cursor.execute("SELECT current_user, current_database(), current_schema()")
                user, database, schema = cursor.fetchone()
                if role in (owner[0], user):
                    raise CommandError(
                        f"{role} owns the tables, and no policy holds back their owner: name another role."
                    )
                is_new = self._make(cursor, role)
                for grant in grants_to(role, database=database, schema=schema):
                    cursor.execute(grant)
        except DatabaseError as error:
            raise CommandError(
                f"{str(error).strip()} - connect as the owner of the tables, who may make roles (CREATEROLE)."
            ) from None
        self.stdout.write(f"{'Made' if is_new else 'Renewed the grants of'} {role}.")
        self.stdout.write(
            f"Next: let the server, its workers and commands run with {role} in DATABASE_URL, and 'manage.py migrate' "
            f"alone as {owner[0]}."
        )

    def _make(self, cursor: Any, role: str) -> bool:
        """Make the role where there is none; refuse one that no policy holds back."""
        cursor.execute("SELECT rolsuper OR rolbypassrls FROM pg_roles WHERE rolname = %s", [role])
        known = cursor.fetchone()
        if known is not None and known[0]:
            raise CommandError(
                f"{role} is a superuser or has BYPASSRLS, so no policy holds it back: name another role, or a new one."
            )
        if known is None:
            names = {"role": sql.Identifier(role), "password": sql.Literal(self._password(role))}
            cursor.execute(sql.SQL("CREATE ROLE {role} LOGIN PASSWORD {password}").format(**names))
        return known is None

    @staticmethod
    def _password(role: str) -> str:
        text = getpass.getpass(f"Password of {role}: ") if sys.stdin.isatty() else sys.stdin.readline().strip()
        if not text:
            raise CommandError(f"{role} is new and needs a password: type it, or pipe it in as one line.")
        return text
