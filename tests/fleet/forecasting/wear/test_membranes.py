"""Membranes whose decline is known: the day their flow, or their salt passage, reaches its limit."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.normalisation import net_driving_pressure_kpa
from fleet.engineering.limits import HOUSE
from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.answer.results import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.columns import build_columns, build_segments
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.habits import find_visits
from fleet.forecasting.wear.membranes import (
    USUAL_FLOW_LOSS,
    _back_pressure,
    _inlet_pressure,
    _ratings,
    _salt_limit,
    _trend_inputs,
    _until_flow_limit,
    _until_salt_limit,
    membranes_left,
)
from fleet.forecasting.wear.pooling import GRID
from fleet.forecasting.wear.trends import Trend
from tests.fleet.forecasting.fleets import NOW, columns, readings

MIDDLE = len(GRID_LEVELS) // 2
AGE = 900.0
DAYS = NOW - np.linspace(AGE - 40.0, 2.0, 60)
YEARS = (DAYS - NOW + AGE) / 365.25
STEADY = {"inlet_pressure_kpa": 414.0, "feed_tds_mg_per_l": 250.0, "temperature_degc": 25.0}
START_FLOW, START_TDS = 240.0, 10.0


def membranes_of(flow_loss=0.0, salt_gain=0.0, limits=None, fleet_columns=None, **more):
    """Use left until each limit, of a membrane that loses so much a year of the logarithm of its flow."""
    fleet_columns = fleet_columns or columns(placed=NOW - AGE, weekly_demand_l=70.0, minimum_rejection_fraction=0.9)
    fleet_columns["readings"] = readings(
        DAYS, **{
            **STEADY, "permeate_flow_l_per_day": list(START_FLOW * np.exp(-flow_loss * YEARS)),
            "permeate_tds_mg_per_l": list(np.round(START_TDS * np.exp(salt_gain * YEARS), 1)), **more,
        },
    )  # fmt: skip
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    screened_readings = screen(fleet).readings
    return membranes_left(
        fleet,
        screened_readings,
        build_conditions(fleet, screened_readings),
        find_visits(fleet),
        limits_of_fleet(fleet, limits),
    )


def test_flow_falls_to_its_limit_when_the_line_says():
    """10 % a year of the logarithm: ln(1/0.85) = 0.1625 is reached after 594 days of use, 900 of which have passed;
    5 %: 1187 days, so 287 are left."""
    exhausted = membranes_of(flow_loss=0.10)
    assert exhausted.flow_load[0, MIDDLE] == pytest.approx(594.0 - AGE, abs=60.0)
    declining = membranes_of(flow_loss=0.05)
    assert declining.used[0] == pytest.approx(AGE, rel=0.02)
    assert declining.flow_load[0, MIDDLE] == pytest.approx(287.0, abs=90.0)
    assert declining.readings[0] == 60
    assert declining.newest_day[0] == pytest.approx(NOW - 2.0)
    # a limit of 70 % is ln(1/0.7) = 0.3567 away: 2605 days
    later = membranes_of(flow_loss=0.05, limits=replace(HOUSE, membrane_flow_fraction=0.70))
    assert later.flow_load[0, MIDDLE] > declining.flow_load[0, MIDDLE] + 700.0


def test_salt_passage_rises_to_its_limit_when_the_line_says():
    """Ten milligrams of a feed side of 289 (mean of feed and brine at a recovery of a quarter) pass: ln(0.1/0.0346) =
    1.06 to a rejection of 90 %. At 0.4 a year that takes 968 days of use."""
    rising = membranes_of(salt_gain=0.4)
    assert rising.salt_load[0, MIDDLE] == pytest.approx(968.0 - AGE, abs=130.0)
    fleet_columns = columns(placed=NOW - AGE, weekly_demand_l=70.0, minimum_rejection_fraction=0.8)
    # twice the passage is allowed: ln 2/0.4 years more
    looser = membranes_of(salt_gain=0.4, fleet_columns=fleet_columns)
    assert looser.salt_load[0, MIDDLE] - rising.salt_load[0, MIDDLE] == pytest.approx(633.0, abs=170.0)
    fleet_columns = columns(placed=NOW - AGE, weekly_demand_l=70.0)
    by_policy = membranes_of(
        salt_gain=0.4, fleet_columns=fleet_columns, limits=replace(HOUSE, minimum_rejection_fraction=0.8)
    )
    assert by_policy.salt_load[0, MIDDLE] == pytest.approx(looser.salt_load[0, MIDDLE], rel=0.02)
    assert membranes_of().salt_load[0, MIDDLE] > 1500.0


def test_pressure_and_cold_are_no_wear():
    """A fifth less driving pressure gives a fifth less water; 25 to 10 degC 41 % less (3020 K)."""
    osmotic = 22.0
    inlet = np.linspace(414.0, 330.0, 60)
    weaker = membranes_of(
        inlet_pressure_kpa=list(inlet), permeate_flow_l_per_day=list(START_FLOW * (inlet - osmotic) / (414.0 - osmotic))
    )
    assert weaker.flow_load[0, MIDDLE] > 600.0
    chilled = np.linspace(25.0, 10.0, 60)
    cold = START_FLOW * np.exp(3020.0 * (1 / 298.15 - 1 / (chilled + 273.15)))
    assert membranes_of(temperature_degc=list(chilled), permeate_flow_l_per_day=list(cold)).flow_load[0, MIDDLE] > 600.0
    # the same fall of flow at a steady pressure and 25 degC is wear
    assert membranes_of(permeate_flow_l_per_day=list(cold)).flow_load[0, MIDDLE] < 0.0


def test_pressure_of_an_open_tank_pushes_back_and_that_of_a_closed_one_does_not():
    tank = np.linspace(0.0, 150.0, 60)
    flow = list(START_FLOW * (392.0 - tank) / 392.0)
    opened = membranes_of(permeate_flow_l_per_day=flow, tank_pressure_kpa=list(tank), tank_valve="open")
    closed = membranes_of(permeate_flow_l_per_day=flow, tank_pressure_kpa=list(tank), tank_valve="closed")
    assert opened.flow_load[0, MIDDLE] > closed.flow_load[0, MIDDLE] + 300.0
    assert closed.flow_load[0, MIDDLE] < 0.0


@pytest.mark.parametrize("gauge", ["inlet_pressure_kpa", "prefilter_outlet_pressure_kpa", "line_pressure_kpa"])
def test_the_nearest_gauge_that_was_read_counts(gauge):
    """Behind a gauge that falls from 414 to 330 kPa with the flow there is no wear, whichever it is."""
    inlet = np.linspace(414.0, 330.0, 60)
    lost = 30.0 if gauge == "line_pressure_kpa" else 0.0
    flow = list(START_FLOW * (inlet - 22.0) / 392.0)
    shown = {"inlet_pressure_kpa": None, gauge: list(inlet + lost)}
    assert membranes_of(permeate_flow_l_per_day=flow, **shown).flow_load[0, MIDDLE] > 600.0
    # behind a pump neither line nor prefilter says what the membrane gets
    pumped = columns(placed=NOW - AGE, weekly_demand_l=70.0, has_booster_pump=True)
    with_pump = membranes_of(permeate_flow_l_per_day=flow, fleet_columns=pumped, **shown).flow_load[0, MIDDLE]
    assert (with_pump > 600.0) == (gauge == "inlet_pressure_kpa")


def test_a_membrane_without_a_reading_is_expected_to_keep_its_flow_for_about_four_years():
    """4 % a year: ln 0.85 / ln 0.96 is 3.98 years."""
    fleet, _ = build_fleet(**columns(placed=NOW - 10.0, weekly_demand_l=70.0))
    screened_readings = screen(fleet).readings
    membranes = membranes_left(
        fleet, screened_readings, build_conditions(fleet, screened_readings), find_visits(fleet), limits_of_fleet(fleet)
    )
    assert membranes.flow_load[0, MIDDLE] + 10.0 == pytest.approx(3.98 * 365.25, rel=0.05)
    assert membranes.readings[0] == 0
    assert np.isnan(membranes.newest_day[0])
    assert membranes.past_lives[0] == 0
    assert membranes.flow_hyper.places == 0


def test_a_membrane_that_is_worked_harder_is_expected_to_wear_sooner():
    """Two units alike of which one draws four times as much; nothing was read. Its wear goes with the power -0.3 of
    that, as long as no fleet has taught another: 4 to the -0.3 is 0.66."""
    fleet_columns = columns(units=2, placed=NOW - 10.0, weekly_demand_l=70.0)
    fleet_columns["units"]["weekly_demand_l"] = [35.0, 140.0]
    fleet, _ = build_fleet(**fleet_columns)
    screened_readings = screen(fleet).readings
    membranes = membranes_left(
        fleet, screened_readings, build_conditions(fleet, screened_readings), find_visits(fleet), limits_of_fleet(fleet)
    )
    for fresh in (membranes.fresh_flow_load, membranes.fresh_salt_load):
        assert fresh[1, MIDDLE] / fresh[0, MIDDLE] == pytest.approx(4.0**-0.3, rel=0.03)


def test_past_lives_teach_what_dates_alone_can():
    """Twelve units whose membranes were exhausted after a year each: the next one is not expected to last three."""

    def median(reason):
        fleet_columns = columns(units=12, placed=NOW - 10.0, weekly_demand_l=70.0)
        table = fleet_columns["placements"]
        for unit in range(12):
            for life in range(3):
                row = {
                    "placement_id": len(table["placement_id"]), "position_id": f"u{unit}/membrane/single",
                    "item_id": "membrane", "placed_day": NOW - 10.0 - 365.0 * (life + 1),
                    "removed_day": NOW - 10.0 - 365.0 * life, "reason": reason, "first_installed_day": None,
                    "continued_from": None,
                }  # fmt: skip
                for name, value in row.items():
                    table[name].append(value)
        fleet, faults = build_fleet(**fleet_columns)
        assert faults == []
        answer = forecast(fleet)
        assert answer.past_lives[fleet.positions.stage == 2].tolist() == [3] * 12
        return float(np.median(answer.grid_day[fleet.positions.stage == 2, MIDDLE])) - NOW

    assert median("exhausted") < 560.0 < 750.0 < median("early")


@pytest.mark.parametrize(("recovery", "at"), [(0.15, 0.15), (0.5, 0.5), (None, 0.15)])
def test_a_label_is_taken_at_the_recovery_it_was_tested_at(recovery, at):
    """As the expected flow takes it: a test solution of 2 g/L at half recovery leaves much less to drive the water."""
    fleet_columns = columns(placed=NOW - AGE)
    count = len(fleet_columns["items"]["item_id"])
    for name, value in (
        ("rated_pressure_kpa", 690.0), ("rated_tds_mg_per_l", 2000.0), ("rated_temperature_degc", 25.0),
        ("rated_recovery_fraction", recovery),
    ):  # fmt: skip
        fleet_columns["items"][name] = [value] * count
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    rating = _ratings(fleet, build_segments(fleet, build_columns(fleet, words.MEMBRANE)))
    tested = MembraneRating(284.0, 690.0, 25.0, 2000.0, at, rejection_fraction=1.0)
    assert rating.ndp_kpa == pytest.approx(net_driving_pressure_kpa(tested.point()))


def stepped(high, after, *, newest_first=False):
    """Use left until the limit of salt passage when the last `after` weekly readings of 30 show `high` mg/L."""
    days = NOW - 7.0 * np.arange(30.0)[::-1] - 1.0
    permeate = np.round(10.0 + 0.3 * np.sin(np.arange(30.0)), 1)
    permeate[len(days) - after :] = high
    order = np.argsort(-days if newest_first else days)
    fleet_columns = columns(placed=NOW - 240.0, weekly_demand_l=70.0, minimum_rejection_fraction=0.9)
    fleet_columns["readings"] = readings(
        days[order], **STEADY, permeate_flow_l_per_day=START_FLOW, permeate_tds_mg_per_l=list(permeate[order])
    )
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    believed = screen(fleet).readings
    membranes = membranes_left(
        fleet, believed, build_conditions(fleet, believed), find_visits(fleet), limits_of_fleet(fleet)
    )
    return membranes.salt_load[0], membranes.used[0]


@pytest.mark.parametrize("after", [2, 3, 4, 14])
def test_a_passage_that_jumps_past_its_limit_and_stays_there_is_exhausted(after):
    """From 3.5 % to 17 % (50 of 289 mg/L) where 10 % is the limit: by the second that agrees, since the jump."""
    left, used = stepped(50.0, after)
    assert left[MIDDLE] == pytest.approx(-7.0 * (after - 1) - 1.0, abs=4.0)
    assert left[-2] < 0.0 < used
    shuffled, _ = stepped(50.0, after, newest_first=True)
    assert shuffled == pytest.approx(left)


def test_one_odd_passage_is_no_step():
    steady, _ = stepped(10.0, 0)
    odd, _ = stepped(50.0, 1)
    assert odd[MIDDLE] == pytest.approx(steady[MIDDLE], rel=0.15)
    assert odd[MIDDLE] > 600.0


def test_a_jump_to_a_level_within_the_limit_moves_the_date():
    """Of ln(28.9/10) = 1.06 to the limit ln 2 = 0.69 is gone at once; two thirds of the way, and of the date."""
    steady, _ = stepped(10.0, 0)
    jumped, _ = stepped(20.0, 6)
    assert 0.0 < jumped[MIDDLE] < 0.6 * steady[MIDDLE]


def test_a_repaired_leak_is_forgotten():
    def left(repaired):
        passage = np.full(60, 10.0)
        passage[30:45] = 50.0
        passage[45:] = 10.0 if repaired else 50.0
        return membranes_of(permeate_tds_mg_per_l=list(passage)).salt_load[0, MIDDLE]

    assert left(repaired=False) < 0.0 < 400.0 < left(repaired=True)


def test_flow_that_halves_at_once_and_stays_is_exhausted():
    def left(after):
        flow = np.full(60, START_FLOW)
        flow[60 - after :] = 0.6 * START_FLOW
        return membranes_of(permeate_flow_l_per_day=list(flow)).flow_load[0, MIDDLE]

    assert left(1) == pytest.approx(left(0), rel=0.1)
    assert left(3) < 0.0
    assert left(12) < left(3)


def test_a_step_of_the_one_that_stands_says_nothing_of_the_next():
    """Neither a leak or a fall of flow, nor a level within the limit that it started from."""
    steady = membranes_of()
    leak, half = np.full(60, 10.0), np.full(60, START_FLOW)
    leak[30:] = 50.0
    half[30:] = 0.6 * START_FLOW
    leaking, weak = membranes_of(permeate_tds_mg_per_l=list(leak)), membranes_of(permeate_flow_l_per_day=list(half))
    assert leaking.salt_load[0, MIDDLE] < 0.0
    assert weak.flow_load[0, MIDDLE] < 0.0
    assert leaking.fresh_salt_load[0] == pytest.approx(steady.fresh_salt_load[0], rel=0.25)
    assert weak.fresh_flow_load[0] == pytest.approx(steady.fresh_flow_load[0], rel=0.25)


def gauges_of(has_pressure_tank=None, has_booster_pump=None, **quantities):
    """Screened readings of one unit, one for each value."""
    fleet_columns = columns(
        placed=NOW - AGE, has_pressure_tank=has_pressure_tank, has_booster_pump=has_booster_pump
    )  # fmt: skip
    count = max(len(value) for value in quantities.values() if isinstance(value, list))
    fleet_columns["readings"] = readings(NOW - np.arange(count, 0.0, -1.0), **quantities)
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return fleet, fleet.readings, np.arange(count)


def test_the_inlet_pressure_is_read_or_told_by_the_next_gauge_and_less_surely():
    """Behind the prefilters it is read to 4 %, in the line, of which 30 kPa are lost, to 8 %; a reading without any
    takes the middle of the others, to 13 %."""
    inlet, noise = _inlet_pressure(*gauges_of(
        inlet_pressure_kpa=[400.0, None, None, None], prefilter_outlet_pressure_kpa=[410.0, 380.0, None, None],
        line_pressure_kpa=[450.0, 450.0, 420.0, None],
    ))  # fmt: skip
    assert inlet.tolist() == [400.0, 380.0, 390.0, 390.0]
    assert noise.tolist() == [0.03, 0.04, 0.08, 0.13]


@pytest.mark.parametrize(("pumped", "usual"), [(True, 550.0), (False, 380.0), (None, 380.0)])
def test_an_inlet_that_nobody_read_is_what_is_usual_with_and_without_a_pump(pumped, usual):
    """Before a pump neither the line nor the prefilters say what the membrane gets."""
    inlet, noise = _inlet_pressure(*gauges_of(has_booster_pump=pumped, permeate_flow_l_per_day=[200.0, 210.0]))
    assert (inlet.tolist(), noise.tolist()) == ([usual, usual], [0.13, 0.13])
    if pumped:
        inlet, _ = _inlet_pressure(*gauges_of(has_booster_pump=True, line_pressure_kpa=[450.0, 460.0]))
        assert inlet.tolist() == [550.0, 550.0]


def test_a_tank_pushes_back_as_it_was_read_or_as_it_usually_does():
    """Read: 100 and 120, open; behind a closed valve nothing. Unread: as usual at this unit, 110, of which the half may
    be wrong; 55 of the 290 that drive the water."""
    back, noise = _back_pressure(
        *gauges_of(
            has_pressure_tank=True, tank_pressure_kpa=[100.0, 120.0, 150.0, None],
            tank_valve=["open", "open", "closed", "open"],
        ),
        np.full(4, 400.0),
    )  # fmt: skip
    assert back.tolist() == [100.0, 120.0, 0.0, 110.0]
    assert noise == pytest.approx([0.0, 0.0, 0.0, 55.0 / 290.0])


@pytest.mark.parametrize(
    ("tank", "inlet", "back"),
    # a pressurised tank holds 140 kPa, or two fifths of a weak inlet; an open container nothing
    [(True, 400.0, 140.0), (True, 300.0, 120.0), (False, 400.0, 0.0), (None, 400.0, 0.0)],
)
def test_a_tank_that_nobody_read_pushes_back_as_tanks_do(tank, inlet, back):
    shown, noise = _back_pressure(
        *gauges_of(has_pressure_tank=tank, permeate_flow_l_per_day=[200.0]), np.array([inlet])
    )
    assert shown.tolist() == [back]
    assert noise == pytest.approx([0.5 * back / (inlet - back)])


def test_no_tank_pushes_back_more_than_nine_tenths_of_the_inlet():
    shown, _ = _back_pressure(*gauges_of(tank_pressure_kpa=[500.0]), np.array([400.0]))
    assert shown.tolist() == [360.0]
    usual, noise = _back_pressure(
        *gauges_of(has_pressure_tank=True, tank_pressure_kpa=[395.0, None]), np.array([400.0, 400.0])
    )
    # what is left to drive the water counts as 25 kPa at least
    assert usual.tolist() == [360.0, 360.0]
    assert noise == pytest.approx([0.0, 0.5 * 395.0 / 25.0])


def test_a_tank_that_nobody_read_makes_a_decline_less_sure():
    def width(tank):
        fleet_columns = columns(
            placed=NOW - AGE, weekly_demand_l=70.0, minimum_rejection_fraction=0.9, has_pressure_tank=tank
        )
        left = membranes_of(flow_loss=0.05, salt_gain=0.3, fleet_columns=fleet_columns)
        return [float(load[0, -5] - load[0, 4]) for load in (left.flow_load, left.salt_load)]

    (sure_flow, sure_salt), (flow, salt) = width(False), width(True)
    assert flow > 1.1 * sure_flow
    assert salt > 1.1 * sure_salt


@pytest.mark.parametrize("row", [0, 1, 3])
def test_the_label_of_a_membrane_counts_in_whichever_row_its_item_stands(row):
    fleet_columns = columns(placed=NOW - AGE)
    items = fleet_columns["items"]
    for values in items.values():
        values.insert(row, values.pop(2))
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    rating = _ratings(fleet, build_segments(fleet, build_columns(fleet, words.MEMBRANE)))
    assert np.exp(rating.log_passage) == pytest.approx([0.04])
    driving = net_driving_pressure_kpa(MembraneRating(284.0, 414.0, 25.0, 250.0, 0.15, rejection_fraction=1.0).point())
    assert np.exp(rating.log_permeability) == pytest.approx([284.0 / driving])


@pytest.mark.parametrize(("told", "passage"), [(0.3, 0.5), (0.999, 0.005), (0.98, 0.02), (None, 0.04)])
def test_a_rejection_on_a_label_is_one_that_membranes_have(told, passage):
    fleet_columns = columns(placed=NOW - AGE)
    fleet_columns["items"]["rejection_fraction"] = [told] * 4
    fleet, _ = build_fleet(**fleet_columns)
    rating = _ratings(fleet, build_segments(fleet, build_columns(fleet, words.MEMBRANE)))
    assert np.exp(rating.log_passage) == pytest.approx([passage])


def test_a_membrane_without_an_item_is_taken_for_a_usual_one():
    fleet_columns = columns(placed=NOW - AGE)
    fleet_columns["placements"]["item_id"] = [None] * 4
    fleet, _ = build_fleet(**fleet_columns)
    rating = _ratings(fleet, build_segments(fleet, build_columns(fleet, words.MEMBRANE)))
    assert (np.exp(rating.log_passage[0]), rating.ndp_kpa[0]) == pytest.approx((0.04, 390.0))
    assert np.isnan(rating.log_permeability).all()
    assert np.isnan(rating.water_u).all()
    fleet_columns["items"] = {}
    none, _ = build_fleet(**fleet_columns)
    bare = _ratings(none, build_segments(none, build_columns(none, words.MEMBRANE)))
    assert (np.exp(bare.log_passage[0]), bare.ndp_kpa[0]) == pytest.approx((0.04, 390.0))


def test_a_label_that_names_no_conditions_was_tested_as_labels_usually_are():
    """414 kPa, 250 mg/L, 25 degC and a recovery of 15 % (the usual test of a tap-water membrane; from memory)."""

    def rating(**conditions):
        fleet_columns = columns(placed=NOW - AGE)
        fleet_columns["items"].update({name: [value] * 4 for name, value in conditions.items()})
        fleet, faults = build_fleet(**fleet_columns)
        assert faults == []
        return _ratings(fleet, build_segments(fleet, build_columns(fleet, words.MEMBRANE)))

    names = ("rated_pressure_kpa", "rated_tds_mg_per_l", "rated_temperature_degc", "rated_recovery_fraction")
    unsaid = rating(**dict.fromkeys(names))
    usual = rating(**dict(zip(names, (414.0, 250.0, 25.0, 0.15), strict=True)))
    assert unsaid.ndp_kpa == pytest.approx(usual.ndp_kpa)
    assert unsaid.log_permeability == pytest.approx(usual.log_permeability)
    for name, value in zip(names, (500.0, 900.0, 15.0, 0.4), strict=True):
        assert rating(**{name: value}).log_permeability != pytest.approx(usual.log_permeability, abs=0.005)


def test_a_label_that_drives_nothing_counts_as_one_of_50_kpa():
    """Less than the osmotic pressure of its own test solution."""
    fleet_columns = columns(placed=NOW - AGE)
    fleet_columns["items"].update(rated_pressure_kpa=[100.0] * 4, rated_tds_mg_per_l=[2000.0] * 4)
    fleet, _ = build_fleet(**fleet_columns)
    assert _ratings(fleet, build_segments(fleet, build_columns(fleet, words.MEMBRANE))).ndp_kpa.tolist() == [50.0]


@pytest.mark.parametrize(("needed", "passage"), [(0.9, 0.1), (0.8, 0.2), (0.97, 0.04 * np.exp(0.15)), (0.0, 1.0)])
def test_a_membrane_serves_until_the_rejection_of_its_unit_and_at_least_a_little_beyond_its_label(needed, passage):
    """A new one of 96 % may pass a seventh more before it counts as exhausted, whatever its unit asks for."""
    fleet, _ = build_fleet(**columns(placed=NOW - AGE, minimum_rejection_fraction=needed))
    stage = build_columns(fleet, words.MEMBRANE)
    segments = build_segments(fleet, stage)
    limit = _salt_limit(stage, segments, np.log(np.array([0.04])), limits_of_fleet(fleet))
    assert np.exp(limit) == pytest.approx([passage])


@pytest.mark.parametrize("power", [0.7, 1.0, 1.5])
def test_a_flow_that_may_lose_what_is_usual_lasts_e_to_the_g_of_three_years(power):
    """loss = usual x (use / 1095 / e^g)^power; twice the loss takes 2^(1/power) as long, and none is left of none."""
    loss = np.array([[USUAL_FLOW_LOSS], [2.0 * USUAL_FLOW_LOSS], [0.0], [-0.4]])
    until = _until_flow_limit(loss, power)
    assert until[0] == pytest.approx(1095.0 * np.exp(GRID))
    assert until[1] == pytest.approx(until[0] * 2.0 ** (1.0 / power))
    assert (until[2:] == 0.0).all()
    lost = USUAL_FLOW_LOSS * (until[1] / 1095.0) ** power * np.exp(-power * GRID)
    assert lost == pytest.approx(np.full(len(GRID), 2.0 * USUAL_FLOW_LOSS))


@pytest.mark.parametrize("power", [0.7, 1.0, 1.5])
def test_the_limit_of_salt_passage_is_where_the_line_from_its_intercept_reaches_it(power):
    """Three points of the intercept stand for a normal of its spread: root(0.3^2 + 0.1^2 + 0.2^2) with the limit's and
    a step's; mean and variance are those of the normal."""
    trend = Trend(*(np.array([value]) for value in (0.0, 0.0)), 1.0, *(np.array([v]) for v in (-3.2, 0.4, 0.3)))
    gain, limit = np.array([0.2, 0.5]), np.array([-2.0])
    until = _until_salt_limit(trend, gain, limit, np.array([0.2]), power)[0]
    room = gain[:, None] * (until / 1095.0) ** power
    intercept = -2.0 - room
    weights = np.array([0.25, 0.5, 0.25])
    usual = -3.2 + 0.4 * gain
    assert intercept @ weights == pytest.approx(usual, abs=1e-4)
    spread = (intercept - usual[:, None]) ** 2 @ weights
    # three points at 1.2247: variance 0.75 of the normal's
    assert spread == pytest.approx(np.full(2, 0.75 * (0.09 + 0.01 + 0.04)), rel=1e-3)
    past = _until_salt_limit(trend, gain, np.array([-9.0]), np.array([0.0]), power)
    assert (past == 0.0).all()


