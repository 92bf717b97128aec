"""What the diagnosis may know beside a reading: baselines, the unit, its cartridges, its feed water.

Everything is laid out per reading, so that an old reading is judged by what held when it was taken.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Final

import numpy as np

from accounts.models import Company
from fleet.engineering.diagnosis.facts import Fact
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas.carbon import membrane_exposure_ppm_h
from fleet.engineering.formulas.carbonate import co2_mg_per_l
from fleet.engineering.formulas.resin import (
    capacity_eq,
    governing_load_meq_per_l,
    ionic_load_meq_per_l,
    service_volume_l,
)
from fleet.engineering.formulas.restrictor import restrictor_flow
from fleet.engineering.indicators import Indicators, baseline_of_groups
from fleet.engineering.limits import Limits
from fleet.engineering.quantities import READING_QUANTITIES, RUNNING_TIME, names_of
from fleet.engineering.stages import FINISHING
from fleet.engineering.usual import COLD_AND_WARM_DEGC, FIRST_WEEKS_DAYS, LAYOUT_TEMPERATURE_DEGC, SAME_VISIT_DAYS
from fleet.models import FeedWaterSample, Forecast, Position, Stage, Unit
from fleet.services.findings.counted_litres import permeate_a_day_by_counter
from fleet.services.findings.first_weeks import first_weeks
from fleet.services.findings.fresh_resin import product_since_fitted
from fleet.services.findings.levels import feed_is_unknown, levels_of_membrane
from fleet.services.findings.needed_pressure import needed_pressure
from fleet.services.findings.new_carbon import flow_since_new_carbon
from fleet.services.findings.scaling import DOUBTFUL, scaling_indexes, scaling_of_row
from fleet.services.findings.tap import with_permeate_of_the_tap
from fleet.services.findings.usual_water import usual_water
from fleet.services.limits import limits_of_units
from fleet.services.readings.cartridge_changes import saw_before
from fleet.services.readings.indicators import LABEL, UNIT_FIELDS, Baselines, compute_of
from fleet.services.readings.tables import (
    Floats,
    Indexes,
    PlacementTable,
    ReadingTable,
    load_placements,
    load_readings,
    placement_of_each,
    unit_facts,
)

_UNIT_FIELDS: Final = (
    *UNIT_FIELDS,
    "site_id",
    "site__chloraminated",
    "commissioned_on",
    "has_automatic_shutoff_valve",
    "has_check_valve",
    "has_float_valve",
    "kind",
    "restrictor",
    "restrictor_pressure_kpa",
    "tank_precharge_kpa",
    "tank_volume_l",
    "totaliser",
    "weekly_demand_l",
)
_STAGES: Final = (
    *(stage.value for stage in (Stage.SEDIMENT, Stage.CARBON, Stage.MEMBRANE, Stage.RESIN)),
    *FINISHING,
)
# Of every stage alike, so that one query reads them all.
_LABELS: Final = (*LABEL, "membrane_material", "resin_volume_l", "resin_capacity_eq_per_l")
_INDICATORS: Final = (
    "recovery_fraction",
    "waste_ratio",
    "normalised_flow_ratio",
    "normalised_salt_passage_ratio",
    "salt_balance_closure_fraction",
)
_FIRST_READINGS: Final = 5
_CLEAN_READINGS: Final = 3
_RECENT: Final = 15
_FIRST_VALUES: Final = ("inlet_pressure_kpa", "concentrate_flow_l_per_day", "temperature_degc")
FIRST_VALUES_DAYS: Final = 180.0
"""Units that are read every other month have their first values by then."""
# Below it a whole-number meter cannot tell a share of the permeate.
_PERMEATE_TO_COMPARE: Final = 3.0
# No feed of one site doubles from one reading to the next (common practice, no source).
_FAR_ABOVE: Final = 2.0
# Two looks at one thing differ by no more: a slip of the pen is ten times it (common practice, no source).
_ABOUT_AS_MUCH: Final = 2.0
# So long a prefilter takes hardly more than at first: half of the half year that one usually stands (common practice,
# no source).
_STILL_CLEAN_DAYS: Final = 90.0
# A public supply seldom carries more carbon dioxide; common practice, no source.
_USUAL_CO2_MG_PER_L: Final = 10.0
_BASELINES: Final = {
    "baseline_inlet_pressure_kpa": "inlet_pressure_kpa",
    "baseline_permeate_flow_l_per_day": "permeate_flow_l_per_day",
    "baseline_concentrate_flow_l_per_day": "concentrate_flow_l_per_day",
    "baseline_temperature_degc": "temperature_degc",
}
_READING_FACTS: Final = names_of((*READING_QUANTITIES, RUNNING_TIME))


@dataclass
class History:
    """The readings of some units with all that bears on their diagnosis."""

    table: ReadingTable
    indicators: Indicators
    baselines: Baselines
    membrane: Indexes
    facts: dict[int, dict[str, Any]]
    placements: dict[str, PlacementTable]
    placement_rows: dict[str, Indexes]
    lines: Floats
    clean_differential_kpa: Floats
    clean_inlet_kpa: Floats
    water: dict[int, dict[str, float]]
    positions: dict[int, dict[tuple[str, str], int]]
    limits: Mapping[int, Limits[float]]
    lag_resin_exhausted: frozenset[int] = frozenset()
    exposure: dict[int, Floats] = field(default_factory=dict)
    sound: dict[int, Indexes] = field(default_factory=dict)
    first_values: dict[str, Floats] = field(default_factory=dict)

    @cached_property
    def scaling_indexes(self) -> Floats:
        """Langelier index of the concentrate at each reading, worked out when the first is asked for."""
        return scaling_indexes(self)

    def rows_of(self, unit_id: int) -> range:
        """Rows of a unit's readings, oldest first."""
        first = int(np.searchsorted(self.table.unit_ids, unit_id, side="left"))
        last = int(np.searchsorted(self.table.unit_ids, unit_id, side="right"))
        return range(first, last)

    def changed_since(self, row: int, stages: Sequence[str]) -> bool:
        """Whether a cartridge of one of these stages was placed after a reading."""
        unit_id, day, occasion = self.table.unit_ids[row], self.table.day[row], self.table.columns["occasion"][row]
        return any(
            bool(np.any(saw_before(day, occasion, placements.placed_day[placements.unit_ids == unit_id])))
            for placements in (self.placements[stage] for stage in stages)
        )


