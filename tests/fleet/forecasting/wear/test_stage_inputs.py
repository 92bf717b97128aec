"""What a stage hands to the wear model, by hand: limits where the unit has them, labels, which reading counts."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.engineering.limits import HOUSE
from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.columns import build_columns, build_segments, locate_readings
from fleet.forecasting.inputs.limits import limits_of_fleet
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear.conditions import build_conditions
from fleet.forecasting.wear.learned import Pool
from fleet.forecasting.wear.stage_inputs import (
    _differential_noise,
    carbon_input,
    last_changes,
    places_of,
    resin_input,
    sediment_input,
)
from tests.fleet.forecasting.fleets import NOW, columns, readings

DAYS = NOW - np.array([100.0, 60.0, 30.0, 2.0])


def stage_of(make, fleet_columns, limits=None):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    screened_readings = screen(fleet).readings
    return make(fleet, screened_readings, build_conditions(fleet, screened_readings), limits_of_fleet(fleet, limits))


def pressures(line, differential_kpa, **more):
    fleet_columns = columns(placed=NOW - 110.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        DAYS, line_pressure_kpa=line, prefilter_outlet_pressure_kpa=line - differential_kpa, temperature_degc=25.0,
        permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=600.0, **more,
    )  # fmt: skip
    return fleet_columns


@pytest.mark.parametrize(
    ("line", "limit"),
    [
        # 15 % of what is left behind a clean filter, up to 10 psi; at least 4 psi
        (200.0, 0.15 * 186.0),
        (300.0, 0.15 * 286.0),
        (150.0, 27.58),
        # from 55 psi behind the filter on, what it stands above 50 psi
        (392.0, 0.15 * 378.0),
        (394.0, 380.0 - 344.74),
        (450.0, 0.15 * 436.0),
        (500.0, 68.95),
    ],
)
def test_the_limit_of_a_sediment_filter_follows_the_line_pressure(line, limit):
    """A clean filter is taken to lose 14 kPa until fresh readings say so; here they do."""
    stage = stage_of(sediment_input, pressures(line, 14.0))
    clean = stage.readings.entering[0]
    assert clean == pytest.approx(14.0, abs=0.5)
    # how far the outlet lies from the round number
    assert stage.readings.resolution[0] == pytest.approx(limit, abs=0.6)


def test_each_limit_moves_the_limit_of_a_sediment_filter():
    def limit(line, **changes):
        return stage_of(sediment_input, pressures(line, 14.0), replace(HOUSE, **changes)).readings.resolution[0]

    assert limit(500.0, prefilter_differential_pressure_kpa=50.0) == 50.0
    assert limit(300.0, prefilter_outlet_fraction=0.10) == pytest.approx(28.6, abs=0.1)
    assert limit(150.0, prefilter_least_kpa=30.0) == 30.0
    assert limit(394.0, prefilter_margin_kpa=350.0) == pytest.approx(30.0, abs=0.5)
    assert limit(394.0, prefilter_margin_from_kpa=400.0) == pytest.approx(57.0, abs=0.2)


def test_two_sediment_filters_in_series_have_each_their_share():
    fleet_columns = pressures(500.0, 14.0)
    for name, value in {
        "position_id": "u0/sediment/second",
        "unit_id": "u0",
        "stage": "sediment",
        "role": "lag",
        "order": 1,
    }.items():
        fleet_columns["positions"][name].append(value)
    for name, value in {
        "placement_id": 9, "position_id": "u0/sediment/second", "item_id": "sediment", "placed_day": NOW - 110.0,
        "removed_day": None, "reason": None, "first_installed_day": None, "continued_from": None,
    }.items():  # fmt: skip
        fleet_columns["placements"][name].append(value)
    stage = stage_of(sediment_input, fleet_columns)
    assert stage.readings.resolution[0] == pytest.approx(0.6 * 68.95)
    assert stage.places.covariates[:, 1].tolist() == [0.0, 1.0]


def test_a_differential_is_brought_to_25_degc_and_to_the_usual_flow():
    """At 10 degC water is 1.47 times as viscous (1.3059 against 0.8900 mPa s); at half the flow half the drop."""
    fleet_columns = pressures(400.0, 30.0)
    fleet_columns["readings"]["temperature_degc"] = [25.0, 25.0, 25.0, 10.0]
    warm, cold = stage_of(sediment_input, fleet_columns).readings.between[[2, 3]]
    assert cold / warm == pytest.approx(1.0 / 1.467, rel=0.01)
    fleet_columns = pressures(400.0, 30.0)
    fleet_columns["readings"]["permeate_flow_l_per_day"] = [200.0, 200.0, 200.0, 100.0]
    fleet_columns["readings"]["concentrate_flow_l_per_day"] = [600.0, 600.0, 600.0, 300.0]
    usual, slow = stage_of(sediment_input, fleet_columns).readings.between[[2, 3]]
    assert slow / usual == pytest.approx(2.0)


def test_noise_of_gauges_is_found_from_readings_of_one_week():
    day = np.repeat(NOW - np.arange(100.0, 2.0, -10.0), 2) + np.tile([0.0, 2.0], 10)

    def noise(apart):
        fleet_columns = columns(units=12, placed=NOW - 110.0, weekly_demand_l=7.0)
        parts = [
            readings(day, unit=f"u{k}", line_pressure_kpa=400.0, temperature_degc=25.0,
                     prefilter_outlet_pressure_kpa=list(386.0 - np.tile([0.0, apart], 10)))
            for k in range(12)
        ]  # fmt: skip
        fleet_columns["readings"] = {name: [v for part in parts for v in part[name]] for name in parts[0]}
        return stage_of(sediment_input, fleet_columns).readings.after

    # 228 pairs at most nine days apart against a prior worth 30, on the logarithm; half of all differences of two lie
    # within 0.6745 x sqrt 2
    for apart in (4.0, 20.0):
        noise_kpa = max(apart / (0.6745 * np.sqrt(2.0)), 1.0)
        assert noise(apart) == pytest.approx(noise_kpa ** (228 / 258) * 9.0 ** (30 / 258), rel=0.03)


def quality(**target):
    fleet_columns = columns(kind="pair", placed=NOW - 110.0, **target)
    fleet_columns["readings"] = readings(
        DAYS, permeate_tds_mg_per_l=[10.0, None, 10.0, 10.0], interstage_tds_mg_per_l=[0.0, 1.0, 2.0, None],
        product_tds_mg_per_l=0.0, feed_total_chlorine_mg_per_l=2.0, interstage_chlorine_mg_per_l=0.1,
        carbon_outlet_total_chlorine_mg_per_l=[0.05, None, 0.0, 0.0],
        carbon_outlet_free_chlorine_mg_per_l=[0.01, 0.02, None, None],
    )  # fmt: skip
    return fleet_columns


def test_resin_is_exhausted_at_what_the_use_allows_and_else_at_the_limit_of_the_house():
    """Of 10 mg/L permeate: 1 mg/L of the house is a tenth; 0.5 of the use a twentieth, and 3 of it three tenths;
    what a company states is not loosened."""
    for target, share in ((None, 0.1), (0.5, 0.05), (3.0, 0.3)):
        stage = stage_of(resin_input, quality(product_tds_target_mg_per_l=target))
        assert stage.limit == pytest.approx([share], rel=0.03)
    assert stage_of(resin_input, quality(), replace(HOUSE, product_tds_mg_per_l=20.0)).limit == pytest.approx([0.95])
    stated = stage_of(resin_input, quality(product_tds_target_mg_per_l=3.0), replace(HOUSE, product_tds_mg_per_l=2.0))
    assert stated.limit == pytest.approx([0.2], rel=0.03)
    assert stage.label == pytest.approx([548.4])
    assert stage.lag_ratio == pytest.approx([1.0])
    assert stage.readings.entering[0] == 10.0
    assert stage.readings.entering[1] == pytest.approx(10.0, rel=0.05)
    assert np.isnan(stage.readings.between[3])


def test_nothing_stands_between_two_beds_where_there_is_one():
    fleet_columns = quality()
    single = columns(kind="ro_di", placed=NOW - 110.0)
    single["readings"] = fleet_columns["readings"]
    for make in (resin_input, carbon_input):
        assert np.isnan(stage_of(make, single).readings.between).all()
        assert np.isfinite(stage_of(make, fleet_columns).readings.between[:3]).all()


def test_carbon_by_total_chlorine_and_by_free_only_where_the_water_holds_no_chloramine():
    stage = stage_of(carbon_input, quality())
    assert stage.readings.after.tolist() == [0.05, 0.02, 0.0, 0.0]
    assert stage.limit == pytest.approx([0.1 / 2.0], rel=0.05)
    assert stage.label == pytest.approx([150_000.0])
    assert stage.readings.entering == pytest.approx(2.0, rel=0.05)
    with_chloramine = stage_of(carbon_input, quality(is_chloraminated=True))
    assert with_chloramine.readings.after[[0, 2, 3]].tolist() == [0.05, 0.0, 0.0]
    assert np.isnan(with_chloramine.readings.after[1])
    assert stage_of(carbon_input, quality(), replace(HOUSE, chlorine_mg_per_l=0.5)).limit == pytest.approx(
        [0.25], rel=0.05
    )


@pytest.mark.parametrize(("age", "by_age"), [(354.0, False), (356.0, True)])
def test_carbon_that_left_at_its_age_limit_says_nothing_of_wear(age, by_age):
    fleet_columns = columns(placed=NOW - 400.0)
    table = fleet_columns["placements"]
    row = table["position_id"].index("u0/carbon/single")
    table["removed_day"][row], table["reason"][row] = NOW - 400.0 + age, "exhausted"
    assert stage_of(carbon_input, fleet_columns).ended_by_age.tolist() == [by_age]


def test_places_share_the_supply_of_their_site_and_the_item_that_stands():
    fleet_columns = columns(units=3)
    fleet_columns["sites"] = {"site_id": ["s-u0", "s-u1", "s-u2"], "supply": ["north", "north", ""]}
    row = fleet_columns["placements"]["position_id"].index("u1/resin/single")
    fleet_columns["placements"]["item_id"][row] = None
    fleet, _ = build_fleet(**fleet_columns)
    stage = stage_of(resin_input, fleet_columns)
    places = places_of(fleet, stage.columns)
    assert places.groups["supply"].tolist() == ["supply north", "supply north", "site s-u2"]
    assert places.groups["item"].tolist() == ["resin", "", "resin"]


OLD, NEW, NEITHER = NOW - 110.0, NOW - 50.0, np.nan


@pytest.mark.parametrize(
    ("occasion", "day", "shows"),
    # three quarters of a day count as one visit: dates are often no finer than a day
    [
        ("as_found", NEW + 0.74, OLD), ("as_found", NEW + 0.76, NEW), ("as_found", NEW - 0.76, OLD),
        ("as_left", NEW - 0.74, NEW), ("as_left", NEW - 0.76, OLD), ("as_left", NEW, NEW),
        ("routine", NEW - 0.76, OLD), ("routine", NEW - 0.74, NEITHER), ("routine", NEW, NEITHER),
        ("routine", NEW + 0.74, NEITHER), ("routine", NEW + 0.76, NEW),
        # nothing is known to have stood before the first
        ("routine", OLD, OLD), ("routine", OLD - 0.1, NEITHER), ("as_left", OLD - 0.1, OLD),
        ("as_found", OLD + 0.1, NEITHER),
    ],
)  # fmt: skip
def test_a_reading_shows_the_filter_before_or_after_a_change_or_neither(occasion, day, shows):
    fleet_columns = columns(units=2, placed=OLD)
    placements = fleet_columns["placements"]
    row = placements["position_id"].index("u1/sediment/single")
    placements["removed_day"][row], placements["reason"][row] = NEW, "routine"
    for name, values in placements.items():
        values.append(
            {"placement_id": 99, "placed_day": NEW, "removed_day": None, "reason": None}.get(name, values[row])
        )
    fleet_columns["readings"] = readings([day], unit="u1", line_pressure_kpa=400.0, occasion=occasion)
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    assert last_changes(fleet, fleet.readings) == pytest.approx([shows], nan_ok=True)
    stage = build_columns(fleet, words.SEDIMENT)
    segments = build_segments(fleet, stage)
    column = np.flatnonzero(stage.unit == 1)
    (located,) = locate_readings(segments, column, fleet.readings.day, fleet.readings.occasion)
    assert (segments.start[located] if located >= 0 else NEITHER) == pytest.approx(shows, nan_ok=True)


@pytest.mark.parametrize("day", [OLD, OLD + 0.1, OLD + 30.0])
def test_the_only_filter_of_the_last_unit_is_shown_from_its_own_day_on(day):
    """There is none before it and none after it to be taken for it."""
    fleet_columns = columns(units=2, placed=OLD)
    fleet_columns["readings"] = readings([day], unit="u1", line_pressure_kpa=400.0, occasion="routine")
    fleet, _ = build_fleet(**fleet_columns)
    assert last_changes(fleet, fleet.readings).tolist() == [OLD]


@pytest.mark.parametrize(("read", "entering"), [(0.0, (0.05 * 2.0) ** 0.5), (0.8, (0.8 * 2.0) ** 0.5), (None, 2.0)])
def test_chlorine_that_enters_is_halfway_between_its_level_and_what_was_read(read, entering):
    """On the scale of ratios; a feed that shows none on one day counts as 0.05 mg/L there."""
    fleet_columns = quality()
    days = NOW - np.arange(100.0, 0.0, -2.0)
    fleet_columns["readings"] = readings(
        days, feed_total_chlorine_mg_per_l=[*[2.0] * 49, read], carbon_outlet_total_chlorine_mg_per_l=0.0
    )
    stage = stage_of(carbon_input, fleet_columns)
    level = stage.readings.entering[-2]
    assert level == pytest.approx(2.0, rel=0.1)
    assert stage.readings.entering[-1] == pytest.approx(entering, rel=0.25)
    dry = {**fleet_columns, "readings": readings(
        days, feed_total_chlorine_mg_per_l=0.0, carbon_outlet_total_chlorine_mg_per_l=0.0)}  # fmt: skip
    assert stage_of(carbon_input, dry).readings.entering == pytest.approx(np.full(50, 0.05))


def test_what_enters_too_cleanly_to_be_read_counts_as_the_least_that_is():
    """Of a feed without chlorine 0.05 mg/L, of which 0.02 may pass: two fifths. Of a permeate of a tenth of a mg/L
    0.3, of which 0.15 may pass: a half."""
    fleet_columns = quality()
    days = NOW - np.arange(100.0, 0.0, -2.0)
    fleet_columns["readings"] = readings(
        days, feed_total_chlorine_mg_per_l=0.0, carbon_outlet_total_chlorine_mg_per_l=0.0, feed_tds_mg_per_l=2.5,
        product_tds_mg_per_l=0.0,
    )  # fmt: skip
    carbon = stage_of(carbon_input, fleet_columns, replace(HOUSE, chlorine_mg_per_l=0.02))
    assert carbon.limit == pytest.approx([0.4])
    resin = stage_of(resin_input, fleet_columns, replace(HOUSE, product_tds_mg_per_l=0.15))
    assert resin.limit == pytest.approx([0.5])
    assert resin.readings.entering == pytest.approx(np.full(50, 0.3))


@pytest.mark.parametrize(("shown", "clean"), [(-6.0, 4.0), (9.0, 9.0), (20.0, 20.0), (33.0, 33.0)])
def test_a_clean_filter_takes_four_kpa_at_least(shown, clean):
    """By forty readings of the first weeks of a unit; a gauge that reads a little less before it than behind is off.
    The usual water of a unit that is read in one season is thought a little cooler than what was read."""
    fleet_columns = columns(placed=NOW - 41.0, weekly_demand_l=7.0)
    fleet_columns["readings"] = readings(
        NOW - np.arange(40.0, 0.0, -1.0), line_pressure_kpa=400.0, prefilter_outlet_pressure_kpa=400.0 - shown,
        temperature_degc=25.0, permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=600.0,
    )  # fmt: skip
    assert stage_of(sediment_input, fleet_columns).readings.entering[0] == pytest.approx(clean, abs=1.2, rel=0.05)


def clean_of(first_kpa, *, age=20.0, used_litres_a_day=1.0):
    """What a clean filter is thought to take, by two readings that show so much so many days after a change."""
    fleet_columns = columns(placed=NOW - 200.0, weekly_demand_l=7.0 * used_litres_a_day)
    fleet_columns["readings"] = readings(
        NOW - 200.0 + age + np.array([0.0, 1.0]),
        line_pressure_kpa=400.0, prefilter_outlet_pressure_kpa=400.0 - first_kpa, temperature_degc=25.0,
        permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=600.0,
    )  # fmt: skip
    return stage_of(sediment_input, fleet_columns).readings.entering[0]


@pytest.mark.parametrize(("first_kpa", "is_clean"), [(33.0, True), (36.0, False)])
def test_a_filter_that_starts_above_35_kpa_was_not_fresh(first_kpa, is_clean):
    assert (clean_of(first_kpa) > 15.0) == is_clean
    assert clean_of(60.0) == pytest.approx(14.0)


@pytest.mark.parametrize(("age", "is_clean"), [(58.5, True), (60.5, False)])
def test_a_filter_is_clean_for_two_months_where_little_is_drawn(age, is_clean):
    assert (clean_of(25.0, age=age) > 15.0) == is_clean


@pytest.mark.parametrize(("litres", "is_clean"), [(18.5, True), (21.5, False)])
def test_a_filter_is_clean_up_to_eight_hundredths_of_its_label(litres, is_clean):
    """Four litres of feed for one of product: 1600 of 20 000 L after 20 days of 80 L."""
    assert (clean_of(25.0, used_litres_a_day=litres) > 15.0) == is_clean


@pytest.mark.parametrize(("slow", "ratio"), [(0.5, 0.5), (0.45, 0.45), (0.3, 0.4), (0.1, 0.4), (1.9, 1.9), (3.0, 2.0)])
def test_a_flow_far_from_the_usual_one_is_thought_a_slip(slow, ratio):
    """From two fifths of the usual flow of its unit to twice of it: the drop goes with the flow."""
    fleet_columns = pressures(400.0, 30.0)
    fleet_columns["readings"]["permeate_flow_l_per_day"] = [200.0, 200.0, 200.0, 200.0 * slow]
    fleet_columns["readings"]["concentrate_flow_l_per_day"] = [600.0, 600.0, 600.0, 600.0 * slow]
    fleet, _ = build_fleet(**fleet_columns)
    conditions = build_conditions(fleet, fleet.readings)
    shown = sediment_input(fleet, fleet.readings, conditions, limits_of_fleet(fleet)).readings.between
    assert shown[2] / shown[3] == pytest.approx(ratio)


def test_without_a_line_pressure_its_usual_one_sets_the_limit():
    """400 kPa: behind a filter of 14 there are 386, of which what stands above 344.7 may be lost."""
    fleet_columns = columns(placed=NOW - 110.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(DAYS, prefilter_outlet_pressure_kpa=[386.0, 384.0, 380.0, 370.0])
    stage = stage_of(sediment_input, fleet_columns)
    clean = stage.readings.entering[0]
    assert stage.readings.resolution[0] == pytest.approx(400.0 - clean - 344.74, abs=0.05)


@pytest.mark.parametrize(("apart_days", "pairs"), [(8.9, 11), (9.1, 0)])
def test_two_differentials_of_nine_days_are_a_pair(apart_days, pairs):
    """30 pairs count as much as what is usual, on the logarithm; those of one filter only."""
    segment = np.repeat([0, 1], 12)
    day = np.tile(apart_days * np.arange(12.0), 2)
    differential = np.tile([20.0, 26.0], 12)
    noise = _differential_noise(Pool(), segment[:12], day[:12], differential[:12])
    measured, share = 6.0 / (0.6745 * np.sqrt(2.0)), pairs / (pairs + 30.0)
    assert noise == pytest.approx(measured**share * 9.0 ** (1.0 - share))
    both = _differential_noise(Pool(), segment, day, differential)
    share = 2 * pairs / (2 * pairs + 30.0)
    assert both == pytest.approx(measured**share * 9.0 ** (1.0 - share))
    # of gauges that never differ a kPa is believed
    still = _differential_noise(Pool(), segment, day, np.full(24, 20.0))
    assert still == pytest.approx(9.0 ** (1.0 - share))


def test_labels_of_items_that_say_none_are_the_median_of_those_that_do():
    fleet_columns = columns(units=3, placed=NOW - 110.0)
    items = fleet_columns["items"]
    for name, values in items.items():
        values += [{"item_id": f"sediment {k}", "stage": "sediment"}.get(name) for k in range(2)]
    items["rated_volume_l"] = [10_000.0, None, None, None, 30_000.0, None]
    table = fleet_columns["placements"]
    for unit, item in (("u1", "sediment 0"), ("u2", "sediment 1")):
        table["item_id"][table["position_id"].index(f"{unit}/sediment/single")] = item
    assert stage_of(sediment_input, fleet_columns).label.tolist() == [10_000.0, 30_000.0, 20_000.0]
    items["rated_volume_l"] = [None] * 6
    assert stage_of(sediment_input, fleet_columns).label.tolist() == [20_000.0] * 3
    table["item_id"] = [None] * len(table["item_id"])
    fleet_columns["items"] = {}
    assert stage_of(sediment_input, fleet_columns).label.tolist() == [20_000.0] * 3


def test_label_and_load_of_a_place_are_logarithms_about_the_fleets_middle_and_end_at_a_factor_of_twenty():
    fleet_columns = columns(units=3, placed=NOW - 400.0)
    fleet_columns["units"]["weekly_demand_l"] = [70.0, 140.0, 70.0 * 1e4]
    of_load = stage_of(sediment_input, fleet_columns).places.covariates[:, 3]
    assert of_load == pytest.approx([-np.log(2.0), 0.0, 3.0], abs=1e-6)
    assert stage_of(sediment_input, fleet_columns).places.covariates[:, 2] == pytest.approx(np.zeros(3))
