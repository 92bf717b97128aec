"""`manage.py send_messages`: reminders, morning letters and what else waits, for cron, every few minutes."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from scheduling.services.post import send_post


class Command(BaseCommand):
    help = (
        "Writes the reminders and morning letters that are due, and sends what waits. What cannot be sent is tried "
        "again, then listed for a call."
    )

    def handle(self, *args: Any, **options: Any) -> None:
        counts = send_post(now=timezone.now())
        self.stdout.write(", ".join(f"{count} {name.replace('_', ' ')}" for name, count in counts.items()))
