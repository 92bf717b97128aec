"""People come, change and go."""

from collections.abc import Callable
from datetime import timedelta

import pytest

from accounts.errors import Conflict, DomainError, InvalidInput, NotAllowed
from accounts.models import AccessToken, AuditEntry, Client, Membership, User
from accounts.services import add_member, change_member, change_role, create_company, end_membership, issue_token
from tests import factories

pytestmark = pytest.mark.interface

NOW = factories.NOW
GOOD = factories.PASSWORD


def pointers(error: DomainError) -> list[str]:
    return [fault.pointer for fault in error.faults]


@pytest.mark.django_db
def test_a_company_is_founded_with_its_owner() -> None:
    owner = create_company(
        name="East Water", email="Eve@East.example", password=GOOD, time_zone="Europe/Paris", now=NOW
    )
    assert (owner.role, owner.company.name, owner.user.email) == ("owner", "East Water", "eve@east.example")
    assert owner.user.check_password(GOOD)
    assert AuditEntry.objects.get().action == "found company"


def test_the_owner_adds_a_person_who_can_sign_in(owner: Membership) -> None:
    added = add_member(by=owner, email="New@North.example", role="installer", name="Nina", password=GOOD, now=NOW)
    assert (added.company, added.role, added.name, added.user.email) == (
        owner.company,
        "installer",
        "Nina",
        "new@north.example",
    )
    assert added.user.check_password(GOOD)
    entry = AuditEntry.objects.get()
    assert (entry.action, entry.membership, entry.at) == ("add member", owner, NOW)
    assert (entry.subject_kind, entry.subject_id) == ("membership", str(added.pk))


@pytest.mark.parametrize("spelling", [str, str.upper, " {} ".format])
@pytest.mark.parametrize("password", [None, GOOD + "x"])
def test_an_address_with_an_account_is_refused_and_its_account_left_alone(
    owner: Membership, rival: Membership, spelling: Callable[[str], str], password: str | None
) -> None:
    before = User.objects.values().get(pk=rival.user_id)
    with pytest.raises(Conflict) as caught:
        add_member(by=owner, email=spelling(rival.user.email), role="office", password=password, now=NOW)
    assert (caught.value.code, pointers(caught.value)) == ("address_in_use", ["/email"])
    assert rival.company.name not in caught.value.sentence
    assert User.objects.values().get(pk=rival.user_id) == before
    assert not Membership.objects.filter(company=owner.company, user=rival.user).exists()


def test_a_company_is_not_founded_with_an_account_of_somebody_elses_making(rival: Membership) -> None:
    with pytest.raises(Conflict, match="account already"):
        create_company(name="East Water", email=rival.user.email, password=GOOD, time_zone="UTC", now=NOW)


def test_a_name_of_an_account_is_taken_like_its_address(owner: Membership) -> None:
    factories.UserFactory(username="Root@North.example", email="admin@north.example")
    with pytest.raises(Conflict, match="account already"):
        add_member(by=owner, email="root@north.example", role="office", password=GOOD, now=NOW)


@pytest.mark.parametrize("role", ["office", "installer", "client"])
def test_only_the_owner_gives_and_takes_access(
    role: str, company: object, owner: Membership, first_client: Client
) -> None:
    by = factories.MembershipFactory(company=company, role=role, client=first_client if role == "client" else None)
    for attempt in (
        lambda: add_member(by=by, email="x@north.example", role="owner", now=NOW),
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


def test_a_clients_membership_names_a_client_of_the_company_and_no_other_does(
    owner: Membership, first_client: Client
) -> None:
    foreign = factories.ClientFactory()
    for role, client in (("client", None), ("office", first_client), ("client", foreign)):
        with pytest.raises(InvalidInput) as caught:
            add_member(by=owner, email="x@first.example", role=role, client=client, now=NOW)
        assert pointers(caught.value) == ["/client"]
    assert Membership.objects.count() == 1
    added = add_member(by=owner, email="x@first.example", role="client", client=first_client, now=NOW)
    assert added.client == first_client


def test_a_role_that_does_not_exist_is_refused(owner: Membership) -> None:
    with pytest.raises(InvalidInput, match="must be one of: owner, office, installer, client"):
        add_member(by=owner, email="x@north.example", role="boss", now=NOW)


@pytest.mark.parametrize("password", ["short", "password1234"])
def test_a_weak_password_is_refused_for_known_and_unknown_people_alike(owner: Membership, password: str) -> None:
    factories.UserFactory(email="known@north.example")
    sentences = []
    for email in ("unknown@north.example", "known@north.example"):
        with pytest.raises(InvalidInput) as caught:
            add_member(by=owner, email=email, role="office", password=password, now=NOW)
        sentences.append((caught.value.code, caught.value.faults))
    assert sentences[0] == sentences[1]
    assert sentences[0][0] == "weak_password"
    assert Membership.objects.count() == 1


def test_who_is_a_member_already_is_not_added_again(owner: Membership, office: Membership) -> None:
    with pytest.raises(Conflict, match="already"):
        add_member(by=owner, email=office.user.email, role="owner", now=NOW)
    office.refresh_from_db()
    assert office.role == "office"


def test_who_left_comes_back_with_the_new_role(owner: Membership, office: Membership) -> None:
    end_membership(by=owner, membership=office, now=NOW)
    back = add_member(by=owner, email=office.user.email, role="installer", now=NOW)
    assert (back.pk, back.role, back.is_active) == (office.pk, "installer", True)


def test_who_comes_back_keeps_the_password_they_had(owner: Membership, office: Membership) -> None:
    end_membership(by=owner, membership=office, now=NOW)
    with pytest.raises(InvalidInput) as caught:
        add_member(by=owner, email=office.user.email, role="office", password=GOOD + "x", now=NOW)
    assert pointers(caught.value) == ["/password"]
    office.refresh_from_db()
    assert (office.is_active, office.user.check_password(GOOD)) == (False, True)


def test_who_left_for_another_company_does_not_come_back_with_its_account(
    owner: Membership, office: Membership, rival: Membership
) -> None:
    end_membership(by=owner, membership=office, now=NOW)
    factories.MembershipFactory(user=office.user, company=rival.company, role="office")
    with pytest.raises(Conflict, match="account already"):
        add_member(by=owner, email=office.user.email, role="office", now=NOW)


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
