"""How much permeate a unit made a day, by its counter."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fleet.models import Unit

if TYPE_CHECKING:
    from fleet.services.findings.facts import History

# A counter that was read over less of a time says little of the rest of it (common practice, no source).
_SEEN_SHARE: Final = 0.5


def permeate_a_day_by_counter(history: "History", row: int, since: float, unit: Mapping[str, Any]) -> float | None:
    """Litres of permeate a day from a day to a reading, as the counter of the unit shows them.

    What was counted of the feed counts by the recovery of the design. Where the counter shows less than before it was
    replaced: the days between the two looks are left out.

    Parameters
    ----------
    history
        The readings of some units.
    row
        The reading up to which it is asked.
    since
        Day from which it is asked, days since 1970-01-01 UTC.
    unit
        Its facts: `totaliser` and `design_recovery_fraction`.

    Returns
    -------
    float or None
        L/day; None without a counter, where it was read over less than half of the time, or where it stood still.
    """
    stream, recovery = unit["totaliser"], unit["design_recovery_fraction"]
    if stream == Unit.Stream.NONE or (stream == Unit.Stream.FEED and not recovery):
        return None
    first = history.rows_of(int(history.table.unit_ids[row])).start
    day, counted = history.table.day[first : row + 1], history.table.columns["totaliser_l"][first : row + 1]
    known = ~np.isnan(counted) & (day >= since)
    litres, days = np.diff(counted[known]), np.diff(day[known])
    went_on = litres >= 0.0
    seen_days = float(np.sum(days[went_on]))
    if not seen_days > 0.0 or seen_days < _SEEN_SHARE * (float(day[-1]) - since):
        return None
    a_day = float(np.sum(litres[went_on])) / seen_days * (recovery if stream == Unit.Stream.FEED else 1.0)
    return a_day if a_day > 0.0 else None