def load_history(company: Company, unit_ids: Sequence[int], table: ReadingTable | None = None) -> History:
    """Read some units of a company; their readings too, unless a table of them is given."""
    table = load_readings(company, unit_ids) if table is None else table
    positions = _positions(company, unit_ids)
    table = with_permeate_of_the_tap(table, positions)
    facts = unit_facts(company, unit_ids, _UNIT_FIELDS)
    placements = load_placements(company, unit_ids, _STAGES, _LABELS)
    computed = compute_of(table, facts, placements[Stage.MEMBRANE])
    placement_of = {stage: placement_of_each(table.unit_ids, table.day, rows) for stage, rows in placements.items()}
    history = History(
        table=table,
        indicators=computed.indicators,
        baselines=computed.baselines,
        membrane=computed.membrane,
        facts=facts,
        placements=placements,
        placement_rows=placement_of,
        lines=np.full(len(table), np.nan),
        clean_differential_kpa=np.full(len(table), np.nan),
        clean_inlet_kpa=np.full(len(table), np.nan),
        water={},
        positions=positions,
        limits=limits_of_units(company, unit_ids),
        lag_resin_exhausted=_units_with_exhausted_lag(company, unit_ids),
    )
    _lay_out_baselines(history)
    _lay_out_first_values(history)
    history.water = _water(company, {facts["site_id"] for facts in history.facts.values()})
    return history


def _positions(company: Company, unit_ids: Sequence[int]) -> dict[int, dict[tuple[str, str], int]]:
    position_ids: dict[int, dict[tuple[str, str], int]] = {}
    rows = Position.objects.of_company(company).filter(unit_id__in=unit_ids).order_by("unit_id", "order")
    for pk, unit_id, stage, role in rows.values_list("pk", "unit_id", "stage", "role"):
        position_ids.setdefault(unit_id, {}).setdefault((stage, role), pk)
    return position_ids


