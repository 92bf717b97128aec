"""Needs as rows: successors, deadlines that have gone by, and the cheapest week of each."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.policy import Policy
from scheduling.planning.visits.rows import NeedRows

POLICY = replace(Policy(), bundling_weeks=20)


def certain(days_left: float, **more: object) -> Need:
    """Exhausted on that day for certain, and dear to have exhausted."""
    values = {
        "quantile_days": (days_left,) * 7,
        "remaining_share": 1.0,
        "price": 14.0,
        "late_cost_per_day": 1e6,
        **more,
    }
    return Need("n", "a", "u", NeedKind.REPLACE, **values)


def rows_of(*needs: Need) -> NeedRows:
    return NeedRows.of([replace(need, key=str(k)) for k, need in enumerate(needs)], POLICY, routed_days=5)


@pytest.mark.parametrize(("end", "day"), [(70, math.inf), (76, math.inf), (77, 73.0), (140, 73.0)])
def test_the_cheapest_week_is_told_by_its_middle_and_only_before_the_end(end: int, day: float) -> None:
    """Exhausted on day 74: the middle of week 10, day 73, is the last good one."""
    assert rows_of(certain(74.0)).best_days(end).tolist() == [day]


def test_each_week_is_weighed_at_its_middle() -> None:
    """Fourteen days of a life of fourteen are worth 14: 1 a day."""
    weekly = rows_of(certain(14.0, late_cost_per_day=2.0)).weekly_costs(4)
    assert weekly[0] == pytest.approx([11.0, 4.0, 2.0 * 3, 2.0 * 10, 2.0 * 17])


def test_weeks_in_which_it_is_not_allowed_cost_everything() -> None:
    first, last = (rows_of(certain(1_000.0, **allowed)).weekly_costs(4)[0] for allowed in (
        {"not_before_day": 14}, {"deadline_day": 14},
    ))  # fmt: skip
    assert np.isfinite(first).tolist() == [False, False, True, True, True]
    assert np.isfinite(last).tolist() == [True, True, True, False, False]
    assert np.isfinite(rows_of(certain(1_000.0, not_before_day=13)).weekly_costs(4)[0, 1])
    assert not np.isfinite(rows_of(certain(1_000.0, deadline_day=13)).weekly_costs(4)[0, 2])


def test_a_successor_is_counted_from_the_week_of_the_one_before_it() -> None:
    """The first is changed in the middle of week 4, on day 31; the next half of its 50 days later at the earliest."""
    rows = rows_of(certain(34.0, fresh_life_days=50.0))
    assert set(rows.need.tolist()) == {0}
    assert (np.diff(rows.fitted_day[1:]) >= 25.0 - 3.5).all()
    assert rows.fitted_day[1:].tolist()[0] == 31.0
    assert rows.quantiles[1].tolist() == pytest.approx(
        [31.0 + 50.0 * share for share in (0.55, 0.65, 0.8, 1, 1.2, 1.4, 1.55)]
    )
    # of its whole price a day of its life is worth a fiftieth
    assert rows.price[1] == pytest.approx(14.0 * (31.0 + 50.0) / 50.0)
    assert rows.share[1] == 1.0
    assert rows.first_day[1] == 31.0 + 25.0
    assert math.isinf(rows.last_day[1])
    assert math.isinf(rows.deadline[1])
    assert not rows.urgent[1]


@pytest.mark.parametrize(("life", "rows"), [(108.9, 2), (109.0, 1), (140.0, 1), (math.nan, 1)])
def test_there_is_a_successor_where_it_ends_within_the_weeks(life: float, rows: int) -> None:
    """The first is changed on day 31: 109 days later the 140 days are over."""
    assert rows_of(certain(34.0, fresh_life_days=life)).need.size == rows


def test_the_next_one_is_fitted_a_week_later_at_least() -> None:
    rows = rows_of(certain(34.0, fresh_life_days=10.0))
    assert rows.first_day[1] == 31.0 + 7.0


def test_behind_a_lead_a_successor_begins_where_its_lag_ends() -> None:
    lead = certain(90.0, exhausted_quantile_days=(20.0,) * 7, exhausted_cost_per_day=1e6, fresh_life_days=30.0)
    rows = rows_of(lead)
    assert rows.fitted_day[1] == 17.0
    assert rows.quantiles[1, 3] == 90.0 + 30.0
    assert rows.exhausted_quantiles[1, 3] == 20.0 + 30.0


def test_days_used_so_far_tell_when_it_was_fitted() -> None:
    assert rows_of(certain(30.0, remaining_share=0.25, fresh_life_days=200.0)).fitted_day[0] == -150.0


@pytest.mark.parametrize(
    ("values", "first", "last", "deadline", "urgent"),
    [
        ({}, 0, math.inf, math.inf, False),
        ({"not_before_day": -4}, 0, math.inf, math.inf, False),
        ({"not_before_day": 9}, 9, math.inf, math.inf, False),
        ({"deadline_day": 0}, 0, 0, 0, False),
        ({"deadline_day": 12}, 0, 12, 12, False),
        ({"deadline_day": -1}, 0, 4, math.inf, True),
        ({"urgent": True}, 0, 4, math.inf, True),
        ({"urgent": True, "deadline_day": 2}, 0, 2, 2, True),
        ({"urgent": True, "deadline_day": 20}, 0, 4, 20, True),
        ({"urgent": True, "not_before_day": 9}, 9, 9, math.inf, True),
    ],
)
def test_between_which_days_it_may_be_done(
    values: dict[str, object], first: float, last: float, deadline: float, urgent: bool
) -> None:
    rows = rows_of(certain(300.0, **values))
    assert (rows.first_day[0], rows.last_day[0], rows.deadline[0], rows.urgent[0]) == (first, last, deadline, urgent)


@pytest.mark.parametrize(("rate", "day"), [(3.0, 6.0), (0.0, math.nan)])
def test_a_task_that_costs_by_the_day_is_late_from_its_first_day_on(rate: float, day: float) -> None:
    task = Need("n", "a", "u", NeedKind.SANITISE, not_before_day=6, late_cost_per_day=rate)
    assert rows_of(task).quantiles[0].tolist() == pytest.approx([day] * 7, nan_ok=True)
