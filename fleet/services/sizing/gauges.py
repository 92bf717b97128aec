"""What the gauges of units showed in a year, which has all its seasons."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Final

from accounts.models import Company
from fleet.models import Reading

SEASONS: Final = timedelta(days=365)
"""Readings of a year tell the usual temperature and water of a unit."""


def read_in_a_year(
    *, company: Company, units: Sequence[int], names: Sequence[str], now: datetime
) -> dict[int, dict[str, list[float]]]:
    """Unit id to name to the values read while water flowed, the oldest first; what was never read has no entry.

    Parameters
    ----------
    company, units
        Whose, and ids of which.
    names
        Columns of readings.
    now
        The readings of the year before it count.
    """
    rows = (
        Reading.objects.of_company(company)
        .current()
        .taken_by(now)
        .filter(unit__in=units, taken_at__gt=now - SEASONS)
        .exclude(state=Reading.State.STATIC)
        .order_by("taken_at", "pk")
    )
    values: dict[int, dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for row in rows.values("unit_id", *names):
        for name in names:
            if row[name] is not None:
                values[row["unit_id"]][name].append(float(row[name]))
    return values