def _units_with_exhausted_lag(company: Company, unit_ids: Sequence[int]) -> frozenset[int]:
    """Units whose lag resin is exhausted by its newest forecast, made of the cartridge installed there now."""
    rows = Forecast.objects.of_company(company).filter(
        is_latest=True,
        state=Forecast.State.EXHAUSTED,
        position__unit_id__in=unit_ids,
        position__stage=Stage.RESIN,
        position__role=Position.Role.LAG,
        placement__removed_at__isnull=True,
    )
    return frozenset(rows.values_list("position__unit_id", flat=True))


def _water(company: Company, site_ids: set[int]) -> dict[int, dict[str, float]]:
    """Newest value of each quantity of the feed water of some sites."""
    water_by_site: dict[int, dict[str, float]] = {}
    samples = FeedWaterSample.objects.current().of_company(company).filter(site_id__in=site_ids)
    for site_id, *values in samples.order_by("taken_at", "pk").values_list("site_id", *FeedWaterSample.QUANTITIES):
        named_values = zip(FeedWaterSample.QUANTITIES, values, strict=True)
        measured = {name: value for name, value in named_values if value is not None}
        water_by_site.setdefault(site_id, {}).update(measured)
    return water_by_site


def _lay_out_baselines(history: History) -> None:
    """Baselines that are not those of the membrane: the line when the unit was new, the differential of clean ones."""
    table = history.table
    line, outlet = table.columns["line_pressure_kpa"], table.columns["prefilter_outlet_pressure_kpa"]
    inlet = table.columns["inlet_pressure_kpa"]
    flowing = np.array([state != "static" for state in table.columns["state"]], dtype=bool)
    behind_pump = np.array([history.facts[int(pk)]["has_booster_pump"] for pk in table.unit_ids], dtype=bool)
    after = np.where(np.isnan(outlet) & ~behind_pump, inlet, outlet)
    differential_kpa = np.where(flowing, line - after, np.nan)
    for unit_id in history.facts:
        rows = np.asarray(history.rows_of(unit_id), dtype=np.int64)
        if not len(rows):
            continue
        measured_rows = rows[~np.isnan(line[rows])]
        if len(measured_rows) > _FIRST_READINGS:
            history.lines[rows] = np.median(line[measured_rows[:_FIRST_READINGS]])
        _lay_out_clean_values(history, unit_id, rows, differential_kpa, np.where(flowing, inlet, np.nan))


def _lay_out_first_values(history: History) -> None:
    """What the running unit showed first with each membrane, of values that no tank pressure has to be known for."""
    flowing = np.array([state != "static" for state in history.table.columns["state"]], dtype=bool)
    some = history.membrane >= 0
    membranes = history.placements[Stage.MEMBRANE]
    for quantity in _FIRST_VALUES:
        values = np.full(len(history.table), np.nan)
        if np.any(some):
            own = history.membrane[some]
            first = baseline_of_groups(
                own,
                history.table.day[some] - membranes.placed_day[own],
                history.table.columns[quantity][some],
                flowing[some],
                groups=len(membranes),
                from_day=0.0,
                to_day=FIRST_VALUES_DAYS,
            )
            values[some] = first[own]
        history.first_values[quantity] = values


def _lay_out_clean_values(
    history: History, unit_id: int, rows: Indexes, differential_kpa: Floats, inlet_kpa: Floats
) -> None:
    """What clean prefilters take and leave: as in the weeks after their last change, until the next one."""
    changes = [
        history.placements[stage].placed_day[history.placements[stage].unit_ids == unit_id]
        for stage in (Stage.SEDIMENT.value, Stage.CARBON.value)
    ]
    days = np.unique(np.concatenate(changes))
    day = history.table.day[rows]
    period = np.searchsorted(days, day, side="right") - 1
    for number in np.unique(period[period >= 0]).tolist():
        period_rows = rows[period == number]
        for measured, laid_out, later in (
            (differential_kpa, history.clean_differential_kpa, 0),
            # What is left behind them later is less: where nobody looked sooner, the first look tells the least of it.
            (inlet_kpa, history.clean_inlet_kpa, 1),
        ):
            known = period_rows[measured[period_rows] >= 0]
            since = history.table.day[known] - days[number]
            clean = known[since <= FIRST_WEEKS_DAYS][:_CLEAN_READINGS]
            if not len(clean):
                clean = known[since <= _STILL_CLEAN_DAYS][:later]
            if len(clean):
                laid_out[period_rows] = np.median(measured[clean])


