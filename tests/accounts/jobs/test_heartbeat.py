"""A lease is renewed beside work that says nothing for a while, and not beside work that is gone."""

import threading
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.db import OperationalError
from django.utils import timezone

from accounts.jobs import claims
from accounts.jobs.heartbeat import LONGEST_SILENCE, kept
from accounts.jobs.models import Job, JobChunk
from accounts.models import Company
from accounts.wall import in_sight, inside_company

ENOUGH_SECONDS = 60.0


@pytest.fixture
def with_queue(settings: Any) -> None:
    """As where workers are: with a lease that is renewed three times a second."""
    settings.CELERY_TASK_ALWAYS_EAGER = False
    settings.JOB_LEASE_SECONDS = 1


@pytest.mark.usefixtures("with_queue")
def test_a_lease_is_renewed_in_sight_of_the_works_company_as_long_as_the_work_lasts() -> None:
    seen: list[str] = []
    enough = threading.Event()

    def renew() -> bool:
        seen.append(in_sight())
        if len(seen) == 2:
            raise OperationalError("database is locked")
        if len(seen) == 3:
            enough.set()
        return True

    with inside_company(7), kept(renew):
        assert enough.wait(ENOUGH_SECONDS)
    assert set(seen) == {"7"}
    assert not [thread for thread in threading.enumerate() if thread.name == "lease"]


@pytest.mark.usefixtures("with_queue")
def test_a_lease_that_is_lost_is_asked_for_no_more() -> None:
    asked: list[int] = []
    with kept(lambda: bool(asked.append(1))):
        (beat,) = [thread for thread in threading.enumerate() if thread.name == "lease"]
        beat.join(ENOUGH_SECONDS)
        assert not beat.is_alive()
    assert asked == [1]


def test_where_no_queue_is_nothing_runs_beside_the_work() -> None:
    with kept(lambda: pytest.fail("nobody else can take it")):
        assert not [thread for thread in threading.enumerate() if thread.name == "lease"]


@pytest.fixture
def work(company: Company) -> Iterator[claims.ChunkRun]:
    """A chunk that is held."""
    claims.register("silent", lambda _: None)
    now = timezone.now()
    job = Job.objects.create(company=company, kind="silent", created_at=now)
    JobChunk.objects.create(job=job, index=0, payload={})
    chunk = claims.claim(job_id=job.pk, index=0, now=now - timedelta(minutes=1))
    assert chunk is not None
    yield claims._work(job, chunk, now)
    claims._kinds.pop("silent")


def test_work_that_lives_holds_its_chunk(work: claims.ChunkRun) -> None:
    before = JobChunk.objects.get().lease_until
    assert work.is_alive()
    after = JobChunk.objects.get().lease_until
    assert before is not None
    assert after is not None
    assert after > before


def test_work_that_says_nothing_for_very_long_holds_it_no_more(work: claims.ChunkRun) -> None:
    work._began_at -= LONGEST_SILENCE + timedelta(seconds=1)
    assert not work.is_alive()
    assert work.report(0.1, "it did go on")
    assert work.is_alive()


def test_work_that_is_to_stop_and_does_not_hear_it_holds_it_no_more(work: claims.ChunkRun) -> None:
    Job.objects.update(stop_requested=True)
    assert not work.is_alive()


def test_work_that_another_worker_has_taken_over_holds_it_no_more(work: claims.ChunkRun) -> None:
    JobChunk.objects.update(attempts=2)
    assert not work.is_alive()


@pytest.mark.usefixtures("with_queue")
@pytest.mark.parametrize(("lying", "handed_out"), [({"jobs": 0, "night": 4}, 1), ({"jobs": 3}, 0), (None, 0)])
def test_what_waits_is_handed_out_again_soon_where_its_queue_was_emptied(
    company: Company, monkeypatch: pytest.MonkeyPatch, lying: dict[str, int] | None, handed_out: int
) -> None:
    claims.register("silent", lambda _: None)
    job = Job.objects.create(company=company, kind="silent", created_at=timezone.now())
    JobChunk.objects.create(job=job, index=0, payload={})
    given: list[Any] = []
    monkeypatch.setattr(claims, "lengths", lambda: lying)
    monkeypatch.setattr(claims, "give", lambda task, **arguments: given.append(arguments) or True)
    assert claims.resume_stalled(now=job.created_at) == 0
    assert claims.resume_stalled(now=job.created_at + timedelta(seconds=2)) == handed_out
    assert len(given) == handed_out
    # What has waited for very long is handed out in any case: more than one of them does no harm.
    assert claims.resume_stalled(now=job.created_at + LONGEST_SILENCE + timedelta(seconds=1)) == 1
    claims._kinds.pop("silent")
