"""Load left of the cartridges that stand, where it can be worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import norm

from fleet.forecasting import build_fleet, forecast
from fleet.forecasting.answer.results import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear import beds, evidence, present
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.habits import find_visits
from fleet.forecasting.wear.pooling import GRID, STEP
from fleet.forecasting.wear.present import _fine_grid, _habit, _interpolate, load_left
from fleet.forecasting.wear.stage_inputs import resin_input, sediment_input
from tests.fleet.forecasting.fleets import NOW, columns, readings
from tests.fleet.forecasting.wear.recorded import recorded_fleet

MIDDLE = len(GRID_LEVELS) // 2


def left_of(make, fleet_columns):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    screened_readings = screen(fleet).readings
    conditions = build_conditions(fleet, screened_readings)
    stage = make(fleet, screened_readings, conditions, limits_of_fleet(fleet))
    return load_left(stage, conditions, fleet, find_visits(fleet)), conditions, stage


def test_without_a_reading_a_filter_has_what_is_usual_of_its_label_less_what_passed():
    """Fresh: e^-0.4 of 20 000 L is 13 406 L in the middle, of the model and of the label; the usual interval of 182.6
    days has 12 % of the say. After 200 days it is less what passed: that it is still installed says nothing."""
    fresh, conditions, _ = left_of(sediment_input, columns(placed=NOW - 0.5, weekly_demand_l=70.0))
    by_calendar = 182.6 * conditions.mean_load(words.SEDIMENT)[0]
    usual = brentq(
        lambda litres: (
            0.68 * norm.cdf(np.log(litres / 13_406.0) / np.hypot(0.45, 0.35))
            + 0.2 * norm.cdf(np.log(litres / 13_406.0) / 0.5)
            + 0.12 * norm.cdf(np.log(litres / by_calendar) / 0.5)
            - 0.5
        ),
        1_000.0,
        20_000.0,
    )
    assert fresh.lead_load[0, MIDDLE] == pytest.approx(usual, rel=0.02)
    low, high = (np.interp(level, GRID_LEVELS, fresh.lead_load[0]) for level in (0.1587, 0.8413))
    # spreads of 0.45 between places and 0.35 between cartridges, of which a few are odd
    assert 0.50 < np.log(high / low) / 2.0 < 0.70
    used, conditions, _ = left_of(sediment_input, columns(placed=NOW - 200.0, weekly_demand_l=70.0))
    passed = conditions.at(words.SEDIMENT, np.array([0]), np.array([NOW])) - conditions.at(
        words.SEDIMENT, np.array([0]), np.array([NOW - 200.0])
    )
    assert used.lead_used[0] == pytest.approx(passed[0])
    assert used.lead_load[0, MIDDLE] == pytest.approx(usual - passed[0], rel=0.08)
    assert (used.readings[0], used.past_lives[0]) == (0, 0)
    assert np.isnan(used.newest_day[0])


def test_rules_have_no_say_of_a_filter_that_was_read(monkeypatch):
    """The date of one without a reading moves with the interval by rule, that of one with a reading does not."""

    def middle(was_read, days):
        interval = np.full(len(words.STAGES), days)
        monkeypatch.setattr("fleet.forecasting.wear.present.FIXED_INTERVAL_DAYS", interval)
        fleet_columns = columns(placed=NOW - 100.0, weekly_demand_l=70.0)
        if was_read:
            fleet_columns["readings"] = readings(
                NOW - 3.0, line_pressure_kpa=400.0, prefilter_outlet_pressure_kpa=370.0, temperature_degc=15.0
            )
        return left_of(sediment_input, fleet_columns)[0].lead_load[0, MIDDLE]

    assert middle(True, 90.0) == middle(True, 900.0)
    assert middle(False, 90.0) < 0.97 * middle(False, 900.0)


@pytest.mark.parametrize("share", [0.3, 0.6])
def test_a_lead_on_its_curve_has_what_the_curve_leaves_to_95_percent(share):
    """Many readings at one share of the permeate: the rest of the curve, for the transfer units of the shapes."""
    fleet_columns = columns(kind="pair", placed=NOW - 200.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        NOW - np.array([3.0, 2.0, 1.0, 0.5]), permeate_tds_mg_per_l=20.0, interstage_tds_mg_per_l=20.0 * share,
        product_tds_mg_per_l=0.0,
    )  # fmt: skip
    remaining, _, stage = left_of(resin_input, fleet_columns)
    per_load = []
    for n in stage.model.transfer_units:
        transfer_units, full = np.array(n), np.array(1.0)
        here = float(
            beds.throughput_until(full, beds.remaining_at_fraction(np.array(share), transfer_units), transfer_units)
        )
        end = float(
            beds.throughput_until(full, beds.remaining_at_fraction(np.array(0.95), transfer_units), transfer_units)
        )
        per_load.append((end - here) / here)
    assert min(per_load) < remaining.lead_load[0, MIDDLE] / remaining.lead_used[0] < max(per_load)
    assert remaining.lag_load[0, MIDDLE] > 2.0 * remaining.lead_load[0, MIDDLE]
    assert remaining.readings[0] == 4
    assert remaining.newest_day[0] == NOW - 0.5
    assert remaining.lag_used[0] == pytest.approx(remaining.lead_used[0])


def test_what_the_product_shows_counts_more_than_the_label():
    fleet_columns = columns(placed=NOW - 200.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        NOW - np.array([2.0, 1.0]), permeate_tds_mg_per_l=20.0, product_tds_mg_per_l=12.0
    )
    remaining, _, _ = left_of(resin_input, fleet_columns)
    assert (remaining.lead_load[0, : MIDDLE + 1] < 0.0).all()
    fleet_columns["readings"]["product_tds_mg_per_l"] = [0.0, 0.0]
    assert left_of(resin_input, fleet_columns)[0].lead_load[0, MIDDLE] > 0.0


def test_what_a_fleet_taught_before_is_used_instead_of_learning_anew():
    fleet_columns = columns(units=4, placed=NOW - 100.0, weekly_demand_l=70.0)
    fleet, _ = build_fleet(**fleet_columns)
    screened_readings = screen(fleet).readings
    conditions = build_conditions(fleet, screened_readings)
    stage = sediment_input(fleet, screened_readings, conditions, limits_of_fleet(fleet))
    visits = find_visits(fleet)
    own = load_left(stage, conditions, fleet, visits)
    again = load_left(stage, conditions, fleet, visits, hyper=own.hyper)
    assert again.lead_load == pytest.approx(own.lead_load, rel=1e-3, abs=1.0)
    doubled = replace(own.hyper, mean=own.hyper.mean + np.log(2.0))
    more = load_left(stage, conditions, fleet, visits, hyper=doubled)
    passed = own.lead_used[0]
    assert (more.lead_load[0, MIDDLE] + passed) / (own.lead_load[0, MIDDLE] + passed) == pytest.approx(2.0, rel=0.12)


@pytest.mark.parametrize("stage", ["carbon", "resin"])
def test_the_order_in_which_cartridges_were_recorded_says_nothing(stage):
    fleet_columns = columns(kind="pair", placed=NOW - 200.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        NOW - np.array([60.0, 30.0, 1.0]), permeate_tds_mg_per_l=20.0, interstage_tds_mg_per_l=8.0,
        product_tds_mg_per_l=0.0, feed_total_chlorine_mg_per_l=1.0, interstage_chlorine_mg_per_l=0.3,
        carbon_outlet_total_chlorine_mg_per_l=0.0,
    )  # fmt: skip
    fleet, _ = build_fleet(**fleet_columns)
    table = fleet_columns["placements"]
    first = table["position_id"].index(f"u0/{stage}/lag")
    for name, values in table.items():
        table[name] = [values[first], *values[:first], *values[first + 1 :]]
    other, _ = build_fleet(**fleet_columns)
    assert forecast(other).grid_day - NOW == pytest.approx(forecast(fleet).grid_day - NOW, rel=1e-6, nan_ok=True)


def test_the_order_of_the_rows_of_a_table_says_nothing():
    """The lag of a pair and its items stand first in one of the two, last in the other."""
    fleet_columns = columns(kind="pair", placed=NOW - 150.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        NOW - np.array([60.0, 3.0]), permeate_tds_mg_per_l=20.0, interstage_tds_mg_per_l=[1.0, 9.0],
        product_tds_mg_per_l=0.0,
    )  # fmt: skip
    turned = {
        **fleet_columns,
        **{
            table: {name: values[::-1] for name, values in fleet_columns[table].items()}
            for table in ("placements", "items", "readings")
        },
    }
    days = [forecast(build_fleet(**told)[0]) for told in (fleet_columns, turned)]
    assert np.isfinite(days[0].grid_day).all()
    np.testing.assert_allclose(days[0].grid_day, days[1].grid_day, atol=0.01)
    np.testing.assert_allclose(days[0].fresh_life_days, days[1].fresh_life_days, rtol=1e-6)


def test_a_fine_grid_holds_all_but_a_thousandth_on_either_side():
    """A normal density about -0.5 with a spread of 0.3: from -1.43 to 0.43, to the next point of the common grid, and
    two points more."""
    density = -0.5 * ((GRID + 0.5) / 0.3) ** 2
    fine = _fine_grid(np.stack([density, density + np.log(3.0)])[None])[0]
    assert len(fine) == 49
    assert np.diff(fine) == pytest.approx(np.full(48, (fine[-1] - fine[0]) / 48))
    low, high = -0.5 + 0.3 * norm.ppf([1e-3, 1.0 - 1e-3])
    assert low - 3.0 * STEP <= fine[0] <= low - STEP
    assert high + STEP <= fine[-1] <= high + 3.0 * STEP


def test_values_between_points_of_the_grid_are_on_a_straight_line():
    fine = np.array([[-3.6, -1.234, 0.0, 2.4], [-9.0, 0.5, 2.39, 9.0]])
    values = np.stack([2.0 * GRID + 1.0, -GRID])
    shown = _interpolate(np.stack([values, values]), fine)
    within = np.clip(fine, GRID[0], GRID[-1])
    assert shown[:, 0] == pytest.approx(2.0 * within + 1.0, abs=1e-5)
    assert shown[:, 1] == pytest.approx(-within, abs=1e-5)


def test_a_fleet_worked_on_in_pieces_is_forecast_as_in_one(monkeypatch):
    """Columns a few at a time and readings a few at a time, with pairs, rotations and past lives among them."""
    fleet = recorded_fleet("recorded badly")
    whole = forecast(fleet)
    for module in (evidence, present):
        monkeypatch.setattr(module, "CHUNK", 4)
        monkeypatch.setattr(module, "BLOCK", 7)
    pieces = forecast(fleet)
    np.testing.assert_allclose(
        pieces.grid_day - fleet.as_of_day, whole.grid_day - fleet.as_of_day, rtol=1e-3, atol=0.05
    )
    taught = forecast(fleet, learned=whole.learned)
    monkeypatch.undo()
    np.testing.assert_allclose(
        taught.grid_day - fleet.as_of_day,
        forecast(fleet, learned=whole.learned).grid_day - fleet.as_of_day,
        rtol=1e-3,
        atol=0.05,
    )


def test_what_stands_teaches_what_a_supply_has_in_common():
    """Six units of each of four supplies, and no past life. On one supply resin lets through early what it holds back
    on the others: what is common to it is less than what is common to them."""
    fleet_columns = columns(units=24, placed=NOW - 150.0, weekly_demand_l=70.0)
    supplies = ["early", "north", "south", "west"]
    fleet_columns["sites"] = {
        "site_id": [f"s-u{k}" for k in range(24)], "supply": [supplies[k % 4] for k in range(24)],
    }  # fmt: skip
    days = NOW - np.array([60.0, 40.0, 20.0, 1.0])
    parts = [
        readings(
            days, unit=f"u{k}", permeate_tds_mg_per_l=20.0,
            product_tds_mg_per_l=[3.0, 8.0, 14.0, 18.0] if k % 4 == 0 else 0.0,
        )
        for k in range(24)
    ]  # fmt: skip
    fleet_columns["readings"] = {name: [value for part in parts for value in part[name]] for name in parts[0]}
    taught, _, _ = left_of(resin_input, fleet_columns)
    shared = taught.hyper.common["supply"]
    assert shared.spread > 0.0
    early, *others = shared.offset(np.array([f"supply {name}" for name in supplies], dtype=object))[0]
    assert early < min(others) - 0.1


def test_a_unit_whose_place_stands_empty_does_not_hide_those_after_it(monkeypatch):
    """Worked on one column at a time: nothing stands in the first, and the second is forecast all the same."""
    fleet_columns = columns(units=2, placed=NOW - 100.0, weekly_demand_l=70.0)
    table = fleet_columns["placements"]
    table["removed_day"][0], table["reason"][0] = NOW - 1.0, "routine"
    whole, _, _ = left_of(sediment_input, fleet_columns)
    for module in (evidence, present):
        monkeypatch.setattr(module, "CHUNK", 1)
    pieces, _, _ = left_of(sediment_input, fleet_columns)
    assert pieces.column.tolist() == [1]
    assert pieces.lead_load == pytest.approx(whole.lead_load, rel=1e-3)


def removed_resin(**quantities):
    """Stage of a resin that was called exhausted a hundred days ago, with what was read so many days before."""
    fleet_columns = columns(placed=NOW - 400.0, weekly_demand_l=70.0)
    table = fleet_columns["placements"]
    row = table["position_id"].index("u0/resin/single")
    table["removed_day"][row], table["reason"][row] = NOW - 100.0, "exhausted"
    days_before = np.array(quantities.pop("days_before"))
    fleet_columns["readings"] = readings(
        NOW - 100.0 - days_before, permeate_tds_mg_per_l=20.0, occasion="as_found", **quantities
    )
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    conditions = build_conditions(fleet, fleet.readings)
    return resin_input(fleet, fleet.readings, conditions, limits_of_fleet(fleet))


@pytest.mark.parametrize(("days_before", "is_heard"), [(29.5, True), (30.5, False)])
def test_a_month_before_it_left_a_reading_shows_how_a_cartridge_was(days_before, is_heard):
    """Nothing passed it: the word 'exhausted' was wrong. One such word, and ten that were wrong one time in ten."""
    stage = removed_resin(days_before=[days_before], product_tds_mg_per_l=0.0)
    wrong = 1.0 - stage.model.probability_past(stage.readings, stage.limit[stage.reading_segment])
    assert wrong[0] > 0.9
    expected = (wrong[0] + 0.1 * 10.0) / (1.0 + 10.0) if is_heard else 0.1
    assert _habit(stage).wrong == pytest.approx(expected)


def test_the_last_reading_before_it_left_decides_and_a_reading_without_an_outlet_does_not():
    stage = removed_resin(days_before=[1.0, 20.0, 9.0], product_tds_mg_per_l=[18.0, 0.0, 0.0])
    assert _habit(stage).wrong == pytest.approx(1.0 / 11.0, abs=1e-3)
    later = removed_resin(
        days_before=[20.0, 1.0], product_tds_mg_per_l=[18.0, None], interstage_tds_mg_per_l=[None, 5.0]
    )
    assert _habit(later).wrong == pytest.approx(1.0 / 11.0, abs=1e-3)


def test_what_stands_called_nothing_exhausted():
    """A reading of the cartridge that stands, however bad, says nothing of words."""
    fleet_columns = columns(placed=NOW - 400.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings([NOW - 1.0], permeate_tds_mg_per_l=20.0, product_tds_mg_per_l=0.0)
    fleet, _ = build_fleet(**fleet_columns)
    stage = resin_input(fleet, fleet.readings, build_conditions(fleet, fleet.readings), limits_of_fleet(fleet))
    assert len(stage.reading_day) == 1
    assert _habit(stage).wrong == pytest.approx(0.1)


@pytest.mark.parametrize(("days_before", "shows_end"), [(2.9, True), (3.1, False)])
def test_a_life_shows_its_end_by_a_reading_of_its_last_three_days(monkeypatch, days_before, shows_end):
    shown = []

    def learn(*given, shows_end, **more):
        shown.append(shows_end)
        return taught(*given, shows_end=shows_end, **more)

    taught = present.pooling.learn
    monkeypatch.setattr(present.pooling, "learn", learn)
    stage = removed_resin(days_before=[days_before], product_tds_mg_per_l=10.0)
    fleet, _ = build_fleet(**columns(placed=NOW - 400.0))
    conditions = build_conditions(fleet, fleet.readings)
    load_left(stage, conditions, fleet, find_visits(fleet))
    assert shown[0].tolist() == [shows_end]
