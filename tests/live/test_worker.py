"""Forecasts done by a worker process, in the way of operation: a web process, a queue, a worker, one database."""

import json
from collections.abc import Callable
from typing import Any
from unittest.mock import patch

from django.db import transaction
from rest_framework.test import APIClient

from accounts.jobs.models import Job, JobChunk
from accounts.models import Company
from fleet.config.celery import app
from fleet.models import Forecast
from fleet.services.forecasts import forecasts
from fleet.services.forecasts.forecasts import forecast_company, start_forecast_job
from tests.live.conftest import NOW
from tests.live.workers import Worker

StartWorker = Callable[..., Worker]


def stored_forecasts() -> list[dict[str, Any]]:
    """Every forecast with all it says, without the number of its row."""
    rows = Forecast.objects.order_by("position_id", "as_of").values()
    return [{name: value for name, value in row.items() if name != "id"} for row in rows]


def is_done(job: Job) -> Callable[[], bool]:
    def look() -> bool:
        job.refresh_from_db()
        return job.state not in ("waiting", "running")

    return look


def start_in_three_chunks(company: Company) -> Job:
    """Hand out the forecasts in smaller pieces than usual; the worker forecasts whatever units it is handed."""
    with patch.object(forecasts, "BLOCK_UNITS", 2):
        return start_forecast_job(company=company, by=None, now=NOW)


def undisturbed(company: Company) -> list[dict[str, Any]]:
    """What a run that nobody disturbs stores; the rows are taken away again."""
    forecast_company(company=company, now=NOW)
    rows = stored_forecasts()
    assert len(rows) == 24
    Forecast.objects.all().delete()
    return rows


def test_work_is_handed_to_the_queue_when_it_is_committed_and_not_before(
    town: Company, waiting_in_queue: Callable[[], int]
) -> None:
    with transaction.atomic():
        start_in_three_chunks(town)
        assert waiting_in_queue() == 0
    assert waiting_in_queue() == 3
    assert set(JobChunk.objects.values_list("state", flat=True)) == {"waiting"}


def test_work_that_is_taken_back_is_never_handed_out(town: Company, waiting_in_queue: Callable[[], int]) -> None:
    with transaction.atomic():
        start_in_three_chunks(town)
        transaction.set_rollback(True)
    assert waiting_in_queue() == 0
    assert not Job.objects.exists()


def test_a_worker_does_the_work_and_a_second_run_changes_nothing(
    town: Company, as_office: APIClient, start_worker: StartWorker
) -> None:
    expected = undisturbed(town)
    worker = start_worker()
    first = start_in_three_chunks(town)
    worker.wait_until(is_done(first), "the forecasts")
    assert (first.state, first.share_done, first.problem) == ("done", 1.0, None)
    assert first.result["created"] == 24
    assert stored_forecasts() == expected

    second = start_forecast_job(company=town, by=None, now=NOW)
    worker.wait_until(is_done(second), "the forecasts again")
    assert second.state == "done"
    assert (second.result["created"], second.result["changed"], second.result["unchanged"]) == (0, 0, 24)
    assert stored_forecasts() == expected

    # Over the API the answer is the job, which the worker then does.
    answer = as_office.post("/api/v1/forecasts/run/")
    # A quick worker has begun before the answer is written.
    assert (answer.status_code, answer.json()["state"] in ("waiting", "running")) == (202, True)
    job = Job.objects.get(pk=answer.json()["id"])
    worker.wait_until(is_done(job), "the forecasts that were asked for")
    job_body = as_office.get(answer.headers["Location"]).json()
    assert (job_body["state"], job_body["share_done"], job_body["problem"]) == ("done", 1.0, None)
    assert job_body["result"]["positions"] == 24


def test_without_a_queue_the_work_is_done_when_the_call_answers(town: Company, as_office: APIClient) -> None:
    answer = as_office.post("/api/v1/forecasts/run/")
    assert answer.status_code == 202, answer.content
    assert (answer.json()["state"], answer.json()["share_done"]) == ("done", 1.0)
    assert answer.json()["result"]["created"] == 24
    assert Forecast.objects.count() == 24
    assert as_office.get(answer.headers["Location"]).json() == answer.json()


def test_every_task_on_the_timetable_exists() -> None:
    app.loader.import_default_modules()
    app.autodiscover_tasks(force=True)
    for name, entry in app.conf.beat_schedule.items():
        assert entry["task"] in app.tasks, f"'{name}' sends a task that no worker knows"


def test_what_a_worker_logs_names_the_request_that_asked_for_it(
    town: Company, as_office: APIClient, start_worker: StartWorker
) -> None:
    worker = start_worker(LOG_LEVEL="INFO", LOG_FORMAT="json")
    answer = as_office.post("/api/v1/forecasts/run/", headers={"X-Request-ID": "asked-by-the-office"})
    assert answer.status_code == 202, answer.content
    worker.wait_until(is_done(Job.objects.get()), "the forecasts")

    def succeeded() -> list[dict[str, Any]]:
        lines = [json.loads(line) for line in worker.log.read_text().splitlines() if line.startswith("{")]
        return [line for line in lines if "succeeded" in line["message"] and "run_job_chunk" in line["message"]]

    worker.wait_until(lambda: bool(succeeded()), "its line in the log")
    assert {line["request_id"] for line in succeeded()} == {"asked-by-the-office"}
