"""A worker is killed in the middle of a forecast: nothing is lost, nothing is doubled."""

import os
import signal
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
import redis

from accounts.jobs.claims import resume_stalled
from accounts.jobs.models import JobChunk
from accounts.models import Company
from fleet.services.forecasts.forecasts import start_forecast_job
from tests.live.conftest import NOW, VISIBILITY_SECONDS
from tests.live.test_worker import StartWorker, is_done, start_in_three_chunks, stored_forecasts, undisturbed


def gate_for(folder: Path, *points: str) -> Path:
    """Say at which point each chunk is to be held up."""
    folder.mkdir()
    for number, point in enumerate(points):
        (folder / str(number)).write_text(point)
    return folder


def reached(gate: Path, count: int) -> Callable[[], bool]:
    return lambda: len(list(gate.glob("*.reached"))) == count


def chunk_states() -> dict[str, int]:
    states = list(JobChunk.objects.values_list("state", flat=True))
    return {state: states.count(state) for state in states}


@pytest.mark.long
def test_another_worker_finishes_what_a_killed_one_began(
    town: Company, start_worker: StartWorker, tmp_path: Path
) -> None:
    expected = undisturbed(town)
    gate = gate_for(tmp_path / "gate", "begun", "written", "writing")
    job = start_in_three_chunks(town)

    doomed = start_worker(gate=gate, hands=3)
    doomed.wait_until(reached(gate, 3), "all three chunks in the middle of their work")
    job.refresh_from_db()
    # Whoever looks meanwhile sees how far it is: of three chunks one is through.
    assert (job.state, job.share_done) == ("running", pytest.approx(1 / 3))
    assert job.doing == "forecasts stored"
    assert chunk_states() == {"running": 3}
    doomed.kill()
    # One chunk's forecasts are stored though nobody knows, one's were written and never committed.
    assert stored_forecasts() == expected[8:16]
    assert chunk_states() == {"running": 3}

    # A worker that starts gives back to the queue what has been out too long, and looks again only minutes later.
    time.sleep(VISIBILITY_SECONDS)
    heir = start_worker()
    heir.wait_until(is_done(job), "the rest of the forecasts")
    assert (job.state, job.share_done, job.problem) == ("done", 1.0, None)
    assert chunk_states() == {"done": 3}
    assert set(JobChunk.objects.values_list("attempts", flat=True)) == {2}
    assert (job.result["created"], job.result["changed"], job.result["unchanged"]) == (16, 0, 8)
    assert stored_forecasts() == expected


def test_the_worker_itself_goes_on_when_the_system_kills_the_process_at_work(
    town: Company, start_worker: StartWorker, tmp_path: Path
) -> None:
    expected = undisturbed(town)
    gate = gate_for(tmp_path / "gate", "writing")
    job = start_forecast_job(company=town, by=None, now=NOW)
    worker = start_worker(gate=gate)
    worker.wait_until(reached(gate, 1), "the chunk in the middle of its work")
    assert stored_forecasts() == []
    os.kill(int((gate / "0.reached").read_text()), signal.SIGKILL)
    worker.wait_until(is_done(job), "the forecasts by the process that took the place")
    assert (job.state, job.problem) == ("done", None)
    assert stored_forecasts() == expected


def test_work_is_handed_out_again_when_the_queue_was_emptied(
    town: Company, broker: str, waiting_in_queue: Callable[[], int]
) -> None:
    job = start_in_three_chunks(town)
    redis.Redis.from_url(broker).flushall()
    # Work that has only just been handed out is on its way.
    assert resume_stalled(now=job.created_at + timedelta(seconds=1)) == 0
    assert resume_stalled(now=job.created_at + timedelta(days=1)) == 3
    assert waiting_in_queue() == 3
