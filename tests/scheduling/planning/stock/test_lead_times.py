"""Lead times that vary: the distribution, its quantiles, and what deliveries teach."""

import datetime

import numpy as np
import pytest
from scipy import stats

from scheduling.planning.errors import PlanningError
from scheduling.planning.stock.deliveries import expected_arrival, order_by
from scheduling.planning.stock.lead_times import ENOUGH_DELIVERIES, LeadTime, learned

MONDAY = datetime.date(2026, 11, 23)


@pytest.mark.parametrize(("mean", "sd"), [(7.0, 2.0), (14.0, 5.0), (3.0, 0.5), (30.0, 20.0)])
def test_the_days_are_those_of_a_gamma_distribution(mean: float, sd: float) -> None:
    chances = LeadTime(mean, sd).chances()
    days, weights = np.array([day for day, _ in chances]), np.array([chance for _, chance in chances])
    assert weights.sum() == pytest.approx(1.0)
    # rounding to whole days adds a twelfth of a day squared to the variance (Sheppard 1898)
    assert days @ weights == pytest.approx(mean, abs=0.05)
    assert np.sqrt((days - mean) ** 2 @ weights) == pytest.approx(np.sqrt(sd**2 + 1 / 12), rel=0.03)
    spread = stats.gamma((mean / sd) ** 2, scale=sd**2 / mean)
    for level in (0.5, 0.9, 0.99):
        assert LeadTime(mean, sd).days_with(level) == pytest.approx(spread.ppf(level), abs=0.5 + 1e-6)


def test_a_lead_time_without_spread_is_its_mean() -> None:
    assert LeadTime(7.0).chances() == [(7, 1.0)]
    assert (LeadTime(6.5).usual_days, LeadTime(6.4).days_with(0.999), LeadTime(0.0, 3.0).days_with(0.9)) == (7, 6, 0)


@pytest.mark.parametrize(("mean", "sd", "field"), [(-1, 0, "mean_days"), (731, 0, "mean_days"), (5, -0.1, "sd_days")])
def test_a_lead_time_that_cannot_be_is_refused(mean: float, sd: float, field: str) -> None:
    with pytest.raises(PlanningError) as refused:
        LeadTime(mean, sd)
    assert refused.value.field == field


def test_few_deliveries_teach_nothing_and_enough_of_them_take_over() -> None:
    delays = [1, 3] * (ENOUGH_DELIVERIES // 2)
    assert learned(5.0, 2.0, delays[:-1]) == (5.0, 2.0, 0)
    mean, sd, count = learned(5.0, 2.0, delays)
    assert (mean, count) == (7.0, ENOUGH_DELIVERIES)
    assert sd == pytest.approx(np.std(delays, ddof=1))
    assert learned(2.0, 0.0, [-9] * ENOUGH_DELIVERIES)[0] == 0.0


def test_an_order_waits_for_the_day_on_which_orders_are_taken() -> None:
    only_thursday = frozenset({0, 1, 2, 4})
    assert expected_arrival(MONDAY, 4, no_orders=only_thursday) == datetime.date(2026, 11, 30)
    # read on Thursday the 19th it comes on Monday the 23rd; sent on the Friday it is read a week later
    assert order_by(datetime.date(2026, 11, 24), 4, no_orders=only_thursday) == datetime.date(2026, 11, 19)
    assert order_by(datetime.date(2026, 11, 24), 4) == datetime.date(2026, 11, 19)
    assert order_by(datetime.date(2026, 11, 26), 4, no_orders=only_thursday) == datetime.date(2026, 11, 19)
    assert order_by(datetime.date(2026, 11, 26), 4) == datetime.date(2026, 11, 20)
    with pytest.raises(PlanningError):
        expected_arrival(MONDAY, 4, no_orders=frozenset(range(5)))
