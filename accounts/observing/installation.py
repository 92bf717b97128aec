"""What is measured of the whole installation, of all companies together, at the moment somebody asks.

Each room adds what it knows (`measure_with`). A measure counts rows by an index or reads a row for each company and
step; none goes over readings or forecasts.
"""

import logging
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime
from typing import Final

from django.conf import settings
from django.db import DatabaseError
from django.db.models import Count, Min
from django.utils import timezone
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from accounts.jobs.claims import LIVE, stalled_chunks
from accounts.jobs.models import Job, StepTime
from accounts.jobs.queue import lengths
from accounts.models import Letter
from accounts.services.letters import MOST_ATTEMPTS
from accounts.wall import over_all_companies

log = logging.getLogger(__name__)

Measure = Callable[[datetime], Iterable[Metric]]

_measures: Final[list[Measure]] = []


def measure_with(measure: Measure) -> None:
    """Add what a room measures; it is called with the clock whenever somebody asks, and may ask the database."""
    if measure not in _measures:
        _measures.append(measure)


class Installation(Collector):
    """Collects all measures; where the database cannot be asked, it says that alone."""

    def collect(self) -> Iterator[Metric]:
        now = timezone.now()
        try:
            found = measured(now)
            is_there = True
        except DatabaseError as error:
            log.warning("the installation cannot be measured: %s", type(error).__name__)
            found, is_there = [], False
        yield GaugeMetricFamily("ro_fleet_database_up", "Whether the database can be asked.", value=is_there)
        yield from found


@over_all_companies()
def measured(now: datetime) -> list[Metric]:
    """What all rooms measure."""
    return [metric for measure in _measures for metric in measure(now)]


def waiting(name: str, words: str, counts: dict[str, tuple[int, datetime | None]], now: datetime) -> Iterator[Metric]:
    """Two gauges of what waits, by kind: how many, and the age in seconds of the oldest; nothing waits 0 seconds."""
    count = GaugeMetricFamily(f"ro_fleet_{name}_waiting", f"{words} that wait.", labels=["kind"])
    age = GaugeMetricFamily(
        f"ro_fleet_{name}_oldest_seconds", f"{words} that wait: age of the oldest.", labels=["kind"]
    )
    for kind, (number, oldest) in sorted(counts.items()):
        count.add_metric([kind], number)
        age.add_metric([kind], max(0.0, (now - oldest).total_seconds()) if oldest else 0.0)
    yield from (count, age)


def _jobs(now: datetime) -> Iterator[Metric]:
    live = Job.objects.filter(state__in=LIVE).order_by().values("kind")
    of_kind = {row["kind"]: (row["n"], row["oldest"]) for row in live.annotate(n=Count("pk"), oldest=Min("created_at"))}
    yield from waiting("jobs", "Jobs waiting or running", of_kind, now)
    yield GaugeMetricFamily(
        "ro_fleet_chunks_stalled",
        "Pieces of jobs that no worker takes, or whose worker is gone.",
        value=stalled_chunks(now=now).order_by().count(),
    )


def _nights(now: datetime) -> Iterator[Metric]:
    seconds = GaugeMetricFamily(
        "ro_fleet_step_seconds", "Last run of each step of long work: seconds, all companies.", labels=["kind", "step"]
    )
    longest = GaugeMetricFamily(
        "ro_fleet_step_longest_seconds", "The same, of the company that took longest.", labels=["kind", "step"]
    )
    age = GaugeMetricFamily(
        "ro_fleet_step_oldest_seconds",
        "Seconds since a step ended, at the company where that is longest ago; of forecasts, their age.",
        labels=["kind", "step"],
    )
    for kind, step, total, most, oldest in StepTime.sums():
        seconds.add_metric([kind, step], total)
        longest.add_metric([kind, step], most)
        age.add_metric([kind, step], max(0.0, (now - oldest).total_seconds()))
    yield from (seconds, longest, age)


def _letters(now: datetime) -> Iterator[Metric]:
    unsent = Letter.objects.filter(sent_at=None, attempts__lt=MOST_ATTEMPTS)
    found = unsent.order_by().aggregate(n=Count("pk"), oldest=Min("written_at"))
    yield from waiting("letters", "Letters about getting in", {"getting_in": (found["n"], found["oldest"])}, now)


def _queue(now: datetime) -> Iterator[Metric]:
    if not settings.REDIS_URL:
        return
    up = GaugeMetricFamily("ro_fleet_queue_up", "Whether the queue can be reached.")
    tasks = GaugeMetricFamily("ro_fleet_queue_tasks", "Tasks that lie in a queue.", labels=["queue"])
    found = lengths()
    up.add_metric([], 0 if found is None else 1)
    for name, count in (found or {}).items():
        tasks.add_metric([name], count)
    yield from (up, tasks)


for _measure in (_jobs, _nights, _letters, _queue):
    measure_with(_measure)
