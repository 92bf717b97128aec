"""Two who do the same thing at the same moment: one wins, nothing is doubled, nothing breaks."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime
from threading import Barrier
from typing import Any, NoReturn

import pytest
from django.db import connection
from django.utils import timezone

from accounts.errors import Conflict
from accounts.jobs import claims
from accounts.jobs.models import Job
from accounts.models import Company
from fleet.intake.payloads import take_reading
from fleet.models import Finding, Forecast, Placement, Reading, ReadingIndicators
from fleet.services import follow_up
from fleet.services.consequences import Kind
from fleet.services.findings import findings
from fleet.services.findings.findings import refresh_findings
from fleet.services.follow_up import follow
from fleet.services.forecasts import forecasts
from fleet.services.forecasts.forecasts import forecast_company
from fleet.services.readings.indicators import recompute
from fleet.services.units.placements import place
from fleet.services.units.units import delete_unit
from tests import factories

pytestmark = pytest.mark.django_db(transaction=True)
NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
MANY = 4


def all_at_once(work: Callable[[], Any]) -> list[Any]:
    """Do the same in several threads, each with its own connection, started together; what each gave or raised."""
    barrier = Barrier(MANY)

    def one(_: int) -> Any:
        try:
            barrier.wait(timeout=30)
            return work()
        except Exception as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(MANY) as pool:
        return list(pool.map(one, range(MANY)))


@pytest.fixture
def quiet_job() -> Iterator[None]:
    claims.register("quiet", lambda work: {"done": 1})
    yield
    claims._kinds.pop("quiet")


def test_the_same_reading_from_several_senders_is_stored_once(company: Company) -> None:
    unit = factories.UnitFactory(company=company)
    row = {"unit": unit.pk, "reference": "r1", "inlet_pressure": "60 psi", "taken_at": "2026-03-01T10:00:00Z"}
    answers = all_at_once(lambda: take_reading(company=company, by=None, row=dict(row), source="meter", now=NOW))
    assert Reading.objects.count() == 1
    assert sorted(is_new for _, is_new in answers) == [False] * (MANY - 1) + [True]
    assert {reading.pk for reading, _ in answers} == {Reading.objects.get().pk}


def test_a_chunk_goes_to_one_worker(company: Company, quiet_job: None) -> None:
    job = Job.objects.create(company=company, kind="quiet", created_at=timezone.now())
    factories.JobChunkFactory(job=job, index=0, payload={})
    now = timezone.now()
    claimed = all_at_once(lambda: claims.claim(job_id=job.pk, index=0, now=now))
    assert sum(claim is not None for claim in claimed) == 1
    assert not [claim for claim in claimed if isinstance(claim, Exception)]


def test_the_same_job_starts_once(company: Company, quiet_job: None, monkeypatch: pytest.MonkeyPatch) -> None:
    # Nobody does the work meanwhile: the queue is a stand-in that keeps what it is given. It is put in place once, not
    # by each thread: one of them would take the stand-in of another for the original and put that back.
    monkeypatch.setattr(claims, "_enqueue", lambda job_id, kind, indexes: None)
    started = all_at_once(
        lambda: claims.start_job(company=company, by=None, kind="quiet", chunks=[{}], now=timezone.now())
    )
    assert sum(isinstance(answer, Job) for answer in started) == 1
    assert sum(isinstance(answer, Conflict) for answer in started) == MANY - 1
    assert Job.objects.count() == 1


def test_one_cartridge_stands_in_a_position(company: Company) -> None:
    position = factories.PositionFactory(unit=factories.UnitFactory(company=company), stage="resin")
    item = factories.CatalogueItemFactory(company=company, kind="resin")
    answers = all_at_once(lambda: place(position=position, item=item, by=None, now=NOW))
    assert Placement.objects.count() == 1
    assert sum(isinstance(answer, Conflict) for answer in answers) == MANY - 1


def test_two_forecasts_of_the_same_day_leave_one_row_a_position(company: Company) -> None:
    for _ in range(2):
        factories.PlacementFactory(position=factories.PositionFactory(unit=factories.UnitFactory(company=company)))
    answers = all_at_once(lambda: forecast_company(company=company, now=NOW))
    assert not [answer for answer in answers if isinstance(answer, Exception)]
    assert Forecast.objects.count() == 2
    assert Forecast.objects.filter(is_latest=True).count() == 2


def test_two_looks_at_the_same_units_open_one_finding_each(company: Company) -> None:
    for _ in range(2):
        factories.UnitFactory(company=company)
    answers = all_at_once(lambda: refresh_findings(company=company, now=NOW))
    assert not [answer for answer in answers if isinstance(answer, Exception)]
    assert Finding.objects.count() == 2


def test_two_recomputations_leave_one_row_a_reading(company: Company) -> None:
    for _ in range(3):
        factories.ReadingFactory(unit=factories.UnitFactory(company=company))
    answers = all_at_once(lambda: recompute(company=company, now=NOW))
    assert not [answer for answer in answers if isinstance(answer, Exception)]
    assert ReadingIndicators.objects.count() == 3


def test_a_unit_that_is_deleted_while_it_is_forecast_leaves_nothing_behind(
    company: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept, gone = (factories.UnitFactory(company=company) for _ in range(2))
    for unit in (kept, gone):
        position = factories.PositionFactory(unit=unit, stage="sediment", role="single")
        factories.PlacementFactory(position=position, placed_at=datetime(2026, 1, 1, tzinfo=UTC))
    store = forecasts._store

    def store_late(*args: Any, **kwargs: Any) -> dict[str, int]:
        Placement.objects.filter(position__unit=gone).delete()
        delete_unit(unit=gone, by=None, now=NOW)
        return store(*args, **kwargs)

    monkeypatch.setattr(forecasts, "_store", store_late)
    counts = forecast_company(company=company, now=NOW)
    assert counts["created"] == 1
    assert [row.position.unit for row in Forecast.objects.all()] == [kept]


def test_a_unit_that_is_deleted_while_it_is_diagnosed_leaves_nothing_behind(
    company: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = factories.UnitFactory(company=company, commissioned_on=date(2025, 1, 1))
    store = findings._store

    def store_late(*args: Any, **kwargs: Any) -> dict[str, int]:
        delete_unit(unit=gone, by=None, now=NOW)
        return store(*args, **kwargs)

    monkeypatch.setattr(findings, "_store", store_late)
    assert refresh_findings(company=company, now=NOW)["opened"] == 0
    assert not Finding.objects.exists()


def test_a_step_that_failed_over_a_unit_deleted_meanwhile_is_done_for_the_others(
    company: Company, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone = factories.UnitFactory(company=company)
    tries = []

    def read_in_two_queries(**_: Any) -> dict[str, int]:
        tries.append(1)
        if len(tries) == 1:
            gone.delete()
            raise KeyError("it was there a moment ago")
        return {"created": 3}

    monkeypatch.setattr(follow_up, "forecast_units", read_in_two_queries)
    counts = follow(company=company, units=[gone.pk], kinds=[Kind.UNIT], now=NOW)
    assert counts["forecasts_created"] == 3
    assert len(tries) == 2


def test_what_fails_for_another_reason_is_not_tried_again(company: Company, monkeypatch: pytest.MonkeyPatch) -> None:
    unit = factories.UnitFactory(company=company)
    tries = []

    def fail(**_: Any) -> NoReturn:
        tries.append(1)
        raise KeyError(unit.pk)

    monkeypatch.setattr(follow_up, "forecast_units", fail)
    with pytest.raises(KeyError):
        follow(company=company, units=[unit.pk], kinds=[Kind.UNIT], now=NOW)
    assert len(tries) == 1
