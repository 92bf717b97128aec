"""Each task by its body: what it does, that a second run changes nothing, and that a vanished row ends it quietly."""

from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from accounts.jobs import claims
from accounts.jobs import tasks as job_tasks
from accounts.jobs.models import Job
from accounts.models import Company
from fleet import tasks
from fleet.models import Finding, Forecast, ReadingIndicators, Unit
from tests import factories

VANISHED = 987654321


@pytest.fixture
def unit(company: Company) -> Unit:
    unit = factories.UnitFactory(company=company)
    factories.PlacementFactory(position=factories.PositionFactory(unit=unit, stage="membrane"))
    factories.ReadingFactory(unit=unit, taken_at=timezone.now() - timedelta(weeks=20))
    return unit


def test_a_change_of_a_unit_is_followed_up(unit: Unit) -> None:
    now = timezone.now().isoformat()
    change = {"company_id": unit.company_id, "unit_ids": [unit.pk], "kinds": ["readings"], "now": now}
    done = tasks.follow_up(**change)
    assert (done["indicators_changed"], done["findings_opened"]) == (1, 1)
    assert ReadingIndicators.objects.count() == 1
    assert Finding.objects.get().cause == "no_reading_for_weeks"
    again = tasks.follow_up(**change)
    assert (again["indicators_changed"], again["findings_opened"], again["findings_closed"]) == (0, 0, 0)
    assert tasks.follow_up(company_id=VANISHED) == {}


def test_a_company_is_forecast_as_a_job(unit: Unit, django_capture_on_commit_callbacks: Any) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        first = tasks.forecast_company(company_id=unit.company_id)
    assert Job.objects.get(pk=first).state == "done"
    before = list(Forecast.objects.order_by("pk").values())
    assert len(before) == 1
    with django_capture_on_commit_callbacks(execute=True):
        second = tasks.forecast_company(company_id=unit.company_id)
    assert Job.objects.get(pk=second).result["unchanged"] == 1
    assert list(Forecast.objects.order_by("pk").values()) == before
    assert tasks.forecast_company(company_id=VANISHED) is None


def test_a_chunk_is_done_once(unit: Unit) -> None:
    with transaction.atomic():
        job_id = tasks.forecast_company(company_id=unit.company_id)
    assert job_id is not None
    assert job_tasks.run_job_chunk(job_id=job_id, index=0) == "done"
    assert job_tasks.run_job_chunk(job_id=job_id, index=0) == "over"
    assert job_tasks.run_job_chunk(job_id=VANISHED, index=0) == "over"


def test_stalled_jobs_are_resumed(unit: Unit) -> None:
    job_id = tasks.forecast_company(company_id=unit.company_id)
    assert job_id is not None
    claims.claim(job_id=job_id, index=0, now=timezone.now() - timedelta(days=1))
    assert job_tasks.resume_stalled_jobs() == 1
    assert Job.objects.get(pk=job_id).state == "done"
    assert job_tasks.resume_stalled_jobs() == 0


@pytest.mark.parametrize("task", [tasks.follow_up, tasks.forecast_company, job_tasks.resume_stalled_jobs])
def test_a_task_tolerates_words_of_a_newer_version(db: None, task: Any) -> None:
    task(company_id=VANISHED, some_new_word=True)
