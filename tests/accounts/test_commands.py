"""Commands of this room."""

import io
import re
from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client as Browser
from django.utils import timezone

from accounts.models import AccessToken, Company, Membership, StoredAnswer
from tests import factories

IN_PARIS = ["--time-zone", "Europe/Paris"]


def found_company(monkeypatch: pytest.MonkeyPatch, *arguments: str) -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO())
    out = io.StringIO()
    call_command("found_company", *arguments, stdout=out)
    return out.getvalue()


@pytest.mark.django_db
def test_a_company_is_founded_from_the_shell_and_its_owner_chooses_the_password(
    monkeypatch: pytest.MonkeyPatch, client: Browser
) -> None:
    output = found_company(
        monkeypatch, "East Water", "Eve@east.example", "--time-zone", "Europe/Paris", "--unit-system", "us"
    )
    assert output.startswith("Founded East Water; eve@east.example owns it.\n")
    assert "manage.py bring_in" in output, "what comes next"
    owner = Membership.objects.get()
    assert not owner.user.has_usable_password()
    (address,) = re.findall(r" at (/password/\S+/) ", output)
    assert client.post(address, {"password": factories.PASSWORD}).status_code == 200
    owner.user.refresh_from_db()
    assert owner.user.check_password(factories.PASSWORD)
    out = io.StringIO()
    call_command("password_link", "EVE@east.example", stdout=out)
    assert re.search(r" at /password/\S+/ ", out.getvalue())
    with pytest.raises(CommandError, match="no account"):
        call_command("password_link", "nobody@east.example")
    assert (owner.company.time_zone, owner.company.unit_system, owner.role) == ("Europe/Paris", "us", "owner")


@pytest.mark.django_db
def test_at_a_terminal_what_is_left_out_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    typed = iter(["East Water", "eve@east.example", "", "Paris", "Europe/Paris"])
    monkeypatch.setattr("sys.stdin", Terminal())
    monkeypatch.setattr("builtins.input", lambda prompt: next(typed))
    call_command("found_company", stdout=io.StringIO())
    assert (Company.objects.get().name, Company.objects.get().time_zone) == ("East Water", "Europe/Paris")


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["", "eve@east.example", *IN_PARIS], "blank"),
        (["East Water", "eve", *IN_PARIS], "email"),
        (["East Water", "eve@east.example"], "--time-zone"),
        (["East Water", "eve@east.example", "--time-zone", "Paris"], "IANA"),
        (["East Water", "eve@east.example", *IN_PARIS, "--currency", "euro"], "ISO 4217"),
    ],
)
@pytest.mark.django_db
def test_what_is_wrong_is_said_and_nothing_is_founded(
    monkeypatch: pytest.MonkeyPatch, arguments: list[str], sentence: str
) -> None:
    with pytest.raises(CommandError, match=sentence):
        found_company(monkeypatch, *arguments)
    assert not Company.objects.exists()


@pytest.mark.django_db
def test_a_second_company_of_a_name_is_refused_and_a_missing_address_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    found_company(monkeypatch, "East Water", "eve@east.example", *IN_PARIS)
    with pytest.raises(CommandError, match="There is a company 'EAST WATER' already"):
        found_company(monkeypatch, "EAST WATER", "ida@east.example", *IN_PARIS)
    with pytest.raises(CommandError, match="Give the email"):
        found_company(monkeypatch, "West Water", *IN_PARIS)
    # said once, and no word of whose account it is
    with pytest.raises(CommandError, match=r"^This address cannot be used, [^.]+\. Give another address\.$"):
        found_company(monkeypatch, "West Water", "Eve@East.example", *IN_PARIS)
    assert Company.objects.count() == 1