def _recent(history: History, row: int) -> tuple[float, float]:
    """Usual feed and permeate TDS in the readings before one; NaN without any. Exchanged pairs do not count."""
    unit_id = int(history.table.unit_ids[row])
    if unit_id not in history.sound:
        rows = np.asarray(history.rows_of(unit_id), dtype=np.int64)
        feed, permeate = (history.table.columns[name][rows] for name in ("feed_tds_mg_per_l", "permeate_tds_mg_per_l"))
        history.sound[unit_id] = rows[permeate <= feed]
    sound = history.sound[unit_id]
    before = sound[: np.searchsorted(sound, row)][-_RECENT:]
    if not len(before):
        return float("nan"), float("nan")
    columns = history.table.columns
    return (
        float(np.median(columns["feed_tds_mg_per_l"][before])),
        float(np.median(columns["permeate_tds_mg_per_l"][before])),
    )


def names_of_row(history: History, row: int) -> set[str]:
    """Names of what a reading can tell the rules, without laying out its context."""
    columns = history.table.columns
    names = {name for name in _READING_FACTS if columns[name][row] == columns[name][row]}
    if columns["state"][row] == "static" and "inlet_pressure_kpa" in names:
        names = (names - {"inlet_pressure_kpa"}) | {"static_inlet_pressure_kpa"}
    if columns["tank_is_full"][row] is not None:
        names.add("tank_is_full")
    names.update(columns["observations"][row])
    if _drain_at_full_store(history, row) is not None:
        names.add("concentrate_is_running_with_full_tank")
    valid = bool(history.indicators.valid_for_trend[row])
    for name in _INDICATORS:
        if history.indicators.values[name][row] == history.indicators.values[name][row] and (
            valid or not name.startswith("normalised")
        ):
            names.add(name)
    unit = history.facts[int(history.table.unit_ids[row])]
    if "inlet_pressure_kpa" in names and unit["restrictor_flow_l_per_day"] and unit["restrictor_pressure_kpa"]:
        names.add("least_restrictor_flow_l_per_day")
    if "feed_tds_mg_per_l" not in names and _passes_more_in_any_feed(history, row):
        names.add("feed_tds_mg_per_l")
    return names


def _passes_more_in_any_feed(history: History, row: int) -> bool:
    """Whether a reading without the feed tells of the membrane all the same: its permeate is far above its usual one.

    That it is not tells nothing: what stood open stays so until somebody reads both.
    """
    permeate, usual = float(history.table.columns["permeate_tds_mg_per_l"][row]), _recent(history, row)[1]
    if usual != usual:
        first = history.rows_of(int(history.table.unit_ids[row])).start
        before = history.table.columns["permeate_tds_mg_per_l"][first:row]
        before = before[~np.isnan(before)][-_RECENT:]
        usual = float(np.median(before)) if len(before) else usual
    return permeate >= _PERMEATE_TO_COMPARE and permeate >= _FAR_ABOVE * usual


def _drain_at_full_store(history: History, row: int) -> bool | None:
    """Whether the drain runs at a full store; None where it was not full, or permeate was drawn from it."""
    columns = history.table.columns
    drain, permeate = columns["concentrate_flow_l_per_day"][row], columns["permeate_flow_l_per_day"][row]
    if columns["tank_is_full"][row] is not True or drain != drain or permeate > 0.0:
        return None
    return bool(drain > 0.0)


def is_measured(history: History, row: int) -> bool:
    """Whether a reading holds a value of a gauge or meter, and not only what a person saw."""
    values = (history.table.columns[name][row] for name in _READING_FACTS)
    return any(value == value for value in values)


