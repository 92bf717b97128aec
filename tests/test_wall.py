"""The second wall between companies: what the product's role of PostgreSQL reads and writes, with raw SQL."""

import ast
import io
import json
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import DatabaseError, InterfaceError, OperationalError, connection, transaction
from django.http import HttpRequest, HttpResponse

from accounts import wall
from accounts.models import Client, Company, Membership
from accounts.wall_policies import WallOff
from tests import factories
from tests.accounts.test_second_factor import set_up
from tests.rows import make_row
from tests.walled import TENANT_MODELS, as_application, wall_operations

ROOT = Path(__file__).parents[1]
on_postgresql = pytest.mark.skipif("connection.vendor != 'postgresql'", reason="the wall is PostgreSQL's")

# SQLSTATE insufficient_privilege, https://www.postgresql.org/docs/current/errcodes-appendix.html (from memory).
REFUSED = "42501"


# --- what stands in the code ------------------------------------------------------------------------------------------


def test_every_tenant_table_is_walled_by_a_migration_as_its_rows_belong_to_a_company() -> None:
    built = {
        (label, operation.model_name): operation.through
        for label, operation in wall_operations()
        if isinstance(operation, WallOff)
    }
    first_steps = {
        (model._meta.app_label, str(model._meta.model_name)): model.TENANT_PATH.split("__")[0]
        .replace("company_id", "company")
        .replace("pk", "id")
        for model in TENANT_MODELS
    }
    assert built == first_steps, "a new tenant table gets its WallOff in the migration that makes it"


#: Who sees all companies, and why. Whoever is added here is a way past the wall.
THROUGH_THE_DOOR = {
    # somebody comes in, and it is not known yet who, or for which company
    "accounts/http/authentication.py authenticate_credentials": "a token names its company",
    "accounts/http/browser.py membership_in_session": "a session names its membership",
    "accounts/services/sessions.py note_use": "a session key, before anybody asked whose it is",
    "accounts/services/sessions.py forget_session": "a session key, when it is too late to ask",
    "accounts/services/signing_in.py _chosen": "which memberships a person has",
    "accounts/services/links.py client_membership_of": "which memberships a person has, and that all are a client's",
    "accounts/services/sign_in_links.py sign_in_by_link": "a link names a person",
    "accounts/services/invitations.py read_invitation": "a link names an invitation",
    "accounts/services/invitations.py accept_invitation": "by a link; ends the person's other ways in",
    "scheduling/services/people/answer_links.py read_answer_token": "a link names a visit",
    "scheduling/services/rounds/calendar_feeds.py served_calendar": "a secret address names a calendar",
    # what a person does with their own access counts in all their companies
    "accounts/api/me.py describe": "all memberships of one's own",
    "accounts/pages/signing_in.py come_in": "whether there is another membership to choose",
    "accounts/services/sessions.py act_for": "another membership of one's own is chosen",
    "accounts/services/sessions.py end_access": "every way in of one person ends",
    "accounts/services/passwords.py reset_password": "told in the trail of each company",
    "accounts/services/addresses.py take_new_address": "told in the trail of each company",
    "accounts/services/audit.py record_refused_sign_in": "told in the trail of each company",
    "accounts/services/second_factor.py remove": "no company of theirs may want codes",
    "accounts/services/second_factor.py _is_elsewhere": "no owner speaks for another company",
    "scheduling/services/erasure.py _delete_people": "an account is deleted only where it is used nowhere else",
    # the clock of the server, and what it finds to do
    "accounts/jobs/claims.py _company_of": "a task names a job",
    "accounts/jobs/claims.py seconds_until_free": "a task names a job",
    "accounts/jobs/claims.py resume_stalled": "what dead workers left, of all",
    "accounts/services/letters.py send_letters": "letters about getting in, of all",
    "accounts/services/sessions.py forget_ended_sessions": "tidied, of all",
    "accounts/services/tidying.py tidy": "tidied, of all",
    "scheduling/tasks.py nightly": "whose night begins",
    "scheduling/tasks.py digests": "whose morning it is",
    "scheduling/services/post.py send_post": "whose morning it is",
    "scheduling/services/people/messages.py remind": "which visits are near; each is told inside its company",
    "scheduling/services/people/messages.py send_messages": "what waits; each is sent inside its company",
    # who administers the server
    "accounts/services/members.py create_company": "a company that is founded has no number yet",
    "accounts/services/first_owner.py first_owner": "which company a command is about",
    "accounts/management/commands/found_company.py _is_known": "whether a name is in use",
    "scheduling/management/commands/nightly.py _companies": "which companies a command is about",
    "scheduling/management/commands/judge_forecasts.py _companies": "which companies a command is about",
    "fleet/management/commands/locate_sites.py handle": "which companies there are",
    "scheduling/management/commands/clean_pictures.py handle": "which companies there are",
    "scheduling/management/health.py troubles": "what is stuck, of all",
    "accounts/observing/installation.py measured": "what waits, of all",
    "accounts/webhooks/sending.py send_deliveries": "events out, of all",
    "accounts/webhooks/sending.py send_delivery": "a task names an event",
    "accounts/webhooks/sending.py forget_deliveries": "tidied, of all",
    "accounts/services/second_factor.py forget_codes": "told in the trail of each company",
    # invented companies
    "scheduling/management/commands/demo.py _run": "the demo's company is founded",
    "scheduling/demo/bare.py walk_bare": "the demo's company is founded",
    "scheduling/demo/logins.py settle_logins": "whether a person has a place elsewhere",
    "scheduling/demo/remember.py find": "which company is the demo's",
    "scheduling/demo/remove.py remove_company": "an account is deleted only where it is used nowhere else",
}