@pytest.mark.django_db
def test_a_member_is_added_from_the_shell(monkeypatch: pytest.MonkeyPatch) -> None:
    found_company(monkeypatch, "East Water", "eve@east.example", *IN_PARIS)

    def add(*arguments: str) -> list[str]:
        out = io.StringIO()
        call_command("add_member", *arguments, stdout=out)
        return out.getvalue().splitlines()

    added, link = add("Jens@east.example", "--name", "Jens")
    assert added == "Added jens@east.example to East Water as installer."
    assert "jens@east.example chooses a password" in link
    member = Membership.objects.get(role="installer")
    assert (member.name, member.user.has_usable_password(), member.user.email_proven_at) == ("Jens", False, None)
    for arguments, sentence in (
        (["jens@east.example"], "has an account already"),
        (["jens"], "valid email"),
        (["ina@east.example", "--company", "West"], "Name the company with --company"),
    ):
        with pytest.raises(CommandError, match=sentence):
            add(*arguments)
    assert Membership.objects.count() == 2


@pytest.mark.django_db
def test_tidying_takes_what_nobody_needs_and_nothing_else() -> None:
    now = timezone.now()
    factories.AccessTokenFactory(expiry=now - timedelta(days=91))
    factories.AccessTokenFactory(expiry=now + timedelta(days=1))
    factories.StoredAnswerFactory(created_at=now - timedelta(hours=49))
    Session.objects.create(session_key="old", session_data="", expire_date=now - timedelta(days=1))
    Session.objects.create(session_key="new", session_data="", expire_date=now + timedelta(days=1))
    factories.LetterFactory(written_at=now - timedelta(days=31))
    factories.LetterFactory(written_at=now - timedelta(days=29))
    for output in (
        "Deleted 1 tokens, 1 stored answers, 1 sessions, 1 letters.\n",
        "Deleted 0 tokens, 0 stored answers, 0 sessions, 0 letters.\n",
    ):
        out = io.StringIO()
        call_command("tidy", stdout=out)
        assert out.getvalue() == output
    assert AccessToken.objects.count() == 1
    assert not StoredAnswer.objects.exists()
    assert Session.objects.get().session_key == "new"


def application_role(monkeypatch: pytest.MonkeyPatch, role: str, password: str = "") -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
    out = io.StringIO()
    call_command("application_role", role, stdout=out)
    return out.getvalue()


@pytest.mark.django_db
@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="roles are PostgreSQL's")
def test_the_products_role_is_made_once_and_is_none_that_no_policy_holds_back(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(CommandError, match="fitted_app is new and needs a password"):
        application_role(monkeypatch, "fitted_app")
    assert "Made fitted_app.\nNext: let the server" in application_role(monkeypatch, "fitted_app", "quartz lantern")
    assert "Renewed the grants of fitted_app." in application_role(monkeypatch, "fitted_app")
    may = "SELECT has_table_privilege('fitted_app', 'fleet_unit', %s)"
    with connection.cursor() as cursor:
        given = {}
        for privilege in ("SELECT", "INSERT", "UPDATE", "DELETE", "TRUNCATE", "TRIGGER"):
            cursor.execute(may, [privilege])
            (given[privilege],) = cursor.fetchone()
        cursor.execute("CREATE TABLE made_later (id bigserial PRIMARY KEY)")
        cursor.execute("SELECT has_table_privilege('fitted_app', 'made_later', 'INSERT')")
        assert cursor.fetchone() == (True,), "of a table that a later migration makes"
        cursor.execute("CREATE ROLE sees_all BYPASSRLS")
        cursor.execute("SELECT current_user")
        (owner,) = cursor.fetchone()
    assert [name for name, is_given in given.items() if is_given] == ["SELECT", "INSERT", "UPDATE", "DELETE"]
    with pytest.raises(CommandError, match="sees_all is a superuser or has BYPASSRLS"):
        application_role(monkeypatch, "sees_all")
    with pytest.raises(CommandError, match=f"{owner} owns the tables"):
        application_role(monkeypatch, owner)


@pytest.mark.django_db
@pytest.mark.skipif("connection.vendor == 'postgresql'", reason="elsewhere there are no roles")
def test_another_database_has_no_second_wall(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(CommandError, match="Only PostgreSQL has a second wall"):
        application_role(monkeypatch, "fitted_app", "quartz lantern")
