"""What going to a site costs on each day, from the curves of the tasks a visit bundles."""

import math
from collections.abc import Sequence
from datetime import date

from scheduling.models import Need
from scheduling.planning.policy import Policy

#: Days for which a visit's costs are stored: a plan may begin some weeks ahead and still see what waiting costs.
COST_DAYS = 84


def costs_by_day(needs: Sequence[Need], *, travel_cost: float, policy: Policy, today: date) -> list[float | None]:
    """Expected cost of the visit on each day from today, driving left out; None on a day that is not allowed.

    The price of going is spread over the usual interval between visits, as in `scheduling.planning.bundling`: a visit
    put off by a week is a week's share cheaper. A need's curve that ends counts on with its last value.
    """
    price = visit_price(policy, travel_cost)
    interval = 7.0 * policy.visit_interval_weeks
    costs: list[float | None] = []
    for day in range(COST_DAYS):
        tasks = tasks_cost(needs, today=today, day=day)
        going = price * (1.0 - min(day / interval, 1.0)) - travel_cost
        costs.append(None if tasks is None else round(going + tasks, 2))
    return costs


def visit_price(policy: Policy, travel_cost: float) -> float:
    """What one visit costs before anything is done on it."""
    return policy.visit_cost + policy.removal_minutes * policy.working_cost_per_minute + travel_cost


def tasks_cost(needs: Sequence[Need], *, today: date, day: int) -> float | None:
    """Expected waste and lateness of tasks done on a day from today; None when one of them is not allowed then."""
    costs = [_on(need, today, day) for need in needs]
    return None if None in costs else math.fsum(cost for cost in costs if cost is not None)


def _on(need: Need, today: date, day: int) -> float | None:
    if not need.cost_curve or need.curve_first_day is None:
        return 0.0
    index = (today - need.curve_first_day).days + day
    cost: float | None = need.cost_curve[min(max(index, 0), len(need.cost_curve) - 1)]
    return cost
