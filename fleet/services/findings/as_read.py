"""What the flow of a membrane says although nobody read how warm the water was: no more than the seasons leave open."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from fleet.engineering.diagnosis.levels import level_over_first
from fleet.engineering.diagnosis.steps import lasting_step
from fleet.engineering.formulas.osmotic_pressure import osmotic_pressure_kpa
from fleet.engineering.formulas.tank import shutoff_tank_pressure_kpa
from fleet.engineering.formulas.temperature_correction import water_tcf
from fleet.engineering.usual import COLD_AND_WARM_DEGC, PUMP_STOPS_AT_KPA
from fleet.models import Stage, Unit
from fleet.services.readings.tables import Floats, Indexes

if TYPE_CHECKING:
    from fleet.services.findings.facts import History


# What is usual is told by so many readings; a median of three is not moved by one slip.
_USUAL_FROM: Final = 3
# Salt along the membrane over that of the feed, up to a recovery of half.
_FEED_SIDE: Final = 1.5


def flows_as_read(history: "History", rows: Indexes) -> dict[str, float]:
    """Level and step of the permeate flow for each kPa before the membrane, of the readings of one membrane.

    NaN where there are too few readings with both, and before a tank whose pressure nobody shut off.
    """
    day, per_kpa = history.table.day[rows], _flow_per_kpa(history, rows)
    return {
        "flow_as_read_level_ratio": level_over_first(day, per_kpa),
        "flow_as_read_step_ratio": lasting_step(day, per_kpa),
    }


def flow_behind_tank(history: "History", rows: Indexes) -> dict[str, float]:
    """The most that the flow of one membrane may be over that of its first visits, before a tank nobody read.

    At one temperature. At first the tank is taken for empty, now for as full as its shut-off or the switch of the pump
    lets it be: whatever it held, no more of the flow is left. NaN where nothing says how full it may be.
    """
    columns, unit = history.table.columns, history.facts[int(history.table.unit_ids[rows[0]])]
    if unit["tank"] != Unit.Tank.PRESSURISED:
        return {}
    flow, inlet, feed = (
        columns[name][rows] for name in ("permeate_flow_l_per_day", "inlet_pressure_kpa", "feed_tds_mg_per_l")
    )
    degc = columns["temperature_degc"][rows]
    degc = np.where((degc >= 1.0) & (degc <= 45.0), degc, np.nan)
    at_one_temperature = np.where(flow > 0.0, flow, np.nan) / np.asarray(water_tcf(degc))
    salts = np.asarray(osmotic_pressure_kpa(np.clip(_FEED_SIDE * feed, 0.0, 50000.0), degc))
    drives = inlet - _most_in_tank(history, rows, unit) - salts
    flowing = np.array([columns["state"][row] != "static" for row in rows], dtype=bool) & (inlet > 0.0) & (drives > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        least = np.where(flowing, at_one_temperature / inlet, np.nan)
        most = np.where(flowing, at_one_temperature / drives, np.nan)
    return {"flow_level_behind_tank_ratio": level_over_first(history.table.day[rows], most, at_first=least)}


def over_usual(history: "History", rows: Indexes) -> dict[str, float]:
    """Flows and inlet pressure of the newest of some readings over the median of the ones before it, as read."""
    flowing = np.array([history.table.columns["state"][row] != "static" for row in rows], dtype=bool)
    shares: dict[str, float] = {}
    for quantity in ("permeate_flow", "concentrate_flow", "inlet_pressure"):
        unit = "kpa" if quantity == "inlet_pressure" else "l_per_day"
        values = np.where(flowing, history.table.columns[f"{quantity}_{unit}"][rows], np.nan)
        before = values[:-1][values[:-1] > 0.0]
        if len(before) >= _USUAL_FROM:
            shares[f"{quantity}_over_usual"] = float(values[-1] / np.median(before))
    return shares


def over_label_between(history: "History", rows: Indexes) -> tuple[Floats, Floats]:
    """Permeate flow over that of the label, least and most, as warm and as cold as the water may have been.

    The osmotic pressure is left out: it is small beside the pressures of these units.
    """
    membrane, items = int(history.membrane[rows[-1]]), history.placements[Stage.MEMBRANE].items
    none = np.full(len(rows), np.nan)
    if membrane < 0:
        return none, none
    rated, at = items["rated_flow_l_per_day"][membrane], items["rated_pressure_kpa"][membrane]
    degc = items["rated_temperature_degc"][membrane]
    if not rated or not at:
        return none, none
    u_kelvin = items["water_u_kelvin"][membrane]
    cold, warm = (float(np.asarray(water_tcf(degrees, u_kelvin=u_kelvin))) for degrees in COLD_AND_WARM_DEGC)
    tested = float(np.asarray(water_tcf(25.0 if degc is None else degc, u_kelvin=u_kelvin)))
    share = _flow_per_kpa(history, rows) * at / rated
    return share * tested / warm, share * tested / cold


def _most_in_tank(history: "History", rows: Indexes, unit: Mapping[str, Any]) -> Floats:
    """Highest pressure that a pressurised tank may have had at each reading; NaN where nothing is known to stop it."""
    columns = history.table.columns
    line = np.where(
        np.isnan(columns["line_pressure_kpa"][rows]), history.lines[rows], columns["line_pressure_kpa"][rows]
    )
    if not unit["has_booster_pump"]:
        line = np.fmax(line, columns["inlet_pressure_kpa"][rows])
    by_valve, by_switch = np.asarray(shutoff_tank_pressure_kpa(line)), np.full(len(rows), PUMP_STOPS_AT_KPA)
    most = np.full(len(rows), np.nan)
    if unit["has_booster_pump"]:
        most = by_switch
    if unit["has_automatic_shutoff_valve"]:
        most = np.maximum(by_valve, by_switch) if unit["has_booster_pump"] else by_valve
    is_closed = np.array([columns["tank_valve"][row] == "closed" for row in rows], dtype=bool)
    read = columns["tank_pressure_kpa"][rows]
    return np.where(is_closed, 0.0, np.where(np.isnan(read), most, read))


def _flow_per_kpa(history: "History", rows: Indexes) -> Floats:
    columns, unit = history.table.columns, history.facts[int(history.table.unit_ids[rows[0]])]
    flow, inlet = columns["permeate_flow_l_per_day"][rows], columns["inlet_pressure_kpa"][rows]
    usable = (flow > 0.0) & (inlet > 0.0)
    usable &= np.array([columns["state"][row] != "static" for row in rows], dtype=bool)
    if unit["tank"] == Unit.Tank.PRESSURISED:
        # a filling tank holds permeate back
        usable &= np.array([columns["tank_valve"][row] == "closed" for row in rows], dtype=bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(usable, flow / inlet, np.nan)
