"""Parts lists: for a visit, a van's round, the plan's days and the weeks to order for."""

from datetime import UTC, date, datetime, time, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from accounts.models import Membership
from fleet.models import CatalogueItem, PartsRule
from scheduling.models import (
    CompanyPolicy,
    Need,
    PartsLine,
    PartsList,
    Plan,
    PurchaseOrderLine,
    StockLevel,
    Stop,
    Visit,
)
from scheduling.planning.stock.deliveries import order_by
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.needs.rows import NeedRow, read_needs
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.stock.parts import PartsWriter, rewrite_period, write_parts_lists
from scheduling.services.visits.visits import cancel_visit, confirm_visit, propose_visits
from tests import factories
from tests.scheduling.town import NOW, RO_DI_TRAIN, TODAY, Town


def _planned(town: Town) -> Plan:
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan


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


@pytest.mark.parametrize(
    ("own", "other"), [("shutoff_valve_fault", "check_valve_fault"), ("automatic_shutoff_valve", "check_valve")]
)
def test_a_repair_takes_the_part_its_cause_is_about(town: Town, own: str, other: str) -> None:
    town.installer("Ada")
    town.finding(town.unit(), "shutoff_valve_fault")
    town.small_part("shut-off valve", work=own, per="unit")
    town.small_part("check valve", work=other, per="unit")
    town.small_part("tape", work="repair", per="unit")
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    Visit.objects.update(is_urgent=True)
    write_parts_lists(plan=plan_rounds(company=town.company, by=None, now=NOW, iterations=50).plan, now=NOW)
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


def test_pieces_aboard_that_another_visit_counts_on_are_said_to_be_reserved(town: Town) -> None:
    ada = town.installer("Ada")
    first_day = (TODAY.weekday() + 1) % 7
    for weekday in (first_day, (first_day + 1) % 7):
        site = town.site(east_km=2 + weekday)
        town.window(site, weekday, time(8), time(17))
        town.forecast(town.position(town.unit(site), "carbon"), 0)
    level = town.stock(town.item("carbon"), 3, ada)
    town.stock(town.item("carbon"), 50)
    plan = _planned(town)
    write_parts_lists(plan=plan, now=NOW)

    def lines() -> list[tuple[Any, ...]]:
        rows = PartsLine.objects.filter(parts_list__scope="round", item=level.item).order_by("parts_list__first_day")
        return [(row.quantity, row.in_stock, row.reserved_elsewhere, row.from_store, row.sentence) for row in rows]

    assert lines() == [
        (1, 3, 1, 0, "1 aboard. 1 more aboard is reserved for another visit."),
        (1, 2, 0, 0, "1 aboard."),
    ]
    first, second = Visit.objects.order_by("stops__round__day")
    StockLevel.objects.filter(pk=level.pk).update(quantity=1)
    StockLevel.objects.filter(item=level.item, installer=None).update(quantity=0)
    # it is confirmed with the later client, so that the earlier round cannot have the only piece
    Visit.objects.filter(pk=second.pk).update(
        state="confirmed", installer=ada, appointment_at=Stop.objects.get(visit=second).starts_at
    )
    write_parts_lists(plan=plan, now=NOW)
    assert lines() == [
        (1, 1, 1, 0, "1 neither in stock nor ordered. 1 more aboard is reserved for another visit."),
        (1, 1, 0, 0, "1 aboard."),
    ]
    assert first.pk != second.pk


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
    assert f"Order today, late by {(TODAY - line.order_by).days} days." in line.sentence
    assert (line.packs_now, line.chance_of_running_out) == (0, None), "the plan's days are not all that is ordered for"
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
    # the membrane may be wanted before the visit's best day with more than the tenth that the service level leaves
    assert TODAY + timedelta(days=26) < line.needed_by <= Visit.objects.get().best_day
    assert TODAY < line.order_by <= line.needed_by - timedelta(days=8)


def test_two_rounds_on_two_days_do_not_both_count_on_the_one_piece_in_store(town: Town) -> None:
    town.installer("Ada")
    first_day = (TODAY.weekday() + 1) % 7
    for weekday in (first_day, (first_day + 1) % 7):
        site = town.site(east_km=2 + weekday)
        town.window(site, weekday, time(8), time(17))
        town.forecast(town.position(town.unit(site), "carbon"), 0)
    plan = _planned(town)
    # counted after the plan was made, so that no visit waited for its parts
    town.stock(town.item("carbon"), 1)
    write_parts_lists(plan=plan, now=NOW)
    lines = PartsLine.objects.filter(parts_list__scope="round").order_by("parts_list__first_day")
    assert [(line.short, line.from_store) for line in lines] == [(1, 1), (1, 0)]
    assert lines[0].sentence == "1 from the store."
    assert lines[1].sentence == "1 neither in stock nor ordered."
    visits = PartsLine.objects.filter(parts_list__scope="visit").order_by("parts_list__first_day")
    assert [(line.in_stock, line.short) for line in visits] == [(1, 0), (0, 1)]


