"""How far and how long from place to place.

A provider answers a whole table at once, so that a table service and the built-in model are interchangeable.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduling.planning.errors import PlanningError
from scheduling.planning.words import travel as words

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

#: Mean radius of the earth, metres (IUGG, R1 of WGS84).
EARTH_RADIUS_M = 6_371_008.8

_ROWS_AT_ONCE = 32


@dataclass(frozen=True, slots=True)
class Place:
    """A position on the map, WGS84 degrees."""

    latitude_deg: float
    longitude_deg: float

    def __post_init__(self) -> None:
        if not -90.0 <= self.latitude_deg <= 90.0:
            raise PlanningError("latitude_deg", f"must lie between -90 and 90, not {self.latitude_deg!r}.")
        if not -180.0 <= self.longitude_deg <= 180.0:
            raise PlanningError("longitude_deg", f"must lie between -180 and 180, not {self.longitude_deg!r}.")


@dataclass(frozen=True, slots=True, eq=False)
class Travel:
    """A table of trips, ``origins x destinations``.

    Attributes
    ----------
    metres, seconds
        Whole numbers, at least 0; a place to itself is 0.
    source
        Which maker made the table, in words a person may read beside a plan.
    """

    metres: IntArray
    seconds: IntArray
    source: str


class TravelProvider(Protocol):
    """Anything that can fill a table of trips."""

    def matrix(self, origins: Sequence[Place], destinations: Sequence[Place]) -> Travel:
        """Metres and seconds from every origin to every destination."""
        ...


def great_circle_m(
    latitude_deg: ArrayLike, longitude_deg: ArrayLike, to_latitude_deg: ArrayLike, to_longitude_deg: ArrayLike
) -> FloatArray:
    """Distance over the sphere by the haversine formula, metres; arguments in degrees are broadcast.

    Within 0.6 % of the WGS84 geodesic (the flattening of the earth is 1/298).

    Examples
    --------
    >>> float(great_circle_m(0.0, 0.0, 0.0, 1.0))
    111195.0...
    """
    lat1, lon1, lat2, lon2 = (
        np.radians(np.asarray(x, dtype=np.float64))
        for x in (latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg)
    )
    h = np.sin((lat2 - lat1) / 2.0) ** 2 + np.cos(lat1) * np.cos(lat2) * np.sin((lon2 - lon1) / 2.0) ** 2
    return np.asarray(2.0 * EARTH_RADIUS_M * np.arcsin(np.sqrt(np.clip(h, 0.0, 1.0))))


@dataclass(frozen=True, slots=True)
class RoadModel:
    """Road length and driving time from the straight line; common practice, no source, made to be fitted.

    Road = straight x (detour_far + detour_near x exp(-straight / detour_scale)); short trips wind more than long ones.
    Speed = speed_far - speed_drop x exp(-road / speed_scale): town first, then open road. Parking adds its seconds to
    every trip longer than ``parking_beyond_m``.
    """

    detour_far: float = 1.25
    detour_near: float = 0.25
    detour_scale_m: float = 8_000.0
    speed_far_km_per_h: float = 70.0
    speed_drop_km_per_h: float = 48.0
    speed_scale_m: float = 15_000.0
    parking_s: float = 90.0
    parking_beyond_m: float = 30.0

    def __post_init__(self) -> None:
        if self.detour_far < 1.0 or self.detour_near < 0.0:
            raise PlanningError("detour_far", "a road cannot be shorter than the straight line: use 1 or more.")
        if self.detour_scale_m <= 0.0 or self.speed_scale_m <= 0.0:
            raise PlanningError("detour_scale_m", "scales must be above 0 metres.")
        if not 0.0 <= self.speed_drop_km_per_h < self.speed_far_km_per_h:
            raise PlanningError("speed_drop_km_per_h", "must be at least 0 and below speed_far_km_per_h.")
        if self.parking_s < 0.0 or self.parking_beyond_m < 0.0:
            raise PlanningError("parking_s", "parking must not be negative.")

    def road_m(self, straight_m: ArrayLike) -> FloatArray:
        """Road length for a straight-line distance, metres."""
        d = np.asarray(straight_m, dtype=np.float64)
        return np.asarray(d * (self.detour_far + self.detour_near * np.exp(-d / self.detour_scale_m)))

    def driving_s(self, road_m: ArrayLike) -> FloatArray:
        """Door-to-door seconds for a road length."""
        road = np.asarray(road_m, dtype=np.float64)
        speed = self.speed_far_km_per_h - self.speed_drop_km_per_h * np.exp(-road / self.speed_scale_m)
        return np.asarray(road / (speed / 3.6) + np.where(road > self.parking_beyond_m, self.parking_s, 0.0))


@dataclass(frozen=True, slots=True)
class GreatCircleTravel:
    """The built-in provider: great circle, then a :class:`RoadModel`. Needs no network and knows no traffic."""

    road: RoadModel = RoadModel()
    source: str = field(default_factory=words.road_model)

    def matrix(self, origins: Sequence[Place], destinations: Sequence[Place]) -> Travel:
        """Metres and seconds from every origin to every destination."""
        lat_o, lon_o = _degrees(origins)
        lat_d, lon_d = _degrees(destinations)
        metres = np.empty((lat_o.size, lat_d.size), dtype=np.int64)
        seconds = np.empty_like(metres)
        is_both_ways = list(origins) == list(destinations)
        # a few rows at a time, so that what is worked out between stays at hand
        for first in range(0, lat_o.size, _ROWS_AT_ONCE):
            rows = slice(first, first + _ROWS_AT_ONCE)
            # there and back is the same road, bit for bit
            columns = slice(first if is_both_ways else 0, None)
            straight = great_circle_m(lat_o[rows, None], lon_o[rows, None], lat_d[None, columns], lon_d[None, columns])
            road = self.road.road_m(straight)
            metres[rows, columns] = np.rint(road)
            seconds[rows, columns] = np.rint(self.road.driving_s(road))
            if is_both_ways:
                metres[columns, rows], seconds[columns, rows] = metres[rows, columns].T, seconds[rows, columns].T
        return Travel(metres, seconds, self.source)


def _degrees(places: Sequence[Place]) -> tuple[FloatArray, FloatArray]:
    degrees = np.array([(p.latitude_deg, p.longitude_deg) for p in places], dtype=np.float64).reshape(-1, 2)
    return degrees[:, 0], degrees[:, 1]
