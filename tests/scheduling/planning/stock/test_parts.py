from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.stock.parts import PartsTask, Rule, parts_for

RULES = [
    Rule("o-ring", 1, "housing", kinds=frozenset({"replace", "rotate"})),
    Rule("sanitiser", 1, "unit", kinds=frozenset({"sanitise"})),
    Rule("test strip", 2, "position", stages=frozenset({"carbon"})),
    Rule("gloves", 2, "visit"),
]


def replace(visit: str, unit: str, position: str, item: str, **more) -> PartsTask:
    return PartsTask(visit, unit, "replace", position=position, stage=position, item=item, **more)


def needed(allocated) -> dict[str, int]:
    return {item: sum(by_visit.values()) for item, by_visit in allocated.items()}


def test_a_visit_takes_cartridges_and_the_small_things() -> None:
    tasks = [
        replace("v1", "u1", "sediment", "sediment 5 um"),
        replace("v1", "u1", "resin", "resin"),
        PartsTask("v1", "u1", "rotate", position="resin", stage="resin"),
        PartsTask("v1", "u1", "sanitise"),
        PartsTask("v1", "u2", "inspect", position="carbon", stage="carbon"),
    ]
    assert needed(parts_for(tasks, RULES)) == {
        "sediment 5 um": 1,
        "resin": 1,
        "o-ring": 2,  # the resin housing is opened once for two tasks
        "sanitiser": 1,
        "test strip": 2,
        "gloves": 2,
    }


@given(st.lists(st.tuples(st.sampled_from("abc"), st.sampled_from(["sediment", "resin"])), min_size=1, max_size=12))
def test_a_period_is_the_sum_of_its_visits(choices: list[tuple[str, str]]) -> None:
    items = {"sediment": "sediment 5 um", "resin": "resin"}
    tasks = [replace(visit, f"unit {visit}", position, items[position]) for visit, position in choices]
    parts: dict[str, int] = {}
    for visit in {visit for visit, _ in choices}:
        for item, count in needed(parts_for([t for t in tasks if t.visit == visit], RULES)).items():
            parts[item] = parts.get(item, 0) + count
    assert needed(parts_for(tasks, RULES)) == parts


def test_wrong_values_are_named() -> None:
    with pytest.raises(PlanningError, match=r"rule gloves\.per.*'van'"):
        Rule("gloves", 1, "van")
    with pytest.raises(PlanningError, match=r"rule gloves\.quantity"):
        Rule("gloves", 0, "visit")
    with pytest.raises(PlanningError, match=r"task v\.quantity"):
        parts_for([replace("v", "u", "resin", "resin", quantity=0)], [])


def test_nothing_to_do_takes_nothing() -> None:
    assert parts_for([], RULES) == {}
