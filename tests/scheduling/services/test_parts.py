"""Parts lists: for a visit, a van's round, the plan's days and the weeks to order for."""

from datetime import date, time, timedelta

import pytest

from accounts.models import Membership
from scheduling.models import PartsLine, PartsList, Plan, Stop, Visit
from scheduling.services.needs import refresh_needs
from scheduling.services.parts import order_by, write_parts_lists
from scheduling.services.plans import plan_rounds
from scheduling.services.visits import cancel_visit, propose_visits
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town


def _planned(town: Town) -> Plan:
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=100)


def _lines(scope: str, **filters: object) -> dict[str, PartsLine]:
    rows = PartsLine.objects.filter(parts_list__scope=scope, **filters).select_related("item", "parts_list")
    return {line.item.code: line for line in rows}


def test_a_visit_takes_its_cartridges_and_the_small_things_their_change_needs(town: Town) -> None:
    town.installer("Ada")
    unit = town.unit(train=RO_DI_TRAIN)
    town.forecast(town.position(unit, "carbon"), 0)
    town.forecast(town.position(unit, "resin", "lead"), 1)
    town.small_part("o-ring", work="replace")
    town.small_part("o-ring-pair", work="rotate", quantity=2)
    town.small_part("strip", stage="carbon", quantity=3)
    town.small_part("cloth", per="visit")
    town.small_part("pump", work="fit_booster_pump", per="unit")
    write_parts_lists(plan=_planned(town), now=NOW)
    assert {code: line.quantity for code, line in _lines("visit").items()} == {
        "carbon-1": 1,
        "resin-1": 1,
        "o-ring": 1,
        "o-ring-pair": 2,
        "strip": 3,
        "cloth": 1,
    }


def test_a_repair_takes_the_part_its_cause_is_about(town: Town) -> None:
    town.installer("Ada")
    town.finding(town.unit(), "shutoff_valve_fault")
    town.small_part("shut-off valve", work="shutoff_valve_fault", per="unit")
    town.small_part("check valve", work="check_valve_fault", per="unit")
    town.small_part("tape", work="repair", per="unit")
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    Visit.objects.update(is_urgent=True)
    write_parts_lists(plan=plan_rounds(company=town.company, by=None, now=NOW, iterations=50), now=NOW)
    assert set(_lines("visit")) == {"shut-off valve", "tape"}


def test_a_round_says_what_its_van_lacks(town: Town) -> None:
    ada = town.installer("Ada")
    for east in (2, 4, 6):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    town.stock(town.item("carbon"), 1, ada)
    town.stock(town.item("carbon"), 50)
    plan = _planned(town)
    write_parts_lists(plan=plan, now=NOW)
    for round_ in plan.rounds.all():
        line = _lines("round", parts_list__round=round_)["carbon-1"]
        count = round_.stops.count()
        assert (line.quantity, line.in_stock, line.short, line.packs_to_order) == (count, 1, count - 1, 0)
    assert Stop.objects.count() == 3


def test_what_a_van_uses_on_one_day_is_not_aboard_on_the_next(town: Town) -> None:
    ada = town.installer("Ada")
    first_day = (TODAY.weekday() + 1) % 7
    for weekday in (first_day, (first_day + 1) % 7):
        site = town.site(east_km=2 + weekday)
        town.window(site, weekday, time(8), time(17))
        town.forecast(town.position(town.unit(site), "carbon"), 0)
    town.stock(town.item("carbon"), 1, ada)
    town.stock(town.item("carbon"), 50)
    plan = _planned(town)
    write_parts_lists(plan=plan, now=NOW)
    lines = PartsLine.objects.filter(parts_list__scope="round").order_by("parts_list__first_day")
    assert [(line.quantity, line.in_stock, line.short) for line in lines] == [(1, 1, 0), (1, 0, 1)]


def test_a_period_orders_whole_packs_in_time(town: Town) -> None:
    """Six carbons are wanted and one is there: five short, two packs of four."""
    town.installer("Ada")
    for east in range(6):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 1)
    plan = _planned(town)
    # counted after the plan was made, so that no visit waited for its parts
    town.stock(town.item("carbon"), 1)
    write_parts_lists(plan=plan, now=NOW)
    period = PartsList.objects.get(
        scope="period", first_day=plan.first_day, last_day=plan.first_day + timedelta(days=4)
    )
    line = period.lines.get()
    assert (line.quantity, line.in_stock, line.short, line.packs_to_order) == (6, 1, 5, 2)
    second_day = sorted(Stop.objects.values_list("round__day", flat=True))[1]
    assert line.needed_by == second_day
    assert line.order_by == order_by(second_day, 7) < TODAY
    assert sum(reason["quantity"] for reason in line.reasons) == 6


def test_the_weeks_to_order_for_hold_what_no_round_serves_yet(town: Town) -> None:
    town.installer("Ada")
    town.forecast(town.position(town.unit(), "membrane"), 40)
    plan = _planned(town)
    write_parts_lists(plan=plan, now=NOW)
    assert not Stop.objects.exists()
    weeks = PartsList.objects.get(scope="period", first_day=TODAY, last_day=TODAY + timedelta(days=55))
    line = weeks.lines.get()
    assert line.item == town.item("membrane")
    assert line.needed_by == Visit.objects.get().best_day
    assert TODAY < line.order_by <= line.needed_by - timedelta(days=8)


@pytest.mark.parametrize(
    ("needed", "days", "expected"),
    [
        (date(2026, 3, 12), 7, date(2026, 3, 4)),
        (date(2026, 3, 9), 7, date(2026, 2, 27)),
        (date(2026, 3, 2), 0, date(2026, 2, 27)),
    ],
    ids=["Thursday", "Monday: the Sunday before is no working day", "Monday, at once"],
)
def test_an_order_reaches_the_shelf_the_day_before(needed: date, days: int, expected: date) -> None:
    assert order_by(needed, days) == expected


def test_writing_twice_changes_nothing(town: Town) -> None:
    town.installer("Ada")
    for east in (2, 4):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    town.small_part("o-ring", work="replace")
    plan = _planned(town)
    first = write_parts_lists(plan=plan, now=NOW)
    rows = list(PartsList.objects.values()), list(PartsLine.objects.values())
    second = write_parts_lists(plan=plan, now=NOW + timedelta(hours=1))
    assert first.written == len(rows[0])
    assert (second.written, second.unchanged) == (0, first.written)
    assert (list(PartsList.objects.values()), list(PartsLine.objects.values())) == rows


def test_a_replaced_plans_lists_for_visits_and_periods_go(town: Town, office: Membership) -> None:
    town.installer("Ada")
    for east in (2, 4):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    write_parts_lists(plan=_planned(town), now=NOW)
    gone = Visit.objects.order_by("pk").first()
    cancel_visit(visit=gone, by=office, note="", now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=100)
    write_parts_lists(plan=plan, now=NOW)
    assert not PartsList.objects.filter(visit=gone).exists()
    assert set(PartsList.objects.exclude(scope="round").values_list("plan", flat=True)) == {plan.pk}
