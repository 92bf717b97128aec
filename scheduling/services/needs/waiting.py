"""What waiting with a need costs, by its curve as stored."""

from datetime import date

from scheduling.models import Need

_WEEK = 7


def cost_of_a_week(need: Need, *, day: date) -> float | None:
    """What meeting a need a week after a day is expected to cost more than on it, or as soon as it may be met; None
    where nobody can say."""
    if need.curve_first_day is None:
        return None
    curve = need.cost_curve[max((day - need.curve_first_day).days, 0) :]
    allowed = [(k, cost) for k, cost in enumerate(curve) if cost is not None]
    later = [cost for k, cost in allowed if k >= _WEEK]
    if not allowed or not later:
        return None
    return round(max(later[0] - allowed[0][1], 0.0), 2)
