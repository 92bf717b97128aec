"""Lives by label and load, worked by hand; age limits; which cartridge stands."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.engineering.limits import HOUSE
from fleet.engineering.sizing.offer import Item
from fleet.engineering.sizing.wear import life_of, service_time_days
from fleet.forecasting import build_fleet
from fleet.forecasting.distribution import GRID_LEVELS
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.wear.nominal import (
    FIXED_INTERVAL_DAYS,
    current_placements,
    fixed_interval,
    label_over_load,
    last_service_day_of_positions,
    median_by_group,
    nominal_lives,
)
from tests.fleet.forecasting.fleets import NOW, columns, readings, row_of

MIDDLE = len(GRID_LEVELS) // 2


def fleet_of(fleet_columns):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return fleet


def test_lives_by_hand_without_a_reading():
    """70 L a week at a quarter: 40 L of feed a day, so 20 000 L last 500 days; 150 g of chlorine at 1 mg/L 3750 days.
    250 mg/L at 95 % leave 12.5 mg/L: 10 x 12.5/58.4428 = 2.1388 meq a day, and 1.2 L of 0.457 eq/L hold 548.4."""
    fleet = fleet_of(columns(weekly_demand_l=70.0))
    lives = nominal_lives(fleet)
    assert lives.daily_load == pytest.approx([40.0, 40.0, 1.0, 2.1388], rel=1e-4)
    assert lives.capacity == pytest.approx([20_000.0, 150_000.0, 1095.0, 548.4])
    assert lives.life_days == pytest.approx([500.0, 3750.0, 1095.0, 256.40], rel=1e-4)
    assert lives.load_unit.tolist() == [1, 2, 0, 4]


@pytest.mark.parametrize("row", [0, 3])
def test_the_label_of_an_item_counts_in_whichever_row_it_stands(row):
    """The first item of the table is one like the others."""
    fleet_columns = columns(weekly_demand_l=70.0)
    items = fleet_columns["items"]
    for values in items.values():
        values.insert(row, values.pop(0))
    items["rated_volume_l"] = [11_000.0 if item == "sediment" else None for item in items["item_id"]]
    assert nominal_lives(fleet_of(fleet_columns)).capacity[0] == pytest.approx(11_000.0)


def test_what_was_read_counts_before_what_is_usual():
    fleet_columns = columns(weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        NOW - np.arange(5.0), permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=300.0,
        feed_free_chlorine_mg_per_l=0.5, feed_total_chlorine_mg_per_l=[None, None, None, None, 0.2],
        permeate_tds_mg_per_l=[5.84428, 5.84428, 5.84428, 90.0, 1.0],
    )  # fmt: skip
    lives = nominal_lives(fleet_of(fleet_columns))
    # recovery 0.4, so 25 L of feed; the greater of the two chlorines; the median permeate
    assert lives.daily_load == pytest.approx([25.0, 12.5, 1.0, 1.0])


def test_a_restrictor_or_what_is_usual_stands_for_the_recovery():
    fleet_columns = columns(weekly_demand_l=70.0, recovery_fraction=None, restrictor_flow_l_per_day=600.0)
    fleet_columns["readings"] = readings([NOW - 1.0], permeate_flow_l_per_day=200.0)
    assert nominal_lives(fleet_of(fleet_columns)).daily_load[0] == pytest.approx(40.0)
    bare = fleet_of(columns(weekly_demand_l=70.0, recovery_fraction=None))
    assert nominal_lives(bare).daily_load[0] == pytest.approx(10.0 / 0.22)


def test_reports_of_the_water_stand_for_readings():
    fleet_columns = columns(weekly_demand_l=70.0)
    fleet_columns["feed_water"] = {
        "site_id": ["s-u0"],
        "day": [NOW - 9.0],
        "tds_mg_per_l": [500.0],
        "total_chlorine_mg_per_l": [2.0],
    }
    assert nominal_lives(fleet_of(fleet_columns)).daily_load == pytest.approx([40.0, 80.0, 1.0, 4.2777], rel=1e-4)


@pytest.mark.parametrize(("permeate", "counts"), [(0.1, 0.5), (0.5, 0.5), (0.6, 0.6)])
def test_no_permeate_is_cleaner_than_half_a_step_of_a_meter(permeate, counts):
    fleet_columns = columns(weekly_demand_l=70.0)
    fleet_columns["readings"] = readings([NOW - 1.0], permeate_tds_mg_per_l=permeate)
    assert nominal_lives(fleet_of(fleet_columns)).daily_load[3] == pytest.approx(10.0 * counts / 58.4428, rel=1e-4)


def test_nothing_drawn_and_nothing_told():
    assert np.isnan(nominal_lives(fleet_of(columns(weekly_demand_l=0.0))).life_days).all()
    fleet_columns = columns(units=3, weekly_demand_l=70.0)
    fleet_columns["units"]["weekly_demand_l"] = [70.0, 140.0, None]
    # what the others draw: 10 and 20 L a day
    assert nominal_lives(fleet_of(fleet_columns)).daily_load[8] == pytest.approx(15.0 / 0.25)
    fleet_columns["units"]["weekly_demand_l"] = [None, None, None]
    assert nominal_lives(fleet_of(fleet_columns)).daily_load[8] == pytest.approx(15.0 / 0.25)


def test_labels_that_nobody_knows():
    fleet_columns = columns(weekly_demand_l=70.0)
    fleet_columns["items"] = {
        "item_id": ["sediment", "carbon", "membrane", "resin"],
        "stage": fleet_columns["items"]["stage"],
    }
    assert nominal_lives(fleet_of(fleet_columns)).capacity == pytest.approx([20_000.0, 50_000.0, 1095.0, 274.2])
    fleet_columns["placements"]["item_id"] = [None] * 4
    fleet_columns["items"] = {}
    assert nominal_lives(fleet_of(fleet_columns)).capacity == pytest.approx([20_000.0, 50_000.0, 1095.0, 274.2])


def test_the_newest_of_two_that_claim_a_place_stands_there():
    fleet_columns = columns(placed=NOW - 100.0)
    table = fleet_columns["placements"]
    for name, value in {
        "placement_id": 9, "position_id": "u0/resin/single", "item_id": "resin", "placed_day": NOW - 20.0,
        "removed_day": None, "reason": None, "first_installed_day": None, "continued_from": None,
    }.items():  # fmt: skip
        table[name].append(value)
    table["removed_day"][0], table["reason"][0] = NOW - 1.0, "exhausted"
    table["removed_day"][1], table["reason"][1] = NOW + 5.0, "exhausted"
    fleet = fleet_of(fleet_columns)
    current_placement = current_placements(fleet)
    assert [current_placement[row_of(fleet, stage)] for stage in ("sediment", "carbon", "resin")] == [-1, 1, 4]


def test_only_carbon_has_an_age_limit_unless_its_item_says_one():
    fleet_columns = columns(placed=NOW - 100.0)
    fleet_columns["items"]["maximum_service_time_days"] = [None, None, None, 400.0]
    fleet = fleet_of(fleet_columns)
    current_placement = current_placements(fleet)
    usual = limits_of_fleet(fleet)
    strict = limits_of_fleet(fleet, replace(HOUSE, carbon_maximum_service_time_days=180.0))
    assert (last_service_day_of_positions(fleet, current_placement, usual) - NOW).tolist() == [
        np.inf,
        265.0,
        np.inf,
        300.0,
    ]
    assert (last_service_day_of_positions(fleet, current_placement, strict) - NOW)[1] == 80.0
    fleet_columns["items"]["maximum_service_time_days"] = [None, 200.0, None, None]
    fleet = fleet_of(fleet_columns)
    assert last_service_day_of_positions(fleet, current_placement, limits_of_fleet(fleet))[1] - NOW == 100.0


def test_the_service_time_of_the_first_item_of_a_table_counts():
    fleet_columns = columns(placed=NOW - 100.0)
    items = fleet_columns["items"]
    for values in items.values():
        values.insert(0, values.pop(1))
    items["maximum_service_time_days"] = [200.0, None, None, None]
    fleet = fleet_of(fleet_columns)
    last = last_service_day_of_positions(fleet, current_placements(fleet), limits_of_fleet(fleet))
    assert last[1] - NOW == 100.0
    fleet_columns["placements"]["item_id"][1] = None
    fleet = fleet_of(fleet_columns)
    # an item that nobody knows has none of its own
    assert last_service_day_of_positions(fleet, current_placements(fleet), limits_of_fleet(fleet))[1] - NOW == 265.0


def test_baselines_are_log_normal_about_the_life_and_end_at_the_age_limit():
    fleet = fleet_of(columns(placed=NOW - 100.0, weekly_demand_l=70.0))
    by_label, fixed = label_over_load(fleet) - NOW, fixed_interval(fleet) - NOW
    assert by_label[:, MIDDLE] == pytest.approx([400.0, 265.0, 995.0, 156.4], abs=0.1)
    assert fixed[:, MIDDLE] == pytest.approx([82.6, 265.0, 995.0, 82.6], abs=0.1)
    # two lives in three lie within a factor of exp(0.5)
    high = np.interp(0.8413, GRID_LEVELS, by_label[0])
    assert high == pytest.approx(500.0 * np.exp(0.5) - 100.0, rel=0.01)
    assert (by_label >= 0.0).all()
    assert by_label[1].max() == 265.0


def test_medians_by_group_leave_out_what_is_missing():
    values = np.array([3.0, np.nan, 1.0, 2.0, 5.0, 4.0, np.nan])
    medians = median_by_group(values, np.array([0, 0, 0, 0, 2, 2, 1]), 4)
    assert medians.tolist()[:1] + medians.tolist()[2:3] == [2.0, 4.5]
    assert np.isnan(medians[[1, 3]]).all()


@pytest.mark.parametrize("stage", words.STAGES)
def test_an_offer_and_a_forecast_know_one_usual_service_time(stage: str) -> None:
    """Of an item whose label says nothing."""
    days = service_time_days(stage, Item("X", "", stage, 10.0), HOUSE)
    life = life_of(stage, capacity_days=None, maximum_service_time_days=days)
    assert life.days == FIXED_INTERVAL_DAYS[words.STAGES.index(stage)]


def test_a_cartridge_stands_from_the_day_it_came_until_the_day_it_left():
    fleet_columns = columns(placed=NOW - 100.0)
    table = fleet_columns["placements"]
    table["removed_day"][0], table["reason"][0] = NOW, "exhausted"
    table["placed_day"][1] = NOW
    table["placed_day"][2] = NOW + 0.5
    fleet, _ = build_fleet(**fleet_columns)
    assert current_placements(fleet).tolist() == [-1, 1, -1, 3]


def test_flows_and_chlorine_of_nothing_are_not_what_is_usual_at_a_unit():
    """Of a permeate of 0, 0 and 200 L/day and 600 to the drain the 200 count; of chlorine 0, 0, 0.5 mg/L the 0.5."""
    fleet_columns = columns(weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        NOW - np.arange(3.0), permeate_flow_l_per_day=[0.0, 0.0, 200.0], concentrate_flow_l_per_day=[0.0, 0.0, 600.0],
        feed_total_chlorine_mg_per_l=[0.0, 0.0, 0.5],
    )  # fmt: skip
    assert nominal_lives(fleet_of(fleet_columns)).daily_load[:2] == pytest.approx([40.0, 20.0])


def test_half_a_litre_a_day_is_drawn_and_nothing_is_no_demand_that_is_usual():
    lives = nominal_lives(fleet_of(columns(weekly_demand_l=3.5)))
    assert lives.daily_load[:3] == pytest.approx([2.0, 2.0, 1.0])
    assert lives.life_days[2] == pytest.approx(1095.0)
    fleet_columns = columns(units=4, weekly_demand_l=70.0)
    fleet_columns["units"]["weekly_demand_l"] = [3.5, 0.0, 0.0, None]
    # what the only one draws that draws at all
    assert nominal_lives(fleet_of(fleet_columns)).daily_load[12] == pytest.approx(2.0)


def test_of_two_medians_the_mean_and_of_one_value_itself():
    values = np.array([4.0, 1.0, 9.0, 2.0, 7.0])
    assert median_by_group(values, np.array([1, 1, 0, 1, 1]), 2).tolist() == [9.0, 3.0]
    assert median_by_group(values[:3], np.array([0, 0, 0]), 1).tolist() == [4.0]
