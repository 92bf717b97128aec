"""Jobs in chunks: claimed by one, resumed after a death, stopped on request, watched meanwhile."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError, transaction
from django.utils import timezone

from accounts.errors import Conflict, InvalidInput
from accounts.jobs import claims
from accounts.jobs.models import Job, JobChunk
from accounts.models import Company, Membership

LEASE = timedelta(seconds=900)


@pytest.fixture
def done() -> Iterator[list[int]]:
    """Register a job that notes the chunks it does; parts of its behaviour are told by the payload."""
    indexes_run: list[int] = []

    def handler(work: claims.ChunkRun) -> dict[str, Any]:
        number = int(work.payload["number"])
        work.progress(0.5, f"chunk {number}")
        if work.payload.get("fails") == "unexpected":
            raise ZeroDivisionError
        if work.payload.get("fails"):
            raise InvalidInput("no_such_water", "There is no such water.")
        indexes_run.append(number)
        return {"rows": number, "last": f"chunk {number}"}

    claims.register("test", handler)
    yield indexes_run
    claims._kinds.pop("test")


def start(company: Company, *payloads: dict[str, Any], by: Membership | None = None) -> Job:
    """Create a job without running it."""
    with transaction.atomic():
        return claims.start_job(company=company, by=by, kind="test", chunks=payloads, now=timezone.now())


def test_in_process_a_job_is_finished_when_its_transaction_has_ended(
    company: Company, owner: Membership, done: list[int], django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        job = start(company, {"number": 1}, {"number": 2}, {"number": 4}, by=owner)
        assert job.state == "waiting"
        assert done == []
    job.refresh_from_db()
    assert (job.state, job.share_done, job.requested_by) == ("done", 1.0, owner)
    assert done == [1, 2, 4]
    assert job.result == {"rows": 7, "last": "chunk 4"}
    assert job.started_at is not None
    assert job.finished_at is not None


def test_a_job_without_chunks_is_done_at_once(company: Company, done: list[int]) -> None:
    job = start(company)
    job.refresh_from_db()
    assert (job.state, job.result) == ("done", {})


def test_a_chunk_is_held_by_one_worker_and_done_once(company: Company, done: list[int]) -> None:
    job = start(company, {"number": 1})
    now = timezone.now()
    first = claims.claim(job_id=job.pk, index=0, now=now)
    assert first is not None
    assert claims.claim(job_id=job.pk, index=0, now=now) is None
    assert claims.run_chunk(job_id=job.pk, index=0) == "held"
    assert claims.seconds_until_free(job_id=job.pk, index=0, now=now) == pytest.approx(900, abs=1)
    assert done == []


def test_a_dead_workers_chunk_is_taken_over_and_the_dead_cannot_finish_it(company: Company, done: list[int]) -> None:
    job = start(company, {"number": 1}, {"number": 2})
    long_ago = timezone.now() - 2 * LEASE
    dead = claims.claim(job_id=job.pk, index=0, now=long_ago)
    assert dead is not None
    assert claims.run_chunk(job_id=job.pk, index=0) == "done"
    assert claims.run_chunk(job_id=job.pk, index=0) == "over"
    assert not claims.renew(chunk=dead, now=timezone.now())
    assert claims._complete(dead, timezone.now(), {"rows": 99}) == "over"
    assert claims.run_chunk(job_id=job.pk, index=1) == "done"
    job.refresh_from_db()
    assert (job.state, job.result) == ("done", {"rows": 3, "last": "chunk 2"})
    assert done == [1, 2]


def test_stalled_chunks_are_handed_out_again(
    company: Company, done: list[int], django_capture_on_commit_callbacks: Any
) -> None:
    job = start(company, {"number": 1}, {"number": 2})
    claims.claim(job_id=job.pk, index=0, now=timezone.now())
    assert claims.resume_stalled(now=timezone.now()) == 0
    later = timezone.now() + 2 * LEASE
    JobChunk.objects.filter(index=0).update(lease_until=timezone.now() - LEASE)
    assert claims.resume_stalled(now=later) == 2
    job.refresh_from_db()
    assert job.state == "done"
    assert sorted(done) == [1, 2]


def test_a_chunk_that_keeps_killing_its_worker_is_given_up(company: Company, done: list[int]) -> None:
    job = start(company, {"number": 1})
    clock = timezone.now()
    for _ in range(claims.MOST_ATTEMPTS):
        assert claims.claim(job_id=job.pk, index=0, now=clock) is not None
        clock += 2 * LEASE
    assert claims.run_chunk(job_id=job.pk, index=0, now=clock) == "over"
    job.refresh_from_db()
    assert (job.state, job.problem["code"]) == ("failed", "worker_died")
    assert done == []


@pytest.mark.parametrize(("fails", "code"), [("domain", "no_such_water"), ("unexpected", "unexpected")])
def test_a_failure_is_told_with_a_sentence_and_never_a_traceback(
    company: Company, done: list[int], fails: str, code: str
) -> None:
    job = start(company, {"number": 1, "fails": fails}, {"number": 2})
    assert claims.run_chunk(job_id=job.pk, index=0) == "failed"
    job.refresh_from_db()
    assert job.state == "failed"
    assert job.problem["code"] == code
    assert "Traceback" not in str(job.problem)
    assert claims.run_chunk(job_id=job.pk, index=1) == "over"


def test_a_waiting_job_stops_at_once_and_a_running_one_at_its_next_report(
    company: Company, owner: Membership, done: list[int]
) -> None:
    waiting = start(company, {"number": 1})
    stopped = claims.stop_job(job=waiting, by=owner, now=timezone.now())
    assert stopped.state == "stopped"
    assert claims.run_chunk(job_id=waiting.pk, index=0) == "over"
    with pytest.raises(Conflict):
        claims.stop_job(job=waiting, by=owner, now=timezone.now())

    def stop_in_the_middle(work: claims.ChunkRun) -> None:
        claims.stop_job(job=Job.objects.get(pk=work.job_id), by=owner, now=timezone.now())
        work.progress(0.3, "going on")
        raise AssertionError("the report should have ended the work")

    claims.register("test", stop_in_the_middle)
    running = start(company, {"number": 1})
    assert claims.run_chunk(job_id=running.pk, index=0) == "stopped"
    running.refresh_from_db()
    assert running.state == "stopped"
    assert done == []


def test_progress_is_seen_while_the_work_goes_on(company: Company, done: list[int]) -> None:
    reports: list[tuple[float, str]] = []

    def handler(work: claims.ChunkRun) -> None:
        work.progress(0.5, "half way")
        reports.append(tuple(Job.objects.values_list("share_done", "doing").get(pk=work.job_id)))

    claims.register("test", handler)
    job = start(company, {}, {})
    claims.run_chunk(job_id=job.pk, index=0)
    claims.run_chunk(job_id=job.pk, index=1)
    assert reports == [(0.25, "half way"), (0.75, "half way")]


def test_the_same_work_does_not_start_twice(company: Company, rival_company: Company, done: list[int]) -> None:
    start(company, {"number": 1})
    with pytest.raises(Conflict):
        start(company, {"number": 1})
    start(rival_company, {"number": 1})
    assert Job.objects.count() == 2


def test_work_abandoned_by_a_dead_process_does_not_block_the_next(company: Company, done: list[int]) -> None:
    old = start(company, {"number": 1})
    claims.claim(job_id=old.pk, index=0, now=timezone.now() - 3 * LEASE)
    Job.objects.update(created_at=timezone.now() - 3 * LEASE)
    fresh = start(company, {"number": 1})
    old.refresh_from_db()
    assert (old.state, old.problem["code"]) == ("failed", "abandoned")
    assert claims.run_chunk(job_id=fresh.pk, index=0) == "done"


def test_a_job_of_a_process_that_died_just_now_is_rid_of_by_asking_it_to_stop(
    company: Company, owner: Membership, done: list[int]
) -> None:
    old = start(company, {"number": 1})
    now = timezone.now()
    claims.claim(job_id=old.pk, index=0, now=now)
    assert claims.stop_job(job=old, by=owner, now=now).state == "running"
    with pytest.raises(Conflict, match="begun anew a minute after"):
        start(company, {"number": 1})
    later = now + claims.STOPPING_GRACE + timedelta(seconds=1)
    with transaction.atomic():
        fresh = claims.start_job(company=company, by=owner, kind="test", chunks=[{"number": 1}], now=later)
    old.refresh_from_db()
    assert (old.state, old.problem["code"]) == ("failed", "abandoned")
    assert claims.run_chunk(job_id=fresh.pk, index=0) == "done"


def test_asked_twice_to_stop_a_job_without_a_living_process_is_stopped(
    company: Company, owner: Membership, done: list[int]
) -> None:
    job = start(company, {"number": 1})
    now = timezone.now()
    claims.claim(job_id=job.pk, index=0, now=now)
    claims.stop_job(job=job, by=owner, now=now)
    stopped = claims.stop_job(job=job, by=owner, now=now + claims.STOPPING_GRACE + timedelta(seconds=1))
    assert stopped.state == "stopped"


def test_an_unknown_kind_is_refused(company: Company) -> None:
    with pytest.raises(InvalidInput):
        claims.start_job(company=company, by=None, kind="magic", now=timezone.now())


def test_a_vanished_job_ends_quietly(db: None) -> None:
    assert claims.run_chunk(job_id=123456, index=0) == "over"


def test_a_stage_is_handed_out_when_the_one_before_it_is_done_and_reads_its_answers(
    company: Company, django_capture_on_commit_callbacks: Any
) -> None:
    ran: list[tuple[int, list[Any]]] = []

    def handler(work: claims.ChunkRun) -> dict[str, Any]:
        number = int(work.payload["number"])
        ran.append((number, [answer["rows"] for answer in work.earlier]))
        return {"rows": number}

    claims.register("staged", handler)
    try:
        with django_capture_on_commit_callbacks():
            job = claims.start_job(
                company=company,
                by=None,
                kind="staged",
                chunks=[{"number": 1}],
                then=[[{"number": 2}, {"number": 3}], [{"number": 4}]],
                now=timezone.now() - 2 * LEASE,
            )
        # Whoever comes too soon finds nothing to do, and what waits for others is not left lying.
        assert claims.run_chunk(job_id=job.pk, index=3) == "over"
        assert [chunk.index for chunk in claims.stalled_chunks(now=timezone.now())] == [0]
        assert claims.run_chunk(job_id=job.pk, index=0) == "done"
        assert claims.run_chunk(job_id=job.pk, index=2) == "done"
        assert claims.run_chunk(job_id=job.pk, index=3) == "over"
        assert [chunk.index for chunk in claims.stalled_chunks(now=timezone.now())] == [1]
        assert claims.run_chunk(job_id=job.pk, index=1) == "done"
        assert claims.run_chunk(job_id=job.pk, index=3) == "done"
    finally:
        claims._kinds.pop("staged")
    job.refresh_from_db()
    assert (job.state, job.result) == ("done", {"rows": 10})
    assert ran == [(1, []), (3, [1]), (2, [1]), (4, [1, 2, 3])]


def test_in_process_all_stages_are_done_one_after_the_other(
    company: Company, done: list[int], transactional_db: None
) -> None:
    job = claims.start_job(
        company=company,
        by=None,
        kind="test",
        chunks=[{"number": 1}],
        then=[[{"number": 2}, {"number": 3}], [], [{"number": 4}]],
        now=timezone.now(),
    )
    job.refresh_from_db()
    assert (job.state, done) == ("done", [1, 2, 3, 4])


def test_a_database_that_goes_away_does_not_use_up_the_attempts_of_a_chunk(
    company: Company, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings.CELERY_TASK_ALWAYS_EAGER = False
    outages = iter(range(2 * claims.MOST_ATTEMPTS))

    def handler(work: claims.ChunkRun) -> dict[str, Any]:
        if next(outages, None) is not None:
            raise OperationalError("server closed the connection unexpectedly")
        return {"rows": 1}

    claims.register("outages", handler)
    monkeypatch.setattr(claims, "_database_answers", lambda: False)
    held = None
    try:
        job = claims.start_job(company=company, by=None, kind="outages", now=timezone.now())
        for _ in range(2 * claims.MOST_ATTEMPTS):
            with pytest.raises(claims.DatabaseAwayError) as away:
                claims.run_chunk(job_id=job.pk, index=0, held=held)
            held = away.value.held
        assert claims.run_chunk(job_id=job.pk, index=0, held=held) == "done"
    finally:
        claims._kinds.pop("outages")
    assert job.chunks.get().attempts == 1


def test_a_statement_at_fault_fails_its_job(company: Company, settings: Any) -> None:
    settings.CELERY_TASK_ALWAYS_EAGER = False

    def handler(work: claims.ChunkRun) -> dict[str, Any]:
        raise OperationalError("no such column: colour")

    claims.register("at fault", handler)
    try:
        job = claims.start_job(company=company, by=None, kind="at fault", now=timezone.now())
        assert claims.run_chunk(job_id=job.pk, index=0) == "failed"
    finally:
        claims._kinds.pop("at fault")


def test_a_claim_that_went_to_another_is_not_taken_up_again(company: Company, done: list[int]) -> None:
    job = start(company, {"number": 1})
    lost = claims.claim(job_id=job.pk, index=0, now=timezone.now() - 2 * LEASE)
    assert lost is not None
    heir = claims.claim(job_id=job.pk, index=0, now=timezone.now())
    assert heir is not None
    assert claims.run_chunk(job_id=job.pk, index=0, held=lost.attempts) == "held"
    assert done == []
