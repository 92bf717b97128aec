"""Sudden lasting steps of a trend, by hand."""

from dataclasses import replace

import numpy as np
import pytest

from fleet.forecasting.wear.steps import (
    Steps,
    _from_here_on,
    _has_enough,
    _largest_step,
    _noise_scale,
    _running_median,
    find_steps,
    without_steps,
)
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


def test_noise_is_found_from_readings_that_follow_each_other():
    """The fleet's scale counts as six pairs. Two readings 0.2 apart of a noise of 0.05 each: 0.2 / (0.05 root 2) /
    0.6745 = 4.193, so root((6 x 1.5^2 + 4.193^2) / 7); of readings that are all the same root(6 x 1.5^2 / 15); one
    reading alone has no pair; and no noise is smaller than assumed."""
    value = np.concatenate([np.zeros(10), [0.3], [0.1, 0.3]])
    segment = np.repeat([0, 1, 2], [10, 1, 2])
    data = replace(
        trend(np.zeros(13)), segment=segment, value=value, centre=np.zeros(3), width=np.full(3, 0.35), noise_scale=1.5,
    )  # fmt: skip
    pair = 0.2 / (0.05 * np.sqrt(2.0)) / 0.6745
    expected = [np.sqrt(6.0 * 2.25 / 15.0), 1.5, np.sqrt((6.0 * 2.25 + pair**2) / 7.0)]
    assert _noise_scale(data) == pytest.approx([max(scale, 1.0) for scale in expected])
    loud = _noise_scale(replace(data, noise_scale=4.0))
    assert loud[:2] == pytest.approx([np.sqrt(6.0 * 16.0 / 15.0), 4.0])
    # without a scale of the fleet the middle of all pairs is it: nothing, of ten that are the same and one that is not
    assert _noise_scale(replace(data, noise_scale=None))[1] == 1.0
    assert _noise_scale(replace(data, segment=np.arange(13), centre=np.zeros(13))) == pytest.approx(np.ones(13))


@pytest.mark.parametrize(
    ("value", "smooth"),
    [([1.0, 5.0, 2.0, 4.0], [2.0, 2.0, 4.0, 4.0]), ([7.0], [7.0]),
     ([1.0, 2.0, 9.0], [2.0, 2.0, 2.0])],
)  # fmt: skip
def test_a_running_median_stays_within_its_segment(value, smooth):
    """Three that follow each other; at an end the three next to it."""
    values = np.array([100.0, *value, 200.0])
    segment = np.array([0, *[1] * len(value), 2])
    assert _running_median(segment, values)[1:-1] == pytest.approx(smooth)


@pytest.mark.parametrize(("share", "is_step"), [(0.3, False), (0.6, True)])
def test_a_step_comes_at_once_for_the_most_part(share, is_step):
    """A level that rises by 0.8, so much of it between two readings and the rest over the three before and after."""
    value = np.zeros(30)
    value[15:] = 0.8
    rest = 0.8 * (1.0 - share) / 2.0
    value[11:15] = np.linspace(0.0, rest, 4)
    value[15:19] = np.linspace(0.8 - rest, 0.8, 4)
    assert np.isfinite(find_steps(trend(value)).use).any() == is_step


@pytest.mark.parametrize(("size", "is_step"), [(0.13, False), (0.20, True)])
def test_a_step_has_four_standard_errors(size, is_step):
    """Of readings to 0.05, three on either side count: 4 x 0.05 x root(2/3) = 0.163."""
    assert np.isfinite(find_steps(trend(rising((15, size)))).use).any() == is_step


def least_squares_step(data, smooth):
    """By the normal equations of intercept, slope and a step at each row, with the priors of the first two: the step
    that explains most of those that are sudden and sure, as row, size and standard error."""
    x, weight = data.sign * data.use, 1.0 / data.noise**2
    prior = np.diag([1.0 / data.width[0] ** 2, 1.0 / (1.5 * data.usual_slope) ** 2, 0.0])
    usual = np.array([data.centre[0], data.usual_slope, 0.0])
    best = (0.0, None)
    for row in range(2, len(x) - 1):
        basis = np.stack([np.ones(len(x)), x, np.arange(len(x)) >= row], axis=1)
        precision = basis.T @ (weight[:, None] * basis) + prior
        size = np.linalg.solve(precision, basis.T @ (weight * smooth) + prior @ usual)[2]
        own = np.sqrt(np.linalg.inv(precision)[2, 2])
        near = data.noise[row] * np.sqrt(1.0 / min(row, 3) + 1.0 / min(len(x) - row, 3))
        error = max(own, near)
        is_sudden = (smooth[row] - smooth[row - 1]) / size >= 0.5
        if abs(size) >= 4.0 * error and is_sudden and (size / own) ** 2 > best[0]:
            best = ((size / own) ** 2, (row, size, error))
    return best[1]


