"""A row lock outside a transaction holds nothing: it is refused on every database, and in every test."""

from datetime import timedelta

import pytest
from django.db import transaction
from django.db.transaction import TransactionManagementError
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import Company
from tests import factories


@pytest.mark.django_db(transaction=True)
def test_a_lock_outside_a_transaction_is_refused() -> None:
    company = factories.CompanyFactory()
    with pytest.raises(TransactionManagementError, match="outside of a transaction"):
        Company.objects.select_for_update().get(pk=company.pk)


def test_the_transaction_that_a_test_is_wrapped_in_does_not_count(company: Company) -> None:
    with pytest.raises(TransactionManagementError, match="that of the test"):
        Company.objects.select_for_update().get(pk=company.pk)


@pytest.mark.parametrize(
    "manner", [{}, {"no_key": True}, {"nowait": True}, {"skip_locked": True}, {"of": ("self",)}], ids=str
)
def test_in_a_transaction_every_manner_of_lock_is_understood(company: Company, manner: dict[str, object]) -> None:
    with transaction.atomic():
        assert Company.objects.select_for_update(**manner).get(pk=company.pk) == company


@pytest.mark.django_db(transaction=True)
def test_a_plan_is_published_where_no_transaction_is_open(company: Company, as_office: APIClient) -> None:
    plan = factories.PlanFactory(company=company, first_day=timezone.now().date() + timedelta(days=1))
    published = as_office.post(f"/api/v1/plans/{plan.pk}/publish/")
    assert published.status_code == 200, published.content
    assert published.json()["state"] == "published"
    stale = as_office.post(f"/api/v1/plans/{plan.pk}/publish/", headers={"If-Match": '"of-long-ago"'})
    assert stale.status_code == 412
