"""Where rules begin to speak, in the figures of the field, and on which side the place itself lies.

`test_limits.py` moves with the limits; here they stand still. Each figure is common practice without a source, unless
its rule names one; psi are 6.895 kPa.
"""

import math

import pytest

from fleet.engineering.diagnosis import PatternLimits, diagnose
from fleet.engineering.limits import HOUSE, Limits
from tests.fleet.engineering.diagnosis.test_limits import (
    AT_25,
    CHLORINE,
    DRAIN,
    FLOW,
    FLOW_STEP,
    FREE,
    GAUGED,
    JUMP,
    LEAD,
    MADE,
    NEW_WATER,
    NO_BASELINES,
    NO_DRAIN,
    OLD,
    ONE_GAUGE,
    OXIDISED,
    PASSAGE,
    PERMEATE,
    PRODUCT,
    STEP,
    TANK,
    WARM,
    WEAK,
    Changes,
    behind,
)
from tests.fleet.engineering.diagnosis.test_rules import HEALTHY, UNREAD_RESIN

PSI = 6.894757


def speaks(rule: str, changes: Changes, limits: Limits = HOUSE, **pattern_limits: float) -> bool:
    matches = diagnose({**HEALTHY, **changes}, limits=limits, pattern_limits=PatternLimits(**pattern_limits))
    return rule in {match.id for match in matches}


# rule, fact, where it is silent and where it speaks, over the healthy unit and these
PLACES: list[tuple[str, str, float, float, Changes]] = [
    # a line that has lost 10 psi, or leaves the membrane less than 50 behind prefilters that take 3, or less than
    # the demand asks for; a pump that adds less than 10, or gives more than 125
    ("D02", "line_pressure_kpa", 414.0 - 9.9 * PSI, 414.0 - 10.1 * PSI, {GAUGED: 20.0}),
    ("D42", "line_pressure_kpa", 53.1 * PSI, 52.9 * PSI, {}),
    ("D42", "line_pressure_kpa", 220.8, 220.6, {"needed_inlet_pressure_kpa": 200.0}),
    # a demand that asks for more than the rule of thumb asks for a larger membrane
    ("D42", "line_pressure_kpa", 53.1 * PSI, 52.9 * PSI, {"needed_inlet_pressure_kpa": 500.0}),
    (
        "D03",
        "inlet_pressure_kpa",
        393.0 + 10.1 * PSI,
        393.0 + 9.9 * PSI,
        {"has_booster_pump": True, "baseline_inlet_pressure_kpa": None},
    ),
    ("D04", "inlet_pressure_kpa", 124.9 * PSI, 125.1 * PSI, {}),
    # below 30 psi no permeate is to be expected
    ("D28", "inlet_pressure_kpa", 29.9 * PSI, 30.1 * PSI, {MADE: 0.0}),
    # prefilters of which nothing is known are taken to lose 3 psi when clean, and a gauge is read to half a psi:
    # 15 % of the 300 - 20.68 kPa behind them are 41.90 kPa, and 3.45 more
    ("D01", GAUGED, 45.2, 45.5, {**AT_25, **behind(300.0), "clean_prefilter_differential_pressure_kpa": None}),
    # clean ones that lose 60 kPa are not past their limit at a seventh more: 1.15 x 60 + 3.45
    ("D01", GAUGED, 72.3, 72.6, {**AT_25, **behind(300.0), "clean_prefilter_differential_pressure_kpa": 60.0}),
    # clean ones take no more than 15 psi, whatever was read when they were fitted: 1.15 x 103.42 + 3.45
    ("D01", GAUGED, 122.0, 122.7, {**AT_25, **behind(300.0), "clean_prefilter_differential_pressure_kpa": 165.0}),
    # a membrane whose flow is steady within 7 % below and 10 % above, and twice the salt
    ("D05", FLOW, 0.925, 0.935, OXIDISED),
    ("D06", FLOW, 1.105, 1.095, {PASSAGE: 2.5, JUMP: 2.4}),
    ("D05", PASSAGE, 1.99, 2.01, {CHLORINE: 0.3}),
    ("D06", JUMP, 1.99, 2.01, {PASSAGE: 2.5}),
    ("D06", STEP, 1.49, 1.51, {}),
    ("D62", FLOW_STEP, 0.885, 0.875, {STEP: 2.0}),
    ("D06", "first_salt_passage_over_label", 2.49, 2.51, {}),
    # of 1200 days: 12 % more salt a year and a tenth beside it, through 0.75 of the water
    ("D10", PASSAGE, 0.99 * 1.10 * 1.12**3.2854 / 0.7, 1.01 * 1.10 * 1.12**3.2854 / 0.7, OLD),
    ("D10", FLOW, 1.01 * 0.92 * 0.94**3.2854, 0.99 * 0.92 * 0.94**3.2854, {**OLD, PASSAGE: 2.6}),
    # what a kit shows as a trace of free chlorine; a meter of whole milligrams on one cup
    ("D30", FREE, 0.051, 0.049, {CHLORINE: 0.5}),
    ("D17", "second_meter_tds_mg_per_l", 12.9, 13.1, {"first_meter_tds_mg_per_l": 10.0}),
    # half as much waste again, or two thirds of it
    ("D26", "waste_ratio", 5.95, 6.05, {DRAIN: 1100.0}),
    ("D25", "waste_ratio", 2.70, 2.66, NO_DRAIN),
    # an automatic valve closes at two thirds of the line
    ("D22", "tank_pressure_kpa", 277.0, 275.0, {**TANK, "tank_pressure_falls_with_feed_shut": True}),
    ("D36", "salt_balance_closure_fraction", 0.099, 0.101, {}),
    ("D41", "weeks_since_last_reading", 11.9, 12.1, {}),
    ("D56", "tank_pressure_kpa", 30.1, 29.9, {"slow_filling": True, "tank_precharge_kpa": 50.0}),
    ("D60", "resin_colour_changed_fraction", 0.74, 0.76, UNREAD_RESIN),
    ("D38", "minutes_since_start", 5.1, 4.9, {}),
    ("D37", "temperature_degc", 19.9, 20.1, WARM),
    ("D24", "temperature_degc", 10.1, 9.9, {"waste_ratio": 5.2}),
    # twice the feed flow, and so twice the differential pressure; half of it makes no filter clogged, and flows of
    # nothing, as a meter that was not there leaves them, are no baseline
    ("D01", GAUGED, 141.0, 141.7, {**AT_25, **behind(600.0), MADE: 200.0, DRAIN: 1800.0}),
    ("D01", GAUGED, 72.3, 72.5, {**AT_25, **behind(600.0), MADE: 100.0, DRAIN: 400.0}),
    (
        "D01",
        GAUGED,
        72.3,
        72.5,
        {
            **AT_25,
            **behind(600.0),
            "baseline_permeate_flow_l_per_day": 0.0,
            "baseline_concentrate_flow_l_per_day": 0.0,
        },
    ),
]


