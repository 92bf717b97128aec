"""Spares in a van: how many pieces beyond the day's work are worth carrying."""

from collections.abc import Sequence

from scheduling.planning.errors import PlanningError
from scheduling.planning.stock.reorder import demand_quantile


def spares_worth_carrying(
    probabilities: Sequence[float], *, second_trip_costs: Sequence[float], carrying_cost: float
) -> int:
    """Pieces of one item to carry for what may turn out to be exhausted on the way.

    The last piece carried is needed with the probability that so many are wanted, and then spares a second trip; it is
    carried as long as that is worth more than carrying it. So many pieces are the quantile of the demand at
    1 - carrying cost / cost of a second trip: the newsvendor's answer, as in `reorder`.

    Parameters
    ----------
    probabilities
        Of each place on the way, that it takes a piece that no visit plans for; 0 to 1, independent of one another.
    second_trip_costs
        What coming again to that place costs, money, at least 0; what counts is their mean, weighted by probability.
    carrying_cost
        Money that carrying one piece for the day costs, above 0.

    Raises
    ------
    PlanningError
        When a value is out of range, or there is not one cost for each probability.

    Examples
    --------
    >>> spares_worth_carrying([0.5], second_trip_costs=[30.0], carrying_cost=1.2)
    1
    >>> spares_worth_carrying([0.03], second_trip_costs=[30.0], carrying_cost=1.2)
    0
    """
    if not carrying_cost > 0.0:
        raise PlanningError("carrying_cost", f"must be above 0, not {carrying_cost!r}.")
    if len(second_trip_costs) != len(probabilities):
        raise PlanningError("second_trip_costs", f"must be {len(probabilities)}, not {len(second_trip_costs)}.")
    if any(not cost >= 0.0 for cost in second_trip_costs):
        raise PlanningError("second_trip_costs", f"must be at least 0, not {min(second_trip_costs)!r}.")
    expected = sum(probabilities)
    if not expected > 0.0:
        return 0
    trip = sum(p * cost for p, cost in zip(probabilities, second_trip_costs, strict=True)) / expected
    if trip <= carrying_cost:
        return 0
    return demand_quantile([1] * len(probabilities), probabilities, 1.0 - carrying_cost / trip)
