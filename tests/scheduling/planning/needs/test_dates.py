"""By which dates a need is weighed."""

import math
from typing import Any

import pytest

from scheduling.planning.needs.dates import need_dates
from scheduling.planning.needs.facts import ForecastFacts
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS

WIDTH = len(DISTRIBUTION_LEVELS)


def on(day: float, **values: Any) -> ForecastFacts:
    return ForecastFacts(key=1, cartridge=1, quantile_days=(day,) * WIDTH, **values)


def test_a_forecast_gives_its_date_and_what_is_left() -> None:
    dates = need_dates(forecast=on(50.0, remaining_share=0.25))
    assert dates.quantile_days == (50.0,) * WIDTH
    assert dates.fresh_life_days == pytest.approx(200.0)
    assert dates.worn_quantile_days == ()


@pytest.mark.parametrize(("share", "known"), [(0.05, False), (0.051, True)])
def test_near_its_end_what_is_left_says_nothing_of_a_whole_life(share: float, known: bool) -> None:
    assert math.isnan(need_dates(forecast=on(5.0, remaining_share=share)).fresh_life_days) is not known


@pytest.mark.parametrize(
    ("is_exhausted", "is_confirmed", "expected"),
    [(False, False, 0.0), (True, False, -8.0), (True, True, 0.0), (False, True, 0.0)],
)
def test_what_is_seen_outranks_a_forecast_of_more_life(is_exhausted: bool, is_confirmed: bool, expected: float) -> None:
    known = on(-8.0 if is_exhausted else 60.0, is_exhausted=is_exhausted, remaining_share=0.4)
    dates = need_dates(forecast=known, is_seen=True, is_confirmed=is_confirmed)
    assert dates.quantile_days == (expected,) * WIDTH
    assert dates.remaining_share == 0.0


@pytest.mark.parametrize(("lag", "late"), [(30.0, 50.0), (70.0, 70.0)])
def test_a_lead_is_late_when_its_lag_is_exhausted_too(lag: float, late: float) -> None:
    dates = need_dates(forecast=on(50.0), lag_forecast=on(lag))
    assert dates.worn_quantile_days == (50.0,) * WIDTH
    assert dates.quantile_days == (late,) * WIDTH


def test_the_calendar_speaks_only_where_nothing_else_does() -> None:
    assert need_dates(due_in_days=12).quantile_days == (12.0,) * WIDTH
    assert need_dates(forecast=on(50.0), due_in_days=12).quantile_days == (50.0,) * WIDTH
    assert need_dates() == need_dates()
    assert need_dates().quantile_days == ()
