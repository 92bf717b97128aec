"""Fitting the road model to the trips a company's vans have really made."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from scheduling.planning.errors import PlanningError
from scheduling.planning.travel.trips import FloatArray, RoadModel
from scheduling.planning.words import travel as words

#: Fewer trips than this say too little about five settings.
FEWEST_TRIPS = 60


@dataclass(frozen=True, slots=True)
class Calibration:
    """What fitting gave.

    Attributes
    ----------
    model
        The fitted model, or the one it started from when fitting did not help.
    trips
        How many trips were usable.
    error_before, error_after
        Median absolute error of a trip's time as a share of it, on trips that were not fitted to.
    fitted
        Whether ``model`` is a fitted one.
    sentence
        The same for a person to read.
    """

    model: RoadModel
    trips: int
    error_before: float
    error_after: float
    fitted: bool
    sentence: str


def calibrate_road(
    straight_m: ArrayLike, driving_s: ArrayLike, *, road_m: ArrayLike | None = None, start: RoadModel | None = None
) -> Calibration:
    """Fit the speeds and the parking time (and, with road lengths, the detours) to past trips.

    A fifth of the trips is kept aside; the fit is taken only when it tells their times better than the model it started
    from. Trips of no length, and times beyond six hours or slower than walking pace, are left out as mistakes of the
    log; heavy tails of what remains are weighed down.

    Parameters
    ----------
    straight_m
        ``(trips,)`` distance along the great circle, metres.
    driving_s
        ``(trips,)`` seconds from leaving one stop to arriving at the next.
    road_m
        ``(trips,)`` length driven, metres, NaN where not known; None: not known at all, and detours stay as they are.
    start
        The model to start from; None: the default.

    Raises
    ------
    PlanningError
        When the arrays differ in length.
    """
    model = start or RoadModel()
    trips = _Trips.of(straight_m, driving_s, road_m, model)
    count = trips.straight_m.size
    if count < FEWEST_TRIPS:
        return _keep_model(model, count, words.too_few_trips(count, FEWEST_TRIPS))
    first = np.array(
        [
            model.speed_far_km_per_h,
            model.speed_drop_km_per_h / model.speed_far_km_per_h,
            model.speed_scale_m,
            model.parking_s,
            model.detour_far,
            model.detour_near,
        ]
    )
    low = np.array([20.0, 0.0, 1_000.0, 0.0, 1.0, 0.0])
    high = np.array([130.0, 0.9, 80_000.0, 600.0, 2.5, 1.5])
    first = np.clip(first, low + 1e-6, high - 1e-6)
    result = least_squares(
        trips.residuals, first, bounds=(low, high), loss="soft_l1", f_scale=0.2, x_scale=np.maximum(np.abs(first), 0.05)
    )
    fitted = trips.model_of(result.x)
    before, after = trips.error_aside(model), trips.error_aside(fitted)
    if after >= before:
        return _keep_model(model, count, words.no_better(count), before)
    return Calibration(fitted, count, before, after, True, words.fitted(count, before, after))


@dataclass(frozen=True, slots=True, eq=False)
class _Trips:
    """Usable trips, and the model they are fitted to.

    Attributes
    ----------
    straight_m, driving_s, road_m
        ``(trips,)`` as of `calibrate_road`.
    has_road
        Whether the length driven is known and can be.
    is_aside
        Whether a trip is kept out of the fit, to judge it by.
    fits_detour
        Whether enough lengths are known to fit the detours as well.
    start
        The model to start from.
    """

    straight_m: FloatArray
    driving_s: FloatArray
    road_m: FloatArray
    has_road: NDArray[np.bool_]
    is_aside: NDArray[np.bool_]
    fits_detour: bool
    start: RoadModel

    @classmethod
    def of(cls, straight_m: ArrayLike, driving_s: ArrayLike, road_m: ArrayLike | None, start: RoadModel) -> _Trips:
        """Those of the trips whose times can be those of a drive."""
        straight = np.asarray(straight_m, dtype=np.float64)
        seconds = np.asarray(driving_s, dtype=np.float64)
        road = np.full_like(straight, np.nan) if road_m is None else np.asarray(road_m, dtype=np.float64)
        for name, column in (("driving_s", seconds), ("road_m", road)):
            if column.shape != straight.shape or straight.ndim != 1:
                raise PlanningError(name, f"must be a row as long as straight_m, {straight.shape}, not {column.shape}.")
        with np.errstate(invalid="ignore", divide="ignore"):
            usable = (straight > 50.0) & (seconds > 10.0) & (seconds < 21_600.0) & (straight / seconds > 0.4)
            usable &= straight / seconds < 42.0  # 150 km/h as the crow flies
        straight, seconds, road = straight[usable], seconds[usable], road[usable]
        is_aside = np.arange(straight.size) % 5 == 0
        has_road = np.isfinite(road) & (road >= straight * 0.98)
        fits_detour = int(np.count_nonzero(has_road & ~is_aside)) >= FEWEST_TRIPS
        return cls(straight, seconds, road, has_road, is_aside, fits_detour, start)

    def model_of(self, x: FloatArray) -> RoadModel:
        """The model of a point of the fit."""
        far, share, scale, parking, detour, near = (float(v) for v in x)
        return dataclasses.replace(
            self.start,
            speed_far_km_per_h=far,
            speed_drop_km_per_h=share * far,
            speed_scale_m=scale,
            parking_s=parking,
            **({"detour_far": detour, "detour_near": near} if self.fits_detour else {}),
        )

    def residuals(self, x: FloatArray) -> FloatArray:
        """Logarithms of modelled over recorded, of the times and, where they are fitted, of the lengths."""
        tried, kept = self.model_of(x), ~self.is_aside
        modelled = tried.road_m(self.straight_m)
        road = np.where(self.has_road, self.road_m, modelled)
        times = np.log(tried.driving_s(road) / self.driving_s)[kept]
        lengths = np.log(modelled / road)[kept] if self.fits_detour else np.zeros(0)
        return np.concatenate([times, lengths])

    def error_aside(self, model: RoadModel) -> float:
        """Median error of the times of the trips kept aside, as a share of them."""
        recorded = self.driving_s[self.is_aside]
        return float(np.median(np.abs(model.driving_s(model.road_m(self.straight_m[self.is_aside])) / recorded - 1.0)))


def _keep_model(model: RoadModel, trips: int, sentence: str, error: float = float("nan")) -> Calibration:
    return Calibration(model, trips, error, error, False, sentence)
