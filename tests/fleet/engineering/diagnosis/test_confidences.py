"""How sure each rule is, case by case, and which doubts about a reading make which rules less sure.

The confidences are the house's judgement (common practice, no source). Where one grows with the margin m beyond its
limit it is low + (0.95 - low)(1 - exp(-m)): at m = 1, clearly beyond, 0.803 from 0.55.
"""

from dataclasses import replace

import pytest

from fleet.engineering.diagnosis import PatternLimits, diagnose
from fleet.engineering.limits import HOUSE, Limits
from tests.fleet.engineering.diagnosis.test_limits import (
    CHLORINE,
    DIFFERENTIAL,
    DRAIN,
    FLOW,
    GAUGED,
    JUMP,
    LEAD,
    MADE,
    NEW_WATER,
    NO_BASELINES,
    NO_DRAIN,
    OLD,
    ONE_GAUGE,
    PASSAGE,
    PERMEATE,
    PRODUCT,
    TANK,
    WARM,
    WEAK,
    Changes,
    behind,
)
from tests.fleet.engineering.diagnosis.test_rules import HEALTHY, UNREAD_RESIN

FALL = PatternLimits().line_pressure_fall_kpa
AT_600: Changes = {"temperature_degc": None, **behind(600.0)}
FULL: Changes = {"tank_is_full": True, "tank_valve": "open", "tank_pressure_kpa": 300.0}
NO_CHLORINE: Changes = {CHLORINE: None, "carbon_outlet_free_chlorine_mg_per_l": None}
CLEAR = 0.55 + 0.40 * 0.63212