@pytest.mark.parametrize(
    ("rule", "fact", "silent", "loud", "given"), PLACES, ids=[f"{n} {row[0]} {row[1]}" for n, row in enumerate(PLACES)]
)
def test_a_rule_begins_to_speak_where_the_field_says(
    rule: str, fact: str, silent: float, loud: float, given: Changes
) -> None:
    assert not speaks(rule, {**given, fact: silent})
    assert speaks(rule, {**given, fact: loud})


HUNDRED: Changes = {"baseline_permeate_tds_mg_per_l": 100.0}
# Whole numbers and halves, so that what is compared is the very same number on both sides.
AT_THE_PLACE: list[tuple[str, Changes, dict[str, float], bool]] = [
    ("D25", {**NO_DRAIN, "waste_ratio": 2.0, "design_recovery_fraction": None}, {"ratio_low": 0.5}, False),
    (
        "D25",
        {**NO_DRAIN, "waste_ratio": 4.0, "recovery_fraction": 0.375, "design_recovery_fraction": 0.25},
        {"ratio_high": 1.5},
        False,
    ),
    ("D25", {"waste_ratio": 2.0, FLOW: 1.3, DRAIN: 400.0}, {"ratio_low": 0.5}, False),
    ("D26", {"waste_ratio": 6.0, DRAIN: 1100.0}, {"ratio_high": 1.5}, False),
    ("D26", {"waste_ratio": 7.0, DRAIN: 1040.0}, {}, False),
    ("D26", {**NO_DRAIN, "waste_ratio": 7.0, "inlet_pressure_kpa": 351.0}, {}, False),
    ("D48", {"waste_ratio": 5.2, "inlet_pressure_kpa": 351.0, GAUGED: 20.0}, {}, False),
    ("D24", {"waste_ratio": 4.8, "temperature_degc": 6.0}, {}, True),
    ("D15", {**NEW_WATER, **HUNDRED, PERMEATE: 115.0}, {}, True),
    ("D15", {"feed_tds_mg_per_l": 325.0, **HUNDRED, PERMEATE: 115.0}, {}, True),
    ("D15", {"feed_tds_mg_per_l": 500.0, **HUNDRED, PERMEATE: 250.0}, {}, True),
    ("D16", {**WEAK, **HUNDRED, PERMEATE: 115.0}, {}, True),
    ("D37", {**WARM, **HUNDRED, PERMEATE: 105.0}, {}, False),
    ("D14", {**HUNDRED, PERMEATE: 130.0, "permeate_tds_at_start_mg_per_l": 400.0}, {}, True),
    ("D14", {PERMEATE: 9.0, "permeate_tds_at_start_mg_per_l": 18.0}, {}, True),
    ("D39", {**HUNDRED, PERMEATE: 130.0, "taste_or_odour": True}, {}, True),
    ("D13", {**HUNDRED, PERMEATE: 120.0, LEAD: 120.0, "resin_life_share": 0.3}, {}, True),
    ("D02", {"line_pressure_kpa": 350.0, GAUGED: 20.0}, {"line_pressure_fall_kpa": 64.0}, False),
    (
        "D64",
        {**ONE_GAUGE, "inlet_pressure_kpa": 300.0, "clean_inlet_pressure_kpa": 326.0},
        {"line_pressure_fall_kpa": 64.0},
        False,
    ),
    (
        "D03",
        {"has_booster_pump": True, "baseline_inlet_pressure_kpa": None, "inlet_pressure_kpa": 457.0},
        {"pump_gain_kpa": 64.0},
        False,
    ),
    (
        "D03",
        {
            "has_booster_pump": True,
            "baseline_inlet_pressure_kpa": 600.0,
            "line_pressure_kpa": None,
            "prefilter_outlet_pressure_kpa": None,
            "inlet_pressure_kpa": 536.0,
        },
        {"line_pressure_fall_kpa": 64.0},
        False,
    ),
    (
        "D22",
        {**TANK, "tank_pressure_falls_with_feed_shut": True, "tank_pressure_kpa": 207.0},
        {"shutoff_fraction": 0.5},
        False,
    ),
    (
        "D23",
        {**TANK, "tank_pressure_falls_with_feed_shut": False, "tank_pressure_kpa": 207.0},
        {"shutoff_fraction": 0.5},
        False,
    ),
    ("D52", {**TANK, "tank_pressure_kpa": 207.0}, {"shutoff_fraction": 0.5}, True),
    ("D27", {"tank_pressure_kpa": 103.5, "tank_valve": "open", MADE: 100.0}, {}, True),
    ("D27", {"tank_pressure_kpa": 220.0, "tank_valve": "open", MADE: 170.0}, {}, True),
    ("D06", {STEP: 2.0, PERMEATE: 3.0}, {}, True),
    ("D62", {FLOW_STEP: 0.5, STEP: 3.0}, {"salt_passage_jump": 1.5}, True),
    ("D08", {FLOW: 0.5, PASSAGE: 2.4, "feed_brine_differential_pressure_ratio": 1.4}, {}, True),
    ("D17", {"first_meter_tds_mg_per_l": 10.0, "second_meter_tds_mg_per_l": 13.0}, {}, False),
    ("D17", {"first_meter_tds_mg_per_l": 90.0, "second_meter_tds_mg_per_l": 100.0}, {}, False),
    ("D18", {**NO_BASELINES, "feed_tds_mg_per_l": 25.0, PERMEATE: 250.0}, {}, True),
    ("D32", {PERMEATE: 50.0, PRODUCT: 55.0}, {}, False),
]


