"""Events leave for a real receiver: signed, tried again, sent again by hand, and given up after days.

Signatures are checked by the library of the convention, and once by its own arithmetic (Standard Webhooks 1.0.0:
HMAC-SHA256 of 'id.timestamp.body' with the base64 after `whsec_`), so that both ends are not the same code.
"""

import base64
import hashlib
import hmac
import json
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.utils import timezone
from rest_framework.test import APIClient
from standardwebhooks import Webhook, WebhookVerificationError

from accounts.models import AuditEntry, Company, Membership
from accounts.services.letters import send_letters
from accounts.webhooks import endpoints, sending
from accounts.webhooks.models import Event, WebhookDelivery, WebhookEndpoint
from accounts.webhooks.outbox import Happening, tell
from tests import factories
from tests.accounts.webhooks.receiver import Receiver

NOW = timezone.now()


def verified(secret: str, got: Any, at: datetime = NOW) -> Any:
    """What came in, once a receiver's library has found it signed, at the moment at which it was sent."""
    with time_machine.travel(at, tick=False):
        return Webhook(secret).verify(got.body, got.headers)


@pytest.fixture
def registered(owner: Membership, receiver: Receiver) -> tuple[WebhookEndpoint, str]:
    return endpoints.register_endpoint(
        by=owner, name="desk", url=f"http://{receiver.host}/hooks", events=["finding.opened", "visit.done"], now=NOW
    )


def happened(company: Company, number: int = 1, says: str = "opened") -> int:
    happening = Happening(Event.FINDING_OPENED, f"finding {number}", says, {"finding": number})
    return tell(company_id=company.pk, happenings=[happening], now=NOW)


def test_an_event_arrives_signed_with_what_happened(
    company: Company, registered: tuple[WebhookEndpoint, str], receiver: Receiver
) -> None:
    _, secret = registered
    assert happened(company) == 1
    assert sending.send_deliveries(now=NOW) == {"delivered": 1, "put_off": 0, "given_up": 0}
    (got,) = receiver.received
    said = verified(secret, got)
    assert said["type"] == "finding.opened"
    assert said["data"] == {"company": company.pk, "finding": 1}
    assert got.headers["content-type"] == "application/json"
    key = base64.b64decode(secret.removeprefix("whsec_"))
    signed = f"{got.headers['webhook-id']}.{got.headers['webhook-timestamp']}.".encode() + got.body
    by_hand = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    assert got.headers["webhook-signature"] == f"v1,{by_hand}"
    assert len(key) >= 24
    delivery = WebhookDelivery.objects.get()
    assert (delivery.state, delivery.attempts, delivery.answer_status) == ("delivered", 1, 204)
    assert delivery.next_attempt_at is None
    # A second run has nothing to send.
    assert sending.send_deliveries(now=NOW)["delivered"] == 0
    assert len(receiver.received) == 1


def test_only_what_was_asked_for_is_sent_and_nothing_twice_running(
    company: Company, rival_company: Company, registered: tuple[WebhookEndpoint, str]
) -> None:
    moved = Happening(Event.VISIT_MOVED, "visit 1", "later", {"visit": 1})
    assert tell(company_id=company.pk, happenings=[moved], now=NOW) == 0
    assert happened(rival_company) == 0
    assert [happened(company), happened(company), happened(company, 2)] == [1, 0, 1]
    # Said again after something else was said of it, it is news.
    assert [happened(company, 2, "otherwise"), happened(company, 2)] == [1, 1]


def test_a_receiver_that_fails_is_tried_again_and_heals(
    company: Company, registered: tuple[WebhookEndpoint, str], receiver: Receiver
) -> None:
    endpoint, secret = registered
    receiver.status = 500
    happened(company)
    assert sending.send_deliveries(now=NOW)["put_off"] == 1
    delivery = WebhookDelivery.objects.get()
    assert (delivery.state, delivery.answer_status, delivery.attempts) == ("waiting", 500, 1)
    assert "500" in delivery.trouble
    endpoint.refresh_from_db()
    assert endpoint.failing_since is not None
    # Not before its time.
    assert sending.send_deliveries(now=NOW + timedelta(seconds=30)) == {"delivered": 0, "put_off": 0, "given_up": 0}
    receiver.status = 200
    assert sending.send_deliveries(now=NOW + timedelta(minutes=2))["delivered"] == 1
    first, second = receiver.received
    assert first.headers["webhook-id"] == second.headers["webhook-id"]
    assert first.headers["webhook-timestamp"] != second.headers["webhook-timestamp"]
    assert first.body == second.body
    verified(secret, second)
    endpoint.refresh_from_db()
    assert endpoint.failing_since is None


def test_it_is_tried_for_about_a_day_with_longer_and_longer_waits() -> None:
    together = sum(sending.PAUSES, timedelta())
    assert timedelta(hours=20) <= together <= timedelta(hours=28)
    assert list(sending.PAUSES) == sorted(sending.PAUSES)


