"""People over the API."""

from rest_framework.test import APIClient

from accounts.models import Membership

MEMBERS = "/api/v1/members/"


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
