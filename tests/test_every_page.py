"""Every page for a member: for a stranger, each role, and another company, against the table of `tests.page_table`."""

import re
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import resolve

from accounts.models import Client, Company, Membership
from accounts.pages.page import Page
from tests import factories
from tests.page_table import PAGES
from tests.pages import browser, signed_in, text_of
from tests.routes import Route, every_route
from tests.rows import make_row

pytestmark = pytest.mark.interface

ROUTES = [route for route in every_route() if isinstance(route.view_class, type) and issubclass(route.view_class, Page)]
ROWS = [route for route in ROUTES if "<" in route.path]
ABSENT = 987654321

named = pytest.mark.parametrize("route", ROUTES, ids=str)
rows = pytest.mark.parametrize("route", ROWS, ids=str)


@pytest.fixture
def members(
    owner: Membership, office: Membership, installer: Membership, client_member: Membership
) -> dict[str, Membership]:
    return {"owner": owner, "office": office, "installer": installer, "client": client_member}


@pytest.fixture
def strangers_to_the_company(rival: Membership) -> dict[str, Membership]:
    """One member of each role in another company."""
    company = rival.company
    others = {role: factories.MembershipFactory(company=company, role=role) for role in ("office", "installer")}
    client = factories.ClientFactory(company=company)
    return {
        "owner": rival,
        **others,
        "client": factories.MembershipFactory(company=company, role="client", client=client),
    }


def address(route: Route, keys: dict[str, Any] | None = None) -> str:
    return re.sub(r"<(\w+)>", lambda name: str((keys or {}).get(name[1], ABSENT)), route.path)


def rows_of(route: Route, company: Company, client: Client) -> dict[str, Any]:
    models = PAGES[str(route)].rows or {}
    names = set(re.findall(r"<(\w+)>", route.path))
    assert set(models) == names, f"{route}: say in the table which row each parameter names."
    return {name: make_row(model, company=company, client=client).pk for name, model in models.items()}


def send(person: Browser, route: Route, keys: dict[str, Any] | None = None) -> Any:
    return getattr(person, route.method.lower())(address(route, keys))


def test_every_page_stands_in_the_table_and_every_row_of_the_table_is_a_page() -> None:
    assert {str(route) for route in ROUTES} == set(PAGES)


@named
@pytest.mark.django_db
def test_a_stranger_is_sent_to_the_door(route: Route) -> None:
    response = send(browser(), route)
    assert response.status_code == 302
    assert response.headers["Location"].startswith("/sign-in/")
    assert "no-store" in response.headers["Cache-Control"]


@named
def test_the_roles_of_the_table_are_let_in_and_no_other(route: Route, members: dict[str, Membership]) -> None:
    for role, member in members.items():
        response = send(signed_in(member), route)
        if role in PAGES[str(route)].roles.split():
            assert response.status_code != 403, (role, response.content)
            assert response.status_code < 500, (role, response.content)
        else:
            assert response.status_code == 403, (role, response.content)
            assert "<h1>" in text_of(response)


@rows
def test_another_companys_row_and_an_absent_one_answer_alike(
    route: Route, company: Company, first_client: Client, strangers_to_the_company: dict[str, Membership]
) -> None:
    keys = rows_of(route, company, first_client)
    for role in PAGES[str(route)].roles.split():
        person = signed_in(strangers_to_the_company[role])
        foreign, absent = send(person, route, keys), send(person, route)
        assert foreign.status_code == absent.status_code == 404, (role, foreign.content)
        hidden = re.compile(r'value="[^"]{40,}"|X-CSRFToken&quot;: &quot;\w+|X-CSRFToken": "\w+|href="[^"]*"')
        assert hidden.sub("", text_of(foreign)) == hidden.sub("", text_of(absent))


@rows
def test_another_client_does_not_find_what_is_a_clients(
    route: Route, company: Company, first_client: Client, other_client_member: Membership
) -> None:
    if "client" not in PAGES[str(route)].roles.split():
        return
    assert send(signed_in(other_client_member), route, rows_of(route, company, first_client)).status_code == 404


@pytest.mark.parametrize("route", [route for route in ROUTES if route.method == "POST"], ids=str)
def test_a_form_without_its_token_does_nothing(route: Route, members: dict[str, Membership]) -> None:
    careful = Browser(enforce_csrf_checks=True, headers={"Accept": "text/html"})
    careful.force_login(members[PAGES[str(route)].roles.split()[0]].user)
    response = careful.post(address(route), {})
    assert response.status_code == 403
    assert resolve(address(route)).func.view_class is route.view_class  # type: ignore[attr-defined]
