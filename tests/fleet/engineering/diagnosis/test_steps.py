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


def test_what_creeps_is_no_step() -> None:
    assert lasting_step(MONTHS, 3.0 * 1.1 ** np.arange(12)) < 1.3


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
