"""What driving to a site costs in a usual round, before any round is planned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy.spatial import cKDTree

from scheduling.planning.needs.need import FloatArray
from scheduling.planning.policy import Policy
from scheduling.planning.travel.trips import EARTH_RADIUS_M, Place, RoadModel, great_circle_m

FARTHEST_LEG: Final = 4.0
"""Of 12 places scattered evenly over a disk, 99 in 100 have their farthest neighbour within 2.9 times the middle
distance (counted on 2,000 draws; of 20 places 2.6)."""

_FEWEST_NEIGHBOURS: Final = 4
"""With fewer, one place far away is as good a witness as the rest."""


def travel_cost_estimate(
    places: Sequence[Place | None],
    bases: Sequence[Place] = (),
    *,
    policy: Policy,
    road: RoadModel | None = None,
) -> FloatArray:
    r"""Driving money of visiting each place in a usual round.

    One leg to a neighbour that is due as well, plus the drive out and back shared by the stops of a round. With sites
    scattered at random (a Poisson field) of which one in T is due in a week, the nearest due one is on average as far
    as the (pi/4) T-th nearest of all, which is what is taken. A place that is not known (None) is nobody's neighbour,
    and a visit there is taken to cost the median of those at known places; 0 where none is known.

    A company with fewer places than that has no such neighbour: the farthest stands in, but no farther than
    `FARTHEST_LEG` times the middle distance to the others, so that one place far away, or mistyped, does not make the
    visits to all others dear.

    Returns
    -------
    array ``(places,)`` in money.
    """
    is_located = np.array([place is not None for place in places], dtype=bool)
    cost = np.zeros(is_located.size)
    cost[is_located] = _of_known([place for place in places if place is not None], bases, policy, road or RoadModel())
    if is_located.any():
        cost[~is_located] = np.median(cost[is_located])
    return cost


def _of_known(places: Sequence[Place], bases: Sequence[Place], policy: Policy, model: RoadModel) -> FloatArray:
    n = len(places)
    degrees = np.array([(p.latitude_deg, p.longitude_deg) for p in places], dtype=np.float64).reshape(-1, 2)
    lat, lon = np.radians(degrees[:, 0]), np.radians(degrees[:, 1])
    leg_m = np.zeros(n)
    k = min(max(1, round(math.pi / 4.0 * policy.visit_interval_weeks)), n - 1)
    if k >= 1:
        xyz = np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
        chord, _ = cKDTree(xyz).query(xyz, k=[k + 1])
        leg_m = _metres(chord[:, 0])
        middle = n // 2
        if k > middle and n > _FEWEST_NEIGHBOURS:
            chord, _ = cKDTree(xyz).query(xyz, k=[middle + 1])
            leg_m = np.minimum(leg_m, FARTHEST_LEG * _metres(chord[:, 0]))
    cost = _driving_money(model, leg_m, policy)
    if bases:
        stem = np.min(
            [great_circle_m(degrees[:, 0], degrees[:, 1], b.latitude_deg, b.longitude_deg) for b in bases], axis=0
        )
        cost = cost + 2.0 * _driving_money(model, stem, policy) / policy.stops_per_round
    return np.asarray(cost)


def _metres(chord: FloatArray) -> FloatArray:
    """Great-circle metres of straight lines through the unit sphere."""
    return np.asarray(2.0 * EARTH_RADIUS_M * np.arcsin(np.clip(chord / 2.0, 0.0, 1.0)))


def _driving_money(model: RoadModel, straight_m: FloatArray, policy: Policy) -> FloatArray:
    road_m = model.road_m(straight_m)
    minutes = model.driving_s(road_m) / 60.0
    return np.asarray(minutes * policy.driving_cost_per_minute + road_m / 1_000.0 * policy.driving_cost_per_km)
