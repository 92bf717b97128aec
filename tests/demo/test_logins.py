"""Passwords and tokens are kept for their owner alone, stay the same, and touch nobody else's."""

import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest
from django.utils import timezone

from accounts.services import check_credentials
from scheduling.demo.logins import settle_logins
from tests import factories

NOW = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)


@pytest.mark.django_db
def test_logins_open_the_door_and_stay_the_same(tmp_path: Path) -> None:
    owner = factories.MembershipFactory(role="owner")
    path = tmp_path / "logins.json"
    first = settle_logins(company=owner.company, emails=[owner.user.email], path=path, now=NOW)
    again = settle_logins(company=owner.company, emails=[owner.user.email], path=path, now=NOW)
    assert first == again
    assert (
        check_credentials(email=first[0].email, password=first[0].password, place="192.0.2.7", now=timezone.now())
        == owner
    )
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


@pytest.mark.django_db
def test_somebody_who_joined_later_keeps_their_password(tmp_path: Path) -> None:
    owner = factories.MembershipFactory(role="owner")
    late = factories.MembershipFactory(company=owner.company, role="office")
    before = late.user.password
    logins = settle_logins(company=owner.company, emails=[owner.user.email], path=tmp_path / "logins.json", now=NOW)
    late.user.refresh_from_db()
    assert late.user.password == before
    assert [login.email for login in logins] == [owner.user.email]


@pytest.mark.django_db
def test_an_account_that_opens_another_company_keeps_its_password(tmp_path: Path) -> None:
    owner = factories.MembershipFactory(role="owner")
    shared = factories.MembershipFactory(company=owner.company, role="office")
    factories.MembershipFactory(user=shared.user)
    before = shared.user.password
    emails = [owner.user.email, shared.user.email]
    logins = settle_logins(company=owner.company, emails=emails, path=tmp_path / "logins.json", now=NOW)
    shared.user.refresh_from_db()
    assert shared.user.password == before
    assert [login.email for login in logins] == [owner.user.email]


@pytest.mark.django_db
def test_a_revoked_token_is_replaced(tmp_path: Path) -> None:
    owner = factories.MembershipFactory(role="owner")
    path = tmp_path / "logins.json"
    (first,) = settle_logins(company=owner.company, emails=[owner.user.email], path=path, now=NOW)
    owner.tokens.all().delete()
    (second,) = settle_logins(company=owner.company, emails=[owner.user.email], path=path, now=NOW)
    assert second.token != first.token
    assert second.password == first.password


@pytest.mark.django_db
def test_a_spoilt_file_is_no_hindrance(tmp_path: Path) -> None:
    owner = factories.MembershipFactory(role="owner")
    path = tmp_path / "logins.json"
    path.write_text("{ not json", encoding="utf-8")
    (login,) = settle_logins(company=owner.company, emails=[owner.user.email], path=path, now=NOW)
    assert check_credentials(email=login.email, password=login.password, place="192.0.2.7", now=timezone.now()) == owner
