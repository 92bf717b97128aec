"""The factories make rows that hold together."""

import pytest
from django.apps import apps

from accounts.models import Company
from accounts.tenancy import TenantModel
from tests import factories
from tests.rows import FACTORIES, make_row

pytestmark = pytest.mark.interface

# People and what is written to them belong to no one company.
OF_NO_COMPANY = {
    "User", "Letter", "TryCount", "KnownPlace", "SecondFactor", "RecoveryCode", "RequestCount", "SentWithoutKey",
}  # fmt: skip
MODELS = [model for app in ("accounts", "fleet", "scheduling") for model in apps.get_app_config(app).get_models()]


@pytest.mark.parametrize("model", MODELS, ids=lambda model: model.__name__)
@pytest.mark.django_db
def test_every_model_has_a_factory_whose_row_stays_in_one_company(model: type) -> None:
    row = FACTORIES[model]()
    row.full_clean()
    assert Company.objects.count() == (0 if model.__name__ in OF_NO_COMPANY else 1)
    if issubclass(model, TenantModel):
        company = Company.objects.get()
        assert list(model.objects.of_company(company)) == [row]


@pytest.mark.django_db
def test_a_row_takes_the_company_of_what_it_is_told_to_belong_to() -> None:
    client = factories.ClientFactory()
    site = factories.SiteFactory(client=client)
    unit = factories.UnitFactory(site=site)
    visit = factories.VisitFactory(site=site)
    nested = factories.ReadingFactory(unit__site__client=client, unit__company=client.company)
    assert {site.company, unit.company, visit.company, nested.unit.company, nested.unit.site.company} == {
        client.company
    }
    assert Company.objects.count() == 1


@pytest.mark.parametrize(
    "model", [model for model in MODELS if issubclass(model, TenantModel)], ids=lambda m: m.__name__
)
@pytest.mark.django_db
def test_a_row_of_a_client_belongs_to_that_client_alone(model: type) -> None:
    client = factories.ClientFactory()
    other = factories.ClientFactory(company=client.company)
    row = make_row(model, company=client.company, client=client)
    assert Company.objects.get() == client.company
    if model.CLIENT_PATH is None or model.__name__ in {"Company", "AccessToken", "BrowserSession"}:
        return
    assert row in model.objects.filter(**{model.CLIENT_PATH: client.pk})
    assert row not in model.objects.filter(**{model.CLIENT_PATH: other.pk})
