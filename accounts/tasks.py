"""What workers do for this room; it can be done twice without harm."""

from typing import Any

from celery import shared_task
from django.utils import timezone

from accounts.services import letters


@shared_task
def send_letters(**_: Any) -> int:
    """Send the letters about getting in that wait; how many left."""
    return letters.send_letters(now=timezone.now())
