"""What follows from facts when some are missing, by hand: waste, recovery, differential pressure, chlorine."""

import pytest

from fleet.engineering.diagnosis import PatternLimits
from fleet.engineering.diagnosis.facts import Fact, Facts
from fleet.engineering.limits import HOUSE

PERMEATE, DRAIN = "permeate_flow_l_per_day", "concentrate_flow_l_per_day"
LINE, BEHIND, INLET = "line_pressure_kpa", "prefilter_outlet_pressure_kpa", "inlet_pressure_kpa"


def facts(**context: Fact) -> Facts:
    return Facts(context, HOUSE, PatternLimits())


@pytest.mark.parametrize(
    ("context", "ratio"),
    [
        ({"waste_ratio": 3.0, PERMEATE: 100.0, DRAIN: 400.0}, 3.0),
        ({PERMEATE: 100.0, DRAIN: 400.0, "recovery_fraction": 0.5}, 4.0),
        ({PERMEATE: 0.5, DRAIN: 2.0}, 4.0),
        ({PERMEATE: 0.0, DRAIN: 400.0}, None),
        ({PERMEATE: 0.0, DRAIN: 400.0, "recovery_fraction": 0.5}, 1.0),
        ({PERMEATE: 100.0}, None),
        ({DRAIN: 100.0, "recovery_fraction": 0.2}, 4.0),
        ({"recovery_fraction": 1.0}, 0.0),
        ({"recovery_fraction": 0.0}, None),
        ({"recovery_fraction": 1.1}, None),
        ({}, None),
    ],
)
def test_waste_over_permeate(context: dict[str, Fact], ratio: float | None) -> None:
    assert facts(**context).waste_ratio == (None if ratio is None else pytest.approx(ratio))


@pytest.mark.parametrize(
    ("context", "ratio"),
    [
        ({"baseline_waste_ratio": 0.5, "design_recovery_fraction": 0.2}, 0.5),
        ({"baseline_waste_ratio": 0.0, "design_recovery_fraction": 0.2}, 4.0),
        ({"design_recovery_fraction": 0.2}, 4.0),
        ({"design_recovery_fraction": 0.0}, None),
        ({"design_recovery_fraction": 1.0}, None),
        ({}, None),
    ],
)
def test_waste_of_the_baseline_or_of_the_design(context: dict[str, Fact], ratio: float | None) -> None:
    assert facts(**context).baseline_waste_ratio == (None if ratio is None else pytest.approx(ratio))


@pytest.mark.parametrize(
    ("context", "recovery"),
    [
        ({"recovery_fraction": 0.3, "waste_ratio": 4.0}, 0.3),
        ({"waste_ratio": 4.0}, 0.2),
        ({PERMEATE: 100.0, DRAIN: 300.0}, 0.25),
        ({}, None),
    ],
)
def test_recovery_as_given_or_by_the_waste(context: dict[str, Fact], recovery: float | None) -> None:
    assert facts(**context).recovery == (None if recovery is None else pytest.approx(recovery))


@pytest.mark.parametrize(
    ("context", "differential"),
    [
        ({"prefilter_differential_pressure_kpa": 33.0, LINE: 400.0, BEHIND: 380.0}, 33.0),
        ({LINE: 400.0, BEHIND: 380.0, INLET: 350.0}, 20.0),
        ({LINE: 400.0, INLET: 350.0}, 50.0),
        # at rest the inlet stands at the pressure of the line
        ({"static_inlet_pressure_kpa": 410.0, INLET: 350.0}, 60.0),
        ({LINE: 400.0, "static_inlet_pressure_kpa": 410.0, INLET: 350.0}, 50.0),
        ({LINE: 400.0, INLET: 550.0, "has_booster_pump": True}, None),
        ({LINE: 400.0, BEHIND: 380.0, INLET: 550.0, "has_booster_pump": True}, 20.0),
        ({LINE: 400.0}, None),
        ({BEHIND: 380.0}, None),
        ({INLET: 350.0}, None),
    ],
)
def test_differential_pressure_by_the_gauges_there_are(context: dict[str, Fact], differential: float | None) -> None:
    assert facts(**context).prefilter_differential_pressure_kpa == differential


def test_of_the_prefilters_is_said_nothing_where_nothing_was_read() -> None:
    assert facts().prefilter_differential_pressure_is_normal is None
    assert facts(prefilter_differential_pressure_kpa=5.0).prefilter_differential_pressure_is_normal is True
    assert facts(prefilter_differential_pressure_kpa=200.0).prefilter_differential_pressure_is_normal is False


