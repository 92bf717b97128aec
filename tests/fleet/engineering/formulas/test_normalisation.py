"""Formulas that take whole operating points: arrays as scalars, directions, refusals, and lookups without a formula."""

import math
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas import carbon, expected_flow, normalisation, scaling, tank, targets, trends
from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.normalisation import OperatingPoint

BASE = OperatingPoint(414.0, 300.0, 10.0, 0.2, 25.0)
LABEL = MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.96)

points = st.builds(
    OperatingPoint,
    inlet_pressure_kpa=st.floats(150.0, 900.0),
    feed_tds_mg_per_l=st.floats(50.0, 1000.0),
    permeate_tds_mg_per_l=st.floats(0.0, 45.0),
    recovery_fraction=st.floats(0.0, 0.6),
    temperature_degc=st.floats(1.0, 45.0),
    feed_brine_drop_kpa=st.floats(0.0, 15.0),
)


def stacked(first: OperatingPoint, second: OperatingPoint) -> OperatingPoint:
    return OperatingPoint(
        **{name: np.array([getattr(first, name), getattr(second, name), math.nan]) for name in vars(first)}
    )


@given(first=points, second=points, flow=st.floats(1.0, 900.0))
def test_operating_points_as_arrays(first: OperatingPoint, second: OperatingPoint, flow: float) -> None:
    both = stacked(first, second)
    for function in (
        normalisation.net_driving_pressure_kpa,
        lambda point: normalisation.normalised_permeate_flow_l_per_day(flow, point, BASE),
        lambda point: normalisation.normalised_salt_passage_fraction(point, BASE),
        lambda point: normalisation.normalised_salt_passage_fraction(point, BASE, salt_tcf_method="arrhenius"),
    ):
        together = function(both)
        assert together[0] == pytest.approx(function(first), rel=1e-12)
        assert together[1] == pytest.approx(function(second), rel=1e-12)
        assert math.isnan(together[2])


@given(point=points, flow=st.floats(1.0, 900.0))
def test_normalising_to_its_own_condition_changes_nothing(point: OperatingPoint, flow: float) -> None:
    assert normalisation.normalised_permeate_flow_l_per_day(flow, point, point) == pytest.approx(flow)
    passage = normalisation.salt_passage_fraction(point.feed_tds_mg_per_l, point.permeate_tds_mg_per_l)
    assert normalisation.normalised_salt_passage_fraction(point, point) == pytest.approx(passage)


@given(a=points, b=points, flow=st.floats(1.0, 900.0))
def test_normalising_by_way_of_another_condition_is_the_same(a: OperatingPoint, b: OperatingPoint, flow: float) -> None:
    halfway = normalisation.normalised_permeate_flow_l_per_day(flow, a, b)
    by_way = normalisation.normalised_permeate_flow_l_per_day(halfway, b, BASE)
    assert by_way == pytest.approx(normalisation.normalised_permeate_flow_l_per_day(flow, a, BASE), rel=1e-9)


@given(point=points, flow=st.floats(1.0, 900.0), factor=st.floats(0.3, 1.5))
def test_a_membrane_that_only_changed_by_a_factor_shows_that_factor(
    point: OperatingPoint, flow: float, factor: float
) -> None:
    """A membrane passes water in proportion to driving pressure: whatever the weather, the loss is what is seen."""
    new = expected_flow.expected_permeate_flow_l_per_day(
        replace(LABEL, flow_l_per_day=284.0),
        pressure_kpa=point.inlet_pressure_kpa,
        temperature_degc=point.temperature_degc,
        tds_mg_per_l=point.feed_tds_mg_per_l,
        recovery_fraction=point.recovery_fraction,
    )
    read_point = OperatingPoint(
        point.inlet_pressure_kpa,
        point.feed_tds_mg_per_l,
        0.04 * point.feed_tds_mg_per_l,
        point.recovery_fraction,
        point.temperature_degc,
    )
    label = LABEL.point()
    assert normalisation.normalised_permeate_flow_l_per_day(factor * new, read_point, label) == pytest.approx(
        factor * 284.0, rel=1e-9
    )