def test_after_the_last_attempt_it_is_given_up(
    company: Company, registered: tuple[WebhookEndpoint, str], receiver: Receiver
) -> None:
    receiver.status = 503
    happened(company)
    moment, runs = NOW, 0
    while (delivery := WebhookDelivery.objects.get()).state == "waiting":
        assert delivery.next_attempt_at is not None
        moment = max(moment, delivery.next_attempt_at)
        sending.send_deliveries(now=moment)
        runs += 1
    assert runs == sending.MOST_ATTEMPTS == len(receiver.received)
    assert (delivery.state, delivery.next_attempt_at) == ("failed", None)
    assert timedelta(hours=20) <= moment - NOW <= timedelta(hours=28)


def test_an_endpoint_that_only_fails_is_switched_off_and_the_owners_are_told(
    company: Company, owner: Membership, registered: tuple[WebhookEndpoint, str], receiver: Receiver
) -> None:
    endpoint, _ = registered
    receiver.status = 500
    happened(company, 1)
    sending.send_deliveries(now=NOW)
    later = NOW + sending.ONLY_FAILS_FOR - timedelta(minutes=1)
    sending.send_deliveries(now=later)
    endpoint.refresh_from_db()
    assert endpoint.is_on
    happened(company, 2)
    sending.send_deliveries(now=later + timedelta(minutes=2))
    endpoint.refresh_from_db()
    assert not endpoint.is_on
    assert endpoint.switched_off_at is not None
    assert set(WebhookDelivery.objects.values_list("state", flat=True)) == {"failed"}
    entry = AuditEntry.objects.get(action="disable webhook endpoint")
    assert (entry.company_id, entry.membership) == (company.pk, None)
    send_letters(now=endpoint.switched_off_at)
    (letter,) = [letter for letter in mail.outbox if letter.to == [owner.user.email]]
    assert "localhost" in letter.subject
    assert company.name in letter.body
    # Nothing is written for it any more.
    assert happened(company, 3) == 0


def test_who_says_that_it_is_gone_is_switched_off_at_once(
    company: Company, registered: tuple[WebhookEndpoint, str], receiver: Receiver
) -> None:
    receiver.status = 410
    happened(company)
    sending.send_deliveries(now=NOW)
    assert not WebhookEndpoint.objects.get().is_on


def test_no_redirect_is_followed(company: Company, registered: tuple[WebhookEndpoint, str], receiver: Receiver) -> None:
    receiver.status, receiver.location = 307, f"http://{receiver.host}/elsewhere"
    happened(company)
    sending.send_deliveries(now=NOW)
    assert [got.path for got in receiver.received] == ["/hooks"]
    assert WebhookDelivery.objects.get().answer_status == 307


def test_nothing_goes_into_the_network_of_the_server_by_a_name_that_leads_there(
    company: Company, owner: Membership, receiver: Receiver, settings: Any
) -> None:
    # localhost is a name that leads to 127.0.0.1, where something listens; without the setting it gets nothing.
    settings.WEBHOOK_LOCAL_HOSTS = []
    for scheme in ("http", "https"):
        endpoint = factories.WebhookEndpointFactory(company=company, url=f"{scheme}://{receiver.host}/hooks")
        factories.WebhookDeliveryFactory(endpoint=endpoint, state="waiting", next_attempt_at=NOW)
    assert sending.send_deliveries(now=NOW)["put_off"] == 2
    assert not receiver.received
    assert all(delivery.trouble for delivery in WebhookDelivery.objects.all())


def test_one_endpoint_that_fails_holds_nobody_up(
    company: Company, registered: tuple[WebhookEndpoint, str], receiver: Receiver
) -> None:
    dead = factories.WebhookEndpointFactory(company=company, url="http://localhost:1/hooks")
    for number in range(3):
        factories.WebhookDeliveryFactory(
            endpoint=dead, state="waiting", next_attempt_at=NOW - timedelta(minutes=number + 1)
        )
    happened(company)
    assert sending.send_deliveries(now=NOW) == {"delivered": 1, "put_off": 1, "given_up": 0}


def test_a_new_secret_signs_and_the_one_before_for_a_day_beside_it(
    company: Company, owner: Membership, registered: tuple[WebhookEndpoint, str], receiver: Receiver
) -> None:
    endpoint, old = registered
    _, new = endpoints.rotate_secret(by=owner, endpoint=endpoint, now=NOW)
    assert new != old
    happened(company, 1)
    sending.send_deliveries(now=NOW)
    for secret in (old, new):
        verified(secret, receiver.received[0])
    # By then only the new one signs.
    WebhookEndpoint.objects.update(earlier_until=NOW)
    happened(company, 2)
    sending.send_deliveries(now=NOW)
    got = receiver.received[1]
    verified(new, got)
    with pytest.raises(WebhookVerificationError):
        verified(old, got)


def test_no_secret_is_stored(owner: Membership, registered: tuple[WebhookEndpoint, str]) -> None:
    _, secret = registered
    row = WebhookEndpoint.objects.values().get()
    assert secret.removeprefix("whsec_") not in json.dumps(row, default=str)
    assert "salt" not in json.dumps(list(AuditEntry.objects.values()), default=str)


