"""How people come into a company: an owner invites an address, and whoever reads its mail accepts.

Nobody chooses a password for another person. Who has an account whose address is proven accepts as that account; for
everybody else the link is the proof, and the password they choose with it takes the place of any that was known before.
"""

from datetime import datetime, timedelta
from typing import Final

from django.db import IntegrityError, transaction
from django.db.models import Q

from accounts.errors import Conflict, InvalidInput, NotAllowed
from accounts.models import Client, Invitation, Letter, Membership, User
from accounts.services import links
from accounts.services.audit import record
from accounts.services.letters import write_letter
from accounts.services.members import check_client, only_owner
from accounts.services.passwords import check_new_password, choose_by_link
from accounts.services.second_factor import forget_of_a_stranger
from accounts.wall import over_all_companies

LIFE: Final = timedelta(days=7)


@transaction.atomic
def invite(
    *, by: Membership, email: str, role: str, now: datetime, client: Client | None = None, name: str = ""
) -> Invitation:
    """Offer a place in the company of `by`, who must be its owner, to whoever reads the mail of an address.

    A letter with a link goes there; the answer is the same whether or not the address has an account. An earlier
    invitation of the address is withdrawn. Leaves an audit entry.

    Raises NotAllowed; InvalidInput for a client role without its client (or a client with another role); Conflict when
    the person is a member already.
    """
    only_owner(by=by)
    check_client(by=by, role=role, client=client)
    email = email.strip().lower()
    if Membership.objects.filter(company_id=by.company_id, user__email__iexact=email, is_active=True).exists():
        raise Conflict("already_a_member", "This person is a member of the company already.", pointer="/email")
    earlier = Invitation.objects.filter(company_id=by.company_id, email=email, accepted_at=None, withdrawn_at=None)
    earlier.update(withdrawn_at=now)
    invitation = Invitation.objects.create(
        company_id=by.company_id,
        email=email,
        name=name,
        role=role,
        client=client,
        invited_by=by,
        created_at=now,
        expires_at=now + LIFE,
    )
    write_letter(kind=Letter.Kind.INVITATION, email=email, invitation=invitation, now=now)
    record(by=by, action="invite member", subject=invitation, details={"role": role}, now=now)
    return invitation


@transaction.atomic
def withdraw_invitation(*, by: Membership, invitation: Invitation, now: datetime) -> Invitation:
    """Take an invitation back: its link is of no more use. Leaves an audit entry. Conflict once it was accepted."""
    only_owner(by=by)
    if invitation.accepted_at is not None:
        raise Conflict("accepted_already", "This person has accepted and is a member: end the membership instead.")
    if invitation.withdrawn_at is None:
        invitation.withdrawn_at = now
        invitation.save(update_fields=["withdrawn_at"])
        record(by=by, action="withdraw invitation", subject=invitation, now=now)
    return invitation


@over_all_companies()
def read_invitation(*, token: str, now: datetime) -> Invitation | None:
    """The invitation of a link that can still be accepted; None of every other, forged or used."""
    key = links.read_invitation_token(token)
    rows = Invitation.objects.select_related("company", "client", "invited_by")
    invitation = rows.filter(pk=key).first() if key is not None else None
    return invitation if invitation is not None and invitation.is_open(now) else None


def account_of(invitation: Invitation) -> User | None:
    """The account that an invitation must be accepted with; None where whoever has the link chooses a password."""
    return User.objects.filter(email__iexact=invitation.email, email_proven_at__isnull=False).order_by("pk").first()


@over_all_companies()
@transaction.atomic
def accept_invitation(
    *, invitation: Invitation, user: User | None, now: datetime, password: str | None = None
) -> Membership:
    """Become a member, once, and give the membership.

    Parameters
    ----------
    user
        Who is signed in, or has just shown that they know the password of their account; None for a stranger.
    password
        Of a person without an account, or with one whose address nobody proved: the password they choose.

    Raises
    ------
    NotAllowed
        When the address has a proven account and `user` is somebody else, or the account is closed.
    InvalidInput
        When a password has to be chosen, and is missing or weak.
    Conflict
        When the invitation was answered meanwhile.
    """
    locked = Invitation.objects.select_for_update(of=("self",)).select_related("company", "client", "invited_by")
    invitation = locked.get(pk=invitation.pk)
    if not invitation.is_open(now):
        raise Conflict("invitation_over", "This invitation was answered or withdrawn, or has expired: ask for another.")
    person = account_of(invitation)
    if person is None:
        person = _proven_person(invitation, password, now)
    elif user is None or user.pk != person.pk:
        raise NotAllowed("other_account", f"Sign in as {invitation.email} to accept this invitation.")
    if not person.is_active:
        raise NotAllowed("account_closed", "This account is closed.")
    membership = _place(invitation, person)
    invitation.accepted_at = now
    invitation.save(update_fields=["accepted_at"])
    details = {"role": invitation.role, "invitation": invitation.pk}
    record(by=membership, action="join company", subject=membership, details=details, now=now)
    return membership


def _proven_person(invitation: Invitation, password: str | None, now: datetime) -> User:
    """Whoever has the link proves the address: they get an account, or the one that was made in its name."""
    if password is None:
        raise InvalidInput("password_missing", "Choose a password.", pointer="/password")
    email = invitation.email
    known = Q(email__iexact=email) | Q(username__iexact=email)
    user = User.objects.select_for_update().filter(known).order_by("pk").first()
    if user is not None and user.email.lower() != email:
        raise Conflict("name_in_use", "This address cannot be used here; ask for an invitation of another one.")
    if user is None:
        user = User(username=email, email=email)
        check_new_password(user=user, password=password, pointer="/password")
        try:
            with transaction.atomic():
                user.save()
        except IntegrityError:
            raise Conflict("answered_at_once", "This was answered twice at the same moment: open it again.") from None
    forget_of_a_stranger(user=user, company_id=invitation.company_id, now=now)
    choose_by_link(user=user, password=password, now=now)
    return user


def _place(invitation: Invitation, user: User) -> Membership:
    """The place of a person in the company: a new one, or the one they had."""
    membership = Membership.objects.filter(user=user, company_id=invitation.company_id).first()
    if membership is None:
        membership = Membership(user=user, company_id=invitation.company_id)
    elif membership.is_active:
        raise Conflict("already_a_member", "You are a member of this company already.")
    membership.role, membership.client, membership.is_active = invitation.role, invitation.client, True
    membership.name = invitation.name or membership.name
    membership.save()
    return membership
