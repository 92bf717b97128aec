"""The diagnosis table: each rule found by its own pattern, silent on a healthy unit and on missing facts."""

import math
from dataclasses import fields

import pytest

from fleet.engineering.diagnosis import CONTEXT_KEYS, RULES, PatternLimits, diagnose
from fleet.engineering.diagnosis.record import STEPS
from fleet.engineering.errors import EngineeringError

PSI = 6.894757293168361

# An invented unit in good health, with every baseline known.
HEALTHY: dict[str, float | bool | str | None] = {
    "line_pressure_kpa": 414.0,
    "baseline_line_pressure_kpa": 414.0,
    "prefilter_outlet_pressure_kpa": 393.0,
    "inlet_pressure_kpa": 390.0,
    "baseline_inlet_pressure_kpa": 390.0,
    "clean_prefilter_differential_pressure_kpa": 20.0,
    "temperature_degc": 15.0,
    "baseline_temperature_degc": 15.0,
    "feed_tds_mg_per_l": 250.0,
    "baseline_feed_tds_mg_per_l": 250.0,
    "permeate_tds_mg_per_l": 9.0,
    "baseline_permeate_tds_mg_per_l": 9.0,
    "interstage_tds_mg_per_l": 0.0,
    "product_tds_mg_per_l": 0.0,
    "permeate_flow_l_per_day": 200.0,
    "baseline_permeate_flow_l_per_day": 200.0,
    "concentrate_flow_l_per_day": 800.0,
    "baseline_concentrate_flow_l_per_day": 800.0,
    "baseline_waste_ratio": 4.0,
    "design_recovery_fraction": 0.2,
    "feed_total_chlorine_mg_per_l": 1.0,
    "feed_free_chlorine_mg_per_l": 0.9,
    "carbon_outlet_total_chlorine_mg_per_l": 0.0,
    "carbon_outlet_free_chlorine_mg_per_l": 0.0,
    "normalised_flow_ratio": 1.0,
    "normalised_salt_passage_ratio": 1.0,
    "feed_brine_differential_pressure_ratio": 1.0,
    "salt_balance_closure_fraction": 0.01,
    "concentrate_langelier_index": -0.4,
    "membrane_age_days": 400.0,
    "days_since_carbon_change": 60.0,
    "weeks_since_last_reading": 1.0,
    "minutes_since_start": 20.0,
    "state": "flowing",
    "tank_valve": "closed",
    "tank_pressure_kpa": 0.0,
    "has_booster_pump": False,
    "has_tank": True,
    "has_resin": True,
    "membrane_material": "polyamide",
}

UNREAD_RESIN: dict[str, float | bool | str | None] = {"interstage_tds_mg_per_l": None, "product_tds_mg_per_l": None}

ONE_GAUGE: dict[str, float | bool | str | None] = {
    "line_pressure_kpa": None,
    "baseline_line_pressure_kpa": None,
    "prefilter_outlet_pressure_kpa": None,
    "clean_prefilter_differential_pressure_kpa": None,
}
NOT_NORMALISED: dict[str, float | bool | str | None] = {
    "normalised_flow_ratio": None,
    "normalised_salt_passage_ratio": None,
    "temperature_degc": None,
}

