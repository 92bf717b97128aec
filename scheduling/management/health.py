"""What is stuck on this server, of all companies, and what whoever keeps it running can do about it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db.models import Exists, OuterRef

from accounts.jobs.claims import stalled_chunks
from accounts.jobs.models import Job
from accounts.models import Company, Letter
from accounts.observing.readiness import OK, readiness
from accounts.services.letters import MOST_ATTEMPTS
from accounts.wall import over_all_companies
from fleet.models import Forecast, Placement
from scheduling.models import Message

NIGHT_MISSED_AFTER: Final = timedelta(hours=36)
"""A night comes every day; half a day more is no reason to wake anybody."""

LETTER_LATE_AFTER: Final = timedelta(hours=1)
"""The queue is emptied every minute or every few minutes; by then the server of the post has refused more than once."""

_FAILED_SINCE: Final = timedelta(days=1)
_SHOWN: Final = 5


@dataclass(frozen=True)
class Trouble:
    """Something that does not go on by itself: what it is, what to do, and whether nothing at all goes on without."""

    what: str
    advice: str
    stops_all: bool = False


@over_all_companies()
def troubles(*, now: datetime) -> list[Trouble]:
    """Everything that is stuck; nothing when all goes on by itself.

    Where database or tables are not as they should be, that alone is told: nothing else can be asked then.
    """
    parts = dict(readiness())
    found = [
        Trouble(f"{name}: {state}", _ADVICE[name], stops_all=name in _NEEDED)
        for name, state in parts.items()
        if state != OK
    ]
    if any(trouble.stops_all for trouble in found):
        return found
    return [*found, *_work(now), *_failures(now), *_nights(now), *_letters(now), *_links(now)]


# Without a queue, requests are still answered, and what they ask for waits.
_NEEDED: Final = frozenset({"database", "tables"})
_ADVICE: Final = {
    "database": "Start it, or correct DATABASE_URL.",
    "tables": "The program is newer than its tables: run manage.py migrate.",
    "queue": "Start it, or correct REDIS_URL; what was asked for meanwhile is done then.",
}


def _work(now: datetime) -> Iterator[Trouble]:
    stalled = stalled_chunks(now=now).select_related("job")
    if count := len(stalled):
        kinds = ", ".join(sorted({chunk.job.kind for chunk in stalled}))
        yield Trouble(
            f"jobs: {count} pieces of work wait for a worker or were left by one ({kinds})",
            "Start a worker: celery -A fleet.config.celery worker; beat hands them out within five minutes.",
        )


def _failures(now: datetime) -> Iterator[Trouble]:
    failed = Job.objects.filter(state=Job.State.FAILED, finished_at__gte=now - _FAILED_SINCE).select_related("company")
    for job in failed[:_SHOWN]:
        said = (job.problem or {}).get("detail") or (job.problem or {}).get("sentence") or "no reason was kept"
        yield Trouble(
            f"jobs: {job.kind} {job.pk} of {job.company} failed: {said}",
            "The log has the fault; what it left undone, the next night does.",
        )
    if (count := failed.count()) > _SHOWN:
        yield Trouble(f"jobs: {count - _SHOWN} more failed within a day", "The log has their faults.")


def _nights(now: datetime) -> Iterator[Trouble]:
    of_company = {"position__unit__company": OuterRef("pk")}
    installed = Placement.objects.filter(**of_company, removed_at=None, placed_at__lt=now - NIGHT_MISSED_AFTER)
    forecast = Forecast.objects.filter(**of_company, computed_at__gte=now - NIGHT_MISSED_AFTER)
    missed = Company.objects.filter(Exists(installed) & ~Exists(forecast)).order_by("pk")
    names = [str(company) for company in missed[:_SHOWN]]
    if names:
        more = missed.count() - len(names)
        yield Trouble(
            f"nights: no forecast for a day and a half of {', '.join(names)}{f' and {more} more' if more else ''}",
            "Let beat run, or cron call manage.py nightly; it may be called now.",
        )


def _letters(now: datetime) -> Iterator[Trouble]:
    late = Message.objects.filter(state=Message.State.WAITING, created_at__lt=now - LETTER_LATE_AFTER)
    late = late.exclude(useful_until__lt=now)
    if count := late.count():
        oldest = late.order_by("created_at")[0]
        yield Trouble(
            f"letters: {count} wait for more than an hour, the oldest since {oldest.created_at:%Y-%m-%d %H:%M} UTC"
            + (f"; tried last: {oldest.trouble}" if oldest.trouble else ""),
            "Let beat run, or cron call manage.py send_messages; where that was tried, look at EMAIL_URL.",
        )


def _links(now: datetime) -> Iterator[Trouble]:
    late = Letter.objects.filter(sent_at=None, written_at__lt=now - LETTER_LATE_AFTER)
    if count := late.count():
        given_up = late.filter(attempts__gte=MOST_ATTEMPTS).count()
        yield Trouble(
            f"links: {count} letters with invitations or links to passwords wait for more than an hour"
            + (f", {given_up} of them are tried no more" if given_up else ""),
            "Let beat run, or cron call manage.py send_messages; where that was tried, look at EMAIL_URL. What is "
            "tried no more has to be asked for again.",
        )
