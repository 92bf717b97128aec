"""What the water behind the last resin read since that resin was fitted."""

from typing import TYPE_CHECKING, Final

import numpy as np

from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.diagnosis.steps import by_visit
from fleet.engineering.usual import SAME_VISIT_DAYS
from fleet.models import Position, Stage
from fleet.services.readings.cartridge_changes import saw_before

if TYPE_CHECKING:
    from fleet.services.findings.facts import History

# So many readings say what is usual behind the resin before.
_BEFORE: Final = 5


def product_since_fitted(history: "History", row: int) -> dict[str, Fact]:
    """Product TDS at the first visit to the last resin, and when that was; how often and how low it was read since.

    The least of that visit: the first water rinses a new bed. Beside it, what the product was before that resin, while
    within its limit. Empty where nobody has read the product of that resin.
    """
    resins, table = history.placements[Stage.RESIN], history.table
    unit_id, day = table.unit_ids[row], table.day[row]
    own = np.flatnonzero((resins.unit_ids == unit_id) & (resins.placed_day <= day) & (resins.removed_day > day))
    last = [index for index in own.tolist() if resins.roles[index] == Position.Role.LAG] or own.tolist()
    if not last:
        return {}
    placed = max(float(resins.placed_day[index]) for index in last)
    rows = np.array([each for each in history.rows_of(int(unit_id)) if each <= row], dtype=np.int64)
    product = table.columns["product_tds_mg_per_l"]
    read = rows[~np.isnan(product[rows])]
    saw_previous = np.array(
        [saw_before(table.day[each], table.columns["occasion"][each], placed) for each in read.tolist()], dtype=bool
    )
    since = read[~saw_previous]
    if not len(since):
        return {}
    days, values = table.day[since], product[since]
    first = values[days <= days[0] + SAME_VISIT_DAYS]
    facts: dict[str, Fact] = {
        "fresh_resin_product_tds_mg_per_l": float(first.min()),
        "fresh_resin_first_read_days": float(days[0] - placed),
        "fresh_resin_read_for_days": float(days[-1] - days[0]),
        "fresh_resin_visits": float(len(by_visit(days, days))),
        "least_fresh_resin_product_tds_mg_per_l": float(values.min()),
    }
    before = product[read[saw_previous]]
    sound = before[before <= history.limits[int(unit_id)].product_tds_mg_per_l]
    if len(sound):
        facts["product_tds_before_fresh_resin_mg_per_l"] = float(np.median(sound[-_BEFORE:]))
    return facts
