r"""What it is worth to read a gauge before a day is chosen.

Without the reading one day is chosen for all that may be true. With it a day is chosen for each answer, weighed by how
likely that answer is. The value of the reading is the difference of the expected costs,

.. math:: \min_t \sum_k p_k c_{kt} - \min\left(\min_{t < d} \sum_k p_k c_{kt},\;
          \sum_j \min_{t \ge d} \sum_k p_k L_{kj} c_{kt}\right)

with state k of probability p, its cost c when the work is done on day t, the chance L that the gauge answers j in state
k, and the day d from which the answer is known; whoever acts before that day does without it. A gauge that errs gives
answers that overlap, and is worth less. What getting the answer costs is not in it. (Value of sample information by
preposterior analysis: Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961; from memory.)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.need import FloatArray

_ROUNDING = 1e-6


def value_of_answer(
    cost: ArrayLike,
    probability: ArrayLike,
    answers: ArrayLike,
    *,
    first_column: int = 0,
    cost_with_answer: ArrayLike | None = None,
    is_exhausted: ArrayLike | None = None,
    least_probability: float = 0.0,
) -> float:
    """What knowing the answer before choosing a day is expected to save, before what the answer costs.

    Parameters
    ----------
    cost
        ``(states, days)`` money.
    probability
        ``(states,)`` of each state, together 1.
    answers
        ``(states, answers)`` chance of each answer in each state; each row sums to 1.
    first_column
        The first day that may be chosen by the answer.
    cost_with_answer
        Costs as they are for whoever has the answer, at most ``cost``; None: the same.
    is_exhausted
        ``(states, days)`` 1 where what is replaced is exhausted on that day in that state; None: always.
    least_probability
        0-1; days on which it is less likely exhausted than this are not chosen, by what is known at the time.

    Returns
    -------
    float
        Money, at least 0. It is 0 where every answer leaves the choice as it is.

    Raises
    ------
    PlanningError
        When the shapes do not fit, probabilities do not sum to 1, or the first day is none of the days.

    Examples
    --------
    Exhausted or sound, one as likely as the other; replacing a sound one wastes 20, leaving an exhausted one costs 30.
    Without a reading it is replaced for 10; a gauge that is never wrong saves all of it.

    >>> value_of_answer([[0.0, 30.0], [20.0, 0.0]], [0.5, 0.5], [[1.0, 0.0], [0.0, 1.0]])
    10.0
    """
    c, p, tells = (np.asarray(table, dtype=np.float64) for table in (cost, probability, answers))
    _check(c, p, tells, first_column)
    cost_known = c if cost_with_answer is None else np.asarray(cost_with_answer, dtype=np.float64)
    ended = np.ones_like(c) if is_exhausted is None else np.asarray(is_exhausted, dtype=np.float64)
    if cost_known.shape != c.shape or ended.shape != c.shape:
        raise PlanningError("cost_with_answer", f"must have the shape of the costs {c.shape}, as must is_exhausted.")
    unread = np.where(_may_act(p[None, :], ended, least_probability)[0], p @ c, np.inf)
    weights = (p[:, None] * tells).T
    read = np.where(_may_act(weights, ended, least_probability), weights @ cost_known, np.inf)[:, first_column:]
    # never to act costs what the last day does: the days reach beyond all that is weighed
    without = min(float(unread.min()), float(p @ c[:, -1]))
    by_answer = np.minimum(read.min(axis=1), weights @ cost_known[:, -1])
    with_answer = min(float(unread[:first_column].min(initial=np.inf)), float(by_answer.sum()))
    return max(without - with_answer, 0.0)


def _may_act(weights: FloatArray, ended: FloatArray, least_probability: float) -> NDArray[np.bool_]:
    """``(answers, days)`` whether it is likely enough exhausted on a day, given each answer."""
    if least_probability <= 0.0:
        return np.ones((len(weights), ended.shape[1]), dtype=np.bool_)
    return np.asarray(weights @ ended >= (least_probability - _ROUNDING) * weights.sum(axis=1, keepdims=True))


def _check(c: FloatArray, p: FloatArray, tells: FloatArray, first_column: int) -> None:
    if c.ndim != 2 or p.shape != (c.shape[0],) or tells.ndim != 2 or tells.shape[0] != c.shape[0]:
        raise PlanningError("answers", f"must have one row for each of the states, as cost {c.shape}.")
    if abs(p.sum() - 1.0) > _ROUNDING or np.any(np.abs(tells.sum(axis=1) - 1.0) > _ROUNDING):
        raise PlanningError("probability", "must sum to 1, and so must the answers of each state.")
    if not 0 <= first_column < c.shape[1]:
        raise PlanningError("first_column", f"must be one of the {c.shape[1]} days, not {first_column}.")
