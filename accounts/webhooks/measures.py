"""What whoever keeps the server running sees of events out."""

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Count, Min
from prometheus_client.core import Metric

from accounts.observing.installation import waiting
from accounts.webhooks.models import WebhookDelivery


def deliveries(now: datetime) -> Iterator[Metric]:
    """Events that wait to be taken."""
    rows = WebhookDelivery.objects.filter(state=WebhookDelivery.State.WAITING).order_by()
    found = rows.aggregate(n=Count("pk"), oldest=Min("happened_at"))
    yield from waiting("events_out", "Events out", {"webhook": (found["n"], found["oldest"])}, now)
