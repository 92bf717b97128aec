"""Members are invited: an address belongs to whoever reads its mail, and nobody chooses a password for another."""

import re
from datetime import timedelta
from io import StringIO
from typing import Any

import pytest
import time_machine
from django.core import mail
from django.core.management import call_command
from django.test import Client as Browser
from django.utils import timezone
from rest_framework.test import APIClient

from accounts.models import AccessToken, AuditEntry, Client, Company, Invitation, Letter, Membership, SecondFactor, User
from accounts.services import end_membership
from accounts.services.letters import MOST_ATTEMPTS, send_letters
from tests import factories
from tests.accounts.test_second_factor import set_up
from tests.cast import ApiFor

pytestmark = pytest.mark.interface

INVITATIONS = "/api/v1/invitations/"
LINKS = "/api/v1/invitation-links/"
NINA = "nina@people.example"
HERS, FOREIGN = "heron-basin-lantern-31", "the-rival-knows-41"


@pytest.fixture(autouse=True)
def _public_address(settings: Any) -> None:
    settings.PUBLIC_URL = "https://water.example"


def newest_link(email: str) -> str:
    """Send what waits, and give the signed part of the link of the newest letter to an address."""
    send_letters(now=timezone.now())
    letters = [letter for letter in mail.outbox if letter.to == [email]]
    (token,) = re.findall(r"https://water\.example/invitation/(\S+)/\s", letters[-1].body + "\n")
    return str(token)


def invited(owner: APIClient, email: str = NINA, role: str = "office", **more: object) -> str:
    answer = owner.post(INVITATIONS, {"email": email, "role": role, **more})
    assert answer.status_code == 201, answer.content
    return newest_link(email.strip().lower())


def sign_in(api: APIClient, email: str, password: str, **more: object) -> Any:
    return api.post("/api/v1/login/", {"email": email, "password": password, **more})


def test_who_has_no_account_chooses_a_password_and_comes_in(
    as_owner: APIClient, api: APIClient, owner: Membership, first_client: Client
) -> None:
    token = invited(as_owner, " Nina@People.example ", role="client", client=first_client.pk, name="Nina")
    assert api.get(f"{LINKS}{token}/").json() | {"expires_at": ""} == {
        "company": "North Water",
        "email": NINA,
        "role": "client",
        "expires_at": "",
        "has_account": False,
    }
    joined = api.post(f"{LINKS}{token}/", {"password": HERS})
    assert joined.status_code == 200, joined.content
    assert joined.json()["membership"]["role"] == "client"
    membership = Membership.objects.get(user__email=NINA)
    assert (membership.company, membership.client, membership.name) == (owner.company, first_client, "Nina")
    assert membership.user.email_proven_at is not None
    assert sign_in(api, NINA, HERS).json()["membership"]["id"] == membership.pk
    actions = list(AuditEntry.objects.order_by("pk").values_list("action", "membership__user__email"))
    assert actions[1:3] == [("invite member", owner.user.email), ("join company", NINA)]


def test_nobody_adds_a_member_or_chooses_a_password_for_one(as_owner: APIClient) -> None:
    body = {"email": NINA, "role": "office", "password": FOREIGN}
    assert as_owner.post("/api/v1/members/", body).status_code == 405
    refused = as_owner.post(INVITATIONS, body)
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/password")
    assert not User.objects.filter(email=NINA).exists()


def test_a_password_that_another_company_chose_never_opens_ours(
    as_owner: APIClient, as_rival: APIClient, api: APIClient, owner: Membership, rival: Membership
) -> None:
    # As it was possible before: an account in her name, of which South Water chose the password, signed in with it.
    account = factories.UserFactory(email=NINA, password=FOREIGN)
    theirs = factories.MembershipFactory(user=account, company=rival.company, role="office")
    foreign = APIClient()
    foreign.credentials(HTTP_AUTHORIZATION=f"Bearer {sign_in(api, NINA, FOREIGN).json()['token']}")
    assert foreign.get("/api/v1/me/").status_code == 200

    assert as_owner.post(INVITATIONS, {"email": NINA, "role": "owner"}).status_code == 201
    assert sign_in(api, NINA, FOREIGN).json()["membership"]["company"]["name"] == "South Water"
    assert [one["company"]["name"] for one in foreign.get("/api/v1/me/").json()["memberships"]] == ["South Water"]
    invitation = Invitation.objects.get()
    assert foreign.get(f"{INVITATIONS}{invitation.pk}/").status_code == 404
    assert as_rival.post(f"{INVITATIONS}{invitation.pk}/withdraw/").status_code == 404
    for guess in (str(invitation.pk), "forged", f"{invitation.pk}:forged"):
        assert foreign.post(f"{LINKS}{guess}/", {"password": FOREIGN}).status_code == 404
    assert list(Membership.objects.filter(company=owner.company)) == [owner]

    # She reads her mail and accepts: the password is hers alone from then on, in both companies.
    token = newest_link(NINA)
    assert api.get(f"{LINKS}{token}/").json()["has_account"] is False
    assert api.post(f"{LINKS}{token}/", {"password": HERS}).status_code == 200
    assert sign_in(api, NINA, FOREIGN).status_code == 401
    assert foreign.get("/api/v1/me/").status_code == 401
    ours = Membership.objects.get(company=owner.company, user=account)
    chosen = [sign_in(api, NINA, HERS, membership=one.pk).json()["membership"]["id"] for one in (theirs, ours)]
    assert chosen == [theirs.pk, ours.pk]


