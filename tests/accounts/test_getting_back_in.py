"""Lost passwords, new addresses, and where one is signed in."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.db import connection
from django.test import Client as Browser
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import AccessToken, AuditEntry, BrowserSession, Letter, Membership, User
from accounts.services import end_membership
from accounts.services.letters import send_letters
from accounts.services.links import address_token, password_token
from tests import factories
from tests.cast import ApiFor

pytestmark = pytest.mark.interface

RESETS, NEW = "/api/v1/password-resets/", "/api/v1/new-addresses/"
SESSIONS = "/api/v1/browser-sessions/"
HERS = "heron-basin-lantern-31"


@pytest.fixture(autouse=True)
def _public_address(settings: Any) -> None:
    settings.PUBLIC_URL = "https://water.example"


def newest_link(email: str) -> str:
    send_letters(now=timezone.now())
    letters = [letter for letter in mail.outbox if letter.to == [email]]
    (token,) = re.findall(r"https://water\.example/[\w-]+/(\S+)/\s", letters[-1].body + "\n")
    return str(token)


def sign_in(api: APIClient, email: str, password: str) -> int:
    return int(api.post("/api/v1/login/", {"email": email, "password": password}).status_code)


def browser_of(member: Membership, device: str = "a browser") -> Browser:
    browser = Browser(headers={"User-Agent": device})
    body = {"email": member.user.email, "password": factories.PASSWORD}
    assert browser.post("/api/v1/session/", body, content_type="application/json").status_code == 200
    return browser


def test_a_lost_password_is_chosen_anew_by_whoever_reads_the_mail(
    api: APIClient, office: Membership, as_office: APIClient, api_for: ApiFor
) -> None:
    browser, unit = browser_of(office), factories.UnitFactory(company=office.company)
    api_for(office, meter_unit_id=unit.pk)
    assert api.post(RESETS, {"email": f" {office.user.email.upper()} "}).status_code == 202
    token = newest_link(office.user.email)
    assert api.post(f"{RESETS}{token}/", {"password": "short"}).status_code == 400
    assert api.post(f"{RESETS}{token}/", {"password": HERS}).status_code == 204
    assert api.post(f"{RESETS}{token}/", {"password": HERS}).status_code == 404, "once"
    assert (sign_in(api, office.user.email, factories.PASSWORD), sign_in(api, office.user.email, HERS)) == (401, 200)
    assert (as_office.get("/api/v1/me/").status_code, browser.get("/api/v1/me/").status_code) == (401, 401)
    assert AccessToken.objects.filter(meter_unit_id=unit.pk).exists()
    office.user.refresh_from_db()
    assert office.user.email_proven_at is not None
    entry = AuditEntry.objects.get(action="reset password")
    assert entry.company == office.company
    send_letters(now=timezone.now())
    assert mail.outbox[-1].subject == "Your password was changed"


def test_asking_is_answered_alike_and_takes_the_same_work_for_every_address(api: APIClient, office: Membership) -> None:
    answers, queries = [], []
    api.post(RESETS, {"email": "somebody@people.example"})  # the first of a place makes a row for the place
    for email in (office.user.email, "nobody@people.example"):
        with CaptureQueriesContext(connection) as asked:
            # Each request has a name of its own, unless it is given one.
            answers.append(api.post(RESETS, {"email": email}, headers={"X-Request-ID": "of-the-same-name"}))
        queries.append([re.sub(r"'[^']*'|\d+", "?", query["sql"]) for query in asked])
    assert queries[0] == queries[1]
    # The parts of a policy come in any order, and what is left of a budget goes down by one, whoever is asked for.
    for answer in answers:
        del answer.headers["RateLimit"]
    headers = [sorted((name, sorted(text.split("; "))) for name, text in one.headers.items()) for one in answers]
    assert headers[0] == headers[1]
    assert {(one.status_code, one.content) for one in answers} == {(202, b"")}
    send_letters(now=timezone.now())
    assert [letter.to for letter in mail.outbox] == [[office.user.email]]
    assert not Letter.objects.filter(email="nobody@people.example").exists()


def test_a_link_is_too_old_after_two_hours_and_dies_with_the_password_it_was_made_for(
    api: APIClient, office: Membership, as_office: APIClient
) -> None:
    api.post(RESETS, {"email": office.user.email})
    token = newest_link(office.user.email)
    with time_machine.travel(timezone.now() + timedelta(hours=2, seconds=5)):
        assert api.post(f"{RESETS}{token}/", {"password": HERS}).status_code == 404
    body = {"current_password": factories.PASSWORD, "new_password": HERS}
    assert as_office.post("/api/v1/me/password/", body).status_code == 204
    assert api.post(f"{RESETS}{token}/", {"password": HERS}).status_code == 404


@pytest.mark.parametrize(
    "token", ["forged", "MQ.forged", "MQ.c0ffee-1234", "..", "zz.zz.zz", "_w.a-b", "MTIzNDU2Nzg5MDEyMzQ1Njc4OTA.a-b"]
)
def test_forged_links_open_nothing(api: APIClient, office: Membership, token: str) -> None:
    assert api.post(f"{RESETS}{token}/", {"password": HERS}).status_code == 404
    assert api.post(f"{NEW}{token}/").status_code == 404
    assert Browser().get(f"/password/{token}/").status_code == 404
    assert Browser().get(f"/new-address/{token}/").status_code == 404


def test_a_link_does_one_thing_for_one_person(api: APIClient, office: Membership, owner: Membership) -> None:
    token = password_token(office.user)
    encoded = password_token(owner.user).partition(".")[0]
    assert api.post(f"{RESETS}{encoded}.{token.partition('.')[2]}/", {"password": HERS}).status_code == 404
    assert api.post(f"{NEW}{token}/").status_code == 404
    assert api.post(f"{RESETS}{address_token(office.user, 'x@new.example')}/", {"password": HERS}).status_code == 404
    User.objects.filter(pk=office.user_id).update(is_active=False)
    assert api.post(f"{RESETS}{token}/", {"password": HERS}).status_code == 404


def test_the_link_that_an_administrator_hands_on_proves_no_address(api: APIClient, office: Membership) -> None:
    token = password_token(office.user, proves_address=False)
    assert api.post(f"{RESETS}{token}/", {"password": HERS}).status_code == 204
    office.user.refresh_from_db()
    assert (office.user.email_proven_at, office.user.check_password(HERS)) == (None, True)


def test_a_new_address_is_proven_before_it_holds_and_the_old_one_is_told(
    api: APIClient, as_office: APIClient, office: Membership
) -> None:
    old, new = office.user.email, "ofer@elsewhere.example"
    wrong = as_office.post("/api/v1/me/email/", {"email": new, "current_password": "wrong"})
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/current_password")
    asked = as_office.post("/api/v1/me/email/", {"email": new.upper(), "current_password": factories.PASSWORD})
    assert asked.status_code == 202
    token = newest_link(new)
    assert (sign_in(api, old, factories.PASSWORD), sign_in(api, new, factories.PASSWORD)) == (200, 401)
    assert api.post(f"{NEW}{token}/").status_code == 204
    assert api.post(f"{NEW}{token}/").status_code == 404
    assert (sign_in(api, old, factories.PASSWORD), sign_in(api, new, factories.PASSWORD)) == (401, 200)
    send_letters(now=timezone.now())
    assert (mail.outbox[-1].to, mail.outbox[-1].subject) == ([old], "Your address was changed")
    entry = AuditEntry.objects.get(action="change address")
    assert (entry.membership, entry.details) == (office, {"old": old, "new": new})


def test_an_address_that_has_an_account_is_answered_alike_and_stays_with_it(
    api: APIClient, as_office: APIClient, office: Membership, rival: Membership
) -> None:
    body = {"email": rival.user.email, "current_password": factories.PASSWORD}
    assert as_office.post("/api/v1/me/email/", body).status_code == 202
    assert send_letters(now=timezone.now()) == 0
    # Taken after the letter left: whoever reads that mail is told, and nothing moves.
    token = address_token(office.user, "late@people.example")
    factories.UserFactory(email="late@people.example")
    refused = api.post(f"{NEW}{token}/")
    assert (refused.status_code, refused.json()["code"]) == (409, "address_in_use")
    office.user.refresh_from_db()
    assert office.user.email == "ofer@north.example"


def test_a_reset_takes_a_thiefs_wish_for_another_address_back(api: APIClient, office: Membership) -> None:
    theirs = address_token(office.user, "thief@people.example")
    assert api.post(f"{RESETS}{password_token(office.user)}/", {"password": HERS}).status_code == 204
    assert api.post(f"{NEW}{theirs}/").status_code == 404


def test_pages_choose_a_password_and_confirm_an_address(office: Membership) -> None:
    browser = Browser()
    address = f"/password/{password_token(office.user)}/"
    assert "For ofer@north.example." in browser.get(address).content.decode()
    assert "too easy to guess" in browser.post(address, {"password": "short"}).content.decode()
    assert browser.post(address, {"password": HERS}).status_code == 200
    assert browser.post(address, {"password": HERS}).status_code == 404
    office.user.refresh_from_db()
    address = f"/new-address/{address_token(office.user, 'ofer@new.example')}/"
    assert "ofer@new.example" in browser.get(address).content.decode()
    assert User.objects.get(pk=office.user_id).email == "ofer@north.example", "opening it changes nothing"
    assert browser.post(address).status_code == 200
    assert User.objects.get(pk=office.user_id).email == "ofer@new.example"


def test_people_see_where_they_are_signed_in_and_end_it(
    office: Membership, owner: Membership, as_owner: APIClient, as_installer: APIClient
) -> None:
    desk, phone = browser_of(office, "desk"), browser_of(office, "phone")
    theirs = desk.get(SESSIONS).json()["results"]
    assert [(one["device"], one["is_this"]) for one in theirs] == [("phone", False), ("desk", True)]
    assert as_installer.get(SESSIONS).json()["results"] == []
    assert as_installer.delete(f"{SESSIONS}{theirs[0]['id']}/").status_code == 404
    assert desk.delete(f"{SESSIONS}{theirs[0]['id']}/").status_code == 204
    assert (phone.get("/api/v1/me/").status_code, desk.get("/api/v1/me/").status_code) == (401, 200)
    assert as_owner.delete(f"{SESSIONS}{theirs[1]['id']}/").status_code == 204
    assert desk.get("/api/v1/me/").status_code == 401


def test_the_use_of_a_session_is_noted_but_not_at_every_request(office: Membership) -> None:
    browser = browser_of(office)
    begun = BrowserSession.objects.get().last_used_at
    browser.get("/api/v1/me/")
    assert BrowserSession.objects.get().last_used_at == begun
    later = begun + timedelta(minutes=11)
    with time_machine.travel(later, tick=False):
        browser.get("/api/v1/me/")
    assert BrowserSession.objects.get().last_used_at == later


def test_ending_all_ends_every_session_and_token_in_every_company_but_meters(
    office: Membership, rival: Membership, api_for: ApiFor, as_rival: APIClient
) -> None:
    there = factories.MembershipFactory(user=office.user, company=rival.company, role="installer")
    unit = factories.UnitFactory(company=office.company)
    meter, here, elsewhere = api_for(office, meter_unit_id=unit.pk), api_for(office), api_for(there)
    browser = browser_of(office)
    assert here.post("/api/v1/me/end-all/").status_code == 204
    assert {one.get("/api/v1/me/").status_code for one in (here, elsewhere, browser)} == {401}
    assert meter.post(f"/api/v1/units/{unit.pk}/readings/", {"inlet_pressure": "60 psi"}).status_code == 201
    assert as_rival.get("/api/v1/me/").status_code == 200
    assert AuditEntry.objects.filter(action="close sessions", membership=office).count() == 1


def test_the_list_of_sessions_follows_signing_out_a_new_password_and_the_end_of_a_membership(
    office: Membership, owner: Membership
) -> None:
    desk, phone = browser_of(office, "desk"), browser_of(office, "phone")
    body = {"current_password": factories.PASSWORD, "new_password": HERS}
    answer = desk.post("/api/v1/me/password/", body, content_type="application/json")
    assert answer.status_code == 204, answer.content
    assert [(one["device"], one["is_this"]) for one in desk.get(SESSIONS).json()["results"]] == [("desk", True)]
    assert phone.get("/api/v1/me/").status_code == 401
    assert desk.post("/api/v1/logout/").status_code == 204
    assert not BrowserSession.objects.exists()
    office.user.refresh_from_db()
    again = Browser()
    again.post("/api/v1/session/", {"email": office.user.email, "password": HERS}, content_type="application/json")
    assert BrowserSession.objects.count() == 1
    end_membership(by=owner, membership=office, now=factories.NOW)
    assert not BrowserSession.objects.exists()
    assert again.get("/api/v1/me/").status_code == 401
