"""What the first readings of a membrane say beside its label and the waste ratio the unit was set up for."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.formulas.temperature_correction import water_tcf
from fleet.engineering.formulas.viscosity import water_viscosity_mpa_s
from fleet.engineering.usual import COLD_AND_WARM_DEGC, FIRST_WEEKS_DAYS, LAYOUT_TEMPERATURE_DEGC
from fleet.models import Stage, Unit
from fleet.services.readings.tables import Floats, Indexes

if TYPE_CHECKING:
    from fleet.services.findings.facts import History


def first_weeks(history: "History", row: int) -> dict[str, Fact]:
    """Flow over label and waste ratio over design, in the first weeks of the membrane of a reading and now.

    As commissioning judges them: the ratio at the temperature of the reading, of a restrictor chosen for the
    temperature of the reading or for the usual one. What cannot be told is left out.
    """
    membrane, membranes = int(history.membrane[row]), history.placements[Stage.MEMBRANE]
    if membrane < 0:
        return {}
    rows = np.asarray(history.rows_of(int(history.table.unit_ids[row])), dtype=np.int64)
    rows = rows[(rows <= row) & (history.membrane[rows] == membrane)]
    first = history.table.day[rows] <= float(membranes.placed_day[membrane]) + FIRST_WEEKS_DAYS
    flow = np.where(history.indicators.valid_for_trend, history.indicators.values["flow_over_expected"], np.nan)[rows]
    ratio = _ratio_over_design(history, rows, membranes.items["water_u_kelvin"][membrane])
    facts = {
        "first_flow_over_label": _middle(flow[first]),
        "flow_over_label": float(flow[-1]),
        "first_waste_ratio_over_design": _middle(ratio[first]),
        "waste_ratio_over_design": float(ratio[-1]),
    }
    return {name: value for name, value in facts.items() if value == value}


def _middle(values: Floats) -> float:
    finite = values[~np.isnan(values)]
    return float(np.median(finite)) if len(finite) else float("nan")


def _ratio_over_design(history: "History", rows: Indexes, u_kelvin: float | None) -> Floats:
    """1 where the waste ratio may be that of the design, else over the nearest that may be."""
    columns, unit = history.table.columns, history.facts[int(history.table.unit_ids[rows[0]])]
    permeate, drain = columns["permeate_flow_l_per_day"][rows], columns["concentrate_flow_l_per_day"][rows]
    design = unit["design_recovery_fraction"]
    flowing = (permeate > 0.0) & (drain > 0.0)
    if unit["tank"] == Unit.Tank.PRESSURISED:
        # a filling tank holds permeate back, and not the drain
        flowing &= np.array([columns["tank_valve"][row] == "closed" for row in rows], dtype=bool)
    temperature = columns["temperature_degc"][rows]
    is_known = (temperature >= 1.0) & (temperature <= 45.0)
    # Where nobody read how warm the water was it may have been as cold and as warm as mains water is.
    bounds = [_laid_out(np.where(is_known, temperature, degc), unit, u_kelvin) for degc in COLD_AND_WARM_DEGC]
    least, most = np.minimum(*bounds), np.maximum(*bounds)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(flowing, drain / permeate, np.nan) * design / (1.0 - design)
    return ratio / np.clip(ratio, np.minimum(least, 1.0), np.maximum(most, 1.0))


def _laid_out(temperature: Floats, unit: Mapping[str, Any], u_kelvin: float | None) -> Floats:
    """Waste ratio at some temperatures over that of the design, of a restrictor chosen for the usual temperature."""
    tcf = np.asarray(water_tcf(np.append(temperature, LAYOUT_TEMPERATURE_DEGC), u_kelvin=u_kelvin))
    laid_out = tcf[-1] / tcf[:-1]
    if unit["restrictor"] == Unit.Restrictor.CAPILLARY:
        usual = float(water_viscosity_mpa_s(LAYOUT_TEMPERATURE_DEGC))
        laid_out = laid_out * usual / np.asarray(water_viscosity_mpa_s(temperature))
    return np.asarray(laid_out)
