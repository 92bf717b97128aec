"""Deliveries leave: each is tried for about a day, and what takes nothing for days is switched off."""

import http.client
import json
import logging
from datetime import datetime, timedelta
from time import monotonic
from typing import Final

from django.db import transaction
from django.db.models import F, Q, QuerySet

from accounts.language import gettext
from accounts.models import Letter, Membership
from accounts.services.audit import record
from accounts.services.letters import write_letter
from accounts.wall import over_all_companies
from accounts.webhooks.models import Event, WebhookDelivery, WebhookEndpoint
from accounts.webhooks.places import RefusedPlaceError, resolve
from accounts.webhooks.posting import post
from accounts.webhooks.signing import headers_of

log = logging.getLogger(__name__)

#: Waits after each attempt that failed; after the last, nothing is tried any more. About a day together.
PAUSES: Final = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 30, 120, 300, 480, 540))
MOST_ATTEMPTS: Final = len(PAUSES) + 1
#: An endpoint whose every attempt failed for so long is switched off.
ONLY_FAILS_FOR: Final = timedelta(days=3)
KEPT_FOR: Final = timedelta(days=30)
#: One run sends no longer than this; the next goes on.
LONGEST_RUN: Final = timedelta(seconds=50)
# Whoever holds a delivery and dies gives it back after this; longer than an attempt may take.
_LEASE: Final = timedelta(minutes=1)
_GONE: Final = 410

State = WebhookDelivery.State


@over_all_companies()
def send_deliveries(*, now: datetime) -> dict[str, int]:
    """Send what waits, the endpoints in turns; how many were delivered, put off and given up.

    Each delivery is claimed before it is sent. One that was sent by somebody who died before noting it is sent again
    with the same id, by which the receiver knows it. An endpoint that failed is left alone until the next run.
    """
    counts = {"delivered": 0, "put_off": 0, "given_up": 0}
    started, troubled, had_a_turn = monotonic(), set[int](), set[int]()
    while (elapsed := timedelta(seconds=monotonic() - started)) < LONGEST_RUN:
        moment = now + elapsed
        waiting = _waiting().filter(next_attempt_at__lte=moment).exclude(endpoint__in=troubled)
        delivery = waiting.exclude(endpoint__in=had_a_turn).order_by("next_attempt_at", "pk").first()
        if delivery is None:
            if not had_a_turn:
                break
            had_a_turn.clear()
            continue
        had_a_turn.add(delivery.endpoint_id)
        outcome = _send(delivery.pk, moment)
        if outcome is not None:
            counts[outcome] += 1
        if outcome in ("put_off", "given_up"):
            troubled.add(delivery.endpoint_id)
    return counts


@over_all_companies()
def send_delivery(*, delivery_id: int, now: datetime) -> str | None:
    """Send one delivery now, if it waits; 'delivered', 'put_off' or 'given_up'."""
    return _send(delivery_id, now)


@over_all_companies()
def forget_deliveries(*, now: datetime) -> int:
    """Delete deliveries that nobody asks about any more, and say how many."""
    deleted, _ = WebhookDelivery.objects.filter(happened_at__lt=now - KEPT_FOR).exclude(state=State.WAITING).delete()
    return deleted


def stop_waiting(endpoint: WebhookEndpoint, why: str) -> int:
    """What waits for an endpoint that is off is tried no more; it can be sent again by hand."""
    waiting = WebhookDelivery.objects.filter(endpoint=endpoint, state=State.WAITING)
    return waiting.update(state=State.FAILED, next_attempt_at=None, trouble=why)


def _waiting() -> QuerySet[WebhookDelivery]:
    return WebhookDelivery.objects.filter(Q(endpoint__is_on=True) | Q(event=Event.TEST), state=State.WAITING)


