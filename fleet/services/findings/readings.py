"""Which of a unit's readings its findings rest on: the newest ones, and those its baselines are made of."""

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

import numpy as np

from accounts.models import Company
from fleet.engineering.constants import SECONDS_PER_DAY
from fleet.models import Placement, Reading, Stage
from fleet.services.readings.tables import Indexes, ReadingTable, load_readings

# Before the newest ones: what is usual is taken from the last 15 pairs, a jump from the last 20 readings.
_BEFORE: Final = 40
# The line when the unit was new is the median of its first readings.
_FIRST_OF_LINE: Final = 6
# Longer than the days after fitting in which a baseline, a first value or a clean differential pressure is taken.
_AFTER_FITTING_DAYS: Final = 181.0
_WITH_BASELINE: Final = (Stage.MEMBRANE.value, Stage.SEDIMENT.value, Stage.CARBON.value)


def readings_that_bear(company: Company, unit_ids: Sequence[int], now: datetime, recent: timedelta) -> ReadingTable:
    """Read what the findings of some units at a moment rest on, however long the record of a unit is.

    These are the readings of the last `recent` before the newest one and some before them, those of the first weeks of
    the membranes and prefilters that stood then, the first of the line pressure, and the chlorine tests behind the
    carbon since the membrane was fitted, and what people saw. Until another reading comes they stay the same, whatever
    day it is.
    """
    fields = (
        "unit_id",
        "taken_at",
        "pk",
        "line_pressure_kpa",
        "carbon_outlet_total_chlorine_mg_per_l",
        "carbon_outlet_free_chlorine_mg_per_l",
        "observations",
    )
    rows = Reading.objects.current().of_company(company).taken_by(now).filter(unit_id__in=list(unit_ids))
    values = list(rows.order_by("unit_id", "taken_at", "pk").values_list(*fields).iterator(chunk_size=5000))
    if not values:
        return load_readings(company, unit_ids, ids=[])
    columns = list(zip(*values, strict=True))
    unit = np.array(columns[0], dtype=np.int64)
    day = np.array([at.timestamp() / SECONDS_PER_DAY for at in columns[1]], dtype=np.float64)
    line, total, free = (np.array(column, dtype=np.float64) for column in columns[3:6])
    seen = np.array([bool(observations) for observations in columns[6]], dtype=bool)
    tested = ~(np.isnan(total) & np.isnan(free))
    # What somebody saw stands until it was mended or is seen to be gone, however long that takes.
    bears = seen.copy()
    fittings = _fittings(company, unit_ids)
    span = recent.total_seconds() / SECONDS_PER_DAY
    starts = np.flatnonzero(np.append(True, unit[1:] != unit[:-1]))
    for start, end in zip(starts, np.append(starts[1:], len(values)), strict=True):
        rows_of_unit = np.arange(start, end)
        days = day[start:end]
        since = float(days[-1]) - span
        newest = start + int(np.searchsorted(days, since))
        bears[max(start, newest - _BEFORE) : end] = True
        bears[rows_of_unit[~np.isnan(line[start:end])][:_FIRST_OF_LINE]] = True
        for stage, placed, removed in fittings.get(int(unit[start]), ()):
            if removed < since:
                continue
            first = start + int(np.searchsorted(days, placed))
            last = start + int(np.searchsorted(days, placed + _AFTER_FITTING_DAYS, side="right"))
            bears[first:last] = True
            if stage == Stage.MEMBRANE.value:
                bears[first:end] |= tested[first:end]
    ids: Indexes = np.array(columns[2], dtype=np.int64)[bears]
    return load_readings(company, unit_ids, ids=ids.tolist())


def _fittings(company: Company, unit_ids: Sequence[int]) -> dict[int, list[tuple[str, float, float]]]:
    """Unit -> stage, day of fitting and day of removal (infinite while it stands) of what baselines are taken with."""
    fitted: dict[int, list[tuple[str, float, float]]] = {}
    rows = Placement.objects.of_company(company).filter(
        position__unit_id__in=list(unit_ids), position__stage__in=_WITH_BASELINE
    )
    for unit_id, stage, at, until in rows.values_list(
        "position__unit_id", "position__stage", "placed_at", "removed_at"
    ):
        removed = np.inf if until is None else until.timestamp() / SECONDS_PER_DAY
        fitted.setdefault(unit_id, []).append((stage, at.timestamp() / SECONDS_PER_DAY, removed))
    return fitted
