"""Signing in and out on pages: by password, by the link of a letter, and for which company."""

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.test import Client as Browser
from django.utils import timezone

from accounts.models import AuditEntry, BrowserSession, Letter, Membership
from accounts.services.letters import send_letters
from accounts.services.links import sign_in_token
from tests import factories
from tests.accounts.test_second_factor import set_up
from tests.pages import browser, signed_in, text_of

pytestmark = pytest.mark.interface

DOOR, ASK = "/sign-in/", "/sign-in/link/"


@pytest.fixture(autouse=True)
def _public_address(settings: Any) -> None:
    settings.PUBLIC_URL = "https://water.example"


def credentials(member: Membership, **more: str) -> dict[str, str]:
    return {"email": member.user.email, "password": factories.PASSWORD, **more}


def link_sent_to(email: str) -> str:
    send_letters(now=timezone.now())
    bodies = [letter.body for letter in mail.outbox if letter.to == [email]]
    (path,) = re.findall(r"https://water\.example(/sign-in/link/\S+/)\s", bodies[-1] + "\n")
    return str(path)


def is_in(person: Browser) -> bool:
    return person.get("/account/").status_code == 200


def test_a_password_opens_the_door_and_the_session_is_known_to_the_api(office: Membership) -> None:
    person = browser()
    response = person.post(DOOR, credentials(office))
    assert response.status_code == 302
    assert is_in(person)
    assert person.get("/api/v1/me/").json()["membership"]["id"] == office.pk
    assert BrowserSession.objects.get().membership == office
    assert AuditEntry.objects.get(action="sign in").details == {"way": "browser"}


def test_a_wrong_password_says_neither_which_of_the_two_is_wrong_nor_keeps_it(office: Membership) -> None:
    for email in (office.user.email, "nobody@north.example"):
        response = browser().post(DOOR, {"email": email, "password": "heron-wrong"})
        assert response.status_code == 400
        assert "The email or the password is wrong." in text_of(response)
        assert "heron-wrong" not in text_of(response)


def test_what_is_missing_is_said_beside_its_field(db: None) -> None:
    page = text_of(browser().post(DOOR, {"email": "no address", "password": ""}))
    assert page.count('aria-invalid="true"') == 2
    assert 'id="id_email-fault"' in page
    assert 'aria-describedby="id_password-fault"' in page


def test_tries_are_slowed_as_those_of_the_api_are(office: Membership) -> None:
    person = browser()
    tried = [person.post(DOOR, credentials(office, password="wrong")).status_code for _ in range(12)]
    assert tried[0] == 400
    assert tried[-1] == 429
    assert person.post("/api/v1/login/", credentials(office), content_type="application/json").status_code == 429


@pytest.mark.parametrize(
    ("wanted", "address"),
    [
        ("/account/?a=1", "/account/?a=1"),
        ("https://elsewhere.example/", None),
        ("//elsewhere.example/", None),
        ("/\\elsewhere.example/", None),
        ("javascript:alert(1)", None),
        ("/sign-in/", None),
    ],
)
def test_after_signing_in_one_goes_on_within_this_server_alone(
    office: Membership, wanted: str, address: str | None
) -> None:
    person = browser()
    response = person.post(DOOR, credentials(office, next=wanted))
    assert response.status_code == 302
    if address is not None:
        assert response.headers["Location"] == address
    else:
        assert re.match(r"/[a-z]", response.headers["Location"])
        assert "elsewhere" not in response.headers["Location"]


def test_whoever_wanted_a_page_is_sent_to_the_door_and_on(office: Membership) -> None:
    person = browser()
    door = person.get("/account/?page=2").headers["Location"]
    assert door == "/sign-in/?next=%2Faccount%2F%3Fpage%3D2"
    assert 'name="next" value="/account/?page=2"' in text_of(person.get(door))


def test_a_part_of_a_page_whose_session_ended_sends_the_whole_page_to_the_door(db: None) -> None:
    headers = {"HX-Request": "true", "HX-Current-URL": "http://testserver/account/"}
    response = browser(**headers).get("/account/")
    assert response.headers["HX-Redirect"] == "/sign-in/?next=%2Faccount%2F"


def test_whoever_lost_the_password_asks_for_a_letter_at_the_door(office: Membership) -> None:
    person = browser()
    assert 'href="/sign-in/lost-password/"' in text_of(person.get(DOOR))
    assert person.post("/sign-in/lost-password/", {"email": "nobody"}).status_code == 400
    answers = [
        text_of(person.post("/sign-in/lost-password/", {"email": email}))
        for email in (office.user.email, "nobody@elsewhere.example")
    ]
    # the answer tells nobody whether an address is known
    assert answers[0] == answers[1]
    assert "a letter is on its way" in answers[0]
    letters = Letter.objects.filter(kind=Letter.Kind.PASSWORD_RESET).order_by("pk")
    assert [letter.email for letter in letters] == [office.user.email, "nobody@elsewhere.example"]


