"""Two who do the same at the same moment: one of them does it, the other finds it done."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from threading import Barrier, Event
from time import sleep
from typing import Any

import pytest
from django.db import connection, transaction

from accounts.errors import Conflict
from accounts.models import Membership
from fleet.models import Placement
from scheduling.models import Need, PartsList, Plan, PurchaseOrder, ServiceRecord, StockLevel, Visit, VisitTask
from scheduling.services.needs.needs import refresh_needs
from scheduling.services.orders.deliveries import DeliveredPieces, receive_order
from scheduling.services.orders.drafts import draft_orders
from scheduling.services.orders.orders import place_order
from scheduling.services.visits.visits import confirm_visit, propose_visits
from scheduling.services.work.records import record_work
from scheduling.services.work.report import WorkDone, WorkReport
from tests import factories
from tests.scheduling.night import run_night
from tests.scheduling.town import NOW, Town

pytestmark = pytest.mark.django_db(transaction=True)


def _both(work: Callable[[], Any]) -> list[Any]:
    """Do something twice, from two threads that start together, each with its own connection."""
    together = Barrier(2)

    def one() -> Any:
        together.wait(timeout=30)
        try:
            return work()
        finally:
            connection.close()

    with ThreadPoolExecutor(2) as pool:
        runs = [pool.submit(one) for _ in range(2)]
        return [run.result(timeout=60) for run in runs]


def test_two_nights_at_once_write_one_nights_rows(town: Town) -> None:
    town.installer("Ada")
    for east in (2, 4, 6):
        town.forecast(town.position(town.unit(town.site(east_km=east)), "carbon"), 0)
    _both(lambda: run_night(town))
    assert Need.objects.count() == Visit.objects.count() == VisitTask.objects.count() == 3
    assert Plan.objects.exclude(state="replaced").count() == 1
    assert PartsList.objects.filter(scope="visit").count() == 3


def test_two_phones_that_send_the_same_report_store_it_once(town: Town, installer: Membership) -> None:
    town.installer("Ada", membership=installer)
    unit = town.unit()
    carbon = town.position(unit, "carbon")
    town.forecast(carbon, 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    town.stock(town.item("carbon"), 5)

    def report() -> bool:
        sent = WorkReport(
            site=unit.site,
            reference="van-1/0001",
            done_at=NOW,
            work=[WorkDone("replace", unit, carbon, removal="exhausted")],
            visit=Visit.objects.get(),
        )
        _, is_new = record_work(report=sent, by=installer, now=NOW + timedelta(hours=1))
        return is_new

    assert sorted(_both(report)) == [False, True]
    assert ServiceRecord.objects.count() == 1
    assert StockLevel.objects.get().quantity == 4
    assert Placement.objects.filter(position=carbon).count() == 2


def test_a_time_confirmed_while_visits_are_proposed_stays_confirmed(town: Town, office: Membership) -> None:
    """Nothing is due there any more, so the visit would be withdrawn; but the client has just said yes."""
    ada = town.installer("Ada")
    town.forecast(town.position(town.unit(), "carbon"), 0)
    refresh_needs(company=town.company, now=NOW)
    propose_visits(company=town.company, now=NOW)
    Need.objects.update(state=Need.State.DROPPED, closed_at=NOW)
    visit, is_said, at = Visit.objects.get(), Event(), NOW + timedelta(days=1, hours=6)

    def confirm() -> None:
        with transaction.atomic():
            confirm_visit(visit=visit, by=office, appointment_at=at, installer=ada, now=NOW)
            is_said.set()
            # time enough for the other to read what it goes by, and to wait
            sleep(1.0)
        connection.close()

    def propose() -> None:
        assert is_said.wait(timeout=30)
        propose_visits(company=town.company, now=NOW)
        connection.close()

    with ThreadPoolExecutor(2) as pool:
        for run in [pool.submit(confirm), pool.submit(propose)]:
            run.result(timeout=60)
    visit.refresh_from_db()
    assert (visit.state, visit.appointment_at) == (Visit.State.CONFIRMED, at)


def test_two_clerks_who_draft_place_and_receive_at_once_order_and_book_once(town: Town, office: Membership) -> None:
    item = town.item("carbon")
    item.supplier = factories.SupplierFactory(company=town.company)
    item.save()
    town.installer("Ada")
    run_night(town, sites=3)
    town.stock(item, 1)
    _both(lambda: draft_orders(company=town.company, by=office, now=NOW))
    order = PurchaseOrder.objects.get()
    line = order.lines.get()

    def place() -> bool:
        try:
            place_order(order=order, by=office, now=NOW)
        except Conflict:
            return False
        return True

    def receive() -> bool:
        pieces = [DeliveredPieces(line.pk, line.quantity, "L1")]
        return receive_order(order=order, by=office, reference="N-1", pieces=pieces, now=NOW)[1]

    assert sorted(_both(place)) == [False, True]
    assert sorted(_both(receive)) == [False, True]
    assert StockLevel.objects.get().quantity == 1 + line.quantity
