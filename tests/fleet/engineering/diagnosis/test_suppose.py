"""A reading that is only supposed: what equals its baseline is the baseline, and what was read at rest is no flow."""

import pytest

from fleet.engineering.diagnosis.suppose import suppose
from fleet.engineering.errors import EngineeringError

BASELINE = {
    "baseline_inlet_pressure_kpa": 400.0,
    "baseline_temperature_degc": 15.0,
    "baseline_feed_tds_mg_per_l": 250.0,
    "baseline_permeate_tds_mg_per_l": 10.0,
}


def read(permeate_flow: float, drain: float, **more: float | str) -> dict[str, float | str]:
    return {
        "inlet_pressure_kpa": 400.0, "temperature_degc": 15.0, "feed_tds_mg_per_l": 250.0,
        "permeate_tds_mg_per_l": 10.0, "permeate_flow_l_per_day": permeate_flow, "concentrate_flow_l_per_day": drain,
        **more,
    }  # fmt: skip


def ratios(permeate_flow: float, drain: float, **facts: float | bool | None) -> tuple[float, float]:
    """Normalised flow and salt passage of a reading that is the baseline itself."""
    baseline = {
        **BASELINE, "baseline_permeate_flow_l_per_day": permeate_flow, "baseline_concentrate_flow_l_per_day": drain,
    }  # fmt: skip
    context = suppose(read(permeate_flow, drain), {**baseline, **facts}).context
    return context["normalised_flow_ratio"], context["normalised_salt_passage_ratio"]


@pytest.mark.parametrize(("permeate_flow", "drain"), [(150.0, 600.0), (200.0, 200.0), (0.5, 0.5), (900.0, 100.0)])
@pytest.mark.parametrize("facts", [{}, {"design_recovery_fraction": 0.35}, {"has_booster_pump": True}])
def test_a_reading_that_equals_its_baseline_has_changed_nothing(
    permeate_flow: float, drain: float, facts: dict[str, float | bool]
) -> None:
    """Whatever recovery the unit was set up for: that of the baseline counts."""
    assert ratios(permeate_flow, drain, **facts) == pytest.approx((1.0, 1.0), rel=1e-6)


@pytest.mark.parametrize(("permeate_flow", "counts"), [(940.0, True), (960.0, False)])
def test_a_recovery_that_no_unit_has_is_no_baseline(permeate_flow: float, counts: bool) -> None:
    """From 95 % on the drain was not read right, and the design counts."""

    def flow(drain: float | None) -> float:
        told = {"baseline_permeate_flow_l_per_day": permeate_flow, "baseline_concentrate_flow_l_per_day": drain}
        return suppose(read(150.0, 600.0), {**BASELINE, **told}).context["normalised_flow_ratio"]

    assert (flow(1000.0 - permeate_flow) != pytest.approx(flow(None), rel=1e-6)) is counts


def test_without_flows_the_design_counts_and_without_it_a_fifth() -> None:
    reading = read(150.0, 600.0)
    flow = {"baseline_permeate_flow_l_per_day": 150.0}
    usual = suppose(reading, {**BASELINE, **flow}).context
    for drain in (None, -5.0, "much"):
        told = {**BASELINE, **flow, "design_recovery_fraction": 0.2}
        if drain != "much":
            told["baseline_concentrate_flow_l_per_day"] = drain
        context = suppose(reading, told).context
        assert context["normalised_flow_ratio"] == pytest.approx(usual["normalised_flow_ratio"])
    # 150 of 750 is a fifth
    assert usual["normalised_flow_ratio"] == pytest.approx(1.0, rel=1e-6)
    half = suppose(reading, {**BASELINE, **flow, "design_recovery_fraction": 0.5}).context
    assert half["normalised_flow_ratio"] != pytest.approx(1.0, rel=1e-3)


@pytest.mark.parametrize("missing", [*BASELINE])
def test_half_a_baseline_is_none(missing: str) -> None:
    """A baseline of which one value is missing refers nothing to it; one that is no number counts as missing."""
    told = {name: value for name, value in BASELINE.items() if name != missing}
    flow = {"baseline_permeate_flow_l_per_day": 150.0}
    for value in ({}, {missing: None}):
        context = suppose(read(150.0, 600.0), {**told, **flow, **value}).context
        assert "normalised_flow_ratio" not in context
        assert "normalised_salt_passage_ratio" not in context


def test_a_baseline_whose_permeate_is_saltier_than_its_feed_is_refused() -> None:
    told = {**BASELINE, "baseline_permeate_tds_mg_per_l": 250.0}
    suppose(read(150.0, 600.0), told)
    with pytest.raises(EngineeringError) as caught:
        suppose(read(150.0, 600.0), {**told, "baseline_permeate_tds_mg_per_l": 250.1})
    assert caught.value.field == "baseline_permeate_tds_mg_per_l"


def test_what_the_inlet_shows_at_rest_is_the_pressure_of_the_line() -> None:
    at_rest = suppose({"inlet_pressure_kpa": 410.0, "state": "static"}).context
    assert at_rest["static_inlet_pressure_kpa"] == 410.0
    assert "inlet_pressure_kpa" not in at_rest
    flowing = suppose({"inlet_pressure_kpa": 410.0, "state": "flowing"}).context
    assert flowing["inlet_pressure_kpa"] == 410.0
    assert "static_inlet_pressure_kpa" not in flowing
    assert "static_inlet_pressure_kpa" not in suppose({"permeate_tds_mg_per_l": 9.0, "state": "static"}).context


def test_of_the_first_minutes_no_normalised_value_is_had_and_the_rest_is() -> None:
    told = {**BASELINE, "baseline_permeate_flow_l_per_day": 150.0, "baseline_concentrate_flow_l_per_day": 600.0}
    steady = suppose(read(150.0, 600.0, minutes_since_start=20.0), told).context
    early = suppose(read(150.0, 600.0, minutes_since_start=1.0), told).context
    assert "normalised_flow_ratio" in steady
    assert not [name for name in early if name.startswith("normalised")]
    assert early["waste_ratio"] == pytest.approx(4.0)


def test_of_no_reading_only_what_was_told_is_known() -> None:
    supposed = suppose({}, {"has_resin": True})
    assert dict(supposed.context) == {"has_resin": True}
    assert (dict(supposed.indicators), dict(supposed.reasons)) == ({}, {})