@pytest.mark.parametrize("is_member_elsewhere", [False, True])
def test_codes_that_a_stranger_set_before_the_address_was_proven_keep_nobody_out(
    is_member_elsewhere: bool, as_owner: APIClient, api: APIClient, owner: Membership, rival: Membership
) -> None:
    account = factories.UserFactory(email=NINA, password=FOREIGN)
    theirs = factories.MembershipFactory(user=account, company=rival.company, role="office")
    _, codes = set_up(theirs)
    if not is_member_elsewhere:
        end_membership(by=rival, membership=theirs, now=factories.NOW)

    token = invited(as_owner, NINA)
    assert api.post(f"{LINKS}{token}/", {"password": HERS}).status_code == 200
    told = list(Letter.objects.filter(email=NINA, kind=Letter.Kind.SECOND_FACTOR_REMOVED))
    assert sign_in(api, NINA, FOREIGN, code=codes[0]).json()["code"] == "wrong_credentials"
    if is_member_elsewhere:
        # Her invitation opens no door of the other company that wants a code: whoever runs the server helps.
        assert told == []
        assert sign_in(api, NINA, HERS).json()["code"] == "code_needed"
        call_command("forget_codes", NINA.upper(), stdout=StringIO())
        trails = AuditEntry.objects.filter(action="remove second factor", membership=None)
        assert {entry.company_id for entry in trails} == {rival.company_id, owner.company_id}
    else:
        assert len(told) == 1
    assert sign_in(api, NINA, HERS).status_code == 200


def test_codes_of_a_person_whose_address_is_proven_stay_with_an_invitation(
    as_owner: APIClient, api: APIClient, rival: Membership
) -> None:
    User.objects.filter(pk=rival.user_id).update(email_proven_at=factories.NOW)
    set_up(rival)
    token = invited(as_owner, rival.user.email)
    assert api.post(f"{LINKS}{token}/", {"password": factories.PASSWORD}).status_code == 401
    assert api.post(f"{LINKS}{token}/", {"password": HERS}).status_code == 401
    assert SecondFactor.is_of(rival.user)


def test_who_has_an_account_accepts_as_that_account_and_as_no_other(
    as_owner: APIClient, api: APIClient, api_for: ApiFor, rival: Membership, owner: Membership
) -> None:
    User.objects.filter(pk=rival.user_id).update(email_proven_at=factories.NOW)
    token = invited(as_owner, rival.user.email)
    address = f"{LINKS}{token}/"
    assert api.get(address).json()["has_account"] is True
    for refused in (api.post(address), as_owner.post(address)):
        assert (refused.status_code, refused.json()["code"]) == (403, "other_account")
    assert api.post(address, {"password": HERS}).status_code == 401
    unit = factories.UnitFactory(company=rival.company)
    assert api_for(rival, meter_unit_id=unit.pk).post(address).status_code == 403
    assert not Membership.objects.filter(company=owner.company, user=rival.user).exists()
    assert api_for(rival).post(address).status_code == 200
    rival.user.refresh_from_db()
    assert rival.user.check_password(factories.PASSWORD), "what they had"
    ours = Membership.objects.get(company=owner.company, user=rival.user)
    assert sign_in(api, rival.user.email, factories.PASSWORD).json()["membership"]["id"] == rival.pk
    assert sign_in(api, rival.user.email, factories.PASSWORD, membership=ours.pk).status_code == 200