def _send(key: int, now: datetime) -> str | None:
    rows = WebhookDelivery.objects.filter(pk=key, state=State.WAITING, next_attempt_at__lte=now)
    claimed = rows.update(attempts=F("attempts") + 1, attempted_at=now, next_attempt_at=now + _LEASE)
    delivery = WebhookDelivery.objects.filter(pk=key).select_related("endpoint__company").first()
    if not claimed or delivery is None:
        return None
    delivery.answer_status, delivery.trouble = _attempt(delivery, now)
    is_delivered = not delivery.trouble
    if is_delivered:
        delivery.state, delivery.delivered_at, delivery.next_attempt_at = State.DELIVERED, now, None
    elif delivery.event == Event.TEST or delivery.attempts >= MOST_ATTEMPTS:
        delivery.state, delivery.next_attempt_at = State.FAILED, None
    else:
        delivery.next_attempt_at = now + PAUSES[delivery.attempts - 1]
    own = WebhookDelivery.objects.filter(pk=key, state=State.WAITING)
    own.update(
        **{
            name: getattr(delivery, name)
            for name in ("state", "answer_status", "trouble", "delivered_at", "next_attempt_at")
        }
    )
    _note(delivery, is_delivered, now)
    if is_delivered:
        return "delivered"
    return "given_up" if delivery.state == State.FAILED else "put_off"


def _attempt(delivery: WebhookDelivery, now: datetime) -> tuple[int | None, str]:
    """Send it; the status of the answer, and why it does not count as taken, empty where it does."""
    body = json.dumps(delivery.body, ensure_ascii=False, separators=(",", ":"))
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "ro-fleet-webhooks/1",
        **headers_of(delivery, delivery.endpoint, body, now),
    }
    try:
        status = post(resolve(delivery.endpoint.url), body.encode(), headers)
    except RefusedPlaceError as error:
        return None, gettext("Nothing is sent there: {why}").format(why=error)[:300]
    # whatever the network or the other side comes up with, the next event must still be sent
    except (OSError, http.client.HTTPException, ValueError) as error:
        log.info("webhook delivery %s failed: %s", delivery.pk, error)
        return None, f"{type(error).__name__}: {error}"[:300]
    if 200 <= status < 300:
        return status, ""
    if 300 <= status < 400:
        return status, gettext("It answered with another address; none is followed.")
    return status, gettext("It answered with status {status}.").format(status=status)


def _note(delivery: WebhookDelivery, is_delivered: bool, now: datetime) -> None:
    """Keep since when an endpoint only fails, and switch it off once that is too long or it says that it is gone."""
    rows = WebhookEndpoint.objects.filter(pk=delivery.endpoint_id)
    if is_delivered:
        rows.exclude(failing_since=None).update(failing_since=None)
        return
    if delivery.event == Event.TEST:
        return
    rows.filter(failing_since=None).update(failing_since=now)
    since = rows.values_list("failing_since", flat=True).first()
    if delivery.answer_status == _GONE or (since is not None and since <= now - ONLY_FAILS_FOR):
        _switch_off(delivery.endpoint_id, now)


def _switch_off(key: int, now: datetime) -> None:
    """Switch an endpoint off and tell the owners, once."""
    with transaction.atomic():
        endpoint = WebhookEndpoint.objects.select_for_update().filter(pk=key, is_on=True).first()
        if endpoint is None:
            return
        endpoint.is_on, endpoint.switched_off_at = False, now
        record(by=None, action="disable webhook endpoint", subject=endpoint, now=now, company=endpoint.company)
        endpoint.save(update_fields=["is_on", "switched_off_at"])
        stop_waiting(endpoint, gettext("The endpoint was switched off: it took nothing any more."))
        owners = Membership.objects.filter(company=endpoint.company_id, role=Membership.Role.OWNER, is_active=True)
        for owner in owners.select_related("user").order_by("pk"):
            write_letter(kind=Letter.Kind.WEBHOOK_OFF, email=owner.user.email, endpoint=endpoint, now=now)