def test_a_limit_of_prefilters_knows_water_from_half_a_degree_to_45() -> None:
    """The formula of the viscosity holds there; what lies outside is taken at its ends."""

    def limit(temperature: float) -> float:
        return facts(temperature_degc=temperature, line_pressure_kpa=600.0).prefilter_limit_kpa

    assert limit(-1.0) == limit(0.5) > limit(0.9) > limit(2.0)
    assert limit(60.0) == limit(45.0) < limit(44.0)
    assert limit(25.0) == pytest.approx(HOUSE.prefilter_differential_pressure_kpa)


@pytest.mark.parametrize(
    ("context", "factor"),
    [
        ({PERMEATE: 200.0, DRAIN: 1000.0}, 1.5),
        ({PERMEATE: 50.0, DRAIN: 250.0}, 1.0),
        ({PERMEATE: 200.0}, 1.0),
        ({PERMEATE: 200.0, DRAIN: 1000.0, "baseline_permeate_flow_l_per_day": None}, 1.0),
        ({PERMEATE: 1.0, DRAIN: 1.0, "baseline_permeate_flow_l_per_day": 0.25,
          "baseline_concentrate_flow_l_per_day": 0.25}, 4.0),
        ({PERMEATE: 200.0, DRAIN: 1000.0, "baseline_permeate_flow_l_per_day": 0.0,
          "baseline_concentrate_flow_l_per_day": 0.0}, 1.0),
    ],
)  # fmt: skip
def test_only_a_larger_feed_flow_explains_a_higher_differential(context: dict[str, Fact], factor: float) -> None:
    usual = {"baseline_permeate_flow_l_per_day": 200.0, "baseline_concentrate_flow_l_per_day": 600.0, LINE: 600.0}
    assert facts(**{**usual, **context}).prefilter_limit_kpa == pytest.approx(
        factor * HOUSE.prefilter_differential_pressure_kpa
    )


@pytest.mark.parametrize(
    ("total", "free", "chlorine", "passes"),
    [(0.2, 0.05, 0.2, True), (0.05, 0.2, 0.2, True), (None, 0.09, 0.09, False), (0.1, None, 0.1, True),
     (None, None, None, False)],
)  # fmt: skip
def test_chlorine_after_carbon_is_the_larger_of_two_tests(
    total: float | None, free: float | None, chlorine: float | None, passes: bool
) -> None:
    f = facts(carbon_outlet_total_chlorine_mg_per_l=total, carbon_outlet_free_chlorine_mg_per_l=free)
    assert (f.chlorine_after_carbon, f.chlorine_passes) == (chlorine, passes)


@pytest.mark.parametrize(
    ("permeate", "feed", "base_permeate", "base_feed", "ratio"),
    [
        (20.0, 250.0, 10.0, 250.0, 2.0),
        (20.0, 500.0, 10.0, 250.0, 1.0),
        (1.0, 25.0, 0.5, 50.0, 4.0),
        (20.0, 0.0, 10.0, 250.0, None),
        (20.0, 250.0, 0.0, 250.0, None),
        (20.0, 250.0, 10.0, None, None),
        (None, 250.0, 10.0, 250.0, None),
    ],
)
def test_salt_passage_over_that_of_the_baseline(
    permeate: float | None, feed: float, base_permeate: float, base_feed: float | None, ratio: float | None
) -> None:
    f = facts(
        permeate_tds_mg_per_l=permeate, feed_tds_mg_per_l=feed, baseline_permeate_tds_mg_per_l=base_permeate,
        baseline_feed_tds_mg_per_l=base_feed,
    )  # fmt: skip
    assert f.salt_passage_ratio_raw == (None if ratio is None else pytest.approx(ratio))


@pytest.mark.parametrize(
    ("context", "runs_on"),
    [
        ({"concentrate_never_stops": True}, True),
        ({"concentrate_is_running_with_full_tank": True}, True),
        ({"concentrate_is_running": True, "tank_is_full": True}, True),
        ({DRAIN: 0.5, "tank_is_full": True}, True),
        ({DRAIN: 0.0, "tank_is_full": True}, False),
        ({"concentrate_is_running": True}, False),
        ({DRAIN: 300.0, "tank_is_full": False}, False),
        ({"tank_is_full": True}, False),
        ({"concentrate_never_stops": False}, False),
    ],
)
def test_a_drain_that_runs_when_it_should_not(context: dict[str, Fact], runs_on: bool) -> None:
    assert facts(**context).concentrate_runs_on is runs_on


def test_what_is_not_known_is_neither_yes_nor_no() -> None:
    f = facts(has_tank=True, has_resin=False, permeate_ph=float("nan"), state=None)
    assert [(f.yes(name), f.no(name)) for name in ("has_tank", "has_resin", "has_check_valve")] == [
        (True, False), (False, True), (False, False),
    ]  # fmt: skip
    assert (f.number("permeate_ph"), f.text("state")) == (None, "")
    for ask in (f.number, f.yes, f.no):
        with pytest.raises(KeyError):
            ask("colour_of_the_van")
