"""Indicators of many readings at once: equal to the single formulas, silent on bad readings, never without a reason."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fleet.engineering import indicators as room
from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas import mass_balance, normalisation, sediment
from fleet.engineering.formulas.expected_flow import MembraneRating, expected_permeate_flow_l_per_day
from fleet.engineering.formulas.temperature_correction import water_tcf
from fleet.engineering.indicators import INDICATORS, QUANTITIES, indicators, reasons
from fleet.engineering.indicators.words import WORDS, in_words

NAN = math.nan

WHOLE = {
    "line_pressure_kpa": 420.0,
    "prefilter_outlet_pressure_kpa": 395.0,
    "inlet_pressure_kpa": 392.0,
    "tank_pressure_kpa": NAN,
    "temperature_degc": 12.0,
    "feed_tds_mg_per_l": 350.0,
    "permeate_tds_mg_per_l": 12.0,
    "permeate_tds_at_start_mg_per_l": 60.0,
    "interstage_tds_mg_per_l": 6.0,
    "product_tds_mg_per_l": 0.0,
    "concentrate_tds_mg_per_l": 434.5,
    "permeate_flow_l_per_day": 150.0,
    "concentrate_flow_l_per_day": 600.0,
    "feed_free_chlorine_mg_per_l": 0.2,
    "feed_total_chlorine_mg_per_l": 2.0,
    "interstage_chlorine_mg_per_l": 0.5,
    "carbon_outlet_free_chlorine_mg_per_l": 0.0,
    "carbon_outlet_total_chlorine_mg_per_l": 0.1,
    "minutes_since_start": 20.0,
    "state": "flowing",
    "tank_valve": "closed",
    "sampled_after_flush": True,
}
UNIT = room.UnitContext(
    baseline_normalised_flow_l_per_day=250.0,
    baseline_normalised_salt_passage_fraction=0.03,
    rated_flow_l_per_day=284.0,
    rated_pressure_kpa=345.0,
    rated_temperature_degc=25.0,
    rated_tds_mg_per_l=250.0,
    rated_recovery_fraction=0.15,
    reference_feed_flow_l_per_day=1000.0,
)


def one(unit: room.UnitContext = UNIT, **changes: object) -> room.Indicators:
    return room.indicators({name: [value] for name, value in {**WHOLE, **changes}.items()}, unit)


def test_each_indicator_equals_its_formula() -> None:
    values, missing = one().row(0)
    point = normalisation.OperatingPoint(392.0, 350.0, 12.0, 0.2, 12.0)
    standard = UNIT.standard_point()
    assert missing == {}
    assert values["rejection_fraction"] == pytest.approx(1.0 - 12.0 / 350.0)
    assert values["salt_passage_fraction"] == pytest.approx(12.0 / 350.0)
    assert values["recovery_fraction"] == pytest.approx(0.2)
    assert values["waste_ratio"] == pytest.approx(4.0)
    assert values["net_driving_pressure_kpa"] == pytest.approx(normalisation.net_driving_pressure_kpa(point))
    pressures = {
        "net_driving_pressure_kpa": normalisation.net_driving_pressure_kpa(point),
        "standard_net_driving_pressure_kpa": normalisation.net_driving_pressure_kpa(standard),
    }
    flow = normalisation.normalised_permeate_flow_l_per_day(
        150.0, **pressures, tcf=water_tcf(12.0), standard_tcf=water_tcf(25.0)
    )
    assert values["normalised_permeate_flow_l_per_day"] == pytest.approx(flow)
    assert values["normalised_flow_ratio"] == pytest.approx(flow / 250.0)
    passage = normalisation.normalised_salt_passage_fraction(
        12.0 / 350.0, **pressures, recovery_fraction=0.2, standard_recovery_fraction=0.2
    )
    assert values["normalised_salt_passage_fraction"] == pytest.approx(passage)
    assert values["normalised_salt_passage_ratio"] == pytest.approx(passage / 0.03)
    expected = expected_permeate_flow_l_per_day(
        MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.96),
        pressure_kpa=392.0,
        temperature_degc=12.0,
        tds_mg_per_l=350.0,
        recovery_fraction=0.2,
    )
    # The label's rejection puts 14 mg/L in the permeate, the reading has 12: 0.05 % of the driving pressure.
    assert values["flow_over_expected"] == pytest.approx(150.0 / expected, rel=1e-3)
    assert values["prefilter_differential_pressure_kpa"] == pytest.approx(25.0)
    assert values["normalised_prefilter_differential_pressure_kpa"] == pytest.approx(
        sediment.normalised_differential_pressure(25.0, flow=750.0, reference_flow=1000.0, temperature_degc=12.0)
    )
    assert values["lead_outlet_fraction"] == pytest.approx(0.5)
    assert values["product_fraction"] == 0.0
    assert values["carbon_removal_fraction"] == pytest.approx(0.95)
    assert values["lead_carbon_removal_fraction"] == pytest.approx(0.75)
    assert values["salt_balance_closure_fraction"] == pytest.approx(
        mass_balance.salt_balance_closure_fraction(
            feed_flow=750.0,
            feed_tds_mg_per_l=350.0,
            permeate_flow=150.0,
            permeate_tds_mg_per_l=12.0,
            concentrate_flow=600.0,
            concentrate_tds_mg_per_l=434.5,
        )
    )
    assert values["creep_ratio"] == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("indicator", "changes", "code"),
    [
        ("rejection_fraction", {"feed_tds_mg_per_l": NAN}, "feed_tds_missing"),
        ("rejection_fraction", {"permeate_tds_mg_per_l": NAN}, "permeate_tds_missing"),
        ("rejection_fraction", {"feed_tds_mg_per_l": 0.0, "permeate_tds_mg_per_l": 0.0}, "feed_tds_zero"),
        ("rejection_fraction", {"feed_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 350.0}, "permeate_above_feed"),
        ("rejection_fraction", {"sampled_after_flush": False}, "sample_not_flushed"),
        ("rejection_fraction", {"feed_tds_mg_per_l": -3.0}, "out_of_range"),
        ("rejection_fraction", {"feed_tds_mg_per_l": math.inf}, "out_of_range"),
        ("recovery_fraction", {"permeate_flow_l_per_day": NAN}, "permeate_flow_missing"),
        ("recovery_fraction", {"concentrate_flow_l_per_day": NAN}, "concentrate_flow_missing"),
        ("recovery_fraction", {"permeate_flow_l_per_day": 0.0, "concentrate_flow_l_per_day": 0.0}, "no_flow"),
        ("recovery_fraction", {"state": "static"}, "not_flowing"),
        ("waste_ratio", {"permeate_flow_l_per_day": 0.0}, "no_permeate_flow"),
        ("net_driving_pressure_kpa", {"temperature_degc": NAN}, "temperature_missing"),
        ("net_driving_pressure_kpa", {"temperature_degc": 70.0}, "out_of_range"),
        (
            "net_driving_pressure_kpa",
            {"inlet_pressure_kpa": NAN, "prefilter_outlet_pressure_kpa": NAN},
            "inlet_pressure_missing",
        ),
        ("net_driving_pressure_kpa", {"inlet_pressure_kpa": 10.0}, "no_driving_pressure"),
        ("normalised_permeate_flow_l_per_day", {"inlet_pressure_kpa": 10.0}, "no_driving_pressure"),
        ("normalised_salt_passage_fraction", {"feed_tds_mg_per_l": NAN}, "feed_tds_missing"),
        ("prefilter_differential_pressure_kpa", {"line_pressure_kpa": NAN}, "line_pressure_missing"),
        (
            "prefilter_differential_pressure_kpa",
            {"prefilter_outlet_pressure_kpa": NAN, "inlet_pressure_kpa": NAN},
            "prefilter_outlet_missing",
        ),
        ("prefilter_differential_pressure_kpa", {"prefilter_outlet_pressure_kpa": 500.0}, "outlet_above_inlet"),
        ("prefilter_differential_pressure_kpa", {"state": "static"}, "not_flowing"),
        ("normalised_prefilter_differential_pressure_kpa", {"temperature_degc": NAN}, "temperature_missing"),
        ("lead_outlet_fraction", {"interstage_tds_mg_per_l": NAN}, "interstage_tds_missing"),
        ("lead_outlet_fraction", {"permeate_tds_mg_per_l": 2.0}, "permeate_below_resolution"),
        ("product_fraction", {"product_tds_mg_per_l": NAN}, "product_tds_missing"),
        ("carbon_removal_fraction", {"carbon_outlet_total_chlorine_mg_per_l": 3.0}, "chlorine_after_above_before"),
        (
            "carbon_removal_fraction",
            {"carbon_outlet_total_chlorine_mg_per_l": NAN, "carbon_outlet_free_chlorine_mg_per_l": NAN},
            "chlorine_after_missing",
        ),
        (
            "carbon_removal_fraction",
            {"feed_total_chlorine_mg_per_l": 0.05, "carbon_outlet_total_chlorine_mg_per_l": 0.0},
            "no_chlorine_before",
        ),
        ("salt_balance_closure_fraction", {"concentrate_tds_mg_per_l": NAN}, "concentrate_tds_missing"),
        ("creep_ratio", {"permeate_tds_at_start_mg_per_l": NAN}, "start_tds_missing"),
    ],
)
def test_what_cannot_be_had_says_why(indicator: str, changes: dict[str, object], code: str) -> None:
    computed = one(**changes)
    assert np.isnan(computed.values[indicator][0])
    assert computed.reason_code(indicator, 0) == code
    assert reasons.sentence(code).endswith(".")


@pytest.mark.parametrize(
    ("unit", "changes", "indicator", "code"),
    [
        (room.UnitContext(), {}, "normalised_flow_ratio", "baseline_missing"),
        (room.UnitContext(), {}, "flow_over_expected", "rating_missing"),
        (room.UnitContext(), {}, "normalised_prefilter_differential_pressure_kpa", "reference_flow_missing"),
        (
            room.UnitContext(has_booster_pump=True),
            {"prefilter_outlet_pressure_kpa": NAN},
            "prefilter_differential_pressure_kpa",
            "pump_in_between",
        ),
        (
            room.UnitContext(has_pressurised_tank=True),
            {"tank_valve": "open"},
            "net_driving_pressure_kpa",
            "tank_pressure_missing",
        ),
    ],
)
def test_what_the_unit_does_not_offer_says_why(
    unit: room.UnitContext, changes: dict[str, object], indicator: str, code: str
) -> None:
    assert one(unit, **changes).reason_code(indicator, 0) == code


@pytest.mark.parametrize(
    ("unit", "changes", "code"),
    [
        (UNIT, {}, ""),
        (UNIT, {"minutes_since_start": NAN}, ""),
        (UNIT, {"minutes_since_start": 4.9}, "too_soon_after_start"),
        (UNIT, {"minutes_since_start": 5.0}, ""),
        (UNIT, {"state": "static"}, "not_flowing"),
        (UNIT, {"sampled_after_flush": False}, "sample_not_flushed"),
        (UNIT, {"sampled_after_flush": None}, ""),
        (UNIT, {"permeate_tds_mg_per_l": 400.0}, "permeate_above_feed"),
        (UNIT, {"concentrate_tds_mg_per_l": 700.0}, "salt_balance_open"),
        (room.UnitContext(has_pressurised_tank=True), {"tank_valve": "open"}, "tank_state_unknown"),
        (room.UnitContext(has_pressurised_tank=True), {"tank_valve": ""}, "tank_state_unknown"),
        (room.UnitContext(has_pressurised_tank=True), {"tank_valve": "closed"}, ""),
        (room.UnitContext(has_pressurised_tank=True), {"tank_valve": "open", "tank_pressure_kpa": 150.0}, ""),
    ],
)
def test_which_readings_may_enter_a_trend(unit: room.UnitContext, changes: dict[str, object], code: str) -> None:
    computed = one(unit, **changes)
    assert computed.trend_reason_code(0) == code
    assert bool(computed.valid_for_trend[0]) is (code == "")


def test_a_tank_that_pushes_back_lowers_the_driving_pressure_by_its_pressure() -> None:
    unit = room.UnitContext(has_pressurised_tank=True)
    closed = one(unit, tank_valve="closed", tank_pressure_kpa=150.0)
    opened = one(unit, tank_valve="open", tank_pressure_kpa=150.0)
    name = "net_driving_pressure_kpa"
    assert closed.values[name][0] - opened.values[name][0] == pytest.approx(150.0)


def test_a_missing_recovery_is_taken_from_the_design_and_marked() -> None:
    computed = one(concentrate_flow_l_per_day=NAN)
    assert bool(computed.assumed["recovery"][0])
    assert computed.values["net_driving_pressure_kpa"][0] == pytest.approx(
        one().values["net_driving_pressure_kpa"][0], rel=0.01
    )


def test_one_bad_reading_leaves_the_others_alone() -> None:
    columns = {name: [value] * 3 for name, value in WHOLE.items()}
    for name in ("feed_tds_mg_per_l", "permeate_flow_l_per_day", "inlet_pressure_kpa", "temperature_degc"):
        columns[name] = [WHOLE[name], -1.0e9, WHOLE[name]]
    computed = room.indicators(columns, UNIT)
    alone, _ = one().row(0)
    for row in (0, 2):
        values, _ = computed.row(row)
        assert values == pytest.approx(alone)


def test_every_missing_value_has_a_reason_and_every_value_has_none() -> None:
    rng = np.random.default_rng(7)
    rows = 4000
    columns: dict[str, object] = {}
    for name in room.QUANTITIES:
        column = rng.uniform(-50.0, 900.0, rows)
        column[rng.random(rows) < 0.2] = np.nan
        columns[name] = column
    columns["state"] = rng.choice(["flowing", "static", ""], rows)
    columns["tank_valve"] = rng.choice(["open", "closed", ""], rows)
    columns["sampled_after_flush"] = rng.choice(np.array([True, False, None], dtype=object), rows)
    unit = room.UnitContext(
        has_pressurised_tank=rng.random(rows) < 0.5,
        has_booster_pump=rng.random(rows) < 0.5,
        baseline_normalised_flow_l_per_day=np.where(rng.random(rows) < 0.5, np.nan, 200.0),
        rated_flow_l_per_day=284.0,
        rated_pressure_kpa=np.where(rng.random(rows) < 0.1, 1.0, 345.0),
        rated_temperature_degc=25.0,
        rated_tds_mg_per_l=250.0,
        rated_recovery_fraction=0.15,
    )
    computed = room.indicators(columns, unit)
    for name in room.INDICATORS:
        is_present = ~np.isnan(computed.values[name])
        assert np.array_equal(is_present, computed.reason_numbers[name] == 0), name
        assert np.all(np.isfinite(computed.values[name][is_present])), name


def test_a_name_nobody_knows_and_columns_of_different_lengths_are_refused_by_name() -> None:
    with pytest.raises(EngineeringError, match="line_presure_kpa"):
        room.indicators({"line_presure_kpa": [1.0]})
    with pytest.raises(EngineeringError, match="lengths differ"):
        room.indicators({"line_pressure_kpa": [1.0], "inlet_pressure_kpa": [1.0, 2.0]})
    with pytest.raises(EngineeringError, match="has_booster_pump"):
        one(room.UnitContext(has_booster_pump=np.array([True, False, True])))


def test_a_baseline_is_the_median_of_the_first_valid_readings_after_running_in() -> None:
    days = np.array([0.2, 3.0, 10.0, 20.0, 40.0, 60.0, 2.0])
    values = np.array([300.0, 200.0, 210.0, 500.0, 190.0, 100.0, 7.0])
    valid = np.array([True, True, True, False, True, True, True])
    computed = room.baseline_of_groups([0, 0, 0, 0, 0, 0, 2], days, values, valid, groups=3)
    assert computed[0] == 200.0
    assert np.isnan(computed[1])
    assert computed[2] == 7.0


@pytest.mark.parametrize(
    ("name", "wrong"),
    [
        ("u_kelvin", -5.0),
        ("rated_temperature_degc", 400.0),
        ("rated_tds_mg_per_l", -1.0),
        ("rated_pressure_kpa", math.inf),
        ("rated_recovery_fraction", 1.5),
        ("rejection_fraction", 96.0),
        ("standard_temperature_degc", -20.0),
        ("standard_recovery_fraction", 1.0),
        ("design_recovery_fraction", 0.0),
    ],
)
def test_one_unit_with_a_wrong_entry_stops_no_other(name: str, wrong: float) -> None:
    columns = {key: [value] * 2 for key, value in WHOLE.items()}
    right = getattr(UNIT, name)
    usual = 3020.0 if np.isnan(right) else right
    computed = room.indicators(columns, replace(UNIT, **{name: np.array([usual, wrong])}))
    alone, _ = room.indicators({key: [value] for key, value in WHOLE.items()}, replace(UNIT, **{name: usual})).row(0)
    values, missing = computed.row(0)
    assert values == pytest.approx(alone)
    assert missing == {}


def test_every_indicator_has_a_sentence_for_the_installer_and_one_for_the_client() -> None:
    assert set(WORDS) == set(INDICATORS)
    for name in INDICATORS:
        words = in_words(name, "42 %")
        for sentence in (words.for_installer, words.for_client):
            assert sentence.count("42 %") == 1
            assert sentence.endswith(".")
        assert "TDS" not in words.for_client, f"{name}: a client sentence without jargon"
        assert words.for_installer != words.for_client


def test_a_million_readings_go_in_one_call() -> None:
    """Ten thousand different readings a hundred times over give the same answer each time."""
    rng = np.random.default_rng(3)
    few = {name: rng.uniform(5.0, 400.0, 10_000) for name in QUANTITIES}
    few["temperature_degc"] = rng.uniform(4.0, 28.0, 10_000)
    few["feed_tds_mg_per_l"][::7] = np.nan
    many = {name: np.tile(column, 100) for name, column in few.items()}
    one, all_of_them = indicators(few), indicators(many)
    assert len(all_of_them) == 1_000_000
    for name, column in one.values.items():
        np.testing.assert_array_equal(all_of_them.values[name][-10_000:], column)
