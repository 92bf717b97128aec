"""Showing again that it is you, and signing in with codes, on pages."""

import html
import re
from datetime import timedelta

import pytest
import time_machine
from django.utils import timezone

from accounts.models import Invitation, Membership
from tests import factories
from tests.accounts.test_second_factor import code_of, set_up
from tests.pages import browser, signed_in, text_of

pytestmark = pytest.mark.interface

PROOF, CODES = "/account/proof/", "/account/codes/"


def test_what_opens_doors_asks_again_who_it_is_and_goes_on_from_there(owner: Membership) -> None:
    person = browser()
    person.post("/sign-in/", {"email": owner.user.email, "password": factories.PASSWORD})
    invitation = {"do": "invite", "email": "new@water.example", "role": "office"}
    with time_machine.travel(timezone.now() + timedelta(minutes=16)):
        asked = person.post("/company/", invitation)
        assert asked.headers["Location"] == f"{PROOF}?next=%2Fcompany%2F"
        assert not Invitation.objects.exists()
        wrong = person.post(PROOF, {"next": "/company/", "current_password": "wrong"})
        assert wrong.status_code == 400
        assert 'aria-invalid="true"' in text_of(wrong)
        shown = person.post(PROOF, {"next": "/company/", "current_password": factories.PASSWORD})
        assert shown.headers["Location"] == "/company/"
        assert person.post("/company/", invitation).headers["Location"].startswith("/company/")
    assert Invitation.objects.get().email == "new@water.example"


def test_nobody_is_sent_to_another_server_after_a_proof(owner: Membership) -> None:
    person = signed_in(owner)
    shown = person.post(PROOF, {"next": "https://elsewhere.example/", "current_password": factories.PASSWORD})
    assert shown.headers["Location"] == "/account/"


def test_an_authenticator_is_set_up_with_its_first_code_and_given_up_again(office: Membership) -> None:
    person = browser()
    person.post("/sign-in/", {"email": office.user.email, "password": factories.PASSWORD})
    (key,) = re.findall(r'name="key" value="([A-Z2-7]+)"', text_of(person.post(CODES, {"do": "begin"})))
    wrong = person.post(CODES, {"do": "confirm", "key": key, "code": "000000"})
    assert wrong.status_code == 400
    assert key in text_of(wrong)
    confirmed = person.post(CODES, {"do": "confirm", "key": key, "code": code_of(key, timezone.now())})
    recovery_codes = re.findall(r"<li><code>(.+?)</code></li>", text_of(confirmed))
    assert len(recovery_codes) == 10
    other = browser()
    credentials = {"email": office.user.email, "password": factories.PASSWORD}
    assert other.post("/sign-in/", credentials).status_code == 400
    assert other.post("/sign-in/", {**credentials, "code": html.unescape(recovery_codes[0])}).status_code == 302
    assert person.post(CODES, {"do": "remove"}).status_code == 302
    assert browser().post("/sign-in/", credentials).status_code == 302
    assert person.post(CODES, {"do": "something"}).status_code == 400


def test_whose_company_wants_codes_is_led_to_setting_them_up(office: Membership) -> None:
    person = signed_in(office)
    assert person.get("/attention/").status_code == 200
    office.company.second_factor_roles = ["office"]
    office.company.save()
    led = person.get("/attention/")
    assert led.headers["Location"] == f"{CODES}?next=%2Fattention%2F"
    assert office.company.name in text_of(person.get(CODES))
    _, recovery_codes = set_up(office, timezone.now())
    assert person.post(PROOF, {"next": "/attention/", "code": recovery_codes[0]}).status_code == 302
    assert person.get("/attention/").status_code == 200
