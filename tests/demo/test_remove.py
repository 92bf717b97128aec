"""Resetting the demo takes one company with every kind of row it can have, and leaves the others alone."""

import pytest
from django.apps import apps

from accounts.models import Company, User
from accounts.tenancy import TenantModel
from scheduling.demo.remove import remove_company
from tests import factories
from tests.rows import make_row

MODELS = [model for model in apps.get_models() if issubclass(model, TenantModel)]


def counts(company: Company) -> dict[str, int]:
    return {model.__name__: model.objects.of_company(company).count() for model in MODELS}


@pytest.mark.django_db
def test_one_company_goes_and_the_other_stays() -> None:
    goes, stays = factories.CompanyFactory(), factories.CompanyFactory()
    for company in (goes, stays):
        client = factories.ClientFactory(company=company)
        # What refers to others stands behind them in the list of models, and brings rows of theirs along.
        for model in reversed(MODELS):
            if not model.objects.of_company(company).exists():
                make_row(model, company=company, client=client)
    before, people = counts(stays), User.objects.filter(memberships__company=stays).count()
    assert min(counts(goes).values()) >= 1
    remove_company(goes)
    assert not Company.objects.filter(pk=goes.pk).exists()
    assert sum(model.objects.filter(**{model.TENANT_PATH: goes.pk}).count() for model in MODELS) == 0
    assert counts(stays) == before
    assert User.objects.filter(memberships__company=stays).count() == people


@pytest.mark.django_db
def test_rows_that_name_an_earlier_row_of_their_kind_are_no_hindrance() -> None:
    unit = factories.UnitFactory()
    first = factories.ReadingFactory(unit=unit)
    factories.ReadingFactory(unit=unit, corrects=first)
    remove_company(unit.company)
    assert not Company.objects.exists()


@pytest.mark.django_db
def test_a_person_with_another_company_stays() -> None:
    here, there = factories.CompanyFactory(), factories.CompanyFactory()
    both = factories.MembershipFactory(company=here, role="office").user
    factories.MembershipFactory(company=there, role="office", user=both)
    only_here = factories.MembershipFactory(company=here, role="office").user
    remove_company(here)
    assert User.objects.filter(pk=both.pk).exists()
    assert not User.objects.filter(pk=only_here.pk).exists()
