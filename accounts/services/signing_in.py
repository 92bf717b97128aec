"""Who is at the door, and for which of their memberships."""

from datetime import datetime

from django.contrib.auth import authenticate

from accounts.errors import DomainError, InvalidInput, NotAllowed
from accounts.models import Membership, User
from accounts.services import brakes
from accounts.services.audit import record_refused_sign_in


class WrongCredentials(DomainError):  # noqa: N818 - the words of the domain
    """The email or the password is wrong; which of the two is never said."""


def check_credentials(
    *, email: str, password: str, place: str, now: datetime, membership_id: int | None = None
) -> Membership:
    """Give the membership of a person who knows the password: the one asked for, or the oldest.

    Raises WrongCredentials, TooManyTries, NotAllowed for a person without a membership, InvalidInput for a membership
    that is not theirs.
    """
    user = check_password_of(email=email, password=password, place=place, now=now)
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


def check_password_of(*, email: str, password: str, place: str, now: datetime) -> User:
    """Give the person who knows the password of an address.

    Every try is counted, by person and `place`, the network address it comes from; a failure is in the trail of the
    companies concerned. Call it outside of a transaction, so that both stay.

    Raises WrongCredentials for whoever does not know it, TooManyTries for whoever may not try now.
    """
    keys = brakes.take_try(person=email, place=place, now=now)
    account = User.objects.filter(email__iexact=email).order_by("pk").first()
    # For somebody unknown the password is hashed as well: the answer takes as long.
    user = authenticate(username=account.username if account is not None else email, password=password)
    if not isinstance(user, User):
        record_refused_sign_in(email=email, now=now)
        raise WrongCredentials("wrong_credentials", "The email or the password is wrong.")
    brakes.give_back(keys=keys, person=email, place=place, now=now)
    return user


def check_own_password(*, user: User, password: str, place: str, now: datetime) -> None:
    """Refuse whoever has a session or token of somebody and does not know their password; counted in the same way.

    Raises InvalidInput for `/current_password`, TooManyTries. Call it outside of a transaction.
    """
    keys = brakes.take_try(person=user.email, place=place, now=now)
    if not user.check_password(password):
        raise InvalidInput("wrong_password", "This is not your current password.", pointer="/current_password")
    brakes.give_back(keys=keys, person=user.email, place=place, now=now)
