"""Readings that cannot be believed are left out, each with its reason; those that can stay."""

import numpy as np
import pytest

from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.inputs.screen import screen
from tests.fleet.forecasting.fleets import NOW, columns, readings

DAYS = NOW - 90.0 + 10.0 * np.arange(9)


def screened(reading_columns, **unit_columns):
    fleet_columns = columns(**unit_columns)
    fleet, faults = build_fleet(**fleet_columns, readings=reading_columns)
    assert faults == []
    answer = screen(fleet)
    exclusions = {
        (
            float(fleet.readings.day[row]),
            words.QUANTITIES[quantity] if quantity >= 0 else "",
            words.EXCLUSION_REASONS[reason],
        )
        for row, quantity, reason in zip(
            answer.exclusions.reading_index, answer.exclusions.quantity, answer.exclusions.reason, strict=True
        )
    }
    return answer, exclusions


def with_one(value, good, at=4):
    values = [good] * len(DAYS)
    values[at] = value
    return values


def test_clean_readings_stay():
    _, exclusions = screened(
        readings(
            DAYS, feed_tds_mg_per_l=250.0, permeate_tds_mg_per_l=9.0, line_pressure_kpa=410.0, temperature_degc=12.0
        )
    )
    assert exclusions == set()


@pytest.mark.parametrize(
    ("name", "good", "bad", "reason"),
    [
        ("feed_tds_mg_per_l", 250.0, 2500.0, "factor_of_ten"),
        ("feed_tds_mg_per_l", 250.0, 25.0, "factor_of_ten"),
        ("line_pressure_kpa", 410.0, 59.5, "wrong_unit"),  # psi where kPa was meant
        ("line_pressure_kpa", 410.0, 4.1, "wrong_unit"),  # bar
        ("temperature_degc", 12.0, 53.6, "wrong_unit"),  # Fahrenheit
        ("temperature_degc", 12.0, -3.0, "impossible_value"),
        ("permeate_flow_l_per_day", 200.0, 2000.0, "factor_of_ten"),
        ("feed_total_chlorine_mg_per_l", 1.0, -1.0, "impossible_value"),
    ],
)
def test_a_single_slip_is_named(name, good, bad, reason):
    _, exclusions = screened(readings(DAYS, **{name: with_one(bad, good)}))
    assert exclusions == {(DAYS[4], name, reason)}


def test_feed_and_permeate_transposed():
    _, exclusions = screened(
        readings(DAYS, feed_tds_mg_per_l=with_one(9.0, 250.0), permeate_tds_mg_per_l=with_one(250.0, 9.0))
    )
    assert exclusions == {
        (DAYS[4], "feed_tds_mg_per_l", "transposed"),
        (DAYS[4], "permeate_tds_mg_per_l", "transposed"),
    }


def test_a_lasting_change_of_level_is_not_a_slip():
    values = [250.0] * 4 + [700.0] * 5
    _, exclusions = screened(readings(DAYS, feed_tds_mg_per_l=values))
    assert exclusions == set()


def test_first_minutes_count_for_pressure_but_not_for_quality():
    answer, exclusions = screened(
        readings(
            DAYS[:2],
            minutes_since_start=[1.0, 12.0],
            permeate_tds_mg_per_l=[80.0, 9.0],
            product_tds_mg_per_l=[4.0, 0.0],
            line_pressure_kpa=410.0,
        )
    )
    assert exclusions == {
        (DAYS[0], "permeate_tds_mg_per_l", "first_minutes"),
        (DAYS[0], "product_tds_mg_per_l", "first_minutes"),
    }
    assert np.isfinite(answer.readings.line_pressure_kpa).all()


def test_a_static_gauge_shows_no_differential_pressure():
    _, exclusions = screened(
        readings(DAYS[:1], state="static", line_pressure_kpa=410.0, prefilter_outlet_pressure_kpa=410.0)
    )
    assert exclusions == {(DAYS[0], "prefilter_outlet_pressure_kpa", "static")}


def test_a_clock_in_the_future_or_before_commissioning_drops_the_reading():
    _, exclusions = screened(
        readings([NOW + 30.0, NOW - 500.0, NOW - 5.0], feed_tds_mg_per_l=250.0), commissioned_day=NOW - 400.0
    )
    assert exclusions == {(NOW + 30.0, "", "clock_in_future"), (NOW - 500.0, "", "before_commissioning")}


def test_a_clock_that_was_reset_is_seen_without_a_day_of_commissioning():
    long_ago = 10_957.0  # 2000-01-01
    _, exclusions = screened(readings([long_ago, NOW - 500.0], feed_tds_mg_per_l=250.0), commissioned_day=np.nan)
    assert exclusions == {(long_ago, "", "before_commissioning")}


def test_counter_slips_are_told_from_a_reset():
    counts = [1000.0 + 100.0 * number for number in range(9)]
    counts[4] = 14_000.0
    counts[6] = 160.0
    _, exclusions = screened(readings(DAYS, totaliser_l=counts), totaliser="permeate")
    assert exclusions == {
        (DAYS[4], "totaliser_l", "totaliser_jump"),
        (DAYS[6], "totaliser_l", "totaliser_backwards"),
    }
    reset = [1000.0, 1100.0, 1200.0, 1300.0, 5.0, 105.0, 205.0, 305.0, 405.0]
    _, exclusions = screened(readings(DAYS, totaliser_l=reset), totaliser="permeate")
    assert exclusions == set()
