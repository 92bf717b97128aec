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


@pytest.mark.parametrize(
    ("straight_m", "driving_s", "is_usable"),
    [
        (50.0, 60.0, False), (50.1, 60.0, True),  # a trip has a length
        (400.0, 10.0, False), (400.0, 10.1, True),  # nobody arrives at once
        (20_000.0, 21_600.0, False), (20_000.0, 21_599.0, True),  # nor is six hours on the road
        (400.0, 1_000.0, False), (401.0, 1_000.0, True),  # slower than walking
        (42_000.0, 1_000.0, False), (41_900.0, 1_000.0, True),  # faster than a car
        (1_000.0, float("nan"), False),
    ],
)  # fmt: skip
def test_what_cannot_have_been_a_trip_is_left_out(straight_m: float, driving_s: float, is_usable: bool) -> None:
    straight, seconds, _ = trips(FEWEST_TRIPS - 1)
    calibration = calibrate_road(np.append(straight, straight_m), np.append(seconds, driving_s))
    assert calibration.trips == FEWEST_TRIPS - 1 + is_usable
    assert ("too few" in calibration.sentence) != is_usable


@pytest.mark.parametrize(("shorter", "is_fitted"), [(0.979, False), (0.981, True), (1.0, True)])
def test_detours_are_fitted_to_as_many_roads_as_the_fewest_trips(shorter: float, is_fitted: bool) -> None:
    """Of 75 trips 15 are kept aside. A road a little shorter than the straight line is an odometer's error."""
    straight, seconds, _ = trips(75, noise=0.02)
    road = TRUE.road_m(straight)
    road[1] = shorter * straight[1]
    calibration = calibrate_road(straight, seconds, road_m=road)
    assert calibration.fitted
    assert (calibration.model.detour_far != RoadModel().detour_far) == is_fitted
    assert (calibration.model.detour_near != RoadModel().detour_near) == is_fitted


def test_a_fifth_of_the_trips_is_kept_aside_to_judge_by() -> None:
    """Trips that nothing is fitted to decide: where they alone were slow, the fit is not taken."""
    straight, seconds, _ = trips(100, noise=0.0)
    seconds[::5] = RoadModel().driving_s(RoadModel().road_m(straight[::5]))
    calibration = calibrate_road(straight, seconds)
    assert not calibration.fitted
    assert calibration.model == RoadModel()
    assert calibration.error_before == calibration.error_after == pytest.approx(0.0)
    assert calibration.sentence == "The model was kept as it is: a new fit predicted 100 trips no better."
