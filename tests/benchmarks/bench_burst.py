"""A night that is due while readings come in as fast as they can be posted, on real parts: prints what became of it.

    python -m tests.benchmarks.bench_burst                    2,000 posts by 20 callers, 50 units, one worker
    python -m tests.benchmarks.bench_burst --posts 200 --units 10

PostgreSQL, queue, web server and one worker run in processes of their own. When half of the posts are answered, the
clock's task asks for the night of the company that they belong to. Printed: how long the night waited until it was
begun; after how long it, and all that follows the readings, was done; how many follow-ups that took; and the readings
that were acknowledged against those that are stored. Ends with an error where one was lost or stored twice.
"""

import argparse
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import redis

from tests.benchmarks.callers import bearer
from tests.benchmarks.plant import Plant, Told, as_text, until
from tests.benchmarks.processors import group_seconds, server_seconds

_FOLLOW_UP = "fleet.tasks.follow_up"
_PATIENCE_SECONDS = 3600.0
_WAITING = ("follow_up", "jobs", "night", "upkeep", "celery")
"""Lists of the queue's server, those of earlier versions among them."""


def main() -> int:
    """Make the parts, let the burst come, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--posts", type=int, default=2000)
    parser.add_argument("--units", type=int, default=50)
    parser.add_argument("--callers", type=int, default=20)
    options = parser.parse_args()
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        plant = Plant(stack, folder, "postgresql")
        found = burst(plant, options.posts, options.units, options.callers)
    print(f"{options.posts} posts by {options.callers} callers, {options.units} units")
    for name, value in found.items():
        print(f"  {name}: {value:.1f}" if isinstance(value, float) else f"  {name}: {value}")
    return 1 if found["lost"] or found["stored twice"] else 0


def burst(plant: Plant, posts: int, units: int, callers: int) -> dict[str, Any]:
    """What became of a burst of posts and of the night that was due in its middle; seconds where nothing is said."""
    from accounts.jobs.models import Job
    from accounts.models import Membership
    from scheduling import tasks
    from tests import factories
    from tests.benchmarks.bench_routes import analyse, found

    company = found(units, 30, datetime.now(UTC))
    analyse()
    owner = factories.MembershipFactory(company=company, role=Membership.Role.OWNER, user__email="burst@people.example")
    plant.token = bearer(owner)
    plant.start_web()
    plant.start_worker(LOG_LEVEL="INFO")
    plant.wait_for_worker()
    told, is_over = Told(), threading.Event()
    waits: list[float] = []
    ends: list[float] = []
    used = seconds_of(plant)
    begun = time.monotonic()
    threads = post(plant, posts, units, callers, told, (waits, ends), is_over)
    until(lambda: len(told.acknowledged) >= posts // 2, "half of the posts", _PATIENCE_SECONDS)
    asked = time.monotonic()
    tasks.nightly.apply_async()
    nights = Job.objects.filter(company=company, kind="nightly")
    waited = until(nights.exclude(started_at=None).exists, "a night that is begun", _PATIENCE_SECONDS)
    for thread in threads:
        thread.join()
    until(lambda: nights.filter(state="done").exists(), "a night that is done", _PATIENCE_SECONDS)
    night_done = time.monotonic() - asked
    until(lambda: not waiting(plant), "an empty queue", _PATIENCE_SECONDS)
    all_done = time.monotonic() - begun
    is_over.set()
    now_used = seconds_of(plant)
    stored = plant.stored()
    return {
        "acknowledged": len(told.acknowledged),
        "stored": sum(stored[key] for key in told.acknowledged),
        "lost": sum(1 for key in told.acknowledged if key not in stored),
        "stored twice": sum(1 for count in stored.values() if count > 1),
        "refused meanwhile": as_text(told.refused),
        "last post answered after": max(ends) - begun,
        "a post at the 95th percentile": float(np.percentile(waits, 95)),
        "night asked for after": asked - begun,
        "night waited to begin": waited,
        "night done, since it was asked for": night_done,
        "everything followed, since the first post": all_done,
        "follow-ups carried out": carried_out(plant),
        **{f"processor of {part}": now_used[part] - before for part, before in used.items()},
    }


def post(
    plant: Plant,
    posts: int,
    units: int,
    callers: int,
    told: Told,
    times: tuple[list[float], list[float]],
    is_over: threading.Event,
) -> list[threading.Thread]:
    """Let callers post so many readings in all, unit after unit, and note how long each took and when it ended."""
    begin = datetime.now(UTC) - timedelta(days=1)

    def call(numbers: Iterator[int]) -> None:
        for number in numbers:
            began = time.monotonic()
            body = {
                "unit": f"U{number % units}",
                "taken_at": (begin + timedelta(seconds=10 * number)).isoformat(),
                "permeate_tds": f"{9 + number % 5} ppm",
                "note": (key := f"burst-{number}"),
            }
            plant.send(key, told, is_over, url=f"{plant.address}/api/v1/readings/", json=body)
            for noted, moment in zip(times, (time.monotonic() - began, time.monotonic()), strict=True):
                noted.append(moment)

    threads = [threading.Thread(target=call, args=(iter(range(n, posts, callers)),)) for n in range(callers)]
    for thread in threads:
        thread.start()
    return threads


def waiting(plant: Plant) -> int:
    """Tasks that wait in the queue or that a worker has and has not done yet."""
    server = redis.Redis.from_url(plant.variables["REDIS_URL"])
    return sum(int(server.llen(name)) for name in _WAITING) + int(server.hlen("unacked"))  # type: ignore[arg-type]


def carried_out(plant: Plant) -> int | str:
    """Follow-ups that the worker's log says were done; a word where it tells of no work at all."""
    lines = [line for line in (plant.folder / "worker.log").read_text().splitlines() if "succeeded" in line]
    return sum(1 for line in lines if f"{_FOLLOW_UP}[" in line) if lines else "not told by its log"


def seconds_of(plant: Plant) -> dict[str, float]:
    """Processor seconds of the parts so far."""
    parts = {name: group_seconds(process.pid) for name, process in plant.processes.items()}
    return {**parts, "database": server_seconds()}


if __name__ == "__main__":
    sys.exit(main())
