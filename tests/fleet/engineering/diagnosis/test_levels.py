"""A level is what two of three looks agree on; one odd reading is none."""

import numpy as np
import pytest

from fleet.engineering.diagnosis.levels import level_over_first, newest_level
from fleet.engineering.errors import EngineeringError

MONTHS = np.arange(0.0, 720.0, 30.0)


@pytest.mark.parametrize(
    ("value", "ratio"),
    [
        ([1.0] * 3 + [0.6] * 3, 0.6),
        ([1.0] * 5 + [0.6], 1.0),  # one odd reading
        ([1.0] * 4 + [0.6, 0.6], 0.6),
        ([1.0, 1.2, 0.8, 0.5, 0.6, 0.7], 0.6),  # the first level is the median of three
        ([1.0, 0.6, 0.7], 0.7),  # of two the nearer one
        ([1.0, 0.6, 1.4], 1.0),  # and none where they lie on both sides
        ([1.0] * 3 + [2.0] * 3, 2.0),
    ],
)
def test_the_newest_level_over_the_first(value: list[float], ratio: float) -> None:
    assert level_over_first(MONTHS[: len(value)], value) == pytest.approx(ratio)


def test_what_is_read_after_the_first_months_makes_no_first_level() -> None:
    assert level_over_first([0.0, 200.0, 230.0, 260.0], [1.0, 0.5, 0.5, 0.5]) == pytest.approx(0.5)


def test_of_bounds_the_least_makes_the_first_level_and_the_most_the_newest() -> None:
    """0.6 of what was at most there, over the 0.8 that was at least there at first: no more than 0.75 is left."""
    most, least = [1.2] * 3 + [0.6] * 3, [0.8] * 3 + [0.4] * 3
    assert level_over_first(MONTHS[:6], most, at_first=least) == pytest.approx(0.75)
    # a visit that lacks either of them is none
    assert level_over_first(MONTHS[:6], most, at_first=[0.2, 0.8, np.nan, 0.4, 0.4, 0.4]) == pytest.approx(0.6 / 0.4)
    assert level_over_first(MONTHS[:6], [*most[:5], 0.0], at_first=least) == pytest.approx(0.75)


def test_readings_of_one_visit_are_one_look() -> None:
    day, value = [0.0, 30.0, 60.0, 90.0, 90.02], [1.0, 1.0, 1.0, 0.5, 0.5]
    assert level_over_first(day, value) == 1.0
    assert level_over_first([*day, 120.0], [*value, 0.5]) == pytest.approx(0.5)
    assert newest_level([0.0, 0.02], [1.0, 1.0]) != newest_level([0.0, 0.02], [1.0, 1.0])  # NaN: one visit


def test_too_few_visits_tell_nothing() -> None:
    assert np.isnan(level_over_first([], []))
    assert np.isnan(level_over_first([0.0, 30.0], [1.0, 0.5]))
    assert np.isnan(newest_level([0.0], [1.0]))
    assert newest_level([0.0, 30.0, 60.0, 90.0], [9.0, 0.5, 0.4, 0.6]) == pytest.approx(0.5)


@pytest.mark.parametrize(("day", "value"), [([0.0, 30.0], [1.0]), ([30.0, 0.0], [1.0, 1.0])])
def test_days_that_do_not_fit_are_refused(day: list[float], value: list[float]) -> None:
    for formula in (level_over_first, newest_level):
        with pytest.raises(EngineeringError) as caught:
            formula(day, value)
        assert caught.value.field == "day"
