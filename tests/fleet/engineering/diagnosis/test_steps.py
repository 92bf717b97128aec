"""A sudden change that lasts is found at the second reading, and creep, slips and repaired faults are none."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.diagnosis.steps import lasting_step
from fleet.engineering.errors import EngineeringError

MONTHS = np.arange(0.0, 360.0, 30.0)


@pytest.mark.parametrize(
    ("value", "ratio"),
    [
        ([3.0] * 6 + [15.0, 15.0], 5.0),
        ([3.0] * 6 + [15.0], 1.0),  # one reading is no proof
        ([3.0] * 6 + [15.0, 3.0], 1.0),
        ([3.0] * 6 + [15.0] * 3 + [3.0], 1.0),  # repaired
        ([100.0] * 4 + [50.0, 52.0, 50.0], 0.5),
        ([3.0, 15.0, 15.0], 5.0),
        ([3.0] * 8, 1.0),
    ],
)
def test_a_level_that_stays_is_a_step(value: list[float], ratio: float) -> None:
    assert lasting_step(MONTHS[: len(value)], value) == pytest.approx(ratio)


def test_readings_before_and_after_the_work_of_one_visit_are_one_look() -> None:
    day, value = [0.0, 30.0, 60.0, 60.03], [3.0, 3.0, 15.0, 15.0]
    assert lasting_step(day, value) == 1.0
    assert lasting_step([*day, 61.0], [*value, 15.0]) == pytest.approx(5.0)


@pytest.mark.parametrize(("apart_days", "ratio"), [(0.75, 1.0), (0.76, 5.0)])
def test_what_lies_within_three_quarters_of_a_day_is_one_visit(apart_days: float, ratio: float) -> None:
    day, value = [0.0, 30.0, 60.0, 60.0 + apart_days], [3.0, 3.0, 15.0, 15.0]
    assert lasting_step(day, value) == pytest.approx(ratio)


def test_the_readings_of_one_visit_count_as_their_mean() -> None:
    """Of the logarithms: 12 and 48 of one visit are 24, between a day before and a day after of as much."""
    day, value = [0.0, 30.0, 60.0, 90.0, 90.5, 120.0], [3.0, 3.0, 24.0, 12.0, 48.0, 24.0]
    assert lasting_step(day, value) == pytest.approx(8.0)


@pytest.mark.parametrize(("last", "lasts"), [(0.52, True), (0.48, False)])
def test_a_step_lasts_while_every_reading_lies_nearer_to_the_new_level(last: float, lasts: bool) -> None:
    """Of a tenfold rise the last reading has kept more than half, or less, on the scale of ratios."""
    value = [1.0] * 5 + [10.0] * 4 + [10.0**last]
    assert (lasting_step(MONTHS[:10], value) > 5.0) is lasts
    assert (lasting_step(MONTHS[:10], [1.0 / each for each in value]) < 0.2) is lasts


@pytest.mark.parametrize(("begun", "is_sudden"), [(0.33, True), (0.37, False)])
def test_a_step_is_sudden_where_no_third_of_it_had_come_before(begun: float, is_sudden: bool) -> None:
    value = [1.0] * 4 + [10.0**begun] + [10.0] * 5
    assert (lasting_step(MONTHS[:10], value) > 5.0) is is_sudden
    assert (lasting_step(MONTHS[:10], [1.0 / each for each in value]) < 0.2) is is_sudden


def test_the_old_level_is_that_of_the_last_five_days() -> None:
    """Two of five at 4 leave 2 as their middle; of six, half would stand at 4 and half at 2."""
    value = [4.0, 4.0, 4.0, 2.0, 2.0, 2.0, 20.0, 20.0]
    assert lasting_step(MONTHS[:8], value) == pytest.approx(10.0)
    # an older one is out of sight
    assert lasting_step(MONTHS[:9], [8.0, *value]) == pytest.approx(10.0)


def test_of_two_steps_the_larger_counts_and_what_came_back_is_a_step_back() -> None:
    assert lasting_step(MONTHS[:9], [1.0] * 3 + [2.0] * 3 + [20.0] * 3) == pytest.approx(10.0, rel=0.01)
    assert lasting_step(MONTHS[:9], [1.0] * 3 + [10.0] * 3 + [1.0] * 3) == pytest.approx(0.1)


def test_two_days_before_the_newest_are_enough_and_the_first_reading_is_a_level() -> None:
    assert lasting_step([0.0, 1.0, 2.0], [2.0, 0.5, 0.5]) == pytest.approx(0.25)
    assert np.isnan(lasting_step([0.0, 1.0], [2.0, 0.5]))
    assert lasting_step([0.0, 1.0, 2.0], [0.5, 0.5, 0.5]) == 1.0
    # values below 1 are values
    assert lasting_step([0.0, 1.0, 2.0, 3.0], [0.2, 0.9, 0.9, -1.0]) == pytest.approx(4.5)


def test_what_creeps_is_no_step() -> None:
    assert lasting_step(MONTHS, 3.0 * 1.1 ** np.arange(12)) < 1.3
    assert lasting_step(MONTHS[:6], 3.0 * 1.35 ** np.arange(6)) < 1.3


def test_too_few_readings_tell_nothing() -> None:
    assert np.isnan(lasting_step([], []))
    assert np.isnan(lasting_step([0.0, 30.0], [3.0, 15.0]))
    assert np.isnan(lasting_step(MONTHS[:4], [3.0, np.nan, 0.0, 15.0]))


@pytest.mark.parametrize(("day", "value"), [([0.0, 30.0], [1.0]), ([30.0, 0.0], [1.0, 1.0])])
def test_days_that_do_not_fit_are_refused(day: list[float], value: list[float]) -> None:
    with pytest.raises(EngineeringError) as caught:
        lasting_step(day, value)
    assert caught.value.field == "day"


@given(
    st.lists(st.floats(0.95, 1.05), min_size=5, max_size=12),
    st.lists(st.floats(0.95, 1.05), min_size=2, max_size=8),
    st.sampled_from([0.3, 0.5, 2.0, 5.0]),
)
def test_noise_of_a_twentieth_hides_no_step_and_makes_none(
    before: list[float], since: list[float], ratio: float
) -> None:
    value = [*before, *(ratio * each for each in since)]
    day = 30.0 * np.arange(len(value))
    assert lasting_step(day, value) == pytest.approx(ratio, rel=0.12)
    assert lasting_step(day[: len(before)], before) == pytest.approx(1.0, rel=0.12)
