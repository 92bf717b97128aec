"""The inlet pressure that the demand of a unit without a pump asks for in the coldest water it was read at."""

from typing import TYPE_CHECKING

import numpy as np

from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.needed_pressure import needed_inlet_kpa
from fleet.engineering.usual import (
    COLD_AND_WARM_DEGC,
    LABEL_PRESSURE_KPA,
    LABEL_RECOVERY,
    LABEL_REJECTION,
    LABEL_TDS_MG_PER_L,
    LABEL_TEMPERATURE_DEGC,
    PUMP_STOPS_AT_KPA,
    RUN_HOURS_PER_DAY,
    TANK_PRECHARGE_KPA,
)
from fleet.models import Stage, Unit

if TYPE_CHECKING:
    from fleet.services.findings.facts import History


def needed_pressure(history: "History", row: int) -> dict[str, Fact]:
    """By the label of the membrane of a reading, as far as it may age; nothing without a line, or behind a pump.

    The coldest water is the coldest that was read at the unit so far, or cold mains where nobody read it.
    """
    unit_id, membrane = int(history.table.unit_ids[row]), int(history.membrane[row])
    unit, columns = history.facts[unit_id], history.table.columns
    demand, line = unit["weekly_demand_l"], columns["line_pressure_kpa"][row]
    if unit["has_booster_pump"] or line != line or membrane < 0 or not demand or not demand > 0.0:
        return {}
    label = {name: values[membrane] for name, values in history.placements[Stage.MEMBRANE].items.items()}
    if not label["rated_flow_l_per_day"]:
        return {}
    before = slice(history.rows_of(unit_id).start, row + 1)
    degc, feed = columns["temperature_degc"][before], columns["feed_tds_mg_per_l"][before]
    degc, feed = degc[(degc >= 1.0) & (degc <= 45.0)], feed[feed > 0.0]
    elements = sum(stage == Stage.MEMBRANE for stage, _ in history.positions.get(unit_id, {}))
    wanted = demand / 7.0 * 24.0 / RUN_HOURS_PER_DAY / max(elements, 1)
    rating = MembraneRating(
        flow_l_per_day=label["rated_flow_l_per_day"] * history.limits[unit_id].membrane_flow_fraction,
        pressure_kpa=label["rated_pressure_kpa"] or LABEL_PRESSURE_KPA,
        temperature_degc=label["rated_temperature_degc"] or LABEL_TEMPERATURE_DEGC,
        tds_mg_per_l=label["rated_tds_mg_per_l"] or LABEL_TDS_MG_PER_L,
        recovery_fraction=label["rated_recovery_fraction"] or LABEL_RECOVERY,
        rejection_fraction=label["rejection_fraction"] or LABEL_REJECTION,
        u_kelvin=label["water_u_kelvin"],
    )
    precharge = unit["tank_precharge_kpa"]
    try:
        needed = needed_inlet_kpa(
            rating,
            permeate_l_per_day=wanted,
            coldest_degc=float(np.min(degc)) if len(degc) else COLD_AND_WARM_DEGC[0],
            feed_tds_mg_per_l=float(np.median(feed)) if len(feed) else LABEL_TDS_MG_PER_L,
            recovery_fraction=unit["design_recovery_fraction"],
            through_tank_l_per_day=wanted if unit["tank"] == Unit.Tank.PRESSURISED else 0.0,
            precharge_kpa=TANK_PRECHARGE_KPA if precharge is None else precharge,
            tank_full_kpa=PUMP_STOPS_AT_KPA,
        )
    except EngineeringError:
        # A label or a feed outside the range of the formulas leaves the rule of thumb.
        return {}
    return {"needed_inlet_pressure_kpa": needed}
