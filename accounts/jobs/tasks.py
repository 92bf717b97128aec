"""What workers do for jobs: each task takes ids by keyword, makes one service call, can be done twice without harm."""

from typing import Any

from celery import Task, shared_task
from django.utils import timezone

from accounts.jobs import claims


@shared_task(bind=True, max_retries=None)
def run_job_chunk(self: "Task[Any, Any]", *, job_id: int, index: int, **_: Any) -> str:
    """Do one chunk of a job; one that another worker seems to hold is looked at again when its lease is over."""
    outcome = claims.run_chunk(job_id=job_id, index=index)
    if outcome == "held" and not self.request.is_eager:
        seconds = claims.seconds_until_free(job_id=job_id, index=index, now=timezone.now())
        raise self.retry(countdown=seconds)
    return outcome


@shared_task
def resume_stalled_jobs(**_: Any) -> int:
    """Hand out again what a dead worker left."""
    return claims.resume_stalled(now=timezone.now())
