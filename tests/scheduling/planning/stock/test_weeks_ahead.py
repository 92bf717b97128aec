"""An item week by week, against binomial and Poisson tables of a library and against counting by hand."""

import pytest
from scipy import stats

from scheduling.planning.stock.reorder import Arrival, ExpectedDemand, chances_by
from scheduling.planning.stock.weeks_ahead import WEEKS, wanted_by_place, weeks_ahead

LATER = (7.0, 9.0, 12.0, 16.0, 21.0, 30.0, 41.0)


def test_equal_chances_give_a_binomial_distribution() -> None:
    """Source: `scipy.stats.binom`."""
    demands = [ExpectedDemand(1, quantile_days=LATER) for _ in range(12)]
    for week in weeks_ahead(demands, [Arrival(5)], weeks=4):
        chance = float(chances_by(demands, [week.day])[0, 0])
        table = stats.binom(12, chance)
        assert (week.wanted_p10, week.wanted_p50, week.wanted_p90) == tuple(table.ppf([0.1, 0.5, 0.9]))
        assert week.expected == pytest.approx(12 * chance)
        assert week.chance_missing == pytest.approx(table.sf(5))


def test_what_nobody_plans_is_a_poisson_number() -> None:
    """Source: `scipy.stats.poisson`."""
    for week in weeks_ahead([], [Arrival(3)], weeks=6, unplanned_per_day=0.1):
        table = stats.poisson(0.1 * week.day)
        assert (week.wanted_p10, week.wanted_p90) == tuple(table.ppf([0.1, 0.9]))
        assert week.chance_missing == pytest.approx(table.sf(3), abs=1e-9)


def test_certain_work_and_deliveries_are_counted() -> None:
    demands = [ExpectedDemand(1, day=3), ExpectedDemand(2, day=10), ExpectedDemand(1, day=20)]
    supply = [Arrival(1), Arrival(3, usable_from=15)]
    weeks = weeks_ahead(demands, supply, weeks=3)
    assert [(w.wanted_p10, w.wanted_p50, w.wanted_p90) for w in weeks] == [(1, 1, 1), (3, 3, 3), (4, 4, 4)]
    assert [(w.there, w.chance_missing) for w in weeks] == [(1, 0.0), (1, 1.0), (4, 0.0)]


def test_pieces_count_until_their_last_day_and_those_used_in_time_are_no_loss() -> None:
    # counted by hand: of four that end on day 10 two are used by then, two are lost; those that keep stay
    demands = [ExpectedDemand(1, day=3), ExpectedDemand(1, day=9), ExpectedDemand(3, day=19)]
    supply = [Arrival(4, usable_until=10), Arrival(2)]
    weeks = weeks_ahead(demands, supply, weeks=3)
    assert [(w.there, w.chance_missing) for w in weeks] == [(6, 0.0), (4, 0.0), (4, 1.0)]
    # first expired, first used: what ends on day 4 is used before what ends on day 10, of which one more is lost
    lots = [Arrival(1, usable_until=10), Arrival(2, usable_until=4), Arrival(5)]
    assert [w.there for w in weeks_ahead(demands, lots, weeks=2)] == [7, 7]


def test_a_place_is_served_again_and_again() -> None:
    """Fitted on day 10, and each lasts 50 days almost to the day: on days 10, 60, 110 and 160 of 182."""
    demands = [ExpectedDemand(1, day=10, position="7", fresh_life_days=(50.0, 50.0, 50.0))]
    assert weeks_ahead(demands, [])[-1].wanted_p50 == 4
    chance, pieces = wanted_by_place(demands, 7 * WEEKS)["7"]
    assert chance == pytest.approx(1.0)
    assert pieces == pytest.approx(4.0, abs=1e-6)


def test_two_demands_of_one_place_are_joined() -> None:
    demands = [ExpectedDemand(1, quantile_days=LATER, position="7"), ExpectedDemand(2, quantile_days=LATER)]
    half = weeks_ahead(demands, [])
    assert wanted_by_place(demands, 16) == {"7": pytest.approx((0.5, 0.5))}
    assert half[-1].wanted_p50 == 3
    both = wanted_by_place([demands[0], demands[0]], 16)["7"]
    assert both == pytest.approx((0.75, 1.0))
