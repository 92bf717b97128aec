"""What an owner does with endpoints: register, change, renew the secret, try, send again."""

import uuid
from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Final

from django.db import transaction

from accounts.errors import Conflict, InvalidInput, raise_together
from accounts.jobs.queue import give
from accounts.language import gettext
from accounts.models import Membership
from accounts.services.audit import record
from accounts.services.companies import lock_company
from accounts.webhooks.models import SUBSCRIBED, Event, WebhookDelivery, WebhookEndpoint
from accounts.webhooks.outbox import Happening, delivery_to
from accounts.webhooks.places import check_url
from accounts.webhooks.sending import stop_waiting
from accounts.webhooks.signing import new_salt, secret_of
from accounts.webhooks.tasks import send_webhook

MOST_ENDPOINTS: Final = 20
#: So long the secret before signs beside the new one, so that a receiver can be changed over without losing an event.
EARLIER_SECRET_FOR: Final = timedelta(days=1)


def register_endpoint(
    *, by: Membership, name: str, url: str, events: Iterable[str], now: datetime, is_on: bool = True
) -> tuple[WebhookEndpoint, str]:
    """Register an address for events, and give it with its secret, which is shown this once. Leaves an audit entry.

    Raises InvalidInput for an address to which nothing is ever sent and for events that there are not, Conflict where
    the company has 20 endpoints.
    """
    chosen = list(events)
    raise_together(partial(check_url, url), partial(_check_events, chosen))
    with transaction.atomic():
        lock_company(by.company_id)
        if WebhookEndpoint.objects.of_company(by.company).count() >= MOST_ENDPOINTS:
            raise Conflict("too_many_endpoints", f"A company has {MOST_ENDPOINTS} endpoints at most: delete one.")
        endpoint = WebhookEndpoint.objects.create(
            company=by.company,
            name=name,
            url=url,
            events=_in_order(chosen),
            is_on=is_on,
            salt=new_salt(),
            created_at=now,
        )
        _note(by, "create webhook endpoint", endpoint, now)
    return endpoint, secret_of(endpoint.salt)


def change_endpoint(*, by: Membership, endpoint: WebhookEndpoint, now: datetime, **facts: Any) -> WebhookEndpoint:
    """Change name, address, events, or switch it on or off; what waits for one that is off is tried no more.

    Raises InvalidInput as `register_endpoint` does.
    """
    raise_together(
        *([partial(check_url, facts["url"])] if "url" in facts else []),
        *([partial(_check_events, facts["events"])] if "events" in facts else []),
    )
    if "events" in facts:
        facts["events"] = _in_order(facts["events"])
    with transaction.atomic():
        row = WebhookEndpoint.objects.select_for_update().get(pk=endpoint.pk)
        changed = {field: value for field, value in facts.items() if getattr(row, field) != value}
        if not changed:
            return row
        for field, value in changed.items():
            setattr(row, field, value)
        if changed.get("is_on") or "url" in changed:
            row.failing_since = None
        if changed.get("is_on"):
            row.switched_off_at = None
        _note(by, "update webhook endpoint", row, now)
        row.save()
        if not row.is_on:
            stop_waiting(row, gettext("The endpoint was switched off."))
    return row


def delete_endpoint(*, by: Membership, endpoint: WebhookEndpoint, now: datetime) -> None:
    """Delete an endpoint with its deliveries: nothing is sent there any more."""
    with transaction.atomic():
        _note(by, "delete webhook endpoint", endpoint, now)
        endpoint.delete()


def rotate_secret(*, by: Membership, endpoint: WebhookEndpoint, now: datetime) -> tuple[WebhookEndpoint, str]:
    """Give an endpoint a new secret, which is shown this once; the one before signs beside it for a day."""
    with transaction.atomic():
        row = WebhookEndpoint.objects.select_for_update().get(pk=endpoint.pk)
        row.earlier_salt, row.salt, row.earlier_until = row.salt, new_salt(), now + EARLIER_SECRET_FOR
        _note(by, "rotate webhook secret", row, now)
        row.save(update_fields=["salt", "earlier_salt", "earlier_until"])
    return row, secret_of(row.salt)


def send_test(*, by: Membership, endpoint: WebhookEndpoint, now: datetime) -> WebhookDelivery:
    """Send a test, also where the endpoint is off; it is tried once, and its delivery says what came of it."""
    message_id = f"msg_{uuid.uuid4().hex}"
    happening = Happening(Event.TEST, f"endpoint {endpoint.pk}", message_id, {"endpoint": endpoint.pk})
    with transaction.atomic():
        delivery = delivery_to(endpoint, happening, message_id=message_id, now=now)
        delivery.save()
        _note(by, "try webhook endpoint", endpoint, now)
        _send_soon(delivery)
    return delivery


def replay(*, by: Membership, delivery: WebhookDelivery, now: datetime) -> WebhookDelivery:
    """Send a delivery again with its id, however it ended; what waits is sent now.

    Raises Conflict where the endpoint is off.
    """
    with transaction.atomic():
        row = WebhookDelivery.objects.select_for_update(of=("self",)).select_related("endpoint").get(pk=delivery.pk)
        if not row.endpoint.is_on and row.event != Event.TEST:
            raise Conflict("endpoint_is_off", "The endpoint is switched off: switch it on, then send this again.")
        row.state, row.attempts, row.next_attempt_at, row.delivered_at = WebhookDelivery.State.WAITING, 0, now, None
        row.save(update_fields=["state", "attempts", "next_attempt_at", "delivered_at"])
        record(by=by, action="send webhook again", subject=row, details={"event": row.event}, now=now)
        _send_soon(row)
    return row


def _send_soon(delivery: WebhookDelivery) -> None:
    """Somebody waits for it: it is sent once it is stored, and not when the post goes next."""
    transaction.on_commit(lambda: give(send_webhook, delivery_id=delivery.pk) or None, robust=True)


def _check_events(events: Iterable[str]) -> None:
    listed, known = list(events), [value for value, _ in SUBSCRIBED]
    if not listed or not set(listed) <= set(known):
        raise InvalidInput("unknown_event", f"events: name one or more of {', '.join(known)}.", pointer="/events")


def _in_order(events: Iterable[str]) -> list[str]:
    wanted = set(events)
    return [value for value, _ in SUBSCRIBED if value in wanted]


def _note(by: Membership, action: str, endpoint: WebhookEndpoint, now: datetime) -> None:
    record(by=by, action=action, subject=endpoint, details={"host": endpoint.host}, now=now)
