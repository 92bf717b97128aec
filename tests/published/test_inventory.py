"""Stock to have and when to order, against textbook results: newsvendor, Poisson loss function, (R, s, nQ).

Sources: critical fractile, Arrow, Harris and Marschak 1951, Econometrica 19:250-272; loss function of a Poisson demand
and uniform position of an (s, nQ) policy, Hadley and Whitin 1963, Analysis of Inventory Systems, chapters 4 and 5; the
bound of the Poisson approximation, Le Cam 1960, Pacific Journal of Mathematics 10:1181-1197. All from memory; the
numbers come from scipy.stats and from enumerating every outcome.
"""

from itertools import product

import numpy as np
import pytest
from scipy import stats

from scheduling.planning.stock.lead_times import LeadTime
from scheduling.planning.stock.reorder import ExpectedDemand, demand_quantile
from scheduling.planning.stock.replenish import ItemToOrder, packs_to_order, reorder_points
from scheduling.planning.stock.uncertain_demand import expected_missing, over_lead_time, pieces_by

PROBABILITIES = (0.03, 0.2, 0.45, 0.5, 0.71, 0.88, 0.97)


@pytest.mark.parametrize(("under", "over"), [(1.0, 1.0), (9.0, 1.0), (70.0, 3.5), (1.0, 4.0), (400.0, 1.0)])
def test_the_quantile_at_the_critical_fractile_costs_least(under: float, over: float) -> None:
    """Newsvendor: Cu / (Cu + Co); the cost of every stock, over all 2^7 outcomes."""
    stock = demand_quantile([1] * 7, PROBABILITIES, under / (under + over))

    def cost(pieces: int) -> float:
        total = 0.0
        for outcome in product((0, 1), repeat=7):
            chance = np.prod([p if one else 1.0 - p for one, p in zip(outcome, PROBABILITIES, strict=True)])
            wanted = sum(outcome)
            total += chance * (under * max(wanted - pieces, 0) + over * max(pieces - wanted, 0))
        return float(total)

    assert cost(stock) == pytest.approx(min(cost(pieces) for pieces in range(8)))


@pytest.mark.parametrize("level", [0.5, 0.8, 0.9, 0.975, 0.999])
def test_many_unlikely_pieces_are_a_poisson_demand(level: float) -> None:
    """Within the bound of Le Cam: the distributions differ by no more than the sum of the squares."""
    demands = [ExpectedDemand(1, quantile_days=_quantiles(0.01 * (1 + k % 3))) for k in range(300)]
    spread = pieces_by(demands, [10])[0]
    chances = [_chance(each) for each in demands]
    poisson = stats.poisson(sum(chances)).pmf(np.arange(spread.size))
    assert np.abs(spread - poisson).sum() / 2.0 <= sum(chance**2 for chance in chances)
    assert abs(demand_quantile([1] * 300, chances, level) - stats.poisson(sum(chances)).ppf(level)) <= 1


@pytest.mark.parametrize("mean", [0.3, 2.0, 7.5, 40.0])
def test_the_pieces_missing_are_those_of_the_poisson_loss_function(mean: float) -> None:
    """E[(D - y)+] = m P(D >= y) - y P(D >= y + 1), Hadley and Whitin 1963."""
    spread = pieces_by([], [10], unplanned_per_day=mean / 10.0)[0]
    demand = stats.poisson(mean)
    for there in range(int(mean) + 6):
        textbook = mean * demand.sf(there - 1) - there * demand.sf(there)
        assert expected_missing(spread, there) == pytest.approx(textbook, abs=1e-6)


@pytest.mark.parametrize(
    ("rate", "lead", "review", "pack"), [(0.2, 7, 7, 1), (0.2, 7, 7, 6), (1.5, 10, 14, 4), (0.02, 14, 7, 2)]
)
@pytest.mark.parametrize("fill_rate", [0.8, 0.9, 0.95, 0.99])
def test_a_reorder_point_is_that_of_the_textbook(
    rate: float, lead: int, review: int, pack: int, fill_rate: float
) -> None:
    """(R, s, nQ): the position is uniform on s + 1 to s + Q; the s whose fill rate is nearest to the one asked for."""
    before, through = over_lead_time([], LeadTime(lead), review_days=review, unplanned_per_day=rate)
    item = ItemToOrder("part", 0, before, through, pack, 10.0)

    def loss(mean: float, there: int) -> float:
        demand = stats.poisson(mean)
        return float(mean * demand.sf(there - 1) - there * demand.sf(there))

    def missing(point: int) -> float:
        positions = range(point + 1, point + pack + 1)
        return sum(loss(rate * (lead + review), y) - loss(rate * lead, y) for y in positions) / pack

    bearable = (1.0 - fill_rate) * rate * review
    nearest = min(range(-1, 80), key=lambda point: (abs(missing(point) - bearable), point))
    # what is more likely than not wanted before an order is here is ordered in any case
    nearest = max(nearest, int(stats.poisson(rate * lead).ppf(0.5)) - 1)
    assert reorder_points([item], fill_rate=fill_rate) == {"part": nearest}
    np.testing.assert_allclose(item.missing()[: nearest + 2], [missing(s) for s in range(-1, nearest + 1)], atol=1e-6)


def test_a_long_run_of_the_policy_misses_what_the_formula_says() -> None:
    """Two hundred thousand days of Poisson demand, reviewed every week: the formula is that of what happens."""
    rate, lead, review, pack, point = 0.25, 6, 7, 3, 2
    before, through = over_lead_time([], LeadTime(lead), review_days=review, unplanned_per_day=rate)
    formula = ItemToOrder("part", 0, before, through, pack, 10.0).missing()[point + 1] / (rate * review)
    rng = np.random.default_rng(7)
    net, on_order, wanted, missing = 5, {}, 0, 0
    for day in range(200_000):
        net += on_order.pop(day, 0)
        if day % review == 0:
            position = net + sum(on_order.values())
            if position <= point:
                packs = -((position - point - 1) // pack)
                # ordered in the evening of the day before: what comes is there in the morning
                on_order[day + lead] = packs * pack
        pieces = int(rng.poisson(rate))
        wanted += pieces
        missing += max(0, pieces - max(net, 0))
        net -= pieces
    assert missing / wanted == pytest.approx(formula, abs=0.01)


@pytest.mark.parametrize("there", range(-3, 6))
def test_whole_packs_bring_an_item_above_its_point(there: int) -> None:
    before, through = over_lead_time([], LeadTime(7), review_days=7, unplanned_per_day=0.2)
    item = ItemToOrder("part", there, before, through, 3, 10.0)
    point = reorder_points([item], fill_rate=0.9)["part"]
    packs = packs_to_order([item], fill_rate=0.9).get("part", 0)
    if there > point:
        assert packs == 0
    else:
        assert point < there + 3 * packs <= point + 3


def _quantiles(chance: float) -> tuple[float, ...]:
    """Exhausted by day 10 with about this probability."""
    return tuple(10.0 + 1000.0 * (level - chance) for level in (0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95))


def _chance(demand: ExpectedDemand) -> float:
    return float(pieces_by([demand], [10])[0, 1:].sum())
