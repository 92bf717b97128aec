"""What goes through a unit, by hand: volumes, chlorine, salt and carbon dioxide, and when a load has passed."""

import numpy as np
import pytest

from fleet.engineering.formulas.temperature_correction import inverse_temperature_per_kelvin
from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.screen import screen
from fleet.forecasting.wear.conditions import build_conditions
from tests.fleet.forecasting.fleets import NOW, columns, readings

DAYS = NOW - np.arange(200.0, -1.0, -10.0)


def conditions_of(fleet_columns):
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return build_conditions(fleet, screen(fleet).readings)


def rate(conditions, stage, first=NOW - 150.0, last=NOW - 10.0):
    """Mean load a day of the only unit."""
    unit = np.array([0])
    start, end = (conditions.at(stage, unit, np.array([day]))[0] for day in (first, last))
    return (end - start) / (last - first)


def now(conditions, values):
    return values[0, conditions.timeline.step_of(np.array([NOW - 5.0]))[0]]


def test_told_demand_and_recovery_give_the_volumes():
    """70 L a week are 10 L a day of product; at a recovery of a quarter 40 L of feed."""
    conditions = conditions_of(columns(weekly_demand_l=70.0))
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(10.0)
    # design recovery holds at 15 degC, and where nothing was read the year is taken to swing about that
    assert rate(conditions, words.SEDIMENT, NOW - 365.25, NOW) == pytest.approx(40.0, rel=0.02)
    assert rate(conditions, words.MEMBRANE) == pytest.approx(1.0, rel=0.01)
    assert not conditions.is_idle[0]
    assert not conditions.is_metered[0]


@pytest.mark.parametrize(
    ("stream", "product"), [("feed", 10.0), ("permeate", 40.0), ("product", 40.0), ("concentrate", 40.0 / 3.0)]
)
def test_a_counter_of_40_litres_a_day_counts_more_than_what_was_told(stream, product):
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=7.0, totaliser=stream)
    fleet_columns["readings"] = readings(DAYS, totaliser_l=list(40.0 * (DAYS - DAYS[0])), temperature_degc=15.0)
    conditions = conditions_of(fleet_columns)
    assert conditions.is_metered[0]
    assert rate(conditions, words.SEDIMENT) == pytest.approx(4.0 * product, rel=0.01)
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(product, rel=0.02)


def test_between_two_counts_the_mean_rate_is_known_exactly():
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=700.0, totaliser="product")
    counts = np.where(DAYS < NOW - 100.0, 5.0 * (DAYS - DAYS[0]), 500.0 + 20.0 * (DAYS - NOW + 100.0))
    fleet_columns["readings"] = readings(DAYS, totaliser_l=list(counts), temperature_degc=15.0)
    conditions = conditions_of(fleet_columns)
    unit = np.array([0])
    passed = [conditions.at(words.RESIN, unit, np.array([NOW - day]))[0] for day in (190.0, 110.0, 90.0, 10.0)]
    early, late = (passed[1] - passed[0]) / 80.0, (passed[3] - passed[2]) / 80.0
    assert late / early == pytest.approx(4.0, rel=0.05)


@pytest.mark.parametrize("weekly", [70.0, 0.0])
def test_a_counter_that_stands_still_shows_that_nothing_is_drawn(weekly):
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=weekly, totaliser="product")
    fleet_columns["readings"] = readings(DAYS, totaliser_l=1234.0)
    conditions = conditions_of(fleet_columns)
    assert conditions.is_idle[0]
    assert conditions.day_when(words.RESIN, np.array([0]), np.array([[1e9]]))[0, 0] == np.inf


def test_a_counter_that_runs_says_so_where_no_demand_was_told():
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=0.0, totaliser="product")
    fleet_columns["readings"] = readings(DAYS, totaliser_l=list(6.0 * (DAYS - DAYS[0])))
    conditions = conditions_of(fleet_columns)
    assert not conditions.is_idle[0]
    assert now(conditions, conditions.product_l_per_day) == pytest.approx(6.0, rel=0.02)


def test_loads_of_carbon_and_resin_by_hand():
    """40 L of feed a day with 2 mg/L of chlorine bring 80 mg. 10 L of permeate with 11.6886 mg/L as NaCl bring
    10 x 11.6886/58.443 = 2 meq, and x mg/L of carbon dioxide 10 x/44.01 more."""
    fleet_columns = columns(placed=NOW - 250.0, weekly_demand_l=70.0)
    fleet_columns["readings"] = readings(
        DAYS, temperature_degc=15.0, feed_total_chlorine_mg_per_l=2.0, feed_tds_mg_per_l=250.0,
        permeate_tds_mg_per_l=11.6886, permeate_flow_l_per_day=200.0, concentrate_flow_l_per_day=600.0,
    )  # fmt: skip
    conditions = conditions_of(fleet_columns)
    assert now(conditions, conditions.temperature_degc) == pytest.approx(15.0, abs=0.6)
    assert now(conditions, conditions.feed_tds_mg_per_l) == pytest.approx(250.0, rel=0.01)
    assert now(conditions, conditions.recovery) == pytest.approx(0.25, abs=0.006)
    assert rate(conditions, words.CARBON) == pytest.approx(80.0, rel=0.06)
    gas = now(conditions, conditions.co2_mg_per_l)
    assert rate(conditions, words.RESIN) == pytest.approx(2.0 + 10.0 * gas / 44.01, rel=0.05)


def test_a_restrictor_and_a_label_stand_for_flows_that_nobody_read():
    """The label's 284 L/day give 0.65 x 284 = 184.6 in service; with 553.8 to the drain that is a quarter."""
    conditions = conditions_of(columns(recovery_fraction=None, restrictor_flow_l_per_day=553.8))
    year = conditions.recovery[0, : int(365.25 / 14)]
    assert year.mean() == pytest.approx(0.25, abs=0.005)


