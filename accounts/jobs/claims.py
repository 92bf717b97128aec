"""Long work in chunks: started once, claimed with a lease, watched, stopped; a killed worker loses and doubles nothing.

A job is its chunks. A worker claims a chunk by one conditional update, so that two can never hold it; the claim carries
a number (`attempts`) and runs out unless renewed. A worker that comes back from the dead finds its number outdated and
can no longer finish the chunk. What a chunk does must leave the same rows when done twice.
"""

import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any, Final

from django.conf import settings
from django.db import InterfaceError, OperationalError, connection, transaction
from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.utils import timezone

from accounts.errors import Conflict, DomainError, InvalidInput
from accounts.jobs.heartbeat import LONGEST_SILENCE, kept, lease
from accounts.jobs.models import Job, JobChunk
from accounts.jobs.queue import JOBS, give, lengths
from accounts.language import gettext
from accounts.models import Company, Membership
from accounts.services.companies import lock_company
from accounts.wall import inside_company, over_all_companies

log = logging.getLogger(__name__)

MOST_ATTEMPTS: Final = 3
"""A chunk whose worker died this often is given up: it is probably what kills them."""
STOPPING_GRACE: Final = timedelta(minutes=1)
"""How long the holder of a job that was asked to stop is waited for; one that lives reports, and ends, well before."""

LIVE: Final = (Job.State.WAITING, Job.State.RUNNING)


class WorkStoppedError(Exception):
    """The job was asked to stop, or the lease went to another worker; the work ends here and leaves no harm."""


class DatabaseAwayError(Exception):
    """The database went away under a chunk, which is no fault of its own: the claim `held` is taken up again later."""

    def __init__(self, held: int) -> None:
        super().__init__(held)
        self.held = held


@dataclass
class ChunkRun:
    """What the handler of a chunk gets: the job's facts, its own payload, and a way to report.

    Attributes
    ----------
    company, parameters, payload
        Whose work it is, what the job was asked, and this chunk's part of it.
    now
        The moment the job was created: all chunks of a job see the same clock.
    earlier
        What the chunks of earlier stages answered, in order.
    """

    company: Company
    parameters: Mapping[str, Any]
    payload: Mapping[str, Any]
    now: datetime
    job_id: int
    by: Membership | None
    earlier: Sequence[Mapping[str, Any]]
    _chunk: JobChunk
    _share_of_others: float
    _share_of_one: float
    _began_at: datetime
    _reported_at: datetime | None = None

    def progress(self, share: float, doing: str) -> None:
        """Tell how far this chunk is (0 to 1) and what it does; renews the lease.

        Raises
        ------
        WorkStoppedError
            When the job was asked to stop, or another worker has taken the chunk over.
        """
        if self.report(share, doing) and self.should_stop():
            raise WorkStoppedError

    def report(self, share: float, doing: str) -> bool:
        """Do as `progress` does, for work that has something to keep when it is stopped: only a lost lease raises.

        Returns
        -------
        bool
            False when it is too soon after the last report to tell again.
        """
        clock = timezone.now()
        if self._reported_at is not None and (clock - self._reported_at) < timedelta(seconds=0.5) and share < 1.0:
            return False
        self._reported_at = clock
        if not renew(chunk=self._chunk, now=clock):
            raise WorkStoppedError
        share_done = min(1.0, self._share_of_others + self._share_of_one * max(0.0, min(1.0, share)))
        Job.objects.filter(pk=self.job_id, state=Job.State.RUNNING).update(share_done=share_done, doing=doing[:200])
        return True

    def is_alive(self) -> bool:
        """Renew the lease from beside the work; False where it is nobody's to renew any more.

        That is so when another worker has the chunk, when the job is to stop and the work does not hear it, and when
        the work has said nothing for too long.
        """
        clock = timezone.now()
        if clock - (self._reported_at or self._began_at) > LONGEST_SILENCE:
            return False
        return _own_claim(self._chunk).filter(job__stop_requested=False).update(lease_until=_lease(clock)) == 1

    def should_stop(self) -> bool:
        """Whether somebody asked the job to stop."""
        return Job.objects.filter(pk=self.job_id, stop_requested=True).exists()


Handler = Callable[[ChunkRun], Mapping[str, Any] | None]
Merge = Callable[[Sequence[Mapping[str, Any]]], Mapping[str, Any]]


