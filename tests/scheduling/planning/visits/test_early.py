"""What it costs to be early, on both sides of each of its ends."""

import numpy as np
import pytest

from scheduling.planning.visits.early import cost_of_going_early


def test_the_price_of_the_time_lost() -> None:
    """A cycle of 50 days costs 24 + 1: who comes 10 days before its end pays a fifth of that."""
    days = [30.0, 39.0, 40.0, 41.0]
    cost = cost_of_going_early(days, best_day=40.0, best_cost=1.0, visit_price=24.0, fitted_day=-10.0)
    assert cost == pytest.approx([5.0, 0.5, 0.0, 0.0])


def test_a_cycle_lasts_a_day_at_least() -> None:
    for fitted_day in (9.0, 9.5, 10.0, 12.0):
        cost = cost_of_going_early([9.0], best_day=10.0, best_cost=0.0, visit_price=24.0, fitted_day=fitted_day)
        assert cost == pytest.approx([24.0])
    assert cost_of_going_early([9.0], best_day=10.0, best_cost=0.0, visit_price=24.0, fitted_day=8.0) == 12.0


def test_nothing_is_charged_where_a_day_is_not_known() -> None:
    assert cost_of_going_early([1.0], best_day=40.0, best_cost=1.0, visit_price=24.0, fitted_day=np.nan) == 0.0
    assert cost_of_going_early([1.0], best_day=40.0, best_cost=np.inf, visit_price=24.0, fitted_day=0.0) == 0.0
