"""What is wanted of an item week by week, what is there by then, and how likely a piece is missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scheduling.planning.stock.reorder import Arrival, ExpectedDemand, quantile_of
from scheduling.planning.stock.uncertain_demand import expected_pieces, pieces_by, times_of

#: Half a year, within which every supplier delivers.
WEEKS = 26
_LOW, _MEDIAN, _HIGH = 0.1, 0.5, 0.9


@dataclass(frozen=True, slots=True)
class Week:
    """One item by the end of a week; all numbers count from today.

    Attributes
    ----------
    day
        Days from today.
    wanted_p10, wanted_p50, wanted_p90
        Pieces that suffice with 10, 50 and 90 %.
    expected
        Pieces wanted on average.
    there
        Pieces at hand today and those on order that can be used by then, whatever is used meanwhile; of those whose
        last day is past, as many as were probably used in time.
    chance_missing
        Probability that more is wanted than is there, 0 to 1.
    """

    day: int
    wanted_p10: int
    wanted_p50: int
    wanted_p90: int
    expected: float
    there: int
    chance_missing: float


def weeks_ahead(
    demands: Sequence[ExpectedDemand],
    supply: Sequence[Arrival],
    *,
    weeks: int = WEEKS,
    unplanned_per_day: float = 0.0,
) -> list[Week]:
    """Look at one item at the end of each of the coming weeks.

    Parameters
    ----------
    demands, supply
        Of one item; a place with a fresh life wants its pieces again and again.
    weeks
        How many, at least 1.
    unplanned_per_day
        Pieces a day that are used without a plan, on average, at least 0.

    Examples
    --------
    >>> [(w.day, w.wanted_p50, w.there, w.chance_missing) for w in weeks_ahead(
    ...     [ExpectedDemand(1, day=3), ExpectedDemand(1, day=9)], [Arrival(1)], weeks=2)]
    [(7, 1, 1, 0.0), (14, 2, 1, 1.0)]
    """
    days = [7 * (week + 1) for week in range(weeks)]
    lost = _lost_after(demands, supply, days[-1], unplanned_per_day)
    spreads = pieces_by(demands, days, unplanned_per_day=unplanned_per_day)
    rows = []
    for day, spread in zip(days, spreads, strict=True):
        there = sum(arrival.quantity for arrival in supply if arrival.usable_from <= day)
        there -= max((pieces for last, pieces in lost.items() if last < day), default=0)
        low, median, high = (quantile_of(spread, level) for level in (_LOW, _MEDIAN, _HIGH))
        # of chances that are summed in another order, the last digits differ
        missing = min(max(float(spread[max(there, -1) + 1 :].sum()), 0.0), 1.0)
        rows.append(Week(day, low, median, high, expected_pieces(spread), there, missing))
    return rows


def _lost_after(
    demands: Sequence[ExpectedDemand], supply: Sequence[Arrival], last: int, unplanned_per_day: float
) -> dict[int, int]:
    """Last day of pieces to how many have expired by its end unused, where the median of what is wanted is used.

    What expires first is used first. So what is lost by a day is the most by which, on any day up to it, the pieces
    that end by that day exceed what is wanted by then.
    """
    ends = sorted({each.usable_until for each in supply if each.usable_until is not None and each.usable_until < last})
    if not ends:
        return {}
    spreads = pieces_by(demands, ends, unplanned_per_day=unplanned_per_day)
    lost, most = {}, 0
    for end, spread in zip(ends, spreads, strict=True):
        ending = sum(each.quantity for each in supply if each.usable_until is not None and each.usable_until <= end)
        most = max(most, ending - quantile_of(spread, _MEDIAN))
        lost[end] = most
    return lost


def wanted_by_place(demands: Sequence[ExpectedDemand], day: int) -> dict[str, tuple[float, float]]:
    """Place to the probability that it wants a piece by a day, and the pieces it wants by then on average.

    Demands without a place are left out.
    """
    placed = [wanted for wanted in demands if wanted.position]
    table: dict[str, tuple[float, float]] = {}
    for wanted, times in zip(placed, times_of(placed, [day])[:, 0], strict=True):
        chance, pieces = table.get(wanted.position, (0.0, 0.0))
        table[wanted.position] = (
            1.0 - (1.0 - chance) * float(times[0]),
            pieces + wanted.quantity * expected_pieces(times),
        )
    return table
