"""Who is at the door, and for which of their memberships."""

from django.contrib.auth import authenticate

from accounts.errors import DomainError, InvalidInput, NotAllowed
from accounts.models import Membership, User


class WrongCredentials(DomainError):  # noqa: N818 - the words of the domain
    """The email or the password is wrong; which of the two is never said."""


def check_credentials(*, email: str, password: str, membership_id: int | None = None) -> Membership:
    """Give the membership of a person who knows the password: the one asked for, or the oldest.

    Changes nothing. Raises WrongCredentials, NotAllowed for a person without a membership, InvalidInput for a
    membership that is not theirs.
    """
    user = check_password_of(email=email, password=password)
    rows = Membership.objects.filter(user_id=user.pk, is_active=True).select_related("company", "user").order_by("pk")
    if membership_id is None:
        membership = rows.first()
        if membership is None:
            raise NotAllowed("no_membership", "You belong to no company at present: ask an owner to invite you.")
        return membership
    chosen = rows.filter(pk=membership_id).first() if membership_id < 2**63 else None
    if chosen is None:
        raise InvalidInput("membership_unknown", "You have no such membership.", pointer="/membership")
    return chosen


def check_password_of(*, email: str, password: str) -> User:
    """Give the person who knows the password of an address; WrongCredentials for everybody else."""
    account = User.objects.filter(email__iexact=email).order_by("pk").first()
    # For somebody unknown the password is hashed as well: the answer takes as long.
    user = authenticate(username=account.username if account is not None else email, password=password)
    if not isinstance(user, User):
        raise WrongCredentials("wrong_credentials", "The email or the password is wrong.")
    return user