def trends_of(days_after_fitting, **more):
    """Trends of flow and salt passage of one membrane, read so many days after it was fitted."""
    fleet_columns = columns(placed=NOW - 200.0, weekly_demand_l=70.0)
    quantities = {**STEADY, "permeate_flow_l_per_day": START_FLOW, "permeate_tds_mg_per_l": START_TDS, **more}
    fleet_columns["readings"] = readings(NOW - 200.0 + np.array(days_after_fitting), **quantities)
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    stage = build_columns(fleet, words.MEMBRANE)
    conditions = build_conditions(fleet, fleet.readings)
    return _trend_inputs(fleet, fleet.readings, conditions, stage, build_segments(fleet, stage))


def test_a_membrane_that_runs_in_says_little_of_its_flow_and_as_much_of_its_salt():
    """Up to two weeks, up to a month, and after it: 0.3 and 0.08 beside what a gauge and a thermometer err."""
    flow, salt, _, _ = trends_of([14.5, 15.5, 29.5, 30.5])
    squares = flow.noise**2
    assert squares[:3] - squares[3] == pytest.approx([0.3**2, 0.08**2, 0.08**2])
    # a flow to 6 %, a pressure to 3 %, a temperature to 2 % of the flow
    assert squares[3] == pytest.approx(0.06**2 + 0.03**2 + 0.02**2)
    assert salt.noise == pytest.approx(np.full(4, salt.noise[3]))
    # a salt passage to a tenth; twice the temperature's; 0.3 of a step of 1 mg/L in 10
    assert salt.noise[3] ** 2 == pytest.approx(0.10**2 + 0.03**2 + 0.04**2 + 0.03**2)