CASES: list[tuple[str, Changes, float]] = [
    # at 600 kPa the limit is 10 psi, and twice of it is clear
    ("D01", {**AT_600, GAUGED: 2 * HOUSE.prefilter_differential_pressure_kpa}, CLEAR),
    (
        "D01",
        {
            **AT_600,
            GAUGED: 2 * HOUSE.prefilter_differential_pressure_kpa,
            "clean_prefilter_differential_pressure_kpa": None,
        },
        0.8 * CLEAR,
    ),
    ("D02", {"line_pressure_kpa": 414.0 - 2 * FALL, GAUGED: 20.0}, CLEAR),
    ("D42", {"line_pressure_kpa": 53.0 * FALL / 10.0 - FALL}, CLEAR),
    ("D03", {"has_booster_pump": True}, 0.8),
    ("D03", {"has_booster_pump": True, "inlet_pressure_kpa": 500.0, "baseline_inlet_pressure_kpa": 600.0}, 0.65),
    ("D04", {"inlet_pressure_kpa": 900.0}, 0.9),
    ("D04", {"pump_never_stops": True}, 0.7),
    ("D28", {MADE: 0.0}, 0.85),
    ("D28", {MADE: 0.0, "has_pressurised_tank": True, "tank_pressure_kpa": 196.0}, 0.6),
    ("D28", {MADE: 0.0, "has_pressurised_tank": True, "tank_pressure_kpa": 194.0}, 0.85),
    ("D29", {MADE: 0.0, DRAIN: 0.0}, 0.85),
    ("D21", FULL, 0.85),
    ("D21", {**FULL, "tank_is_full": None}, 0.6),
    ("D21", {**FULL, "tank_is_full": None, DRAIN: None, "concentrate_is_running": True}, 0.6),
    ("D22", {**TANK, "tank_pressure_kpa": 150.0, "tank_pressure_falls_with_feed_shut": True}, 0.9),
    ("D22", {"tank_pressure_kpa": 150.0, "tank_pressure_falls_with_feed_shut": True}, 0.7),
    ("D22", {**TANK, "tank_pressure_kpa": None, "tank_pressure_falls_with_feed_shut": True}, 0.7),
    ("D23", {**TANK, "tank_pressure_kpa": 150.0, "tank_pressure_falls_with_feed_shut": False}, 0.7),
    ("D23", {**TANK, "tank_pressure_kpa": 150.0}, 0.55),
    ("D24", {"waste_ratio": 5.2, "temperature_degc": 6.0}, 0.8),
    ("D48", {"waste_ratio": 5.2, "inlet_pressure_kpa": 310.0, "prefilter_differential_pressure_kpa": 20.0}, 0.8),
    ("D25", {**NO_DRAIN, "waste_ratio": 4.0 * 0.335}, CLEAR),
    ("D25", {**NO_DRAIN, "waste_ratio": 4.0, "recovery_fraction": 0.5}, CLEAR),
    ("D26", {"waste_ratio": 7.0, DRAIN: 1100.0, "inlet_pressure_kpa": 370.0}, 0.85),
    ("D26", {"waste_ratio": 7.0, DRAIN: 1100.0, "inlet_pressure_kpa": 371.0}, 0.65),
    ("D26", {**NO_DRAIN, "waste_ratio": 7.0, "inlet_pressure_kpa": 340.0}, 0.5),
    ("D27", {"tank_pressure_kpa": 220.0, "tank_valve": "open", MADE: 100.0, PERMEATE: 10.0}, 0.8),
    ("D27", {"tank_pressure_kpa": 220.0, "tank_valve": "open", MADE: 100.0, PERMEATE: 9.8}, 0.6),
    ("D40", {"pump_cycles_rapidly": True}, 0.8),
    ("D05", {PASSAGE: 3.0, CHLORINE: 0.3}, 0.8 + 0.15 * 0.63212),
    ("D47", {PASSAGE: 3.0, "membrane_exposure_ppm_h": 900.0}, 0.6),
    ("D06", {PASSAGE: 2.5, JUMP: 2.4}, 0.8),
    ("D06", {PASSAGE: 2.5, JUMP: 2.4, **NO_CHLORINE}, 0.65),
    ("D06", {PASSAGE: 2.5}, 0.55),
    ("D06", {PASSAGE: 2.5, **NO_CHLORINE}, 0.45),
    ("D07", {FLOW: 0.78, PASSAGE: 1.3, "concentrate_langelier_index": 0.5}, 0.6 + 0.35 * 0.63212),
    ("D07", {FLOW: 0.78, PASSAGE: 1.3, "concentrate_silica_share": 1.1}, 0.7),
    ("D08", {FLOW: 0.78, DIFFERENTIAL: 1.3}, 0.65 + 0.30 * 0.63212),
    ("D08", {FLOW: 0.78, "smell_or_slime": True}, 0.75),
    ("D08", {FLOW: 0.78}, 0.45),
    ("D09", {FLOW: 0.93, "membrane_age_days": 14.0}, 0.75),
    ("D08", {FLOW: 0.6, PASSAGE: 1.5, "flow_step_ratio": 0.6}, 0.6),
    ("D76", {"has_resin": False, PRODUCT: 3.0}, 0.55 + 0.40 * 0.63212),
    ("D75", {FLOW: 0.5, "flow_over_before_new_carbon": 0.68}, 0.55 + 0.40 * 0.63212),
    ("D06", {"salt_passage_step_ratio": 2.5}, 0.65 + 0.30 * 0.63212),
    ("D06", {"first_salt_passage_over_label": 3.0}, 0.7),
    ("D62", {"salt_passage_step_ratio": 4.6, "flow_step_ratio": 0.5}, 0.65 + 0.30 * 0.63212),
    ("D49", {**ONE_GAUGE, "clean_inlet_pressure_kpa": 300.0, "inlet_pressure_kpa": 203.105}, 0.55 + 0.25 * 0.63212),
    ("D53", {"has_float_valve": True, "has_automatic_shutoff": False, DRAIN: None}, 0.8),
    ("D63", {LEAD: 0.0, PRODUCT: 3.0, "has_lag_resin": True}, 0.8),
    ("D10", OLD, 0.65),
    ("D14", {"permeate_tds_at_start_mg_per_l": 80.0}, 0.9),
    ("D14", {"permeate_tds_at_start_mg_per_l": 80.0, "baseline_permeate_tds_mg_per_l": None}, 0.7),
    ("D15", NEW_WATER, 0.85),
    ("D15", {**NEW_WATER, PASSAGE: None}, 0.7),
    ("D16", WEAK, 0.85),
    ("D16", {**WEAK, "has_booster_pump": True, "line_pressure_kpa": 200.0}, 0.4),
    # the membrane is to blame, which its own rule says first
    ("D76", {"has_resin": False, PRODUCT: 5.0, "salt_level_ratio": 2.5, "membrane_exposure_ppm_h": 0.0}, 0.4),
    ("D80", {"salt_level_ratio": 2.5, "membrane_exposure_ppm_h": 0.0}, 0.5),
    ("D08", {FLOW: 0.48, "flow_step_ratio": 0.48, "flow_over_before_standstill": 0.48, "days_stood_off": 14.0}, 0.6),
    ("D37", WARM, 0.8),
    ("D30", {CHLORINE: 0.5}, 0.8),
    ("D30", {CHLORINE: 0.5, "chloramine_supply": True}, 0.9),
    ("D44", {CHLORINE: 0.2}, 0.65 + 0.30 * 0.63212),
    ("D31", {CHLORINE: 0.4, "days_since_carbon_change": 5.0}, 0.8),
    ("D39", {"taste_or_odour": True}, 0.7),
    ("D39", {"taste_or_odour": True, "baseline_permeate_tds_mg_per_l": None}, 0.55),
    ("D41", {"weeks_since_last_reading": 30.0}, 0.95),
    ("D41", {"weeks_since_last_reading": 30.0, "work_was_seen": True}, 0.35),
    ("D50", {"water_on_floor": True}, 0.95),
    ("D51", {"is_switched_off": True}, 0.9),
    ("D52", {"concentrate_never_stops": True, "tank_pressure_kpa": None}, 0.7),
    ("D52", {"concentrate_never_stops": True, "tank_pressure_kpa": None, "tank_is_full": False}, 0.5),
    ("D52", {"concentrate_never_stops": True, "tank_pressure_kpa": 100.0, "tank_is_full": True}, 0.8),
    ("D52", {"tank_is_full": True, MADE: 0.0, "tank_pressure_kpa": None}, 0.8),
    ("D52", {"tank_is_full": True, MADE: None, "tank_pressure_kpa": None}, 0.8),
    ("D53", {"concentrate_never_stops": True, "has_automatic_shutoff": False}, 0.85),
    ("D53", {"tank_is_full": True, MADE: 0.0, "has_automatic_shutoff": False}, 0.85),
    ("D54", {"concentrate_never_stops": True, "pump_cycles_rapidly": True}, 0.85),
    ("D55", {"container_overflows": True}, 0.9),
    ("D56", {"tap_soon_trickles": True}, 0.7),
    ("D56", {"tap_soon_trickles": True, "tank_pressure_kpa": 20.0, "tank_precharge_kpa": 50.0}, 0.85),
    ("D56", {"slow_filling": True, "tank_pressure_kpa": 20.0, "tank_precharge_kpa": 50.0}, 0.65),
    ("D57", {"slow_filling": True}, 0.4),
    ("D57", {"tap_soon_trickles": True, "has_pressurised_tank": False}, 0.4),
    ("D61", {"pump_never_stops": True}, 0.65),
    ("D77", {"no_water": True}, 0.6),
    ("D58", {"unusual_noise": True}, 0.5),
    ("D59", {"smell_or_slime": True}, 0.7),
    ("D78", {"has_uv": True, "uv_alarm": True}, 0.95),
    ("D78", {"uv_intensity_fraction": 0.5}, 0.9),
    ("D79", {"has_remineralisation": True, "remineralised_ph": 6.0}, 0.75),
    ("D60", {"resin_colour_changed_fraction": 0.8, **UNREAD_RESIN}, 0.6),
    ("D38", {"minutes_since_start": 1.0}, 0.95),
    ("D38", {"tank_valve": "", "tank_pressure_kpa": None}, 0.7),
    ("D17", {"first_meter_tds_mg_per_l": 10.0, "second_meter_tds_mg_per_l": 16.0}, CLEAR),
    ("D17", {"first_meter_tds_mg_per_l": 16.0, "second_meter_tds_mg_per_l": 10.0}, CLEAR),
    ("D18", {"feed_tds_mg_per_l": 9.0, PERMEATE: 250.0}, 0.95),
    ("D18", {"feed_tds_mg_per_l": 9.0, PERMEATE: 250.0, "baseline_permeate_tds_mg_per_l": None}, 0.85),
    ("D18", {"feed_tds_mg_per_l": 9.0, PERMEATE: 250.0, **NO_BASELINES}, 0.6),
    ("D19", {"feed_tds_mg_per_l": 9.0, PERMEATE: 250.0, **NO_BASELINES}, 0.6),
    ("D19", {PERMEATE: 900.0}, 0.8),
    ("D20", {MADE: -1.0}, 0.95),
    ("D20", {"totaliser_went_back": True}, 0.9),
    ("D20", {MADE: 280.0, "expected_permeate_flow_l_per_day": 80.0}, CLEAR),
    ("D20", {DRAIN: 0.0}, 0.6),
    ("D36", {"salt_balance_closure_fraction": -0.2}, CLEAR),
    ("D43", {"feed_free_chlorine_mg_per_l": 2.0}, 0.9),
    ("D11", {LEAD: 9.0}, 0.9),
    ("D11", {PERMEATE: 20.0, LEAD: 18.5}, 0.6),
    ("D11", {LEAD: 9.0, PRODUCT: None}, 0.8 * 0.9),
    ("D11", {LEAD: 9.0, PRODUCT: 1.0}, 0.9),
    ("D11", {LEAD: 9.0, PRODUCT: 1.1}, 0.8 * 0.9),
    ("D12", {LEAD: 9.0, PRODUCT: 9.0}, 0.9),
    ("D12", {PERMEATE: 20.0, LEAD: 20.0, PRODUCT: 18.5}, 0.6),
    ("D12", {PERMEATE: 20.0, LEAD: 18.5, PRODUCT: 20.0}, 0.6),
    ("D12", {LEAD: 9.0, PRODUCT: 2.0}, 0.8 * 0.9),
    ("D12", {PERMEATE: 20.0, LEAD: 18.5, PRODUCT: 2.0}, 0.8 * 0.6),
    ("D12", {LEAD: None, PRODUCT: 9.0}, 0.75 * 0.9),
    ("D12", {LEAD: None, PRODUCT: 9.0, "has_lag_resin": False}, 0.9),
    # two steps of the meter past the limit of 1 mg/L are clear
    ("D12", {PRODUCT: 3.0}, 0.8 * CLEAR),
    ("D12", {PRODUCT: 3.0, "has_lag_resin": False}, CLEAR),
    ("D45", {"interstage_chlorine_mg_per_l": 1.0}, CLEAR),
    ("D46", {PERMEATE: 50.0}, CLEAR),
    ("D13", {LEAD: 9.0, "resin_life_share": 0.1}, CLEAR),
    ("D32", {PRODUCT: 14.0}, 0.75),
    ("D33", {"ammonia_detected": True, "algae_reported": True}, 0.75),
    ("D33", {"silica_detected": True}, 0.75),
    ("D33", {"algae_reported": True}, 0.5),
    ("D34", {PRODUCT: 1.0, "open_cup_sample": True}, 0.7),
    ("D35", {"permeate_ph": 5.6}, 0.75),
    ("D35", {"product_ph": 5.6}, 0.75),
]