def context_of_row(history: History, row: int) -> dict[str, Fact]:
    """Everything known about one reading, by the names of the diagnosis; missing facts are left out."""
    table = history.table
    unit_id = int(table.unit_ids[row])
    unit = history.facts[unit_id]
    doubtful = {field for field, code in table.flags[row] if code in DOUBTFUL and not _read_again(history, row, field)}
    context: dict[str, Fact] = {}
    for name in _READING_FACTS:
        value = float(table.columns[name][row])
        if value == value and name not in doubtful:
            context[name] = value
    state = table.columns["state"][row]
    context.update(state=state, tank_valve=table.columns["tank_valve"][row], pump=table.columns["pump"][row])
    if state == "static" and "inlet_pressure_kpa" in context:
        context["static_inlet_pressure_kpa"] = context.pop("inlet_pressure_kpa")
    context["tank_is_full"] = table.columns["tank_is_full"][row]
    context["sampled_after_flush"] = table.columns["sampled_after_flush"][row]
    context.update(table.columns["observations"][row])
    context["concentrate_is_running_with_full_tank"] = _drain_at_full_store(history, row)
    if any(code == "totaliser_backwards" for _, code in table.flags[row]):
        context["totaliser_went_back"] = True
    values, _ = history.indicators.row(row)
    for name in _INDICATORS:
        if name in values and (not name.startswith("normalised") or history.indicators.valid_for_trend[row]):
            context[name] = values[name]
    if values.get("flow_over_expected"):
        context["expected_permeate_flow_l_per_day"] = (
            float(table.columns["permeate_flow_l_per_day"][row]) / values["flow_over_expected"]
        )
    context.update(_baselines(history, row))
    context.update(_of_unit(history, row, unit))
    context.update(_of_restrictor(unit, context))
    context.update(needed_pressure(history, row))
    context.update(product_since_fitted(history, row))
    context.update(usual_water(history, row))
    context.update(scaling_of_row(history, row, history.water.get(unit["site_id"], {}), context))
    return {name: value for name, value in context.items() if value is not None and value == value}


def _read_again(history: History, row: int, name: str) -> bool:
    """Whether another visit next to a reading shows about the same value.

    A slip of the pen happens once: what is read twice is so, however far it is from what it was.
    """
    rows, values, day = (
        history.rows_of(int(history.table.unit_ids[row])),
        history.table.columns[name],
        history.table.day,
    )
    if not values[row] > 0.0:
        return False
    for others in (range(row - 1, rows.start - 1, -1), range(row + 1, rows.stop)):
        of_other_visit = (
            other for other in others if abs(day[other] - day[row]) > SAME_VISIT_DAYS and values[other] == values[other]
        )
        nearest = next(of_other_visit, None)
        if nearest is not None and 1.0 / _ABOUT_AS_MUCH <= values[nearest] / values[row] <= _ABOUT_AS_MUCH:
            return True
    return False


def _baselines(history: History, row: int) -> dict[str, Fact]:
    own = {name: float(history.baselines.of_quantity[column][row]) for name, column in _BASELINES.items()}
    for name, column in _BASELINES.items():
        if column in history.first_values and np.isnan(own[name]):
            own[name] = float(history.first_values[column][row])
    facts: dict[str, Fact] = {**own}
    facts["baseline_line_pressure_kpa"] = float(history.lines[row])
    facts["clean_prefilter_differential_pressure_kpa"] = float(history.clean_differential_kpa[row])
    facts["baseline_feed_tds_mg_per_l"], facts["baseline_permeate_tds_mg_per_l"] = _recent(history, row)
    permeate, drain = facts["baseline_permeate_flow_l_per_day"], facts["baseline_concentrate_flow_l_per_day"]
    if isinstance(permeate, float) and isinstance(drain, float) and permeate > 0:
        facts["baseline_waste_ratio"] = drain / permeate
    facts["clean_inlet_pressure_kpa"] = float(history.clean_inlet_kpa[row])
    facts["salt_passage_ratio_since_last_reading"] = _jump(history, row)
    return facts | levels_of_membrane(history, row) | first_weeks(history, row) | flow_since_new_carbon(history, row)


