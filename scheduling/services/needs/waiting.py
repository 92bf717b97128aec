"""What waiting with a need costs, by its curve as stored."""

import json
from collections.abc import Sequence
from datetime import date

from scheduling.models import Need
from scheduling.services.needs.rows import NeedRow

_WEEK = 7


def cost_of_a_week(need: Need | NeedRow, *, day: date) -> float | None:
    """What meeting a need a week after a day is expected to cost more than on it, or as soon as it may be met; None
    where nobody can say."""
    if need.curve_first_day is None:
        return None
    if isinstance(need, NeedRow):
        return cost_of_a_week_in_text(need.curve, need.curve_first_day, day=day)
    return _of_a_week(need.cost_curve, _place(need.curve_first_day, day))


def cost_of_a_week_in_text(curve: str, first_day: date | None, *, day: date) -> float | None:
    """`cost_of_a_week` of a curve in the JSON that it is stored as, of which no more is read than says it."""
    if first_day is None or not curve.strip("[]"):
        return None
    place = _place(first_day, day)
    # most curves say it on these two days; the others are read whole
    numbers = curve.strip("[]").split(",", place + _WEEK + 1)
    if len(numbers) > place + _WEEK:
        first, later = json.loads(f"[{numbers[place]},{numbers[place + _WEEK]}]")
        if first is not None and later is not None:
            return round(max(later - first, 0.0), 2)
    return _of_a_week(json.loads(curve), place)


def _of_a_week(curve: Sequence[float | None], place: int) -> float | None:
    first = next((cost for cost in curve[place:] if cost is not None), None)
    later = next((cost for cost in curve[place + _WEEK :] if cost is not None), None)
    return None if first is None or later is None else round(max(later - first, 0.0), 2)


def _place(first_day: date, day: date) -> int:
    return max((day - first_day).days, 0)
