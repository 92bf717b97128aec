from __future__ import annotations

import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scheduling.planning.errors import PlanningError
from scheduling.planning.parts import CatalogueItem, Rule, Task, parts_for, working_days_before

MONDAY = datetime.date(2026, 11, 30)
CATALOGUE = {
    key: CatalogueItem(key, name=key.title(), price=price, pack_size=pack, lead_time_working_days=lead)
    for key, price, pack, lead in [
        ("sediment 5 um", 4.0, 6, 3),
        ("resin", 22.0, 1, 10),
        ("o-ring", 0.5, 10, 2),
        ("sanitiser", 3.0, 1, 2),
        ("test strip", 0.2, 50, 5),
        ("gloves", 0.1, 100, 5),
    ]
}
RULES = [
    Rule("o-ring", 1, "housing", kinds=frozenset({"replace", "rotate"})),
    Rule("sanitiser", 1, "unit", kinds=frozenset({"sanitise"})),
    Rule("test strip", 2, "position", stages=frozenset({"carbon"})),
    Rule("gloves", 2, "visit"),
]


def replace(visit: str, unit: str, position: str, item: str, day: int | None = 0, **more) -> Task:
    date = None if day is None else MONDAY + datetime.timedelta(days=day)
    return Task(visit, unit, "replace", position=position, stage=position, item=item, day=date, **more)


def needed(lines) -> dict[str, int]:
    return {line.item: line.needed for line in lines}


def test_a_visit_takes_cartridges_and_the_small_things() -> None:
    tasks = [
        replace("v1", "u1", "sediment", "sediment 5 um"),
        replace("v1", "u1", "resin", "resin"),
        Task("v1", "u1", "rotate", position="resin", stage="resin"),
        Task("v1", "u1", "sanitise"),
        Task("v1", "u2", "inspect", position="carbon", stage="carbon"),
    ]
    assert needed(parts_for(tasks, RULES, CATALOGUE)) == {
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
    whole = needed(parts_for(tasks, RULES, CATALOGUE))
    parts: dict[str, int] = {}
    for visit in {visit for visit, _ in choices}:
        for item, count in needed(parts_for([t for t in tasks if t.visit == visit], RULES, CATALOGUE)).items():
            parts[item] = parts.get(item, 0) + count
    assert whole == parts


def test_packs_cover_the_shortfall_and_no_more() -> None:
    tasks = [replace(f"v{k}", "u", "sediment", "sediment 5 um", day=k) for k in range(9)]
    line = next(x for x in parts_for(tasks, RULES, CATALOGUE, {"sediment 5 um": 2}) if x.item == "sediment 5 um")
    assert (line.needed, line.in_stock, line.shortfall, line.packs, line.order_quantity) == (9, 2, 7, 2, 12)
    assert line.order_cost == 48.0
    assert line.needed_by == MONDAY + datetime.timedelta(days=2)  # the third visit is the first without
    assert line.order_by == datetime.date(2026, 11, 27)  # Wednesday less three working days
    enough = next(x for x in parts_for(tasks, RULES, CATALOGUE, {"sediment 5 um": 9}) if x.item == "sediment 5 um")
    assert (enough.shortfall, enough.packs, enough.order_cost, enough.needed_by, enough.order_by) == (
        0,
        0,
        0,
        None,
        None,
    )


def test_an_order_that_should_have_gone_out_is_called_late() -> None:
    tasks = [replace("v", "u", "resin", "resin", day=3)]
    (line,) = parts_for(tasks, [], CATALOGUE, {}, today=MONDAY)
    assert line.order_by == datetime.date(2026, 11, 19)
    assert line.order_is_late
    (line,) = parts_for(tasks, [], CATALOGUE, {}, today=datetime.date(2026, 11, 19))
    assert not line.order_is_late


def test_without_a_date_nothing_has_to_be_ordered_by_a_day() -> None:
    (line,) = parts_for([replace("v", "u", "resin", "resin", day=None)], [], CATALOGUE)
    assert (line.shortfall, line.needed_by, line.order_by, line.order_is_late) == (1, None, None, False)


def test_holidays_and_weekends_are_not_worked() -> None:
    tuesday = MONDAY + datetime.timedelta(days=1)
    assert working_days_before(tuesday, 0) == tuesday
    assert working_days_before(tuesday, 1) == MONDAY
    assert working_days_before(tuesday, 1, frozenset({MONDAY})) == datetime.date(2026, 11, 27)
    sunday = datetime.date(2026, 11, 29)
    assert working_days_before(sunday, 0) == datetime.date(2026, 11, 27)
    assert working_days_before(sunday, 1) == datetime.date(2026, 11, 27)


def test_wrong_values_are_named() -> None:
    with pytest.raises(PlanningError, match=r"'mystery' is not in the catalogue"):
        parts_for([replace("v", "u", "resin", "mystery")], [], CATALOGUE)
    with pytest.raises(PlanningError, match=r"rule gloves\.per.*'van'"):
        Rule("gloves", 1, "van")
    with pytest.raises(PlanningError, match=r"rule gloves\.quantity"):
        Rule("gloves", 0, "visit")
    with pytest.raises(PlanningError, match=r"item x\.pack_size"):
        CatalogueItem("x", pack_size=0)
    with pytest.raises(PlanningError, match=r"item x\.lead_time"):
        CatalogueItem("x", lead_time_working_days=-1)
    with pytest.raises(PlanningError, match=r"task v\.quantity"):
        parts_for([replace("v", "u", "resin", "resin", quantity=0)], [], CATALOGUE)


def test_nothing_to_do_takes_nothing() -> None:
    assert parts_for([], RULES, CATALOGUE) == []
