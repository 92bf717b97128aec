"""Invoices that are issued at the same moment: numbers without a gap, and nothing asked for twice."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Barrier
from typing import Any

import pytest
from django.db import connection

from accounts.errors import Conflict
from accounts.models import Client, Company, Membership
from scheduling.models import Invoice, InvoicedWork
from scheduling.services.money.invoices import cancel_invoice, issue_invoice
from tests import factories
from tests.factories import NOW

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.database]


def together(*works: Callable[[], Any]) -> list[Any]:
    """Do several things from threads that start together; what each gave, or its refusal."""
    start = Barrier(len(works))

    def one(work: Callable[[], Any]) -> Any:
        start.wait(timeout=30)
        try:
            return work()
        except Conflict as error:
            return error.code
        finally:
            connection.close()

    with ThreadPoolExecutor(len(works)) as pool:
        return [run.result(timeout=60) for run in [pool.submit(one, work) for work in works]]


@pytest.fixture
def clients(company: Company) -> list[Client]:
    """Six clients with work of this month."""
    factories.SalesPriceFactory(company=company, kind="call_out", item=None, vat="none")
    made = []
    for _ in range(6):
        site = factories.SiteFactory(company=company)
        factories.ServiceRecordFactory(site=site, company=company, done_at=NOW, minutes=0)
        made.append(site.client)
    return made


def issuing(company: Company, by: Membership, client: Client) -> Callable[[], Any]:
    return lambda: issue_invoice(company=company, by=by, now=NOW, client=client, month=date(2026, 3, 1))


def test_numbers_have_no_gap_whoever_comes_first(company: Company, office: Membership, clients: list[Client]) -> None:
    together(*(issuing(company, office, client) for client in clients))
    assert sorted(Invoice.objects.values_list("number", flat=True)) == [1, 2, 3, 4, 5, 6]


def test_two_who_issue_the_same_work_issue_it_once(company: Company, office: Membership, clients: list[Client]) -> None:
    answers = together(*[issuing(company, office, clients[0])] * 3)
    assert sorted(answer for answer in answers if isinstance(answer, str)) == ["nothing_to_invoice"] * 2
    assert Invoice.objects.get().number == 1
    assert InvoicedWork.objects.count() == 1


def test_two_who_cancel_write_one_credit_note(company: Company, office: Membership, clients: list[Client]) -> None:
    invoice = issuing(company, office, clients[0])()
    answers = together(*[lambda: cancel_invoice(invoice=invoice, by=office, reason="Wrong.", now=NOW)] * 2)
    assert "cancelled_already" in answers
    assert sorted(Invoice.objects.values_list("kind", "number")) == [("credit_note", 2), ("invoice", 1)]
    assert sum(Invoice.objects.values_list("gross", flat=True)) == 0