def test_who_left_comes_back_with_the_password_of_their_account(
    as_owner: APIClient, api: APIClient, owner: Membership, office: Membership
) -> None:
    User.objects.filter(pk=office.user_id).update(email_proven_at=factories.NOW)
    end_membership(by=owner, membership=office, now=factories.NOW)
    token = invited(as_owner, office.user.email, role="installer")
    assert api.post(f"{LINKS}{token}/", {"password": factories.PASSWORD}).status_code == 200
    office.refresh_from_db()
    assert (office.role, office.is_active) == ("installer", True)


def test_a_link_works_once_for_a_week_and_until_it_is_withdrawn_or_replaced(
    as_owner: APIClient, api: APIClient, owner: Membership
) -> None:
    first = invited(as_owner)
    second = invited(as_owner)
    withdrawn = invited(as_owner, "other@people.example")
    late = invited(as_owner, "late@people.example")
    row = Invitation.objects.get(email="other@people.example")
    answer = as_owner.post(f"{INVITATIONS}{row.pk}/withdraw/")
    assert (answer.status_code, answer.json()["state"]) == (200, "withdrawn")
    for token in (first, withdrawn):
        assert api.post(f"{LINKS}{token}/", {"password": HERS}).status_code == 404
    assert api.post(f"{LINKS}{second}/", {"password": HERS}).status_code == 200
    assert api.post(f"{LINKS}{second}/", {"password": HERS}).status_code == 404
    with time_machine.travel(timezone.now() + timedelta(days=7)):
        assert api.post(f"{LINKS}{late}/", {"password": HERS}).status_code == 404
    used = Invitation.objects.get(accepted_at__isnull=False)
    refused = as_owner.post(f"{INVITATIONS}{used.pk}/withdraw/")
    assert (refused.status_code, refused.json()["code"]) == (409, "accepted_already")
    states = {one["id"]: one["state"] for one in as_owner.get(INVITATIONS).json()["results"]}
    assert sorted(states.values()) == ["accepted", "open", "withdrawn", "withdrawn"]


def test_the_word_of_an_owner_who_left_does_not_hold(as_owner: APIClient, api: APIClient, owner: Membership) -> None:
    leaver = factories.MembershipFactory(company=owner.company, role="owner")
    invitation = factories.InvitationFactory(
        company=owner.company, email=NINA, invited_by=leaver, expires_at=timezone.now() + timedelta(days=1)
    )
    factories.LetterFactory(email=NINA, invitation=invitation)
    token = newest_link(NINA)
    end_membership(by=owner, membership=leaver, now=factories.NOW)
    assert api.post(f"{LINKS}{token}/", {"password": HERS}).status_code == 404
    assert as_owner.get(f"{INVITATIONS}{invitation.pk}/").json()["state"] == "withdrawn"


def test_known_and_unknown_addresses_are_answered_alike(
    as_owner: APIClient, rival: Membership, owner: Membership, office: Membership
) -> None:
    User.objects.filter(pk=rival.user_id).update(email_proven_at=factories.NOW)
    answers = [as_owner.post(INVITATIONS, {"email": email, "role": "office"}) for email in (NINA, rival.user.email)]
    told = [{**one.json(), "id": 0, "email": "", "created_at": "", "expires_at": ""} for one in answers]
    assert told[0] == told[1]
    member = as_owner.post(INVITATIONS, {"email": office.user.email.upper(), "role": "owner"})
    assert (member.status_code, member.json()["code"]) == (409, "already_a_member")


@pytest.mark.parametrize(
    ("password", "code"), [("short", "weak_password"), ("password1234", "weak_password"), (None, "password_missing")]
)
def test_a_password_is_chosen_and_is_a_good_one(
    as_owner: APIClient, api: APIClient, password: str | None, code: str
) -> None:
    token = invited(as_owner)
    refused = api.post(f"{LINKS}{token}/", {"password": password})
    assert (refused.status_code, refused.json()["code"]) == (400, code)
    assert refused.json()["errors"][0]["pointer"] == "/password"
    assert not User.objects.filter(email=NINA).exists()
    assert api.post(f"{LINKS}{token}/", {"password": HERS}).status_code == 200


def test_roles_that_do_not_fit_are_refused_where_they_stand(as_owner: APIClient, first_client: Client) -> None:
    foreign = factories.ClientFactory()
    for body, pointer in (
        ({"role": "boss"}, "/role"),
        ({"role": "client"}, "/client"),
        ({"role": "office", "client": first_client.pk}, "/client"),
        ({"role": "client", "client": foreign.pk}, "/client"),
        ({"role": "office", "email": "nobody"}, "/email"),
    ):
        refused = as_owner.post(INVITATIONS, {"email": NINA, **body})
        assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, pointer), body
        assert foreign.name not in refused.content.decode()
    assert not Letter.objects.exists()