@pytest.mark.parametrize("readings", [5, 8, 20])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize("size", [1.4, -1.1])
def test_a_step_is_that_of_least_squares_beside_a_line_with_its_priors(readings, sign, size):
    """Few readings, unequally good, far from the usual level and slope, so that the priors count; two segments of
    which the first has no step, so that nothing of one is taken for the other's."""
    rng = np.random.default_rng(readings)
    data = trend(np.zeros(30))
    rows = np.arange(readings)
    use = np.sort(rng.uniform(0.0, 1.0, readings))
    noise = rng.uniform(0.05, 0.15, readings)
    value = 0.4 + sign * 0.6 * use + 0.02 * rng.standard_normal(readings) + np.where(rows >= readings // 2, size, 0.0)
    one = replace(
        data, segment=np.zeros(readings, dtype=np.int64), day=40.0 * rows, value=value, noise=noise, use=use,
        z=np.zeros(readings), centre=np.array([-0.2]), width=np.array([0.3]), sign=sign, usual_slope=0.25,
    )  # fmt: skip
    padded = np.concatenate([[value[1]], value, [value[-2]]])
    smooth = np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)
    smooth[0], smooth[-1] = np.median(value[:3]), np.median(value[-3:])
    expected = least_squares_step(one, smooth)
    assert expected is not None
    row, step, error = _largest_step(one, value, noise)
    assert (row.tolist(), step, error) == ([expected[0]], pytest.approx([expected[1]]), pytest.approx([expected[2]]))
    calm = np.full(readings, -0.2)
    two = replace(
        one, segment=np.repeat([0, 1], readings), day=np.tile(one.day, 2), value=np.concatenate([calm, value]),
        noise=np.tile(noise, 2), use=np.tile(use, 2), z=np.zeros(2 * readings), centre=np.full(2, -0.2),
        width=np.full(2, 0.3),
    )  # fmt: skip
    row, step, error = _largest_step(two, two.value, two.noise)
    assert (row - readings).tolist() == [expected[0]]
    assert (step, error) == (pytest.approx([expected[1]]), pytest.approx([expected[2]]))


def test_the_line_beside_a_step_is_held_to_its_priors_where_there_are_few_readings():
    """Of five readings to 0.15 the step that is found is not that of free least squares: the priors pull the line."""
    data = trend(np.zeros(30))
    use, noise = np.array([0.0, 0.2, 0.5, 0.8, 1.0]), np.full(5, 0.15)
    value = np.array([0.5, 0.6, 2.3, 2.4, 2.5])

    def size(width, usual_slope):
        one = replace(
            data, segment=np.zeros(5, dtype=np.int64), day=50.0 * np.arange(5), value=value, noise=noise, use=use,
            z=np.zeros(5), centre=np.array([0.0]), width=np.array([width]), sign=1.0, usual_slope=usual_slope,
        )  # fmt: skip
        return _largest_step(one, value, noise)[1][0]

    # a level that is surely 0 and a slope that is surely small leave more to the step than a free line does
    assert size(0.05, 0.02) > size(0.35, 0.2) + 0.05
    free = np.linalg.lstsq(np.stack([np.ones(5), use, np.arange(5) >= 2], axis=1), value, rcond=None)[0][2]
    assert size(100.0, 100.0) == pytest.approx(free, abs=0.1)


def test_sums_from_each_row_to_the_last_of_its_segment():
    segment, value = np.array([0, 0, 1, 1, 1, 3]), np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0])
    assert _from_here_on(segment, value, 4).tolist() == [3.0, 2.0, 28.0, 24.0, 16.0, 32.0]


@pytest.mark.parametrize(
    ("day", "enough"),
    # two days before it and two from it on; half a day apart is two days
    [([0.0, 10.0, 20.0, 30.0], [False, False, True, False]), ([0.0, 0.4, 20.0, 20.4], [False] * 4),
     ([0.0, 0.5, 20.0, 20.5], [False, False, True, False]),
     ([0.0, 10.0, 10.1, 20.0, 20.5], [False, False, True, True, False])],
)  # fmt: skip
def test_readings_of_two_days_stand_on_either_side_of_a_step(day, enough):
    """In whichever segment: the one before it ends later and the one after it begins earlier."""
    days = np.array([500.0, 900.0, *day, -90.0, -50.0])
    segment = np.array([0, 0, *[1] * len(day), 2, 2])
    assert _has_enough(segment, days)[2:-2].tolist() == enough


def test_the_noise_of_a_segment_is_the_middle_of_its_own_pairs_in_whichever_order_they_come():
    """Five pairs 0.1, 0.2, 0.3, 0.4, 0.5 apart beside two segments of other noise: 0.3 is the middle."""
    steps = np.array([0.4, 0.1, 0.5, 0.2, 0.3])
    value = np.concatenate([[0.0, 0.9], [0.0, *np.cumsum(steps)], [0.0, 0.7, 0.0]])
    segment = np.repeat([0, 1, 2], [2, 6, 3])
    data = replace(
        trend(np.zeros(11)), segment=segment, value=value, centre=np.zeros(3), width=np.full(3, 0.35), noise_scale=1.0
    )
    middle = np.array([0.9, 0.3, 0.7]) / (0.05 * np.sqrt(2.0)) / 0.6745
    pairs = np.array([1.0, 5.0, 2.0])
    assert _noise_scale(data) == pytest.approx(np.sqrt((6.0 + pairs * middle**2) / (6.0 + pairs)))
