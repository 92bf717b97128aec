"""A connection to PostgreSQL: told the company with its next statement, and not trusted when it is gone."""

from datetime import UTC, datetime
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from accounts.models import Company
from accounts.wall import in_sight_of_nobody, inside_company, over_all_companies
from tests.factories import ClientFactory, CompanyFactory

pytestmark = pytest.mark.postgresql


@pytest.fixture
def two(transactional_db: None) -> tuple[Company, Company]:
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no second wall")
    companies = CompanyFactory(), CompanyFactory()
    for company in companies:
        ClientFactory(company=company, name=f"Client of {company.pk}")
    return companies


def in_force() -> str:
    with connection.connection.cursor() as cursor:
        return str(cursor.execute("SELECT current_setting('wall.company', true)").fetchone()[0])


def test_each_statement_works_for_the_company_that_is_in_sight(two: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    connection.ensure_connection()
    monkeypatch.setattr(connection, "is_behind_wall", True)
    first, second = two
    for company in (first, second, first):
        with inside_company(company.pk):
            assert Company.objects.get(pk=company.pk).name == company.name
            assert in_force() == str(company.pk)
            assert Company.objects.filter(pk=company.pk).update(name="Renamed") == 1
            company.refresh_from_db()
            assert company.name == "Renamed"
    with over_all_companies():
        assert Company.objects.count() == 2
        assert in_force() == "all"
    with in_sight_of_nobody():
        assert list(Company.objects.values_list("pk", flat=True).order_by("pk")) == [first.pk, second.pk]
        assert in_force() == ""


def test_a_statement_that_fails_leaves_nothing_told(two: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    connection.ensure_connection()
    monkeypatch.setattr(connection, "is_behind_wall", True)
    first, second = two
    with inside_company(first.pk):
        assert Company.objects.exists()
    with inside_company(second.pk):
        with pytest.raises(DatabaseError), connection.cursor() as cursor:
            cursor.execute("SELECT nothing FROM nowhere WHERE a = %s", [1])
        with connection.cursor() as cursor:
            cursor.execute("SELECT current_setting('wall.company'), %s, '100%%'", [7])
            assert cursor.fetchone() == (str(second.pk), 7, "100%")
    with inside_company(first.pk), transaction.atomic():
        with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT nothing FROM nowhere")
        assert Company.objects.exists()
        assert in_force() == str(first.pk)


def test_moments_are_read_in_utc_with_all_their_digits(two: Any) -> None:
    moments = [datetime(2026, 3, 1, 8, 30, 0, 123456, UTC), datetime(1900, 1, 1, tzinfo=UTC)]
    with connection.cursor() as cursor:
        cursor.execute("SELECT %s::timestamptz, %s::timestamptz, '2026-07-01 12:00+05:30'::timestamptz", moments)
        read = cursor.fetchone()
    assert read == (*moments, datetime(2026, 7, 1, 6, 30, tzinfo=UTC))
    assert {moment.tzinfo for moment in read} == {UTC}


def test_a_connection_that_the_server_has_ended_is_known_to_be_unusable(two: Any) -> None:
    connection.ensure_connection()
    assert connection.is_usable()
    pid = connection.connection.info.backend_pid
    other = connection.copy()
    with other.cursor() as cursor:
        cursor.execute("SELECT pg_terminate_backend(%s, 5000)", [pid])
    other.close()
    assert not connection.is_usable()
    connection.close()
    assert Company.objects.count() == 2
