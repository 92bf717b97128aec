"""What feed water that was analysed does to the concentrate, worked out for a block of readings at once."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.scaling import amorphous_silica_solubility_mg_per_l, concentrate_langelier_index
from fleet.engineering.usual import LAYOUT_TEMPERATURE_DEGC
from fleet.services.readings.tables import Floats

if TYPE_CHECKING:
    from fleet.services.findings.facts import History

DOUBTFUL: Final = frozenset({"factor_of_ten", "unit_slip"})
"""Flags of a value that the rules do not get to see."""

_NEEDED: Final = ("ph", "hardness_mg_per_l_as_caco3", "alkalinity_mg_per_l_as_caco3")
_HIGHEST_RECOVERY: Final = 0.95


def scaling_indexes(history: "History") -> Floats:
    """Langelier index of the concentrate at each reading whose feed TDS is known.

    NaN elsewhere, and where the water is outside the range of the formula.
    """
    table = history.table
    indexes = np.full(len(table), np.nan)
    water = {name: np.full(len(table), np.nan) for name in (*_NEEDED, "tds_mg_per_l", "temperature_degc")}
    design = np.full(len(table), np.nan)
    for unit_id, unit in history.facts.items():
        rows = history.rows_of(unit_id)
        design[rows.start : rows.stop] = unit["design_recovery_fraction"]
        for name, value in history.water.get(unit["site_id"], {}).items():
            if name in water:
                water[name][rows.start : rows.stop] = value
    temperature, feed = (_trusted(history, name) for name in ("temperature_degc", "feed_tds_mg_per_l"))
    celsius = _first_known(temperature, water["temperature_degc"], np.full(len(table), LAYOUT_TEMPERATURE_DEGC))
    recovery = _first_known(history.indicators.values["recovery_fraction"], design)
    tds = _first_known(np.where(water["tds_mg_per_l"] != 0.0, water["tds_mg_per_l"], np.nan), feed)
    usable = (recovery > 0.0) & (recovery < _HIGHEST_RECOVERY) & (tds > 0.0)
    for name in _NEEDED:
        usable &= water[name] > 0.0
    chosen = np.flatnonzero(usable)
    if len(chosen):
        columns: dict[str, Any] = {
            "feed_ph": water["ph"],
            "feed_calcium_mg_per_l_as_caco3": water["hardness_mg_per_l_as_caco3"],
            "feed_alkalinity_mg_per_l_as_caco3": water["alkalinity_mg_per_l_as_caco3"],
            "feed_tds_mg_per_l": tds,
            "temperature_degc": celsius,
            "recovery_fraction": recovery,
        }
        indexes[chosen] = _indexes({name: values[chosen] for name, values in columns.items()})
    return indexes


def _trusted(history: "History", name: str) -> Floats:
    """A column without the values that intake found doubtful."""
    values: Floats = history.table.columns[name].copy()
    for row, flags in enumerate(history.table.flags):
        if any(field == name and code in DOUBTFUL for field, code in flags):
            values[row] = np.nan
    return values


def _first_known(*columns: Floats) -> Floats:
    known = columns[0]
    for column in columns[1:]:
        known = np.where(np.isnan(known), column, known)
    return known


def _indexes(columns: Mapping[str, Any]) -> Floats:
    """The index of each row; NaN of those outside the range, which are found by halves."""
    count = len(columns["feed_ph"])
    try:
        return np.asarray(concentrate_langelier_index(**columns), dtype=np.float64)
    except EngineeringError:
        if count == 1:
            return np.array([np.nan])
    half = count // 2
    first, second = (
        _indexes({name: values[part] for name, values in columns.items()})
        for part in (slice(None, half), slice(half, None))
    )
    return np.concatenate([first, second])


def scaling_of_row(
    history: "History", row: int, water: Mapping[str, float], context: Mapping[str, Fact]
) -> dict[str, Fact]:
    """The scaling of the concentrate at a reading; `context` is what else is known of it."""
    temperature = context.get("temperature_degc", water.get("temperature_degc", LAYOUT_TEMPERATURE_DEGC))
    recovery = context.get("recovery_fraction", context.get("design_recovery_fraction"))
    if not isinstance(temperature, float) or not isinstance(recovery, float):
        return {}
    if not 0.0 < recovery < _HIGHEST_RECOVERY:
        return {}
    facts: dict[str, Fact] = {}
    # Who had the hardness analysed need not have had the TDS: it is read at the unit, now or before.
    tds = water.get("tds_mg_per_l") or context.get("feed_tds_mg_per_l", context.get("baseline_feed_tds_mg_per_l"))
    try:
        if all(water.get(name) for name in _NEEDED) and isinstance(tds, float) and tds > 0.0:
            index = float(history.scaling_indexes[row])
            if np.isnan(index):
                index = float(
                    concentrate_langelier_index(
                        feed_ph=water["ph"],
                        feed_calcium_mg_per_l_as_caco3=water["hardness_mg_per_l_as_caco3"],
                        feed_alkalinity_mg_per_l_as_caco3=water["alkalinity_mg_per_l_as_caco3"],
                        feed_tds_mg_per_l=tds,
                        temperature_degc=temperature,
                        recovery_fraction=recovery,
                    )
                )
            facts["concentrate_langelier_index"] = index
        if water.get("silica_mg_per_l"):
            solubility = float(amorphous_silica_solubility_mg_per_l(temperature))
            facts["concentrate_silica_share"] = water["silica_mg_per_l"] / (1.0 - recovery) / solubility
    except EngineeringError:
        # A water outside the range of these formulas leaves the rules that need them silent.
        return {}
    return facts
