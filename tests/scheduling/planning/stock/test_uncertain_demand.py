"""The distribution of what is wanted, against enumeration and draws."""

from itertools import product

import numpy as np
import pytest

from scheduling.planning.errors import PlanningError
from scheduling.planning.stock.lead_times import LeadTime
from scheduling.planning.stock.reorder import Arrival, ExpectedDemand, chances_by, quantile_of
from scheduling.planning.stock.replenish import ItemToOrder, packs_to_order, reorder_points
from scheduling.planning.stock.uncertain_demand import (
    chance_of_running_out,
    expected_missing,
    expected_pieces,
    over_lead_time,
    pieces_by,
    times_by,
)

WEEKS = (7.0, 9.0, 12.0, 16.0, 21.0, 30.0, 41.0)
SOON = (1.0, 2.0, 3.0, 5.0, 8.0, 11.0, 13.0)


def test_the_sum_is_that_of_every_outcome() -> None:
    demands = [ExpectedDemand(2, quantile_days=WEEKS), ExpectedDemand(1, quantile_days=SOON), ExpectedDemand(3, day=8)]
    days = [0, 4, 8, 15, 60]
    by = chances_by(demands, days)
    for row, chances in zip(pieces_by(demands, days), by, strict=True):
        expected = np.zeros(7)
        for outcome in product((0, 1), repeat=3):
            chance = np.prod([p if one else 1.0 - p for one, p in zip(outcome, chances, strict=True)])
            expected[sum(one * each.quantity for one, each in zip(outcome, demands, strict=True))] += chance
        np.testing.assert_allclose(np.pad(row, (0, 7 - row.size)), expected, atol=1e-12)


def test_a_position_that_is_fitted_anew_wants_pieces_again() -> None:
    """Against draws of the first date and of the lives after it."""
    wanted = ExpectedDemand(1, quantile_days=WEEKS, fresh_life_days=(20.0, 30.0, 45.0))
    days = [10, 40, 80, 150]
    rng = np.random.default_rng(3)
    grid = np.arange(200)
    first = np.diff(chances_by([wanted], grid.tolist())[:, 0], prepend=0.0)
    life_knots = [17.5, 20.0, 30.0, 45.0, 48.75]
    draws = 40_000
    at = rng.choice(grid, size=draws, p=first / first.sum()).astype(float)
    count = np.zeros((len(days), draws), dtype=int)
    while (at <= max(days)).any():
        count += at[None, :] <= np.array(days)[:, None]
        at = at + np.ceil(np.interp(rng.random(draws), [0.0, 0.1, 0.5, 0.9, 1.0], life_knots))
    for row, drawn in zip(times_by(wanted, days), count, strict=True):
        assert row.sum() == pytest.approx(1.0)
        np.testing.assert_allclose(row, np.bincount(drawn, minlength=row.size)[: row.size] / draws, atol=0.015)


def test_what_nobody_plans_comes_on_top() -> None:
    planned = [ExpectedDemand(1, quantile_days=WEEKS), ExpectedDemand(1, day=3)]
    without, with_more = (pieces_by(planned, [5, 50], unplanned_per_day=rate) for rate in (0.0, 0.04))
    for day, few, more in zip((5, 50), without, with_more, strict=True):
        assert expected_pieces(more) == pytest.approx(expected_pieces(few) + 0.04 * day, abs=1e-6)
        assert more.sum() == pytest.approx(1.0)


def test_a_lead_time_that_varies_mixes_the_days() -> None:
    demands, lead = [ExpectedDemand(1, quantile_days=SOON), ExpectedDemand(1, quantile_days=WEEKS)], LeadTime(6.0, 3.0)
    before, through = over_lead_time(demands, lead, review_days=7)
    for spread, more in ((before, 0), (through, 7)):
        by_hand = np.zeros(3)
        for day, chance in lead.chances():
            row = pieces_by(demands, [day + more])[0]
            by_hand[: row.size] += chance * row
        np.testing.assert_allclose(spread, by_hand)
    assert expected_pieces(through) > expected_pieces(before)


