"""What follows many readings of one unit is put on the queue once while it waits there, and leaves none of them out."""

import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.jobs import held, waiting
from accounts.jobs.models import Job
from accounts.models import Company
from fleet.models import ReadingIndicators, Unit
from fleet.services import hand_over
from fleet.services.consequences import Kind, announce
from tests import factories
from tests.live.conftest import LEASE_SECONDS
from tests.live.queues import queue_at
from tests.live.test_queue_away import DEAD
from tests.live.workers import Worker

StartWorker = Callable[..., Worker]

_MOMENT = timezone.now() - timedelta(days=30)


@pytest.fixture
def unit(broker: str, company: Company) -> Unit:
    unit = factories.UnitFactory(company=company, commissioned_on=(_MOMENT - timedelta(days=400)).date())
    factories.PlacementFactory(position=factories.PositionFactory(unit=unit, stage="membrane"))
    return unit


def work_of(unit: Unit) -> dict[str, Any]:
    return {"company_id": unit.company_id, "unit_ids": [unit.pk], "kinds": ["readings"]}


def tell(unit: Unit, *, days: int | None = 0, kind: Kind = Kind.READINGS) -> datetime | None:
    since = None if days is None else _MOMENT - timedelta(days=days)
    announce(unit.company_id, units=[unit.pk], kind=kind, now=timezone.now(), since=since)
    return since


def test_what_waits_already_is_not_put_there_again(unit: Unit, waiting_in_queue: Callable[[], int]) -> None:
    tell(unit)
    assert waiting_in_queue() == 1
    tell(unit)
    tell(unit)
    assert waiting_in_queue() == 1
    tell(unit, kind=Kind.METERS)
    assert waiting_in_queue() == 2
    tell(factories.UnitFactory(company=unit.company))
    assert waiting_in_queue() == 3


def test_what_is_begun_is_asked_for_again_by_the_next_change(unit: Unit, waiting_in_queue: Callable[[], int]) -> None:
    tell(unit)
    hand_over.oldest_change(**work_of(unit), since=None, again=False)
    tell(unit)
    assert waiting_in_queue() == 2


def test_it_looks_back_to_the_oldest_reading_of_all(unit: Unit) -> None:
    first, oldest, _ = tell(unit), tell(unit, days=9), tell(unit, days=3)
    assert first is not None
    said = first.isoformat()
    assert hand_over.oldest_change(**work_of(unit), since=said, again=False) == oldest
    # Once begun, what others noted is taken; the work's own word stays.
    assert hand_over.oldest_change(**work_of(unit), since=said, again=False) == first


def test_it_looks_at_all_where_a_change_has_no_moment_or_a_worker_died(unit: Unit) -> None:
    said = _MOMENT.isoformat()
    tell(unit)
    tell(unit, days=None)
    assert hand_over.oldest_change(**work_of(unit), since=said, again=False) is None
    assert hand_over.oldest_change(**work_of(unit), since=said, again=True) is None


def test_a_queue_that_was_away_keeps_nothing_from_being_asked_for(
    unit: Unit, broker: str, waiting_in_queue: Callable[[], int]
) -> None:
    with queue_at(DEAD):
        tell(unit)
        tell(unit)
    assert [(job.kind, job.state) for job in Job.objects.all()] == [("follow_up", "waiting")]
    tell(unit)
    assert waiting_in_queue() == 1


def test_work_whose_first_asker_died_is_asked_for_by_the_next(
    unit: Unit, waiting_in_queue: Callable[[], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(waiting, "LONGEST_SECONDS", 1)
    with monkeypatch.context() as dying:
        dying.setattr(hand_over, "give", lambda *_, **__: True)
        tell(unit)
    tell(unit)
    assert waiting_in_queue() == 0
    time.sleep(1.1)
    oldest = tell(unit, days=1)
    assert waiting_in_queue() == 1
    # What was noted meanwhile is not left out.
    assert hand_over.oldest_change(**work_of(unit), since=_MOMENT.isoformat(), again=False) == oldest


def test_every_reading_of_a_burst_is_followed(unit: Unit, as_installer: APIClient, start_worker: StartWorker) -> None:
    for number in range(12):
        # the oldest last, so that a look from the first one's moment on would leave them out
        at = (_MOMENT - timedelta(hours=number)).isoformat()
        body = {"unit": unit.pk, "taken_at": at, "reference": f"r{number}", "feed_tds": "240 ppm"}
        assert as_installer.post("/api/v1/readings/", body | {"permeate_tds": "9 ppm"}).status_code == 201
    start_worker().wait_until(lambda: ReadingIndicators.objects.count() == 12, "indicators of all readings")


def test_what_a_killed_worker_followed_is_followed_by_another_within_minutes(
    unit: Unit,
    as_installer: APIClient,
    start_worker: StartWorker,
    tmp_path: Path,
    waiting_in_queue: Callable[[], int],
) -> None:
    """The queue would give it back after its visibility timeout, which is an hour in service."""
    gate = tmp_path / "gate"
    gate.mkdir()
    (gate / "follow_up").touch()
    for number in range(2):
        at = (_MOMENT + timedelta(hours=number)).isoformat()
        body = {"unit": unit.pk, "taken_at": at, "reference": f"r{number}", "feed_tds": "240 ppm"}
        assert as_installer.post("/api/v1/readings/", body | {"permeate_tds": "9 ppm"}).status_code == 201
    doomed = start_worker(gate=gate)
    doomed.wait_until((gate / "follow_up.reached").exists, "what follows the readings in the middle of its work")
    assert held.give_again(now=timezone.now()) == 0, "whoever lives holds it"
    doomed.kill()
    assert not ReadingIndicators.objects.exists()
    waits = waiting_in_queue()
    after_the_lease = timezone.now() + timedelta(seconds=2 * LEASE_SECONDS)
    assert (held.give_again(now=after_the_lease), held.give_again(now=after_the_lease)) == (1, 0)
    assert waiting_in_queue() == waits + 1
    heir = start_worker()
    heir.wait_until(lambda: ReadingIndicators.objects.count() == 2, "indicators of all readings")
    heir.wait_until(lambda: held._on_server("hlen") == 0, "nothing held when all is done")
