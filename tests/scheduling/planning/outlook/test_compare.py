"""Totals of companies, differences by the same chances, and fixed intervals held against a curve."""

import numpy as np
import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.outlook.compare import company_totals, compare, frontier, quantiles_of
from scheduling.planning.outlook.sites import MEASURES


def _outcomes(*visits_by_draw: list[float], days: float = 0.0) -> np.ndarray:
    outcomes = np.zeros((len(visits_by_draw), len(visits_by_draw[0]), len(MEASURES)))
    outcomes[:, :, MEASURES.index("visits")] = visits_by_draw
    outcomes[:, :, MEASURES.index("days_at_risk")] = days
    return outcomes


def test_a_difference_holds_no_chance_that_both_had() -> None:
    rng = np.random.default_rng(1)
    visits = rng.integers(0, 9, (10, 6)).astype(float)
    table = compare(_outcomes(*visits.tolist()), _outcomes(*(visits + 1.0).tolist()), seed=4)
    assert table["present"]["visits"]["p10"] < table["present"]["visits"]["p90"]
    # one visit more at each of six sites, whatever was drawn
    assert table["difference"]["visits"] == {"p10": 6.0, "p50": 6.0, "p90": 6.0, "mean": 6.0}
    with pytest.raises(PlanningError, match="shape"):
        compare(_outcomes([1.0]), _outcomes([1.0, 2.0]), seed=0)


def test_quantiles_and_means_are_told_to_the_hundredth() -> None:
    totals = np.zeros((101, len(MEASURES)))
    totals[:, MEASURES.index("money")] = np.arange(101.0) / 100.0 + 0.004
    # 0.00 to 1.00 in steps of 0.01: its tenths are 0.10, 0.50, 0.90, and its mean 0.50; 0.004 more is nothing
    row = quantiles_of(totals)["money"]
    assert row == {"p10": 0.1, "p50": 0.5, "p90": 0.9, "mean": 0.5}
    assert quantiles_of(totals + 0.05)["money"] == {"p10": 0.15, "p50": 0.55, "p90": 0.95, "mean": 0.55}


def test_sites_that_stand_for_others_are_scaled_to_the_company() -> None:
    totals = company_totals(_outcomes([2.0, 4.0]), seed=0, sites=100)
    assert totals[:, 0].mean() == pytest.approx(300.0, abs=1.0)
    assert np.all(company_totals(_outcomes([2.0, 4.0]), seed=0)[:, 0] == 6.0)


def test_an_interval_is_held_against_the_curve_at_as_many_visits() -> None:
    curve = {"dear": _outcomes([4.0], days=10.0), "cheap": _outcomes([2.0], days=30.0)}
    intervals = {
        "half": _outcomes([3.0], days=50.0),
        "better": _outcomes([3.0], days=15.0),
        "more": _outcomes([5.0], days=12.0),
        "fewer": _outcomes([1.0], days=99.0),
    }
    points = {point.name: point for point in frontier(curve, intervals, days=365)}
    assert list(points) == ["cheap", "dear", "half", "better", "more", "fewer"]
    # half way between (2, 30) and (4, 10)
    assert (points["half"].curve_days_at_risk, points["half"].is_above_curve) == (20.0, True)
    assert points["better"].is_above_curve is False
    assert (points["more"].curve_days_at_risk, points["more"].is_above_curve) == (10.0, True)
    assert points["fewer"].is_above_curve is None
    assert points["cheap"].is_above_curve is None
    # a year and site, whatever was counted
    assert frontier(curve, {}, days=730)[0].visits == 1.0
