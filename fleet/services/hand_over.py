"""Work that follows a change is handed to the queue once the change is stored; a queue that is away fails nobody."""

from collections.abc import Iterable
from typing import Any, Final

from celery import Task
from django.db import transaction
from django.utils import timezone

from accounts.jobs.models import Job, JobChunk
from accounts.jobs.queue import give

JOB_KIND: Final = "follow_up"
"""The job that waits for the queue to come back: indicators and findings of some units."""


def hand_over(
    task: "Task[Any, Any]", *, company_id: int, unit_ids: Iterable[int], of_meters: bool = False, **more: Any
) -> None:
    """Have indicators or findings of units made anew once the transaction has ended, whatever becomes of the queue.

    Parameters
    ----------
    task
        What the workers do; it gets `company_id`, `unit_ids` and what else is named here.
    of_meters
        That how well values are known has changed, and not the values; told to the task when true.

    When the queue cannot be reached, a job is left that `resume_stalled` hands out when the queue is back. It makes
    everything of these units anew, and so stands in for all tasks that could not be handed over.
    """
    ids = sorted(set(unit_ids))
    arguments = {"company_id": company_id, "unit_ids": ids, **({"of_meters": True} if of_meters else {}), **more}

    def send() -> None:
        if not give(task, **arguments):
            _leave(company_id, {"unit_ids": ids, "of_meters": of_meters})

    # Without a broker the work is done here and now: its error belongs in the log, and not in the answer to a change
    # that is stored.
    transaction.on_commit(send, robust=True)


def _leave(company_id: int, payload: dict[str, Any]) -> None:
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
        job = Job.objects.create(
            company_id=company_id, kind=JOB_KIND, created_at=timezone.now(), doing="waiting for the queue"
        )
        JobChunk.objects.create(job=job, index=0, payload=payload)
