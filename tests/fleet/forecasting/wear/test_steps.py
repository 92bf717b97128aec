"""Sudden lasting steps of a trend, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.forecasting.wear.steps import Steps, find_steps, without_steps
from fleet.forecasting.wear.trends import TrendInput

DAYS = 7.0 * np.arange(30.0)


def trend(value, *, segments=1):
    """Weekly readings with a noise of 0.05, the same in every segment."""
    count = len(value)
    return TrendInput(
        np.repeat(np.arange(segments), count), np.tile(DAYS[:count], segments), np.tile(value, segments),
        np.full(count * segments, 0.05), np.tile(DAYS[:count] / 1095.0, segments), np.zeros(count * segments),
        shared_noise=0.02, centre=np.zeros(segments), width=np.full(segments, 0.35), z_spread=0.35, sign=1.0,
        usual_slope=0.2, noise_scale=1.0,
    )  # fmt: skip


def rising(*steps):
    """0.1 a year and a ripple of a hundredth, with steps of a size from a reading on."""
    value = 0.1 * DAYS / 365.0 + 0.01 * np.sin(np.arange(30.0))
    for start, size in steps:
        value[start:] += size
    return value


def test_a_level_that_stays_is_a_step_of_its_size_where_it_began():
    steps = find_steps(trend(rising((20, 0.8))))
    assert steps.use[0, 0] == pytest.approx(DAYS[20] / 1095.0)
    assert steps.size[0, 0] == pytest.approx(0.8, abs=0.05)
    assert np.isinf(steps.use[0, 1])
    # three witnesses on either side: 0.05 x root(1/3 + 1/3)
    assert steps.doubt[0] == pytest.approx(0.05 * np.sqrt(2.0 / 3.0), rel=0.2)


@pytest.mark.parametrize("value", [rising(), rising((15, 0.9), (16, -0.9)), rising((15, 0.05))])
def test_a_slope_an_odd_reading_and_what_noise_can_do_are_none(value):
    steps = find_steps(trend(value))
    assert np.isinf(steps.use).all()
    assert (steps.size == 0.0).all()
    assert steps.doubt[0] == 0.0


def test_a_slow_rise_with_an_odd_reading_in_it_is_no_step():
    """0.9 over eight weeks, and one reading 0.5 too high in their middle: between two that follow each other, the odd
    one left aside, lies an eighth of it."""
    value = 0.9 * np.clip((np.arange(30.0) - 10.0) / 8.0, 0.0, 1.0) + 0.01 * np.sin(np.arange(30.0))
    value[14] += 0.5
    assert np.isinf(find_steps(trend(value, segments=2)).use).all()


def test_the_first_reading_of_a_cartridge_stands_behind_nothing():
    """Whatever the one before it read last."""
    data = trend(rising(), segments=2)
    data.value[30:] += 0.8
    assert np.isinf(find_steps(data).use).all()
    data.value[30] -= 0.8
    assert np.isinf(find_steps(data).use).all()


@pytest.mark.parametrize(("apart_days", "steps"), [(0.4, 0), (0.6, 1)])
def test_two_readings_of_one_day_after_a_step_are_none_of_two_days(apart_days, steps):
    data = trend(rising((28, 0.8)))
    data.day[29] = data.day[28] + apart_days
    assert np.isfinite(find_steps(data).use).sum() == steps


def test_one_reading_at_the_end_is_none_and_two_of_two_days_are():
    assert np.isinf(find_steps(trend(rising((29, 0.8)))).use).all()
    assert find_steps(trend(rising((28, 0.8)))).size[0, 0] == pytest.approx(0.8, abs=0.08)


def test_two_steps_stand_in_order_of_time_whatever_the_order_of_the_readings():
    data = trend(rising((8, 0.5), (20, 0.9)), segments=2)
    steps = find_steps(data)
    assert steps.use[0] == pytest.approx(DAYS[[8, 20]] / 1095.0)
    order = np.random.default_rng(5).permutation(len(data.day))
    shuffled = find_steps(
        replace(data, **{name: getattr(data, name)[order] for name in ("segment", "day", "value", "noise", "use", "z")})
    )
    assert shuffled.use == pytest.approx(steps.use)
    assert shuffled.size == pytest.approx(steps.size)


def test_without_its_steps_a_trend_is_what_it_would_have_been():
    data = trend(rising((20, 0.8)))
    assert without_steps(data, find_steps(data)).value == pytest.approx(rising(), abs=0.05)


def test_a_limit_is_reached_at_the_step_or_on_the_line_behind_it():
    steps = Steps(use=np.array([[0.5, np.inf]]), size=np.array([[0.8, 0.0]]), doubt=np.array([0.0]))
    before = np.array([900.0])
    # the line behind the step reaches it later than the step: then; earlier: at the step
    assert steps.first_crossing(np.array([700.0]), 0, before, 1000.0) == 700.0
    assert steps.first_crossing(np.array([100.0]), 0, before, 1000.0) == 500.0
    # past it before the step came, and still
    assert steps.first_crossing(np.array([100.0]), 0, np.array([300.0]), 1000.0) == 300.0
    # no second step: what was before it stands
    assert steps.first_crossing(np.array([100.0]), 1, before, 1000.0) == 900.0


def test_nothing_read_is_no_step():
    steps = find_steps(trend(np.full(4, np.nan)))
    assert np.isinf(steps.use).all()