@pytest.mark.parametrize(
    ("rule", "changes", "pattern_limits", "counts"),
    AT_THE_PLACE,
    ids=[f"{n} {row[0]}" for n, row in enumerate(AT_THE_PLACE)],
)
def test_the_place_itself_counts_or_does_not(
    rule: str, changes: Changes, pattern_limits: dict[str, float], counts: bool
) -> None:
    assert speaks(rule, changes, **pattern_limits) is counts


@pytest.mark.parametrize(("permeate", "is_low"), [(65.0, False), (65.001, True)])
def test_a_rejection_is_too_low_by_more_than_a_step_of_the_meter(permeate: float, is_low: bool) -> None:
    """A quarter of 256 mg/L may pass, and one more is no proof."""
    limits = Limits(**{**vars(HOUSE), "minimum_rejection_fraction": 0.75})
    assert speaks("D46", {"feed_tds_mg_per_l": 256.0, PERMEATE: permeate}, limits) is is_low


@pytest.mark.parametrize(("lead", "is_through"), [(11.0, True), (10.999, False)])
def test_a_lead_counts_as_through_a_step_of_the_meter_before_its_limit(lead: float, is_through: bool) -> None:
    """Three quarters of 16 mg/L are 12."""
    limits = Limits(**{**vars(HOUSE), "lead_resin_fraction": 0.75})
    assert speaks("D11", {PERMEATE: 16.0, LEAD: lead}, limits) is is_through


