"""What is counted and measured, and who may read it."""

import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError
from django.test import Client, RequestFactory
from django.utils import timezone
from prometheus_client.parser import text_string_to_metric_families
from rest_framework.test import APIClient

from accounts.jobs.models import Job, JobChunk, StepTime
from accounts.jobs.steps import note_step, timed
from accounts.models import Company
from accounts.observing import installation
from accounts.observing.installation import Installation
from accounts.observing.metrics import route_of
from scheduling.models import Message
from tests import factories
from tests.live.queues import queue_at

TOKEN = "a-token-of-this-test-alone"
NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
Samples = dict[tuple[str, tuple[str, ...]], float]


def read(client: Client, token: str = TOKEN) -> Samples:
    """All samples, as the reader of the format's own library understands them."""
    answer = client.get("/metrics", headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 200, answer.content
    assert answer.headers["Content-Type"].startswith("text/plain; version=")
    return samples(answer.content.decode())


def samples(text: str) -> Samples:
    return {
        (sample.name, tuple(sample.labels.values())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def measured(monkeypatch: pytest.MonkeyPatch) -> Samples:
    """What is measured at NOW."""
    monkeypatch.setattr(installation.timezone, "now", lambda: NOW)
    return {
        (sample.name, tuple(sample.labels.values())): sample.value
        for family in Installation().collect()
        for sample in family.samples
    }


@pytest.mark.interface
class TestWhoMayRead:
    def test_nobody_where_no_token_is_set(self, client: Client) -> None:
        assert client.get("/metrics", headers={"Authorization": "Bearer "}).status_code == 404

    @pytest.mark.parametrize("sent", ["", "Bearer ", "Bearer another-token-of-20-letters", TOKEN, "Bearer \xe9"])
    def test_nobody_without_the_token(self, client: Client, settings: Any, sent: str) -> None:
        settings.METRICS_TOKEN = TOKEN
        answer = client.get("/metrics", headers={"Authorization": sent})
        assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (401, "Bearer")
        assert b"ro_fleet" not in answer.content

    @pytest.mark.django_db
    def test_no_token_of_a_person(self, as_owner: APIClient, settings: Any) -> None:
        settings.METRICS_TOKEN = TOKEN
        assert as_owner.get("/metrics").status_code == 401


@pytest.mark.interface
@pytest.mark.django_db
def test_requests_are_counted_by_route_and_status(client: Client, as_office: APIClient, settings: Any) -> None:
    settings.METRICS_TOKEN = TOKEN
    before = read(client)
    for pk in (1, 2, 3):
        assert as_office.get(f"/api/v1/units/{pk}/").status_code == 404
    as_office.get("/api/v1/units/")
    as_office.generic("BREW", "/api/v1/units/")
    client.get("/no/such/place/")
    after = read(client)

    def more(name: str, *labels: str) -> float:
        return after.get((name, labels), 0.0) - before.get((name, labels), 0.0)

    assert more("ro_fleet_requests_total", "GET", "/api/v1/units/<pk>/", "404") == 3
    assert more("ro_fleet_requests_total", "GET", "/api/v1/units/", "200") == 1
    assert more("ro_fleet_requests_total", "other", "/api/v1/units/", "405") == 1
    assert more("ro_fleet_requests_total", "GET", "none", "404") == 1
    assert more("ro_fleet_request_seconds_count", "GET", "/api/v1/units/<pk>/") == 3
    assert more("ro_fleet_request_seconds_sum", "GET", "/api/v1/units/<pk>/") > 0
    assert after["ro_fleet_database_up", ()] == 1


def test_what_no_route_answers_has_no_route() -> None:
    assert route_of(RequestFactory().get("/static/x.css")) == "none"


@pytest.mark.django_db
def test_jobs_are_counted_with_the_age_of_the_oldest(company: Company, monkeypatch: pytest.MonkeyPatch) -> None:
    for state, minutes in (("waiting", 5), ("running", 30), ("done", 90)):
        Job.objects.create(company=company, kind="forecast", state=state, created_at=NOW - timedelta(minutes=minutes))
    running = Job.objects.get(state="running")
    JobChunk.objects.create(job=running, index=0, state="running", lease_until=NOW - timedelta(seconds=1))
    found = measured(monkeypatch)
    assert found["ro_fleet_jobs_waiting", ("forecast",)] == 2
    assert found["ro_fleet_jobs_oldest_seconds", ("forecast",)] == 1800
    assert found["ro_fleet_chunks_stalled", ()] == 1


@pytest.mark.django_db
def test_steps_are_added_up_over_the_companies(monkeypatch: pytest.MonkeyPatch) -> None:
    for seconds, hours in ((4.0, 7), (1.5, 31)):
        factories.StepTimeFactory(
            kind="nightly", step="findings", seconds=seconds, ended_at=NOW - timedelta(hours=hours)
        )
    found = measured(monkeypatch)
    labels = ("nightly", "findings")
    assert found["ro_fleet_step_seconds", labels] == 5.5
    assert found["ro_fleet_step_longest_seconds", labels] == 4.0
    assert found["ro_fleet_step_oldest_seconds", labels] == 31 * 3600


@pytest.mark.django_db
def test_a_step_keeps_its_newest_time_and_one_that_fails_the_last_it_had(company: Company) -> None:
    old = factories.StepTimeFactory(company=company, kind="nightly", step="visits", seconds=900.0)
    with pytest.raises(RuntimeError), timed(company=company, kind="nightly", step="visits"):
        raise RuntimeError
    old.refresh_from_db()
    assert old.seconds == 900.0
    with timed(company=company, kind="nightly", step="visits"):
        pass
    row = StepTime.objects.get()
    assert row.pk == old.pk
    assert 0.0 <= row.seconds < 60.0
    assert row.ended_at > old.ended_at


@pytest.mark.django_db
def test_a_step_that_is_done_in_parts_takes_what_the_parts_of_one_run_take(company: Company) -> None:
    began = timezone.now()
    took = partial(note_step, company=company, kind="nightly", step="findings")
    took(took=timedelta(seconds=900), since=began - timedelta(days=1))
    StepTime.objects.update(ended_at=began - timedelta(days=1))
    for seconds in (3, 4):
        took(took=timedelta(seconds=seconds), since=began)
    assert StepTime.objects.get().seconds == 7.0


@pytest.mark.django_db
def test_what_waits_to_be_sent_is_counted(company: Company, monkeypatch: pytest.MonkeyPatch) -> None:
    factories.WebhookDeliveryFactory(state="waiting")
    factories.LetterFactory(written_at=NOW - timedelta(minutes=3))
    factories.LetterFactory(written_at=NOW, sent_at=NOW)
    for number, (state, until) in enumerate((("waiting", None), ("waiting", NOW - timedelta(1)), ("to_call", None))):
        factories.MessageFactory(
            company=company, event=f"e{number}", state=state, useful_until=until, created_at=NOW - timedelta(hours=2)
        )
    assert Message.objects.count() == 3
    found = measured(monkeypatch)
    assert found["ro_fleet_letters_waiting", ("getting_in",)] == 1
    assert found["ro_fleet_letters_oldest_seconds", ("getting_in",)] == 180
    assert found["ro_fleet_events_out_waiting", ("webhook",)] == 1
    assert found["ro_fleet_messages_waiting", ("to_send",)] == 1
    assert found["ro_fleet_messages_waiting", ("to_call",)] == 1
    assert found["ro_fleet_messages_oldest_seconds", ("to_send",)] == 7200


def test_a_database_that_is_away_is_told_and_not_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    def away(now: datetime) -> Any:
        raise OperationalError

    monkeypatch.setattr(installation, "_measures", [away])
    assert measured(monkeypatch) == {("ro_fleet_database_up", ()): 0.0}


@pytest.mark.django_db
def test_a_queue_that_is_away_is_told(monkeypatch: pytest.MonkeyPatch, settings: Any) -> None:
    settings.REDIS_URL = "redis://127.0.0.1:1/0"
    with queue_at(settings.REDIS_URL):
        assert measured(monkeypatch)["ro_fleet_queue_up", ()] == 0.0


@pytest.mark.django_db
def test_as_many_queries_however_many_companies(django_assert_max_num_queries: Any) -> None:
    for _ in range(5):
        job = factories.JobFactory()
        factories.StepTimeFactory(company=job.company)
        factories.MessageFactory(company=job.company)
    with django_assert_max_num_queries(6):
        list(Installation().collect())


COUNT_ONCE = """
import django
django.setup()
from django.test import Client
Client().get("/healthz")
"""


def test_the_processes_of_a_server_count_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    environment = os.environ | {"PROMETHEUS_MULTIPROC_DIR": str(tmp_path), "DJANGO_SETTINGS_MODULE": "tests.settings"}
    for _ in range(2):
        subprocess.run([sys.executable, "-c", COUNT_ONCE], env=environment, check=True, timeout=120)
    monkeypatch.setenv("PROMETHEUS_MULTIPROC_DIR", str(tmp_path))
    from prometheus_client import generate_latest

    from accounts.observing.metrics import counted_requests

    found = samples(generate_latest(counted_requests()).decode())
    assert found["ro_fleet_requests_total", ("GET", "/healthz", "200")] == 2