def test_old_deliveries_are_forgotten_and_what_waits_is_not(company: Company) -> None:
    endpoint = factories.WebhookEndpointFactory(company=company)
    long_ago = NOW - sending.KEPT_FOR - timedelta(minutes=1)
    factories.WebhookDeliveryFactory(endpoint=endpoint, happened_at=long_ago)
    factories.WebhookDeliveryFactory(endpoint=endpoint, happened_at=long_ago, state="waiting", next_attempt_at=NOW)
    factories.WebhookDeliveryFactory(endpoint=endpoint, happened_at=NOW)
    assert sending.forget_deliveries(now=NOW) == 1


# over the interface


def test_the_owner_registers_tests_reads_replays_and_renews(
    as_owner: APIClient, receiver: Receiver, django_capture_on_commit_callbacks: Any
) -> None:
    sent = {"name": "desk", "url": f"http://{receiver.host}/hooks", "events": ["visit.done", "finding.opened"]}
    made = as_owner.post("/api/v1/webhook-endpoints/", sent, format="json")
    assert made.status_code == 201, made.content
    endpoint, secret = made.json(), made.json()["secret"]
    assert endpoint["events"] == ["finding.opened", "visit.done"]
    assert made.headers["Cache-Control"] == "no-store"
    address = f"/api/v1/webhook-endpoints/{endpoint['id']}/"
    assert "secret" not in as_owner.get(address).json()
    with django_capture_on_commit_callbacks(execute=True):
        asked = as_owner.post(f"{address}test/")
    assert asked.status_code == 202, asked.content
    delivery = as_owner.get(f"/api/v1/deliveries/{asked.json()['id']}/").json()
    assert (delivery["event"], delivery["state"], delivery["answer_status"]) == ("endpoint.test", "delivered", 204)
    # sent by the clock of the request, which may be minutes after this module was read
    assert verified(secret, receiver.received[0], at=timezone.now()) == delivery["body"]
    with django_capture_on_commit_callbacks(execute=True):
        again = as_owner.post(f"/api/v1/deliveries/{delivery['id']}/replay/")
    assert again.status_code == 202, again.content
    assert receiver.received[1].headers["webhook-id"] == receiver.received[0].headers["webhook-id"]
    renewed = as_owner.post(f"{address}rotate-secret/")
    assert renewed.status_code == 200, renewed.content
    assert renewed.json()["secret"] not in ("", secret)
    off = as_owner.patch(address, {"is_on": False}, format="json")
    assert off.json()["is_on"] is False
    told = factories.WebhookDeliveryFactory(endpoint_id=endpoint["id"])
    refused = as_owner.post(f"/api/v1/deliveries/{told.pk}/replay/")
    assert (refused.status_code, refused.json()["code"]) == (409, "endpoint_is_off")
    listed = as_owner.get("/api/v1/deliveries/", {"endpoint": endpoint["id"], "state": "delivered"}).json()
    assert [row["id"] for row in listed["results"]] == [delivery["id"]]
    assert as_owner.delete(address).status_code == 204
    trail = as_owner.get("/api/v1/audit-entries/").json()["results"]
    assert {row["action"] for row in trail} >= {
        "create webhook endpoint",
        "try webhook endpoint",
        "send webhook again",
        "rotate webhook secret",
        "update webhook endpoint",
        "delete webhook endpoint",
    }


def test_a_test_that_fails_is_not_tried_again_and_says_why(
    as_owner: APIClient, receiver: Receiver, company: Company, django_capture_on_commit_callbacks: Any
) -> None:
    receiver.status = 500
    endpoint = factories.WebhookEndpointFactory(company=company, url=f"http://{receiver.host}/", is_on=False)
    with django_capture_on_commit_callbacks(execute=True):
        asked = as_owner.post(f"/api/v1/webhook-endpoints/{endpoint.pk}/test/")
    delivery = as_owner.get(f"/api/v1/deliveries/{asked.json()['id']}/").json()
    assert (delivery["state"], delivery["next_attempt_at"]) == ("failed", None)
    assert "500" in delivery["trouble"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"url": "https://10.0.0.1/"}, "/url"),
        ({"url": "http://receiver.example/"}, "/url"),
        ({"events": []}, "/events"),
        ({"events": ["endpoint.test"]}, "/events/0"),
        ({"events": ["finding.closed"]}, "/events/0"),
    ],
)
def test_what_is_not_possible_is_refused_with_its_field(
    as_owner: APIClient, company: Company, change: dict[str, Any], pointer: str
) -> None:
    sent = {"url": "https://receiver.example/hooks", "events": ["visit.done"], **change}
    endpoint = factories.WebhookEndpointFactory(company=company)
    answers = [
        as_owner.post("/api/v1/webhook-endpoints/", sent, format="json"),
        as_owner.patch(f"/api/v1/webhook-endpoints/{endpoint.pk}/", change, format="json"),
    ]
    for answer in answers:
        assert answer.status_code == 400, answer.content
        assert answer.json()["errors"][0]["pointer"] == pointer
