"""Formulas that take whole operating points: arrays as scalars, directions, refusals, and lookups without a formula."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.errors import EngineeringError
from fleet.engineering.formulas import expected_flow, normalisation, tank, targets
from fleet.engineering.formulas.expected_flow import MembraneRating
from fleet.engineering.formulas.normalisation import OperatingPoint
from fleet.engineering.formulas.temperature_correction import water_tcf

BASE = OperatingPoint(414.0, 300.0, 10.0, 0.2, 25.0)
LABEL = MembraneRating(284.0, 345.0, 25.0, 250.0, 0.15, 0.96)

points = st.builds(
    OperatingPoint,
    inlet_pressure_kpa=st.floats(150.0, 900.0),
    feed_tds_mg_per_l=st.floats(50.0, 1000.0),
    permeate_tds_mg_per_l=st.floats(0.0, 45.0),
    recovery_fraction=st.floats(0.0, 0.6),
    temperature_degc=st.floats(1.0, 45.0),
    feed_brine_differential_pressure_kpa=st.floats(0.0, 15.0),
)


def flow_at(flow: float, actual: OperatingPoint, standard: OperatingPoint) -> Any:
    return normalisation.normalised_permeate_flow_l_per_day(
        flow,
        net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(actual),
        standard_net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(standard),
        tcf=water_tcf(actual.temperature_degc),
        standard_tcf=water_tcf(standard.temperature_degc),
    )


def passage_at(actual: OperatingPoint, standard: OperatingPoint) -> Any:
    return normalisation.normalised_salt_passage_fraction(
        normalisation.salt_passage_fraction(actual.feed_tds_mg_per_l, actual.permeate_tds_mg_per_l),
        net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(actual),
        standard_net_driving_pressure_kpa=normalisation.net_driving_pressure_kpa(standard),
        recovery_fraction=actual.recovery_fraction,
        standard_recovery_fraction=standard.recovery_fraction,
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
        lambda point: flow_at(flow, point, BASE),
        lambda point: passage_at(point, BASE),
    ):
        together = function(both)
        assert together[0] == pytest.approx(function(first), rel=1e-12)
        assert together[1] == pytest.approx(function(second), rel=1e-12)
        assert math.isnan(together[2])


@given(point=points, flow=st.floats(1.0, 900.0))
def test_normalising_to_its_own_condition_changes_nothing(point: OperatingPoint, flow: float) -> None:
    assert flow_at(flow, point, point) == pytest.approx(flow)
    passage = normalisation.salt_passage_fraction(point.feed_tds_mg_per_l, point.permeate_tds_mg_per_l)
    assert passage_at(point, point) == pytest.approx(passage)


@given(a=points, b=points, flow=st.floats(1.0, 900.0))
def test_normalising_by_way_of_another_condition_is_the_same(a: OperatingPoint, b: OperatingPoint, flow: float) -> None:
    halfway = flow_at(flow, a, b)
    by_way = flow_at(halfway, b, BASE)
    assert by_way == pytest.approx(flow_at(flow, a, BASE), rel=1e-9)


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
    assert flow_at(factor * new, read_point, label) == pytest.approx(factor * 284.0, rel=1e-9)


@given(inlet=st.floats(200.0, 800.0), temperature=st.floats(1.0, 45.0), tds=st.floats(20.0, 1500.0))
def test_expected_flow_as_arrays(inlet: float, temperature: float, tds: float) -> None:
    site = {"pressure_kpa": inlet, "temperature_degc": temperature, "tds_mg_per_l": tds}
    columns = {name: np.array([value, value, math.nan]) for name, value in site.items()}
    alone = expected_flow.expected_permeate_flow_l_per_day(LABEL, recovery_fraction=0.2, **site)
    many = expected_flow.expected_permeate_flow_l_per_day(LABEL, recovery_fraction=0.2, **columns)
    assert many[0] == pytest.approx(alone)
    assert math.isnan(many[2])


@pytest.mark.parametrize(
    ("call", "field"),
    [
        (lambda: normalisation.net_driving_pressure_kpa(replace(BASE, inlet_pressure_kpa=20.0)), "inlet_pressure_kpa"),
        (lambda: normalisation.net_driving_pressure_kpa(replace(BASE, recovery_fraction=1.0)), "recovery_fraction"),
        (lambda: normalisation.net_driving_pressure_kpa(replace(BASE, temperature_degc=60.0)), "temperature_degc"),
        (lambda: water_tcf(25.0, method="guess"), "method"),
        (lambda: flow_at(-1.0, BASE, BASE), "permeate_flow_l_per_day"),
        (
            lambda: passage_at(replace(BASE, permeate_tds_mg_per_l=400.0), BASE),
            "permeate_tds_mg_per_l",
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
        (lambda: targets.iso3696_max_conductivity_us_per_cm(4), "grade"),
        (lambda: targets.iso3696_max_conductivity_us_per_cm(True), "grade"),
        (lambda: targets.target_for("pool"), "use"),
    ],
)
def test_refusals_name_the_field(call: object, field: str) -> None:
    with pytest.raises(EngineeringError) as caught:
        call()  # type: ignore[operator]
    assert caught.value.field == field


# Published values: ISO 3696:1987.
def test_published_limits() -> None:
    assert [targets.iso3696_max_conductivity_us_per_cm(grade) for grade in (1, 2, 3)] == [0.1, 1.0, 5.0]
    assert targets.target_for("laboratory").product_tds_high_mg_per_l == 0.5


def test_targets_of_uses_agree_with_the_words_of_the_house() -> None:
    assert set(targets.TARGETS) == {
        "reef", "planted", "drinking", "coffee", "laboratory", "hydroponics", "fish", "other",
    }  # fmt: skip
    for target in targets.TARGETS.values():
        assert target.product_tds_low_mg_per_l < target.product_tds_high_mg_per_l
