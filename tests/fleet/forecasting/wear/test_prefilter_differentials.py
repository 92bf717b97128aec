"""The differential pressure over the prefilters from one gauge and from two, by hand."""

import numpy as np
import pytest

from fleet.forecasting import build_fleet
from fleet.forecasting.inputs import vocabulary as words
from fleet.forecasting.wear.learned import Pool
from fleet.forecasting.wear.prefilter_differentials import (
    HIGHEST,
    LEVEL_SPREAD_KPA,
    LINE_SPREAD_KPA,
    prefilter_differentials,
)
from tests.fleet.forecasting.fleets import NOW, columns, readings

AGES = np.array([10.0, 20.0, 200.0, 300.0])


def differentials(ages=AGES, *, has_booster_pump=False, **gauges):
    fleet_columns = columns(placed=NOW - 310.0, has_booster_pump=has_booster_pump)
    fleet_columns["readings"] = readings(NOW - 310.0 + ages, **gauges)
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    return prefilter_differentials(fleet, fleet.readings, fleet.readings.day - ages, Pool())


def test_two_gauges_show_the_differential_itself():
    shown = differentials(line_pressure_kpa=400.0, prefilter_outlet_pressure_kpa=[390.0, 388.0, 370.0, 340.0])
    assert shown.differential_kpa.tolist() == [10.0, 12.0, 30.0, 60.0]
    assert shown.is_whole.all()
    assert np.isnan(shown.spread_kpa).all()


@pytest.mark.parametrize("gauge", ["inlet_pressure_kpa", "prefilter_outlet_pressure_kpa"])
def test_one_gauge_shows_how_far_it_fell_since_the_filters_were_fresh(gauge):
    """Behind fresh filters 350 and 352: one set of them, 351 with the line's spread of 20; the highest of the four is
    352, with 20 and 25 together. The level lies between, weighed by the squares."""
    shown = differentials(**{gauge: [350.0, 352.0, 330.0, 290.0]})
    weights = np.array([1.0 / LINE_SPREAD_KPA**2, 1.0 / (LINE_SPREAD_KPA**2 + LEVEL_SPREAD_KPA**2)])
    assert np.floor(HIGHEST * 3) == 0.0
    level = weights @ [351.0, 352.0] / weights.sum()
    assert shown.differential_kpa == pytest.approx(level - np.array([350.0, 352.0, 330.0, 290.0]))
    assert not shown.is_whole.any()
    assert shown.spread_kpa == pytest.approx(np.full(4, np.hypot(1.5 * LINE_SPREAD_KPA, weights.sum() ** -0.5)))


def test_behind_a_pump_the_gauge_says_nothing_of_the_filters():
    assert len(differentials(inlet_pressure_kpa=600.0, has_booster_pump=True).row) == 0
    on = [words.PUMP_STATES[words.PUMP_STATES.index("on")]] * 4
    assert len(differentials(inlet_pressure_kpa=600.0, pump=on).row) == 0
    assert len(differentials(inlet_pressure_kpa=300.0).row) == 4


def test_without_flow_nothing_is_lost_over_a_filter():
    assert len(differentials(inlet_pressure_kpa=300.0, state="static").row) == 0


def test_two_gauges_are_preferred_to_one():
    shown = differentials(
        line_pressure_kpa=[400.0, None, None, 400.0], prefilter_outlet_pressure_kpa=[390.0, 388.0, 370.0, 340.0]
    )
    assert shown.is_whole.tolist() == [True, False, False, True]
    assert shown.differential_kpa[[0, 3]].tolist() == [10.0, 60.0]


def test_a_line_that_swings_makes_one_gauge_say_less():
    """Forty units with five sets of filters each, whose fresh levels lie 60 kPa apart; and the same 2 kPa apart."""

    def spread(swing):
        random = np.random.default_rng(4)
        fleet_columns = columns(units=40, placed=NOW - 900.0)
        days = NOW - 900.0 + 180.0 * np.arange(5) + 10.0
        rows = [
            readings(days, unit=f"u{unit}", inlet_pressure_kpa=list(350.0 + swing * random.standard_normal(5)))
            for unit in range(40)
        ]
        fleet_columns["readings"] = {name: [v for row in rows for v in row[name]] for name in rows[0]}
        fleet, faults = build_fleet(**fleet_columns)
        assert faults == []
        last_change = fleet.readings.day - 10.0
        return float(np.median(prefilter_differentials(fleet, fleet.readings, last_change, Pool()).spread_kpa))

    assert spread(60.0) > 75.0
    assert spread(2.0) < 12.0
