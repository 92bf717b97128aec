"""Curves and cheapest days of needs, on their allowed days."""

from datetime import date
from typing import Any

import pytest

from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.needs.pricing import Priced, price
from scheduling.planning.policy import Policy

TODAY = date(2026, 3, 2)
POLICY = Policy(bundling_weeks=8)


def need(**values: Any) -> Need:
    need_facts = {
        "key": "n",
        "site": "s",
        "unit": "u",
        "kind": NeedKind.REPLACE,
        "price": 40.0,
        "late_cost_per_day": 3.0,
    }
    return Need(**{**need_facts, **values})


def test_a_certain_date_is_its_cheapest_day() -> None:
    (priced,) = price([need(quantile_days=(10.0,) * 7, remaining_share=0.5)], policy=POLICY)
    assert len(priced.curve) == 56
    # half of 40.00 is left today and falls to nothing in ten days; then 3.00 a day
    assert [priced.curve[day] for day in (0, 5, 10, 12)] == pytest.approx([20.0, 10.0, 0.0, 6.0])
    assert priced.best_day == 10


@pytest.mark.parametrize(
    ("values", "first", "last", "best"),
    [
        ({"not_before_day": 14}, 14, 55, 14),
        ({"deadline_day": 4}, 0, 4, 4),
        ({"deadline_day": -3}, 0, 55, 10),
        ({"not_before_day": 60}, None, None, 60),
    ],
)
def test_days_that_are_not_allowed_have_no_price(
    values: dict[str, int], first: int | None, last: int | None, best: int
) -> None:
    (priced,) = price([need(quantile_days=(10.0,) * 7, remaining_share=0.5, **values)], policy=POLICY)
    allowed = [day for day, cost in enumerate(priced.curve) if cost is not None]
    assert (allowed[:1], allowed[-1:]) == (([first], [last]) if first is not None else ([], []))
    assert priced.best_day == best


def test_a_task_without_a_date_is_late_from_its_first_allowed_day_on() -> None:
    (priced,) = price([need(kind=NeedKind.REPAIR, price=0.0, not_before_day=5)], policy=POLICY)
    assert priced.curve[4] is None
    assert [priced.curve[day] for day in (5, 7)] == pytest.approx([0.0, 6.0])


def test_the_sentence_gives_the_cheapest_day_and_four_weeks_of_waiting() -> None:
    (priced,) = price([need(quantile_days=(10.0,) * 7, remaining_share=0.5)], policy=POLICY)
    assert priced.sentence(today=TODAY, currency="EUR") == (
        "Cheapest on 12 Mar 2026: 0.00 EUR of waste and lateness; four weeks later it would be 84.00 EUR."
    )
    assert Priced((None, None), 0).sentence(today=TODAY, currency="EUR") == ""
    assert Priced((0.0, 0.0), 0).sentence(today=TODAY, currency="EUR") == "", "it says nothing"
    assert Priced((0.0, 0.5), 0).sentence(today=TODAY, currency="EUR") != ""
    assert Priced((None,), 60).sentence(today=TODAY, currency="EUR") == ""
    assert price([], policy=POLICY) == []


def test_what_has_no_date_and_hurts_nobody_wastes_as_much_on_any_day() -> None:
    (priced,) = price([need(late_cost_per_day=0.0, remaining_share=0.25, not_before_day=5)], policy=POLICY)
    assert set(priced.curve[5:]) == {10.0}
    assert priced.best_day == 5
