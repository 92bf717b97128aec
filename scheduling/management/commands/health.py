"""`manage.py health`: what is stuck on this server and what to do about it; the code says how bad it is."""

from typing import Any, Final

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from scheduling.management.health import troubles

NEEDS_SOMEBODY: Final = 1
ANSWERS_NOBODY: Final = 2


class Command(BaseCommand):
    help = (
        "Tells what does not go on by itself, of all companies: database, tables, queue, jobs, nights and letters, "
        "each with what to do. Ends with code 0 when nothing is stuck, 1 when something needs somebody, and 2 when "
        "nothing goes on, since the database cannot be reached or has not the tables of this program."
    )
    # It looks at the tables itself, and says what is to be done.
    requires_migrations_checks = False

    def handle(self, *args: Any, **options: Any) -> None:
        found = troubles(now=timezone.now())
        for trouble in found:
            self.stdout.write(trouble.what)
            self.stdout.write(f"    {trouble.advice}")
        if found:
            code = ANSWERS_NOBODY if any(trouble.stops_all for trouble in found) else NEEDS_SOMEBODY
            raise CommandError(f"{len(found)} of these need somebody.", returncode=code)
        self.stdout.write("Nothing is stuck.")
