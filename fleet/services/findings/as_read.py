"""What the flow of a membrane says although nobody read how warm the water was: no more than the seasons leave open."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from numpy.typing import NDArray

from fleet.engineering.diagnosis.levels import FIRST_DAYS, SETTLED_VISITS, VISITS, level_over_first, level_over_lowest
from fleet.engineering.diagnosis.steps import by_visit, lasting_step
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
# Two readings of a gauge may differ by so much (common practice, no source).
_SAME_PRESSURE: Final = 0.97
_AT_ONE_TEMPERATURE: Final = ("permeate_flow_l_per_day", "feed_tds_mg_per_l", "temperature_degc")
# A new membrane is held against the one before it from so many visits on.
_NEW_FROM: Final = 2
# Salt along the membrane over that of the feed, up to a recovery of half.
_FEED_SIDE: Final = 1.5


def flows_as_read(history: "History", rows: Indexes) -> dict[str, float]:
    """Level and step of the permeate flow for each kPa before the membrane, of the readings of one membrane.

    NaN where there are too few readings with both. Before a tank whose pressure nobody shut off the level is that over
    the lowest of the first visits, as full as the tank was then.
    """
    day, per_kpa = history.table.day[rows], _flow_per_kpa(history, rows)
    level = level_over_first(day, per_kpa)
    if np.isnan(level):
        flow, inlet = (history.table.columns[name][rows] for name in ("permeate_flow_l_per_day", "inlet_pressure_kpa"))
        usable = _is_flowing(history, rows) & (flow > 0.0) & (inlet > 0.0)
        level = level_over_lowest(day[usable], flow[usable] / inlet[usable]) * _by_the_line(history, rows[usable])
    return {
        "flow_as_read_level_ratio": level,
        "flow_as_read_step_ratio": lasting_step(day, per_kpa),
    }


def flow_behind_tank(history: "History", rows: Indexes) -> dict[str, float]:
    """The most that the flow of one membrane may be over that of its first visits, before a tank nobody read.

    At one temperature. At first the tank is taken for empty, now for as full as its shut-off or the switch of the pump
    lets it be: whatever it held, no more of the flow is left. Nor more than over the lowest of several first visits: as
    full as the tank was then, it may be now. NaN where neither can be told.
    """
    columns, unit = history.table.columns, history.facts[int(history.table.unit_ids[rows[0]])]
    if unit["tank"] != Unit.Tank.PRESSURISED:
        return {}
    inlet = columns["inlet_pressure_kpa"][rows]
    at_one_temperature, salts = _at_one_temperature(history, rows)
    drives = inlet - _most_in_tank(history, rows, unit) - salts
    flowing = _is_flowing(history, rows) & (inlet > 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        least = np.where(flowing & (drives > 0.0), at_one_temperature / inlet, np.nan)
        most = np.where(flowing & (drives > 0.0), at_one_temperature / drives, np.nan)
        as_if_empty = np.where(flowing & (inlet > salts), at_one_temperature / (inlet - salts), np.nan)
    day = history.table.day[rows]
    known = as_if_empty > 0.0
    over_lowest = level_over_lowest(day[known], as_if_empty[known]) * _by_the_line(history, rows[known])
    return {"flow_level_behind_tank_ratio": float(np.fmin(level_over_first(day, most, at_first=least), over_lowest))}


def _at_one_temperature(history: "History", rows: Indexes) -> tuple[Floats, Floats]:
    """Permeate flow at 25 degC, and osmotic pressure on the feed side in kPa; NaN where nobody read the temperature."""
    columns = history.table.columns
    flow, feed, degc = (columns[name][rows] for name in _AT_ONE_TEMPERATURE)
    degc = np.where((degc >= 1.0) & (degc <= 45.0), degc, np.nan)
    at_one = np.where(flow > 0.0, flow, np.nan) / np.asarray(water_tcf(degc))
    if not np.all(np.isnan(feed)):
        # Where it was not read it was about as ever; its osmotic pressure is small.
        feed = np.where(np.isnan(feed), np.nanmedian(feed), feed)
    return at_one, np.asarray(osmotic_pressure_kpa(np.clip(_FEED_SIDE * feed, 0.0, 50000.0), degc))


def flow_over_previous(history: "History", rows: Indexes) -> float:
    """Permeate flow of a new membrane over the lowest of the one it replaced, each over its label, as both were read.

    At one temperature, for each kPa over the osmotic pressure. NaN before the second visit to the new one, where the
    old one was read on fewer than five visits, or a label is not known.
    """
    membranes, own = history.placements[Stage.MEMBRANE], int(history.membrane[rows[-1]])
    before = np.asarray(history.rows_of(int(history.table.unit_ids[rows[0]])), dtype=np.int64)
    before = before[before < rows[0]]
    if own < 0 or not len(before) or history.membrane[before[-1]] < 0:
        return float("nan")
    before = before[history.membrane[before] == history.membrane[before[-1]]]
    flows = []
    for each in (before, rows):
        membrane = int(history.membrane[each[0]])
        rated, at = (membranes.items[name][membrane] for name in ("rated_flow_l_per_day", "rated_pressure_kpa"))
        inlet, (flow, salts) = history.table.columns["inlet_pressure_kpa"][each], _at_one_temperature(history, each)
        usable = _is_flowing(history, each) & (inlet > salts) & (flow > 0.0)
        share = flow[usable] / (inlet - salts)[usable] * (at or np.nan) / (rated or np.nan)
        day = history.table.day[each][usable]
        flows.append(by_visit(day, share))
    old, new = flows
    if len(old) < SETTLED_VISITS or len(new) < _NEW_FROM:
        return float("nan")
    return float(np.median(new[:VISITS]) / np.sort(old)[len(old) // 10]) * _by_the_line(
        history, np.concatenate([before, rows])
    )


def _by_the_line(history: "History", rows: Indexes) -> float:
    """How much more may be left of a membrane than its flow for each kPa says, where the inlet pressure has fallen.

    A tank that is as full as before holds back a larger share of a lower pressure. 1 where the pressure has not fallen,
    or there is no such tank; NaN where nothing says how full it may be.
    """
    unit = history.facts[int(history.table.unit_ids[rows[0]])] if len(rows) else {"tank": ""}
    if unit["tank"] != Unit.Tank.PRESSURISED:
        return 1.0
    inlet, day = history.table.columns["inlet_pressure_kpa"][rows], history.table.day[rows]
    first = max(SETTLED_VISITS, int(np.sum(day <= day[0] + FIRST_DAYS)))
    before, now = float(np.median(inlet[:first])), float(np.median(inlet[-VISITS:]))
    if now >= _SAME_PRESSURE * before:
        return 1.0
    tank = float(np.median(_most_in_tank(history, rows, unit)[-VISITS:]))
    return (before - tank) / (now - tank) * now / before if tank < now else float("nan")


def _is_flowing(history: "History", rows: Indexes) -> NDArray[np.bool_]:
    return np.array([history.table.columns["state"][row] != "static" for row in rows], dtype=bool)


def over_usual(history: "History", rows: Indexes) -> dict[str, float]:
    """Flows and inlet pressure of the newest of some readings over the median of the ones before it, as read."""
    flowing = _is_flowing(history, rows)
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
    usable &= _is_flowing(history, rows)
    if unit["tank"] == Unit.Tank.PRESSURISED:
        # a filling tank holds permeate back
        usable &= np.array([columns["tank_valve"][row] == "closed" for row in rows], dtype=bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(usable, flow / inlet, np.nan)