def test_the_door_to_all_companies_is_used_where_it_is_listed_and_nowhere_else() -> None:
    using = set()
    for room in ("accounts", "fleet", "scheduling"):
        for path in sorted((ROOT / room).rglob("*.py")):
            if path.name == "wall.py" or "over_all_companies" not in (text := path.read_text()):
                continue
            where = path.relative_to(ROOT).as_posix()
            for function in ast.walk(ast.parse(text)):
                if isinstance(function, ast.FunctionDef) and "over_all_companies()" in ast.unparse(function):
                    using.add(f"{where} {function.name}")
    assert using == set(THROUGH_THE_DOOR)


def test_blocks_lie_in_one_another_and_a_request_begins_and_ends_with_nobody() -> None:
    seen = []

    def answer(request: HttpRequest) -> HttpResponse:
        seen.append(wall.in_sight())
        wall.enter_company(7)
        seen.append(wall.in_sight())
        with wall.over_all_companies():
            seen.append(wall.in_sight())
            with wall.inside_company(8):
                seen.append(wall.in_sight())
        seen.append(wall.in_sight())
        raise ValueError

    with wall.inside_company(3):
        with pytest.raises(ValueError):
            wall.WallMiddleware(answer)(HttpRequest())
        seen.append(wall.in_sight())
    assert seen == ["", "7", "all", "8", "7", "3"]
    assert wall.in_sight() == ""
    with pytest.raises(ValueError):
        wall.enter_company("all")  # type: ignore[arg-type]


# --- what stands in the database --------------------------------------------------------------------------------------


