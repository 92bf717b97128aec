"""Cartridges that were moved from one position to another: where each came from, and since when it is in service.

Records often hold no more than that the old place was left as rotated and the new one was filled on the same day. Load
and age move with a cartridge all the same.
"""

from typing import Final

import numpy as np

from fleet.engineering.usual import SAME_VISIT_DAYS
from fleet.forecasting.inputs import tables
from fleet.forecasting.inputs import vocabulary as words

MOST_ROTATIONS: Final = 4
"""Positions that one cartridge may have stood in before."""


def rotated_in(table: tables.Placements, positions: tables.Positions, continued_from: tables.Indexes) -> tables.Indexes:
    """Where every cartridge came from: as recorded, else the one of the same unit and stage that was removed as rotated
    on the day on which this one was placed elsewhere."""
    sources = np.flatnonzero((table.reason == words.ROTATED) & np.isfinite(table.removed_day))
    sources = sources[~np.isin(sources, continued_from)]
    new = np.flatnonzero(continued_from < 0)
    if not len(sources) or not len(new):
        return continued_from
    train = positions.unit_index * len(words.STAGES) + positions.stage
    span = 1e6
    key = train[table.position_index[sources]] * span + table.removed_day[sources]
    order = np.argsort(key, kind="stable")
    sources, key = sources[order], key[order]
    wanted_key = train[table.position_index[new]] * span + table.placed_day[new]
    at = np.clip(np.searchsorted(key, wanted_key - SAME_VISIT_DAYS), 0, len(key) - 1)
    fits = np.abs(key[at] - wanted_key) <= SAME_VISIT_DAYS
    fits &= table.position_index[sources[at]] != table.position_index[new]
    out = continued_from.copy()
    out[new[fits]] = sources[at[fits]]
    return out


def first_installed(table: tables.Placements, continued_from: tables.Indexes) -> tables.Floats:
    """Day on which every cartridge was first in service: as recorded, else through the placements it came from."""
    recorded = np.isfinite(table.first_installed_day)
    first = np.where(recorded, table.first_installed_day, table.placed_day)
    for _ in range(MOST_ROTATIONS):
        earlier = np.where(recorded | (continued_from < 0), first, np.minimum(first, first[continued_from]))
        if np.array_equal(earlier, first):
            break
        first = earlier
    return np.minimum(first, table.placed_day)