def test_the_chance_of_running_out_counts_what_comes_in_time() -> None:
    demands = [ExpectedDemand(1, day=2), ExpectedDemand(1, quantile_days=(3.0, 5.0, 9.0, 14.0, 19.0, 25.0, 30.0))]
    lead = LeadTime(7)

    def chance(*supply: Arrival) -> float:
        return chance_of_running_out(demands, supply, lead, review_days=7)

    assert chance() == 1.0
    assert chance(Arrival(1)) == pytest.approx(0.5)
    assert chance(Arrival(1), Arrival(1, 14)) == 0.0
    assert chance(Arrival(1), Arrival(1, 15)) == pytest.approx(0.5)
    assert chance(Arrival(2)) == 0.0
    assert chance(Arrival(-1)) == 1.0


def test_pieces_missing_of_a_distribution() -> None:
    spread = np.array([0.2, 0.3, 0.4, 0.1])
    assert [expected_missing(spread, there) for there in (0, 1, 2, 3, 9)] == pytest.approx([1.4, 0.6, 0.1, 0.0, 0.0])
    assert [quantile_of(spread, level) for level in (0.2, 0.21, 0.9, 1.0)] == [0, 1, 2, 3]


def _item(key: str, rate: float, there: int = 0, pack: int = 1, price: float = 10.0) -> ItemToOrder:
    before, through = over_lead_time([], LeadTime(7), review_days=7, unplanned_per_day=rate)
    return ItemToOrder(key, there, before, through, pack, price)


@pytest.mark.parametrize("fill_rate", [0.8, 0.9, 0.95])
def test_all_items_together_are_served_as_asked(fill_rate: float) -> None:
    items = [_item(str(k), rate, pack=pack) for k, (rate, pack) in enumerate([(0.4, 1), (0.1, 6), (0.9, 4), (0.02, 1)])]
    points = reorder_points(items, fill_rate=fill_rate)
    missing = sum(item.missing()[points[item.key] + 1] for item in items)
    assert 1.0 - missing / sum(item.wanted for item in items) == pytest.approx(fill_rate, abs=0.02)
    worst = max(items, key=lambda item: item.missing()[points[item.key] + 1] / item.wanted)
    for item in items:
        if points[item.key] >= 0:
            # one piece less, and it would have been the worst served of all
            assert (
                item.missing()[points[item.key]] / item.wanted >= worst.missing()[points[worst.key] + 1] / worst.wanted
            )


def test_what_is_wanted_before_todays_order_is_here_is_ordered_today() -> None:
    """Six pieces are wanted within the lead time and none after it: there is no later fill rate to keep."""
    six = [ExpectedDemand(1, day=day) for day in range(6)]
    before, through = over_lead_time(six, LeadTime(7), review_days=7)
    for there, packs in ((0, 2), (1, 2), (2, 1), (5, 1), (6, 0)):
        item = ItemToOrder("part", there, before, through, 4, 10.0)
        assert packs_to_order([item], fill_rate=0.9).get("part", 0) == packs


def test_what_nobody_wants_is_not_ordered_and_who_waits_is_served() -> None:
    assert packs_to_order([_item("idle", 0.0, there=0)], fill_rate=0.9) == {}
    assert packs_to_order([_item("idle", 0.0, there=-4, pack=3)], fill_rate=0.9) == {"idle": 2}
    assert packs_to_order([], fill_rate=0.9) == {}


@pytest.mark.parametrize("fill_rate", [0.0, 1.0, -0.1, float("nan")])
def test_a_fill_rate_that_cannot_be_is_refused(fill_rate: float) -> None:
    with pytest.raises(PlanningError):
        packs_to_order([_item("part", 0.1)], fill_rate=fill_rate)


@pytest.mark.parametrize(
    ("pack", "price", "field"), [(0, 1.0, "pack_size"), (1, 0.0, "price"), (1, float("nan"), "price")]
)
def test_an_item_that_cannot_be_ordered_is_refused(pack: int, price: float, field: str) -> None:
    with pytest.raises(PlanningError, match="must be"):
        _item("part", 0.1, pack=pack, price=price)
    assert field