def test_a_name_is_one_line_and_none_that_is_not_keeps_a_letter_back(
    as_owner: APIClient, owner: Membership, company: Company
) -> None:
    broken = "Nina\r\nBcc: everybody@people.example"
    refused = as_owner.post(INVITATIONS, {"email": NINA, "name": broken, "role": "office"})
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/name")
    assert as_owner.patch("/api/v1/company/", {"name": broken}).json()["errors"][0]["pointer"] == "/name"
    # One that was stored before, or came with a file.
    Company.objects.filter(pk=company.pk).update(name=broken)
    invited(as_owner)
    (letter,) = mail.outbox
    assert letter.message()["Bcc"] is None
    assert "Bcc: everybody@people.example" in str(letter.message()["Subject"])


def test_the_page_of_a_link_asks_for_a_password_and_says_what_came_of_it(as_owner: APIClient) -> None:
    token = invited(as_owner)
    browser = Browser(enforce_csrf_checks=True)
    page = browser.get(f"/invitation/{token}/")
    assert page.status_code == 200
    assert "North Water invites nina@people.example in the office." in page.content.decode()
    assert page.headers["Content-Security-Policy"].startswith("default-src 'none'")
    assert "no-store" in page.headers["Cache-Control"]
    csrf = re.findall(r'name="csrfmiddlewaretoken" value="(\w+)"', page.content.decode())[0]
    assert browser.post(f"/invitation/{token}/", {"password": HERS}).status_code == 403
    weak = browser.post(f"/invitation/{token}/", {"password": "short", "csrfmiddlewaretoken": csrf})
    assert (weak.status_code, "too easy to guess" in weak.content.decode()) == (400, True)
    done = browser.post(f"/invitation/{token}/", {"password": HERS, "csrfmiddlewaretoken": csrf})
    assert (done.status_code, "You are a member of North Water now." in done.content.decode()) == (200, True)
    again = browser.post(f"/invitation/{token}/", {"password": HERS, "csrfmiddlewaretoken": csrf})
    assert again.status_code == 404
    assert User.objects.get(email=NINA).check_password(HERS)


def test_a_link_names_the_server_of_the_settings_whatever_the_request_says(api_for: ApiFor, owner: Membership) -> None:
    api_for(owner).post(INVITATIONS, {"email": NINA, "role": "office"}, headers={"X-Forwarded-Host": "evil.example"})
    newest_link(NINA)
    assert "evil" not in mail.outbox[-1].body


def test_a_letter_that_fails_is_tried_again_and_is_sent_once(as_owner: APIClient, monkeypatch: Any) -> None:
    as_owner.post(INVITATIONS, {"email": NINA, "role": "office"})
    now = timezone.now()

    def refuses(*_: object, **__: object) -> int:
        raise OSError("the mail server is away")

    with monkeypatch.context() as patch:
        patch.setattr("django.core.mail.backends.locmem.EmailBackend.send_messages", refuses)
        assert send_letters(now=now) == 0
        assert send_letters(now=now) == 0
        assert Letter.objects.get().attempts == 1
        for _ in range(MOST_ATTEMPTS + 2):
            now += timedelta(hours=3)
            send_letters(now=now)
    assert Letter.objects.get().attempts == MOST_ATTEMPTS
    Letter.objects.update(attempts=1)
    assert [send_letters(now=now + timedelta(days=1)) for _ in range(2)] == [1, 0]
    assert len(mail.outbox) == 1


def test_nobody_fills_a_strangers_mailbox(as_owner: APIClient) -> None:
    for _ in range(9):
        invited_again = as_owner.post(INVITATIONS, {"email": NINA, "role": "office"})
        assert invited_again.status_code == 201
        send_letters(now=timezone.now())
    assert len(mail.outbox) == 5
    assert send_letters(now=timezone.now() + timedelta(hours=2)) == 1, "the newest, whose link works"


def test_a_meters_token_survives_the_new_password_of_its_person(
    as_owner: APIClient, api: APIClient, api_for: ApiFor, rival: Membership
) -> None:
    unit = factories.UnitFactory(company=rival.company)
    api_for(rival, meter_unit_id=unit.pk)
    api_for(rival)
    token = invited(as_owner, rival.user.email)
    assert api.post(f"{LINKS}{token}/", {"password": HERS}).status_code == 200
    assert [one.meter_unit_id for one in AccessToken.objects.filter(user=rival.user)] == [unit.pk]