@given(inlet=st.floats(200.0, 800.0), temperature=st.floats(1.0, 45.0), tds=st.floats(20.0, 1500.0))
def test_expected_flow_as_arrays_and_its_directions(inlet: float, temperature: float, tds: float) -> None:
    site = {"pressure_kpa": inlet, "temperature_degc": temperature, "tds_mg_per_l": tds}
    columns = {name: np.array([value, value, math.nan]) for name, value in site.items()}
    alone = expected_flow.expected_permeate_flow_l_per_day(LABEL, recovery_fraction=0.2, **site)
    many = expected_flow.expected_permeate_flow_l_per_day(LABEL, recovery_fraction=0.2, **columns)
    assert many[0] == pytest.approx(alone)
    assert math.isnan(many[2])
    recovery = expected_flow.expected_recovery_fraction(LABEL, concentrate_flow_l_per_day=800.0, **site)
    recoveries = expected_flow.expected_recovery_fraction(LABEL, concentrate_flow_l_per_day=800.0, **columns)
    assert recoveries[0] == pytest.approx(recovery)
    assert math.isnan(recoveries[2])
    more = expected_flow.expected_recovery_fraction(
        LABEL, concentrate_flow_l_per_day=800.0, **{**site, "pressure_kpa": inlet * 1.2}
    )
    assert more > recovery
    assert expected_flow.expected_recovery_fraction(LABEL, concentrate_flow_l_per_day=1600.0, **site) < recovery


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: normalisation.net_driving_pressure_kpa(replace(BASE, inlet_pressure_kpa=20.0)), "inlet_pressure_kpa"),
        (lambda: normalisation.net_driving_pressure_kpa(replace(BASE, recovery_fraction=1.0)), "recovery_fraction"),
        (lambda: normalisation.net_driving_pressure_kpa(replace(BASE, temperature_degc=60.0)), "temperature_degc"),
        (
            lambda: normalisation.normalised_permeate_flow_l_per_day(100.0, BASE, BASE, tcf_method="guess"),
            "method",
        ),
        (lambda: normalisation.normalised_permeate_flow_l_per_day(-1.0, BASE, BASE), "permeate_flow_l_per_day"),
        (
            lambda: normalisation.normalised_salt_passage_fraction(BASE, BASE, salt_tcf_method="guess"),
            "salt_tcf_method",
        ),
        (
            lambda: normalisation.normalised_salt_passage_fraction(replace(BASE, permeate_tds_mg_per_l=400.0), BASE),
            "permeate_tds_mg_per_l",
        ),
        (
            lambda: expected_flow.expected_recovery_fraction(
                LABEL, pressure_kpa=5.0, temperature_degc=20.0, tds_mg_per_l=500.0, concentrate_flow_l_per_day=500.0
            ),
            "pressure_kpa",
        ),
        (
            lambda: tank.tank_fill_time_multiple(
                precharge_pressure_kpa=50.0, shutoff_pressure_kpa=280.0, net_driving_pressure_at_zero_kpa=250.0
            ),
            "net_driving_pressure_at_zero_kpa",
        ),
        (
            lambda: tank.tank_fill_time_multiple(
                precharge_pressure_kpa=50.0, shutoff_pressure_kpa=40.0, net_driving_pressure_at_zero_kpa=250.0
            ),
            "shutoff_pressure_kpa",
        ),
        (lambda: carbon.chlorine_test_result_mg_per_l("out of range high"), "chlorine"),
        (lambda: scaling.scaling_verdict(math.nan), "concentrate_langelier"),
        (lambda: trends.theil_sen_slope([1.0, 2.0], [1.0]), "values"),
        (lambda: trends.theil_sen_slope([3.0, 3.0], [1.0, 2.0]), "days"),
        (lambda: trends.days_to_change(age_days=5.0), "time_cap_days"),
        (lambda: trends.days_to_change(age_days=5.0, capacity_days=math.nan), "time_cap_days"),
        (lambda: trends.posterior_capacity(900.0, observed_lives=[0.0]), "observed_lives"),
        (lambda: trends.posterior_capacity(900.0, censored_lives=[math.nan]), "censored_lives"),
        (lambda: trends.posterior_capacity(math.nan), "prior_median"),
        (lambda: targets.iso3696_max_conductivity_us_per_cm(4), "grade"),
        (lambda: targets.iso3696_max_conductivity_us_per_cm(True), "grade"),
        (lambda: targets.astm_d1193_max_toc_ug_per_l("IV"), "water_type"),
        (lambda: targets.us_secondary_level_mg_per_l("lead"), "parameter"),
        (lambda: targets.us_lead_action_level_ug_per_l("1.11.2027"), "date"),
        (lambda: targets.us_lead_action_level_ug_per_l("1980-01-01"), "date"),
        (lambda: targets.who_palatability_class(math.nan), "tds_mg_per_l"),
        (lambda: targets.coffee_tds_target_mg_per_l("espresso"), "scale"),
        (lambda: targets.coffee_tds_target_mg_per_l(7.0), "to_factor"),
        (lambda: targets.target_for("pool"), "use"),
    ],
)
def test_refusals_name_the_field(call: object, field: str) -> None:
    with pytest.raises(EngineeringError) as caught:
        call()  # type: ignore[operator]
    assert caught.value.field == field


