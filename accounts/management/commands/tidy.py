"""Delete what nobody needs any more: long expired tokens, kept answers, ended sessions, old letters."""

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from accounts.services.tidying import tidy


class Command(BaseCommand):
    """`manage.py tidy`, for a cron user; running it again does no harm."""

    help = "Delete long expired tokens, stored answers past their keeping, ended sessions and old letters."

    def handle(self, *args: Any, **options: Any) -> None:
        deleted = tidy(now=timezone.now())
        self.stdout.write(
            f"Deleted {deleted.tokens} tokens, {deleted.answers} stored answers, {deleted.sessions} sessions, "
            f"{deleted.letters} letters."
        )