@pytest.mark.parametrize(("differential", "is_clogged"), [(65.0, False), (65.001, True)])
def test_prefilters_are_clogged_by_more_than_half_a_step_of_the_gauges(differential: float, is_clogged: bool) -> None:
    limits = Limits(**{**vars(HOUSE), "prefilter_differential_pressure_kpa": 64.0})
    given = {**AT_25, **behind(600.0), GAUGED: differential}
    assert speaks("D01", given, limits, gauge_step_kpa=2.0) is is_clogged


def numbers(rule: str, changes: Changes, limits: Limits = HOUSE) -> dict[str, float | str]:
    (match,) = [match for match in diagnose({**HEALTHY, **changes}, limits=limits) if match.id == rule]
    return dict(match.numbers)


@pytest.mark.parametrize(
    ("rule", "changes", "shown"),
    [
        ("D46", {PERMEATE: 50.0}, {"rejection": 0.8, "limit": 0.9}),
        ("D45", {"interstage_chlorine_mg_per_l": 0.6}, {"lead_outlet_over_feed": 0.6, "limit": 0.5}),
        ("D44", {CHLORINE: 0.3}, {"chlorine": 0.3, "limit": 0.1}),
        ("D11", {PERMEATE: 20.0, LEAD: 20.0}, {"lead_outlet_over_permeate": 1.0, "product_tds": 0.0}),
        (
            "D12",
            {PERMEATE: 20.0, LEAD: 20.0, PRODUCT: 19.0},
            {"lead_outlet_over_permeate": 1.0, "product_over_permeate": 0.95},
        ),
        ("D12", {PRODUCT: 3.0}, {"product_tds": 3.0, "limit": 1.0}),
        ("D15", {**NEW_WATER, **HUNDRED, PERMEATE: 125.0}, {"permeate_over_baseline": 1.25, "feed_over_baseline": 1.3}),
        (
            "D16",
            {**WEAK, **HUNDRED, PERMEATE: 150.0, "inlet_pressure_kpa": 312.0},
            {"inlet_over_baseline": 0.8, "flow_over_baseline": 0.6, "permeate_tds_over_baseline": 1.5},
        ),
        ("D24", {"waste_ratio": 5.2, "temperature_degc": 6.0}, {"waste_ratio_over_baseline": 1.3}),
        ("D25", {**NO_DRAIN, "waste_ratio": 2.0}, {"waste_ratio_over_baseline": 0.5}),
        ("D27", {"tank_pressure_kpa": 207.0, "tank_valve": "open", MADE: 100.0}, {"tank_over_line": 0.5}),
        ("D42", {"line_pressure_kpa": 200.0}, {"line_pressure_kpa": 200.0, "limit_kpa": 365.42}),
        ("D28", {MADE: 0.0}, {"permeate_flow": 0.0, "concentrate_flow": 800.0, "inlet_pressure_kpa": 390.0}),
        ("D29", {MADE: 0.0, DRAIN: 0.0}, {"permeate_flow": 0.0, "concentrate_flow": 0.0}),
        ("D14", {"permeate_tds_at_start_mg_per_l": 80.0}, {"first_minute_tds": 80.0, "flushed_tds": 9.0}),
    ],
)
def test_a_finding_shows_what_it_rests_on(rule: str, changes: Changes, shown: dict[str, float]) -> None:
    evidence = numbers(rule, changes)
    for name, value in shown.items():
        assert evidence[name] == pytest.approx(value, rel=1e-4), name


