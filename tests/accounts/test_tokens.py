"""Tokens: hashed, expiring, revocable, each for one membership, and some for one meter alone."""

import hashlib
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from rest_framework.test import APIClient

from accounts.errors import InvalidInput, NotAllowed
from accounts.models import AccessToken, AuditEntry, Membership
from accounts.services import end_membership, forget_expired_tokens, issue_token, revoke_token
from tests import factories
from tests.cast import ApiFor

pytestmark = pytest.mark.interface

NOW = factories.NOW
DAY = timedelta(days=1)


def bearer(secret: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


def test_the_secret_is_nowhere_in_the_records(office: Membership) -> None:
    token, secret = issue_token(by=office, membership=office, name="phone", ttl=DAY, now=NOW)
    row = AccessToken.objects.filter(pk=token.pk).values().get()
    assert not any(secret in str(value) for value in row.values())
    # Stored is the SHA-512 of the secret, which has 256 random bits.
    assert row["digest"] == hashlib.sha512(secret.encode()).hexdigest()
    assert len(bytes.fromhex(secret)) == 32
    assert secret not in str(AuditEntry.objects.values())


def test_a_token_acts_for_its_membership_until_it_ends(office: Membership) -> None:
    _, secret = issue_token(by=office, membership=office, name="phone", ttl=DAY, now=NOW)
    with time_machine.travel(NOW + DAY - timedelta(seconds=1), tick=False):
        answer = bearer(secret).get("/api/v1/me/")
        assert answer.status_code == 200
        assert answer.json()["membership"]["id"] == office.pk
    with time_machine.travel(NOW + DAY, tick=False):
        answer = bearer(secret).get("/api/v1/me/")
        assert answer.status_code == 401
        assert "expired" in answer.json()["detail"]


def test_a_revoked_token_is_unknown(owner: Membership, office: Membership) -> None:
    now = datetime.now(UTC)
    token, secret = issue_token(by=office, membership=office, name="phone", ttl=DAY, now=now)
    assert bearer(secret).get("/api/v1/me/").status_code == 200
    revoke_token(by=owner, token=token, now=now)
    answer = bearer(secret).get("/api/v1/me/")
    assert answer.status_code == 401
    assert AuditEntry.objects.filter(action="revoke token", membership=owner).count() == 1


def test_a_token_dies_with_its_membership_and_with_its_person(
    owner: Membership, office: Membership, installer: Membership
) -> None:
    now = datetime.now(UTC)
    _, secret = issue_token(by=office, membership=office, name="phone", ttl=DAY, now=now)
    end_membership(by=owner, membership=office, now=now)
    assert bearer(secret).get("/api/v1/me/").status_code == 401
    _, secret = issue_token(by=installer, membership=installer, name="phone", ttl=DAY, now=now)
    Membership.objects.filter(pk=installer.pk).update(is_active=False)
    assert bearer(secret).get("/api/v1/me/").status_code == 401
    Membership.objects.filter(pk=installer.pk).update(is_active=True)
    assert bearer(secret).get("/api/v1/me/").status_code == 200
    installer.user.is_active = False
    installer.user.save()
    assert bearer(secret).get("/api/v1/me/").status_code == 401


@pytest.mark.parametrize(
    "header",
    [
        "Bearer",
        "Bearer ",
        "Bearer not-a-token",
        "Bearer two words",
        "Bearer \xff\xfe",
        "Bearer " + "a" * 64,
        "Bearer " + "0" * 6000,
    ],
)
@pytest.mark.django_db
def test_nonsense_in_the_header_is_not_let_in(header: str) -> None:
    answer = APIClient().get("/api/v1/me/", headers={"Authorization": header})
    assert answer.status_code == 401
    assert answer.headers["WWW-Authenticate"] == "Bearer"
    assert answer.json()["code"] == "unauthenticated"


@pytest.mark.parametrize("end", [NOW, NOW - DAY, NOW + timedelta(days=5 * 366, seconds=1)])
def test_a_token_ends_after_now_and_within_five_years(office: Membership, end: datetime) -> None:
    with pytest.raises(InvalidInput) as caught:
        issue_token(by=office, membership=office, name="phone", expires_at=end, now=NOW)
    assert [fault.pointer for fault in caught.value.faults] == ["/expires_at"]
    assert not AccessToken.objects.exists()


def test_a_token_without_an_end_is_not_made(office: Membership) -> None:
    with pytest.raises(InvalidInput):
        issue_token(by=office, membership=office, name="phone", now=NOW)


def test_nobody_makes_a_token_that_acts_for_somebody_else(owner: Membership, office: Membership) -> None:
    with pytest.raises(NotAllowed):
        issue_token(by=owner, membership=office, name="phone", ttl=DAY, now=NOW)


def test_a_meters_token_is_made_for_a_unit_one_sees_and_by_owner_and_office_alone(
    owner: Membership, office: Membership, installer: Membership, client_member: Membership
) -> None:
    unit = factories.UnitFactory(company=owner.company, site__client=client_member.client)
    foreign = factories.UnitFactory()
    for by in (installer, client_member):
        with pytest.raises(NotAllowed):
            issue_token(by=by, membership=by, name="meter", ttl=DAY, meter_unit_id=unit.pk, now=NOW)
    answers = set()
    for pk in (foreign.pk, 10**9, 2**63):
        with pytest.raises(InvalidInput) as caught:
            issue_token(by=office, membership=office, name="meter", ttl=DAY, meter_unit_id=pk, now=NOW)
        answers.add(caught.value.sentence.replace(str(pk), "..."))
    assert len(answers) == 1
    token, _ = issue_token(by=office, membership=office, name="meter", ttl=DAY, meter_unit_id=unit.pk, now=NOW)
    assert token.meter_unit_id == unit.pk


def test_a_token_made_over_the_api_works_and_shows_its_secret_once(as_office: APIClient, office: Membership) -> None:
    end = datetime.now(UTC) + timedelta(minutes=30)
    created = as_office.post("/api/v1/tokens/", {"name": "phone", "expires_at": end.isoformat()})
    assert created.status_code == 201, created.content
    assert created.headers["Cache-Control"] == "no-store"
    secret = created.json()["token"]
    assert bearer(secret).get("/api/v1/me/").json()["membership"]["id"] == office.pk
    address = created.headers["Location"]
    assert "token" not in as_office.get(address).json()
    assert secret not in as_office.get("/api/v1/tokens/").content.decode()
    assert as_office.delete(address).status_code == 204
    assert bearer(secret).get("/api/v1/me/").status_code == 401


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"expires_at": "2027-01-01T00:00:00Z"}, "/name"),
        ({"name": "phone"}, "/expires_at"),
        ({"name": "phone", "expires_at": "2027-01-01T00:00:00"}, "/expires_at"),
        ({"name": "phone", "expires_at": "2020-01-01T00:00:00Z"}, "/expires_at"),
        ({"name": "phone", "expires_at": "2999-01-01T00:00:00Z"}, "/expires_at"),
        ({"name": "phone", "expires_at": "soon"}, "/expires_at"),
        ({"name": "phone", "expires_at": 5}, "/expires_at"),
        ({"name": "x" * 81, "expires_at": "2027-01-01T00:00:00Z"}, "/name"),
        ({"name": "m", "expires_at": "2027-01-01T00:00:00Z", "meter_unit": 4711}, "/meter_unit"),
        ({"name": "m", "expires_at": "2027-01-01T00:00:00Z", "meter_unit": 2**70}, "/meter_unit"),
        ({"name": "m", "expires_at": "2027-01-01T00:00:00Z", "membership": 1}, "/membership"),
    ],
)
def test_what_is_wrong_with_a_wanted_token_is_said_where_it_lies(
    as_office: APIClient, body: dict[str, object], pointer: str
) -> None:
    before = AccessToken.objects.count()
    with time_machine.travel(datetime(2026, 6, 1, tzinfo=UTC)):
        AccessToken.objects.update(expiry=datetime(2027, 7, 1, tzinfo=UTC))
        answer = as_office.post("/api/v1/tokens/", body)
    assert answer.status_code == 400, answer.content
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    assert AccessToken.objects.count() == before


