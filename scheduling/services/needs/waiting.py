"""What waiting with a need costs, by its curve as stored."""

from datetime import date

from scheduling.models import Need
from scheduling.services.needs.rows import NeedRow

_WEEK = 7


def cost_of_a_week(need: Need | NeedRow, *, day: date) -> float | None:
    """What meeting a need a week after a day is expected to cost more than on it, or as soon as it may be met; None
    where nobody can say."""
    if need.curve_first_day is None:
        return None
    place = max((day - need.curve_first_day).days, 0)
    if isinstance(need, NeedRow):
        first, later = need.first_costs(place, place + _WEEK)
    else:
        first, later = (
            next((cost for cost in need.cost_curve[start:] if cost is not None), None)
            for start in (place, place + _WEEK)
        )
    if first is None or later is None:
        return None
    return round(max(later - first, 0.0), 2)
