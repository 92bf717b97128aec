"""What it costs to be early, beside the life that is thrown away: all that follows comes sooner as well."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

_LEAST_DAYS = 1.0


def cost_of_going_early(
    day: ArrayLike, *, best_day: ArrayLike, best_cost: ArrayLike, visit_price: ArrayLike, fitted_day: ArrayLike
) -> NDArray[np.float64]:
    r"""Price of the time lost when a cartridge is changed before its best day.

    Changed on its best day b, a cartridge fitted on day f costs one visit and its waste and lateness in every b - f
    days. Who comes on day t < b saves no visit; all that follow are made b - t days sooner, which costs

    .. math:: (V + c_b) \frac{(b - t)^+}{b - f}

    by the theorem of renewal and reward: money spent over a long time is the cost of a cycle over its length. Without
    it a cartridge of last week seems to save a whole visit when it is changed along with something else.

    Parameters
    ----------
    day
        When it is done, days from today.
    best_day
        When its own waste and lateness cost least, days from today.
    best_cost, visit_price
        What they cost then, and what a visit costs, in money.
    fitted_day
        When it was fitted, days from today, negative for what stands there; NaN: not known, and nothing is charged.

    Returns
    -------
    Money, of the shape that the arguments have together; 0 from the best day on.

    Examples
    --------
    >>> cost_of_going_early([0.0, 20.0, 40.0], best_day=40.0, best_cost=1.0, visit_price=24.0, fitted_day=-10.0)
    array([20., 10.,  0.])
    """
    best, fitted = np.asarray(best_day, dtype=np.float64), np.asarray(fitted_day, dtype=np.float64)
    early = np.maximum(best - np.asarray(day, dtype=np.float64), 0.0)
    rate = (np.asarray(visit_price) + np.asarray(best_cost)) / np.maximum(best - fitted, _LEAST_DAYS)
    with np.errstate(invalid="ignore"):
        price = rate * early
    return np.where(np.isfinite(price), price, 0.0)