def test_a_temperature_that_was_not_read_makes_a_flow_less_sure():
    flow, salt, _, _ = trends_of([100.0, 150.0], temperature_degc=[25.0, None])
    assert flow.noise[1] ** 2 - flow.noise[0] ** 2 == pytest.approx(0.06**2 - 0.02**2)
    assert salt.noise[1] ** 2 - salt.noise[0] ** 2 == pytest.approx(4.0 * (0.06**2 - 0.02**2))


@pytest.mark.parametrize(
    ("permeate", "counts", "rounding"), [(0.0, 0.3, 0.3), (0.4, 0.4, 0.3), (0.2, 0.3, 0.3), (3.0, 3.0, 0.1)]
)
def test_no_meter_shows_a_permeate_better_than_a_third_of_its_step(permeate, counts, rounding):  # fmt: skip
    """Of a step of 1 mg/L; where less than a step is shown, a third of what is there may be the rounding."""
    _, salt, _, _ = trends_of([100.0, 150.0], permeate_tds_mg_per_l=[permeate, 10.0])
    assert np.exp(salt.value[0] - salt.value[1]) == pytest.approx(counts / 10.0, rel=1e-3)
    assert salt.noise[0] ** 2 - salt.noise[1] ** 2 == pytest.approx(rounding**2 - 0.03**2)


def test_a_flow_without_a_pressure_that_drives_it_counts_as_driven_by_25_kpa():
    """An inlet below the osmotic pressure: of 20 kPa, or of 10, the same."""
    flow, _, _, _ = trends_of([100.0, 150.0, 160.0], inlet_pressure_kpa=[20.0, 10.0, 414.0], feed_tds_mg_per_l=300.0)
    assert flow.value[0] == pytest.approx(flow.value[1], abs=1e-9)
    # of the 414 some twenty are osmotic
    assert 380.0 < np.exp(flow.value[0] - flow.value[2]) * 25.0 < 414.0


def test_use_and_sign_of_the_trends():
    """A hundred days of steady use are 100/1095; flow falls and salt rises with it."""
    flow, salt, segment, day = trends_of([100.0, 150.0])
    assert flow.use == pytest.approx([100.0 / 1095.0, 150.0 / 1095.0], rel=0.02)
    assert (flow.sign, salt.sign) == (-1.0, 1.0)
    assert salt.use == pytest.approx(flow.use)
    assert (segment.tolist(), day.tolist()) == ([0, 0], [NOW - 100.0, NOW - 50.0])
    # where nothing is known of its label, neither is of its level
    assert flow.width.tolist() == [0.25]
