"""Lists page, filter and order the same way everywhere."""

import base64
import json
from contextlib import suppress
from datetime import timedelta
from typing import Any

import pytest
from django.core.exceptions import ImproperlyConfigured
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from rest_framework.request import Request
from rest_framework.test import APIClient, APIRequestFactory

from accounts.http.faults import RequestInvalid
from accounts.http.pagination import CursorPagination, PagePagination
from accounts.models import AuditEntry, Client, Company, Membership
from tests import factories

CLIENTS = "/api/v1/clients/"
TRAIL = "/api/v1/audit-entries/"


@pytest.fixture
def clients(company: Company) -> list[Client]:
    return [factories.ClientFactory(company=company, name=f"Client {letter}") for letter in "ABCDE"]


def names(answer: Any) -> list[str]:
    assert answer.status_code == 200, answer.content
    return [row["name"] for row in answer.json()["results"]]


def test_a_short_question_has_no_endless_answer(as_office: APIClient) -> None:
    answer = as_office.get(CLIENTS, {f"a{number}": 1 for number in range(500)})
    assert (answer.status_code, len(answer.json()["errors"])) == (400, 20)


@pytest.mark.usefixtures("clients")
def test_numbered_pages_follow_each_other(as_office: APIClient) -> None:
    first = as_office.get(CLIENTS, {"page_size": 2})
    assert (names(first), first.json()["count"]) == (["Client A", "Client B"], 5)
    second = as_office.get(first.json()["next"])
    third = as_office.get(second.json()["next"])
    assert names(second) + names(third) == ["Client C", "Client D", "Client E"]
    assert third.json()["next"] is None
    assert names(as_office.get(third.json()["previous"])) == names(second)


def test_a_walk_reads_every_row_once_while_their_order_changes(as_office: APIClient, clients: list[Client]) -> None:
    """By numbers, a row that moves forward is lost; by ids it is not, and rows that come meanwhile are read too."""

    def read(query: dict[str, Any], mover: Client) -> list[str]:
        page = as_office.get(CLIENTS, {**query, "page_size": 2})
        rows, counts = names(page), [page.json()["count"]]
        Client.objects.filter(pk=mover.pk).update(name=f"A first, {mover.pk}")
        while page.json()["next"]:
            page = as_office.get(page.json()["next"])
            rows += names(page)
            counts.append(page.json()["count"])
        assert page.json()["results"]
        assert set(counts) == {5}
        return rows

    by_number = read({}, clients[4])
    assert len(set(by_number)) == 4
    walked = read({"after": 0}, clients[3])
    assert walked == ["Client A", "Client B", "Client C", f"A first, {clients[3].pk}", f"A first, {clients[4].pk}"]
    behind = as_office.get(CLIENTS, {"after": clients[4].pk}).json()
    assert (behind["results"], behind["next"], behind["previous"], behind["count"]) == ([], None, None, 5)


@pytest.mark.parametrize(("with_it", "value"), [("page", "1"), ("ordering", "name")])
def test_a_walk_has_no_other_order(as_office: APIClient, with_it: str, value: str) -> None:
    refused = as_office.get(CLIENTS, {"after": 0, with_it: value})
    assert (refused.status_code, refused.json()["errors"][0]["parameter"]) == (400, with_it)


@pytest.mark.usefixtures("clients")
@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("page", "0"),
        ("page", "-1"),
        ("page", "two"),
        ("page", ""),
        ("page", "1e3"),
        ("page", "9" * 30),
        ("page", "٣"),
        ("page", "last"),
        ("page_size", "0"),
        ("page_size", "501"),
        ("page_size", "many"),
        ("ordering", "colour"),
        ("ordering", "name,-colour"),
        ("ordering", "company__name"),
        ("ordering", "-"),
        ("nam", "x"),
        ("format", "json"),
        ("name", ""),
        ("ordering", ""),
        ("cursor", "x"),
    ],
)
def test_a_query_that_cannot_be_read_names_the_parameter(as_office: APIClient, name: str, value: str) -> None:
    answer = as_office.get(CLIENTS, {name: value})
    assert answer.status_code == 400, answer.content
    assert [fault["parameter"] for fault in answer.json()["errors"]] == [name]


def test_an_unknown_parameter_or_order_is_answered_with_those_there_are(as_office: APIClient) -> None:
    detail = as_office.get(CLIENTS, {"nam": "x"}).json()["errors"][0]["detail"]
    assert detail == (
        "There is no query parameter 'nam' here; there are: after, email, name, name__icontains, name_contains, "
        "ordering, page, page_size, retired, search."
    )
    detail = as_office.get(CLIENTS, {"ordering": "colour"}).json()["errors"][0]["detail"]
    assert "name, created_at" in detail


@pytest.mark.usefixtures("clients")
def test_a_page_beyond_the_last_says_which_is_the_last(as_office: APIClient) -> None:
    answer = as_office.get(CLIENTS, {"page": 4, "page_size": 2})
    assert (answer.status_code, answer.json()["detail"]) == (404, "There is no page 4: the last one is 3.")


@pytest.mark.usefixtures("clients")
def test_lists_are_ordered_and_filtered_as_asked(as_office: APIClient) -> None:
    assert names(as_office.get(CLIENTS, {"ordering": "-name", "page_size": 2})) == ["Client E", "Client D"]
    assert names(as_office.get(CLIENTS, {"name__icontains": "t c"})) == ["Client C"]


def test_a_filter_that_cannot_be_read_names_the_parameter(as_owner: APIClient) -> None:
    for name, value in (("since", "yesterday"), ("membership", "x"), ("membership", "1.5"), ("subject_id", "\x00")):
        answer = as_owner.get(TRAIL, {name: value})
        assert answer.status_code == 400, (name, value)
        assert [fault["parameter"] for fault in answer.json()["errors"]] == [name]


