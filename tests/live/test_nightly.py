"""The nightly run in the way of operation: a beat that asks for it, a queue, workers that may die."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

from accounts.jobs.models import Job, JobChunk
from accounts.models import Company
from fleet.models import Finding, Forecast, ReadingIndicators, UnitReview
from fleet.services.forecasts import forecasts
from fleet.tasks import follow_up
from scheduling import tasks
from scheduling.models import Need, PartsLine, PartsList, Plan, Stop, UnservedVisit, Visit, VisitTask, WorkReview
from scheduling.services import nightly
from tests import factories
from tests.live.conftest import NOW, VISIBILITY_SECONDS
from tests.live.test_killed_worker import reached
from tests.live.workers import Worker

StartWorker = Callable[..., Worker]

WRITTEN = (Forecast, Need, Visit, VisitTask, Plan, Stop, UnservedVisit, PartsList, PartsLine)


@pytest.fixture
def town(town: Company) -> Company:
    """Somebody who drives, so that there are rounds."""
    factories.InstallerFactory(company=town)
    return town


def rows() -> dict[str, list[dict[str, Any]]]:
    return {model.__name__: list(model._default_manager.order_by("pk").values()) for model in WRITTEN}


def nights_done(count: int) -> Callable[[], bool]:
    def look() -> bool:
        states = list(Job.objects.filter(kind="nightly").values_list("state", flat=True))
        return len(states) == count and not {"waiting", "running"} & set(states)

    return look


def test_a_worker_does_every_companys_night_and_a_second_night_changes_nothing(
    town: Company, rival_company: Company, start_worker: StartWorker
) -> None:
    tasks.nightly.delay()
    worker = start_worker()
    worker.wait_until(nights_done(2), "the nights of two companies")
    assert set(Job.objects.values_list("company", "state")) == {(town.pk, "done"), (rival_company.pk, "done")}
    written = rows()
    assert written["Forecast"]
    assert written["Visit"]
    assert len(written["Plan"]) == 2
    tasks.nightly.delay()
    worker.wait_until(nights_done(4), "the nights again")
    assert rows() == written


@pytest.mark.long
def test_a_night_whose_worker_is_killed_while_planning_is_finished_by_another(
    town: Company, start_worker: StartWorker, tmp_path: Path
) -> None:
    gate = tmp_path / "gate"
    gate.mkdir()
    (gate / "nightly").write_text("planning rounds")
    tasks.start_company_nightly(company_id=town.pk)
    doomed = start_worker(gate=gate)
    doomed.wait_until(reached(gate, 1), "the nightly run about to plan")
    assert Visit.objects.exists()
    assert not Plan.objects.exists()
    doomed.kill()
    visits = list(Visit.objects.order_by("pk").values())
    # The night is asked for once more while the dead worker's lease still runs: that starts no second run.
    assert tasks.start_company_nightly(company_id=town.pk) is None
    time.sleep(VISIBILITY_SECONDS)
    heir = start_worker()
    heir.wait_until(nights_done(1), "the rest of the night")
    assert Job.objects.get().state == "done"
    assert JobChunk.objects.get(stage=2).attempts == 2
    assert list(Visit.objects.order_by("pk").values()) == visits
    assert Plan.objects.count() == 1
    assert PartsList.objects.filter(scope="period").count() == 2


ANSWERS: dict[Any, tuple[str, ...]] = {
    ReadingIndicators: ("reading_id", "values", "uncertainties", "reasons", "valid_for_trend"),
    Forecast: ("position_id", "as_of", "placement_id", "state", "date_grid", "made_from", "installer_sentence"),
    Finding: ("unit_id", "cause", "rule", "state", "confidence", "numbers", "last_seen_at", "installer_sentence"),
    UnitReview: ("unit_id", "indicators_of", "findings_of", "findings_again_at"),
    Need: ("key", "forecast__position", "finding__cause", "is_urgent", "best_day", "cost_curve", "reason"),
    VisitTask: ("visit__site", "need__key", "order", "visit__best_day", "visit__costs", "reason"),
    Stop: ("round__day", "round__installer", "visit__site", "order", "starts_at", "leaves_at"),
    PartsLine: ("parts_list__scope", "item_id", "quantity"),
}
"""What a night answers, by what stays the same when it is done once more from the start."""


def answers() -> dict[str, list[tuple[Any, ...]]]:
    return {
        model.__name__: sorted(model._default_manager.values_list(*fields), key=repr)
        for model, fields in ANSWERS.items()
    }


def of_one_process(company: Company) -> dict[str, list[tuple[Any, ...]]]:
    """What a night in this process answers; its rows are taken away again."""
    nightly.run_nightly(company=company, now=NOW)
    told = answers()
    assert all(told[name] for name in ("ReadingIndicators", "Forecast", "Need", "VisitTask", "UnitReview"))
    for model in (Plan, PartsList, Visit, Need, Finding, Forecast, ReadingIndicators, UnitReview, WorkReview):
        model._default_manager.all().delete()
    company.fleet_lesson.delete()
    return told


def start_in_three_blocks(company: Company) -> Job:
    with patch.object(forecasts, "BLOCK_UNITS", 2):
        job = nightly.start_nightly_job(company=company, by=None, now=NOW)
    assert list(job.chunks.values_list("stage", flat=True)) == [0, 1, 1, 1, 2]
    return job


def test_two_workers_share_the_night_of_one_company_and_leave_the_rows_of_one(
    town: Company, start_worker: StartWorker, tmp_path: Path
) -> None:
    expected = of_one_process(town)
    gate = tmp_path / "gate"
    gate.mkdir()
    (gate / "blocks").write_text("meet")
    job = start_in_three_blocks(town)
    first, second = start_worker(gate=gate), start_worker(gate=gate)
    first.wait_until(nights_done(1), "the night, shared by two")
    job.refresh_from_db()
    assert (job.state, job.problem) == ("done", None)
    assert {int(path.read_text()) for path in gate.glob("*.taken")} == {first.process.pid, second.process.pid}
    assert set(job.chunks.values_list("attempts", flat=True)) == {1}
    assert answers() == expected
    assert job.result["findings"]["units"] == job.result["forecasts"]["units"] == 6


@pytest.mark.long
def test_a_block_whose_worker_is_killed_is_done_by_another(
    town: Company, start_worker: StartWorker, tmp_path: Path
) -> None:
    expected = of_one_process(town)
    gate = tmp_path / "gate"
    gate.mkdir()
    (gate / "blocks").write_text("hold")
    job = start_in_three_blocks(town)
    doomed = start_worker(gate=gate)
    doomed.wait_until(reached(gate, 1), "a block that is begun")
    doomed.kill()
    assert sorted(job.chunks.values_list("state", flat=True)) == ["done", "running", "waiting", "waiting", "waiting"]
    time.sleep(VISIBILITY_SECONDS)
    heir = start_worker()
    heir.wait_until(nights_done(1), "the rest of the night")
    job.refresh_from_db()
    assert (job.state, job.problem) == ("done", None)
    assert sorted(job.chunks.values_list("attempts", flat=True)) == [1, 1, 1, 1, 2]
    assert answers() == expected


@pytest.mark.long
def test_a_burst_of_readings_does_not_keep_a_night_waiting(
    town: Company, start_worker: StartWorker, waiting_in_queue: Callable[[], int]
) -> None:
    unit = town.units.first()
    for _ in range(300):
        follow_up.delay(company_id=town.pk, unit_ids=[unit.pk], kinds=["readings"], now=NOW.isoformat())
    tasks.start_company_nightly(company_id=town.pk)
    worker = start_worker()
    worker.wait_until(nights_done(1), "the night between the readings")
    assert waiting_in_queue() > 200
