"""`manage.py send_messages`: the e-mails that wait, for a cron user who runs it every few minutes."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from scheduling.services.people.messages import send_messages


class Command(BaseCommand):
    help = "Send the e-mails that wait. Those that cannot be sent are tried again, then listed for a call."

    def handle(self, *args: Any, **options: Any) -> None:
        counts = send_messages(now=timezone.now())
        self.stdout.write(", ".join(f"{count} {name.replace('_', ' ')}" for name, count in counts.items()))