@pytest.mark.parametrize("value", ["yes", "1", "TRUE!", "null"])
def test_a_yes_or_no_filter_takes_yes_and_no_alone(as_owner: APIClient, value: str) -> None:
    answer = as_owner.get("/api/v1/members/", {"is_active": value})
    assert answer.status_code == 400
    assert "send true or false" in answer.json()["errors"][0]["detail"]
    assert as_owner.get("/api/v1/members/", {"is_active": "true"}).status_code == 200


def test_a_choice_that_is_none_is_answered_with_the_choices(as_owner: APIClient) -> None:
    answer = as_owner.get("/api/v1/members/", {"role": "boss"})
    assert answer.json()["errors"] == [
        {
            "parameter": "role",
            "detail": "role: 'boss' cannot be taken here; send one of: owner, office, installer, client.",
        }
    ]


def test_a_parameter_that_stands_twice_is_refused(as_owner: APIClient) -> None:
    answer = as_owner.get("/api/v1/members/?role=owner&role=office")
    assert answer.status_code == 400
    assert answer.json()["errors"] == [{"parameter": "role", "detail": "role appears 2 times: give it once."}]


def test_another_companys_id_in_a_filter_finds_what_an_absent_one_finds(
    as_owner: APIClient, owner: Membership, rival: Membership
) -> None:
    factories.AuditEntryFactory(company=owner.company, membership=owner)
    factories.AuditEntryFactory(company=rival.company, membership=rival)
    foreign = as_owner.get(TRAIL, {"membership": rival.pk})
    absent = as_owner.get(TRAIL, {"membership": 10**12})
    assert (foreign.status_code, foreign.json()) == (absent.status_code, absent.json())
    assert foreign.json()["results"] == []


def trail(company: Company, count: int, *, moments: int) -> list[AuditEntry]:
    """Entries of which many share their moment."""
    return [
        factories.AuditEntryFactory(company=company, at=factories.NOW + timedelta(microseconds=n % moments))
        for n in range(count)
    ]


def test_cursor_pages_show_every_row_once_however_many_share_their_moment(
    as_owner: APIClient, company: Company
) -> None:
    entries = trail(company, 23, moments=2)
    AuditEntry.objects.exclude(pk__in=[entry.pk for entry in entries]).delete()
    all_ids = list(AuditEntry.objects.values_list("pk", flat=True))
    forwards, answer = [], as_owner.get(TRAIL, {"page_size": 4}).json()
    pages = [answer]
    while answer["next"]:
        answer = as_owner.get(answer["next"]).json()
        pages.append(answer)
    forwards = [row["id"] for page in pages for row in page["results"]]
    assert forwards == all_ids
    assert len(pages) == 6
    backwards = [answer]
    while backwards[-1]["previous"]:
        backwards.append(as_owner.get(backwards[-1]["previous"]).json())
    assert [page["results"] for page in reversed(backwards)] == [page["results"] for page in pages]


def test_a_row_that_arrives_while_one_reads_moves_nothing(as_owner: APIClient, company: Company) -> None:
    entries = trail(company, 6, moments=6)
    AuditEntry.objects.exclude(pk__in=[entry.pk for entry in entries]).delete()
    first = as_owner.get(TRAIL, {"page_size": 3}).json()
    factories.AuditEntryFactory(company=company, at=factories.NOW + timedelta(days=1))
    second = as_owner.get(first["next"]).json()
    ids_read = [row["id"] for page in (first, second) for row in page["results"]]
    assert ids_read == [entry.pk for entry in reversed(entries)]


@pytest.mark.parametrize(
    "cursor",
    ["", "x", "====", "bnVsbA", "W10", "WyJuIl0", "WyJuIiwiYSIsImIiXQ", "é", "\x00", "WyJuIixudWxsLDFd", "A" * 9000],
)
def test_a_cursor_that_was_made_up_is_refused(as_owner: APIClient, cursor: str) -> None:
    answer = as_owner.get(TRAIL, {"cursor": cursor})
    assert answer.status_code == 400, answer.content
    assert answer.json()["errors"][0]["parameter"] == "cursor"


class TestAnyCursor(TestCase):
    """No text is a cursor that makes the server slip."""

    @settings(max_examples=60, deadline=None)
    @given(
        st.one_of(
            st.text(max_size=40),
            st.lists(st.one_of(st.text(max_size=12), st.integers(), st.none(), st.floats()), max_size=4),
        )
    )
    def test_it_pages_or_refuses(self, made_up: object) -> None:
        text = made_up if isinstance(made_up, str) else base64.urlsafe_b64encode(json.dumps(made_up).encode()).decode()
        request = Request(APIRequestFactory().get(TRAIL, {"cursor": text}))
        # Any other exception would be a 500, and fails the test.
        with suppress(RequestInvalid):
            CursorPagination().paginate_queryset(AuditEntry.objects.all(), request)


@pytest.mark.parametrize("pagination", [PagePagination, CursorPagination])
@pytest.mark.django_db
def test_a_list_without_an_order_does_not_page(pagination: Any) -> None:
    request = Request(APIRequestFactory().get(CLIENTS))
    with pytest.raises(ImproperlyConfigured, match="no order"):
        pagination().paginate_queryset(Client.objects.order_by(), request)


@pytest.mark.parametrize("pagination", [PagePagination, CursorPagination])
def test_an_order_that_leaves_ties_is_carried_on_to_the_key(pagination: Any, company: Company) -> None:
    rows = [factories.ClientFactory(company=company, phone="same") for _ in range(5)]
    request = Request(APIRequestFactory().get(CLIENTS))
    assert pagination().paginate_queryset(Client.objects.order_by("phone"), request) == rows