def _jump(history: History, row: int) -> float | None:
    """Normalised salt passage over that of the reading before with the same membrane."""
    passage = history.indicators.values["normalised_salt_passage_fraction"]
    valid = history.indicators.valid_for_trend
    if np.isnan(passage[row]) or not valid[row]:
        return None
    for before in range(row - 1, max(row - 20, -1), -1):
        if (
            history.table.unit_ids[before] != history.table.unit_ids[row]
            or history.membrane[before] != history.membrane[row]
        ):
            return None
        is_other_visit = history.table.day[row] - history.table.day[before] > SAME_VISIT_DAYS
        if is_other_visit and valid[before] and passage[before] > 0:
            return float(passage[row] / passage[before])
    return None


def _of_unit(history: History, row: int, unit: Mapping[str, Any]) -> dict[str, Fact]:
    day = float(history.table.day[row])
    membrane, carbon = history.placement_rows[Stage.MEMBRANE][row], history.placement_rows[Stage.CARBON][row]
    membranes, carbons = history.placements[Stage.MEMBRANE], history.placements[Stage.CARBON]
    places = history.positions.get(int(history.table.unit_ids[row]), {})
    return {
        "design_recovery_fraction": unit["design_recovery_fraction"],
        "has_booster_pump": unit["has_booster_pump"],
        "has_automatic_shutoff": unit["has_automatic_shutoff_valve"],
        "has_check_valve": unit["has_check_valve"],
        "has_tank": unit["tank"] != Unit.Tank.NONE,
        "has_pressurised_tank": unit["tank"] == Unit.Tank.PRESSURISED,
        "has_float_valve": unit["has_float_valve"],
        "has_resin": any(stage == Stage.RESIN for stage, _ in places),
        "has_remineralisation": any(stage == Stage.REMINERALISATION for stage, _ in places),
        "has_uv": any(stage == Stage.UV for stage, _ in places),
        "has_two_sediment_filters": (Stage.SEDIMENT.value, Position.Role.LAG.value) in places,
        "has_lag_resin": (Stage.RESIN.value, Position.Role.LAG.value) in places,
        "lag_resin_is_exhausted": int(history.table.unit_ids[row]) in history.lag_resin_exhausted,
        "tank_volume_l": unit["tank_volume_l"],
        "tank_precharge_kpa": unit["tank_precharge_kpa"],
        "chloramine_supply": unit["site__chloraminated"],
        "feed_is_unknown": feed_is_unknown(history, row),
        "membrane_age_days": day - float(membranes.placed_day[membrane]) if membrane >= 0 else None,
        "membrane_material": membranes.items["membrane_material"][membrane] if membrane >= 0 else None,
        "days_since_carbon_change": day - float(carbons.placed_day[carbon]) if carbon >= 0 else None,
        "membrane_exposure_ppm_h": _exposure(history, row, unit),
        "resin_life_share": _resin_life_share(history, row, unit),
        "previous_resin_life_share": _previous_resin_life_share(history, row, unit),
    }


def _of_restrictor(unit: Mapping[str, Any], context: Mapping[str, Fact]) -> dict[str, Fact]:
    """Least and most that the restrictor passes by its label at the pressure and temperature of a reading.

    Between the laws of an orifice and of a capillary, whichever is recorded: small ones lie between the two (common
    practice, no source).
    """
    rated, at = unit["restrictor_flow_l_per_day"], unit["restrictor_pressure_kpa"]
    inlet, temperature = context.get("inlet_pressure_kpa"), context.get("temperature_degc")
    if not rated or not at or not isinstance(inlet, float) or not inlet > 0.0:
        return {}
    has_temperature = isinstance(temperature, float) and 1.0 <= temperature <= 45.0
    degrees = (float(temperature or 0.0),) if has_temperature else COLD_AND_WARM_DEGC
    flows = [float(restrictor_flow(rated, rated_pressure=at, pressure=inlet, restrictor_type="orifice"))]
    flows += [
        float(
            restrictor_flow(
                rated, rated_pressure=at, pressure=inlet, restrictor_type="capillary", temperature_degc=degc
            )
        )
        for degc in degrees
    ]
    return {"least_restrictor_flow_l_per_day": min(flows), "most_restrictor_flow_l_per_day": max(flows)}


