"""What the flow of the membrane did when the carbon before it was changed."""

from typing import TYPE_CHECKING

import numpy as np

from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.diagnosis.steps import BEFORE, LASTED_DAYS, by_visit
from fleet.engineering.usual import FIRST_WEEKS_DAYS
from fleet.models import Stage
from fleet.services.readings.cartridge_changes import saw_before

if TYPE_CHECKING:
    from fleet.services.findings.facts import History


def flow_since_new_carbon(history: "History", row: int) -> dict[str, Fact]:
    """Normalised permeate flow since the carbon was changed over that of the same membrane before.

    The highest of the visits since counts, and of those before the last where it was the lowest: what fell at once and
    stays is believed, what sank from visit to visit is none of the new carbon's. Empty where nobody read it soon before
    and soon after the change, or on two visits since.
    """
    carbon, table = int(history.placement_rows[Stage.CARBON][row]), history.table
    if carbon < 0:
        return {}
    placed = float(history.placements[Stage.CARBON].placed_day[carbon])
    rows = np.asarray(history.rows_of(int(table.unit_ids[row])), dtype=np.int64)
    rows = rows[(rows <= row) & (history.membrane[rows] == history.membrane[row])]
    flow = history.indicators.values["normalised_permeate_flow_l_per_day"]
    rows = rows[history.indicators.valid_for_trend[rows] & (flow[rows] > 0.0)]
    is_before = np.array([saw_before(table.day[each], table.columns["occasion"][each], placed) for each in rows], bool)
    before, since = rows[is_before], rows[~is_before]
    visits = by_visit(table.day[since], flow[since])
    if not len(before) or len(visits) < LASTED_DAYS:
        return {}
    if placed - table.day[before[-1]] > FIRST_WEEKS_DAYS or table.day[since[0]] - placed > FIRST_WEEKS_DAYS:
        return {}
    last = by_visit(table.day[before], flow[before])[-BEFORE:]
    return {"flow_over_before_new_carbon": float(visits.max() / min(np.median(last), last[-1]))}
