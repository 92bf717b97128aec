"""A visit waits for parts that are neither in the store nor in a van, and says so."""

from datetime import UTC, date, datetime, timedelta

from django.db import connection
from django.test.utils import CaptureQueriesContext

from accounts.models import Membership
from scheduling.models import Plan, PurchaseOrderLine, Stop, UnservedVisit, Visit
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.rounds.plans import plan_rounds
from scheduling.services.stock.allocation import Allocation
from scheduling.services.visits.arrivals import Wait, waits_for_parts
from scheduling.services.visits.visits import confirm_visit, propose_visits
from tests import factories
from tests.scheduling.town import NOW, TODAY, Town


def _due_today(town: Town, *, sites: int) -> None:
    town.installer("Ada")
    for east in range(1, sites + 1):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)


def _plan(town: Town) -> Plan:
    return plan_rounds(company=town.company, by=None, now=NOW, iterations=50).plan


def test_one_piece_serves_one_visit_and_the_other_waits_for_the_order(town: Town) -> None:
    """The catalogue of the town promises seven days: ordered today, there on the eighth."""
    _due_today(town, sites=2)
    item = town.item("carbon")
    town.stock(item, 1)
    waits = waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY)
    assert [(wait.until, wait.items) for wait in waits.values()] == [
        (TODAY + timedelta(days=item.lead_time_days + 1), (item.code,))
    ]
    plan = _plan(town)
    assert Stop.objects.filter(round__plan=plan).count() == 1
    unserved = UnservedVisit.objects.get(plan=plan)
    assert unserved.visit_id in waits
    assert unserved.reason == "waits_for_parts"
    assert f"{item.code} must be ordered first" in unserved.sentence


def test_with_enough_in_store_and_van_nobody_waits(town: Town) -> None:
    _due_today(town, sites=2)
    town.stock(town.item("carbon"), 1)
    town.stock(town.item("carbon"), 1, town.company.installers.get())
    assert waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY) == {}
    assert Stop.objects.filter(round__plan=_plan(town)).count() == 2


def test_what_nobody_ever_counted_makes_nobody_wait(town: Town) -> None:
    _due_today(town, sites=2)
    assert waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY) == {}


def test_a_small_part_that_is_short_makes_nobody_wait(town: Town) -> None:
    o_ring = town.small_part("o-ring", work="replace")
    _due_today(town, sites=1)
    town.stock(o_ring, 0)
    town.stock(town.item("carbon"), 1)
    assert waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY) == {}


def test_an_urgent_visit_goes_without_a_part_that_another_task_lacks(town: Town) -> None:
    """The urgent repair can be done; the carbon that is not there comes another time."""
    town.installer("Ada")
    unit = town.unit()
    town.stock(town.item("carbon"), 0)
    town.forecast(town.position(unit, "carbon"), 0)
    town.finding(unit, "shutoff_valve_fault")
    refresh_needs(company=town.company, now=NOW)
    unit.needs.filter(kind="repair").update(is_urgent=True)
    propose_visits(company=town.company, now=NOW)
    visits = list(Visit.objects.all())
    assert [visit.is_urgent for visit in visits] == [True]
    assert waits_for_parts(company=town.company, visits=visits, today=TODAY) == {}
    unit.needs.filter(kind="repair").update(is_urgent=False)
    assert len(waits_for_parts(company=town.company, visits=visits, today=TODAY)) == 1


def _on_order(town: Town, pieces: int, expected_on: date) -> PurchaseOrderLine:
    order = factories.PurchaseOrderFactory(company=town.company, state="placed", placed_on=TODAY)
    return factories.PurchaseOrderLineFactory(
        order=order, item=town.item("carbon"), packs=pieces, pack_size=1, price=1, expected_on=expected_on
    )


def test_what_is_on_order_is_waited_for_and_not_ordered_again(town: Town) -> None:
    """Of three visits one has the piece in store, one that on order, and the last waits until one is ordered."""
    _due_today(town, sites=3)
    item = town.item("carbon")
    town.stock(item, 1)
    order = _on_order(town, 1, TODAY + timedelta(days=2)).order
    waits = waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY)
    assert sorted((wait.until, wait.orders, wait.must_order) for wait in waits.values()) == [
        (TODAY + timedelta(days=3), (order.number,), ()),
        (TODAY + timedelta(days=8), (), (item.code,)),
    ]
    plan = _plan(town)
    served = Stop.objects.filter(round__plan=plan).order_by("round__day")
    assert [stop.round.day >= TODAY + timedelta(days=3) for stop in served] == [False, True]
    assert "carbon-1 must be ordered first and can be here for Tue 10 Mar." in UnservedVisit.objects.get().sentence


def test_an_overdue_order_is_expected_tomorrow_at_the_earliest(town: Town) -> None:
    _due_today(town, sites=1)
    town.stock(town.item("carbon"), 0)
    order = _on_order(town, 1, TODAY - timedelta(days=5)).order
    (wait,) = waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY).values()
    assert (wait.until, wait.orders) == (TODAY + timedelta(days=1), (order.number,))
    assert wait.sentence == f"carbon-1 is on order (order {order.number}) and can be here for Tue 3 Mar."


