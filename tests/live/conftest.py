"""A queue as in operation: a real server of the Redis protocol, real worker processes, rows that are committed."""

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
import redis

from accounts.jobs.queue import QUEUES
from accounts.models import Company
from tests import factories
from tests.live.queues import queue_at
from tests.live.workers import Worker
from tests.servers import running_redis

# How long a chunk stays with the worker that claimed it, and a task with the worker that took it from the queue: long
# enough to do it, short enough to wait for when the worker has been killed. The task comes back while the lease still
# runs, so that the next worker has to wait for it.
LEASE_SECONDS = 6
VISIBILITY_SECONDS = 1

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def redis_server() -> Iterator[str]:
    with running_redis() as address:
        yield address


@pytest.fixture
def broker(redis_server: str, transactional_db: None) -> Iterator[str]:
    """An empty queue that this process puts its jobs on, as a web process does when REDIS_URL is set."""
    redis.Redis.from_url(redis_server).flushall()
    with queue_at(redis_server):
        yield redis_server


@pytest.fixture
def waiting_in_queue(broker: str) -> Callable[[], int]:
    """Count what lies in the queue for the next free worker."""
    server = redis.Redis.from_url(broker)
    return lambda: sum(int(server.llen(name)) for name in QUEUES)  # type: ignore[arg-type]


@pytest.fixture
def start_worker(broker: str, tmp_path: Path) -> Iterator[Callable[..., Worker]]:
    """Start worker processes; all are gone before the rows are taken away."""
    started: list[Worker] = []

    def start(**options: Any) -> Worker:
        log = tmp_path / f"worker{len(started)}.log"
        variables = {"JOB_LEASE_SECONDS": str(LEASE_SECONDS), "JOB_VISIBILITY_SECONDS": str(VISIBILITY_SECONDS)}
        started.append(Worker(broker=broker, log=log, **variables, **options))
        return started[-1]

    yield start
    for worker in started:
        worker.kill()


@pytest.fixture
def town(transactional_db: None, company: Company) -> Company:
    """A company with six units to forecast, in three chunks of two."""
    for number in range(6):
        unit = factories.UnitFactory(company=company, commissioned_on=date(2025, 6, 1))
        for stage, role in [("sediment", "single"), ("membrane", "single"), ("resin", "lead"), ("resin", "lag")]:
            position = factories.PositionFactory(unit=unit, stage=stage, role=role)
            factories.PlacementFactory(position=position, placed_at=datetime(2025, 10, 1 + number, tzinfo=UTC))
        for months in range(4):
            factories.ReadingFactory(
                unit=unit,
                taken_at=NOW - timedelta(days=30 * months + number + 1),
                received_at=NOW - timedelta(days=30 * months + number),
                permeate_flow_l_per_day=180.0 - 5.0 * number,
                interstage_tds_mg_per_l=1.0 + number,
                product_tds_mg_per_l=0.0,
                temperature_degc=15.0,
            )
    return company
