"""`manage.py health`: what is stuck on this server and what to do about it; an error where something is."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scheduling.management.health import troubles


class Command(BaseCommand):
    help = (
        "Tells what does not go on by itself, of all companies: database, tables, queue, jobs, nights and letters, "
        "each with what to do. Ends with an error where something is stuck."
    )
    # It looks at the tables itself, and says what is to be done.
    requires_migrations_checks = False

    def handle(self, *args: Any, **options: Any) -> None:
        found = troubles(now=timezone.now())
        for trouble in found:
            self.stdout.write(trouble.what)
            self.stdout.write(f"    {trouble.advice}")
        if found:
            raise CommandError(f"{len(found)} of these need somebody.")
        self.stdout.write("Nothing is stuck.")