# What puts a reading in doubt, and the steps whose rules it makes less sure.
DOUBTS: list[tuple[str, Changes, set[str]]] = [
    ("D38", {"minutes_since_start": 1.0}, {"flows", "membrane"}),
    ("D17", {"first_meter_tds_mg_per_l": 10.0, "second_meter_tds_mg_per_l": 16.0}, {"membrane", "resin"}),
    ("D20", {"totaliser_went_back": True}, {"flows", "membrane"}),
    ("D36", {"salt_balance_closure_fraction": 0.2}, {"flows", "membrane"}),
    ("D43", {"feed_free_chlorine_mg_per_l": 2.0}, {"carbon"}),
]
SEEN: dict[str, tuple[str, Changes]] = {
    "flows": ("D26", {"waste_ratio": 7.0, DRAIN: 1100.0}),
    "membrane": ("D10", OLD),
    "resin": ("D11", {LEAD: 9.0}),
    "carbon": ("D31", {CHLORINE: 0.4, "days_since_carbon_change": 5.0}),
    "pressures": ("D04", {"pump_never_stops": True}),
}


@pytest.mark.parametrize(
    ("rule", "changes", "confidence"), CASES, ids=[f"{n} {case[0]}" for n, case in enumerate(CASES)]
)
def test_how_sure_a_rule_is(rule: str, changes: Changes, confidence: float) -> None:
    matches = {match.id: match for match in diagnose({**HEALTHY, **changes})}
    assert rule in matches
    certain = matches[rule].confidence / (0.6 if matches[rule].doubted_by else 1.0)
    assert certain == pytest.approx(confidence, abs=2e-4)