def _exposure(history: History, row: int, unit: Mapping[str, Any]) -> float | None:
    """Chlorine the membrane of a reading has met by then; None where nobody tested behind the carbon.

    From test to test the mean of the two holds, for the hours a day the unit runs to meet its demand; before the first
    test nothing is assumed, so it is a lower bound.
    """
    unit_id = int(history.table.unit_ids[row])
    if unit_id not in history.exposure:
        history.exposure[unit_id] = _exposures(history, unit_id, unit)
    value = float(history.exposure[unit_id][row - history.rows_of(unit_id).start])
    return value if value == value else None


def _exposures(history: History, unit_id: int, unit: Mapping[str, Any]) -> Floats:
    rows = np.asarray(history.rows_of(unit_id), dtype=np.int64)
    columns, day = history.table.columns, history.table.day[rows]
    chlorine = np.fmax(
        columns["carbon_outlet_total_chlorine_mg_per_l"][rows], columns["carbon_outlet_free_chlorine_mg_per_l"][rows]
    )
    flow = columns["permeate_flow_l_per_day"][rows]
    flow = flow[flow > 0.0]
    daily = unit["weekly_demand_l"] / 7.0
    exposure = np.full(len(rows), np.nan)
    if not len(flow) or not daily > 0.0:
        return exposure
    hours = min(24.0, 24.0 * daily / float(np.median(flow)))
    membrane = history.membrane[rows]
    for placement in np.unique(membrane[membrane >= 0]).tolist():
        own_rows = np.flatnonzero(membrane == placement)
        tests = own_rows[~np.isnan(chlorine[own_rows])]
        if not len(tests):
            continue
        between = 0.5 * (chlorine[tests][1:] + chlorine[tests][:-1])
        met = np.append(0.0, np.cumsum(membrane_exposure_ppm_h(between, hours, np.diff(day[tests]))))
        # After the newest test its value goes on.
        last = np.searchsorted(tests, own_rows, side="right") - 1
        has_test = last >= 0
        since = day[own_rows[has_test]] - day[tests[last[has_test]]]
        exposure[own_rows[has_test]] = met[last[has_test]] + membrane_exposure_ppm_h(
            chlorine[tests[last[has_test]]], hours, since
        )
    return exposure


def _resin_life_share(history: History, row: int, unit: Mapping[str, Any]) -> float | None:
    """Life of the first resin so far over the life its label gives for the TDS of the permeate.

    The carbon dioxide that an analysis of the site's water gives counts too, as far as it is usual. A small share at
    exhaustion says that something the TDS does not show used the capacity, carbon dioxide above all.
    """
    resins = history.placements[Stage.RESIN]
    own_rows = np.flatnonzero(
        (resins.unit_ids == history.table.unit_ids[row])
        & (resins.placed_day <= history.table.day[row])
        & (resins.removed_day > history.table.day[row])
    )
    first = [index for index in own_rows.tolist() if resins.roles[index] != Position.Role.LAG]
    return _life_share(history, row, unit, first[0]) if first else None


def _previous_resin_life_share(history: History, row: int, unit: Mapping[str, Any]) -> float | None:
    """The same of the resin that stood first before, at the newest reading that showed it exhausted."""
    resins, columns = history.placements[Stage.RESIN], history.table.columns
    removed = np.flatnonzero(
        (resins.unit_ids == history.table.unit_ids[row]) & (resins.removed_day <= history.table.day[row])
    )
    first = [index for index in removed.tolist() if resins.roles[index] != Position.Role.LAG]
    if not first:
        return None
    before = max(first, key=lambda index: resins.removed_day[index])
    rows = np.asarray(history.rows_of(int(history.table.unit_ids[row])), dtype=np.int64)
    day = history.table.day[rows]
    rows = rows[(day >= resins.placed_day[before]) & (day <= resins.removed_day[before])]
    limits = history.limits[int(history.table.unit_ids[row])]
    permeate, lead = columns["permeate_tds_mg_per_l"][rows], columns["interstage_tds_mg_per_l"][rows]
    exhausted = (lead >= limits.lead_resin_fraction * permeate) & (permeate >= _PERMEATE_TO_COMPARE)
    exhausted |= columns["product_tds_mg_per_l"][rows] >= limits.product_tds_mg_per_l
    shown = rows[exhausted]
    return _life_share(history, int(shown[-1]), unit, before) if len(shown) else None


