"""Signing in: by token for programs and phones, by session for the browser."""

from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.test import Client as Browser
from rest_framework.test import APIClient

from accounts.models import AccessToken, Membership, User
from accounts.services import end_membership
from tests import factories

pytestmark = pytest.mark.interface

LOGIN = "/api/v1/login/"
SESSION = "/api/v1/session/"


def credentials(member: Membership, **more: object) -> dict[str, object]:
    return {"email": member.user.email, "password": factories.PASSWORD, **more}


def test_the_right_password_gives_a_token_for_thirty_days(api: APIClient, office: Membership) -> None:
    now = datetime(2026, 6, 1, 8, tzinfo=UTC)
    with time_machine.travel(now, tick=False):
        answer = api.post(LOGIN, credentials(office))
        assert answer.status_code == 200, answer.content
        assert datetime.fromisoformat(answer.json()["expires_at"]) == now + timedelta(days=30)
        assert answer.json()["membership"]["role"] == "office"
        assert answer.headers["Cache-Control"] == "no-store"
        me = api.get("/api/v1/me/", headers={"Authorization": f"Bearer {answer.json()['token']}"})
    assert me.json()["email"] == office.user.email


def test_no_cache_keeps_what_was_answered_to_a_member(as_office: APIClient) -> None:
    for path in ("me/", "clients/", "clients/987654321/"):
        assert as_office.get(f"/api/v1/{path}").headers["Cache-Control"] == "no-store"


def test_the_case_of_the_email_does_not_matter(api: APIClient, office: Membership) -> None:
    assert api.post(LOGIN, {**credentials(office), "email": office.user.email.upper()}).status_code == 200


def test_wrong_password_unknown_email_and_closed_account_answer_alike(
    api: APIClient, office: Membership, installer: Membership
) -> None:
    User.objects.filter(pk=installer.user_id).update(is_active=False)
    api.defaults["HTTP_X_REQUEST_ID"] = "one-and-the-same"  # the answer names its request
    answers = [
        api.post(LOGIN, {"email": office.user.email, "password": "wrong"}),
        api.post(LOGIN, {"email": "nobody@north.example", "password": factories.PASSWORD}),
        api.post(LOGIN, credentials(installer)),
    ]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.content for answer in answers}) == 1
    assert answers[0].headers["WWW-Authenticate"] == "Bearer"
    assert not AccessToken.objects.exists()


def test_a_person_of_two_companies_acts_for_the_oldest_membership_or_the_one_they_name(
    api: APIClient, office: Membership, rival: Membership
) -> None:
    second = factories.MembershipFactory(user=office.user, company=rival.company, role="installer")
    assert api.post(LOGIN, credentials(office)).json()["membership"]["id"] == office.pk
    chosen = api.post(LOGIN, credentials(office, membership=second.pk)).json()
    assert chosen["membership"]["company"]["id"] == rival.company_id
    me = api.get("/api/v1/me/", headers={"Authorization": f"Bearer {chosen['token']}"}).json()
    assert [member["id"] for member in me["memberships"]] == [office.pk, second.pk]
    assert me["membership"]["id"] == second.pk
    for other in (rival.pk, 4711, 2**63):
        refused = api.post(LOGIN, credentials(office, membership=other))
        assert refused.status_code == 400
        assert refused.json()["errors"][0]["pointer"] == "/membership"


def test_who_belongs_nowhere_is_told_so(api: APIClient, owner: Membership, office: Membership) -> None:
    end_membership(by=owner, membership=office, now=factories.NOW)
    answer = api.post(LOGIN, credentials(office))
    assert (answer.status_code, answer.json()["code"]) == (403, "no_membership")


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({}, {"/email", "/password"}),
        ([], {""}),
        (None, {"/email", "/password"}),
        ("text", {""}),
        ({"email": "a b", "password": ""}, {"/email", "/password"}),
        ({"email": {"a": 1}, "password": ["x"]}, {"/email", "/password"}),
        ({"email": "a@b.example", "password": "x" * 129}, {"/password"}),
        ({"email": "a@b.example", "password": "x", "membership": "first"}, {"/membership"}),
        ({"email": "a@b.example", "password": "x", "remember": True}, {"/remember"}),
        ({"email": "a\x00@b.example", "password": "x\x00"}, {"/email", "/password"}),
    ],
)
@pytest.mark.parametrize("address", [LOGIN, SESSION])
@pytest.mark.django_db
def test_nonsense_at_the_door_is_named(api: APIClient, address: str, body: object, pointers: set[str]) -> None:
    answer = api.post(address, body, format="json")
    assert answer.status_code == 400, answer.content
    assert {fault["pointer"] for fault in answer.json()["errors"]} == pointers


@pytest.mark.parametrize("address", [LOGIN, SESSION])
def test_a_form_of_another_site_cannot_sign_a_visitor_in(api: APIClient, office: Membership, address: str) -> None:
    for kind in ("multipart/form-data; boundary=x", "application/x-www-form-urlencoded", "text/plain"):
        assert api.generic("POST", address, b"email=a", content_type=kind).status_code == 415
    assert api.post(f"{address}?next=elsewhere", credentials(office)).status_code == 400


