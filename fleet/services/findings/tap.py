"""What is read at the tap is the water of the membrane, where nothing between the two adds or takes salt."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Final

import numpy as np

from fleet.models import Stage
from fleet.services.readings.tables import ReadingTable

_CHANGES_SALT: Final = frozenset({Stage.RESIN.value, Stage.REMINERALISATION.value})


def with_permeate_of_the_tap(
    table: ReadingTable, places_by_unit: Mapping[int, Collection[tuple[str, str]]]
) -> ReadingTable:
    """Readings with the product TDS for the permeate TDS that nobody read, at units where it is the same water.

    Parameters
    ----------
    table
        Readings of some units.
    places_by_unit
        Stage and role of the positions of each unit.
    """
    is_plain = {
        unit_id: _CHANGES_SALT.isdisjoint(stage for stage, _ in places) for unit_id, places in places_by_unit.items()
    }
    plain = np.array([is_plain.get(int(unit_id), False) for unit_id in table.unit_ids], dtype=bool)
    permeate, product = table.columns["permeate_tds_mg_per_l"], table.columns["product_tds_mg_per_l"]
    filled = np.where(np.isnan(permeate) & plain, product, permeate)
    return replace(table, columns={**table.columns, "permeate_tds_mg_per_l": filled})
