"""The day of a visit, its due window and what each day costs, from curves that can be seen through."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduling.planning.needs.need import Need, NeedKind
from scheduling.planning.policy import Policy
from scheduling.planning.visits.days import DaySettings, MemberDays, VisitDays, weigh_days
from scheduling.planning.visits.members import Members
from scheduling.planning.visits.rows import NeedRows

POLICY = replace(Policy(), bundling_weeks=10, due_window_tolerance=2.0)


def cartridge(days_left: float, **more: object) -> Need:
    """Exhausted on that day for certain; 10 of price for a whole life, of which half is left; 4 a day when late."""
    values = {
        "quantile_days": (days_left,) * 7, "remaining_share": 0.5, "price": 10.0, "late_cost_per_day": 4.0,
        "label": "resin", **more,
    }  # fmt: skip
    return Need("n", "a", "u", NeedKind.REPLACE, **values)


def weigh(
    *needs: Need, week: int, visit_price: float = 0.0, travel: float = 0.0, interval: float = 100.0, routed: int = 5,
    told: int = 5,
) -> tuple[VisitDays, MemberDays]:  # fmt: skip
    rows = NeedRows.of([replace(need, key=str(k)) for k, need in enumerate(needs)], POLICY, routed)
    one = np.array([0])
    return weigh_days(
        rows, Members(np.arange(len(needs)), one, one, np.array([week])), DaySettings(POLICY, routed, told),
        visit_price=np.array([visit_price]), travel_cost=np.array([travel]), interval_days=np.array([interval]),
    )  # fmt: skip


@pytest.mark.parametrize(("days_left", "best_day"), [(300.0, 34), (30.0, 30), (15.0, 15), (5.0, 14), (-3.0, 14)])
def test_a_visit_keeps_within_a_week_of_the_week_chosen(days_left: float, best_day: int) -> None:
    """Of week 3, days 21 to 27, from day 14 to day 34: the later the better, until it is exhausted."""
    assert weigh(cartridge(days_left), week=3)[0].best.tolist() == [best_day]


def test_what_each_day_costs() -> None:
    """Exhausted on day 20: half of 10 is lost today, a twentieth less every day, then 4 a day."""
    visits, members = weigh(cartridge(20.0), week=2, told=30)
    expected = [5.0 * (20 - day) / 20 if day < 20 else 4.0 * (day - 20) for day in range(30)]
    assert visits.by_day[0] == pytest.approx(expected)
    assert (members.own_best[0], members.waste[0], members.cost[0]) == (20, 0.0, 0.0)
    assert members.waiting[0] == pytest.approx(28 * 4.0)
    assert members.probability[0] == members.exhausted_probability[0] == 1.0
    assert visits.if_left[0] == pytest.approx(0.0)
    assert not visits.is_forced[0]


def test_the_due_window_is_where_a_visit_costs_little_more() -> None:
    """Two money more: eight days before the best at 0.25 a day, and none after it at 4 a day."""
    visits, _ = weigh(cartridge(20.0), week=2)
    assert (visits.earliest[0], visits.best[0], visits.latest[0]) == (12, 20, 20)


def test_a_visit_put_off_is_paid_for_later() -> None:
    """A visit of 30 for 100 days: 0.3 less each day, driving of 12 not told with the days, for 100 days at most."""
    need = cartridge(2_000.0, price=0.0)
    visits, _ = weigh(need, week=3, visit_price=30.0, travel=12.0, told=98)
    assert visits.by_day[0] == pytest.approx([18.0 - 0.3 * day for day in range(98)])
    assert weigh(need, week=3, visit_price=30.0, interval=50.0, told=98)[0].by_day[0, [49, 50, 97]] == pytest.approx(
        [0.6, 0.0, 0.0]
    )


def test_what_must_be_done_now_gains_nothing_by_waiting() -> None:
    visits, _ = weigh(cartridge(2_000.0, price=0.0, urgent=True), week=0, visit_price=30.0, told=20)
    assert visits.is_forced[0]
    assert visits.by_day[0] == pytest.approx([30.0] * 20)
    assert visits.best[0] < 5


@pytest.mark.parametrize(("deadline", "is_forced"), [(4, True), (5, False)])
def test_a_deadline_within_the_routed_days_forces_the_visit(deadline: int, is_forced: bool) -> None:
    visits, _ = weigh(cartridge(60.0, deadline_day=deadline), week=0, told=8)
    assert visits.is_forced[0] == is_forced
    assert np.isfinite(visits.by_day[0]).tolist() == [day <= deadline for day in range(8)]


def test_a_visit_is_open_when_all_its_needs_are() -> None:
    visits, members = weigh(cartridge(60.0, deadline_day=6), cartridge(60.0, not_before_day=3), week=0, told=9)
    assert np.isfinite(visits.by_day[0]).tolist() == [3 <= day <= 6 for day in range(9)]
    assert (visits.earliest[0], visits.best[0], visits.latest[0]) == (3, 6, 6)
    assert members.own_best.tolist() == [6, 60]


def test_where_the_money_asks_for_nothing_the_window_ends_at_the_risk() -> None:
    """Exhausted between day 10 and day 30 with even chances of a day: past three in ten from day 16 on."""
    spread = tuple(10.0 + 20.0 * level for level in (0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95))
    need = cartridge(0.0, quantile_days=spread, price=0.0, late_cost_per_day=1e-6)
    assert weigh(need, week=0)[0].latest[0] == 16
    # what costs nothing when it is late bears no risk
    assert weigh(replace(need, late_cost_per_day=0.0), week=0)[0].latest[0] == 97
