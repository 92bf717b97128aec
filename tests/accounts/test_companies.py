"""A company as a whole: its days and its lock."""

from datetime import UTC, date, datetime

import pytest
from django.db.transaction import TransactionManagementError

from accounts.models import Company
from accounts.services.companies import lock_company


@pytest.mark.parametrize(
    ("zone", "expected"),
    [
        ("Pacific/Auckland", date(2026, 3, 2)),
        ("UTC", date(2026, 3, 1)),
        ("America/Lima", date(2026, 3, 1)),
    ],
)
def test_the_day_of_a_company_is_that_of_its_office(zone: str, expected: date) -> None:
    assert Company(time_zone=zone).day_at(datetime(2026, 3, 1, 12, 0, tzinfo=UTC)) == expected


@pytest.mark.django_db(transaction=True)
def test_a_company_is_held_only_within_a_transaction() -> None:
    company = Company.objects.create(name="Well", time_zone="UTC")
    with pytest.raises(TransactionManagementError):
        lock_company(company.pk)
