"""By which dates a need is weighed."""

import dataclasses
import math
from random import Random
from typing import Any

import pytest

from scheduling.planning.needs.dates import KnownDates, dates_of_needs, first_day_on_condition, need_dates
from scheduling.planning.needs.facts import ForecastFacts
from scheduling.planning.needs.need import DISTRIBUTION_LEVELS, Need, NeedKind
from scheduling.planning.needs.pricing import price
from scheduling.planning.policy import Policy

WIDTH = len(DISTRIBUTION_LEVELS)


def on(day: float, **values: Any) -> ForecastFacts:
    return ForecastFacts(key=1, cartridge=1, quantile_days=(day,) * WIDTH, **values)


def test_a_forecast_gives_its_date_and_what_is_left() -> None:
    dates = need_dates(forecast=on(50.0, remaining_share=0.25))
    assert dates.quantile_days == (50.0,) * WIDTH
    assert dates.fresh_life_days == pytest.approx(200.0)
    assert dates.exhausted_quantile_days == ()


def test_what_is_wasted_is_what_is_expected_to_be_left_not_its_median() -> None:
    # Exhausted by now with a probability of one half; otherwise evenly within 90 days, after 90 days of use.
    levels = DISTRIBUTION_LEVELS
    days = tuple(180.0 * level - 90.0 for level in levels)
    forecast = ForecastFacts(
        key=1, cartridge=1, quantile_days=days, is_exhausted=True, remaining_share=0.0, used_days=90.0
    )
    # of x uniform in 0 to 90, the mean of x / (x + 90) is 1 - ln 2 = 0.3069; half of that in all
    share = need_dates(forecast=forecast).remaining_share
    assert share == pytest.approx(0.5 * (1.0 - math.log(2.0)), abs=1e-9)
    need = Need("a", "s", "u", NeedKind.REPLACE, price=40.0, **dataclasses.asdict(need_dates(forecast=forecast)))
    (priced,) = price([need], policy=Policy())
    assert priced.curve[0] == pytest.approx(6.14)
    # what a finding shows to be exhausted has nothing left
    assert need_dates(forecast=forecast, is_seen=True).remaining_share == 0.0


@pytest.mark.parametrize(("share", "is_known"), [(0.05, False), (0.051, True)])
def test_near_its_end_what_is_left_says_nothing_of_a_whole_life(share: float, is_known: bool) -> None:
    assert math.isnan(need_dates(forecast=on(5.0, remaining_share=share)).fresh_life_days) is not is_known


@pytest.mark.parametrize(("day", "life"), [(0.5, 5.0), (1.0, 10.0), (2.0, 20.0)])
def test_hours_before_its_end_a_whole_life_is_still_in_proportion(day: float, life: float) -> None:
    """What is left is a tenth, and lasts until its date."""
    assert need_dates(forecast=on(day, remaining_share=0.1)).fresh_life_days == pytest.approx(life)


@pytest.mark.parametrize(("used", "day", "life"), [(120.0, 5.0, 125.0), (120.0, -8.0, 120.0), (14.0, 0.0, 14.0)])
def test_what_ends_has_lasted_as_long_as_it_stood(used: float, day: float, life: float) -> None:
    # without it no further visit would be seen to come where the shortest-lived cartridge is exhausted
    forecast = on(day, is_exhausted=day <= 0.0, remaining_share=0.0, used_days=used)
    assert need_dates(forecast=forecast).fresh_life_days == pytest.approx(life)
    assert need_dates(forecast=forecast, is_seen=True).fresh_life_days == pytest.approx(used)


def test_what_ended_within_days_says_nothing_of_the_next() -> None:
    assert math.isnan(need_dates(forecast=on(0.0, remaining_share=0.0, used_days=13.9)).fresh_life_days)
    assert math.isnan(need_dates(is_seen=True).fresh_life_days)


