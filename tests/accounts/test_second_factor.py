"""Codes beside the password: who has them, who must, and what a password alone no longer opens.

The codes of the tests are made here, straight from RFC 6238, so that the product's are not held against themselves.
"""

import base64
import hashlib
import hmac
import re
import struct
from datetime import UTC, datetime, timedelta
from importlib import import_module
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
import time_machine
from django.apps import apps
from rest_framework.test import APIClient

from accounts.errors import InvalidInput
from accounts.models import AccessToken, Company, Letter, Membership, RecoveryCode, SecondFactor
from accounts.services import issue_token
from accounts.services.second_factor import begin, confirm, takes
from tests import factories
from tests.factories import PASSWORD

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
LOGIN = "/api/v1/login/"
PROOF = "/api/v1/me/authentication/"


def code_of(key: str, at: datetime, digits: int = 6) -> str:
    """The code that an authenticator shows: RFC 6238 section 4.2 with the truncation of RFC 4226 section 5.3."""
    counter = struct.pack(">Q", int(at.timestamp()) // 30)
    digest = hmac.new(base64.b32decode(key), counter, hashlib.sha1).digest()
    start = digest[-1] & 15
    return str((struct.unpack(">I", digest[start : start + 4])[0] & 0x7FFFFFFF) % 10**digits).zfill(digits)


def set_up(member: Membership, now: datetime = NOW) -> tuple[str, list[str]]:
    """Give somebody an authenticator, and return its key and the recovery codes."""
    key = begin(by=member, now=now - timedelta(minutes=5)).key
    codes = confirm(by=member, code=code_of(key, now - timedelta(minutes=5)), now=now - timedelta(minutes=5))
    member.has_given_code = False
    return key, codes


def signed_in(member: Membership, code: str = "") -> Any:
    return APIClient().post(LOGIN, {"email": member.user.email, "password": PASSWORD, "code": code})


def bearer(secret: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


# RFC 6238 appendix B, SHA-1, its first, second, third and fifth row: time in seconds and the last six of eight figures.
@pytest.mark.parametrize(
    ("seconds", "code"),
    [(59, "287082"), (1111111109, "081804"), (1111111111, "050471"), (2000000000, "279037")],
)
def test_codes_are_those_of_the_standard(office: Membership, seconds: int, code: str) -> None:
    at = datetime.fromtimestamp(seconds, UTC)
    key = b"12345678901234567890"
    assert code_of(base64.b32encode(key).decode(), at) == code
    SecondFactor.objects.create(user=office.user, key=key.hex(), begun_at=at, confirmed_at=at)
    assert takes(user=office.user, code=code, now=at)


def test_no_code_is_taken_twice_nor_one_that_is_older_than_the_last(office: Membership) -> None:
    key, _ = set_up(office)
    present, before = code_of(key, NOW), code_of(key, NOW - timedelta(seconds=30))
    assert takes(user=office.user, code=present, now=NOW)
    assert not takes(user=office.user, code=present, now=NOW)
    assert not takes(user=office.user, code=before, now=NOW)
    assert takes(user=office.user, code=code_of(key, NOW + timedelta(seconds=30)), now=NOW + timedelta(seconds=30))


def test_a_code_of_the_steps_beside_is_taken_and_none_further_off(office: Membership, installer: Membership) -> None:
    for member, late, is_taken in ((office, 30, True), (installer, 90, False)):
        key, _ = set_up(member)
        assert takes(user=member.user, code=code_of(key, NOW - timedelta(seconds=late)), now=NOW) is is_taken


def test_a_recovery_code_works_once_however_it_is_typed(office: Membership) -> None:
    _, codes = set_up(office)
    assert len(codes) == len(set(codes)) == 10
    assert all(re.fullmatch(r"([a-z2-7]{4}-){3}[a-z2-7]{4}", code) for code in codes)
    assert takes(user=office.user, code=codes[0].upper().replace("-", " "), now=NOW)
    assert not takes(user=office.user, code=codes[0], now=NOW)
    stored = str(list(RecoveryCode.objects.values_list("digest", flat=True)))
    assert not any(code.replace("-", "") in stored for code in codes)


def test_somebody_elses_codes_open_nothing(office: Membership, rival: Membership) -> None:
    _, codes = set_up(rival)
    set_up(office)
    assert not takes(user=office.user, code=codes[0], now=NOW)


def test_nothing_changes_before_the_first_code_was_right(office: Membership) -> None:
    key = begin(by=office, now=NOW).key
    assert not SecondFactor.is_of(office.user)
    with pytest.raises(InvalidInput, match="not the code of the new authenticator"):
        confirm(by=office, code=code_of(key, NOW - timedelta(hours=1)), now=NOW)
    assert signed_in(office).status_code == 200
    first, _ = set_up(office)
    begin(by=office, now=NOW)
    assert takes(user=office.user, code=code_of(first, NOW), now=NOW)


def test_the_whole_way_over_the_interface(as_office: APIClient, office: Membership) -> None:
    begun = as_office.post("/api/v1/me/second-factor/")
    assert (begun.status_code, begun.headers["Cache-Control"]) == (201, "no-store")
    address = urlsplit(begun.json()["address"])
    assert (address.scheme, address.netloc) == ("otpauth", "totp")
    key = begun.json()["key"]
    assert parse_qs(address.query)["secret"] == [key]
    assert office.user.email in address.path.replace("%40", "@")
    wrong = as_office.post("/api/v1/me/second-factor/confirm/", {"code": "12"})
    assert (wrong.status_code, wrong.json()["errors"][0]["pointer"]) == (400, "/code")
    moment = datetime.now(UTC)
    done = as_office.post("/api/v1/me/second-factor/confirm/", {"code": code_of(key, moment)})
    assert done.status_code == 200, done.content
    state = as_office.get("/api/v1/me/").json()["second_factor"]
    assert state == {"is_set_up": True, "is_wanted": False, "was_given": True, "recovery_codes_left": 10}
    assert [letter.kind for letter in Letter.objects.all()] == [Letter.Kind.SECOND_FACTOR_SET]

    for browser_or_phone in (LOGIN, "/api/v1/session/"):
        body = {"email": office.user.email, "password": PASSWORD}
        without = APIClient().post(browser_or_phone, body)
        assert (without.status_code, without.json()["code"]) == (401, "code_needed")
        used = APIClient().post(browser_or_phone, {**body, "code": code_of(key, moment)})
        assert (used.status_code, used.json()["code"]) == (401, "wrong_code")
        wrong = APIClient().post(browser_or_phone, {**body, "password": "not this", "code": "123456"})
        assert (wrong.status_code, wrong.json()["code"]) == (401, "wrong_credentials")
    recovery = done.json()["recovery_codes"]
    phone = signed_in(office, recovery[0])
    assert phone.status_code == 200
    state = bearer(phone.json()["token"]).get("/api/v1/me/").json()["second_factor"]
    assert (state["was_given"], state["recovery_codes_left"]) == (True, 9)
    renewed = as_office.post("/api/v1/me/second-factor/recovery-codes/").json()["recovery_codes"]
    assert signed_in(office, recovery[1]).status_code == 401
    assert signed_in(office, renewed[0]).status_code == 200
    assert as_office.delete("/api/v1/me/second-factor/").status_code == 204
    assert signed_in(office).status_code == 200


def test_codes_cannot_be_tried_out_by_whoever_knows_the_password(office: Membership) -> None:
    set_up(office)
    answers = []
    for _ in range(12):
        answers.append(signed_in(office, "000000").status_code)
        # The password alone frees nobody of the waits that wrong codes brought.
        signed_in(office)
    assert answers.count(401) <= 10
    assert answers[-1] == 429


def test_an_owner_may_want_codes_of_a_role_and_whoever_signs_in_without_one_can_only_set_them_up(
    as_owner: APIClient, owner: Membership, as_installer: APIClient, installer: Membership, as_office: APIClient
) -> None:
    assert as_owner.patch("/api/v1/company/", {"second_factor_roles": ["installer"]}).status_code == 200
    refused = as_installer.get("/api/v1/units/")
    assert (refused.status_code, refused.json()["code"]) == (403, "second_factor_required")
    assert "POST /api/v1/me/second-factor/" in refused.json()["detail"]
    me = as_installer.get("/api/v1/me/").json()
    assert (me["second_factor"]["is_wanted"], set(me["may"])) == (True, {"me", "session"})
    assert as_office.get("/api/v1/units/").status_code == 200
    key = as_installer.post("/api/v1/me/second-factor/").json()["key"]
    code = code_of(key, datetime.now(UTC))
    recovery = as_installer.post("/api/v1/me/second-factor/confirm/", {"code": code}).json()["recovery_codes"]
    assert as_installer.get("/api/v1/units/").status_code == 200
    kept = as_installer.delete("/api/v1/me/second-factor/")
    assert (kept.status_code, kept.json()["code"]) == (403, "second_factor_wanted")
    # A token from before is let in once a code is given for it.
    before = AccessToken.objects.get(membership=installer)
    before.has_given_code = False
    before.save()
    assert as_installer.get("/api/v1/units/").status_code == 403
    assert as_installer.post(PROOF, {"code": recovery[0]}).status_code == 200
    assert as_installer.get("/api/v1/units/").status_code == 200


def test_meters_need_no_code_and_other_tokens_are_what_their_maker_was(
    as_owner: APIClient, owner: Membership, api_for: Any
) -> None:
    unit = factories.UnitFactory(company=owner.company)
    meter = api_for(owner, meter_unit_id=unit.pk)
    end = (datetime.now(UTC) + timedelta(minutes=5)).isoformat()
    program = bearer(as_owner.post("/api/v1/tokens/", {"name": "program", "expires_at": end}).json()["token"])
    Company.objects.filter(pk=owner.company_id).update(second_factor_roles=["owner"])
    refused = program.get("/api/v1/units/")
    assert (refused.status_code, refused.json()["code"]) == (403, "second_factor_required")
    assert "make another token" in refused.json()["detail"]
    assert meter.post(f"/api/v1/units/{unit.pk}/readings/", {"inlet_pressure": "60 psi"}).status_code == 201


def test_an_owner_does_not_lock_themselves_out(as_owner: APIClient) -> None:
    refused = as_owner.patch("/api/v1/company/", {"second_factor_roles": ["owner", "office"]})
    assert (refused.status_code, refused.json()["code"]) == (400, "second_factor_of_your_own")
    unknown = as_owner.patch("/api/v1/company/", {"second_factor_roles": ["boss"]})
    assert (unknown.status_code, unknown.json()["errors"][0]["pointer"]) == (400, "/second_factor_roles/0")


def test_an_owner_helps_a_member_who_lost_everything_but_speaks_for_no_other_company(
    as_owner: APIClient, office: Membership, as_office: APIClient, rival: Membership
) -> None:
    set_up(office)
    reset = f"/api/v1/members/{office.pk}/reset-second-factor/"
    assert as_owner.get(f"/api/v1/members/{office.pk}/").json()["has_second_factor"] is True
    assert as_office.post(reset).status_code == 403
    elsewhere = factories.MembershipFactory(user=office.user, company=rival.company, role="office")
    refused = as_owner.post(reset)
    assert (refused.status_code, refused.json()["code"]) == (403, "member_elsewhere")
    elsewhere.delete()
    assert as_owner.post(reset).json()["has_second_factor"] is False
    assert signed_in(office).status_code == 200
    assert Letter.objects.filter(kind=Letter.Kind.SECOND_FACTOR_REMOVED, email=office.user.email).exists()


NEEDS_PROOF = {
    "POST /api/v1/tokens/": {"name": "export", "expires_at": "2026-03-02T08:30:00Z"},
    "POST /api/v1/invitations/": {"email": "nora@north.example", "role": "office"},
    "PATCH /api/v1/members/<pk>/": {"role": "installer"},
    "POST /api/v1/members/<pk>/end/": {},
    "POST /api/v1/members/<pk>/reset-second-factor/": {},
    "GET /api/v1/client-data/<client>/": None,
    "POST /api/v1/client-data/<client>/erase/": {"name": "First Client"},
    "PATCH /api/v1/company/": {"second_factor_roles": ["client"]},
    "POST /api/v1/me/second-factor/": {},
    "POST /api/v1/me/second-factor/recovery-codes/": {},
    "DELETE /api/v1/me/second-factor/": None,
}


@pytest.mark.parametrize("route", NEEDS_PROOF)
def test_what_opens_doors_or_empties_the_house_asks_for_a_recent_proof(
    route: str, owner: Membership, office: Membership, first_client: Any
) -> None:
    method, path = route.split(" ")
    path = path.replace("<pk>", str(office.pk)).replace("<client>", str(first_client.pk))
    with time_machine.travel(NOW, tick=False):
        set_up(owner)
        key_less = {"email": owner.user.email, "password": PASSWORD, "code": second_factor_code(owner)}
        client = bearer(APIClient().post(LOGIN, key_less).json()["token"])
    send = getattr(client, method.lower())
    body = NEEDS_PROOF[route]
    with time_machine.travel(NOW + timedelta(minutes=15, seconds=1), tick=False):
        refused = send(path, body) if body is not None else send(path)
        assert (refused.status_code, refused.json()["code"]) == (403, "recent_authentication_required")
        assert client.get("/api/v1/units/").status_code == 200
        proven = client.post(PROOF, {"current_password": PASSWORD})
        assert proven.json()["recent_until"] == "2026-03-02T08:30:01Z"
        done = send(path, body) if body is not None else send(path)
        assert done.status_code < 300, done.content


def test_a_password_proves_nothing_where_codes_came_after_the_sign_in(office: Membership) -> None:
    """A found phone and a password from another leak do not remove the codes that were set since."""
    with time_machine.travel(NOW, tick=False):
        client = bearer(signed_in(office).json()["token"])
        _, codes = set_up(office)
    with time_machine.travel(NOW + timedelta(minutes=20), tick=False):
        refused = client.post(PROOF, {"current_password": PASSWORD})
        assert (refused.status_code, refused.json()["code"]) == (400, "code_needed")
        assert refused.json()["errors"][0]["pointer"] == "/code"
        assert client.delete("/api/v1/me/second-factor/").json()["code"] == "recent_authentication_required"
        assert client.post(PROOF, {"code": codes[0]}).status_code == 200
        assert client.delete("/api/v1/me/second-factor/").status_code == 204


def second_factor_code(member: Membership) -> str:
    key = SecondFactor.objects.get(user=member.user).key
    return code_of(base64.b32encode(bytes.fromhex(key)).decode(), NOW)


def test_a_browser_proves_it_again_too_and_only_one_of_the_two_is_given(office: Membership) -> None:
    browser = APIClient()
    end = {"name": "export", "expires_at": (NOW + timedelta(days=300)).isoformat()}
    with time_machine.travel(NOW, tick=False):
        browser.post("/api/v1/session/", {"email": office.user.email, "password": PASSWORD})
        assert browser.post("/api/v1/tokens/", end).status_code == 201
    with time_machine.travel(NOW + timedelta(hours=1), tick=False):
        assert browser.post("/api/v1/tokens/", end).status_code == 403
        for wrong, pointer in (
            ({}, "/current_password"),
            ({"current_password": PASSWORD, "code": "123456"}, "/current_password"),
            ({"current_password": "not this"}, "/current_password"),
            ({"code": "123456"}, "/code"),
        ):
            refused = browser.post(PROOF, wrong)
            assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, pointer), wrong
        assert browser.post(PROOF, {"current_password": PASSWORD}).status_code == 200
        assert browser.post("/api/v1/tokens/", end).status_code == 201


def test_a_token_from_before_there_were_scopes_ends_within_a_month(company: Company) -> None:
    migration = import_module("accounts.migrations.0013_old_tokens_end")
    old = factories.AccessTokenFactory(expiry=datetime.now(UTC) + timedelta(days=900))
    soon = factories.AccessTokenFactory(expiry=datetime.now(UTC) + timedelta(days=3))
    narrow = factories.AccessTokenFactory(expiry=datetime.now(UTC) + timedelta(days=900), scopes=["read"])
    meter = factories.AccessTokenFactory(expiry=datetime.now(UTC) + timedelta(days=900), meter_unit_id=7)
    migration.end_them(apps, None)
    ends = {}
    for token in (old, soon, narrow, meter):
        expiry = token.expiry
        token.refresh_from_db()
        ends[token.pk] = token.expiry != expiry
    assert ends == {old.pk: True, soon.pk: False, narrow.pk: False, meter.pk: False}
    assert old.expiry < datetime.now(UTC) + timedelta(days=30, seconds=1)
    assert (old.scopes, meter.scopes) == (None, ["readings"])


def test_a_token_for_the_whole_role_lasts_no_longer_than_a_sign_in(office: Membership) -> None:
    with pytest.raises(InvalidInput, match="within 30 days"):
        issue_token(by=office, membership=office, name="all", ttl=timedelta(days=31), now=NOW)
    issue_token(by=office, membership=office, name="all", ttl=timedelta(days=30), now=NOW)