@pytest.mark.parametrize(("doubt", "changes", "steps"), DOUBTS, ids=[case[0] for case in DOUBTS])
@pytest.mark.parametrize("step", SEEN)
def test_a_doubt_takes_two_fifths_from_what_rests_on_it_and_nothing_from_the_rest(
    doubt: str, changes: Changes, steps: set[str], step: str
) -> None:
    rule, seen = SEEN[step]
    sure = {match.id: match for match in diagnose({**HEALTHY, **seen})}[rule]
    matches = {match.id: match for match in diagnose({**HEALTHY, **seen, **changes})}
    assert sure.doubted_by == ()
    assert doubt in matches
    assert matches[rule].doubted_by == ((doubt,) if step in steps else ())
    assert matches[rule].confidence == pytest.approx(sure.confidence * (0.6 if step in steps else 1.0))


@pytest.mark.parametrize(
    ("rule", "given", "hidden_by"),
    [
        ("D05", {PASSAGE: 2.4, CHLORINE: 0.3}, {"membrane_material": "cellulose"}),
        ("D47", {PASSAGE: 2.4, "membrane_exposure_ppm_h": 900.0}, {"membrane_material": "cellulose"}),
        ("D47", {PASSAGE: 2.4, "membrane_exposure_ppm_h": 900.0}, {CHLORINE: 0.3}),
        ("D44", {CHLORINE: 0.3}, {"membrane_material": "cellulose"}),
        ("D29", {MADE: 0.0, DRAIN: 0.0}, {"state": "static"}),
        ("D29", {MADE: 0.0, DRAIN: 0.0}, {"tank_is_full": True}),
        ("D28", {MADE: 0.0}, {"tank_is_full": True}),
        ("D38", {"minutes_since_start": 1.0}, {"state": "static"}),
        ("D38", {"tank_valve": "", "tank_pressure_kpa": None}, {"has_tank": False}),
        ("D38", {"tank_valve": "", "tank_pressure_kpa": None}, {MADE: None}),
        ("D20", {DRAIN: 0.0}, {MADE: 0.0}),
        ("D21", FULL, {"has_automatic_shutoff": False}),
        ("D21", {**FULL, "tank_is_full": None}, {"tank_is_full": False}),
        ("D23", {**TANK, "tank_pressure_kpa": 150.0}, {"concentrate_never_stops": False}),
        ("D27", {"tank_pressure_kpa": 220.0, "tank_valve": "open", MADE: 100.0}, {"tank_valve": "closed"}),
        ("D27", {"tank_pressure_kpa": 220.0, "tank_valve": "open", MADE: 100.0}, {FLOW: 0.7}),
        # beside a pump that is dead, or a restrictor that is blocked, nothing is called normal
        ("D27", {"tank_pressure_kpa": 220.0, "tank_valve": "open", MADE: 100.0}, {"has_booster_pump": True}),
        ("D37", WARM, {"has_booster_pump": True}),
        ("D37", WARM, {DRAIN: 300.0, "waste_ratio": 1.4}),
        # low pressure makes the water saltier, and the membrane is as it was
        ("D46", {PERMEATE: 50.0}, {"has_booster_pump": True}),
        ("D03", {"has_booster_pump": True}, {"state": "static"}),
        ("D03", {"has_booster_pump": True}, {"line_pressure_kpa": 300.0, "prefilter_differential_pressure_kpa": 20.0}),
        ("D03", {"has_booster_pump": True}, {"prefilter_differential_pressure_kpa": 120.0}),
        (
            "D02",
            {"line_pressure_kpa": 300.0, "prefilter_differential_pressure_kpa": 20.0},
            {"prefilter_differential_pressure_kpa": 120.0},
        ),
        ("D24", {"waste_ratio": 5.2, "temperature_degc": 6.0}, {"prefilter_differential_pressure_kpa": 120.0}),
        (
            "D24",
            {"waste_ratio": 5.2, "temperature_degc": 6.0, **ONE_GAUGE},
            {"clean_inlet_pressure_kpa": 390.0, "inlet_pressure_kpa": 300.0},
        ),
        ("D08", {FLOW: 0.78}, {"concentrate_langelier_index": 0.3}),
        ("D76", {"has_resin": False, PRODUCT: 5.0}, {"has_resin": None}),
        ("D76", {"has_resin": False, PRODUCT: 5.0}, {"open_cup_sample": True}),
        ("D76", {"has_resin": False, PRODUCT: None}, {"state": "static"}),
        ("D76", {"has_resin": False, PRODUCT: None}, {"sampled_after_flush": False}),
        ("D76", {"has_resin": False, PRODUCT: None}, {PERMEATE: 50.0}),
        ("D08", {FLOW: 0.78, "smell_or_slime": True}, {"flow_over_before_new_carbon": 0.6}),
        ("D07", {FLOW: 0.78, "concentrate_langelier_index": 0.9}, {"flow_over_before_new_carbon": 0.6}),
        ("D10", OLD, {FLOW: 0.7, "concentrate_langelier_index": 0.5}),
        ("D32", {PRODUCT: 14.0}, {"has_resin": False}),
        ("D13", {LEAD: 9.0, "resin_life_share": 0.3}, {LEAD: 0.0}),
        ("D30", {CHLORINE: 0.5}, {"carbon_outlet_free_chlorine_mg_per_l": None}),
        ("D39", {"taste_or_odour": True}, {PERMEATE: 12.0}),
        ("D78", {"uv_alarm": True}, {"has_uv": False}),
        ("D79", {"has_remineralisation": True, "remineralised_ph": 6.0}, {"has_remineralisation": False}),
        # pH is the surer sign of the two
        ("D79", {"has_remineralisation": True, "remineralised_tds_mg_per_l": 12.0}, {"remineralised_ph": 7.5}),
        ("D40", {"pump_cycles_rapidly": True}, {"pump_cycles_rapidly": False}),
    ],
)
def test_what_explains_a_pattern_away_silences_its_rule(rule: str, given: Changes, hidden_by: Changes) -> None:
    assert rule in {match.id for match in diagnose({**HEALTHY, **given})}
    assert rule not in {match.id for match in diagnose({**HEALTHY, **given, **hidden_by})}


