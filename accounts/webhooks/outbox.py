"""The outbox of events: written in the transaction of what they tell of, and sent afterwards by whoever sends post."""

import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from typing import Any

from accounts.models import Company
from accounts.webhooks.models import Event, WebhookDelivery, WebhookEndpoint

_AT_ONCE = 500


@dataclass(frozen=True, slots=True)
class Happening:
    """Something that happened, as it is told outside.

    `subject` is what it is about, as 'visit 12', and `says` what it says of it: what an endpoint was told last of a
    subject it is not told again. `data` is JSON of ids, codes, days and moments, and names no person.
    """

    event: Event
    subject: str
    says: str
    data: Mapping[str, Any]


def has_receiver(company_id: int, *events: Event) -> bool:
    """Whether anybody outside is told of one of these events, for whoever would look long for what to say."""
    return bool(_endpoints(company_id, set(events)))


def tell(*, company_id: int, happenings: Iterable[Happening], now: datetime) -> int:
    """Leave events for every endpoint that asked for them; call it in the transaction of what happened.

    Returns
    -------
    How many deliveries were written.
    """
    listed = list(happenings)
    endpoints = _endpoints(company_id, {each.event for each in listed}) if listed else []
    ids = {id(each): f"msg_{uuid.uuid4().hex}" for each in listed}
    written = 0
    for endpoint in endpoints:
        wanted = iter([each for each in listed if each.event in endpoint.events])
        while part := list(islice(wanted, _AT_ONCE)):
            rows = list(_unsaid(endpoint, part, ids, now))
            WebhookDelivery.objects.bulk_create(rows)
            written += len(rows)
    return written


def body_of(event: Event, data: Mapping[str, Any], *, company_id: int, now: datetime) -> dict[str, Any]:
    """What is sent of an event: its type, its moment, and what it is about; the company first."""
    moment = now.astimezone(UTC).isoformat().replace("+00:00", "Z")
    return {"type": event.value, "timestamp": moment, "data": {"company": company_id, **data}}


def delivery_to(endpoint: WebhookEndpoint, happening: Happening, *, message_id: str, now: datetime) -> WebhookDelivery:
    """A delivery that waits to be sent at once, not yet saved."""
    return WebhookDelivery(
        endpoint=endpoint,
        event=happening.event,
        message_id=message_id,
        subject=happening.subject,
        says=happening.says,
        body=body_of(happening.event, happening.data, company_id=endpoint.company_id, now=now),
        happened_at=now,
        next_attempt_at=now,
    )


def _endpoints(company_id: int, events: set[Event]) -> list[WebhookEndpoint]:
    rows = WebhookEndpoint.objects.of_company(Company(pk=company_id)).filter(is_on=True).order_by("pk")
    return [endpoint for endpoint in rows if events.intersection(endpoint.events)]


def _unsaid(
    endpoint: WebhookEndpoint, happenings: Sequence[Happening], ids: Mapping[int, str], now: datetime
) -> Iterator[WebhookDelivery]:
    said = dict(
        WebhookDelivery.objects.filter(endpoint=endpoint, subject__in={each.subject for each in happenings})
        .order_by("pk")
        .values_list("subject", "says")
    )
    for each in happenings:
        if said.get(each.subject) != each.says:
            said[each.subject] = each.says
            yield delivery_to(endpoint, each, message_id=ids[id(each)], now=now)
