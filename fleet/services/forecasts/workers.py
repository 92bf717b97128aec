"""Blocks of units forecast on several cores: other processes read and compute, this one alone writes.

The rows are those that one process would make, and come in the same order. A database that lives in the memory of this
process cannot be read from another, nor what an open transaction has written: then everything is done here.
"""

import logging
import multiprocessing
import os
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from django.db import connection

from accounts.models import Company
from accounts.wall import inside_company
from fleet.forecasting.answer.forecast import forecast
from fleet.forecasting.wear.learned import Learned
from fleet.services.forecasts.rows import forecast_rows
from fleet.services.forecasts.sources import marks_of_units
from fleet.services.forecasts.tables import end_of_day, load_fleet
from fleet.services.forecasts.worker_start import begin

log = logging.getLogger(__name__)

MOST_PROCESSES: Final = 4
"""More would only wait for the one process that writes."""

LEAST_UNITS: Final = 1200
"""Fewer units are forecast before other processes have started, in however many blocks they lie."""


@dataclass(frozen=True)
class Forecasted:
    """One block: the fields of each position's forecast by its id, what the units taught, and counts."""

    rows: dict[int, dict[str, Any]]
    learned: Learned
    units: int
    unusable: int


@dataclass(frozen=True)
class ForecastRun:
    """What is the same for every block of a run; `only_units` are the units whose rows to make, all when None."""

    company: Company
    only_units: frozenset[int] | None
    day: date
    learned: Learned | None

    def forecast(self, unit_ids: Sequence[int]) -> Forecasted:
        """Forecast some units together; nothing is stored."""
        # Marked before it is read: what comes in meanwhile makes the forecast out of date.
        marks = marks_of_units(self.company, unit_ids, self.day)
        loaded = load_fleet(company=self.company, unit_ids=unit_ids, as_of_day=end_of_day(self.company, self.day))
        answer = forecast(loaded.fleet, limits=loaded.limits, learned=self.learned)
        rows = forecast_rows(
            loaded,
            answer,
            wanted_units=self.only_units,
            zone=self.company.zone,
            marks=marks,
        )
        units = len(loaded.fleet.units) if self.only_units is None else len(self.only_units.intersection(unit_ids))
        return Forecasted(rows, answer.learned, units, len(loaded.faults))


def forecast_blocks(task: ForecastRun, blocks: Sequence[Sequence[int]]) -> Generator[Forecasted, None, None]:
    """Forecast blocks of units one after the other, or several at once where that pays and is possible."""
    processes = _processes(blocks)
    blocks_done = 0
    if processes > 1:
        try:
            for block in _in_processes(task, blocks, processes):
                yield block
                blocks_done += 1
        except (BrokenProcessPool, OSError) as error:
            log.warning("forecasting in other processes failed (%s); the rest is done in this one", error)
    for unit_ids in blocks[blocks_done:]:
        yield task.forecast(unit_ids)


def _processes(blocks: Sequence[Sequence[int]]) -> int:
    """How many processes to use; 1 where it would not pay, others could not see the data, or may not be started."""
    if sum(map(len, blocks)) <= LEAST_UNITS or connection.in_atomic_block or multiprocessing.current_process().daemon:
        return 1
    if connection.vendor == "sqlite" and connection.is_in_memory_db():  # type: ignore[attr-defined]
        return 1
    # Not every system says which cores this process may use.
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, MOST_PROCESSES)


def _in_processes(task: ForecastRun, blocks: Sequence[Sequence[int]], processes: int) -> Iterator[Forecasted]:
    # Started afresh, not forked: a copy of an open connection, or of a lock that a thread held, would do harm.
    context = multiprocessing.get_context("spawn")
    pool = ProcessPoolExecutor(processes, context, begin, (dict(connection.settings_dict),))
    waiting: deque[Future[Forecasted]] = deque()
    try:
        for unit_ids in blocks:
            # One block more than there are processes: none waits for the next, and few are held in memory.
            if len(waiting) > processes:
                yield waiting.popleft().result()
            waiting.append(pool.submit(_forecast, task, unit_ids))
        while waiting:
            yield waiting.popleft().result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _forecast(task: ForecastRun, unit_ids: Sequence[int]) -> Forecasted:
    # Another process knows nothing of the company that the one that asked works for.
    with inside_company(task.company.pk):
        return task.forecast(unit_ids)