def add_up(results: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Merge the results of chunks: numbers are added, of anything else the last one stays."""
    merged: dict[str, Any] = {}
    for result in results:
        for name, value in result.items():
            is_count = isinstance(value, int | float) and not isinstance(value, bool)
            merged[name] = merged.get(name, 0) + value if is_count else value
    return merged


@dataclass(frozen=True)
class Kind:
    """How one kind of job is done: the handler of a chunk, how results come together, and on which queue it waits."""

    name: str
    handler: Handler
    merge: Merge = add_up
    queue: str = JOBS


_kinds: dict[str, Kind] = {}


def register(name: str, handler: Handler, *, merge: Merge = add_up, queue: str = JOBS) -> None:
    """Make a kind of job known; each room registers its own in its `tasks` module."""
    _kinds[name] = Kind(name, handler, merge, queue)


def start_job(
    *,
    company: Company,
    by: Membership | None,
    kind: str,
    parameters: Mapping[str, Any] | None = None,
    chunks: Sequence[Mapping[str, Any]] = ({},),
    then: Sequence[Sequence[Mapping[str, Any]]] = (),
    now: datetime,
    alone: bool = True,
) -> Job:
    """Create a job and hand its chunks to the workers once the transaction has ended.

    The chunks may be done side by side. Each further list in `then` is a stage, handed out when the one before it is
    done; its chunks find the results of earlier stages in `ChunkRun.earlier`.

    Without a broker the chunks run at that moment, in this process. With one that cannot be reached they wait, and
    `resume_stalled` hands them out later.

    Parameters
    ----------
    alone
        Whether a company may have only one job of this kind at a time.

    Raises
    ------
    InvalidInput
        For a kind that no room has registered.
    Conflict
        When the same work for the same company is still going on.
    """
    if kind not in _kinds:
        raise InvalidInput("unknown_job_kind", f"There is no job '{kind}'.", pointer="/kind")
    with transaction.atomic():
        # The lock makes two simultaneous starts take turns, so that the second sees the first.
        lock_company(company.pk)
        going = Job.objects.of_company(company).filter(kind=kind, state__in=LIVE).first() if alone else None
        if going is not None and _is_abandoned(going, now):
            problem = {
                "code": "abandoned",
                "sentence": "The process that ran this job has ended; the job starts again.",
            }
            _end(going.pk, Job.State.FAILED, now, doing=gettext("failed"), problem=problem)
        elif going is not None:
            raise Conflict(
                "job_is_running",
                f"Job {going.pk} is already at this; wait for it or stop it. Should its process have died, this can be "
                f"begun anew a minute after the job was asked to stop.",
            )
        job = Job.objects.create(
            company=company,
            kind=kind,
            parameters=dict(parameters or {}),
            requested_by=by,
            created_at=now,
            doing=gettext("waiting for a worker"),
        )
        staged = [(stage, payload) for stage, payloads in enumerate((chunks, *then)) for payload in payloads]
        JobChunk.objects.bulk_create(
            [
                JobChunk(job=job, index=index, stage=stage, payload=dict(payload))
                for index, (stage, payload) in enumerate(staged)
            ]
        )
        if staged:
            _hand_out_next(job)
        else:
            _finish_if_complete(job.pk, now)
    return job


def stop_job(*, job: Job, by: Membership | None, now: datetime) -> Job:
    """Ask a job to stop: waiting chunks are not begun, running ones end at their next report.

    Should their process have died, nothing reports any more; a minute later they no longer hold the job.
    """
    with transaction.atomic():
        locked = Job.objects.select_for_update(no_key=True).get(pk=job.pk)
        if locked.state not in LIVE:
            raise Conflict("job_has_ended", f"Job {job.pk} has ended ({locked.state}); there is nothing to stop.")
        locked.stop_requested = True
        held = JobChunk.objects.filter(job=locked, state=JobChunk.State.RUNNING, lease_until__gte=now)
        # A process that died cannot hear this: its hold must not outlive the wish to be rid of it by a whole lease.
        held.filter(lease_until__gt=now + STOPPING_GRACE).update(lease_until=now + STOPPING_GRACE)
        if not held.exists():
            locked.state = Job.State.STOPPED
            locked.finished_at = now
            locked.doing = "stopped"
        locked.save(update_fields=["stop_requested", "state", "finished_at", "doing"])
    return locked


def run_chunk(*, job_id: int, index: int, now: datetime | None = None, held: int | None = None) -> str:
    """Do one chunk if it can be claimed.

    Parameters
    ----------
    held
        The claim under which the database went away: it is taken up again where nobody else has the chunk since, and
        does not count as another attempt.

    Returns
    -------
    str
        'done', 'failed', 'stopped'; 'held' when another worker holds it; 'over' when there is nothing left to do.

    Raises
    ------
    DatabaseAwayError
        Where there is a queue that brings the chunk back.
    """
    company_id = _company_of(job_id)
    if company_id is None:
        return "over"
    with inside_company(company_id):
        return _run_chunk(job_id, index, now or timezone.now(), held)


@over_all_companies()
def _company_of(job_id: int) -> int | None:
    """Whose a job is; None when it is gone. A task knows the job alone."""
    return Job.objects.filter(pk=job_id).values_list("company_id", flat=True).first()


def _run_chunk(job_id: int, index: int, clock: datetime, held: int | None) -> str:
    claimed = _taken_up_again(job_id, index, held, clock) if held is not None else None
    claimed = claimed or claim(job_id=job_id, index=index, now=clock)
    if claimed is None:
        return "held" if _is_pending(job_id, index) else "over"
    job = Job.objects.select_related("company", "requested_by").get(pk=job_id)
    if job.stop_requested:
        return _release_stopped(claimed, clock)
    kind = _kinds.get(job.kind)
    if kind is None:
        return _fail(claimed, clock, {"code": "unknown_job_kind", "sentence": f"There is no job '{job.kind}'."})
    work = _work(job, claimed, clock)
    try:
        with kept(work.is_alive):
            result = kind.handler(work)
    except WorkStoppedError:
        return _release_stopped(claimed, timezone.now())
    except DomainError as error:
        return _fail(claimed, timezone.now(), {"code": error.code, "sentence": error.sentence})
    except Exception as error:
        if _is_outage(error) and not settings.CELERY_TASK_ALWAYS_EAGER:
            log.warning("the database went away under chunk %s of job %s (%s): %s", index, job_id, job.kind, error)
            raise DatabaseAwayError(claimed.attempts) from error
        log.exception("chunk %s of job %s (%s) failed", index, job_id, job.kind)
        sentence = "An unexpected error ended the job; it is in the server's log."
        return _fail(claimed, timezone.now(), {"code": "unexpected", "sentence": sentence})
    return _complete(claimed, timezone.now(), result or {})


def claim(*, job_id: int, index: int, now: datetime) -> JobChunk | None:
    """Take a chunk that nobody holds, or whose holder's lease ran out; None when it cannot be had."""
    free = Q(state=JobChunk.State.WAITING) | Q(state=JobChunk.State.RUNNING, lease_until__lt=now)
    with transaction.atomic():
        of_job = JobChunk.objects.filter(job_id=job_id, index=index, job__state__in=LIVE)
        chunk = of_job.filter(~_waits_for_others(), free).first()
        if chunk is None:
            return None
        claimed_rows = (
            JobChunk.objects.filter(pk=chunk.pk, attempts=chunk.attempts)
            .filter(free)
            .update(state=JobChunk.State.RUNNING, attempts=chunk.attempts + 1, lease_until=_lease(now))
        )
        if claimed_rows != 1:
            return None
        Job.objects.filter(pk=job_id, state=Job.State.WAITING).update(state=Job.State.RUNNING, started_at=now)
    chunk.attempts += 1
    chunk.state = JobChunk.State.RUNNING
    if chunk.attempts > MOST_ATTEMPTS:
        sentence = f"The job was started {MOST_ATTEMPTS} times and its worker died each time."
        _fail(chunk, now, {"code": "worker_died", "sentence": sentence})
        return None
    return chunk


def _taken_up_again(job_id: int, index: int, held: int, now: datetime) -> JobChunk | None:
    chunk = JobChunk.objects.filter(job_id=job_id, index=index, attempts=held, job__state__in=LIVE).first()
    return chunk if chunk is not None and renew(chunk=chunk, now=now) else None


def _is_outage(error: Exception) -> bool:
    return isinstance(error, OperationalError | InterfaceError) and not _database_answers()


def _database_answers() -> bool:
    """Whether the connection that failed still works: a statement that is at fault leaves it whole."""
    try:
        usable = bool(connection.is_usable())
    except Exception:  # whatever a broken connection may raise
        usable = False
    if not usable:
        connection.close()
    return usable


def renew(*, chunk: JobChunk, now: datetime) -> bool:
    """Extend the lease of a claimed chunk; False when another worker has taken it over meanwhile."""
    return _own_claim(chunk).update(lease_until=_lease(now)) == 1


def stalled_chunks(*, now: datetime) -> QuerySet[JobChunk]:
    """The chunks that wait for very long, or whose worker is gone, of all companies."""
    expired = Q(state=JobChunk.State.RUNNING, lease_until__lt=now)
    return _pending_chunks(expired | _waiting_since(now - LONGEST_SILENCE))


@over_all_companies()
def resume_stalled(*, now: datetime) -> int:
    """Hand out again the chunks that wait or whose lease ran out; the number handed out.

    A broker gives an unfinished task back by itself, but only after its own time-out, and not when it was emptied. What
    has waited for a lease only is handed out where nothing lies in its queue: behind others it may wait its turn.
    """
    facts = ("job_id", "job__kind", "index")
    chunks = list(stalled_chunks(now=now).values_list(*facts))
    waiting = list(_pending_chunks(_waiting_since(now - lease())).values_list(*facts))
    in_queue = (lengths() if waiting else None) or {}
    chunks += [chunk for chunk in waiting if chunk not in chunks and in_queue.get(_queue_of(chunk[1])) == 0]
    return sum(_enqueue(job_id, kind, [index]) for job_id, kind, index in chunks)


def _waiting_since(then: datetime) -> Q:
    # A chunk that has only just been created is on its way to a worker.
    return Q(state=JobChunk.State.WAITING, job__created_at__lt=then)


def _pending_chunks(which: Q) -> QuerySet[JobChunk]:
    pending = JobChunk.objects.filter(which, ~_waits_for_others(), job__state__in=LIVE)
    return pending.order_by("job_id", "index")


@over_all_companies()
def seconds_until_free(*, job_id: int, index: int, now: datetime) -> int:
    """Seconds until the lease on a held chunk runs out; at least 1."""
    until = JobChunk.objects.filter(job_id=job_id, index=index).values_list("lease_until", flat=True).first()
    return max(1, int((until - now).total_seconds()) + 1) if until else 1


def _is_abandoned(job: Job, now: datetime) -> bool:
    """Whether a job was begun and nobody holds any of it any more."""
    if not settings.CELERY_TASK_ALWAYS_EAGER and not (job.started_at and job.stop_requested):
        # It waits in the queue, or is handed out again; whoever will not wait asks it to stop.
        return False
    is_old = job.stop_requested or job.created_at < now - lease()
    held = JobChunk.objects.filter(job=job, state=JobChunk.State.RUNNING, lease_until__gte=now)
    return is_old and not held.exists()


def _waits_for_others() -> Exists:
    """Whether a chunk of an earlier stage of the same job is not done."""
    earlier = JobChunk.objects.filter(job=OuterRef("job"), stage__lt=OuterRef("stage"))
    return Exists(earlier.exclude(state=JobChunk.State.DONE))


def _hand_out_next(job: Job) -> None:
    """Hand the chunks of the stage that comes next to the workers, once the transaction has ended."""
    waiting = JobChunk.objects.filter(job=job, state=JobChunk.State.WAITING).order_by("stage", "index")
    pairs = list(waiting.values_list("stage", "index"))
    indexes = [index for stage, index in pairs if stage == pairs[0][0]]
    transaction.on_commit(partial(_enqueue, job.pk, job.kind, indexes))


def _enqueue(job_id: int, kind: str, indexes: Sequence[int]) -> int:
    """Hand chunks to the queue; how many it took. Those it could not take stay waiting, for `resume_stalled`."""
    from accounts.jobs import tasks  # tasks call services; this one call goes the other way

    for count, index in enumerate(indexes):
        if not give(tasks.run_job_chunk, queue=_queue_of(kind), job_id=job_id, index=index):
            return count
    return len(indexes)


def _queue_of(kind: str) -> str:
    return _kinds[kind].queue if kind in _kinds else JOBS


def _work(job: Job, chunk: JobChunk, began_at: datetime) -> ChunkRun:
    counts = JobChunk.objects.filter(job_id=job.pk).aggregate(
        total=Count("pk"), done=Count("pk", filter=Q(state=JobChunk.State.DONE))
    )
    total = counts["total"] or 1
    earlier = JobChunk.objects.filter(job_id=job.pk, stage__lt=chunk.stage, state=JobChunk.State.DONE)
    return ChunkRun(
        company=job.company,
        parameters=job.parameters,
        payload=chunk.payload,
        now=job.created_at,
        job_id=job.pk,
        by=job.requested_by,
        earlier=[result or {} for result in earlier.order_by("index").values_list("result", flat=True)],
        _chunk=chunk,
        _share_of_others=counts["done"] / total,
        _share_of_one=1.0 / total,
        _began_at=began_at,
    )


def _own_claim(chunk: JobChunk) -> Any:
    """The chunk as long as this claim holds."""
    return JobChunk.objects.filter(pk=chunk.pk, state=JobChunk.State.RUNNING, attempts=chunk.attempts)


def _lease(now: datetime) -> datetime:
    return now + lease()


def _is_pending(job_id: int, index: int) -> bool:
    open_states = (JobChunk.State.WAITING, JobChunk.State.RUNNING)
    rows = JobChunk.objects.filter(job_id=job_id, index=index, state__in=open_states, job__state__in=LIVE)
    return rows.filter(~_waits_for_others()).exists()


def _complete(chunk: JobChunk, now: datetime, result: Mapping[str, Any]) -> str:
    with transaction.atomic():
        if _own_claim(chunk).update(state=JobChunk.State.DONE, result=dict(result), lease_until=None) != 1:
            # Another worker took the chunk over; its result is the one that counts.
            return "over"
        _finish_if_complete(chunk.job_id, now, chunk)
    return "done"


def _finish_if_complete(job_id: int, now: datetime, finished_chunk: JobChunk | None = None) -> None:
    job = Job.objects.select_for_update(no_key=True).get(pk=job_id)
    chunks = JobChunk.objects.filter(job_id=job_id)
    total = chunks.count()
    finished_chunks = chunks.filter(state=JobChunk.State.DONE).count()
    if finished_chunks < total:
        Job.objects.filter(pk=job_id).update(share_done=finished_chunks / total)
        if job.stop_requested and not chunks.filter(state=JobChunk.State.RUNNING).exists():
            _end(job_id, Job.State.STOPPED, now, doing=gettext("stopped"))
        elif (
            finished_chunk is not None
            and not chunks.filter(~Q(state=JobChunk.State.DONE), stage=finished_chunk.stage).exists()
        ):
            _hand_out_next(job)
        return
    kind = _kinds.get(job.kind)
    results = list(chunks.order_by("index").values_list("result", flat=True))
    merged = (kind.merge if kind else add_up)([result or {} for result in results])
    _end(job_id, Job.State.DONE, now, doing=gettext("done"), share_done=1.0, result=dict(merged))


def _fail(chunk: JobChunk, now: datetime, problem: Mapping[str, Any]) -> str:
    with transaction.atomic():
        if _own_claim(chunk).update(state=JobChunk.State.FAILED, result=dict(problem), lease_until=None) != 1:
            return "over"
        _end(chunk.job_id, Job.State.FAILED, now, doing=gettext("failed"), problem=dict(problem))
    return "failed"


def _release_stopped(chunk: JobChunk, now: datetime) -> str:
    with transaction.atomic():
        if _own_claim(chunk).update(state=JobChunk.State.WAITING, lease_until=None) != 1:
            return "over"
        if not JobChunk.objects.filter(job_id=chunk.job_id, state=JobChunk.State.RUNNING).exists():
            _end(chunk.job_id, Job.State.STOPPED, now, doing=gettext("stopped"))
    return "stopped"


def _end(job_id: int, state: str, now: datetime, **fields: Any) -> None:
    Job.objects.filter(pk=job_id, state__in=LIVE).update(state=state, finished_at=now, **fields)