def test_a_missing_limit_does_not_hide_a_known_one() -> None:
    days, driver = trends.days_to_change(
        age_days=np.array([10.0, 10.0]),
        time_cap_days=180.0,
        capacity_days=np.array([math.nan, 50.0]),
        breakthrough_days=np.array([400.0, math.nan]),
    )
    assert days.tolist() == [170.0, 50.0]
    assert driver.tolist() == ["time_cap", "capacity"]


# Published values: ISO 3696:1987; ASTM D1193-99e1; 40 CFR 143.3; WHO 1996; Lead and Copper Rule Improvements 2024.
def test_published_limits() -> None:
    assert [targets.iso3696_max_conductivity_us_per_cm(grade) for grade in (1, 2, 3)] == [0.1, 1.0, 5.0]
    types = [targets.astm_d1193_max_conductivity_us_per_cm(name) for name in ("I", "II", "III", "IV")]
    assert types == [0.056, 1.0, 0.25, 5.0]
    # The standard tabulates resistivity beside it: 18, 1, 4 and 0.2 Mohm cm, to its own rounding.
    assert [round(1.0 / value, 1) for value in types] == [17.9, 1.0, 4.0, 0.2]
    levels = {name: targets.us_secondary_level_mg_per_l(name) for name in ("tds", "chloride", "sulphate", "Iron", "Mn")}
    assert levels == {"tds": 500.0, "chloride": 250.0, "sulphate": 250.0, "Iron": 0.3, "Mn": 0.05}
    bands = [targets.who_palatability_class(tds) for tds in (299.0, 300.0, 600.0, 900.0, 1200.0, 1201.0)]
    assert bands == ["excellent", "good", "fair", "poor", "poor", "unacceptable"]
    assert targets.us_lead_action_level_ug_per_l(date(2027, 10, 31)) == 15.0
    assert targets.us_lead_action_level_ug_per_l(date(2027, 11, 1)) == 10.0
    assert [targets.us_mrdl_mg_per_l(name) for name in ("chlorine", "chloramines")] == [4.0, 4.0]


def test_targets_of_uses_agree_with_the_words_of_the_house() -> None:
    assert set(targets.TARGETS) == {"reef", "planted", "drinking", "coffee", "laboratory"}
    for target in targets.TARGETS.values():
        assert target.product_tds_low_mg_per_l < target.product_tds_high_mg_per_l
    assert [scaling.scaling_verdict(index).code for index in (-0.1, 0.3, 0.8, 1.5)] == [
        "none", "low", "raise_waste_ratio", "soften",
    ]  # fmt: skip
