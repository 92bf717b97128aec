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
    if isinstance(need, NeedRow):
        return cost_of_a_week_in_text(need.curve, need.curve_first_day, day=day)
    return _of_a_week(need.cost_curve, _from(need.curve_first_day, day)) if need.curve_first_day is not None else None


def cost_of_a_week_in_text(curve: str, first_day: date | None, *, day: date) -> float | None:
    """`cost_of_a_week` by a curve in the JSON that it is stored as, of which no more is read than says it."""
    if first_day is None or not curve.strip("[]"):
        return None
    start = _from(first_day, day)
    # most curves say it in their first days; of the others the rest is read as well
    pieces = curve.strip("[]").split(",", start + _WEEK + 1)[: start + _WEEK + 1]
    if len(pieces) == start + _WEEK + 1:
        first, later = json.loads(f"[{pieces[start]},{pieces[start + _WEEK]}]")
        if first is not None and later is not None:
            return _more(first, later)
    return _of_a_week(json.loads(curve), start)


def _of_a_week(curve: Sequence[float | None], start: int) -> float | None:
    first = next((cost for cost in curve[start:] if cost is not None), None)
    later = next((cost for cost in curve[start + _WEEK :] if cost is not None), None)
    return None if first is None or later is None else _more(first, later)


def _from(first_day: date, day: date) -> int:
    return max((day - first_day).days, 0)


def _more(first: float, later: float) -> float:
    return round(max(later - first, 0.0), 2)
