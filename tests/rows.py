"""A row of any model, for tests that hold for every model: the company's, and where it can be, one client's."""

import inspect
from typing import Any

from django.db.models import Model

from accounts.models import AccessToken, BrowserSession, Client, Company, Membership, StoredAnswer
from accounts.webhooks.models import WebhookDelivery
from fleet.models import Instrument
from scheduling.models import Need
from tests import factories

FACTORIES: dict[type[Model], Any] = {
    made._meta.model: made
    for _, made in inspect.getmembers(factories, inspect.isclass)
    if issubclass(made, factories.DjangoModelFactory) and not made._meta.abstract
}


def make_row(model: type[Any], *, company: Company, client: Client) -> Any:
    """Make a row of the company; of the client, if the model is one that clients may see."""
    if model is Company:
        return company
    if model is Client:
        return client
    if model is AccessToken:
        return factories.AccessTokenFactory(membership__company=company)
    if model is BrowserSession:
        return factories.BrowserSessionFactory(membership__company=company)
    if model is StoredAnswer:
        return factories.StoredAnswerFactory(membership__company=company)
    if model is WebhookDelivery:
        return factories.WebhookDeliveryFactory(endpoint__company=company)
    if model is Membership:
        return factories.MembershipFactory(company=company, role="office")
    if model is Instrument:
        return factories.InstrumentFactory(unit=factories.UnitFactory(company=company, site__client=client))
    given: dict[str, Any] = {model.TENANT_PATH.removesuffix("_id"): company}
    if model.CLIENT_PATH is not None:
        path = model.CLIENT_PATH.removesuffix("_id")
        given[path] = client
    if model is Need:
        # one that the list of readings shows as well
        given["reading_way"] = Need.ReadingWay.NEXT_VISIT
    return FACTORIES[model](**given)