STRICT = replace(HOUSE, lead_resin_fraction=0.5)


@pytest.mark.parametrize(
    ("rule", "changes", "limits", "numbers"),
    [
        ("D46", {PERMEATE: 50.0}, HOUSE, ("80.0 %", "90.0 %", "25 mg/L")),
        (
            "D08",
            {FLOW: 0.48, "flow_step_ratio": 0.48, "flow_over_before_standstill": 0.48, "days_stood_off": 120.0},
            HOUSE,
            ("48%", "120 days", "dried out"),
        ),
        ("D28", {MADE: 0.0, "has_pressurised_tank": True, "tank_pressure_kpa": 240.0}, HOUSE, ("it is full", "valve")),
        ("D45", {"interstage_chlorine_mg_per_l": 0.6}, HOUSE, ("60 %", "50 %", "0.5 mg/L")),
        ("D11", {PERMEATE: 20.0, LEAD: 12.0}, STRICT, ("60 %", "50 %", "10 mg/L")),
        ("D12", {PRODUCT: 3.0}, HOUSE, ("3 mg/L", "limit of 1 mg/L", "The lead outlet is at 0 mg/L")),
        ("D12", {PRODUCT: 3.0, "has_lag_resin": False}, HOUSE, ("3 mg/L", "limit of 1 mg/L")),
    ],
)
def test_a_sentence_says_the_numbers_it_rests_on(rule: str, changes: Changes, limits: Limits, numbers: tuple) -> None:
    matches = {match.id: match for match in diagnose({**HEALTHY, **changes}, limits=limits)}
    for number in numbers:
        assert number in matches[rule].for_installer


def test_a_permeate_of_nothing_is_no_membrane_that_holds_back_too_little() -> None:
    assert "D46" not in {match.id for match in diagnose({**HEALTHY, PERMEATE: 0.0, "feed_tds_mg_per_l": 0.0})}
