"""How long the steps of long work take, and when each was last done: the newest run of each, by company."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta

from django.utils import timezone

from accounts.jobs.models import StepTime
from accounts.models import Company


@contextmanager
def timed(*, company: Company, kind: str, step: str) -> Iterator[None]:
    """Note how long the block takes; a block that fails leaves what the run before noted."""
    began = time.perf_counter()
    yield
    note_step(company=company, kind=kind, step=step, took=timedelta(seconds=time.perf_counter() - began))


def note_step(*, company: Company, kind: str, step: str, took: timedelta) -> None:
    """Note that a step of a company's work has ended, on the clock of those who watch, and how long it took."""
    row = StepTime(company=company, kind=kind, step=step, seconds=took.total_seconds(), ended_at=timezone.now())
    StepTime.objects.bulk_create(
        [row],
        update_conflicts=True,
        unique_fields=["company", "kind", "step"],
        update_fields=["seconds", "ended_at"],
    )
