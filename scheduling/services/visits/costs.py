"""What a visit costs on the days of a plan, and what its tasks cost on one day, as stored."""

import math
from collections.abc import Sequence
from datetime import date

from scheduling.models import Need, Visit

#: Days for which a visit's costs are stored: a plan may begin some weeks ahead and still see what waiting costs.
COST_DAYS = 84


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


def day_costs(visit: Visit, *, first_day: date, days: int) -> tuple[list[float | None], float]:
    """What the visit costs on each of the days, driving left out, and what leaving it until after them costs.

    Leaving costs the cheapest later day, with the drive that is then still to come. Days beyond what was stored count
    as the last stored one.
    """
    offset = (first_day - visit.costs_first_day).days
    costs: list[float | None] = visit.costs
    if not costs:
        return [0.0] * days, visit.cost_of_leaving

    def on(day: int) -> float | None:
        return costs[min(max(offset + day, 0), len(costs) - 1)]

    later = [cost for cost in costs[max(offset + days, 0) :] if cost is not None]
    open_costs = [cost for cost in costs if cost is not None]
    cost_if_unserved = (min(later) if later else (open_costs[-1] if open_costs else 0.0)) + visit.travel_cost
    return [on(day) for day in range(days)], cost_if_unserved