@pytest.mark.parametrize(("probability", "day"), [(0.35, 7), (0.36, 14), (0.5, 14), (0.0, 0), (1.0, 21)])
def test_what_goes_on_condition_waits_for_its_probability(probability: float, day: int) -> None:
    # evenly over days 0 to 20: 35 % have gone by on day 7; visits are chosen by the week
    evenly = tuple(20.0 * level for level in DISTRIBUTION_LEVELS)
    assert first_day_on_condition([d - 1e-9 for d in evenly], probability) == day
    assert first_day_on_condition((-3.0,) * WIDTH, 0.5) == 0


@pytest.mark.parametrize(
    ("is_exhausted", "is_confirmed", "expected"),
    [(False, False, 0.0), (True, False, -8.0), (True, True, 0.0), (False, True, 0.0)],
)
def test_what_is_seen_outranks_a_forecast_of_more_life(is_exhausted: bool, is_confirmed: bool, expected: float) -> None:
    forecast = on(-8.0 if is_exhausted else 60.0, is_exhausted=is_exhausted, remaining_share=0.4)
    dates = need_dates(forecast=forecast, is_seen=True, is_confirmed=is_confirmed)
    assert dates.quantile_days == (expected,) * WIDTH
    assert dates.remaining_share == 0.0


@pytest.mark.parametrize(("lag", "late"), [(30.0, 50.0), (70.0, 70.0)])
def test_a_lead_is_late_when_its_lag_is_exhausted_too(lag: float, late: float) -> None:
    dates = need_dates(forecast=on(50.0), lag_forecast=on(lag))
    assert dates.exhausted_quantile_days == (50.0,) * WIDTH
    assert dates.quantile_days == (late,) * WIDTH


def test_the_calendar_speaks_only_where_nothing_else_does() -> None:
    assert need_dates(due_in_days=12).quantile_days == (12.0,) * WIDTH
    assert need_dates(forecast=on(50.0), due_in_days=12).quantile_days == (50.0,) * WIDTH
    assert need_dates() == need_dates()
    assert need_dates().quantile_days == ()


def test_the_next_cartridge_lasts_as_its_place_tells() -> None:
    """Not as what is left of the present one over its share: fresh ones last 400 days in this place."""
    forecast = on(40.0, remaining_share=0.5, used_days=50.0)
    assert need_dates(forecast=forecast).fresh_life_days == pytest.approx(80.0)
    told = dataclasses.replace(forecast, fresh_life_days=(200.0, 400.0, 700.0))
    assert need_dates(forecast=told).fresh_life_days == 400.0
    assert need_dates(forecast=told, is_seen=True).fresh_life_days == 400.0
    assert need_dates(forecast=dataclasses.replace(told, fresh_life_days=(1.0, 2.0, 3.0))).fresh_life_days == 14.0


def test_many_needs_are_told_the_dates_that_each_is_told_alone() -> None:
    random = Random(7)

    def forecast() -> ForecastFacts | None:
        first, width = random.uniform(-60.0, 200.0), random.uniform(0.0, 300.0)
        days = tuple(first + width * level for level in DISTRIBUTION_LEVELS)
        return random.choice(
            [
                None,
                ForecastFacts(key=1, cartridge=1),
                ForecastFacts(
                    key=1,
                    cartridge=1,
                    quantile_days=days,
                    is_exhausted=days[0] < 0.0,
                    remaining_share=random.choice([None, random.random()]),
                    used_days=random.choice([None, 0.0, random.uniform(0.0, 400.0)]),
                    fresh_life_days=random.choice([None, (5.0, random.uniform(5.0, 500.0), 600.0)]),
                ),
            ]
        )

    needs = [
        KnownDates(forecast(), forecast(), random.random() < 0.3, random.random() < 0.3, random.choice([None, -3, 9]))
        for _ in range(300)
    ]
    # NaN is not equal to itself, but is written alike
    assert repr(dates_of_needs(needs)) == repr([dates_of_needs([need])[0] for need in needs])
    assert dates_of_needs([]) == []
