"""Work that follows a change is handed to the queue once the change is stored; a queue that is away fails nobody."""

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any, Final

from celery import Task
from django.db import transaction

from accounts.jobs.models import Job, JobChunk
from accounts.jobs.queue import give
from accounts.language import gettext

JOB_KIND: Final = "follow_up"
"""The job that waits for the queue to come back: everything that follows a change of some units."""

_OF_METERS: Final = "meters"


def hand_over(
    task: "Task[Any, Any]",
    *,
    company_id: int,
    unit_ids: Sequence[int],
    kinds: Collection[str],
    since: str | None,
    now: datetime,
) -> None:
    """Give the queue what follows a change that is stored.

    Parameters
    ----------
    task
        What the workers do; it gets the other arguments, the clock as ISO 8601 text.

    When the queue cannot be reached, a job is left that `resume_stalled` hands out when the queue is back. It makes
    everything of these units anew, and so stands in for all that could not be handed over.
    """
    sent = give(
        task, company_id=company_id, unit_ids=list(unit_ids), kinds=list(kinds), since=since, now=now.isoformat()
    )
    if not sent:
        _leave(company_id, {"unit_ids": list(unit_ids), "of_meters": _OF_METERS in kinds}, now)


def _leave(company_id: int, payload: dict[str, Any], now: datetime) -> None:
    """Leave a job for later, unless the same one waits already."""
    with transaction.atomic():
        waiting = JobChunk.objects.filter(
            job__company_id=company_id,
            job__kind=JOB_KIND,
            job__state=Job.State.WAITING,
            state=JobChunk.State.WAITING,
            payload=payload,
        )
        if waiting.exists():
            return
        doing = gettext("waiting for the queue")
        job = Job.objects.create(company_id=company_id, kind=JOB_KIND, created_at=now, doing=doing)
        JobChunk.objects.create(job=job, index=0, payload=payload)
