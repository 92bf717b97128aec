"""How long the steps of long work take, and when each was last done: the newest run of each, by company."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta

from django.db.models import F
from django.utils import timezone

from accounts.jobs.models import StepTime
from accounts.models import Company


@contextmanager
def timed(*, company: Company, kind: str, step: str, since: datetime | None = None) -> Iterator[None]:
    """Note how long the block takes; a block that fails leaves what the run before noted.

    Where a step is done in parts, ``since`` is when the work began: the time of a part is added to what parts of the
    same run took.
    """
    began = time.perf_counter()
    yield
    took = timedelta(seconds=time.perf_counter() - began)
    note_step(company=company, kind=kind, step=step, took=took, since=since)


def note_step(*, company: Company, kind: str, step: str, took: timedelta, since: datetime | None = None) -> None:
    """Note that a step of a company's work has ended, on the clock of those who watch, and how long it took."""
    if since is not None:
        earlier = StepTime.objects.filter(company=company, kind=kind, step=step, ended_at__gte=since)
        if earlier.update(seconds=F("seconds") + took.total_seconds(), ended_at=timezone.now()):
            return
    row = StepTime(company=company, kind=kind, step=step, seconds=took.total_seconds(), ended_at=timezone.now())
    StepTime.objects.bulk_create(
        [row],
        update_conflicts=True,
        unique_fields=["company", "kind", "step"],
        update_fields=["seconds", "ended_at"],
    )