# What each rule looks for, laid over the healthy unit: rule, changes, likeliest cause.
PATTERNS: list[tuple[str, dict[str, float | bool | str | None], str]] = [
    ("D01", {"prefilter_outlet_pressure_kpa": 300.0, "inlet_pressure_kpa": 297.0}, "prefilter_clogged"),
    ("D02", {"line_pressure_kpa": 300.0, "prefilter_outlet_pressure_kpa": 280.0}, "line_pressure_low"),
    ("D03", {"has_booster_pump": True, "inlet_pressure_kpa": 395.0}, "pump_not_running"),
    ("D04", {"inlet_pressure_kpa": 900.0, "has_booster_pump": True}, "pressure_switch_set_wrong"),
    (
        "D05",
        {"normalised_salt_passage_ratio": 2.4, "carbon_outlet_total_chlorine_mg_per_l": 0.3},
        "membrane_oxidised_carbon_exhausted",
    ),
    ("D47", {"normalised_salt_passage_ratio": 2.4, "membrane_exposure_ppm_h": 900.0}, "membrane_oxidised"),
    ("D06", {"normalised_salt_passage_ratio": 2.5, "salt_passage_ratio_since_last_reading": 2.4}, "o_ring_leak"),
    (
        "D07",
        {"normalised_flow_ratio": 0.78, "normalised_salt_passage_ratio": 1.3, "concentrate_langelier_index": 0.9},
        "membrane_scaling",
    ),
    ("D08", {"normalised_flow_ratio": 0.78, "feed_brine_differential_pressure_ratio": 1.4}, "biofouling"),
    ("D75", {"normalised_flow_ratio": 0.5, "flow_over_before_new_carbon": 0.5}, "carbon_fines"),
    ("D09", {"normalised_flow_ratio": 0.93, "membrane_age_days": 14.0}, "membrane_running_in"),
    (
        "D10",
        {"normalised_flow_ratio": 0.75, "normalised_salt_passage_ratio": 2.5, "membrane_age_days": 1200.0},
        "membrane_aged",
    ),
    ("D11", {"interstage_tds_mg_per_l": 9.0}, "di_lead_exhausted"),
    ("D12", {"interstage_tds_mg_per_l": 9.0, "product_tds_mg_per_l": 9.0}, "di_both_exhausted"),
    ("D13", {"interstage_tds_mg_per_l": 9.0, "resin_life_share": 0.3}, "carbon_dioxide_load"),
    ("D14", {"permeate_tds_at_start_mg_per_l": 80.0}, "tds_creep"),
    (
        "D15",
        {"feed_tds_mg_per_l": 400.0, "permeate_tds_mg_per_l": 14.5},
        "supply_changed",
    ),
    (
        "D16",
        {"inlet_pressure_kpa": 250.0, "permeate_flow_l_per_day": 120.0, "permeate_tds_mg_per_l": 14.0},
        "low_net_driving_pressure",
    ),
    ("D17", {"first_meter_tds_mg_per_l": 10.0, "second_meter_tds_mg_per_l": 14.0}, "meter_out_of_calibration"),
    ("D18", {"feed_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 250.0}, "probes_swapped"),
    ("D19", {"permeate_tds_mg_per_l": 900.0}, "standstill_sample"),
    ("D20", {"permeate_flow_l_per_day": -5.0}, "flow_entry_error"),
    (
        "D21",
        {"tank_is_full": True, "tank_pressure_kpa": 290.0, "tank_valve": "open"},
        "shutoff_valve_fault",
    ),
    (
        "D22",
        {
            "concentrate_never_stops": True,
            "tank_pressure_kpa": 150.0,
            "tank_valve": "open",
            "tank_pressure_falls_with_feed_shut": True,
        },
        "check_valve_fault",
    ),
    (
        "D23",
        {
            "concentrate_never_stops": True,
            "tank_pressure_kpa": 150.0,
            "tank_valve": "open",
            "tank_pressure_falls_with_feed_shut": False,
        },
        "line_pressure_too_low_for_tank",
    ),
    (
        "D24",
        {"temperature_degc": 6.0, "permeate_flow_l_per_day": 140.0},
        "cold_water_not_a_fault",
    ),
    (
        "D48",
        {
            "permeate_flow_l_per_day": 140.0,
            "inlet_pressure_kpa": 300.0,
            "line_pressure_kpa": None,
            "prefilter_outlet_pressure_kpa": None,
        },
        "low_net_driving_pressure",
    ),
    ("D25", {"concentrate_flow_l_per_day": 200.0}, "restrictor_blocked"),
    (
        "D73",
        {"product_tds_mg_per_l": 4.0, "fresh_resin_product_tds_mg_per_l": 4.0, "fresh_resin_visits": 2.0},
        "resin_channelling",
    ),
    ("D74", {"inlet_pressure_over_usual": 0.1, "permeate_flow_over_usual": 1.0}, "pressure_gauge_fault"),
    ("D70", {"first_flow_over_label": 0.6, "flow_over_label": 0.6}, "membrane_of_another_size"),
    ("D71", {"first_waste_ratio_over_design": 0.5, "waste_ratio_over_design": 0.5}, "restrictor_too_tight"),
    ("D72", {"first_waste_ratio_over_design": 1.8, "waste_ratio_over_design": 1.8}, "restrictor_too_wide"),
    ("D26", {"concentrate_flow_l_per_day": 1700.0, "inlet_pressure_kpa": 340.0}, "restrictor_missing"),
    (
        "D27",
        {
            "tank_pressure_kpa": 220.0,
            "tank_valve": "open",
            "permeate_flow_l_per_day": 100.0,
            "permeate_tds_mg_per_l": 18.0,
        },
        "tank_back_pressure",
    ),
    ("D28", {"permeate_flow_l_per_day": 0.0}, "check_valve_stuck"),
    ("D29", {"permeate_flow_l_per_day": 0.0, "concentrate_flow_l_per_day": 0.0}, "feed_shut"),
    (
        "D30",
        {"feed_total_chlorine_mg_per_l": 2.0, "carbon_outlet_total_chlorine_mg_per_l": 0.5},
        "chloramine_breakthrough",
    ),
    (
        "D31",
        {"carbon_outlet_total_chlorine_mg_per_l": 0.4, "days_since_carbon_change": 5.0},
        "wrong_cartridge",
    ),
    ("D32", {"product_tds_mg_per_l": 14.0}, "di_exhausted_and_releasing"),
    ("D33", {"ammonia_detected": True}, "weak_ions_break_through_first"),
    ("D34", {"product_tds_mg_per_l": 1.0, "open_cup_sample": True}, "carbon_dioxide_from_air"),
    ("D35", {"permeate_ph": 5.6}, "carbon_dioxide_passes_membrane"),
    ("D36", {"salt_balance_closure_fraction": -0.22}, "flow_or_tds_reading_wrong"),
    (
        "D37",
        {"temperature_degc": 24.0, "permeate_flow_l_per_day": 270.0, "permeate_tds_mg_per_l": 12.0},
        "warm_water_not_a_fault",
    ),
    ("D38", {"minutes_since_start": 1.0}, "reading_not_valid_for_trend"),
    ("D39", {"taste_or_odour": True}, "tank_biofilm"),
    ("D40", {"pump_cycles_rapidly": True, "has_booster_pump": True, "inlet_pressure_kpa": 500.0}, "permeate_side_leak"),
    ("D41", {"weeks_since_last_reading": 30.0}, "no_reading_for_weeks"),
    (
        "D42",
        {"line_pressure_kpa": 200.0, "baseline_line_pressure_kpa": 205.0, "prefilter_outlet_pressure_kpa": 180.0},
        "line_pressure_low_no_booster_pump",
    ),
    (
        "D43",
        {"feed_free_chlorine_mg_per_l": 2.0, "feed_total_chlorine_mg_per_l": 1.0},
        "chlorine_test_error",
    ),
    ("D44", {"carbon_outlet_total_chlorine_mg_per_l": 0.2}, "carbon_exhausted"),
    ("D45", {"interstage_chlorine_mg_per_l": 0.6}, "lead_carbon_exhausted"),
    ("D46", {"permeate_tds_mg_per_l": 29.0}, "membrane_rejection_low"),
    ("D76", {"has_resin": False, "product_tds_mg_per_l": 5.0}, "water_past_limit"),
    ("D65", {"salt_level_ratio": 2.5}, "membrane_oxidised_untested"),
    ("D80", {"salt_level_ratio": 2.5, "membrane_exposure_ppm_h": 0.0}, "membrane_seal_worn"),
    ("D66", {"salt_passage_step_ratio": 0.3}, "meter_out_of_calibration"),
    ("D68", {"previous_resin_life_share": 0.1}, "carbon_dioxide_load"),
    ("D50", {"water_on_floor": True}, "water_leak"),
    ("D51", {"is_switched_off": True}, "switched_off_by_people"),
    ("D52", {"concentrate_never_stops": True, "tank_pressure_kpa": None}, "shutoff_valve_fault"),
    ("D53", {"concentrate_never_stops": True, "has_automatic_shutoff": False}, "shutoff_valve_not_fitted"),
    ("D54", {"concentrate_never_stops": True, "pump_cycles_rapidly": True}, "check_valve_fault"),
    ("D55", {"container_overflows": True}, "float_valve_does_not_close"),
    ("D56", {"tap_soon_trickles": True}, "tank_precharge_wrong"),
    ("D57", {"slow_filling": True}, "slow_filling_not_explained"),
    ("D77", {"no_water": True}, "no_water_not_explained"),
    ("D61", {"pump_never_stops": True}, "pressure_switch_set_wrong"),
    ("D58", {"unusual_noise": True}, "noise_not_explained"),
    ("D59", {"smell_or_slime": True}, "growth_in_unit"),
    ("D78", {"has_uv": True, "uv_alarm": True}, "uv_lamp_out"),
    ("D79", {"has_remineralisation": True, "remineralised_ph": 6.0}, "minerals_exhausted"),
    ("D60", {"resin_colour_changed_fraction": 0.8, **UNREAD_RESIN}, "resin_colour_not_confirmed"),
    (
        "D49",
        {
            **ONE_GAUGE,
            "clean_inlet_pressure_kpa": 390.0,
            "inlet_pressure_kpa": 300.0,
        },
        "prefilter_clogged",
    ),
    (
        "D64",
        {
            **ONE_GAUGE,
            "clean_inlet_pressure_kpa": 300.0,
            "inlet_pressure_kpa": 295.0,
        },
        "line_pressure_low",
    ),
    ("D62", {"salt_passage_step_ratio": 3.6, "flow_step_ratio": 0.7}, "membrane_damaged"),
    ("D63", {"interstage_tds_mg_per_l": 0.0, "product_tds_mg_per_l": 3.0, "has_lag_resin": True}, "resins_exchanged"),
]


@pytest.mark.parametrize(("rule", "changes", "cause"), PATTERNS, ids=[pattern[0] for pattern in PATTERNS])
def test_each_rule_finds_its_pattern(rule: str, changes: dict[str, float | bool | str | None], cause: str) -> None:
    matches = {match.id: match for match in diagnose({**HEALTHY, **changes})}
    assert rule in matches
    assert matches[rule].causes[0] == cause
    assert 0.2 < matches[rule].confidence <= 1.0


def test_every_rule_has_a_pattern_here() -> None:
    assert {pattern[0] for pattern in PATTERNS} == {rule.id for rule in RULES}


def test_a_healthy_unit_has_no_finding() -> None:
    assert diagnose(HEALTHY) == []


def test_no_facts_no_finding() -> None:
    assert diagnose({}) == []
    assert diagnose(dict.fromkeys(CONTEXT_KEYS)) == []


@pytest.mark.parametrize(("rule", "changes", "cause"), PATTERNS, ids=[pattern[0] for pattern in PATTERNS])
def test_a_missing_fact_silences_rather_than_breaks(
    rule: str, changes: dict[str, float | bool | str | None], cause: str
) -> None:
    """Each fact of each pattern in turn left out, as None and as NaN: no error, and never a new kind of nonsense."""
    all_facts = {**HEALTHY, **changes}
    for name in all_facts:
        for missing in (None, math.nan):
            if missing is not None and isinstance(all_facts[name], bool | str):
                continue
            for match in diagnose({**all_facts, name: missing}):
                assert 0.0 < match.confidence <= 1.0


def test_the_order_of_work_is_kept() -> None:
    steps = [rule.step for rule in RULES]
    assert steps == sorted(steps, key=STEPS.index)
    assert len({rule.id for rule in RULES}) == len(RULES)


def test_every_rule_says_all_it_should() -> None:
    for rule in RULES:
        for text in (rule.confirm, rule.action, *rule.cautions, rule.for_installer, rule.for_client):
            assert text.strip().endswith((".", "!")), rule.id
        assert rule.source
        assert rule.causes
        assert "TDS" not in rule.for_client, f"{rule.id}: a client sentence without jargon"


def test_a_doubtful_reading_makes_a_membrane_verdict_less_sure() -> None:
    changes = {"normalised_salt_passage_ratio": 2.4, "carbon_outlet_total_chlorine_mg_per_l": 0.3}
    sure = {match.id: match for match in diagnose({**HEALTHY, **changes})}
    doubtful = {match.id: match for match in diagnose({**HEALTHY, **changes, "salt_balance_closure_fraction": 0.3})}
    assert doubtful["D05"].confidence < 0.7 * sure["D05"].confidence
    assert doubtful["D05"].doubted_by == ("D36",)


def test_a_cellulose_membrane_may_meet_chlorine() -> None:
    changes = {"normalised_salt_passage_ratio": 2.4, "carbon_outlet_total_chlorine_mg_per_l": 0.3}
    rule_ids = {match.id for match in diagnose({**HEALTHY, **changes, "membrane_material": "cellulose"})}
    assert not rule_ids & {"D05", "D44"}


def test_confidence_grows_with_the_margin() -> None:
    weaker = {match.id: match for match in diagnose({**HEALTHY, "prefilter_outlet_pressure_kpa": 320.0})}
    stronger = {match.id: match for match in diagnose({**HEALTHY, "prefilter_outlet_pressure_kpa": 200.0})}
    assert stronger["D01"].confidence > weaker["D01"].confidence


@pytest.mark.parametrize(
    ("rule", "changes", "why_not"),
    [
        ("D01", {"prefilter_outlet_pressure_kpa": 352.0}, "62 kPa at 15 degC is 48 at 25: the limit is 49"),
        ("D02", {"line_pressure_kpa": 350.0}, "64 kPa below baseline is below 10 psi"),
        (
            "D64",
            {**ONE_GAUGE, "clean_inlet_pressure_kpa": 321.0, "inlet_pressure_kpa": 321.0},
            "from mark to mark of a gauge: no more than 10 psi",
        ),
        (
            "D49",
            {**ONE_GAUGE, "clean_inlet_pressure_kpa": 450.0, "inlet_pressure_kpa": 375.0},
            "390 kPa are usual: the line was strong in the week of the change",
        ),
        (
            "D65",
            {
                **NOT_NORMALISED,
                "salt_level_ratio": 2.8,
                "flow_as_read_level_ratio": 0.6,
                "flow_level_behind_tank_ratio": 0.9,
            },
            "the flow fell as well: chlorine leaves it",
        ),
        (
            "D46",
            {"feed_tds_mg_per_l": None, "permeate_tds_mg_per_l": 33.0},
            "10 % of the usual 250 mg/L and of a season's third more, less than a step above it",
        ),
        ("D05", {"normalised_salt_passage_ratio": 2.4}, "no chlorine"),
        ("D07", {"normalised_flow_ratio": 0.78, "normalised_salt_passage_ratio": 1.3}, "the concentrate cannot scale"),
        ("D11", {"interstage_tds_mg_per_l": 7.0}, "78 % is not exhausted"),
        ("D11", {"interstage_tds_mg_per_l": 2.0, "permeate_tds_mg_per_l": 2.0}, "below three steps of the meter"),
        ("D15", {"feed_tds_mg_per_l": 400.0}, "the permeate did not follow"),
        ("D18", {"permeate_tds_mg_per_l": 900.0}, "swapping does not restore the baseline"),
        ("D21", {"tank_is_full": True, "tank_pressure_kpa": 200.0, "tank_valve": "open"}, "below two thirds"),
        ("D10", {"normalised_flow_ratio": 0.82, "membrane_age_days": 1200.0}, "5 % a year is what membranes lose"),
        ("D08", {"normalised_flow_ratio": 0.8, "membrane_age_days": 1461.0}, "5 % a year is what membranes lose"),
        (
            "D08",
            {
                "normalised_flow_ratio": 0.6,
                "normalised_salt_passage_ratio": 2.1,
                "concentrate_langelier_index": 0.1,
            },
            "more salt comes as well",
        ),
        ("D53", {"has_float_valve": True, "has_automatic_shutoff": True, "has_check_valve": True}, "the set is whole"),
        (
            "D49",
            {
                "line_pressure_kpa": None,
                "prefilter_outlet_pressure_kpa": None,
                "clean_inlet_pressure_kpa": 390.0,
                "inlet_pressure_kpa": 300.0,
            },
            "the unit has a gauge in the line, which was not read",
        ),
        ("D63", {"product_tds_mg_per_l": 1.0, "has_lag_resin": True}, "one step of the meter"),
        ("D24", {"temperature_degc": 6.0, "permeate_flow_l_per_day": 140.0, "normalised_flow_ratio": 0.7}, "a fault"),
        (
            "D24",
            {"permeate_flow_l_per_day": 140.0, "baseline_temperature_degc": 6.0, "temperature_degc": 6.0},
            "as ever",
        ),
        (
            "D24",
            {"permeate_flow_l_per_day": 140.0, "baseline_temperature_degc": None, "temperature_degc": 6.0},
            "no base",
        ),
        ("D25", {"concentrate_flow_l_per_day": 600.0}, "a ratio of 3 against 4 is within practice"),
        (
            "D25",
            {"concentrate_flow_l_per_day": 200.0, "first_waste_ratio_over_design": 0.4},
            "it never passed more: it is of another size",
        ),
        (
            "D25",
            {"concentrate_flow_l_per_day": 390.0, "waste_ratio": 2.6, "first_waste_ratio_over_design": 2.0},
            "it passed too much at first, and does no longer",
        ),
        (
            "D26",
            {
                "concentrate_flow_l_per_day": 1700.0,
                "first_waste_ratio_over_design": 0.5,
                "waste_ratio_over_design": 1.0,
            },
            "it passed too little at first, and now as by design",
        ),
        ("D42", {"line_pressure_kpa": 200.0, "has_booster_pump": True}, "a pump is fitted"),
        ("D45", {"interstage_chlorine_mg_per_l": 0.45}, "45 % of the feed's"),
        ("D46", {"permeate_tds_mg_per_l": 25.5}, "less than a step of the meter above 10 % of the feed"),
        ("D12", {"product_tds_mg_per_l": 1.5, "has_lag_resin": True}, "half a step past the limit"),
        ("D52", {"concentrate_never_stops": True, "has_automatic_shutoff": False}, "there is no valve to replace"),
        ("D52", {"concentrate_never_stops": True, "tank_pressure_kpa": 100.0}, "a low tank keeps the valve open"),
        ("D52", {"tank_is_full": True}, "permeate is being drawn"),
        ("D54", {"pump_cycles_rapidly": True}, "the drain stops"),
        ("D56", {"tap_soon_trickles": True, "has_pressurised_tank": False}, "an open container has no air charge"),
        (
            "D56",
            {"slow_filling": True, "tank_pressure_kpa": 30.0, "tank_precharge_kpa": 50.0},
            "pressure of the charge",
        ),
        ("D57", {"slow_filling": True, "tank_pressure_kpa": 20.0, "tank_precharge_kpa": 50.0}, "the tank explains it"),
        ("D60", {"resin_colour_changed_fraction": 0.8}, "the outlets were read, and decide"),
        ("D77", {"no_water": True, "is_switched_off": True}, "somebody switched it off, which explains it"),
    ],
)
def test_near_misses_are_not_found(rule: str, changes: dict[str, float | bool | str | None], why_not: str) -> None:
    assert rule not in {match.id for match in diagnose({**HEALTHY, **changes})}, why_not


def test_limits_of_patterns_can_be_set() -> None:
    context = {**HEALTHY, "weeks_since_last_reading": 6.0}
    assert diagnose(context) == []
    assert [match.id for match in diagnose(context, pattern_limits=PatternLimits(weeks_unread=5.0))] == ["D41"]
    assert all(field.type in ("float", float) for field in fields(PatternLimits))


@pytest.mark.parametrize(
    ("context", "field"),
    [
        ({"line_presure_kpa": 400.0}, "line_presure_kpa"),
        ({"line_pressure_kpa": "400"}, "line_pressure_kpa"),
        ({"line_pressure_kpa": True}, "line_pressure_kpa"),
        ({"line_pressure_kpa": math.inf}, "line_pressure_kpa"),
        ({"has_resin": 1}, "has_resin"),
        ({"state": "running"}, "state"),
    ],
)
def test_a_fact_that_cannot_be_used_is_refused_by_name(context: dict[str, object], field: str) -> None:
    with pytest.raises(EngineeringError) as caught:
        diagnose(context)  # type: ignore[arg-type]
    assert caught.value.field == field


def test_probes_exchanged_from_the_first_day_are_named_beside_the_other_causes() -> None:
    """No baseline yet: 9 behind, 260 before would be a salt passage of 3.5 %; 90 of 260 would be no sound membrane."""
    matches = {match.id: match for match in diagnose({"feed_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 260.0})}
    assert set(matches) == {"D18", "D19"}
    assert matches["D18"].confidence == matches["D19"].confidence == 0.6
    matches = {match.id: match for match in diagnose({"feed_tds_mg_per_l": 90.0, "permeate_tds_mg_per_l": 260.0})}
    assert set(matches) == {"D19"}
    assert matches["D19"].confidence == 0.8


def test_a_drain_that_has_nearly_stopped_is_blocked_though_the_membrane_gives_more() -> None:
    """Drain of 86 L/day where 725 ran, and a sixth more permeate: the permeate does not explain a ratio of 0.4."""
    facts = {
        "permeate_flow_l_per_day": 216.0,
        "concentrate_flow_l_per_day": 86.4,
        "baseline_concentrate_flow_l_per_day": 725.0,
        "baseline_waste_ratio": 4.83,
        "design_recovery_fraction": 0.2,
        "normalised_flow_ratio": 1.168,
    }
    assert "D25" in {match.id for match in diagnose(facts)}
    # 580 of 725 is 0.8: the drain runs nearly as ever, and the larger permeate lowers the ratio.
    wetter = {**facts, "concentrate_flow_l_per_day": 570.0, "permeate_flow_l_per_day": 200.0}
    assert "D25" not in {match.id for match in diagnose(wetter)}


def test_what_was_not_read_is_not_said_to_read_as_the_permeate() -> None:
    (match,) = diagnose({"permeate_tds_mg_per_l": 11.0, "product_tds_mg_per_l": 11.0})
    assert match.id == "D12"
    assert "lead outlet was not read" in match.for_installer
    (match,) = diagnose({"permeate_tds_mg_per_l": 11.0, "product_tds_mg_per_l": 11.0, "interstage_tds_mg_per_l": 11.0})
    assert match.for_installer.startswith("Lead outlet and product both read")


_LESS_WATER = {"permeate_flow_l_per_day": 140.0, "temperature_degc": 6.0}


@pytest.mark.parametrize(
    ("rule", "fault"),
    [
        ("D01", {"prefilter_outlet_pressure_kpa": 250.0}),
        ("D02", {"line_pressure_kpa": 300.0, "prefilter_outlet_pressure_kpa": 285.0}),
        ("D03", {"has_booster_pump": True, "inlet_pressure_kpa": 380.0, "baseline_inlet_pressure_kpa": 600.0}),
    ],
)
def test_less_water_is_not_called_normal_beside_what_has_to_be_repaired(
    rule: str, fault: dict[str, float | bool]
) -> None:
    matches = {match.id: match for match in diagnose({**HEALTHY, **_LESS_WATER, **fault})}
    assert rule in matches
    assert "D24" not in matches
    assert not any("this is normal" in match.for_client for match in matches.values())


def test_less_water_by_low_pressure_is_not_laid_to_the_cold() -> None:
    weak = {"permeate_flow_l_per_day": 140.0, "inlet_pressure_kpa": 300.0, "line_pressure_kpa": None}
    weak["prefilter_outlet_pressure_kpa"] = None
    matches = {match.id: match for match in diagnose({**HEALTHY, **weak})}
    match = matches["D48"]
    assert "D24" not in matches
    assert "cold" not in match.for_client + match.for_installer + match.title
    assert "low pressure" in match.for_client
    assert match.causes == ("low_net_driving_pressure",) == tuple(cause.code for cause in match.rule.causes)
    both = {match.id: match for match in diagnose({**HEALTHY, **weak, "temperature_degc": 6.0})}
    assert "D24" not in both
    assert "low pressure and colder water" in both["D48"].for_client


def test_a_season_is_told_by_the_water_and_not_by_the_weather() -> None:
    for match in (
        *diagnose({**HEALTHY, **_LESS_WATER}),
        *diagnose(
            {**HEALTHY, "temperature_degc": 24.0, "permeate_flow_l_per_day": 270.0, "permeate_tds_mg_per_l": 12.0}
        ),
    ):
        assert "weather" not in match.for_client


def test_a_unit_with_one_resin_is_not_told_of_two() -> None:
    exhausted_resin = {"interstage_tds_mg_per_l": None, "product_tds_mg_per_l": 9.0, "permeate_tds_mg_per_l": 9.0}
    single = [
        m
        for m in diagnose({**HEALTHY, **exhausted_resin, "has_lag_resin": False})
        if m.causes[0] == "di_both_exhausted"
    ]
    assert len(single) == 1
    for text in (single[0].for_client, single[0].for_installer, single[0].action, single[0].rule.title):
        assert "oth " not in text, text
        assert "cartridges" not in text, text
    paired = {**HEALTHY, **exhausted_resin, "interstage_tds_mg_per_l": 9.0, "has_lag_resin": True}
    assert any("Both resin cartridges" in match.for_client for match in diagnose(paired))


def test_filters_that_nobody_measured_are_not_called_fine() -> None:
    fell = {"line_pressure_kpa": 300.0, "prefilter_outlet_pressure_kpa": None, "inlet_pressure_kpa": None}
    match = next(match for match in diagnose({**HEALTHY, **fell}) if match.id == "D02")
    assert "filters are fine" not in match.for_client
    assert "not measured" in match.for_installer


def test_too_little_rejection_stands_behind_the_finding_that_explains_it() -> None:
    """30 of 250 mg/L pass: alone it is the surest that can be said, beside a leak only its sign."""
    weak = {**HEALTHY, "permeate_tds_mg_per_l": 30.0, "normalised_salt_passage_ratio": 1.0}
    alone = {match.id: match for match in diagnose(weak)}
    assert alone["D46"].confidence > 0.55
    assert "look for the cause" in alone["D46"].for_client
    leaking = {match.id: match for match in diagnose({**weak, "salt_passage_step_ratio": 3.0})}
    assert leaking["D46"].confidence < leaking["D06"].confidence
    # One thing is told to the client once: that the cause is looked for contradicts that it is known.
    assert leaking["D46"].for_client == ""
    assert leaking["D06"].for_client


def test_a_unit_that_was_never_read_had_no_readings_before() -> None:
    """Nothing is asked of the client here: who has no meter is asked for something else, which the status says."""
    (since,) = diagnose({"weeks_since_last_reading": 30.0})
    (never,) = diagnose({"weeks_since_last_reading": 30.0, "never_read": True})
    assert (since.id, never.id) == ("D41", "D41")
    assert since.for_client == "We have had no reading from your unit for a while."
    assert never.for_client == "Nobody has read your unit yet."
    assert "since it was commissioned" in never.for_installer


def test_a_membrane_is_judged_by_the_usual_feed_where_nobody_read_it() -> None:
    """Of 250 mg/L and a season's third more a tenth is 32.5: 40 is past it by more than a step of the meter."""
    changes = {"feed_tds_mg_per_l": None, "feed_read_days_before": 40.0, "permeate_tds_mg_per_l": 40.0}
    match = next(match for match in diagnose({**HEALTHY, **changes}) if match.id == "D46")
    assert match.numbers["rejection"] == pytest.approx(1.0 - 40.0 / 325.0)
    assert "40 days" in match.for_installer


@pytest.mark.parametrize(("permeate", "is_said"), [(4.0, True), (5.0, True), (6.0, False)])
def test_other_water_is_told_on_soft_water_as_far_as_the_meter_rounds(permeate: float, *, is_said: bool) -> None:
    """80 mg/L have become 140, 1.75 times as much: of 2 mg/L 3.5, and as the meter rounds between 1.75 and 5.25."""
    changes = {
        **NOT_NORMALISED,
        "baseline_feed_tds_mg_per_l": 80.0,
        "feed_tds_mg_per_l": 140.0,
        "baseline_permeate_tds_mg_per_l": 2.0,
        "permeate_tds_mg_per_l": permeate,
    }
    assert ("D15" in {match.id for match in diagnose({**HEALTHY, **changes})}) is is_said
