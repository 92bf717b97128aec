"""What simulated years say of a whole company: quantiles of each measure, differences, and the curve of a policy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduling.planning.errors import PlanningError
from scheduling.planning.outlook.sites import MEASURES

#: How many companies are put together from the draws of their sites.
_COMPANIES = 2_000

QUANTILES = {"p10": 0.10, "p50": 0.50, "p90": 0.90}

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class FrontierPoint:
    """A way of deciding, by what it costs on average.

    Attributes
    ----------
    name
        Of the way.
    visits, days_at_risk, money
        Means a site and year.
    curve_days_at_risk
        Of a fixed interval: days at risk of the policy's curve at as many visits; None: the policy never makes so few
        visits, or the point is on the curve.
    """

    name: str
    visits: float
    days_at_risk: float
    money: float
    curve_days_at_risk: float | None = None

    @property
    def is_above_curve(self) -> bool | None:
        """Whether the policy has fewer days at risk with as many visits; None: nothing to compare with."""
        return None if self.curve_days_at_risk is None else self.curve_days_at_risk < self.days_at_risk


def company_totals(outcomes: FloatArray, *, seed: int, sites: int | None = None) -> FloatArray:
    """Totals of companies put together from one draw of each site.

    Sites are independent of one another, so that any draw of one goes with any draw of another. The same seed and shape
    put the same draws together, for every way of deciding.

    Parameters
    ----------
    outcomes
        ``(draws, simulated sites, measures)``.
    sites
        How many sites the company has, where only some of them were simulated: each of the company is then like one of
        those. None: all were.

    Returns
    -------
    array ``(companies, measures)``.
    """
    draws, simulated, measures = outcomes.shape
    size = simulated if sites is None else sites
    rng = np.random.default_rng(np.random.SeedSequence([seed, size]))
    totals = np.zeros((_COMPANIES, measures))
    for number in range(size):
        site = np.full(_COMPANIES, number) if size == simulated else rng.integers(0, simulated, _COMPANIES)
        totals += outcomes[rng.integers(0, draws, _COMPANIES), site]
    return totals


def quantiles_of(totals: FloatArray) -> dict[str, dict[str, float]]:
    """Each measure's p10, p50, p90 and mean."""
    table = {}
    for column, measure in enumerate(MEASURES):
        values = totals[:, column]
        row = {name: round(float(np.quantile(values, level)), 2) for name, level in QUANTILES.items()}
        table[measure] = {**row, "mean": round(float(values.mean()), 2)}
    return table


def compare(
    present: FloatArray, changed: FloatArray, *, seed: int, sites: int | None = None
) -> dict[str, Mapping[str, Mapping[str, float]]]:
    """Present and changed side by side, and what the change makes of the same chances.

    Parameters
    ----------
    present, changed
        ``(draws, simulated sites, measures)`` of the same sites and chances.
    seed, sites
        As of `company_totals`.

    Raises
    ------
    PlanningError
        When the shapes differ.
    """
    if present.shape != changed.shape:
        raise PlanningError("changed", f"must have the shape of present, {present.shape}, not {changed.shape}.")
    before = company_totals(present, seed=seed, sites=sites)
    after = company_totals(changed, seed=seed, sites=sites)
    return {
        "present": quantiles_of(before),
        "changed": quantiles_of(after),
        "difference": quantiles_of(after - before),
    }


def frontier(curve: Mapping[str, FloatArray], intervals: Mapping[str, FloatArray], *, days: int) -> list[FrontierPoint]:
    """The policy's curve, by rising visits, and fixed intervals held against it at as many visits.

    Parameters
    ----------
    curve
        Name to ``(draws, sites, measures)`` of the policy at several prices.
    intervals
        The same of fixed intervals.
    days
        How many days were counted.
    """
    on_curve = sorted(
        (_point(name, outcomes, days) for name, outcomes in curve.items()), key=lambda p: (p.visits, p.name)
    )
    return on_curve + [_held_against(_point(name, outcomes, days), on_curve) for name, outcomes in intervals.items()]


def _point(name: str, outcomes: FloatArray, days: int) -> FrontierPoint:
    mean = dict(zip(MEASURES, (outcomes.mean(axis=(0, 1)) * 365.0 / days).tolist(), strict=True))
    return FrontierPoint(name, round(mean["visits"], 3), round(mean["days_at_risk"], 2), round(mean["money"], 2))


def _held_against(point: FrontierPoint, curve: Sequence[FrontierPoint]) -> FrontierPoint:
    visits = [p.visits for p in curve]
    days = curve[-1].days_at_risk if curve else 0.0
    if not curve or point.visits < visits[0]:
        return point
    if point.visits <= visits[-1]:
        days = float(np.interp(point.visits, visits, [p.days_at_risk for p in curve]))
    # with more visits than any point of the curve needs, the curve does at least as well as at its last one
    return FrontierPoint(point.name, point.visits, point.days_at_risk, point.money, round(days, 2))
