"""Which readings count, and how much each of them, by hand."""

import numpy as np
import pytest

from fleet.forecasting.wear.evidence import reading_weights, thin


def test_few_readings_are_all_kept():
    segment, day = np.repeat([0, 2], [30, 5]), np.arange(35.0)
    assert sorted(thin(segment, day)) == list(range(35))


def test_of_many_the_newest_half_is_kept_and_the_rest_is_spread():
    day = np.random.default_rng(3).permutation(200).astype(float)
    kept_days = np.sort(day[thin(np.zeros(200, dtype=np.int64), day)])
    assert len(kept_days) <= 30
    assert kept_days[-15:].tolist() == list(range(185, 200))
    older = kept_days[:-15]
    # 185 older ones, every thirteenth of them
    assert np.unique(np.diff(older)).tolist() == [13.0]
    assert (older[-1], len(older)) == (184.0, 15)


def test_each_segment_keeps_its_own():
    segment, day = np.repeat([0, 1], [100, 3]), np.arange(103.0)
    kept_days = thin(segment, day, most=10)
    assert (segment[kept_days] == 1).sum() == 3
    assert (segment[kept_days] == 0).sum() <= 10


def test_readings_of_one_window_share_part_of_their_error():
    """The second reading of twenty days adds little: 1/(1 + 0.35) of one for each of the two."""
    day = np.array([5.0, 12.0, 25.0, 5.0])
    weights = reading_weights(np.array([0, 0, 0, 1]), day, np.zeros(4), np.zeros(4), 2)
    assert weights == pytest.approx([1 / 1.35, 1 / 1.35, 1.0, 1.0])


def test_beyond_ten_readings_weight_grows_as_a_root():
    day = 20.0 * np.arange(40.0)
    weights = reading_weights(np.zeros(40, dtype=np.int64), day, np.zeros(40), np.zeros(40), 1)
    assert weights == pytest.approx(np.full(40, 0.5))
    assert weights.sum() == pytest.approx(np.sqrt(10.0 * 40.0))
    assert reading_weights(np.zeros(10, dtype=np.int64), day[:10], np.zeros(10), np.zeros(10), 1) == pytest.approx(
        np.ones(10)
    )


def test_what_a_meter_is_off_by_is_not_averaged_away():
    """Error shared by all twice that of each alone (squares): ten readings say as much as 3 x 10 / 21 of one, and ever
    so many no more than 1.5."""
    day = 60.0 * np.arange(10.0)
    weights = reading_weights(np.zeros(10, dtype=np.int64), day, np.full(10, 2.0), np.zeros(10), 1)
    assert weights.sum() == pytest.approx(30.0 / 21.0)
    assert reading_weights(np.zeros(1, dtype=np.int64), day[:1], np.full(1, 2.0), np.zeros(1), 1) == pytest.approx(
        [1.0]
    )
    # what was read at another level does not share it: nine at one level say 27/19, the tenth is one of its own
    level = np.append(np.zeros(9), 3.0)
    weights = reading_weights(np.zeros(10, dtype=np.int64), day, np.full(10, 2.0), level, 1)
    assert weights.sum() == pytest.approx(27.0 / 19.0 + 1.0)