def test_what_is_confirmed_with_a_client_keeps_its_piece(town: Town, office: Membership) -> None:
    """The one confirmed for Thursday has the piece, not the one that the plan puts before it."""
    town.installer("Ada")
    for east in (2, 4):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    confirmed = Visit.objects.order_by("pk").last()
    confirm_visit(visit=confirmed, by=office, appointment_at=datetime(2026, 3, 5, 9, 0, tzinfo=UTC), now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan
    town.stock(town.item("carbon"), 1)
    write_parts_lists(plan=plan, now=NOW)
    in_stock_by_visit = {
        line.parts_list.visit_id: line.in_stock for line in PartsLine.objects.filter(parts_list__scope="visit")
    }
    other = Visit.objects.exclude(pk=confirmed.pk).get()
    assert Stop.objects.get(visit=other).round.day < Stop.objects.get(visit=confirmed).round.day
    assert in_stock_by_visit == {confirmed.pk: 1, other.pk: 0}


def test_of_two_planned_visits_the_one_that_needs_the_piece_urgently_has_it(town: Town) -> None:
    town.installer("Ada")
    for east in (2, 4):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    plan = _planned(town)
    first, second = Visit.objects.filter(stops__round__plan=plan).order_by("stops__round__day", "pk")
    town.stock(town.item("carbon"), 1)
    for urgent, other in ((first, second), (second, first)):
        Need.objects.filter(tasks__visit=urgent).update(is_urgent=True)
        Need.objects.filter(tasks__visit=other).update(is_urgent=False)
        write_parts_lists(plan=plan, now=NOW)
        rows = PartsLine.objects.filter(parts_list__scope="visit").select_related("parts_list")
        assert {line.parts_list.visit_id: line.in_stock for line in rows} == {urgent.pk: 1, other.pk: 0}


def _on_order(town: Town, pieces: int, expected_on: date) -> PurchaseOrderLine:
    order = factories.PurchaseOrderFactory(company=town.company, state="placed", placed_on=TODAY)
    item = town.item("carbon")
    return factories.PurchaseOrderLineFactory(
        order=order, item=item, packs=pieces, pack_size=1, price=item.price, expected_on=expected_on
    )


def test_what_is_on_order_is_not_ordered_again(town: Town) -> None:
    town.installer("Ada")
    for east in (2, 4, 6):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    plan = _planned(town)
    town.stock(town.item("carbon"), 1)
    line = _on_order(town, 1, TODAY)
    write_parts_lists(plan=plan, now=NOW)
    period_line = _lines("period", parts_list__first_day=TODAY)["carbon-1"]
    assert (
        period_line.quantity,
        period_line.in_stock,
        period_line.on_order,
        period_line.short,
        period_line.packs_to_order,
    ) == (3, 1, 1, 1, 1)
    PurchaseOrderLine.objects.filter(pk=line.pk).update(packs=2)
    write_parts_lists(plan=plan, now=NOW)
    period_line = _lines("period", parts_list__first_day=TODAY)["carbon-1"]
    assert (period_line.on_order, period_line.short, period_line.packs_to_order, period_line.order_by) == (
        2,
        0,
        0,
        None,
    )
    assert period_line.sentence.endswith("1 in stock and 2 on order: nothing to order.")


def test_a_delivery_that_comes_too_late_says_so_and_is_not_ordered_again(town: Town) -> None:
    town.installer("Ada")
    town.forecast(town.position(town.unit(), "carbon"), 0)
    plan = _planned(town)
    town.stock(town.item("carbon"), 0)
    line = _on_order(town, 1, TODAY + timedelta(days=9))
    write_parts_lists(plan=plan, now=NOW)
    loaded = _lines("round")["carbon-1"]
    assert (loaded.short, loaded.from_store, loaded.on_order, loaded.late) == (1, 0, 0, 1)
    assert loaded.sentence == (f"1 on order {line.order.number}, expected Wed 11 Mar 2026, too late for this day.")
    period = _lines("period", parts_list__first_day=TODAY)["carbon-1"]
    assert (period.short, period.late) == (0, 1)


def test_the_service_level_orders_for_what_may_be_exhausted_sooner(town: Town) -> None:
    """Ten lines of carbon around the end of the eight weeks; each is exhausted by then with probability 0.5.

    P(at most 5 of 10) = 0.623, P(at most 6) = 0.828, P(at most 7) = 0.945 (binomial, n = 10, p = 0.5).
    """
    town.installer("Ada")
    for east in range(10):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 55)
    plan = _planned(town)
    plan.rounds.all().delete()
    Visit.objects.update(best_day=TODAY + timedelta(days=70))
    town.stock(town.item("carbon"), 1)
    expected = {0.6: 5, 0.8: 6, 0.9: 7}
    for level, pieces in expected.items():
        CompanyPolicy.objects.update_or_create(
            company=town.company, defaults={"settings": {"parts_service_level": level}}
        )
        write_parts_lists(plan=plan, now=NOW)
        line = _lines("period", parts_list__first_day=TODAY)["carbon-1"]
        assert (line.quantity, line.spare, line.short) == (0, pieces, pieces - 1), level
        assert line.needed_by is not None
        assert f"with {100 * level:g} % probability none is missing" in line.sentence


