"""A queue that cannot be reached: nothing that was stored is answered as an error, and the work is done later."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.jobs import claims
from accounts.jobs.models import Job, JobChunk
from accounts.models import Company
from fleet.models import Finding, Reading, ReadingIndicators, Unit
from tests import factories
from tests.live.queues import queue_at
from tests.live.test_worker import is_done
from tests.live.workers import Worker

StartWorker = Callable[..., Worker]

# The port of a service that no machine runs any more: connections to it are refused.
DEAD = "redis://127.0.0.1:1/0"


@pytest.fixture
def unit(transactional_db: None, company: Company) -> Unit:
    unit = factories.UnitFactory(company=company)
    factories.PlacementFactory(position=factories.PositionFactory(unit=unit, stage="membrane"))
    return unit


@pytest.fixture
def dead_queue(transactional_db: None) -> Iterator[None]:
    with queue_at(DEAD):
        yield


def reading_of(unit: Unit, reference: str) -> dict[str, Any]:
    at = (timezone.now() - timedelta(hours=1)).isoformat()
    return {"unit": unit.pk, "taken_at": at, "reference": reference, "inlet_pressure": "60 psi", "feed_tds": "240 ppm"}


def test_a_reading_is_stored_and_answered_and_stored_once(
    unit: Unit, as_installer: APIClient, dead_queue: None
) -> None:
    sent = reading_of(unit, "r1")
    assert as_installer.post("/api/v1/readings/", sent).status_code == 201
    assert as_installer.post("/api/v1/readings/", sent).status_code == 200
    listed = as_installer.post("/api/v1/readings/", [reading_of(unit, "r2"), reading_of(unit, "r3")])
    assert (listed.status_code, listed.json()["stored"]) == (201, 2)
    assert Reading.objects.count() == 3
    # One job, however much came in: it makes everything of the unit anew.
    assert [(job.kind, job.state) for job in Job.objects.all()] == [("follow_up", "waiting")]
    assert JobChunk.objects.get().payload == {"unit_ids": [unit.pk], "of_meters": False}


def test_a_job_that_cannot_be_handed_over_waits(unit: Unit, as_office: APIClient, dead_queue: None) -> None:
    started = as_office.post("/api/v1/forecasts/run/", {})
    assert (started.status_code, started.json()["state"]) == (202, "waiting"), started.content
    assert claims.resume_stalled(now=timezone.now() + timedelta(hours=1)) == 0
    assert Job.objects.get().state == "waiting"


def test_what_waited_is_done_when_the_queue_is_back(
    unit: Unit, as_installer: APIClient, as_office: APIClient, start_worker: StartWorker
) -> None:
    with queue_at(DEAD):
        assert as_installer.post("/api/v1/readings/", reading_of(unit, "r1")).status_code == 201
        assert as_office.post("/api/v1/forecasts/run/", {}).status_code == 202
    assert not ReadingIndicators.objects.exists()
    worker = start_worker()
    assert claims.resume_stalled(now=timezone.now() + timedelta(hours=1)) == 2
    for job in Job.objects.all():
        worker.wait_until(is_done(job), f"the {job.kind}")
        assert (job.state, job.problem) == ("done", None)
    assert ReadingIndicators.objects.get().reading.reference == "r1"
    assert Finding.objects.filter(unit=unit).count() == Job.objects.get(kind="follow_up").result["findings_opened"]
