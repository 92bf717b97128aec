"""From money and minutes to cents and seconds, worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import pytest

from scheduling.planning.policy import Policy
from scheduling.planning.rounds.candidates import candidate_of, lunch_of, on_allowed_days, rates_of
from scheduling.planning.rounds.problem import Candidate, Lunch, Rates, Window
from scheduling.planning.travel.trips import Place


def candidate(**values: Any) -> Candidate:
    facts: dict[str, Any] = {
        "key": "v", "place": Place(50.0, 9.0), "windows": (), "minutes": 30.0, "cost_by_day": (1.0, 2.0),
        "cost_if_unserved": 5.0, "urgent": False,
    }  # fmt: skip
    return candidate_of(**{**facts, **values})


def test_the_parts_of_a_visit_are_its_own() -> None:
    parts = {"resin": 2, "carbon": 1}
    made = candidate(parts=parts)
    parts["resin"] = 9
    assert made.parts == {"resin": 2, "carbon": 1}
    assert candidate().parts == {}


@pytest.mark.parametrize(("minutes", "seconds"), [(0.5, 30), (30.0, 1_800), (1_440.0, 86_400), (1_500.0, 86_400)])
def test_minutes_become_seconds_and_more_than_a_day_are_a_day(minutes: float, seconds: int) -> None:
    assert candidate(minutes=minutes).service_s == seconds


def test_money_becomes_cents_and_a_day_that_is_not_allowed_takes_the_dearest_price() -> None:
    made = candidate(cost_by_day=(1.5, None, 12.344, math.inf), cost_if_unserved=40.006)
    assert made.cost_by_day_cents == (150, 1_234, 1_234, 1_234)
    assert made.cost_if_unserved_cents == 4_001
    assert candidate(cost_by_day=(None, None)).cost_by_day_cents == (0, 0)


def test_who_may_go_is_anybody_or_those_named() -> None:
    assert candidate().installers is None
    assert candidate(installers=["Ada", "Ben", "Ada"]).installers == {"Ada", "Ben"}
    assert candidate(skills=["pump"], label="site 4").skills == {"pump"}


def test_windows_stay_on_days_that_have_a_price() -> None:
    windows = [Window(day, 8 * 3_600, 9 * 3_600) for day in range(4)]
    assert on_allowed_days(windows, (0.0, None, math.inf, 3.0)) == (windows[0], windows[3])


def test_the_prices_of_a_policy_become_cents_each_under_its_own_name() -> None:
    policy = Policy(
        driving_cost_per_minute=0.4, driving_cost_per_km=0.31, overtime_cost_per_hour=52.5, missed_urgent_cost=800.0,
        missed_appointment_cost=1_200.004, currency="CHF",
    )  # fmt: skip
    assert rates_of(policy) == Rates(
        driving_minute_cents=40, km_cents=31, overtime_hour_cents=5_250, missed_urgent_cents=80_000,
        missed_appointment_cents=120_000, currency="CHF",
    )  # fmt: skip


def test_a_break_of_a_policy_is_told_in_seconds_and_none_where_it_grants_none() -> None:
    policy = Policy(lunch_minutes=45.0, lunch_earliest_start_s=40_000, lunch_latest_start_s=50_000)
    assert lunch_of(policy) == Lunch(2_700, 40_000, 50_000)
    assert lunch_of(replace(policy, lunch_minutes=0.0)) is None
