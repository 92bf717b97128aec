"""People of a company: who comes, what they become, who goes."""

from datetime import datetime
from typing import Any

from django.core.validators import validate_email
from django.db import transaction

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import AccessToken, Client, Company, Membership, User
from accounts.services.audit import record
from accounts.services.signing_in import check_new_password

Role = Membership.Role


@transaction.atomic
def found_company(
    *,
    name: str,
    email: str,
    password: str,
    time_zone: str,
    now: datetime,
    full_name: str = "",
    currency: str = "EUR",
    unit_system: str = Company.UnitSystem.METRIC,
) -> Membership:
    """Found a company with its first owner, and give the owner's membership. Leaves an audit entry.

    A person who is known already keeps their password.
    """
    company = Company(name=name, currency=currency, time_zone=time_zone, unit_system=unit_system)
    company.full_clean()
    company.save()
    validate_email(email)
    user = _person(email=email, password=password)
    owner = Membership.objects.create(user=user, company=company, name=full_name, role=Role.OWNER)
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
    name: str = "",
    password: str | None = None,
) -> Membership:
    """Give a person a place in the company of `by`, who must be its owner.

    A person the records do not know yet begins with `password`; one they know, perhaps from another company, keeps
    their own, and nothing in the outcome tells the two apart. Somebody whose membership had ended comes back with the
    new role. Leaves an audit entry.

    Raises NotAllowed; InvalidInput for a client role without its client (or a client with another role) and for a weak
    password; Conflict when the person is a member already.
    """
    _only_owner(by)
    _check_client(by=by, role=role, client=client)
    user = _person(email=email, password=password)
    membership = Membership.objects.select_for_update().filter(user=user, company_id=by.company_id).first()
    if membership is not None and membership.is_active:
        raise Conflict("already_a_member", "This person is a member of the company already.", pointer="/email")
    if membership is None:
        membership = Membership(user=user, company_id=by.company_id)
    membership.role, membership.client, membership.is_active = role, client, True
    membership.name = name or membership.name
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
    if role not in (Role.OWNER, Role.OFFICE):
        _pass_meters_on(membership, to=next(pk for pk in owners if pk != membership.pk))
    record(by=by, action="change role", subject=membership, details={"old": old, "new": role}, now=now)
    return membership


@transaction.atomic
def change_member(*, by: Membership, membership: Membership, now: datetime, **changes: Any) -> Membership:
    """Change what was sent of `name`, `role` and `client`; a client without a role keeps the role. Audited."""
    if "name" in changes:
        _only_owner(by)
        _same_company(by, membership)
        membership.name = changes["name"]
        membership.save(update_fields=["name"])
        record(by=by, action="rename member", subject=membership, now=now)
    if "role" in changes or "client" in changes:
        role = changes.get("role", membership.role)
        # Whoever stays a client stays the same client's; whoever becomes something else is nobody's client.
        kept = membership.client if role == Role.CLIENT else None
        change_role(by=by, membership=membership, role=role, client=changes.get("client", kept), now=now)
    return membership


@transaction.atomic
def end_membership(*, by: Membership, membership: Membership, now: datetime) -> Membership:
    """End a membership and revoke its tokens; what the person did stays on record. The last owner cannot go.

    The tokens of meters pass to an owner: a meter on a client's wall must not fall silent because an employee left.
    Leaves an audit entry.
    """
    _only_owner(by)
    _same_company(by, membership)
    owners = _locked_owners(by.company_id)
    if owners == [membership.pk]:
        raise Conflict("last_owner", "A company keeps one owner: make another member owner first.")
    if membership.is_active:
        membership.is_active = False
        membership.save(update_fields=["is_active"])
        passed_on = _pass_meters_on(membership, to=next(pk for pk in owners if pk != membership.pk))
        revoked, _ = AccessToken.objects.filter(membership=membership).delete()
        details = {"tokens_revoked": revoked, "meter_tokens_passed_on": passed_on}
        record(by=by, action="end membership", subject=membership, details=details, now=now)
    return membership


def _person(*, email: str, password: str | None) -> User:
    """Find a person by email, or add one. The password is checked either way, so that both cases answer alike."""
    email = email.strip().lower()
    if password is not None:
        check_new_password(user=User(username=email, email=email), password=password, pointer="/password")
    user = User.objects.filter(email__iexact=email).order_by("pk").first()
    if user is None:
        user = User(username=email, email=email)
        # None makes a password that never matches.
        user.set_password(password)
        user.save()
    return user


def _pass_meters_on(membership: Membership, *, to: int) -> int:
    """Let the meters of a member act for an owner from now on; say how many."""
    heir = Membership.objects.get(pk=to)
    meters = AccessToken.objects.filter(membership=membership, meter_unit_id__isnull=False)
    return meters.update(membership=heir, user_id=heir.user_id)


def _only_owner(by: Membership) -> None:
    if by.role != Role.OWNER or not by.is_active or by.meter_unit_id is not None:
        raise NotAllowed("owner_only", "Only the owner gives and takes access.")


def _same_company(by: Membership, membership: Membership) -> None:
    if membership.company_id != by.company_id:
        raise NotAllowed("other_company", "This member belongs to another company.")


def _check_client(*, by: Membership, role: str, client: Client | None) -> None:
    if role not in Role.values:
        raise InvalidInput("unknown_role", f"The role must be one of: {', '.join(Role.values)}.", pointer="/role")
    if role == Role.CLIENT and client is None:
        raise InvalidInput("client_missing", "The role 'client' goes with a client: name which.", pointer="/client")
    if role != Role.CLIENT and client is not None:
        raise InvalidInput("client_unwanted", "Only the role 'client' goes with a client.", pointer="/client")
    if client is not None and client.company_id != by.company_id:
        raise InvalidInput("client_unknown", "There is no such client.", pointer="/client")


def _locked_owners(company_id: int) -> list[int]:
    """Name the active owners, locked, so that two owners who remove each other cannot both succeed."""
    rows = Membership.objects.select_for_update().filter(company_id=company_id, role=Role.OWNER, is_active=True)
    return list(rows.order_by("pk").values_list("pk", flat=True))
