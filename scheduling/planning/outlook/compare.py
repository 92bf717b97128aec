"""What simulated years say of a whole company: quantiles of each measure, differences, and the curve of a policy."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

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
    return on_curve + [held_against(_point(name, outcomes, days), on_curve) for name, outcomes in intervals.items()]


def _point(name: str, outcomes: FloatArray, days: int) -> FrontierPoint:
    mean = dict(zip(MEASURES, (outcomes.mean(axis=(0, 1)) * 365.0 / days).tolist(), strict=True))
    return FrontierPoint(name, round(mean["visits"], 3), round(mean["days_at_risk"], 2), round(mean["money"], 2))


def held_against(point: FrontierPoint, curve: Sequence[FrontierPoint]) -> FrontierPoint:
    """The point with the days at risk that a curve, by rising visits, has at as many visits.

    Between two of its points the curve is straight; with more visits than its last point makes it does at least as well
    as there.
    """
    if not curve or point.visits < curve[0].visits:
        return point
    visits, days = [p.visits for p in curve], [p.days_at_risk for p in curve]
    return replace(point, curve_days_at_risk=round(float(np.interp(point.visits, visits, days)), 2))