def test_writing_twice_changes_nothing(town: Town) -> None:
    town.installer("Ada")
    for east in (2, 4):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    town.small_part("o-ring", work="replace")
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    made = plan_rounds(company=town.company, by=None, now=NOW, iterations=100)
    plan, first = made.plan, made.parts
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
    cancelled_visit = Visit.objects.order_by("pk").first()
    cancel_visit(visit=cancelled_visit, by=office, note="", now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, iterations=100).plan
    write_parts_lists(plan=plan, now=NOW)
    assert not PartsList.objects.filter(visit=cancelled_visit).exists()
    assert set(PartsList.objects.exclude(scope="round").values_list("plan", flat=True)) == {plan.pk}


def _restrictor_item(town: Town, code: str, ml_per_min: float) -> CatalogueItem:
    return CatalogueItem.objects.create(
        company=town.company, code=code, name=code, kind="accessory", purpose="flow_restrictor", price="4.60",
        rated_flow_l_per_day=ml_per_min * 1.44, rated_pressure_kpa=345.0,
    )  # fmt: skip


@pytest.mark.parametrize(("stocked", "taken"), [(True, {"fits", "tape"}), (False, {"tape"})])
def test_the_part_that_fits_the_unit_takes_the_place_of_the_rules_part(
    town: Town, stocked: bool, taken: set[str]
) -> None:
    """The unit wants 789 mL/min; the rule, which is for all units, names one of 300."""
    town.installer("Ada")
    unit = town.unit(design_recovery_fraction=0.2)
    town.read(unit, inlet_pressure_kpa=345.0, temperature_degc=25.0, feed_tds_mg_per_l=250.0, state="flowing")
    town.finding(unit, "restrictor_blocked")
    usual = _restrictor_item(town, "usual", 300.0)
    PartsRule.objects.create(company=town.company, item=usual, work="replace_restrictor", per="unit")
    town.small_part("tape", work="replace_restrictor", per="unit")
    if stocked:
        _restrictor_item(town, "fits", 800.0)
    write_parts_lists(plan=_planned(town), now=NOW)
    assert set(_lines("visit")) == taken


def test_lists_of_many_visits_ask_no_more_than_those_of_few(
    town: Town, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    town.installer("Ada")
    for east in (2, 4):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    few = _planned(town)
    PartsList.objects.all().delete()
    with CaptureQueriesContext(connection) as asked:
        write_parts_lists(plan=few, now=NOW)
    for east in (6, 8, 10, 12):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    many = _planned(town)
    PartsList.objects.all().delete()
    with django_assert_max_num_queries(len(asked)):
        write_parts_lists(plan=many, now=NOW)
    assert PartsList.objects.filter(scope="visit").count() == 6


def test_a_plan_of_the_days_to_order_for_has_one_list_for_them(town: Town) -> None:
    town.installer("Ada")
    CompanyPolicy.objects.update_or_create(company=town.company, defaults={"settings": {"order_horizon_days": 7}})
    for east, days in ((2, 0), (4, 50)):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), days)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    plan = plan_rounds(company=town.company, by=None, now=NOW, first_day=TODAY, days=7, iterations=50).plan
    period = PartsList.objects.get(scope="period")
    assert (period.first_day, period.last_day) == (TODAY, TODAY + timedelta(days=6))
    assert write_parts_lists(plan=plan, now=NOW).written == 0
    rewrite_period(parts_list=period, now=NOW)
    assert period.written_at == PartsList.objects.get(scope="period").written_at


def test_needs_that_no_live_visit_holds_are_ordered_for_as_well(town: Town) -> None:
    """Of a visit's needs what was read with it serves; of the others they are read, and each is there once."""
    town.installer("Ada")
    for in_days in (0, 3, 40):
        unit = town.unit(train=RO_DI_TRAIN)
        for position in unit.positions.all():
            town.forecast(position, in_days)
    plan = _planned(town)
    held = Need.objects.filter(tasks__visit__state__in=Visit.LIVE)
    held.filter(kind="replace").first().tasks.all().delete()
    done = held.filter(kind="replace").last()
    Need.objects.filter(pk=done.pk).update(state="done", closed_at=NOW)
    expected = Need.objects.filter(Need.TAKES_A_VISIT, state="open")
    assert 0 < held.count() < expected.count()

    def needed() -> list[NeedRow]:
        return PartsWriter(plan, TODAY, NOW).needs_of_visits_to_come()

    assert needed() == list(read_needs(expected, with_forecasts=True))
    Visit.objects.update(state="cancelled")
    assert needed() == list(read_needs(expected, with_forecasts=True))
