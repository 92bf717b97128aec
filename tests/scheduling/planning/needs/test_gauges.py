"""What a gauge answers in each state of a cartridge."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.engineering.quantities import READING_QUANTITIES, names_of
from fleet.engineering.stages import STAGES
from scheduling.planning.needs.gauges import BreakthroughGauge, LevelGauge, gauge_of

READS = ("a",)
DAYS = st.lists(st.floats(-300.0, 900.0), min_size=1, max_size=8, unique=True)


def test_breakthrough_is_seen_or_not_within_its_errors() -> None:
    gauge = BreakthroughGauge(READS, missed=0.1, false_alarm=0.05)
    told = gauge.answers([-5.0, 10.0, 10.1], used_days=math.nan, day=10.0)
    assert told == pytest.approx(np.array([[0.9, 0.1], [0.9, 0.1], [0.05, 0.95]]))


def test_a_level_shows_the_share_of_a_life_that_is_used() -> None:
    # 50 days of 100 and of 200: a half and a quarter, told apart at 3/8, one standard deviation from either
    told = LevelGauge(READS, error=0.125, pace_error=0.0).answers([50.0, 150.0], used_days=50.0, day=0.0)
    # answers rise with the share: the first is 'a quarter'. 84.1 % of a normal lie below one standard deviation (from
    # memory)
    assert told == pytest.approx(np.array([[0.1587, 0.8413], [0.8413, 0.1587]]), abs=1e-4)


def test_the_pace_of_what_is_left_blurs_what_a_level_says() -> None:
    sure = LevelGauge(READS, error=0.125, pace_error=0.0).answers([50.0, 150.0], used_days=50.0, day=0.0)
    unsure = LevelGauge(READS, error=0.125, pace_error=0.5).answers([50.0, 150.0], used_days=50.0, day=0.0)
    assert unsure[1, 0] < sure[1, 0]


@pytest.mark.parametrize("used_days", [0.0, math.nan])
def test_a_level_says_nothing_of_a_fresh_cartridge_or_one_of_unknown_age(used_days: float) -> None:
    told = LevelGauge(READS).answers([50.0, 150.0, 400.0], used_days=used_days, day=0.0)
    assert np.ptp(told, axis=0) == pytest.approx(0.0)


@given(DAYS, st.floats(0.0, 900.0), st.floats(0.0, 60.0), st.sampled_from(STAGES), st.booleans())
def test_each_state_gives_one_answer_or_another(
    days: list[float], used_days: float, day: float, stage: str, before_lag: bool
) -> None:
    told = gauge_of(stage, is_before_lag=before_lag).answers(days, used_days=used_days, day=day)
    assert told.shape[0] == len(days)
    assert told.min() >= 0.0
    assert told.sum(axis=1) == pytest.approx(1.0)


def test_a_gauge_that_never_errs_tells_every_state_from_the_others() -> None:
    told = LevelGauge(READS, error=0.0, pace_error=0.0).answers([10.0, 50.0, 300.0], used_days=100.0, day=0.0)
    assert told == pytest.approx(np.eye(3)[::-1])


def test_gauges_read_what_readings_hold() -> None:
    for stage in STAGES:
        for before_lag in (False, True):
            assert set(gauge_of(stage, is_before_lag=before_lag).reads) <= set(names_of(READING_QUANTITIES))
    assert gauge_of("carbon", is_before_lag=True) != gauge_of("carbon")
    assert gauge_of("membrane", is_before_lag=True) == gauge_of("membrane")