def test_warm_water_passes_more_permeate_and_hardly_more_concentrate():
    """2800 K: from 15 to 25 degC the permeate rises by exp(2800 x 0.000116397) = 1.385, so odds of 1:3 become 0.4618
    and a recovery of 0.25 becomes 0.316."""
    assert float(inverse_temperature_per_kelvin(15.0)) == pytest.approx(-1.16397e-4, rel=1e-4)
    fleet_columns = columns(placed=NOW - 250.0)
    fleet_columns["readings"] = readings(DAYS, temperature_degc=25.0)
    conditions = conditions_of(fleet_columns)
    assert now(conditions, conditions.temperature_degc) == pytest.approx(25.0, abs=0.8)
    warmth = conditions.temperature_degc[0]
    expected = 1.0 / (1.0 + 3.0 * np.exp(-2800.0 * (inverse_temperature_per_kelvin(warmth) + 1.16397e-4)))
    assert conditions.recovery[0] == pytest.approx(expected, rel=1e-3)


def test_a_report_of_the_water_counts_like_a_reading():
    fleet_columns = columns(weekly_demand_l=70.0)
    fleet_columns["feed_water"] = {
        "site_id": ["s-u0"] * 8,
        "day": list(NOW - np.arange(8.0)),
        "tds_mg_per_l": [500.0] * 8,
        "ph": [6.5] * 8,
        "alkalinity_mg_per_l_as_caco3": [200.0] * 8,
        "total_chlorine_mg_per_l": [3.0] * 8,
    }
    conditions = conditions_of(fleet_columns)
    assert now(conditions, conditions.feed_tds_mg_per_l) == pytest.approx(500.0, rel=0.12)
    assert now(conditions, conditions.chlorine_mg_per_l) == pytest.approx(3.0, rel=0.25)
    plain = conditions_of(columns(weekly_demand_l=70.0))
    # pH 6.5 and twice the alkalinity: pH 7.6 would have 12.6 times less carbon dioxide for each mg/L of alkalinity
    assert now(conditions, conditions.co2_mg_per_l) > 10.0 * now(plain, plain.co2_mg_per_l)


@pytest.mark.parametrize("source", ["feed_water", "readings"])
def test_chlorine_that_no_kit_shows_counts_as_the_least_that_one_shows(source):
    """0.02 mg/L, of readings and of reports alike: none at all would be a logarithm without an end."""

    def level(chlorine):
        fleet_columns, days = columns(weekly_demand_l=70.0), NOW - np.arange(8.0)
        if source == "readings":
            fleet_columns["readings"] = readings(days, feed_total_chlorine_mg_per_l=chlorine)
        else:
            report = {"tds_mg_per_l": 200.0, "ph": 7.5, "alkalinity_mg_per_l_as_caco3": 100.0}
            report["total_chlorine_mg_per_l"] = chlorine
            fleet_columns["feed_water"] = {
                "site_id": ["s-u0"] * 8, "day": list(days), **{name: [value] * 8 for name, value in report.items()}
            }  # fmt: skip
        conditions = conditions_of(fleet_columns)
        return now(conditions, conditions.chlorine_mg_per_l)

    assert level(0.0) == pytest.approx(level(0.02)) == pytest.approx(level(0.015))
    assert level(0.025) > 1.05 * level(0.02)


def test_loads_go_on_beyond_both_ends_and_come_back_as_days():
    conditions = conditions_of(columns(units=2, weekly_demand_l=70.0))
    line = conditions.timeline
    unit = np.array([0, 1])
    end = line.start + line.step_days * line.count
    far = np.array([end + 1000.0, end + 2000.0])
    load = conditions.at(words.SEDIMENT, unit, far)
    last_year = conditions.at(words.SEDIMENT, unit, np.full(2, end)) - conditions.at(
        words.SEDIMENT, unit, np.full(2, end - 26 * 14.0)
    )
    assert load[1] - load[0] == pytest.approx(last_year[0] / (26 * 14.0) * 1000.0, rel=1e-6)
    assert conditions.day_when(words.SEDIMENT, unit, load[:, None])[:, 0] == pytest.approx(far)
    assert (conditions.at(words.SEDIMENT, unit, np.full(2, line.start - 50.0)) == 0.0).all()
    assert conditions.day_when(words.SEDIMENT, unit, np.zeros((2, 1)))[:, 0] == pytest.approx(line.start)


def test_nothing_drawn_reaches_no_load_and_has_none():
    conditions = conditions_of(columns(weekly_demand_l=0.0))
    assert conditions.is_idle[0]
    answer = conditions.day_when(words.SEDIMENT, np.array([0]), np.array([[0.0, 1.0]]))[0]
    assert np.isfinite(answer[0])
    assert answer[1] == np.inf
    assert rate(conditions, words.MEMBRANE) == 0.0


def test_the_timeline_starts_before_the_first_cartridge_and_a_clock_error_does_not_stretch_it():
    old = conditions_of(columns(placed=NOW - 3000.0)).timeline
    assert old.start == pytest.approx(NOW - 3000.0 - 14.0)
    wrong = conditions_of(columns(placed=NOW - 19_000.0)).timeline
    assert wrong.start == pytest.approx(NOW - 15 * 365.25 - 14.0)
    young = conditions_of(columns(placed=NOW - 10.0)).timeline
    assert young.start == pytest.approx(NOW - 365.25 - 14.0)
    for line in (old, wrong, young):
        assert NOW + 2.5 * 365.25 <= line.edges[-1] < NOW + 2.5 * 365.25 + 14.0