def test_signing_out_ends_the_session_and_clears_what_the_browser_kept(office: Membership) -> None:
    person = signed_in(office)
    assert person.get("/sign-out/").status_code == 405
    response = person.post("/sign-out/")
    assert response.headers["Location"] == DOOR
    assert '"storage"' in response.headers["Clear-Site-Data"]
    assert not is_in(person)
    assert not BrowserSession.objects.exists()


def test_whoever_belongs_to_two_companies_says_for_which(office: Membership, rival: Membership) -> None:
    second = factories.MembershipFactory(user=office.user, company=rival.company, role="installer")
    person = browser()
    assert person.post(DOOR, credentials(office)).headers["Location"] == "/account/"
    assert "South Water" in text_of(person.get("/account/"))
    refused = person.post("/account/", {"membership": rival.pk})
    assert refused.status_code == 400
    assert "You have no such membership." in text_of(refused)
    assert person.post("/account/", {"membership": second.pk}).status_code == 302
    assert person.get("/api/v1/me/").json()["membership"]["id"] == second.pk
    assert BrowserSession.objects.get().membership == second


def test_a_membership_that_ended_leads_to_the_door(office: Membership) -> None:
    person = signed_in(office)
    Membership.objects.update(is_active=False)
    assert person.get("/account/").status_code == 302


def test_a_client_signs_in_by_the_link_of_a_letter_once(client_member: Membership) -> None:
    email = client_member.user.email
    assert browser().post(ASK, {"email": email.upper()}).status_code == 200
    path = link_sent_to(email)
    person = browser()
    assert email in text_of(person.get(path))
    assert not is_in(person), "programs that look at mail open links: only the button signs in"
    assert person.post(path).status_code == 302
    assert is_in(person)
    assert AuditEntry.objects.get(action="sign in").details == {"way": "link"}
    late = browser()
    assert late.get(path).status_code == 404
    assert late.post(path).status_code == 404
    assert not is_in(late)


def test_a_link_is_of_no_use_after_two_hours_or_once_another_signed_in(client_member: Membership) -> None:
    path = f"{ASK}{sign_in_token(client_member.user)}/"
    with time_machine.travel(timezone.now() + timedelta(hours=2, minutes=1)):
        assert browser().post(path).status_code == 404
    assert browser().post(DOOR, credentials(client_member)).status_code == 302
    assert browser().post(path).status_code == 404


def test_a_mailbox_alone_opens_no_office(office: Membership, client_member: Membership) -> None:
    factories.MembershipFactory(user=client_member.user, company=factories.CompanyFactory(), role="owner")
    for member in (office, client_member):
        assert browser().post(ASK, {"email": member.user.email}).status_code == 200
        assert browser().post(f"{ASK}{sign_in_token(member.user)}/").status_code == 404
    send_letters(now=timezone.now())
    assert mail.outbox == []
    assert not Letter.objects.exists(), "what no longer holds is not sent"


def test_a_mailbox_alone_is_no_second_factor(client_member: Membership) -> None:
    path = f"{ASK}{sign_in_token(client_member.user)}/"
    set_up(client_member, timezone.now())
    assert browser().post(path).status_code == 404


def test_asking_says_the_same_of_known_and_unknown_addresses(client_member: Membership) -> None:
    pages = [text_of(browser().post(ASK, {"email": email})) for email in (client_member.user.email, "x@y.example")]
    assert pages[0] == pages[1]
    refused = browser().post(ASK, {"email": "no address"})
    assert refused.status_code == 400
    assert 'aria-invalid="true"' in text_of(refused)


def test_asking_too_often_has_to_wait(db: None) -> None:
    person = browser()
    answers = [person.post(ASK, {"email": f"a{number}@first.example"}).status_code for number in range(22)]
    assert answers[-1] == 429


def test_whoever_has_a_second_factor_is_asked_for_a_code(office: Membership) -> None:
    now = timezone.now()
    _, recovery_codes = set_up(office, now)
    person = browser()
    assert 'name="code"' not in text_of(person.get(DOOR))
    asked = person.post(DOOR, credentials(office))
    assert asked.status_code == 400
    assert 'autocomplete="one-time-code"' in text_of(asked)
    assert not is_in(person)
    assert 'id="id_code-fault"' in text_of(person.post(DOOR, credentials(office, code="000000")))
    assert person.post(DOOR, credentials(office, code=recovery_codes[0])).status_code == 302
    assert is_in(person)
