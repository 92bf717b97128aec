"""What every page has: its security policy, its landmarks, its problems as pages, and the way for programs."""

from typing import Any

import pytest
from django.template import Context, Template
from django.test import Client as Browser

from accounts.language import speak
from accounts.models import Membership
from accounts.pages.forms import PageForm
from accounts.pages.navigation import Place, navigation_for
from accounts.pages.signing_in import PasswordForm
from accounts.template_texts import texts_in
from tests.pages import browser, signed_in, text_of
from tests.pseudo_language import PSEUDO

pytestmark = pytest.mark.interface


def test_a_page_runs_no_code_and_no_styles_but_those_of_its_own_files(office: Membership) -> None:
    for response in (browser().get("/sign-in/"), signed_in(office).get("/account/"), browser().get("/nowhere/")):
        policy = response.headers["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        page = text_of(response)
        assert "<style" not in page
        assert " style=" not in page
        assert page.count("<script") == page.count("<script src=")
        assert 'lang="en"' in page
        assert '<main id="main"' in page
        assert 'href="#main"' in page


def test_the_description_of_the_api_keeps_the_policy_it_needs(db: None) -> None:
    assert "'unsafe-inline'" in browser().get("/api/v1/docs/").headers["Content-Security-Policy"]


def test_an_address_without_a_route_is_a_page_to_a_browser_and_a_problem_to_a_program(db: None) -> None:
    page = browser().get("/nowhere/")
    assert page.status_code == 404
    assert page.headers["Content-Type"].startswith("text/html")
    for accept, path in (("*/*", "/nowhere/"), ("*/*", "/nothing/"), ("text/html", "/api/v1/nowhere/")):
        program = Browser(headers={"Accept": accept}).get(path)
        assert program.status_code == 404
        assert program.headers["Content-Type"] == "application/problem+json"


def test_whoever_is_signed_in_finds_the_way_back_from_an_address_without_a_route(office: Membership) -> None:
    page = text_of(signed_in(office).get("/nowhere/"))
    assert "Sign out" in page
    assert 'href="/sign-in/"' not in page


def test_a_form_without_its_token_is_refused_with_a_page(db: None) -> None:
    response = Browser(enforce_csrf_checks=True, headers={"Accept": "text/html"}).post("/sign-in/", {})
    assert response.status_code == 403
    assert "<h1>Please try once more</h1>" in text_of(response)


def test_the_navigation_shows_a_role_what_it_may_do(
    office: Membership, client_member: Membership, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = Place(order=1, name="account", title="Members", right=("member", "list"))
    monkeypatch.setattr("accounts.pages.navigation._places", {"account": place})
    assert [shown["title"] for shown in navigation_for(office, "/account/")] == ["Members"]
    assert navigation_for(office, "/account/")[0]["is_here"]
    assert navigation_for(client_member, "/account/") == []


def test_faults_of_the_api_stand_beside_their_fields() -> None:
    class Named(PasswordForm):
        POINTERS = {"password": "/values/0/secret"}

    form: PageForm = Named({"email": "a@b.example", "password": "x"})
    faults = [
        {"pointer": "/email", "detail": "Not yours."},
        {"pointer": "/values/0/secret", "detail": "Too short."},
        {"pointer": "", "detail": "Not today."},
    ]
    form.refuse({"errors": faults})
    assert form.errors == {"email": ["Not yours."], "password": ["Too short."], "__all__": ["Not today."]}
    assert Named({"email": "a@b.example"}).refuse({"detail": "It was changed."}).errors == {
        "__all__": ["It was changed."]
    }


def shown(source: str, **facts: Any) -> str:
    return Template("{% load words %}" + source).render(Context(facts))


def test_pages_speak_the_language_of_the_server_and_their_texts_are_read_out() -> None:
    source = '{% translate "{count} day" many="{count} days" count=n %}, {% translate "<b> for {who}" who=name %}'
    assert shown(source, n=2, name="A & B") == "2 days, &lt;b&gt; for A &amp; B"
    with speak(PSEUDO):
        assert shown('{% translate "Your water" %}') == PSEUDO.gettext("Your water")
    assert list(texts_in(source)) == [(1, ("{count} day", "{count} days")), (1, "<b> for {who}")]
    field = '\n{% field form.email label="Address" hint="Of yours." %}'
    assert list(texts_in(field)) == [(2, "Address"), (2, "Of yours.")]
