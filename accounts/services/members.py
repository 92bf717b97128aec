"""People of a company: who comes, what they become, who goes."""

from datetime import datetime

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from accounts.errors import Conflict, Fault, InvalidInput, NotAllowed
from accounts.models import AccessToken, Client, Company, Membership, User
from accounts.services.audit import record

Role = Membership.Role


@transaction.atomic
def found_company(
    *, name: str, email: str, password: str, now: datetime, full_name: str = "", **settings: str
) -> Membership:
    """Found a company with its first owner, and give the owner's membership.

    `settings` are further columns of the company: `currency`, `time_zone`, `unit_system`. Leaves an audit entry.
    """
    company = Company.objects.create(name=name, **settings)
    user = _person(email=email, password=password, full_name=full_name)
    owner = Membership.objects.create(user=user, company=company, role=Role.OWNER)
    record(by=owner, action="found company", subject=company, now=now)
    return owner


@transaction.atomic
def add_member(
    *,
    by: Membership,
    email: str,
    role: str,
    now: datetime,
    client: Client | None = None,
    full_name: str = "",
    password: str | None = None,
) -> Membership:
    """Give a person a place in the company of `by`, who must be its owner.

    A person the records do not know yet is added with `password`, or without one until they set it. Somebody whose
    membership had ended comes back with the new role. Leaves an audit entry.

    Raises NotAllowed, InvalidInput for a client role without its client (or a client with another role) and for a weak
    password, Conflict when the person is a member already.
    """
    _only_owner(by)
    _check_client(by=by, role=role, client=client)
    user = User.objects.filter(email__iexact=email).first()
    if user is None:
        user = _person(email=email, password=password, full_name=full_name)
    membership = Membership.objects.select_for_update().filter(user=user, company_id=by.company_id).first()
    if membership is not None and membership.is_active:
        raise Conflict("already_a_member", "This person is a member of the company already.", pointer="/email")
    if membership is None:
        membership = Membership(user=user, company_id=by.company_id)
    membership.role, membership.client, membership.is_active = role, client, True
    membership.save()
    record(by=by, action="add member", subject=membership, details={"role": role}, now=now)
    return membership


@transaction.atomic
def change_role(
    *, by: Membership, membership: Membership, role: str, now: datetime, client: Client | None = None
) -> Membership:
    """Give a member another role. The last owner stays one. Leaves an audit entry with the old and the new role."""
    _only_owner(by)
    _same_company(by, membership)
    _check_client(by=by, role=role, client=client)
    owners = _locked_owners(by.company_id)
    if role != Role.OWNER and owners == [membership.pk]:
        raise Conflict("last_owner", "A company keeps one owner: make another member owner first.", pointer="/role")
    old, membership.role, membership.client = membership.role, role, client
    membership.save(update_fields=["role", "client"])
    record(by=by, action="change role", subject=membership, details={"old": old, "new": role}, now=now)
    return membership


@transaction.atomic
def end_membership(*, by: Membership, membership: Membership, now: datetime) -> Membership:
    """End a membership and revoke its tokens; what the person did stays on record. The last owner cannot go."""
    _only_owner(by)
    _same_company(by, membership)
    if _locked_owners(by.company_id) == [membership.pk]:
        raise Conflict("last_owner", "A company keeps one owner: make another member owner first.")
    if membership.is_active:
        membership.is_active = False
        membership.save(update_fields=["is_active"])
        revoked, _ = AccessToken.objects.filter(membership=membership).delete()
        record(by=by, action="end membership", subject=membership, details={"tokens_revoked": revoked}, now=now)
    return membership


def _person(*, email: str, password: str | None, full_name: str) -> User:
    user = User(username=email.lower(), email=email.lower(), first_name=full_name)
    if password is None:
        user.set_unusable_password()
    else:
        try:
            validate_password(password, user)
        except ValidationError as error:
            faults = [Fault("/password", sentence) for sentence in error.messages]
            raise InvalidInput("weak_password", "This password is too easy to guess.", faults=faults) from None
        user.set_password(password)
    user.save()
    return user


def _only_owner(by: Membership) -> None:
    if by.role != Role.OWNER or not by.is_active:
        raise NotAllowed("owner_only", "Only the owner gives and takes access.")


def _same_company(by: Membership, membership: Membership) -> None:
    if membership.company_id != by.company_id:
        raise NotAllowed("other_company", "This member belongs to another company.")


def _check_client(*, by: Membership, role: str, client: Client | None) -> None:
    if role not in Role.values:
        raise InvalidInput("unknown_role", f"The role must be one of: {', '.join(Role.values)}.", pointer="/role")
    if role == Role.CLIENT and client is None:
        raise InvalidInput("client_missing", "A client's membership names its client.", pointer="/client")
    if role != Role.CLIENT and client is not None:
        raise InvalidInput("client_unwanted", "Only the role 'client' goes with a client.", pointer="/client")
    if client is not None and client.company_id != by.company_id:
        raise InvalidInput("client_unknown", "There is no such client.", pointer="/client")


def _locked_owners(company_id: int) -> list[int]:
    """Name the active owners, locked, so that two owners who remove each other cannot both succeed."""
    rows = Membership.objects.select_for_update().filter(company_id=company_id, role=Role.OWNER, is_active=True)
    return list(rows.order_by("pk").values_list("pk", flat=True))
