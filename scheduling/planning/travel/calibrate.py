"""Fitting the road model to the trips a company's vans have really made."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
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
    if straight.size < FEWEST_TRIPS:
        return _keep_model(model, straight.size, words.too_few_trips(straight.size, FEWEST_TRIPS))
    aside = np.arange(straight.size) % 5 == 0
    with_road = np.isfinite(road) & (road >= straight * 0.98)
    fit_detour = int(np.count_nonzero(with_road & ~aside)) >= FEWEST_TRIPS

    def unpack(x: FloatArray) -> RoadModel:
        far, share, scale, parking, detour, near = (float(v) for v in x)
        return dataclasses.replace(
            model,
            speed_far_km_per_h=far,
            speed_drop_km_per_h=share * far,
            speed_scale_m=scale,
            parking_s=parking,
            **({"detour_far": detour, "detour_near": near} if fit_detour else {}),
        )

    def residuals(x: FloatArray) -> FloatArray:
        tried = unpack(x)
        modelled = tried.road_m(straight)
        times = np.log(tried.driving_s(np.where(with_road, road, modelled)) / seconds)[~aside]
        lengths = np.log(modelled / np.where(with_road, road, modelled))[~aside] if fit_detour else np.zeros(0)
        return np.concatenate([times, lengths])

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
        residuals, first, bounds=(low, high), loss="soft_l1", f_scale=0.2, x_scale=np.maximum(np.abs(first), 0.05)
    )
    fitted = unpack(result.x)

    def error(tried: RoadModel) -> float:
        return float(np.median(np.abs(tried.driving_s(tried.road_m(straight[aside])) / seconds[aside] - 1.0)))

    before, after = error(model), error(fitted)
    if after >= before:
        return _keep_model(model, straight.size, words.no_better(straight.size), before)
    return Calibration(fitted, straight.size, before, after, True, words.fitted(straight.size, before, after))


def _keep_model(model: RoadModel, trips: int, sentence: str, error: float = float("nan")) -> Calibration:
    return Calibration(model, trips, error, error, False, sentence)
