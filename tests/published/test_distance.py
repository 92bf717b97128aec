"""Great-circle distances against geographiclib, C. F. F. Karney's geodesics on WGS84 (J. Geod. 87, 2013)."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from scheduling.planning.travel.trips import EARTH_RADIUS_M, GreatCircleTravel, Place, RoadModel, great_circle_m


def test_within_the_flattening_of_the_earth_of_the_geodesic() -> None:
    rng = np.random.default_rng(20)
    latitude, to_latitude = np.degrees(np.arcsin(rng.uniform(-1.0, 1.0, (2, 400))))
    longitude, to_longitude = rng.uniform(-180.0, 180.0, (2, 400))
    ours = great_circle_m(latitude, longitude, to_latitude, to_longitude)
    geodesic = np.array(
        [
            Geodesic.WGS84.Inverse(*ends)["s12"]
            for ends in zip(latitude, longitude, to_latitude, to_longitude, strict=True)
        ]
    )
    # a sphere of mean radius differs by up to about 0.56 % (along the equator, and along a meridian at the pole)
    assert np.max(np.abs(ours / geodesic - 1.0)) < 0.0057
    assert abs(float(np.mean(ours / geodesic)) - 1.0) < 0.001


@pytest.mark.parametrize("step_km", [0.2, 5.0, 60.0])
def test_short_trips_in_the_middle_latitudes(step_km: float) -> None:
    rng = np.random.default_rng(21)
    for _ in range(60):
        latitude, longitude = rng.uniform(35.0, 60.0), rng.uniform(-120.0, 30.0)
        end = Geodesic.WGS84.Direct(latitude, longitude, rng.uniform(0.0, 360.0), step_km * 1_000.0)
        ours = float(great_circle_m(latitude, longitude, end["lat2"], end["lon2"]))
        assert ours == pytest.approx(step_km * 1_000.0, rel=0.004)


def test_on_a_sphere_of_the_same_radius_it_is_exact() -> None:
    sphere = Geodesic(EARTH_RADIUS_M, 0.0)
    rng = np.random.default_rng(22)
    for _ in range(100):
        ends = (rng.uniform(-89, 89), rng.uniform(-180, 180), rng.uniform(-89, 89), rng.uniform(-180, 180))
        assert float(great_circle_m(*ends)) == pytest.approx(sphere.Inverse(*ends)["s12"], rel=1e-9, abs=1e-4)


def test_across_the_date_line_and_at_the_poles() -> None:
    assert float(great_circle_m(0.0, 179.9, 0.0, -179.9)) == pytest.approx(0.2 * 111_195.08, rel=1e-6)
    assert float(great_circle_m(90.0, 0.0, 90.0, 137.0)) == pytest.approx(0.0, abs=1e-3)
    assert float(great_circle_m(0.0, 0.0, 0.0, 180.0)) == pytest.approx(np.pi * EARTH_RADIUS_M, rel=1e-9)


@pytest.mark.parametrize(
    ("straight_km", "road_km", "minutes"),
    # common practice, no source: straight line to road and door-to-door time of the default model, worked by hand
    [(1.0, 1.47, 4.8), (5.0, 6.92, 12.0), (20.0, 25.4, 26.4), (60.0, 75.0, 66.1)],
)
def test_road_model(straight_km: float, road_km: float, minutes: float) -> None:
    road = RoadModel().road_m(straight_km * 1_000.0)
    assert float(road) / 1_000.0 == pytest.approx(road_km, rel=0.004)
    assert float(RoadModel().driving_s(road)) / 60.0 == pytest.approx(minutes, rel=0.01)


def test_the_table_is_whole_and_its_diagonal_zero() -> None:
    places = [Place(50.0, 9.0), Place(50.1, 9.1), Place(-33.0, 151.0)]
    table = GreatCircleTravel().matrix(places, places)
    assert table.metres.dtype == np.int64
    assert table.seconds.dtype == np.int64
    assert not np.diagonal(table.metres).any()
    assert not np.diagonal(table.seconds).any()
    assert table.metres[0, 1] == table.metres[1, 0] > 11_000