def _permeate_in_life(history: History, row: int, resin: int) -> float:
    """Mean permeate TDS that a resin met up to a reading; what is usual at the unit where nobody read it since."""
    resins, rows = history.placements[Stage.RESIN], history.rows_of(int(history.table.unit_ids[row]))
    day = history.table.day[rows.start : row + 1]
    permeate = history.table.columns["permeate_tds_mg_per_l"][rows.start : row + 1]
    own = (day >= resins.placed_day[resin]) & (day <= resins.removed_day[resin]) & (permeate > 0.0)
    return float(np.mean(permeate[own])) if np.any(own) else _recent(history, row)[1]


def _usual_co2(history: History, row: int, unit: Mapping[str, Any]) -> float:
    """Carbon dioxide of the site's water in mg/L, which no membrane holds back, as far as it is usual.

    0 where nobody analysed it. What a borehole brings beyond that is a reason to degas, and is to be told.
    """
    water = history.water.get(unit["site_id"], {})
    ph, alkalinity = water.get("ph"), water.get("alkalinity_mg_per_l_as_caco3")
    if not ph or not alkalinity:
        return 0.0
    # Salt matters little to it; who had the alkalinity analysed need not have had the TDS.
    tds = water.get("tds_mg_per_l") or np.nan_to_num(_recent(history, row)[0])
    try:
        analysed = co2_mg_per_l(
            ph=ph,
            alkalinity_mg_per_l_as_caco3=alkalinity,
            temperature_degc=water.get("temperature_degc", LAYOUT_TEMPERATURE_DEGC),
            tds_mg_per_l=tds,
        )
        return min(float(analysed), _USUAL_CO2_MG_PER_L)
    except EngineeringError:
        return 0.0


def _loaded_from(history: History, row: int, resin: int) -> float:
    """Day from which a resin may have met salt: that of its place as lead, or before it as lag.

    A lag meets what an exhausted lead lets through, from the last reading on that showed the lead good.
    """
    resins, columns = history.placements[Stage.RESIN], history.table.columns
    placed, first = float(resins.placed_day[resin]), float(resins.first_installed_day[resin])
    if not first < placed:
        return placed
    unit_id = int(history.table.unit_ids[row])
    rows = np.asarray(history.rows_of(unit_id), dtype=np.int64)
    rows = rows[(history.table.day[rows] >= first) & (history.table.day[rows] < placed)]
    permeate, lead = columns["permeate_tds_mg_per_l"][rows], columns["interstage_tds_mg_per_l"][rows]
    held = rows[lead < history.limits[unit_id].lead_resin_fraction * permeate]
    return float(history.table.day[held[-1]]) if len(held) else first


def _life_share(history: History, row: int, unit: Mapping[str, Any], resin: int) -> float | None:
    resins, since = history.placements[Stage.RESIN], _loaded_from(history, row, resin)
    permeate = _permeate_in_life(history, row, resin)
    # What was counted says more than what was asked for: who uses twice as much exhausts a resin in half of the time.
    daily = permeate_a_day_by_counter(history, row, since, unit) or unit["weekly_demand_l"] / 7.0
    volume, per_litre = resins.items["resin_volume_l"][resin], resins.items["resin_capacity_eq_per_l"][resin]
    if not permeate > 0 or not daily > 0 or not volume or not per_litre:
        return None
    try:
        load = governing_load_meq_per_l(ionic_load_meq_per_l(permeate), co2_mg_per_l=_usual_co2(history, row, unit))
        litres = service_volume_l(capacity_eq(volume, per_litre), load)
    except EngineeringError:
        return None
    lived = float(history.table.day[row]) - since
    return lived / (float(litres) / daily) if lived > 1.0 else None