def test_members_see_their_own_tokens_the_office_those_of_meters_the_owner_all(
    api_for: ApiFor, owner: Membership, office: Membership, installer: Membership
) -> None:
    unit = factories.UnitFactory(company=owner.company)
    clients = {member.role: api_for(member) for member in (owner, office, installer)}
    meter, _ = issue_token(by=owner, membership=owner, name="m", ttl=DAY, meter_unit_id=unit.pk, now=datetime.now(UTC))
    own = {role: AccessToken.objects.get(membership__role=role, meter_unit_id=None).pk for role in clients}

    def listed(role: str) -> set[int]:
        return {row["id"] for row in clients[role].get("/api/v1/tokens/").json()["results"]}

    assert listed("installer") == {own["installer"]}
    assert listed("office") == {own["office"], meter.pk}
    assert listed("owner") == {*own.values(), meter.pk}
    assert clients["installer"].delete(f"/api/v1/tokens/{own['office']}/").status_code == 404
    assert clients["office"].delete(f"/api/v1/tokens/{own['owner']}/").status_code == 404
    assert clients["office"].delete(f"/api/v1/tokens/{meter.pk}/").status_code == 204
    assert clients["owner"].delete(f"/api/v1/tokens/{own['installer']}/").status_code == 204
    assert clients["installer"].get("/api/v1/me/").status_code == 401


def test_the_use_of_a_token_is_noted_but_not_at_every_request(office: Membership) -> None:
    token, secret = issue_token(by=office, membership=office, name="phone", ttl=DAY, now=NOW)
    noted = []
    for minutes in (0, 5, 11):
        with time_machine.travel(NOW + timedelta(minutes=minutes), tick=False):
            bearer(secret).get("/api/v1/me/")
        token.refresh_from_db()
        noted.append(token.last_used_at)
    assert noted == [NOW, NOW, NOW + timedelta(minutes=11)]


def test_long_expired_tokens_are_forgotten(office: Membership) -> None:
    issue_token(by=office, membership=office, name="old", ttl=DAY, now=NOW - timedelta(days=92))
    recent_token, _ = issue_token(by=office, membership=office, name="expired", ttl=DAY, now=NOW - timedelta(days=30))
    assert forget_expired_tokens(now=NOW) == 1
    assert AccessToken.objects.get() == recent_token
