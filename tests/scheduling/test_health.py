"""What is stuck is told with what to do, and a server where all goes on says so."""

from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from accounts.jobs.models import Job, JobChunk
from accounts.models import Company
from scheduling.management.health import troubles
from scheduling.models import Message
from tests import factories

NOW = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)


def told() -> list[str]:
    return [trouble.what for trouble in troubles(now=NOW)]


@pytest.mark.django_db
def test_nothing_is_stuck_where_nothing_is_there() -> None:
    out = StringIO()
    call_command("health", stdout=out)
    assert out.getvalue() == "Nothing is stuck.\n"


@pytest.mark.django_db
def test_what_is_stuck_ends_with_an_error(company: Company) -> None:
    Job.objects.create(company=company, kind="forecast", state=Job.State.FAILED, created_at=NOW, finished_at=NOW)
    Job.objects.update(finished_at=datetime.now(UTC))
    out = StringIO()
    with pytest.raises(CommandError, match="1 of these need somebody") as ended:
        call_command("health", stdout=out)
    assert ended.value.returncode == 1
    assert "failed: no reason was kept\n    The log has the fault" in out.getvalue()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("state", "lease", "made", "is_stuck"),
    [
        (JobChunk.State.RUNNING, NOW - timedelta(seconds=1), NOW, True),
        (JobChunk.State.RUNNING, NOW + timedelta(seconds=1), NOW, False),
        (JobChunk.State.WAITING, None, NOW - timedelta(seconds=901), True),
        (JobChunk.State.WAITING, None, NOW - timedelta(seconds=899), False),
        (JobChunk.State.DONE, None, NOW - timedelta(days=1), False),
    ],
)
def test_work_that_no_worker_takes(
    company: Company, state: str, lease: datetime | None, made: datetime, is_stuck: bool
) -> None:
    job = Job.objects.create(company=company, kind="nightly", state=Job.State.RUNNING, created_at=made)
    JobChunk.objects.create(job=job, index=0, state=state, lease_until=lease)
    said = ["jobs: 1 pieces of work wait for a worker or were left by one (nightly)"]
    assert told() == (said if is_stuck else [])


@pytest.mark.django_db
@pytest.mark.parametrize(("hours", "is_stuck"), [(37, True), (35, False)])
def test_a_company_without_its_night(company: Company, hours: int, is_stuck: bool) -> None:
    position = factories.PositionFactory(unit__company=company)
    placement = factories.PlacementFactory(position=position, placed_at=NOW - timedelta(days=30))
    assert len(told()) == 1
    factories.ForecastFactory(position=position, placement=placement, computed_at=NOW - timedelta(hours=hours))
    assert told() == ([f"nights: no forecast for a day and a half of {company}"] if is_stuck else [])


@pytest.mark.django_db
def test_a_company_that_began_today_misses_no_night(company: Company) -> None:
    position = factories.PositionFactory(unit__company=company)
    factories.PlacementFactory(position=position, placed_at=NOW - timedelta(hours=2))
    assert told() == []


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("made", "useful_until", "is_stuck"),
    [
        (NOW - timedelta(minutes=61), None, True),
        (NOW - timedelta(minutes=59), None, False),
        (NOW - timedelta(minutes=61), NOW - timedelta(minutes=1), False),
    ],
)
def test_a_letter_that_does_not_leave(
    company: Company, made: datetime, useful_until: datetime | None, is_stuck: bool
) -> None:
    Message.objects.create(
        company=company,
        event="order 1",
        audience=Message.Audience.OFFICE,
        kind=Message.Kind.DIGEST,
        state=Message.State.WAITING,
        subject="What waits",
        body="",
        created_at=made,
        useful_until=useful_until,
        trouble="Connection refused",
    )
    said = (
        "letters: 1 wait for more than an hour, the oldest since 2026-03-04 07:59 UTC; tried last: Connection refused"
    )
    assert told() == ([said] if is_stuck else [])


@pytest.mark.django_db
def test_links_that_do_not_leave_are_counted_and_those_given_up_named() -> None:
    hour = timedelta(hours=1)
    factories.LetterFactory(written_at=NOW - hour + timedelta(minutes=1))
    factories.LetterFactory(written_at=NOW - 2 * hour, sent_at=NOW - hour)
    assert told() == []
    factories.LetterFactory(written_at=NOW - 2 * hour, attempts=5)
    said = "links: {} letters with invitations or links to passwords wait for more than an hour"
    assert told() == [said.format(1)]
    factories.LetterFactory(written_at=NOW - 2 * hour, attempts=6)
    assert told() == [said.format(2) + ", 1 of them are tried no more"]


@pytest.mark.django_db
def test_where_tables_are_missing_that_alone_is_told(company: Company) -> None:
    Job.objects.create(company=company, kind="forecast", state=Job.State.FAILED, created_at=NOW, finished_at=NOW)
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'sessions'")
    assert told() == ["tables: 1 migrations are missing: run manage.py migrate"]
    with pytest.raises(CommandError) as ended:
        call_command("health", stdout=StringIO())
    assert ended.value.returncode == 2


@pytest.mark.django_db
def test_a_queue_that_is_away_is_told_beside_the_rest(company: Company, settings: Any) -> None:
    settings.REDIS_URL = settings.CELERY_BROKER_URL = "redis://127.0.0.1:1/0"
    Job.objects.create(company=company, kind="forecast", state=Job.State.FAILED, created_at=NOW, finished_at=NOW)
    assert [what.partition(":")[0] for what in told()] == ["queue", "jobs"]