def test_what_is_on_order_and_what_must_be_ordered_are_told_apart() -> None:
    wait = Wait(TODAY, ("MEM-1", "RES-1"), (3,), ("RES-1",))
    assert wait.sentence == "MEM-1 is on order (order 3), RES-1 must be ordered first; all can be here for Mon 2 Mar."
    assert (
        Wait(TODAY, ("A", "B"), (), ("A", "B")).sentence
        == "A and B must be ordered first and can be here for Mon 2 Mar."
    )


def test_a_piece_is_kept_for_a_visit_confirmed_for_a_later_week(town: Town, office: Membership) -> None:
    _due_today(town, sites=2)
    town.stock(town.item("carbon"), 1)
    confirmed, other = Visit.objects.order_by("pk")
    confirm_visit(visit=confirmed, by=office, appointment_at=datetime(2026, 3, 18, 9, 0, tzinfo=UTC), now=NOW)
    assert set(waits_for_parts(company=town.company, visits=[other], today=TODAY)) == {other.pk}
    _on_order(town, 1, TODAY + timedelta(days=10))
    # the delivery serves the later week, so the piece in store is free today
    assert waits_for_parts(company=town.company, visits=[other], today=TODAY) == {}


def test_the_suppliers_closed_days_are_waited_out(town: Town) -> None:
    """Lead time seven days from Monday: Monday a week on, and a supplier closed on Mondays delivers on Tuesday."""
    _due_today(town, sites=1)
    item = town.item("carbon")
    town.stock(item, 0)
    item.supplier = factories.SupplierFactory(company=town.company, closed_weekdays=[0, 5, 6])
    item.save()
    (wait,) = waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY).values()
    # ordered on Monday it is read on Tuesday, and there on Tuesday the week after
    assert wait.until == TODAY + timedelta(days=9)


def test_a_confirmed_visit_whose_day_has_gone_by_keeps_its_piece(town: Town, office: Membership) -> None:
    """Nobody has reported it yet, so that the parts lists count its piece as taken; so must the waits."""
    _due_today(town, sites=2)
    item = town.item("carbon")
    town.stock(item, 1)
    confirmed, other = Visit.objects.order_by("pk")
    confirm_visit(visit=confirmed, by=office, appointment_at=datetime(2026, 3, 2, 9, 0, tzinfo=UTC), now=NOW)
    tomorrow = TODAY + timedelta(days=1)
    assert _covered(town, tomorrow) == {(confirmed.pk, item.pk)}
    assert set(waits_for_parts(company=town.company, visits=[other], today=tomorrow)) == {other.pk}


def test_an_installer_on_the_way_keeps_the_piece(town: Town) -> None:
    _due_today(town, sites=2)
    item = town.item("carbon")
    town.stock(item, 1)
    first, other = Visit.objects.order_by("pk")
    Visit.objects.filter(pk=first.pk).update(state="on_the_way")
    assert _covered(town, TODAY) == {(first.pk, item.pk)}
    assert set(waits_for_parts(company=town.company, visits=[other], today=TODAY)) == {other.pk}


def test_a_delivery_too_late_for_a_confirmed_visit_is_not_promised_to_another(town: Town, office: Membership) -> None:
    """It was bought for the confirmed one, which the parts list says; the other needs an order of its own."""
    _due_today(town, sites=2)
    item = town.item("carbon")
    town.stock(item, 0)
    confirmed, other = Visit.objects.order_by("pk")
    confirm_visit(visit=confirmed, by=office, appointment_at=datetime(2026, 3, 3, 9, 0, tzinfo=UTC), now=NOW)
    _on_order(town, 1, TODAY + timedelta(days=2))
    allocation = Allocation(company=town.company, today=TODAY, plan=None)
    assert [share.is_late for share in allocation.shares[str(confirmed.pk), str(item.pk)]] == [True]
    (wait,) = waits_for_parts(company=town.company, visits=[other], today=TODAY).values()
    assert (wait.orders, wait.must_order) == ((), (item.code,))


def _covered(town: Town, today: date) -> set[tuple[int, int]]:
    """Visits and items that the parts lists count as covered in time."""
    allocation = Allocation(company=town.company, today=today, plan=None)
    return {
        (int(visit), int(item))
        for (visit, item), shares in allocation.shares.items()
        if sum(s.quantity for s in shares if not s.is_late) == allocation.allocated[item][visit]
    }


def test_where_nobody_counts_anything_nobody_is_asked_what_waits(town: Town) -> None:
    town.installer("Ada")
    town.forecast(town.position(town.unit(), "sediment"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    with CaptureQueriesContext(connection) as captured:
        assert waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY) == {}
    assert not [query for query in captured if "scheduling_visittask" in query["sql"]]
    town.stock(town.items["sediment"], 0)
    waits = waits_for_parts(company=town.company, visits=list(Visit.objects.all()), today=TODAY)
    assert [wait.items for wait in waits.values()] == [("sediment-1",)]
