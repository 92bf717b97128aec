"""Answers are kept while their rows stay as they were, and never a moment longer, whoever changes them."""

from collections.abc import Callable, Sequence
from threading import Thread
from typing import Any

import pytest
from django.db import connection, connections, transaction

from accounts.kept_answers import KeptAnswers
from accounts.models import Client, Company
from accounts.row_versions import versions_of
from tests import factories

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("connection.vendor != 'postgresql'", reason="elsewhere rows have no versions, nothing is kept"),
]


class Names:
    """The names of a company's clients, and how often they were read."""

    def __init__(self, company: Company) -> None:
        self.company, self.looks = company, 0
        self.meanwhile: Callable[[], object] = lambda: None

    @property
    def rows(self) -> Any:
        return Client.objects.of_company(self.company)

    def read(self) -> list[str]:
        return sorted(self.rows.values_list("name", flat=True))

    def _work_out(self, names: Sequence[str], versions: str | None) -> dict[str, list[str]]:
        self.looks += 1
        self.meanwhile()
        return {name: self.read() for name in names}

    def ask(self) -> list[str]:
        kept = KeptAnswers(("names", self.company.pk), lambda: {"clients": (self.rows, ())})
        return kept.of(["all"], self._work_out)["all"]


@pytest.fixture
def names() -> Names:
    company = factories.CompanyFactory()
    factories.ClientFactory(company=company, name="Ada")
    factories.ClientFactory(company=company, name="Bea")
    return Names(company)


def elsewhere(write: Callable[[], object]) -> None:
    """Write on a connection of its own, and commit."""

    def written() -> None:
        try:
            write()
        finally:
            connections.close_all()

    thread = Thread(target=written)
    thread.start()
    thread.join()


def test_an_answer_is_worked_out_once_while_nothing_changes(names: Names) -> None:
    assert names.ask() == names.ask() == ["Ada", "Bea"]
    assert names.looks == 1
    factories.ClientFactory(name="of another company")
    assert names.ask() == ["Ada", "Bea"]
    assert names.looks == 1


@pytest.mark.parametrize("change", ["update", "create", "delete", "raw", "swap", "and back"])
def test_after_any_change_it_is_worked_out_anew(names: Names, change: str) -> None:
    names.ask()
    ada, bea = names.rows.order_by("name")
    match change:
        case "update":
            names.rows.filter(pk=ada.pk).update(name="Cleo")
        case "create":
            Client.objects.bulk_create([Client(company=names.company, name="Cleo")])
        case "delete":
            names.rows.filter(pk=ada.pk).delete()
        case "raw":
            with connection.cursor() as cursor:
                cursor.execute("UPDATE accounts_client SET name = 'Cleo' WHERE id = %s", [ada.pk])
        case "swap":
            with transaction.atomic():
                names.rows.filter(pk=ada.pk).update(name="Cleo")
                names.rows.filter(pk=bea.pk).update(name="Ada")
                names.rows.filter(pk=ada.pk).update(name="Bea")
        case "and back":
            names.rows.filter(pk=ada.pk).update(name="Cleo")
            names.rows.filter(pk=ada.pk).update(name="Ada")
    assert names.ask() == names.read()
    assert names.looks == 2


def test_a_row_that_is_changed_twice_in_a_transaction_has_two_versions(names: Names) -> None:
    with transaction.atomic():
        seen = set()
        for name in ("Cleo", "Dora", "Emma"):
            names.rows.filter(name__in=["Ada", "Cleo", "Dora"]).update(name=name)
            assert names.ask() == ["Bea", name]
            seen.add(versions_of({"clients": (names.rows, ())}))
        transaction.set_rollback(True)
    assert len(seen) == 3
    assert names.ask() == ["Ada", "Bea"]


def test_rows_beside_the_rows_count(names: Names) -> None:
    site = factories.SiteFactory(company=names.company, client=names.rows.get(name="Ada"))
    rows = {"sites": (type(site).objects.of_company(names.company), ("client__name",))}
    before = versions_of(rows)
    names.rows.filter(name="Bea").update(name="Cleo")
    assert versions_of(rows) == before
    names.rows.filter(name="Ada").update(name="Dora")
    assert versions_of(rows) != before


@pytest.mark.parametrize("stays", [True, False])
def test_what_is_written_while_somebody_looks_is_in_the_next_look(names: Names, stays: bool) -> None:
    """Also where it has gone again, after which the rows are those of before."""
    names.meanwhile = lambda: elsewhere(lambda: factories.ClientFactory(company=names.company, name="Cleo"))
    # read in one moment, before it came
    assert names.ask() == ["Ada", "Bea"]
    names.meanwhile = lambda: None
    if not stays:
        names.rows.filter(name="Cleo").delete()
    assert names.ask() == names.read()
    assert names.looks == (2 if stays else 1)


def test_within_a_transaction_what_changed_meanwhile_is_not_kept(names: Names) -> None:
    names.meanwhile = lambda: elsewhere(lambda: factories.ClientFactory(company=names.company, name="Cleo"))
    with transaction.atomic():
        names.ask()
    names.meanwhile = lambda: None
    names.rows.filter(name="Cleo").delete()
    assert names.ask() == ["Ada", "Bea"]
    assert names.looks == 2
