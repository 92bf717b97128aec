"""Events out on the owner's pages."""

import re
from typing import Any

import pytest

from accounts.models import Company
from accounts.webhooks.models import WebhookDelivery, WebhookEndpoint
from tests import factories
from tests.pages import text_of

pytestmark = [pytest.mark.interface, pytest.mark.django_db]

HERE = "/company/events/"


def test_an_address_is_registered_and_its_secret_is_shown_once(owners_desk: Any) -> None:
    assert "Nothing is told to anybody outside." in text_of(owners_desk.get(HERE))
    form = {"do": "register", "name": "billing", "url": "https://example.com/hooks", "events": ["visit.done"]}
    answer = owners_desk.post(HERE, form)
    assert answer.status_code == 200, text_of(answer)
    (secret,) = re.findall(r"whsec_[A-Za-z0-9+/=]+", text_of(answer))
    endpoint = WebhookEndpoint.objects.get()
    assert (endpoint.name, endpoint.events, endpoint.is_on) == ("billing", ["visit.done"], True)
    shown = text_of(owners_desk.get(HERE))
    assert "https://example.com/hooks" in shown
    assert "visit done" in shown
    assert secret not in shown
    renewed = owners_desk.post(HERE, {"do": "rotate", "endpoint": endpoint.pk})
    assert "whsec_" in text_of(renewed)
    assert secret not in text_of(renewed)
    assert owners_desk.post(HERE, {"do": "switch", "endpoint": endpoint.pk, "is_on": "false"}).status_code == 302
    endpoint.refresh_from_db()
    assert not endpoint.is_on
    assert owners_desk.post(HERE, {"do": "delete", "endpoint": endpoint.pk}).status_code == 302
    assert not WebhookEndpoint.objects.exists()


def test_what_cannot_be_is_said_beside_what_was_filled_in(owners_desk: Any) -> None:
    form = {"do": "register", "name": "billing", "url": "http://example.com/hooks", "events": ["visit.done"]}
    refused = owners_desk.post(HERE, form)
    assert refused.status_code == 400
    assert 'value="http://example.com/hooks"' in text_of(refused)
    assert "https" in text_of(refused)
    assert not WebhookEndpoint.objects.exists()


def test_what_was_sent_is_listed_with_what_came_of_it_and_sent_again(owners_desk: Any, company: Company) -> None:
    endpoint = factories.WebhookEndpointFactory(company=company, name="billing")
    delivery = factories.WebhookDeliveryFactory(
        endpoint=endpoint, state="failed", trouble="It answered with status 500."
    )
    shown = text_of(owners_desk.get(HERE))
    assert "finding opened" in shown
    assert delivery.trouble in shown
    assert owners_desk.post(HERE, {"do": "replay", "delivery": delivery.pk}).status_code == 302
    assert WebhookDelivery.objects.get().state == "waiting"


def test_the_events_of_another_company_are_nobodys_business(owners_desk: Any) -> None:
    other = factories.WebhookDeliveryFactory()
    assert other.endpoint.url not in text_of(owners_desk.get(HERE))
    assert owners_desk.post(HERE, {"do": "test", "endpoint": other.endpoint_id}).status_code == 404
    assert owners_desk.post(HERE, {"do": "replay", "delivery": other.pk}).status_code == 404
