"""How well the indicators of readings are known: by the meters that showed them, where these are on record."""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from typing import Any, Final

import numpy as np

from accounts.models import Company
from fleet.engineering.indicators import UnitContext
from fleet.engineering.indicators.uncertainty import METERS, Meter, indicator_uncertainties
from fleet.models import Instrument, Reading
from fleet.services.readings.tables import ReadingTable

_AT_ONCE: Final = 5000


def of_rows(
    company: Company, table: ReadingTable, columns: Mapping[str, Any], context: UnitContext, rows: Sequence[int]
) -> list[dict[str, float]]:
    """Standard uncertainty of each indicator of some readings, one mapping a row.

    The meter of a value is the one the reading names, else one fitted to the unit, else one as is commonly carried.
    """
    if not rows:
        return []
    chosen = np.asarray(rows, dtype=np.int64)
    chosen_columns = {name: np.asarray(column)[chosen] for name, column in columns.items()}
    count = len(table)
    parts = {
        part.name: value[chosen]
        for part in fields(context)
        if isinstance(value := getattr(context, part.name), np.ndarray) and value.shape == (count,)
    }
    uncertainties = indicator_uncertainties(chosen_columns, replace(context, **parts), _meters(company, table, chosen))
    return [
        {name: float(f"{values[place]:.3g}") for name, values in uncertainties.items() if np.isfinite(values[place])}
        for place in range(len(rows))
    ]


def _meters(company: Company, table: ReadingTable, rows: Any) -> dict[str, Meter]:
    """Quantity -> accuracy and resolution, one value a row."""
    accuracy = {name: np.full(len(rows), meter.accuracy_fraction) for name, meter in METERS.items()}
    resolution = {name: np.full(len(rows), meter.resolution) for name, meter in METERS.items()}
    of_unit: dict[int, list[int]] = {}
    for place, unit_id in enumerate(table.unit_ids[rows].tolist()):
        of_unit.setdefault(unit_id, []).append(place)
    meter_fields = ("measures", "accuracy_fraction", "resolution")
    fitted = Instrument.objects.of_company(company).filter(unit_id__in=list(of_unit)).order_by("-pk")
    used = [(of_unit[unit_id], *about) for unit_id, *about in fitted.values_list("unit_id", *meter_fields)]
    place_of = {int(pk): place for place, pk in enumerate(table.ids[rows].tolist())}
    ids = list(place_of)
    for start in range(0, len(ids), _AT_ONCE):
        readings_with_meter = Reading.objects.of_company(company).filter(
            pk__in=ids[start : start + _AT_ONCE], instrument__isnull=False
        )
        about = readings_with_meter.values_list("pk", *(f"instrument__{name}" for name in meter_fields))
        used += [([place_of[pk]], *of_it) for pk, *of_it in about]
    for places, measures, share, step in used:
        for name in measures:
            if name in accuracy:
                accuracy[name][places] = share
                resolution[name][places] = step
    return {name: Meter(accuracy[name], resolution[name]) for name in METERS}
