"""Work that follows a change is handed to the queue once the change is stored; a queue that is away fails nobody."""

import hashlib
from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any, Final

from celery import Task
from django.db import transaction

from accounts.jobs.models import Job, JobChunk
from accounts.jobs.queue import give
from accounts.jobs.waiting import begun, is_first
from accounts.language import gettext

JOB_KIND: Final = "follow_up"
"""The job that waits for the queue to come back: everything that follows a change of some units."""

_OF_METERS: Final = "meters"
_FROM_THE_FIRST: Final = ""
"""Of a change that no moment bounds: indicators of all readings are looked at."""


def hand_over(
    task: "Task[Any, Any]",
    *,
    company_id: int,
    unit_ids: Sequence[int],
    kinds: Collection[str],
    since: str | None,
    now: datetime,
) -> None:
    """Give the queue what follows a change that is stored, unless the same already waits there for the same units.

    Parameters
    ----------
    task
        What the workers do; it gets the other arguments, the clock as ISO 8601 text.

    When the queue cannot be reached, a job is left that `resume_stalled` hands out when the queue is back. It makes
    everything of these units anew, and so stands in for all that could not be handed over.
    """
    name = _name(company_id, unit_ids, kinds)
    if not is_first(name, since or _FROM_THE_FIRST):
        return
    sent = give(
        task, company_id=company_id, unit_ids=list(unit_ids), kinds=list(kinds), since=since, now=now.isoformat()
    )
    if not sent:
        begun(name)
        _leave(company_id, {"unit_ids": list(unit_ids), "of_meters": _OF_METERS in kinds}, now)


def oldest_change(
    *, company_id: int, unit_ids: Sequence[int], kinds: Collection[str], since: str | None, again: bool
) -> datetime | None:
    """Begin what follows changes of units: from which moment on to look at readings; None: from the first.

    Parameters
    ----------
    since
        What the change said that put the work on the queue, as ISO 8601 text; others have joined it since.
    again
        Whether a worker had begun it before and died: nobody knows any more who had joined it.
    """
    moments = {since or _FROM_THE_FIRST, *begun(_name(company_id, unit_ids, kinds))}
    if again or _FROM_THE_FIRST in moments:
        return None
    return min(datetime.fromisoformat(moment) for moment in moments)


def _name(company_id: int, unit_ids: Sequence[int], kinds: Collection[str]) -> str:
    """One name for the same work, however long the list of units is."""
    units = hashlib.sha256(" ".join(map(str, sorted(unit_ids))).encode()).hexdigest()[:32]
    return f"{JOB_KIND}:{company_id}:{'+'.join(sorted(kinds))}:{units}"


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
