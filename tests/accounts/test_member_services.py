"""People come, change and go."""

from datetime import timedelta

import pytest

from accounts.errors import Conflict, DomainError, NotAllowed
from accounts.models import AccessToken, AuditEntry, Client, Membership, User
from accounts.services import change_member, change_role, create_company, end_membership, invite, issue_token
from accounts.services.invented import add_invented_person
from tests import factories

pytestmark = pytest.mark.interface

NOW = factories.NOW
GOOD = factories.PASSWORD


def pointers(error: DomainError) -> list[str]:
    return [fault.pointer for fault in error.faults]


@pytest.mark.django_db
def test_a_company_is_founded_with_its_owner() -> None:
    owner = create_company(name="East Water", email="Eve@East.example", time_zone="Europe/Paris", now=NOW)
    assert (owner.role, owner.company.name, owner.user.email) == ("owner", "East Water", "eve@east.example")
    assert not owner.user.has_usable_password()
    assert AuditEntry.objects.get().action == "found company"


def test_an_invented_person_takes_no_account_that_is_somebodys(owner: Membership, rival: Membership) -> None:
    before = User.objects.values().get(pk=rival.user_id)
    with pytest.raises(Conflict) as caught:
        add_invented_person(by=owner, email=rival.user.email.upper(), role="office", password=GOOD, now=NOW)
    assert (caught.value.code, pointers(caught.value)) == ("address_in_use", ["/email"])
    assert User.objects.values().get(pk=rival.user_id) == before


def test_a_name_of_an_account_is_taken_like_its_address(owner: Membership) -> None:
    factories.UserFactory(username="Root@North.example", email="admin@north.example")
    with pytest.raises(Conflict, match="account already"):
        add_invented_person(by=owner, email="root@north.example", role="office", password=GOOD, now=NOW)


def test_a_company_is_not_founded_with_an_account_of_somebody_elses_making(rival: Membership) -> None:
    with pytest.raises(Conflict, match="account already"):
        create_company(name="East Water", email=rival.user.email, time_zone="UTC", now=NOW)


@pytest.mark.parametrize("role", ["office", "installer", "client"])
def test_only_the_owner_gives_and_takes_access(
    role: str, company: object, owner: Membership, first_client: Client
) -> None:
    by = factories.MembershipFactory(company=company, role=role, client=first_client if role == "client" else None)
    for attempt in (
        lambda: invite(by=by, email="x@north.example", role="owner", now=NOW),
        lambda: change_role(by=by, membership=by, role="owner", now=NOW),
        lambda: end_membership(by=by, membership=owner, now=NOW),
        lambda: change_member(by=by, membership=owner, name="X", now=NOW),
    ):
        with pytest.raises(NotAllowed):
            attempt()
    owner.refresh_from_db()
    assert (owner.is_active, owner.name) == (True, "")
    assert Membership.objects.count() == 2
    assert not AuditEntry.objects.exists()


def test_an_owner_has_no_say_over_another_companys_members(owner: Membership, rival: Membership) -> None:
    for attempt in (
        lambda: change_role(by=owner, membership=rival, role="office", now=NOW),
        lambda: end_membership(by=owner, membership=rival, now=NOW),
        lambda: change_member(by=owner, membership=rival, name="X", now=NOW),
    ):
        with pytest.raises(NotAllowed):
            attempt()


def test_the_last_owner_neither_steps_down_nor_leaves(owner: Membership, office: Membership) -> None:
    factories.MembershipFactory(company=owner.company, role="owner", is_active=False)
    with pytest.raises(Conflict, match="needs an owner"):
        change_role(by=owner, membership=owner, role="office", now=NOW)
    with pytest.raises(Conflict, match="needs an owner"):
        end_membership(by=owner, membership=owner, now=NOW)
    change_role(by=owner, membership=office, role="owner", now=NOW)
    end_membership(by=owner, membership=owner, now=NOW)
    assert list(Membership.objects.filter(role="owner", is_active=True)) == [office]


def test_a_changed_role_is_on_record_with_the_old_one(owner: Membership, office: Membership) -> None:
    change_role(by=owner, membership=Membership.objects.get(pk=office.pk), role="installer", now=NOW)
    assert AuditEntry.objects.get().details == {"changes": {"role": {"old": "office", "new": "installer"}}}


def test_an_ended_membership_takes_its_tokens_along_but_leaves_its_meters_to_an_owner(
    owner: Membership, office: Membership
) -> None:
    unit = factories.UnitFactory(company=owner.company)
    hour = timedelta(hours=1)
    issue_token(by=office, membership=office, name="phone", ttl=hour, now=NOW)
    meter, _ = issue_token(by=office, membership=office, name="meter", ttl=hour, meter_unit_id=unit.pk, now=NOW)
    end_membership(by=owner, membership=Membership.objects.get(pk=office.pk), now=NOW)
    meter_token = AccessToken.objects.get()
    assert (meter_token.pk, meter_token.membership, meter_token.user) == (meter.pk, owner, owner.user)
    assert AuditEntry.objects.first().details == {
        "changes": {"is_active": {"old": True, "new": False}},
        "tokens_revoked": 1,
        "meter_tokens_passed_on": 1,
    }


def test_ending_twice_changes_nothing(owner: Membership, office: Membership) -> None:
    end_membership(by=owner, membership=office, now=NOW)
    end_membership(by=owner, membership=office, now=NOW)
    assert AuditEntry.objects.count() == 1


def test_who_stops_being_a_client_is_nobodys_client(owner: Membership, client_member: Membership) -> None:
    changed = change_member(by=owner, membership=client_member, role="installer", now=NOW)
    assert (changed.role, changed.client) == ("installer", None)


def test_who_stays_a_client_stays_the_same_clients(owner: Membership, client_member: Membership) -> None:
    client = client_member.client
    changed = change_member(by=owner, membership=client_member, role="client", name="Clara", now=NOW)
    assert (changed.client, changed.name) == (client, "Clara")
