"""Every list costs the same number of queries however long it is, and pages by the same rules."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django_filters import ModelChoiceFilter
from rest_framework.test import APIClient

from accounts.http.filters import StrictFilterBackend
from accounts.models import Client, Company, Membership
from tests import factories
from tests.effort import some
from tests.routes import Route, every_route
from tests.rows import make_row

#: Lists of what is worked out when it is asked for: no rows of a table.
WORKED_OUT = ("stock-levels/by-item", "purchase-orders/late", "invoices/proposals")
LISTS = [route for route in every_route() if route.action == "list"]


def queries(api: APIClient, path: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        answer = api.get(path)
    assert answer.status_code == 200, answer.content
    return len(captured)


@pytest.mark.parametrize("route", LISTS, ids=str)
def test_a_longer_list_asks_the_database_no_more_often(
    route: Route, as_owner: APIClient, owner: Membership, company: Company
) -> None:
    def add_rows(count: int) -> None:
        for _ in range(count):
            make_row(model, company=company, client=factories.ClientFactory(company=company))

    model = route.view_class.queryset.model
    add_rows(2)
    short = queries(as_owner, route.path)
    add_rows(4)
    assert len(as_owner.get(route.path).json()["results"]) >= 6
    assert queries(as_owner, route.path) == short


@pytest.mark.parametrize("route", LISTS, ids=str)
def test_a_list_refuses_pages_and_orders_that_are_not_there(route: Route, as_owner: APIClient) -> None:
    nonsense = {
        "page_size": ["0", "501", "x", ""],
        "page": ["0", "x"],
        "cursor": ["x"],
        "after": ["x", "-1"],
        "ordering": ["colour"],
    }
    for name, values in nonsense.items():
        for value in values:
            answer = as_owner.get(route.path, {name: value})
            assert answer.status_code == 400, (name, value)
            assert answer.json()["errors"][0]["parameter"] == name


@pytest.mark.parametrize("route", LISTS, ids=str)
def test_every_order_a_list_offers_works_both_ways(
    route: Route, as_owner: APIClient, company: Company, first_client: Client
) -> None:
    make_row(route.view_class.queryset.model, company=company, client=first_client)
    for field in getattr(route.view_class, "ordering_fields", None) or ():
        for sign in ("", "-"):
            assert as_owner.get(route.path, {"ordering": f"{sign}{field}"}).status_code == 200, field


@pytest.mark.parametrize("route", LISTS, ids=str)
def test_no_value_of_any_filter_makes_the_server_slip(route: Route, as_owner: APIClient) -> None:
    from accounts.http.filters import filter_parameters

    junk: list[Any] = [
        "",
        "x",
        "-1",
        "1.5",
        "9" * 40,
        "1e400",
        "nan",
        "\x00",
        "\U0001f4a7",
        "2026-13-01",
        "null",
        "[]",
    ]
    junk += ["0001-01-01T00:00:00+14:00", "9999-12-31T23:59:59-14:00", "true", "x" * 3000]
    for name in sorted(filter_parameters(route.view_class())):
        for value in some(junk, f"{route} {name}", one_in=8):
            assert as_owner.get(route.path, {name: value}).status_code in (200, 400), (name, value)


@pytest.mark.parametrize("route", LISTS, ids=str)
def test_no_filter_names_the_rows_of_every_company(route: Route) -> None:
    """One that offers a choice among rows would name them all in its fault, and would read no codes."""
    filterset = StrictFilterBackend().get_filterset_class(route.view_class(), route.view_class.queryset)
    declared = filterset.base_filters if filterset is not None else {}
    assert [name for name, each in declared.items() if isinstance(each, ModelChoiceFilter)] == []


def test_reports_and_placements_are_found_by_the_code_of_their_site(company: Company, as_owner: APIClient) -> None:
    site = factories.SiteFactory(company=company, code="S02")
    record = factories.ServiceRecordFactory(site=site, company=company)
    placement = factories.PlacementFactory(position__unit__site=site, position__unit__company=company)
    factories.ServiceRecordFactory(site__company=company, company=company)
    for path, name, row in (("service-records", "site", record), ("placements", "position__unit__site", placement)):
        answer = as_owner.get(f"/api/v1/{path}/", {name: "s02"})
        assert answer.status_code == 200, answer.content
        assert [each["id"] for each in answer.json()["results"]] == [row.pk], path


@pytest.mark.parametrize("path", WORKED_OUT)
def test_a_list_that_is_worked_out_is_a_page_like_any_other(path: str, as_owner: APIClient) -> None:
    address = f"/api/v1/{path}/"
    empty = {"count": 0, "next": None, "previous": None, "results": []}
    assert as_owner.get(address, {"page": 1, "page_size": 500}).json() == empty
    assert as_owner.get(address, {"page": 2}).status_code == 404
    for name, value in (("page_size", "501"), ("page", "0"), ("after", "0"), ("ordering", "code"), ("search", "x")):
        refused = as_owner.get(address, {name: value})
        assert refused.status_code == 400, (name, value)
        assert refused.json()["errors"][0]["parameter"] == name


def test_what_is_worked_out_is_turned_page_by_page_and_shown_whole_to_the_office(
    company: Company, as_owner: APIClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    levels = [factories.StockLevelFactory(company=company, item__company=company, quantity=n + 1) for n in range(3)]
    first = as_owner.get("/api/v1/stock-levels/by-item/", {"page_size": 2}).json()
    second = as_owner.get(first["next"]).json()
    assert (first["count"], second["count"], second["next"]) == (3, 3, None)
    rows = first["results"] + second["results"]
    assert [row["item_code"] for row in rows] == sorted(row["item_code"] for row in rows)
    assert {row["item"]: row["on_hand"] for row in rows} == {level.item_id: level.quantity for level in levels}
