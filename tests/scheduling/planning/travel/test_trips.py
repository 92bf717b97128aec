"""Distances and driving times, by hand; distances against the geodesic stand in `tests/published`."""

from __future__ import annotations

import numpy as np
import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.travel.trips import EARTH_RADIUS_M, GreatCircleTravel, Place, RoadModel, great_circle_m


def test_distances_on_the_sphere() -> None:
    """A degree of longitude on the equator, a quarter of a great circle over the pole, half of one."""
    degree = np.pi / 180.0 * EARTH_RADIUS_M
    assert great_circle_m(0.0, 0.0, 0.0, 1.0) == pytest.approx(degree)
    assert great_circle_m(45.0, 10.0, 45.0, -170.0) == pytest.approx(90.0 * degree)
    assert great_circle_m(0.0, 0.0, 0.0, 180.0) == pytest.approx(180.0 * degree)
    # at 60 degrees north a degree of longitude is half as wide, to first order
    assert great_circle_m(60.0, 0.0, 60.0, 0.01) == pytest.approx(0.005 * degree, rel=1e-6)
    assert great_circle_m(50.0, 9.0, 50.0, 9.0) == 0.0


def test_the_road_by_hand() -> None:
    """8 km straight: x (1.25 + 0.25/e) = 10.736 km. 15 km of road at 70 - 48/e = 52.342 km/h: 1031.7 s, 90 to park."""
    model = RoadModel()
    assert model.road_m(8_000.0) == pytest.approx(10_735.8, abs=0.1)
    assert model.road_m(200_000.0) == pytest.approx(250_000.0)
    assert model.driving_s(15_000.0) == pytest.approx(1_121.67, abs=0.05)
    # who does not get into the van does not park it
    assert model.driving_s([30.0, 30.1])[1] - model.driving_s([30.0, 30.1])[0] == pytest.approx(90.0, abs=0.1)
    assert model.driving_s(0.0) == 0.0


def test_a_table_has_whole_metres_and_seconds_and_nothing_on_its_diagonal() -> None:
    places = [Place(50.0, 9.0), Place(50.0, 9.1), Place(50.1, 9.0)]
    table = GreatCircleTravel().matrix(places, places[:2])
    assert table.metres.shape == table.seconds.shape == (3, 2)
    assert (table.metres[[0, 1], [0, 1]] == 0).all()
    assert (table.seconds[[0, 1], [0, 1]] == 0).all()
    straight = float(great_circle_m(50.0, 9.0, 50.0, 9.1))
    assert table.metres[0, 1] == round(float(RoadModel().road_m(straight)))
    assert table.metres[0, 1] == table.metres[1, 0]
    assert table.seconds[0, 1] == round(float(RoadModel().driving_s(RoadModel().road_m(straight))))
    assert GreatCircleTravel().matrix([], places).metres.shape == (0, 3)


@pytest.mark.parametrize(
    ("latitude", "longitude", "field"),
    [(90.1, 0.0, "latitude_deg"), (-90.1, 0.0, "latitude_deg"), (0.0, 180.1, "longitude_deg"),
     (0.0, -180.1, "longitude_deg"),
     (float("nan"), 0.0, "latitude_deg")],
)  # fmt: skip
def test_a_place_off_the_map_is_refused(latitude: float, longitude: float, field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        Place(latitude, longitude)
    assert caught.value.field == field


def test_the_edges_of_the_map_are_on_it() -> None:
    assert Place(90.0, 180.0).latitude_deg == 90.0
    assert Place(-90.0, -180.0).longitude_deg == -180.0


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"detour_far": 0.99}, "detour_far"),
        ({"detour_near": -0.01}, "detour_far"),
        ({"detour_scale_m": 0.0}, "detour_scale_m"),
        ({"speed_scale_m": 0.0}, "detour_scale_m"),
        ({"speed_drop_km_per_h": 70.0}, "speed_drop_km_per_h"),
        ({"speed_drop_km_per_h": -1.0}, "speed_drop_km_per_h"),
        ({"parking_s": -1.0}, "parking_s"),
        ({"parking_beyond_m": -1.0}, "parking_s"),
    ],
)
def test_a_road_that_cannot_be_is_refused(changes: dict[str, float], field: str) -> None:
    with pytest.raises(PlanningError) as caught:
        RoadModel(**changes)
    assert caught.value.field == field


def test_the_straightest_and_steadiest_road_is_one() -> None:
    model = RoadModel(detour_far=1.0, detour_near=0.0, speed_drop_km_per_h=0.0, parking_s=0.0, parking_beyond_m=0.0)
    assert model.road_m(7_000.0) == 7_000.0
    assert model.driving_s(7_000.0) == pytest.approx(360.0)


def test_a_table_of_many_places_is_that_of_each_pair_alone() -> None:
    rng = np.random.default_rng(5)
    places = [Place(47.0 + 0.5 * x, 8.0 + 0.5 * y) for x, y in rng.random((75, 2))]
    provider = GreatCircleTravel()
    both_ways, one_way = provider.matrix(places, places), provider.matrix(places[:40], places[1:])
    alone = [[provider.matrix([a], [b]) for b in places] for a in places]
    for name in ("metres", "seconds"):
        expected = np.array([[getattr(pair, name)[0, 0] for pair in row] for row in alone])
        assert np.array_equal(getattr(both_ways, name), expected)
        assert np.array_equal(getattr(one_way, name), expected[:40, 1:])