def test_a_clogged_prefilter_is_held_to_the_limit_of_the_temperature_it_was_read_at() -> None:
    """Water of 10 degC is 1.467 times as thick as at 25: 10 psi become 101 kPa, and twice that is a whole limit past
    it. What clean ones lose grows from their own day on: from 25 to 10 degC as much."""
    cold = {**behind(600.0), GAUGED: 202.2, "temperature_degc": 10.0, "baseline_temperature_degc": 25.0}
    assert numbers("D01", cold)["limit_kpa"] == pytest.approx(10 * PSI * 1.467, rel=1e-3)
    clean = {**cold, "clean_prefilter_differential_pressure_kpa": 80.0}
    assert numbers("D01", clean)["limit_kpa"] == pytest.approx(1.15 * 80.0 * 1.467, rel=1e-3)
    unknown = {**clean, "baseline_temperature_degc": None}
    assert numbers("D01", {**unknown})["limit_kpa"] == pytest.approx(10 * PSI * 1.467, rel=1e-3)
    assert math.isclose(numbers("D01", {**clean, "temperature_degc": None})["limit_kpa"], 1.15 * 80.0)


def test_the_limit_of_a_prefilter_is_meant_in_the_usual_water_of_its_unit() -> None:
    """Viscosity of water at 5, 10 and 25 degC: 1.5188, 1.3059 and 0.8900 mPa s (IAPWS R12-08, from memory)."""
    usual = {**behind(600.0), GAUGED: 202.2, "temperature_degc": 5.0, "usual_temperature_degc": 10.0}
    assert numbers("D01", usual)["limit_kpa"] == pytest.approx(10 * PSI * 1.5188 / 1.3059, rel=2e-3)


@pytest.mark.parametrize(
    ("differential_kpa", "is_clear"),
    [(10 * PSI * 1.3059 / 0.8900 - 1.0, False), (10 * PSI * 1.3059 / 0.8900 + 5.0, True)],
)
def test_a_filter_that_cold_water_may_explain_must_be_seen_twice(differential_kpa: float, is_clear: bool) -> None:
    cold = {**behind(600.0), GAUGED: differential_kpa, "temperature_degc": 10.0, "usual_temperature_degc": 10.0}
    (match,) = [match for match in diagnose({**HEALTHY, **cold}) if match.id == "D01"]
    assert match.rule.must_be_seen_twice
    assert match.is_clear is is_clear


def test_an_inlet_that_fell_with_clean_prefilters_is_surer_the_further_it_fell() -> None:
    """By twice the 10 psi that count: a whole limit beyond it is 0.55 + 0.40 (1 - 1/e)."""
    fall = 20 * PSI
    given = {**ONE_GAUGE, "inlet_pressure_kpa": 390.0 - fall, "clean_inlet_pressure_kpa": 390.0 - fall}
    (match,) = [match for match in diagnose({**HEALTHY, **given}) if match.id == "D64"]
    assert match.confidence == pytest.approx(0.55 + 0.40 * (1.0 - math.exp(-1.0)), rel=1e-4)


@pytest.mark.parametrize("line", [0.0, -1.0, None])
def test_a_line_without_pressure_says_nothing_of_a_tank(line: float | None) -> None:
    facts = {**HEALTHY, **TANK, "line_pressure_kpa": line, "tank_pressure_kpa": 150.0}
    assert not {"D21", "D23"} & {match.id for match in diagnose(facts)}
    # and half a kilopascal is a pressure
    assert speaks("D21", {"line_pressure_kpa": 0.5, "tank_pressure_kpa": 0.4, "tank_is_full": True})
