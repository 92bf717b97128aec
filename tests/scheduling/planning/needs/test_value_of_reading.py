"""What a reading is worth, on paper for two and three states, and what holds for any."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.needs.value_of_reading import value_of_answer

# Exhausted or sound, one as likely as the other. Replaced now, a sound one wastes 20; left, an exhausted one costs 30:
# replacing costs 10, leaving 15, so without a reading it is replaced for 10.
TWO = [[0.0, 30.0], [20.0, 0.0]]
EVEN = [0.5, 0.5]
NEVER_WRONG = [[1.0, 0.0], [0.0, 1.0]]

# Exhausted on day 0, 10 or 20 with 1/4, 1/2, 1/4, replaced on one of them. A day early wastes 1, a day late costs 2.
# Day 0 costs 1/2 * 10 + 1/4 * 20 = 10, day 10 costs 1/4 * 20 + 1/4 * 10 = 7.50, day 20 costs 1/4 * 40 + 1/2 * 20 = 20.
THREE = [[0.0, 20.0, 40.0], [10.0, 0.0, 20.0], [20.0, 10.0, 0.0]]
QUARTERS = [0.25, 0.5, 0.25]
ENDED = [[1, 1, 1], [0, 1, 1], [0, 0, 1]]
EXHAUSTED_ON_DAY_0 = [[1.0, 0.0], [0.0, 1.0], [0.0, 1.0]]
EXHAUSTED_ON_DAY_10 = [[1.0, 0.0], [1.0, 0.0], [0.0, 1.0]]


@pytest.mark.parametrize(
    ("answers", "value"),
    [
        # each state is told from the other, and both cost nothing
        (NEVER_WRONG, 10.0),
        # 'exhausted' comes with 0.40 + 0.05: replaced, 0.05 * 20 = 1; 'sound' with 0.10 + 0.45: left, 0.10 * 30 = 3
        ([[0.8, 0.2], [0.1, 0.9]], 6.0),
        # 'sound' comes with 0.25 + 0.30: replaced for 0.30 * 20 = 6 rather than left for 7.50, as without it
        ([[0.5, 0.5], [0.4, 0.6]], 0.0),
        # it says the same of both
        ([[1.0], [1.0]], 0.0),
    ],
)
def test_two_states_on_paper(answers: Any, value: float) -> None:
    assert value_of_answer(TWO, EVEN, answers) == pytest.approx(value)


@pytest.mark.parametrize(
    ("answers", "first_column", "value"),
    [
        (np.eye(3), 0, 7.5),
        # 'yes', 1/4: replaced at once for 0; 'no': on day 10 for 1/4 * 10 = 2.50
        (EXHAUSTED_ON_DAY_0, 0, 5.0),
        # the same answer on day 10 comes when all would be replaced anyway
        (EXHAUSTED_ON_DAY_0, 1, 0.0),
        # 'yes', 3/4: on day 10 for 1/4 * 20 = 5; 'no': on day 20 for 0
        (EXHAUSTED_ON_DAY_10, 1, 2.5),
        # every answer comes on day 20, for 20: one acts on day 10, without it
        (np.eye(3), 2, 0.0),
    ],
)
def test_three_states_on_paper(answers: Any, first_column: int, value: float) -> None:
    assert value_of_answer(THREE, QUARTERS, answers, first_column=first_column) == pytest.approx(value)


@pytest.mark.parametrize(
    ("least_probability", "value"),
    # by day 0, 10 and 20 it is exhausted with 1/4, 3/4 and 1; an answer makes it sure, and no day costs anything
    [(0.25, 7.5), (0.3, 7.5), (0.75, 7.5), (0.8, 20.0)],
)
def test_what_goes_on_its_condition_is_worth_a_reading(least_probability: float, value: float) -> None:
    conditions: dict[str, Any] = {"is_exhausted": ENDED, "least_probability": least_probability}
    assert value_of_answer(THREE, QUARTERS, np.eye(3), **conditions) == pytest.approx(value)
    # nothing is told: the same condition holds with and without
    assert value_of_answer(THREE, QUARTERS, np.ones((3, 1)), **conditions) == pytest.approx(0.0)


def test_whoever_is_there_with_the_answer_makes_no_visit_of_his_own() -> None:
    # a visit costs 8 on each day; without an answer day 10 costs 7.50 + 8. Somebody is there on day 0: what is
    # exhausted is replaced for 0, the rest on day 10 for 2.50 + 3/4 * 8 rather than at once for 1/2 * 10 + 1/4 * 20
    cost = np.array(THREE) + 8.0
    there = cost - [8.0, 0.0, 0.0]
    assert value_of_answer(cost, QUARTERS, EXHAUSTED_ON_DAY_0, cost_with_answer=there) == pytest.approx(15.5 - 8.5)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"probability": [0.5, 0.6]}, "probability"),
        ({"answers": [[0.5, 0.4], [0.5, 0.5]]}, "probability"),
        ({"answers": [[1.0]]}, "answers"),
        ({"cost": [1.0, 2.0]}, "answers"),
        ({"first_column": 2}, "first_column"),
        ({"first_column": -1}, "first_column"),
        ({"cost_with_answer": [[1.0], [2.0]]}, "cost_with_answer"),
    ],
)
def test_what_does_not_fit_is_refused(change: dict[str, Any], field: str) -> None:
    values: dict[str, Any] = {"cost": TWO, "probability": EVEN, "answers": NEVER_WRONG, **change}
    with pytest.raises(PlanningError) as refused:
        value_of_answer(values.pop("cost"), values.pop("probability"), values.pop("answers"), **values)
    assert refused.value.field == field


_SHARE = st.floats(0.01, 1.0)


@st.composite
def _cases(draw: st.DrawFn) -> dict[str, Any]:
    states, days, answers = draw(st.integers(2, 5)), draw(st.integers(2, 6)), draw(st.integers(1, 4))

    def table(rows: int, columns: int, values: st.SearchStrategy[float]) -> Any:
        return np.array(
            draw(st.lists(st.lists(values, min_size=columns, max_size=columns), min_size=rows, max_size=rows))
        )

    probability, tells = table(1, states, _SHARE)[0], table(states, answers, _SHARE)
    return {
        "cost": table(states, days, st.floats(0.0, 100.0)),
        "probability": probability / probability.sum(),
        "answers": tells / tells.sum(axis=1, keepdims=True),
        "first_column": draw(st.integers(0, days - 1)),
    }


@given(_cases())
def test_a_reading_is_never_worth_less_than_nothing_and_a_perfect_one_most(case: dict[str, Any]) -> None:
    noisy = value_of_answer(**case)
    perfect = value_of_answer(**{**case, "answers": np.eye(len(case["probability"]))})
    without = float((case["probability"] @ case["cost"]).min())
    assert 0.0 <= noisy <= perfect + 1e-9
    assert perfect <= without + 1e-9


@given(_cases())
def test_a_reading_that_changes_no_decision_is_worth_nothing(case: dict[str, Any]) -> None:
    """One day is the cheapest in every state."""
    cost = case["cost"].copy()
    cost[:, case["first_column"]] = cost.min(axis=1) - 1.0
    assert value_of_answer(**{**case, "cost": cost}) == pytest.approx(0.0, abs=1e-9)


@given(_cases(), st.floats(0.0, 1.0))
def test_blurring_the_answers_makes_them_worth_no_more(case: dict[str, Any], blur: float) -> None:
    answers = case["answers"]
    blurred = (1.0 - blur) * answers + blur / answers.shape[1]
    assert value_of_answer(**{**case, "answers": blurred}) <= value_of_answer(**case) + 1e-9


@given(_cases())
def test_a_later_answer_is_worth_no_more(case: dict[str, Any]) -> None:
    values = [value_of_answer(**{**case, "first_column": day}) for day in range(case["cost"].shape[1])]
    assert all(later <= earlier + 1e-9 for earlier, later in pairwise(values))
