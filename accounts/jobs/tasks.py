"""What workers do for jobs: each task takes ids by keyword, makes one service call, can be done twice without harm."""

from typing import Any, Final

from celery import Task, shared_task
from django.db import InterfaceError, OperationalError
from django.utils import timezone

from accounts.jobs import claims, held

_DATABASE_BACK_SECONDS: Final = 10
"""A database that is started again answers within some seconds."""


@shared_task(bind=True, max_retries=None)
def run_job_chunk(self: "Task[Any, Any]", *, job_id: int, index: int, held: int | None = None, **_: Any) -> str:
    """Do one chunk of a job; one that another worker seems to hold is looked at again when its lease is over."""
    try:
        outcome = claims.run_chunk(job_id=job_id, index=index, held=held)
    except claims.DatabaseAwayError as away:
        again = {"job_id": job_id, "index": index, "held": away.held}
        raise self.retry(kwargs=again, countdown=_DATABASE_BACK_SECONDS) from away
    except (OperationalError, InterfaceError) as error:
        # It is away before anything is begun, or while that is told.
        if self.request.is_eager:
            raise
        raise self.retry(countdown=_DATABASE_BACK_SECONDS) from error
    if outcome == "held" and not self.request.is_eager:
        seconds = claims.seconds_until_free(job_id=job_id, index=index, now=timezone.now())
        raise self.retry(countdown=seconds)
    return outcome


@shared_task
def resume_stalled_jobs(**_: Any) -> int:
    """Hand out again what a dead worker left."""
    now = timezone.now()
    return claims.resume_stalled(now=now) + held.give_again(now=now)