def test_passwords_cannot_be_tried_out(api: APIClient, office: Membership, installer: Membership) -> None:
    wrong = {"email": office.user.email, "password": "wrong"}
    assert [api.post(LOGIN, wrong).status_code for _ in range(10)] == [401] * 10
    stopped = api.post(LOGIN, credentials(office))
    assert stopped.status_code == 429
    assert stopped.json()["code"] == "too_many_requests"
    assert 1 <= int(stopped.headers["Retry-After"]) <= 60
    # Another spelling is the same person, a forged address is the same caller; another person is not kept out.
    assert api.post(LOGIN, {**wrong, "email": f" {office.user.email.upper()} "}).status_code == 429
    assert api.post(LOGIN, wrong, headers={"X-Forwarded-For": "203.0.113.9"}).status_code == 429
    assert api.post(SESSION, wrong).status_code == 429
    assert api.post(LOGIN, credentials(installer)).status_code == 200


def test_signing_out_revokes_the_token_it_was_asked_with_and_no_other(
    api: APIClient, as_office: APIClient, office: Membership
) -> None:
    other = api.post(LOGIN, credentials(office)).json()["token"]
    assert as_office.post("/api/v1/logout/").status_code == 204
    assert as_office.get("/api/v1/me/").status_code == 401
    assert api.get("/api/v1/me/", headers={"Authorization": f"Bearer {other}"}).status_code == 200


@pytest.fixture
def browser() -> Browser:
    return Browser(enforce_csrf_checks=True)


def post(browser: Browser, address: str, body: object, **headers: str) -> object:
    return browser.post(address, body, content_type="application/json", headers=headers)


def test_a_browser_signs_in_acts_and_signs_out(browser: Browser, office: Membership) -> None:
    answer = post(browser, SESSION, credentials(office))
    assert answer.status_code == 200, answer.content
    assert answer.json()["membership"]["id"] == office.pk
    assert browser.cookies["sessionid"]["httponly"]
    assert browser.get("/api/v1/me/").json()["email"] == office.user.email
    refused = post(browser, "/api/v1/clients/", {"name": "Reef Room"})
    assert refused.status_code == 403
    assert "CSRF" in refused.json()["detail"]
    csrf = {"X-CSRFToken": browser.cookies["csrftoken"].value}
    assert post(browser, "/api/v1/clients/", {"name": "Reef Room"}, **csrf).status_code == 201
    assert post(browser, "/api/v1/logout/", {}, **csrf).status_code == 204
    assert browser.get("/api/v1/me/").status_code == 401


def test_a_session_acts_for_the_membership_chosen_at_sign_in(
    browser: Browser, office: Membership, rival: Membership
) -> None:
    second = factories.MembershipFactory(user=office.user, company=rival.company, role="installer")
    post(browser, SESSION, credentials(office, membership=second.pk))
    assert browser.get("/api/v1/me/").json()["membership"]["id"] == second.pk
    Membership.objects.filter(pk=second.pk).update(is_active=False)
    # It does not fall back to the other membership: the person would not notice whom they act for.
    answer = browser.get("/api/v1/me/")
    assert answer.status_code == 403
    assert "choose one of your memberships" in answer.json()["detail"]


def test_a_session_ends_with_its_person(browser: Browser, office: Membership) -> None:
    post(browser, SESSION, credentials(office))
    User.objects.filter(pk=office.user_id).update(is_active=False)
    assert browser.get("/api/v1/me/").status_code == 401


def test_a_new_password_ends_other_tokens_and_sessions_but_not_meters(
    api: APIClient, browser: Browser, office: Membership, as_office: APIClient, api_for: object
) -> None:
    unit = factories.UnitFactory(company=office.company)
    api_for(office, meter_unit_id=unit.pk)
    other = api_for(office)
    post(browser, SESSION, credentials(office))
    new_password = "a-much-better-password-9"
    body = {"current_password": factories.PASSWORD, "new_password": new_password}
    assert as_office.post("/api/v1/me/password/", body).status_code == 204
    assert as_office.get("/api/v1/me/").status_code == 200
    assert other.get("/api/v1/me/").status_code == 401
    assert browser.get("/api/v1/me/").status_code == 401
    assert AccessToken.objects.filter(meter_unit_id=unit.pk).exists()
    assert api.post(LOGIN, credentials(office)).status_code == 401
    assert api.post(LOGIN, credentials(office, password=new_password)).status_code == 200


def test_the_session_that_changes_the_password_goes_on(browser: Browser, office: Membership) -> None:
    post(browser, SESSION, credentials(office))
    body = {"current_password": factories.PASSWORD, "new_password": "a-much-better-password-9"}
    csrf = {"X-CSRFToken": browser.cookies["csrftoken"].value}
    assert post(browser, "/api/v1/me/password/", body, **csrf).status_code == 204
    assert browser.get("/api/v1/me/").status_code == 200


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"current_password": "wrong", "new_password": "a-much-better-password-9"}, "/current_password"),
        ({"current_password": factories.PASSWORD, "new_password": "short"}, "/new_password"),
    ],
)
def test_a_password_is_changed_by_who_knows_it_to_a_good_one(
    as_office: APIClient, office: Membership, body: dict[str, str], pointer: str
) -> None:
    answer = as_office.post("/api/v1/me/password/", body)
    assert answer.status_code == 400
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    office.user.refresh_from_db()
    assert office.user.check_password(factories.PASSWORD)


def test_me_lists_what_is_open_to_the_role(as_client: APIClient, as_owner: APIClient) -> None:
    client_may = as_client.get("/api/v1/me/").json()["may"]
    assert client_may["forecast"] == ["list", "retrieve", "change"]
    assert "catalogue_item" not in client_may
    assert "update" in as_owner.get("/api/v1/me/").json()["may"]["policy"]
