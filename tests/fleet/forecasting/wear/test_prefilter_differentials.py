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
    _levels,
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


def town(*, years, swing_kpa, pool=None, only=40):
    """Differentials and days of forty units with one gauge, read every ten weeks; their line falls in one season of
    every year, for some places more than for others, and their filters are changed every year, each at its own time.
    Nothing clogs."""
    random = np.random.default_rng(8)
    fleet_columns = columns(units=only, placed=NOW - 365.25 * years - 400.0)
    rows, first_of = [], []
    for unit in range(40):
        first = NOW - 365.25 * years - random.uniform(0.0, 360.0)
        days = np.arange(first + 5.0, NOW, 70.0)
        own_kpa = swing_kpa * random.uniform(0.6, 1.4)
        gauge = 350.0 + own_kpa * np.cos(2.0 * np.pi * days / 365.25) + 4.0 * random.standard_normal(len(days))
        if unit < only:
            rows.append(readings(days, unit=f"u{unit}", inlet_pressure_kpa=list(gauge)))
            first_of.append(first)
    fleet_columns["readings"] = {name: [v for row in rows for v in row[name]] for name in rows[0]}
    fleet, faults = build_fleet(**fleet_columns)
    assert faults == []
    first = np.array(first_of)[fleet.readings.unit_index]
    last_change = fleet.readings.day - (fleet.readings.day - first) % 365.25
    pool = Pool() if pool is None else pool
    return prefilter_differentials(fleet, fleet.readings, last_change, pool), pool


def test_a_line_that_falls_in_one_season_of_every_year_is_no_clogging_filter():
    shown, pool = town(years=4.0, swing_kpa=40.0)
    # A third of a year at 350 - 40 would be a filter near its end; what is left is the gauge's own noise of 4 kPa.
    assert np.abs(shown.differential_kpa).mean() < 8.0
    assert np.median(shown.spread_kpa) < 25.0
    assert np.hypot(pool.means["inlet_gauge_cosine"], pool.means["inlet_gauge_sine"]) == pytest.approx(40.0, abs=8.0)


def test_in_less_than_two_years_nobody_can_tell_a_season_from_what_happened_once():
    shown, pool = town(years=0.9, swing_kpa=40.0)
    assert "inlet_gauge_cosine" not in pool.means
    assert np.abs(shown.differential_kpa).mean() > 15.0


def test_where_the_line_keeps_its_pressure_no_season_is_found():
    shown, pool = town(years=4.0, swing_kpa=0.0)
    assert np.hypot(pool.means["inlet_gauge_cosine"], pool.means["inlet_gauge_sine"]) < 1.0
    assert np.abs(shown.differential_kpa).mean() < 5.0


def test_few_units_are_told_the_season_of_the_whole_fleet():
    whole, pool = town(years=4.0, swing_kpa=40.0)
    few, _ = town(years=4.0, swing_kpa=40.0, pool=Pool(pool.means), only=3)
    assert few.differential_kpa == pytest.approx(whole.differential_kpa[: len(few.differential_kpa)], abs=2.0)


def sets_of(falls):
    """Spread of the whole fleet, and levels and doubts, of units whose gauge read so much behind each set of fresh
    filters; twenty days after each change."""
    pool, rows = Pool(), []
    number = 0
    for unit, readings_of_sets in enumerate(falls):
        for fall in readings_of_sets:
            rows.append((unit, number, -fall, 20.0))
            number += 1
    unit, filter_set, fall, age = (np.array(column) for column in zip(*rows, strict=True))
    noise, level, doubt = _levels("gauge", unit, filter_set, fall, age, LINE_SPREAD_KPA, len(falls), pool)
    assert pool.means == {"gauge_spread": noise}
    return noise, -level, doubt


