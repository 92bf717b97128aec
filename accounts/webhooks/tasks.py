"""What workers do here; it can be done twice without harm."""

from typing import Any

from celery import shared_task
from django.utils import timezone

from accounts.webhooks import sending


@shared_task
def send_webhooks(**_: Any) -> int:
    """Send the events that wait; how many were delivered."""
    return sending.send_deliveries(now=timezone.now())["delivered"]


@shared_task
def send_webhook(*, delivery_id: int, **_: Any) -> str | None:
    """Send one event for which somebody waits."""
    return sending.send_delivery(delivery_id=delivery_id, now=timezone.now())
