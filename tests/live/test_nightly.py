"""The nightly run in the way of operation: a beat that asks for it, a queue, workers that may die."""

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from accounts.jobs.models import Job, JobChunk
from accounts.models import Company
from fleet.models import Forecast
from scheduling import tasks
from scheduling.models import Need, PartsLine, PartsList, Plan, Stop, UnservedVisit, Visit, VisitTask
from tests import factories
from tests.live.conftest import VISIBILITY_SECONDS
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
    assert JobChunk.objects.get().attempts == 2
    assert list(Visit.objects.order_by("pk").values()) == visits
    assert Plan.objects.count() == 1
    assert PartsList.objects.filter(scope="period").count() == 2