def test_how_far_levels_behind_fresh_filters_lie_apart_is_how_far_the_line_swings():
    """Fifteen units with two sets each, 2 x d apart: each lies d from their mean, which is d x root 2 of a normal's
    spread. Half of all lie within 0.6745 spreads. Thirty of them count as much as what is usual, on the logarithm."""
    for d in (8.0, 60.0):
        noise, level, doubt = sets_of([(350.0 - d, 350.0 + d)] * 15)
        measured = d * np.sqrt(2.0) / 0.6745
        assert noise == pytest.approx(np.sqrt(measured * LINE_SPREAD_KPA))
        # two sets with that spread, and the highest reading, less surely
        weights = np.array([2.0 / noise**2, 1.0 / (noise**2 + LEVEL_SPREAD_KPA**2)])
        assert level == pytest.approx(np.full(15, weights @ [350.0, 350.0 + d] / weights.sum()))
        assert doubt == pytest.approx(np.full(15, weights.sum() ** -0.5))


def test_a_line_that_never_moves_is_believed_to_three_kpa():
    noise, _, _ = sets_of([(350.0, 350.0)] * 15)
    assert noise == pytest.approx(np.sqrt(3.0 * LINE_SPREAD_KPA))
    assert sets_of([(350.0 - 0.7, 350.0 + 0.7)] * 15)[0] == pytest.approx(noise)


def test_units_with_one_set_of_filters_do_not_say_how_far_the_line_swings():
    assert sets_of([(300.0,), (400.0,), (500.0,)])[0] == pytest.approx(LINE_SPREAD_KPA)
    # one of two sets beside them: two levels of thirty and two
    noise, _, _ = sets_of([(300.0,), (400.0,), (340.0, 360.0)])
    measured = 10.0 * np.sqrt(2.0) / 0.6745
    assert noise == pytest.approx(measured ** (2 / 32) * LINE_SPREAD_KPA ** (30 / 32))


def test_the_highest_reading_of_a_gauge_is_the_seventh_part_from_the_top():
    """Of 41 readings, all long after the change, the seventh: 0.15 x 40 = 6 are higher. Nothing else says the level."""
    fall = -np.random.default_rng(2).permutation(np.arange(300.0, 341.0))
    zeros = np.zeros(41, dtype=np.int64)
    noise, level, doubt = _levels("gauge", zeros, zeros, fall, np.full(41, 200.0), LINE_SPREAD_KPA, 1, Pool())
    assert noise == pytest.approx(LINE_SPREAD_KPA)
    assert level == pytest.approx([-334.0])
    assert doubt == pytest.approx([np.hypot(LINE_SPREAD_KPA, LEVEL_SPREAD_KPA)])


@pytest.mark.parametrize(("age", "is_fresh"), [(44.0, True), (46.0, False)])
def test_filters_are_fresh_for_six_weeks_and_a_half(age, is_fresh):
    """Then the reading is a level of its own; later it is only one of the gauge's."""
    zeros = np.zeros(1, dtype=np.int64)
    _, _, doubt = _levels("gauge", zeros, zeros, np.array([-350.0]), np.array([age]), LINE_SPREAD_KPA, 1, Pool())
    assert (doubt[0] < LINE_SPREAD_KPA) == is_fresh


def test_a_gauge_before_filters_of_which_no_change_is_known_says_nothing():
    fleet_columns = columns(placed=NOW - 310.0)
    fleet_columns["readings"] = readings(NOW - AGES, inlet_pressure_kpa=350.0)
    fleet, _ = build_fleet(**fleet_columns)
    unknown = np.array([np.nan, NOW - 305.0, np.nan, NOW - 305.0])
    shown = prefilter_differentials(fleet, fleet.readings, unknown, Pool())
    assert shown.row.tolist() == [1, 3]


def test_two_gauges_around_filters_and_carbon_show_both_and_less_surely_than_around_filters_alone():
    """60 kPa lost from the line to the membrane where 40 are lost with fresh filters: 20 of them are new."""
    days = np.array([20.0, 250.0])
    shown = differentials(days, line_pressure_kpa=400.0, inlet_pressure_kpa=[360.0, 340.0])
    assert shown.is_whole.tolist() == [False, False]
    assert shown.differential_kpa[1] - shown.differential_kpa[0] == pytest.approx(20.0)
    one = differentials(days, inlet_pressure_kpa=[360.0, 340.0])
    assert (shown.spread_kpa < one.spread_kpa).all()
