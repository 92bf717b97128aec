"""People over the API."""

from rest_framework.test import APIClient

from accounts.models import Client, Membership
from tests import factories

MEMBERS = "/api/v1/members/"


def test_the_owner_adds_a_client_who_signs_in(as_owner: APIClient, api: APIClient, first_client: Client) -> None:
    body = {
        "email": "cleo@first.example",
        "name": "Cleo",
        "role": "client",
        "client": first_client.pk,
        "password": factories.PASSWORD,
    }
    created = as_owner.post(MEMBERS, body)
    assert created.status_code == 201, created.content
    assert created.json() | {"id": 0, "created_at": ""} == {
        "id": 0,
        "email": "cleo@first.example",
        "name": "Cleo",
        "role": "client",
        "client": first_client.pk,
        "is_active": True,
        "created_at": "",
    }
    signed_in = api.post("/api/v1/login/", {"email": "cleo@first.example", "password": factories.PASSWORD})
    assert signed_in.json()["membership"]["client"] == first_client.pk


def test_nobody_opens_our_company_with_a_password_another_company_chose(
    as_owner: APIClient, as_rival: APIClient, api: APIClient, owner: Membership
) -> None:
    email, chosen_by_rival = "nina@people.example", "the-rival-knows-41"
    assert as_rival.post(MEMBERS, {"email": email, "role": "office", "password": chosen_by_rival}).status_code == 201
    refused = as_owner.post(MEMBERS, {"email": email, "role": "owner", "password": factories.PASSWORD})
    assert (refused.status_code, refused.json()["code"]) == (409, "address_in_use")
    assert "South Water" not in refused.content.decode()
    signed_in = api.post("/api/v1/login/", {"email": email, "password": chosen_by_rival}).json()
    assert signed_in["membership"]["company"]["name"] == "South Water"
    assert Membership.objects.get(user__email=email).company.name == "South Water"
    assert api.post("/api/v1/login/", {"email": email, "password": factories.PASSWORD}).status_code == 401
    assert list(Membership.objects.filter(company=owner.company)) == [owner]


def test_a_password_is_neither_answered_nor_kept_for_a_retry(as_owner: APIClient) -> None:
    body = {"email": "x@north.example", "role": "office", "password": factories.PASSWORD}
    refused = as_owner.post(MEMBERS, body, headers={"Idempotency-Key": "k1"})
    assert refused.status_code == 400
    assert refused.json()["errors"] == [
        {
            "header": "Idempotency-Key",
            "detail": "No Idempotency-Key is taken here: this answer is never stored.",
        }
    ]
    assert not Membership.objects.filter(user__email="x@north.example").exists()


def test_changing_a_role_needs_the_newest_version_when_asked_for(as_owner: APIClient, office: Membership) -> None:
    address = f"{MEMBERS}{office.pk}/"
    etag = as_owner.get(address).headers["ETag"]
    first = as_owner.patch(address, {"role": "installer"}, headers={"If-Match": etag})
    assert (first.status_code, first.json()["role"]) == (200, "installer")
    second = as_owner.patch(address, {"role": "owner"}, headers={"If-Match": etag})
    assert (second.status_code, second.json()["code"]) == (412, "changed_since")
    office.refresh_from_db()
    assert office.role == "installer"


def test_the_last_owner_is_told_why_they_cannot_go(as_owner: APIClient, owner: Membership) -> None:
    for answer in (
        as_owner.patch(f"{MEMBERS}{owner.pk}/", {"role": "office"}),
        as_owner.post(f"{MEMBERS}{owner.pk}/end/"),
    ):
        assert (answer.status_code, answer.json()["code"]) == (409, "last_owner")
    owner.refresh_from_db()
    assert (owner.role, owner.is_active) == ("owner", True)


def test_who_left_stays_on_the_list_and_cannot_come_in(
    as_owner: APIClient, as_office: APIClient, office: Membership
) -> None:
    answer = as_owner.post(f"{MEMBERS}{office.pk}/end/")
    assert (answer.status_code, answer.json()["is_active"]) == (200, False)
    assert as_office.get("/api/v1/me/").status_code == 401
    former_members = as_owner.get(MEMBERS, {"is_active": "false"}).json()["results"]
    assert [member["id"] for member in former_members] == [office.pk]


def test_another_companys_client_is_no_client_here(as_owner: APIClient) -> None:
    foreign = factories.ClientFactory()
    answer = as_owner.post(MEMBERS, {"email": "x@y.example", "role": "client", "client": foreign.pk})
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["pointer"] == "/client"
    assert foreign.name not in answer.content.decode()


def test_the_trail_shows_the_owner_who_did_what(as_owner: APIClient, owner: Membership, office: Membership) -> None:
    as_owner.patch(f"{MEMBERS}{office.pk}/", {"role": "installer"})
    trail = as_owner.get("/api/v1/audit-entries/", {"action": "change role"}).json()["results"]
    assert len(trail) == 1
    assert trail[0] | {"id": 0, "at": ""} == {
        "id": 0,
        "at": "",
        "membership": owner.pk,
        "by": owner.user.email,
        "action": "change role",
        "subject_kind": "membership",
        "subject_id": str(office.pk),
        "subject_name": "ofer@north.example",
        "sentence": "olga@north.example changed the member ofer@north.example. Role: installer, before office.",
        "details": {"changes": {"role": {"old": "office", "new": "installer"}}},
    }
