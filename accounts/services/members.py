"""People of a company: who founds it, what they become, who goes; how they come stands in `invitations`."""

from datetime import datetime
from typing import Any

from django.core.validators import validate_email
from django.db import IntegrityError, transaction
from django.db.models import Q

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import AccessToken, Client, Company, Membership, User
from accounts.services.audit import record
from accounts.services.sessions import end_sessions_of
from accounts.wall import over_all_companies

Role = Membership.Role


@over_all_companies()
@transaction.atomic
def create_company(
    *,
    name: str,
    email: str,
    time_zone: str,
    now: datetime,
    full_name: str = "",
    currency: str = "EUR",
    unit_system: str = Company.UnitSystem.METRIC,
) -> Membership:
    """Found a company with its first owner, and give the owner's membership. Leaves an audit entry.

    The owner has no password yet: they choose it by a link (`accounts.services.links.password_token`).

    Raises Conflict when the address has an account already: it is not this command's to say whose it is.
    """
    company = Company(name=name, currency=currency, time_zone=time_zone, unit_system=unit_system)
    company.full_clean()
    company.save()
    validate_email(email)
    user = new_account(email=email)
    owner = Membership.objects.create(user=user, company=company, name=full_name, role=Role.OWNER)
    record(by=owner, action="found company", subject=company, now=now)
    return owner


@transaction.atomic
def add_from_server(*, by: Membership, email: str, role: str, now: datetime, name: str = "") -> Membership:
    """Give a person a place in the company of `by`, its owner, as whoever administers the server may: at once.

    They have no password yet and choose it by a link, as the owner of a new company does. Over the interface people
    are invited instead. Leaves an audit entry.

    Raises Conflict when the address has an account already: they are invited then, and accept with it.
    """
    only_owner(by=by)
    validate_email(email)
    user = new_account(email=email)
    membership = Membership.objects.create(user=user, company_id=by.company_id, role=role, name=name)
    record(by=by, action="add member", subject=membership, details={"role": role}, now=now)
    return membership


@transaction.atomic
def change_role(
    *, by: Membership, membership: Membership, role: str, now: datetime, client: Client | None = None
) -> Membership:
    """Give a member another role. The last owner stays one. Leaves an audit entry with the old and the new role."""
    only_owner(by=by)
    _same_company(by, membership)
    check_client(by=by, role=role, client=client)
    owners = _locked_owners(by.company_id)
    if role != Role.OWNER and owners == [membership.pk]:
        raise Conflict("last_owner", "A company needs an owner: make another member owner first.", pointer="/role")
    membership.role, membership.client = role, client
    membership.save(update_fields=["role", "client"])
    if role not in (Role.OWNER, Role.OFFICE):
        _pass_meters_on(membership, to=next(pk for pk in owners if pk != membership.pk))
    record(by=by, action="change role", subject=membership, now=now)
    return membership


@transaction.atomic
def change_member(*, by: Membership, membership: Membership, now: datetime, **changes: Any) -> Membership:
    """Change what was sent of `name`, `role` and `client`; a client without a role keeps the role. Audited."""
    if "name" in changes:
        only_owner(by=by)
        _same_company(by, membership)
        membership.name = changes["name"]
        membership.save(update_fields=["name"])
        record(by=by, action="rename member", subject=membership, now=now)
    if "role" in changes or "client" in changes:
        role = changes.get("role", membership.role)
        # Whoever stays a client stays the same client's; whoever becomes something else is nobody's client.
        present_client = membership.client if role == Role.CLIENT else None
        change_role(by=by, membership=membership, role=role, client=changes.get("client", present_client), now=now)
    return membership


@transaction.atomic
def choose_digest(*, by: Membership, gets_digest: bool, now: datetime) -> Membership:
    """Say whether one gets the morning letter oneself. Leaves an audit entry where that is a change."""
    if by.gets_digest != gets_digest:
        by.gets_digest = gets_digest
        by.save(update_fields=["gets_digest"])
        record(by=by, action="change wishes", subject=by, now=now)
    return by


@transaction.atomic
def end_membership(*, by: Membership, membership: Membership, now: datetime) -> Membership:
    """End a membership, its sessions and its tokens; what the person did stays on record. The last owner cannot go.

    The tokens of meters pass to an owner: a meter on a client's wall must not fall silent because an employee left.
    Leaves an audit entry.
    """
    only_owner(by=by)
    _same_company(by, membership)
    owners = _locked_owners(by.company_id)
    if owners == [membership.pk]:
        raise Conflict("last_owner", "A company needs an owner: make another member owner first.")
    if membership.is_active:
        membership.is_active = False
        membership.save(update_fields=["is_active"])
        passed_on = _pass_meters_on(membership, to=next(pk for pk in owners if pk != membership.pk))
        revoked, _ = AccessToken.objects.filter(membership=membership).delete()
        end_sessions_of(membership=membership)
        details = {"tokens_revoked": revoked, "meter_tokens_passed_on": passed_on}
        record(by=by, action="end membership", subject=membership, details=details, now=now)
    return membership


def new_account(*, email: str) -> User:
    """Add an account that no password opens. Conflict when the address has one."""
    email = email.strip().lower()
    user = User(username=email, email=email)
    user.set_unusable_password()
    if User.objects.filter(Q(email__iexact=email) | Q(username__iexact=email)).exists():
        raise _address_in_use()
    try:
        with transaction.atomic():
            user.save()
    except IntegrityError:
        # Somebody else added the address at the same moment.
        raise _address_in_use() from None
    return user


def _address_in_use() -> Conflict:
    """Say no more than that: not whose account it is, nor where."""
    return Conflict(
        "address_in_use",
        "This address cannot be used, because it has an account already. Give another address.",
        pointer="/email",
    )


def _pass_meters_on(membership: Membership, *, to: int) -> int:
    """Let the meters of a member act for an owner from now on; say how many."""
    heir = Membership.objects.get(pk=to)
    meters = AccessToken.objects.filter(membership=membership, meter_unit_id__isnull=False)
    return meters.update(membership=heir, user_id=heir.user_id)


def only_owner(*, by: Membership) -> None:
    """Refuse whoever is not the owner in person."""
    if by.role != Role.OWNER or not by.is_active or by.meter_unit_id is not None:
        raise NotAllowed("owner_only", "Only the owner gives and takes access.")


def _same_company(by: Membership, membership: Membership) -> None:
    if membership.company_id != by.company_id:
        raise NotAllowed("other_company", "This member belongs to another company.")


def check_client(*, by: Membership, role: str, client: Client | None) -> None:
    """Refuse a role that there is not, a client's without a client of the company, and a client with another role."""
    if role not in Role.values:
        raise InvalidInput("unknown_role", f"The role must be one of: {', '.join(Role.values)}.", pointer="/role")
    if role == Role.CLIENT and client is None:
        raise InvalidInput("client_missing", "The role 'client' needs a client: give its id.", pointer="/client")
    if role != Role.CLIENT and client is not None:
        raise InvalidInput("client_unwanted", "Only the role 'client' may have a client.", pointer="/client")
    if client is not None and client.company_id != by.company_id:
        raise InvalidInput("client_unknown", "There is no such client.", pointer="/client")


def _locked_owners(company_id: int) -> list[int]:
    """Name the active owners, locked, so that two owners who remove each other cannot both succeed."""
    rows = Membership.objects.select_for_update().filter(company_id=company_id, role=Role.OWNER, is_active=True)
    return list(rows.order_by("pk").values_list("pk", flat=True))