def refusal(statement: str, *parameters: Any) -> str:
    """The code of the refusal of a statement that would write; '' where it is carried out, which is taken back."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(statement, parameters)
            transaction.set_rollback(True)
    except DatabaseError as error:
        return str(getattr(error.__cause__, "sqlstate", ""))
    return ""


def numbers(statement: str, *parameters: Any) -> list[int]:
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        return [row[0] for row in cursor.fetchall()]


@on_postgresql
def test_raw_sql_of_the_products_role_meets_nothing_of_another_company(
    company: Company, first_client: Client, rival: Membership
) -> None:
    theirs_client = factories.ClientFactory(company=rival.company)
    ours, theirs, copies = {}, {}, {}
    for model in TENANT_MODELS:
        ours[model] = make_row(model, company=company, client=first_client).pk
        theirs[model] = make_row(model, company=rival.company, client=theirs_client).pk
        copies[model] = copy_of(model, theirs[model])
    all_of_ours = {model: set(of_company(model, company)) for model in TENANT_MODELS}
    with as_application(), wall.inside_company(company.pk):
        for model in TENANT_MODELS:
            table, key, through = f'"{model._meta.db_table}"', model._meta.pk.column, column_of(model)
            assert set(numbers(f"SELECT {key} FROM {table}")) == all_of_ours[model], table
            assert numbers(f"SELECT {key} FROM {table} WHERE {key} = %s", theirs[model]) == [], table
            changed = f"UPDATE {table} SET {key} = {key} WHERE {key} = %s RETURNING {key}"
            assert numbers(changed, theirs[model]) == [], table
            assert numbers(f"DELETE FROM {table} WHERE {key} = %s RETURNING {key}", theirs[model]) == [], table
            copied = f"INSERT INTO {table} SELECT * FROM jsonb_populate_record(NULL::{table}, %s)"
            assert refusal(copied, json.dumps(copies[model])) == REFUSED, table
            moved = f"UPDATE {table} SET {through} = %s WHERE {key} = %s"
            assert refusal(moved, copies[model][through], ours[model]) == REFUSED, table
        for statement in ("TRUNCATE accounts_client CASCADE", "ALTER TABLE fleet_unit DISABLE ROW LEVEL SECURITY"):
            assert refusal(statement) == REFUSED, statement
        with wall.over_all_companies():
            for model in TENANT_MODELS:
                rows = numbers(f'SELECT {model._meta.pk.column} FROM "{model._meta.db_table}"')
                assert {ours[model], theirs[model]} <= set(rows), model
    with as_application():
        for model in TENANT_MODELS:
            assert refusal(f'SELECT * FROM "{model._meta.db_table}"') == REFUSED, "told no company, it shows nothing"


@on_postgresql
def test_whoever_owns_the_tables_is_told_nothing_and_sees_all(company: Company, rival: Membership) -> None:
    with wall.inside_company(company.pk):
        assert set(numbers("SELECT id FROM accounts_company")) == {company.pk, rival.company_id}
        assert connection.is_behind_wall is False  # type: ignore[attr-defined]


@on_postgresql
def test_a_connection_follows_what_the_code_works_for_over_rollbacks_and_failures(
    company: Company, rival: Membership
) -> None:
    shown = "SELECT id FROM accounts_company"
    with as_application():
        with wall.inside_company(company.pk):
            assert numbers(shown) == [company.pk]
            with transaction.atomic(), wall.inside_company(rival.company_id):
                assert numbers(shown) == [rival.company_id]
                transaction.set_rollback(True)  # the server forgets what it was told in here
            assert numbers(shown) == [company.pk]
            with transaction.atomic(), wall.inside_company(rival.company_id):
                factories.ClientFactory(company=rival.company)
                with pytest.raises(DatabaseError):
                    Client.objects.create(company=company, name="not of this company")
                transaction.set_rollback(True)  # it failed, and takes nothing but this
            assert numbers(shown) == [company.pk]
        with pytest.raises(DatabaseError, match="told no company"), transaction.atomic():
            numbers(shown)


@on_postgresql
@pytest.mark.django_db(transaction=True)
def test_commands_work_behind_the_wall(rival: Membership, tmp_path: Path) -> None:
    factories.UnitFactory(company=rival.company)
    set_up(rival)
    with as_application():
        for command, *arguments in (
            ("found_company", "North Water", "olga@north.example", "--time-zone", "Europe/Berlin"),
            ("add_member", "jens@north.example", "--company", "North Water"),
            ("password_link", "jens@north.example"),
            ("forget_codes", rival.user.email),
            ("take_out", str(tmp_path / "out"), "--company", rival.company.name),
            ("bring_in", str(tmp_path / "out"), "--company", rival.company.name),
            ("locate_sites",),
            ("clean_pictures",),
            ("nightly",),
            ("send_messages",),
            ("tidy",),
        ):
            call_command(command, *arguments, stdout=io.StringIO(), stderr=io.StringIO())
    assert wall.in_sight() == ""
    assert Membership.objects.filter(company__name="North Water").count() == 2


@on_postgresql
@pytest.mark.django_db(transaction=True)
def test_a_server_that_went_away_is_told_of_as_such_and_asked_anew(company: Company) -> None:
    shown = "SELECT id FROM accounts_company"
    with as_application(), wall.inside_company(company.pk):
        assert numbers(shown) == [company.pk]
        administrator = connection.copy()
        with administrator.cursor() as cursor:
            cursor.execute("SELECT pg_terminate_backend(%s)", [connection.connection.info.backend_pid])
        administrator.close()
        with wall.over_all_companies(), pytest.raises((OperationalError, InterfaceError)):
            numbers(shown)
        connection.close_if_unusable_or_obsolete()
        assert numbers(shown) == [company.pk]


def column_of(model: Any) -> str:
    """The column by which a table is walled."""
    step = model.TENANT_PATH.split("__")[0]
    return "id" if step == "pk" else str(model._meta.get_field(step.removesuffix("_id")).column)


def of_company(model: Any, company: Company) -> list[int]:
    return list(model.objects.of_company(company).values_list("pk", flat=True))


def copy_of(model: Any, key: int) -> dict[str, Any]:
    """A row as it is, under a number that is free where the table is not walled by that number itself."""
    with connection.cursor() as cursor:
        cursor.execute(f'SELECT to_jsonb(t) FROM "{model._meta.db_table}" t WHERE {model._meta.pk.column} = %s', [key])
        (row,) = cursor.fetchone()
    read = json.loads(row) if isinstance(row, str) else row
    return read if column_of(model) == model._meta.pk.column else {**read, model._meta.pk.column: 900_000_000}
