from __future__ import annotations

import numpy as np
import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.travel.calibrate import FEWEST_TRIPS, calibrate_road
from scheduling.planning.travel.trips import RoadModel

TRUE = RoadModel(
    detour_far=1.4,
    detour_near=0.4,
    speed_far_km_per_h=55.0,
    speed_drop_km_per_h=40.0,
    speed_scale_m=9_000.0,
    parking_s=200.0,
)


def trips(n: int, seed: int = 1, noise: float = 0.15) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    straight = rng.lognormal(np.log(5_000.0), 1.0, n)
    road = TRUE.road_m(straight) * rng.lognormal(0.0, 0.05, n)
    return straight, TRUE.driving_s(road) * rng.lognormal(0.0, noise, n), road


@pytest.mark.parametrize("with_road", [True, False])
def test_it_finds_the_roads_the_trips_were_made_on(with_road: bool) -> None:
    straight, seconds, road = trips(800)
    calibration = calibrate_road(straight, seconds, road_m=road if with_road else None)
    assert calibration.fitted
    assert calibration.error_after < 0.5 * calibration.error_before
    fresh, _, _ = trips(300, seed=2)
    predicted_s = calibration.model.driving_s(calibration.model.road_m(fresh))
    assert np.median(np.abs(predicted_s / TRUE.driving_s(TRUE.road_m(fresh)) - 1.0)) < 0.06
    if with_road:
        assert calibration.model.detour_far == pytest.approx(1.4, abs=0.06)


def test_mistakes_of_the_log_do_little_harm() -> None:
    straight, seconds, _ = trips(600)
    rng = np.random.default_rng(3)
    seconds = np.where(rng.random(600) < 0.08, seconds * rng.choice([0.1, 6.0], 600), seconds)
    straight[:5] = 0.0
    seconds[5:10] = np.nan
    calibration = calibrate_road(straight, seconds)
    assert calibration.fitted
    fresh, _, _ = trips(300, seed=2)
    predicted_s = calibration.model.driving_s(calibration.model.road_m(fresh))
    assert np.median(np.abs(predicted_s / TRUE.driving_s(TRUE.road_m(fresh)) - 1.0)) < 0.08


def test_too_few_trips_change_nothing() -> None:
    straight, seconds, _ = trips(FEWEST_TRIPS - 1)
    calibration = calibrate_road(straight, seconds)
    assert not calibration.fitted
    assert calibration.model == RoadModel()
    assert "too few" in calibration.sentence


def test_a_model_that_is_right_already_is_kept_or_hardly_changed() -> None:
    straight, seconds, _ = trips(400)
    calibration = calibrate_road(straight, seconds, start=TRUE)
    assert calibration.error_after <= calibration.error_before
    assert calibration.model.driving_s(8_000.0) == pytest.approx(TRUE.driving_s(8_000.0), rel=0.05)


def test_rows_of_different_length_are_named() -> None:
    with pytest.raises(PlanningError, match="driving_s"):
        calibrate_road([1.0, 2.0], [1.0])
    with pytest.raises(PlanningError, match="road_m"):
        calibrate_road([1.0, 2.0], [1.0, 2.0], road_m=[1.0])
